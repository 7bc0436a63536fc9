//! The answers in sentences: the same words on the terminal and on every page. Plain characters only.

use super::bounds;
use super::changes;
use super::display::{
    Units, controller_title, cut_in_words, limit_in_words, money, percent, plants_in_words, trimmed,
};
use super::words::reasons::{cylinder_limit, reason, stroke_binding};
use crate::report::words::{capital, sentence, uncapital};
use crate::results::answers::{
    BestSetting, Bound, Combination, ControlAnswer, GridEnd, Limited, Pays, Recommended,
    SpacingCell, SpeedAnswer, StagesAnswer, Status, StrokeAnswer,
};
use crate::results::reasons::Reason;
use crate::results::{Results, Share};

/// Why there are no answers at all.
pub const NOT_COMPLETE: &str = "Stroke, highest speed, spacing and setting sheet are worked out at the end of a complete study; \
     this one was cut short.";

/// True if the study got as far as its answers.
pub fn answered(results: &Results) -> bool {
    results.answers.passes > 0
}

/// Why there is no answer, as a sentence; `None` where there is one.
pub fn lacking(status: Status, why: Option<&Reason>, units: Units) -> Option<String> {
    let opening = match status {
        Status::Ok => return None,
        Status::NoAnswer => "No answer within what was simulated",
        Status::NoData => "Not answered, for lack of data",
    };
    Some(match why {
        Some(why) => sentence(&format!("{opening}: {}", uncapital(&reason(why, units)))),
        None => format!("{opening}."),
    })
}

/// The answer on speed at the recommended clearance; without a recommended setting at the working one, of the controller that the
/// answers speak of.
pub fn speed_answer(results: &Results) -> Option<&SpeedAnswer> {
    let answers = &results.answers;
    let clearance_m = match &answers.recommended {
        Some(setting) => setting.clearance_m,
        None => results.working_clearance_m,
    };
    answers.speed.iter().find(|answer| {
        Some(answer.controller) == answers.controller && answer.clearance_m == clearance_m
    })
}

/// "7.3 km/h", "at least 16.0 km/h".
pub fn highest(answer: &SpeedAnswer, units: Units) -> Option<String> {
    let speed = units.speed_limit(answer.highest_speed_m_s?);
    let least = if answer.at_least { "at least " } else { "" };
    Some(format!("{least}{speed} {}", units.speed_unit()))
}

/// "7.3 km/h is the highest speed", "at least 16.0 km/h can be driven".
pub fn kept(highest: &str, answer: &SpeedAnswer) -> String {
    if answer.at_least {
        format!("{highest}, up to which every limit is kept")
    } else {
        format!("{highest} is the highest speed that keeps every limit")
    }
}

/// How fast, and what bounds it.
pub fn speed(results: &Results, units: Units) -> String {
    let Some(answer) = speed_answer(results) else {
        return "No controller was simulated.".to_owned();
    };
    let where_ = format!(
        "with the tools {} from the row ({})",
        units.clearance(answer.clearance_m),
        controller_title(answer.controller),
    );
    let Some(highest) = highest(answer, units) else {
        let lack = lacking(answer.status, answer.reason.as_ref(), units);
        let why = answer.binding.map_or(String::new(), |binding| {
            format!(" What stands in the way: {}.", bounds::broken(binding))
        });
        let none = format!("No simulated speed keeps every limit {where_}.");
        return format!("{none}{why} {}", lack.unwrap_or_default())
            .trim_end()
            .to_owned();
    };
    capital(&format!(
        "{} {where_}. {}",
        kept(&highest, answer),
        what_binds(answer, units)
    ))
}

