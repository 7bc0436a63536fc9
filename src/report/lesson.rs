//! What notes from the field teach, in words.

use std::fmt::Write;

use crate::answers::measure::direct;
use crate::report::display::{Units, controller_in_words, grouped, limit_in_words, trimmed};
use crate::report::words::capital;
use crate::report::words::farms::{farms, instruction, on_the_tape, plain, rate};
use crate::results::FarmShare;
use crate::results::lesson::{Found, Lesson, Odd, Predicted, Reached, Value, Which};
use crate::scenario::keys::{KEYS, Shape};
use crate::scenario::units::Quantity;
use crate::unknowns::measure::Aspect;

/// Unknowns of which more is said, at most.
const NAMED: usize = 4;

/// By how much an unknown must have moved, or narrowed, to be worth a line (our choice).
const WORTH_A_LINE: f64 = 0.2;

/// The lesson as a short text.
pub fn lesson_text(lesson: &Lesson) -> String {
    let units = lesson.units;
    let mut text = String::from("What the notes tell\n");
    for found in &lesson.found {
        for line in found_lines(found, units) {
            let _ = writeln!(text, "  {line}");
        }
    }
    text.push_str(&against(&lesson.predicted, units));
    let cut = |share: &FarmShare| {
        format!(
            "between {} and {} are cut, on every second at most {}",
            rate(share.p05),
            rate(share.p95),
            rate(share.p50)
        )
    };
    let _ = writeln!(
        text,
        "\nAt {} with the tools {} from the row, {}:\n  Before: on 9 farms in 10 like this one {}.\n  Now:    {}.",
        units.speed_text(lesson.speed_m_s),
        units.clearance(lesson.clearance_m),
        controller_in_words(lesson.controller),
        cut(&lesson.cut_before),
        cut(&lesson.cut_after)
    );
    let _ = writeln!(
        text,
        "To keep the allowed {} on {} at that speed:\n  before {}, now {}.",
        limit_in_words(lesson.allowed_cut_rate),
        farms(lesson.assurance),
        reached(lesson.clearance_before, units),
        reached(lesson.clearance_after, units)
    );
    let moved: Vec<String> = (lesson.values.iter())
        .filter(|value| worth_a_line(value))
        .take(NAMED)
        .map(|value| moved(value, units))
        .collect();
    if !moved.is_empty() {
        text.push_str("\nWhat is known better now (9 farms in 10 lie between):\n");
        for line in moved {
            let _ = writeln!(text, "  {line}");
        }
    }
    if let Some(odd) = &lesson.odd {
        let _ = writeln!(text, "\n{}", conflict(lesson, odd, units));
    }
    if !lesson.enough {
        text.push_str(
            "\nThe notes leave so little of what the scenario says that these numbers are rough: wider ranges in the scenario would help.\n",
        );
    }
    text
}

/// What was found against what a study predicted; empty without anything found.
pub fn against(predicted: &[Predicted], units: Units) -> String {
    let mut text = String::new();
    if predicted.is_empty() {
        return text;
    }
    text.push_str("\nPredicted against found (9 farms in 10 like this one lie between):\n");
    for one in predicted {
        let (from, to) = (
            said(one, one.predicted.p05, units),
            said(one, one.predicted.p95, units),
        );
        let verdict = match (one.agrees, one.found > one.predicted.p50) {
            (true, _) => "as predicted",
            (false, true) => "MORE than predicted",
            (false, false) => "LESS than predicted",
        };
        let _ = writeln!(
            text,
            "  {}: predicted {from} to {to}, found {}: {verdict}.",
            capital(&name(one)),
            said(one, one.found, units)
        );
    }
    text
}

/// What a prediction is of.
pub fn name(predicted: &Predicted) -> String {
    match (&predicted.which, predicted.aspect) {
        (Which::Gaps { .. }, Aspect::Spread) => "tool error from place to place".to_owned(),
        (Which::Gaps { .. }, _) => "tools left of their rows on average".to_owned(),
        (Which::Counts { .. }, _) => "plants cut of those counted".to_owned(),
        (Which::Measured { key }, _) => plain(key),
        (Which::Wander, _) => "wander of the tractor about its line".to_owned(),
    }
}

/// A number of a prediction with its unit.
pub fn said(predicted: &Predicted, number: f64, units: Units) -> String {
    match &predicted.which {
        Which::Gaps { .. } | Which::Wander => units.small_text(number),
        Which::Counts { .. } => trimmed(number, 0),
        Which::Measured { key } => quantity(key, number, units),
    }
}

