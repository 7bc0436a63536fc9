//! Machines beside one another, on a terminal and as JSON; `page` puts them on a page.

pub mod page;

use super::ReportError;
use super::display::{
    Units, chosen_percent, controller_title, grouped, percent, plants_apart, plants_in_words,
    points,
};
use super::text::{WIDTH, aligned, bare, wrapped};
use crate::model::controller::Kind;
use crate::report::words::controllers::spoken;
use crate::report::words::reasons::reason;
use crate::report::words::{capital, scenario_and_file, uncapital};
use crate::results::answers::{Limited, Pays};
use crate::results::comparison::{Against, Compared, Comparison, Highest, Pair, Source};
use crate::results::finite::first_not_finite;

/// What the machines are called, in their order.
pub const PLACES: [&str; 8] = [
    "First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth",
];

/// Wherever speeds are told.
pub const NOT_A_PERMISSION: &str = "A simulated speed is not a permission: makers' manuals, local rules and what you see in the field come first.";

/// The comparison as JSON, SI units.
///
/// # Errors
///
/// A number that is not finite.
pub fn comparison_json(comparison: &Comparison) -> Result<String, ReportError> {
    if let Some(key) = first_not_finite(comparison) {
        return Err(ReportError::NotFinite { key });
    }
    Ok(serde_json::to_string_pretty(comparison)? + "\n")
}

/// The comparison in plain words, the answer first.
pub fn comparison_text(comparison: &Comparison) -> String {
    let units = units_of(comparison);
    let machines = || comparison.machines.iter().zip(PLACES);
    let mut out = String::new();
    for (machine, place) in machines() {
        out.push_str(&wrapped(&introduced(machine, place, units), WIDTH));
    }
    for line in verdicts(comparison, units) {
        out.push('\n');
        out.push_str(&wrapped(&line, WIDTH));
    }
    out.push('\n');
    let level = chosen_percent(comparison.level);
    out.push_str(&wrapped(
        &format!(
            "Each with its best controller at work; in brackets the {level} limits. The highest speed keeps the allowed share of plants cut; \
             differences in percentage points (one is 1 plant in 100)."
        ),
        WIDTH,
    ));
    out.push('\n');
    let mut rows = vec![headings(units)];
    rows.extend(machines().map(|(machine, place)| row(machine, place, units)));
    out.push_str(&aligned(&rows));
    for (machine, place) in machines() {
        if let Some(against) = machine
            .against_first
            .as_ref()
            .filter(|a| !a.pairs.is_empty())
        {
            out.push('\n');
            out.push_str(&gained(machine, against, place, units));
        }
    }
    out.push('\n');
    out.push_str(&wrapped(
        &format!("{} {NOT_A_PERMISSION}", rests_on(comparison)),
        WIDTH,
    ));
    out
}

/// Units of the first machine.
pub fn units_of(comparison: &Comparison) -> Units {
    let first = comparison.machines.first();
    first.map_or(Units::Metric, |machine| machine.scenario.units)
}

/// "First: Leeks (leeks.toml, camera.latency = 80 ms), 8 km/h, tools 38 mm from the row."
pub fn introduced(machine: &Compared, place: &str, units: Units) -> String {
    let from = match (machine.source, machine.complete) {
        (Source::Simulated, _) => "",
        (Source::Study, true) => "; a finished study",
        (Source::Study, false) => {
            "; a study that was cut short: its numbers stand for the passes that were done"
        }
    };
    format!(
        "{place}: {}, {}, tools {} from the row{from}.",
        scenario_and_file(&machine.scenario),
        units.speed_text(machine.speed_m_s),
        units.clearance(machine.clearance_m),
    )
}

/// What a reader wants to know first: of every other machine whether it cuts fewer plants, and whether it allows more speed.
pub fn verdicts(comparison: &Comparison, units: Units) -> Vec<String> {
    let Some(first) = comparison.machines.first() else {
        return Vec::new();
    };
    let others = comparison.machines.iter().zip(PLACES);
    let of_other = |(machine, place): (&Compared, &str)| {
        let against = machine.against_first.as_ref()?;
        Some(verdict(first, machine, against, place, units))
    };
    others.filter_map(of_other).collect()
}

fn verdict(
    first: &Compared,
    machine: &Compared,
    against: &Against,
    place: &str,
    units: Units,
) -> String {
    let difference = &against.difference;
    let told = [
        plants_in_words(first.cut.value),
        plants_in_words(machine.cut.value),
    ];
    let plants = match (difference.lower > 0.0, difference.upper < 0.0) {
        (true, _) => format!("cuts more plants than the first: {}", plants_apart(difference.value)),
        (_, true) => format!("cuts fewer plants than the first: {}", plants_apart(difference.value)),
        _ if difference.is_nothing() => "cuts as many plants as the first in every pass".into(),
        _ => "is not told apart from the first by the plants cut: the limits of the difference enclose zero".into(),
    };
    let settings =
        match first.speed_m_s == machine.speed_m_s && first.clearance_m == machine.clearance_m {
            true => String::new(),
            false => " Each is told as it is worked, at its own speed and clearance.".into(),
        };
    let speed = against
        .pairs
        .first()
        .map_or(String::new(), |pair| faster(&pair.gains, units));
    format!(
        "The {} machine {plants} ({} against {}).{settings}{speed}",
        uncapital(place),
        told[1],
        told[0]
    )
}