/// "Beyond it soil flies as far as the plants. The next bound is plants cut, up to 11.7 km/h."
pub fn what_binds(answer: &SpeedAnswer, units: Units) -> String {
    let mut text = match answer.binding {
        Some(Bound::SimulatedSpeeds) => "Higher speeds were not simulated.".to_owned(),
        Some(binding) => format!("Beyond it {}.", bounds::broken(binding)),
        None => String::new(),
    };
    let next = answer.next_binding.and_then(|next| {
        let limit = answer.limits.iter().find(|limit| limit.cause == next)?;
        Some(format!(
            " The next limit is {}, {}.",
            bounds::name(next),
            bounds::holds(limit, units)
        ))
    });
    text += &next.unwrap_or_default();
    if answer.in_time == Some(false) {
        text += &format!(" Even so {}.", bounds::broken(Bound::DaysAvailable));
    }
    text
}

/// Changes of the machine that the answers speak of that clearly gain speed or room, best first.
pub fn gains(results: &Results) -> impl Iterator<Item = &Pays> {
    let clear = |gain: Option<Limited>| gain.is_some_and(|gain| gain.lower > 0.0);
    let chosen = results.answers.controller;
    results.answers.pays.iter().filter(move |line| {
        line.status == Status::Ok
            && chosen.is_none_or(|chosen| chosen == line.controller)
            && (clear(line.speed_gain_m_s) || clear(line.clearance_gain_m))
    })
}

/// "+2.4 km/h (+2.1 to +2.8), tools 8 mm closer".
pub fn gain(line: &Pays, units: Units) -> String {
    let least = if line.at_least { "at least " } else { "" };
    let mut parts = Vec::new();
    // Where both speeds lie at the end of the list, no gain can be seen.
    let unseen = line.at_least && line.speed_gain_m_s.is_some_and(|gain| gain.value == 0.0);
    if let Some(gain) = line.speed_gain_m_s
        && !unseen
    {
        parts.push(format!(
            "{least}{} {} ({} to {})",
            units.speed_gain(gain.value),
            units.speed_unit(),
            units.speed_gain(gain.lower),
            units.speed_gain(gain.upper)
        ));
    }
    if let Some(room_m) = more_than_none(line.clearance_gain_m) {
        parts.push(format!("tools {} closer", units.small_text(room_m)));
    }
    parts.join(" or ")
}

/// A gain that is one.
fn more_than_none(gain: Option<Limited>) -> Option<f64> {
    gain.map(|gain| gain.value).filter(|gain| *gain > 0.0)
}

/// The same without limits, for somebody who does not ask for them: "2.4 km/h faster or tools 8 mm closer".
pub fn plain_gain(line: &Pays, units: Units) -> String {
    let speed = more_than_none(line.speed_gain_m_s).map(|gain| {
        let gain = trimmed(units.speed(gain), 1);
        format!("about {gain} {} faster", units.speed_unit())
    });
    let room = more_than_none(line.clearance_gain_m);
    let room = room.map(|room_m| format!("tools about {} closer", units.small_text(room_m)));
    let parts: Vec<String> = speed.into_iter().chain(room).collect();
    parts.join(" or ")
}

/// What pays most.
pub fn pays(results: &Results, units: Units) -> String {
    if results.answers.pays.is_empty() {
        return "No change was tried.".to_owned();
    }
    let best: Vec<String> = gains(results)
        .take(2)
        .map(|line| {
            format!(
                "{}: {}",
                changes::change(line.change, units),
                gain(line, units)
            )
        })
        .collect();
    if best.is_empty() {
        return "No change that was tried clearly gains speed or room.".to_owned();
    }
    capital(&format!("{}.", best.join("; ")))
}

/// The cell of a setting.
pub fn cell_of<'a>(results: &'a Results, setting: &BestSetting) -> Option<&'a SpacingCell> {
    let cells = &results.answers.spacing.cells;
    cells
        .iter()
        .find(|cell| cell.speed_m_s == setting.speed_m_s && cell.clearance_m == setting.clearance_m)
}

/// "6 km/h with the tools 45 mm from the row".
pub fn place(setting: &BestSetting, units: Units) -> String {
    format!(
        "{} with the tools {} from the row",
        units.speed_text(setting.speed_m_s),
        units.clearance(setting.clearance_m)
    )
}