fn found_lines(found: &Found, units: Units) -> Vec<String> {
    let at = format!(
        "at {}, tools {} from the row",
        units.speed_text(found.speed_m_s),
        units.clearance(found.clearance_m)
    );
    let mut lines = Vec::new();
    if let Some(mean_m) = found.mean_error_m {
        let side = if mean_m < 0.0 { "right" } else { "left" };
        let apart = found.error_sd_m.map_or(String::new(), |sd_m| {
            format!(
                ", single ones {} apart from that (one standard deviation)",
                units.small_text(sd_m)
            )
        });
        lines.push(format!(
            "{} {at}: the tools stand {} too far {side} on average{apart}",
            many(found.gaps, "pair of gaps", "pairs of gaps"),
            units.small_text(mean_m.abs())
        ));
    }
    if found.places > 0 {
        lines.push(format!(
            "{} plants at {} {at}: {} cut",
            grouped(found.plants),
            many(found.places, "place", "places"),
            grouped(found.cut)
        ));
    }
    lines
}

fn many(count: u64, one: &str, more: &str) -> String {
    format!("{} {}", grouped(count), if count == 1 { one } else { more })
}

fn reached(reached: Reached, units: Units) -> String {
    match reached {
        Reached::At { clearance_m } => {
            let on_tape_m = on_the_tape(clearance_m, units);
            format!("{} from the row", units.clearance(on_tape_m))
        }
        Reached::All => "any clearance of the study".into(),
        Reached::None => "no clearance of the study is wide enough".into(),
    }
}

fn worth_a_line(value: &Value) -> bool {
    let width = |share: &FarmShare| share.p95 - share.p05;
    value.moved_sd.abs() > WORTH_A_LINE
        || width(&value.after) < (1.0 - WORTH_A_LINE) * width(&value.before)
}

fn moved(value: &Value, units: Units) -> String {
    let range = |share: &FarmShare| {
        let [from, to] = [share.p05, share.p95].map(|end| quantity(&value.key, end, units));
        format!("{from} to {to}")
    };
    let end = if value.at_its_end {
        "; it may well lie beyond what the scenario says"
    } else {
        ""
    };
    format!(
        "{} ({}): before {}, now {}{end}",
        capital(&plain(&value.key)),
        value.key,
        range(&value.before),
        range(&value.after)
    )
}

/// A value of a key with its unit.
pub fn quantity(key: &str, si: f64, units: Units) -> String {
    let shape = KEYS
        .iter()
        .find(|one| one.path() == key)
        .map(|one| one.shape);
    let Some(Shape::Quantity { quantity, .. }) = shape else {
        return trimmed(si, 3);
    };
    match quantity {
        Quantity::Length if si.abs() < 1.0 => units.small_text(si),
        Quantity::Length => units.distance_text(si),
        Quantity::Time => format!("{} ms", trimmed(1000.0 * si, 0)),
        Quantity::Angle => format!("{} deg", trimmed(si.to_degrees(), 2)),
        Quantity::Force => units.force(si).to_string() + " " + units.force_unit(),
        Quantity::Share | Quantity::Slope => format!("{} %", trimmed(100.0 * si, 1)),
        _ => trimmed(si, 3),
    }
}

fn conflict(lesson: &Lesson, odd: &Odd, units: Units) -> String {
    let what = match (&odd.which, odd.aspect, odd.high) {
        (Which::Gaps { .. }, Aspect::Spread, true) => {
            "gaps that differ as much as these".to_owned()
        }
        (Which::Gaps { .. }, Aspect::Spread, false) => {
            "gaps that differ as little as these".to_owned()
        }
        (Which::Gaps { .. }, _, high) => format!(
            "tools as far {} of their rows as these gaps say",
            if high { "left" } else { "right" }
        ),
        (Which::Counts { notes }, _, high) => {
            let cut = lesson.found.get(*notes).map_or(0, |found| found.cut);
            format!(
                "as {} as {} cut",
                if high { "many plants" } else { "few plants" },
                many(cut, "plant", "plants")
            )
        }
        (Which::Measured { key }, _, high) => format!(
            "a value as {} as was measured of {key}",
            if high { "great" } else { "small" }
        ),
        (Which::Wander, _, high) => format!(
            "a tractor that wanders as {} as the log says",
            if high { "far" } else { "little" }
        ),
    };
    let rarer = limit_in_words(odd.probability.max(1e-6));
    let likeliest = odd.likeliest.as_ref().and_then(|key| {
        let value = lesson.values.iter().find(|value| value.key == *key)?;
        let now = quantity(key, value.after.p50, units);
        let tells = direct(key).map_or(String::new(), |measure| {
            format!(" To be sure: {}", instruction(&measure, units))
        });
        Some(format!(
            " Likeliest within what it says: {} ({key}), rather {} than it says, about {now}.{tells}",
            plain(key),
            if value.up { "more" } else { "less" }
        ))
    });
    format!(
        "This does not fit: {what} are rarer than {rarer} under what the scenario says.{} Look first whether the notes hold a slip of the pen, and \
         whether a value that is written as known truly is.",
        likeliest.unwrap_or_default()
    )
}