/// Which of two machines allows more speed, and what is open.
fn faster(gains: &Pays, units: Units) -> String {
    let least = if gains.at_least { "at least " } else { "" };
    let by = |gain: f64| {
        format!(
            "{least}{} {}",
            units.speed_gain(gain.abs()),
            units.speed_unit()
        )
    };
    match gains.speed_gain_m_s {
        Some(gain) if gain.lower > 0.0 => format!(" It allows more speed: {}.", by(gain.value)),
        Some(gain) if gain.upper < 0.0 => format!(" It allows less speed: {}.", by(gain.value)),
        Some(gain) if gain.is_nothing() && !gains.at_least => " Both allow the same speed.".into(),
        Some(_) if gains.at_least => {
            " Both allow every simulated speed up to the end of the list, or these passes do not tell them apart there.".into()
        }
        Some(_) => {
            " These passes do not tell which of the two allows more speed; more of them would (--passes).".into()
        }
        None => gains.reason.as_ref().map_or(String::new(), |why| {
            format!(" {}.", capital(&reason(why, units)))
        }),
    }
}

/// How the differences are known.
pub fn rests_on(comparison: &Comparison) -> String {
    let simulated = || {
        comparison
            .machines
            .iter()
            .filter(|one| one.source == Source::Simulated)
    };
    let mut told = Vec::new();
    if let Some(one) = simulated().next() {
        told.push(format!(
            "Simulated here: seed {}, {} passes at each speed{}.",
            one.seed,
            grouped(one.passes),
            if simulated().count() > 1 {
                ", the same ground, driver and plants for all"
            } else {
                ""
            }
        ));
    }
    let against = || {
        comparison
            .machines
            .iter()
            .filter_map(|one| one.against_first.as_ref())
    };
    if against().any(|one| one.paired) {
        told.push("Differences on the same passes are taken pass by pass, so that most of the chance cancels.".into());
    }
    if against().any(|one| !one.paired) {
        told.push(
            "Differences from or of a finished study are unpaired: it has its own passes, so that they are known no better than both shares \
             together. Scenario files on the same passes are told apart more finely."
                .into(),
        );
    }
    told.join(" ")
}

/// What the columns of the table hold.
pub fn headings(units: Units) -> Vec<String> {
    vec![
        String::new(),
        "controller".into(),
        "plants cut, %".into(),
        format!("highest speed, {}", units.speed_unit()),
        "difference, points".into(),
    ]
}

/// One machine's line of the table.
pub fn row(machine: &Compared, place: &str, units: Units) -> Vec<String> {
    let cut = &machine.cut;
    let against = machine.against_first.as_ref();
    vec![
        place.into(),
        controller_title(machine.controller).into(),
        format!(
            "{} ({} to {})",
            bare(cut.value),
            bare(cut.lower),
            bare(cut.upper)
        ),
        highest(machine.highest.as_ref(), units),
        against.map_or("-".into(), |against| difference(&against.difference)),
    ]
}

fn highest(highest: Option<&Highest>, units: Units) -> String {
    let Some(highest) = highest else {
        return "none".into();
    };
    let least = if highest.at_least { ">= " } else { "" };
    let limits = match (highest.lower, highest.upper) {
        (Some(lower), Some(upper)) => {
            format!(
                " ({} to {})",
                units.speed_limit(lower),
                units.speed_limit(upper)
            )
        }
        _ => String::new(),
    };
    format!("{least}{}{limits}", units.speed_limit(highest.speed_m_s))
}

/// "-0.32 (-0.35 to -0.29)", in percentage points.
pub fn difference(of: &Limited) -> String {
    let [apart, lower, upper] = points(of.value, of.lower, of.upper);
    format!("{apart} ({lower} to {upper})")
}

/// "0.66 % (0.50 % to 0.83 %)".
pub fn with_limits(of: &Limited) -> String {
    format!(
        "{} ({} to {})",
        percent(of.value),
        percent(of.lower),
        percent(of.upper)
    )
}

/// What another machine gains on the first, controller by controller.
fn gained(machine: &Compared, against: &Against, place: &str, units: Units) -> String {
    let mut out = wrapped(
        &format!(
            "{place} against first, controller by controller: speed gained with the tools {} from the row, and by how much closer they may run \
             at {}:",
            units.clearance(machine.clearance_m),
            units.speed_text(machine.speed_m_s),
        ),
        WIDTH,
    );
    out.push('\n');
    let mut rows = vec![vec![
        "First".to_owned(),
        place.to_owned(),
        format!("gained, {}", units.speed_unit()),
        format!("room gained, {}", units.small_unit()),
        "difference, points".to_owned(),
    ]];
    rows.extend(against.pairs.iter().map(|pair| gain_row(pair, units)));
    out.push_str(&aligned(&rows));
    out
}

fn gain_row(pair: &Pair, units: Units) -> Vec<String> {
    let gains: &Pays = &pair.gains;
    let least = if gains.at_least { ">= " } else { "" };
    let gained = |gain: Option<Limited>, show: &dyn Fn(f64) -> String| {
        gain.map_or_else(
            || "none".to_owned(),
            |gain| {
                let [value, lower, upper] = [gain.value, gain.lower, gain.upper].map(show);
                format!("{least}{value} ({lower} to {upper})")
            },
        )
    };
    let title = |kind: Kind| spoken(kind).short.to_owned();
    vec![
        title(pair.first_controller),
        title(pair.other_controller),
        gained(gains.speed_gain_m_s, &|m_s| units.speed_gain(m_s)),
        gained(gains.clearance_gain_m, &|m| units.small_number(m)),
        difference(&pair.difference),
    ]
}