/// "420 crowns a hectare".
pub fn price(per_ha: f64, results: &Results, units: Units) -> String {
    let currency = results.answers.spacing.currency.as_deref().unwrap_or("");
    format!(
        "{} {currency} {} {}",
        money(units.per_land(per_ha)),
        article(units.land_unit()),
        units.land_unit()
    )
}

fn article(noun: &str) -> &'static str {
    if noun.starts_with(['a', 'e', 'i', 'o', 'u']) {
        "an"
    } else {
        "a"
    }
}

/// Sweep spacing against speed.
pub fn spacing(results: &Results, units: Units) -> String {
    let answer = &results.answers.spacing;
    if let Some(lack) = lacking(answer.status, answer.reason.as_ref(), units) {
        return lack;
    }
    let mut text = match &results.answers.recommended {
        Some(setting) => format!(
            "Recommended: {}{}.",
            recommended_place(setting, units),
            setting.cost_per_ha.map_or(String::new(), |cost| format!(
                ", at {} each round",
                price(cost, results, units)
            ))
        ),
        None => "No simulated setting keeps every limit.".to_owned(),
    };
    if let Some(cheaper) = cheaper_but(results, units) {
        text += &format!(" {cheaper}");
    }
    if let Some(staying) = answer.cost_of_staying_per_ha {
        text += &if staying >= 0.0 {
            format!(
                " Working on as now costs {} more.",
                price(staying, results, units)
            )
        } else {
            format!(
                " Working on as now costs {} less.",
                price(-staying, results, units)
            )
        };
    }
    text
}

/// The cheapest simulated setting, if it is cheaper than the recommended one but breaks a bound; where it lies at the end of what was
/// simulated that is told.
pub fn cheaper_but(results: &Results, units: Units) -> Option<String> {
    let answer = &results.answers.spacing;
    let cheapest = answer.cheapest.as_ref()?;
    let ends: Vec<&str> = answer
        .cheapest_at
        .iter()
        .map(|end| match end {
            GridEnd::Slowest => "the slowest simulated speed",
            GridEnd::Fastest => "the fastest simulated speed",
            GridEnd::Closest => "the closest simulated place of the tools",
            GridEnd::Widest => "the widest simulated place of the tools",
        })
        .collect();
    let end = match ends[..] {
        [] => String::new(),
        _ => format!(
            " It lies at {}: a cheaper one may lie beyond.",
            ends.join(" and ")
        ),
    };
    if answer.cheapest_breaks.is_empty() {
        return (!end.is_empty()).then(|| {
            format!(
                "The least simulated cost is at {}.{end}",
                place(cheapest, units)
            )
        });
    }
    Some(format!(
        "Cheaper, but not recommended: {}, {}; {}.{end}",
        place(cheapest, units),
        price(cheapest.cost_per_ha, results, units),
        bounds::all_broken(&answer.cheapest_breaks)
    ))
}

/// "7.3 km/h with the tools 60 mm from the row".
pub fn recommended_place(setting: &Recommended, units: Units) -> String {
    format!(
        "{} {} with the tools {} from the row",
        trimmed(units.speed(setting.speed_m_s), 1),
        units.speed_unit(),
        units.clearance(setting.clearance_m)
    )
}

/// Plants cut and touched on the whole row, and apart in the entry stretch and on the rest.
pub fn cut_and_touched(
    cut: &Share,
    touched: &Share,
    [entry, rest]: [&Share; 2],
    results: &Results,
    units: Units,
) -> String {
    // Where farms are spoken of, their limits follow: those of the computation are small print.
    let recommended = results.answers.recommended.as_ref();
    let by_farm = recommended.is_some_and(|setting| setting.known.is_some());
    let plants = if by_farm && cut.rate > 0.0 {
        let plants = plants_in_words(cut.rate);
        let is = if plants.ends_with("plants") {
            "are"
        } else {
            "is"
        };
        format!("About {plants} {is} cut")
    } else {
        cut_in_words(cut)
    };
    let whole = format!(
        "{plants}, on the whole row of {}",
        units.distance_text(results.row_length_m)
    );
    let apart = if results.entry_length_m > 0.0 {
        format!(
            ": {} in the first {}, {} after that",
            limit_in_words(entry.rate),
            units.distance_text(results.entry_length_m),
            limit_in_words(rest.rate)
        )
    } else {
        String::new()
    };
    let plants = plants_in_words(touched.rate);
    let is = if plants.ends_with("plants") {
        "are"
    } else {
        "is"
    };
    format!("{whole}{apart}. A further {plants} {is} touched.")
}

/// How much side-shift.
pub fn stroke(results: &Results, units: Units) -> String {
    let answer: &StrokeAnswer = &results.answers.stroke;
    if let Some(lack) = lacking(answer.status, answer.reason.as_ref(), units) {
        return lack;
    }
    let Some(stroke_m) = answer.recommended_m else {
        return "No stroke of the series is good enough.".to_owned();
    };
    let mut text = format!(
        "{} of total travel is the least of the series that is good enough at {} with the tools {} from the row; the machine has {}.",
        units.clearance(stroke_m),
        units.speed_text(answer.design_speed_m_s),
        units.clearance(answer.clearance_m),
        units.clearance(answer.fitted_m),
    );
    if let Some(binding) = &answer.binding {
        text.push_str(&format!(
            " What asks for it: {}",
            sentence(&stroke_binding(binding, units))
        ));
    }
    text
}

/// "32 mm bore with a 16 mm rod".
pub fn cylinder_name(cylinder: &Combination, units: Units) -> String {
    format!(
        "bore {}, rod {}",
        units.size(cylinder.bore_m),
        units.size(cylinder.rod_m)
    )
}

/// Which cylinder.
pub fn cylinder(results: &Results, units: Units) -> String {
    let answer = &results.answers.hydraulics;
    if let Some(lack) = lacking(answer.status, answer.reason.as_ref(), units) {
        return lack;
    }
    let mut text = format!(
        "The rows ask for {} {} of shift speed and a push of {} {}, reserve included.",
        units.shift_speed_number(answer.wanted_speed_m_s),
        units.shift_speed_unit(),
        units.force_number(answer.wanted_force_n),
        units.force_unit()
    );
    match answer.combinations.iter().find(|one| one.serves) {
        Some(first) => text.push_str(&format!(
            " With the least oil serves {}: {} {}.",
            cylinder_name(first, units),
            units.flow_number(first.flow_m3_s),
            units.flow_unit()
        )),
        None => text.push_str(" No cylinder of the series serves."),
    }
    if let Some(fitted) = &answer.fitted {
        let name = cylinder_name(fitted, units);
        text.push_str(&if fitted.serves {
            format!(" The fitted one ({name}) serves.")
        } else {
            format!(
                " The fitted one ({name}) does not serve: {}",
                sentence(cylinder_limit(fitted.binding))
            )
        });
    }
    text
}

/// Which lookahead.
pub fn control(results: &Results, units: Units) -> String {
    let answer: &ControlAnswer = &results.answers.control;
    if let Some(lack) = lacking(answer.status, answer.reason.as_ref(), units) {
        return lack;
    }
    let speed = units.speed_text(answer.speed_m_s);
    let own = units.clearance(answer.lookahead_m);
    match answer.best_lookahead_m {
        Some(best_m) if best_m == answer.lookahead_m => {
            format!("The lookahead of {own} is the best one at {speed} by the linear check.")
        }
        Some(best_m) => format!(
            "The best lookahead at {speed} is {} by the linear check; the machine has {own}.",
            units.clearance(best_m)
        ),
        None => format!("No lookahead stands out at {speed}; the machine has {own}."),
    }
}

/// A clearance for each stage.
pub fn stages(results: &Results, units: Units) -> String {
    let answer: &StagesAnswer = &results.answers.stages;
    if let Some(lack) = lacking(answer.status, answer.reason.as_ref(), units) {
        return lack;
    }
    let told: Vec<String> = answer
        .stages
        .iter()
        .map(|stage| {
            let height = units.clearance(stage.height_m);
            match stage.clearance_m {
                Some(clearance_m) => {
                    format!("plants {height} high, {}", units.clearance(clearance_m))
                }
                None => format!("plants {height} high, none of those simulated"),
            }
        })
        .collect();
    format!(
        "Smallest simulated clearance that keeps the allowed share of cut plants at {}: {}.",
        units.speed_text(answer.speed_m_s),
        told.join("; ")
    )
}

/// Where thrown soil and pull set limits.
pub fn soil(results: &Results, units: Units) -> String {
    let answer = &results.answers.soil;
    if let Some(lack) = lacking(answer.status, answer.reason.as_ref(), units) {
        return lack;
    }
    let mut lines = answer.speeds.iter();
    let Some(line) = lines.find(|line| line.speed_m_s == answer.design_speed_m_s) else {
        return "The recommended speed is not among those reckoned.".to_owned();
    };
    let reaches = if line.reaches_plants {
        "reaches the plants"
    } else {
        "stops short of the plants"
    };
    let mut text = format!(
        "At {} soil flies {} beyond the tools, set {} from the row, and {reaches}; the pull is {} {} and takes {} of the tractor's power",
        units.speed_text(line.speed_m_s),
        units.small_text(line.thrown_m),
        units.clearance(answer.clearance_m),
        units.force_number(line.draft_n),
        units.force_unit(),
        percent(line.load_share),
    );
    if let Some(fuel) = line.fuel_l_per_h {
        text.push_str(&format!(
            " and {} {} of fuel",
            units.fuel_number(fuel),
            units.fuel_unit()
        ));
    }
    text + "."
}

/// The setting sheet in a sentence.
pub fn sheet(results: &Results, units: Units) -> String {
    let answer = &results.answers.sheet;
    if let Some(lack) = lacking(answer.status, answer.reason.as_ref(), units) {
        return lack;
    }
    format!(
        "{} tools for {} rows, set {} from the middle of every row.",
        answer.tools.len(),
        answer.rows_m.len(),
        units.clearance(answer.clearance_m)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;
    use crate::results::answers::{Holds, SpeedLimit};

    fn all(results: &Results) -> [String; 9] {
        [
            stroke, cylinder, control, speed, pays, spacing, stages, soil, sheet,
        ]
        .map(|words| words(results, Units::Metric))
    }

    #[test]
    fn prop_every_answer_says_its_number() {
        let results = synthetic::results();
        let numbers = [
            "250 mm of total travel",
            "87 mm/s",
            "950 mm",
            "7.3 km/h",
            "+2.4 km/h (+2.1 to +2.8)",
            "crowns a hectare",
            "plants 150 mm high, none",
            "of fuel",
            "8 tools for 4 rows, set 38 mm",
        ];
        for (words, number) in all(&results).iter().zip(numbers) {
            assert!(words.contains(number), "{words}");
            assert!(words.is_ascii() && words.ends_with('.'), "{words}");
        }
    }

    #[test]
    fn prop_what_has_no_answer_says_why() {
        let results = synthetic::unanswered(synthetic::results());
        for (i, words) in all(&results).iter().enumerate() {
            let expected = match i {
                3 => "No simulated speed keeps every limit with the tools 38 mm from the row",
                4 => "No change that was tried clearly gains",
                _ => "No answer within what was simulated: ",
            };
            assert!(words.starts_with(expected), "{words}");
        }
    }

    #[test]
    fn prop_what_lacks_data_says_what_to_add() {
        let results = synthetic::without_data(synthetic::results());
        let words = all(&results);
        for (i, table) in [
            (1, "hydraulics"),
            (5, "farm"),
            (6, "growth"),
            (7, "soil"),
            (8, "workshop"),
        ] {
            let expected = format!("Not answered, for lack of data: add the table [{table}] with ");
            assert!(words[i].starts_with(&expected), "{}", words[i]);
        }
    }

    #[test]
    fn prop_a_list_of_speeds_that_ends_says_at_least() {
        let mut results = synthetic::results();
        for answer in &mut results.answers.speed {
            answer.at_least = true;
            answer.binding = Some(Bound::SimulatedSpeeds);
        }
        let words = speed(&results, Units::Metric);
        let told = "At least 7.3 km/h, up to which every limit is kept";
        assert!(words.starts_with(told), "{words}");
        assert!(
            words.contains("Higher speeds were not simulated."),
            "{words}"
        );
    }

    #[test]
    fn prop_what_binds_and_what_is_next_are_told_with_their_speeds() {
        let mut results = synthetic::results();
        let up_to = |cause, km_h: f64| SpeedLimit {
            cause,
            holds: Holds::UpTo,
            speed_m_s: Some(km_h / 3.6),
        };
        for answer in &mut results.answers.speed {
            answer.limits = vec![up_to(Bound::ThrownSoil, 7.3), up_to(Bound::CutPlants, 11.7)];
            answer.binding = Some(Bound::ThrownSoil);
            answer.next_binding = Some(Bound::CutPlants);
            answer.in_time = Some(false);
        }
        let words = speed(&results, Units::Metric);
        for told in [
            "7.3 km/h is the highest speed that keeps every limit",
            "Beyond it soil flies as far as the plants",
            "The next limit is plants cut, up to 11.7 km/h.",
            "Even so a round takes more days",
        ] {
            assert!(words.contains(told), "{told}: {words}");
        }
    }

    /// A setting that breaks a bound may be told as cheaper, never as the answer.
    #[test]
    fn prop_what_breaks_a_bound_is_never_the_headline() {
        let results = synthetic::results();
        let words = spacing(&results, Units::Metric);
        assert!(
            words.starts_with("Recommended: 7.3 km/h with the tools 38 mm"),
            "{words}"
        );
        let (_, cheaper) = words.split_once("Cheaper, but not recommended: ").unwrap();
        assert!(
            cheaper.contains("more plants may be cut than allowed"),
            "{cheaper}"
        );
        assert!(
            cheaper.contains("the closest simulated place of the tools"),
            "{cheaper}"
        );
        let none = synthetic::unanswered(results);
        assert_eq!(none.answers.recommended, None);
        assert!(!spacing(&none, Units::Metric).contains("Recommended"));
    }

    #[test]
    fn analytic_a_reason_goes_on_in_the_sentence() {
        let told = |why: Reason| lacking(Status::NoData, Some(&why), Units::Metric).unwrap();
        let soil = Reason::TablesMissing {
            tables: vec!["soil".into()],
        };
        assert!(told(soil).contains("data: add the table [soil] with"));
        assert_eq!(uncapital("PID alone"), "PID alone");
    }

    #[test]
    fn prop_a_gain_that_may_be_none_is_not_praised() {
        let mut results = synthetic::results();
        for line in &mut results.answers.pays {
            line.clearance_gain_m = None;
            if let Some(gain) = &mut line.speed_gain_m_s {
                gain.lower = -0.1;
            }
        }
        assert_eq!(gains(&results).count(), 0);
        assert!(pays(&results, Units::Metric).starts_with("No change"));
    }

    #[test]
    fn prop_american_units_speak_of_acres() {
        let words = spacing(&synthetic::results(), Units::Us);
        assert!(words.contains("crowns an acre each round"), "{words}");
        assert!(!words.contains("hectare"));
    }
}
