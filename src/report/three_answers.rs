//! The three answers that come first, one for each user, in the same words on the terminal and on the page.

use super::bounds;
use super::changes;
use super::display::{
    Units, controller_in_words, cut_in_words, limit_in_words, percent, plants_in_words, trimmed,
};
use super::sentences::{
    self, answered, cheaper_but, cut_and_touched, cylinder_name, gains, highest, lacking,
    plain_gain, price, recommended_place, speed_answer, what_binds,
};
use crate::answers::limits::keeps;
use crate::model::controller::Kind;
use crate::montecarlo::tally::TRADE_ROOM_M;
use crate::report::words::farms;
use crate::report::words::reasons::reason;
use crate::report::words::{capital, sentence};
use crate::results::Results;
use crate::results::answers::{Bound, Recommended, Status};
use crate::results::reasons::Reason;

/// Whose questions they answer, in their order.
pub const HEADINGS: [&str; 3] = ["In the field", "How fast", "At the machine"];

/// An answer in plain words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// Whose question it is.
    pub heading: &'static str,
    /// The answer in one sentence.
    pub lead: String,
    /// What else to know, a sentence or two each.
    pub more: Vec<String>,
}

/// For the grower, for the dealer and for the engineer.
pub fn three(results: &Results, units: Units) -> [Said; 3] {
    [
        field(results, units),
        speed(results, units),
        machine(results, units),
    ]
}

/// The recommended setting, what it does to plants and purse, and the setting worked now.
fn field(results: &Results, units: Units) -> Said {
    let answers = &results.answers;
    let mut more = Vec::new();
    let lead = match &answers.recommended {
        Some(setting) => {
            more.push(cut_and_touched(
                &setting.cut,
                &setting.touched,
                [&setting.cut_entry, &setting.cut_rest],
                results,
                units,
            ));
            more.extend(farms::sentences(results));
            more.extend(costs(results, setting, units));
            format!(
                "Recommended: {}, with {}.",
                recommended_place(setting, units),
                controller_in_words(setting.controller)
            )
        }
        None if answered(results) => answers.not_recommended.as_ref().map_or_else(
            || "No setting is recommended.".to_owned(),
            |why| {
                let why = reason(why, units);
                sentence(&format!("No setting is recommended: {why}"))
            },
        ),
        None => "Which setting is best: only a complete study tells.".to_owned(),
    };
    if answers.spacing.status == Status::Ok {
        more.extend(cheaper_but(results, units));
    } else if answered(results) {
        more.extend(lacking(
            answers.spacing.status,
            answers.spacing.reason.as_ref(),
            units,
        ));
    }
    more.extend(at_work(results, units));
    Said {
        heading: HEADINGS[0],
        lead,
        more,
    }
}

/// What the recommended setting costs, leaves and takes.
fn costs(results: &Results, setting: &Recommended, units: Units) -> Option<String> {
    let cost = price(setting.cost_per_ha?, results, units);
    let mut told = format!("It costs {cost} each round.");
    if let Some(farm) = &results.answers.spacing.recommended {
        let days = trimmed(farm.days, 1);
        told += &format!(
            " It leaves {} of the weeds and takes {days} {}",
            percent(farm.weeds_left_share),
            if days == "1" { "day" } else { "days" }
        );
        told += if setting.in_time == Some(false) {
            ", more than soil and weather allow."
        } else {
            "."
        };
    }
    Some(told)
}

/// Plants cut as it is worked now, with the frame steered and locked, and the bounds that this breaks.
fn at_work(results: &Results, units: Units) -> Option<String> {
    let guided = results.at_work(guided(results)?)?;
    let mut text = format!(
        "As worked now, {} with the tools {} from the row: {}.",
        units.speed_text(results.working_speed_m_s),
        units.clearance(results.working_clearance_m),
        uncapital_about(&cut_in_words(&guided.cut)),
    );
    let broken = broken_at_work(results);
    if !broken.is_empty() {
        text += &format!(" There {}.", bounds::all_broken(&broken));
    }
    if let Some(locked) = (results.at_work(Kind::Locked)).filter(|locked| locked != &guided) {
        text += &format!(
            " With the frame locked it would be {}.",
            plants_in_words(locked.cut.rate)
        );
    }
    Some(text)
}

/// Bounds that the working setting breaks under the controller that the answers speak of.
pub fn broken_at_work(results: &Results) -> Vec<Bound> {
    let answers = &results.answers;
    let of_work = answers.speed.iter().find(|answer| {
        Some(answer.controller) == answers.controller
            && answer.clearance_m == results.working_clearance_m
    });
    let limits = of_work.map_or(&[][..], |answer| &answer.limits);
    let broken = limits
        .iter()
        .filter(|limit| !keeps(limit, results.working_speed_m_s));
    broken.map(|limit| limit.cause).collect()
}

fn uncapital_about(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |first| {
        first.to_lowercase().chain(chars).collect()
    })
}

/// The controller that the page speaks of where it speaks of one.
pub fn guided(results: &Results) -> Option<Kind> {
    let answer = &results.answer;
    let chosen = answer.fastest.as_ref().or(answer.fewest.as_ref());
    results
        .answers
        .controller
        .or(chosen.map(|choice| choice.controller))
}

/// The highest speed, what bounds it and what helps.
fn speed(results: &Results, units: Units) -> Said {
    let answer = speed_answer(results);
    let found = answer.and_then(|answer| Some((answer, highest(answer, units)?)));
    let mut more = Vec::new();
    let lead = match (&found, answer, &results.answer.fastest) {
        (Some((answer, highest)), ..) => {
            let recommended = results.answers.recommended.as_ref();
            // Who read the recommended setting knows what steers the frame.
            let steered = match recommended.filter(|one| one.controller == answer.controller) {
                Some(_) => String::new(),
                None => format!(", with {}", controller_in_words(answer.controller)),
            };
            more.push(format!(
                "The tools run {} from the row{steered}. {}",
                units.clearance(answer.clearance_m),
                what_binds(answer, units)
            ));
            capital(&format!("{}.", sentences::kept(highest, answer)))
        }
        (None, Some(answer), _) => {
            if let Some(binding) = answer.binding {
                more.push(format!(
                    "With the tools {} from the row {}.",
                    units.clearance(answer.clearance_m),
                    bounds::broken(binding)
                ));
            }
            more.extend(lacking(answer.status, answer.reason.as_ref(), units));
            "No simulated speed keeps every limit.".to_owned()
        }
        (None, None, Some(choice)) => {
            more.push(format!(
                "The tools run {} from the row, with {}. {}.",
                units.clearance(choice.clearance_m),
                controller_in_words(choice.controller),
                cut_in_words(&choice.cut)
            ));
            format!(
                "{} is the highest simulated speed so far at which no more plants are cut than the allowed {}.",
                units.speed_text(choice.speed_m_s),
                limit_in_words(results.allowed_cut_rate)
            )
        }
        _ => format!(
            "No simulated speed keeps the allowed {} of plants cut.",
            limit_in_words(results.allowed_cut_rate)
        ),
    };
    if let Some(best) = gains(results).next() {
        more.push(format!(
            "What helps most: {} ({}).",
            changes::change(best.change, units),
            plain_gain(best, units)
        ));
    }
    Said {
        heading: HEADINGS[1],
        lead,
        more,
    }
}

/// Stroke, cylinder, and how well the tools follow.
fn machine(results: &Results, units: Units) -> Said {
    let (stroke, hydraulics) = (&results.answers.stroke, &results.answers.hydraulics);
    let mut more = Vec::new();
    let lead = match stroke.recommended_m {
        Some(stroke_m) if stroke.status == Status::Ok => format!(
            "{} of side-shift from end to end is enough; the machine has {}.",
            units.clearance(stroke_m),
            units.clearance(stroke.fitted_m)
        ),
        _ => unanswered(
            results,
            stroke.status,
            stroke.reason.as_ref(),
            units,
            "How much side-shift is enough",
        ),
    };
    if hydraulics.status == Status::Ok {
        let serving = hydraulics.combinations.iter().find(|one| one.serves);
        more.push(format!(
            "The frame must move at up to {} {}. {}",
            units.shift_speed_number(hydraulics.wanted_speed_m_s),
            units.shift_speed_unit(),
            match serving {
                Some(one) => format!(
                    "The cylinder that needs the least oil: {}.",
                    cylinder_name(one, units)
                ),
                None => "No cylinder of the series will do.".into(),
            }
        ));
    }
    let followed = guided(results).and_then(|name| {
        let mut rows = results.tracking.iter();
        rows.find(|row| row.controller == name && row.speed_m_s == results.working_speed_m_s)
    });
    if let Some(row) = followed {
        more.push(format!(
            "At {} the middle between the tools stays within {} of the row over {} of the way, the trade's yardstick for guided machines. \
             The frame stands at its end stop over {} of it.",
            units.speed_text(row.speed_m_s),
            units.clearance(TRADE_ROOM_M),
            if row.within_38mm_share > 0.9995 {
                "practically all".into()
            } else {
                percent(row.within_38mm_share)
            },
            if row.end_stop_share < 1e-4 {
                "hardly any".into()
            } else {
                percent(row.end_stop_share)
            }
        ));
    }
    Said {
        heading: HEADINGS[2],
        lead,
        more,
    }
}

/// Why there is no answer; after a study that was cut short what it would have told.
fn unanswered(
    results: &Results,
    status: Status,
    reason: Option<&Reason>,
    units: Units,
    question: &str,
) -> String {
    if answered(results) {
        lacking(status, reason, units)
            .unwrap_or_else(|| format!("{question}: no setting stands out."))
    } else {
        format!("{question}: only a complete study tells.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;
    use crate::results::answers::{Answers, Change};

    fn told(results: &Results) -> String {
        three(results, Units::Metric)
            .into_iter()
            .map(|said| format!("{}: {} {}\n", said.heading, said.lead, said.more.join(" ")))
            .collect()
    }

    #[test]
    fn prop_grower_dealer_and_engineer_get_their_number() {
        let told = told(&synthetic::results());
        for words in [
            "In the field: Recommended: 7.3 km/h with the tools 38 mm from the row",
            "About 1 plant in 140 is cut, at most 1 in 110 by these passes, on the whole row of 200 m: 1 in 25 in the first 15 m, 1 in 230 after that.",
            "A further 1 plant in 320 is touched.",
            "of the weeds",
            "As worked now",
            "How fast: 7.3 km/h is the highest speed that keeps every limit.",
            "Beyond it more plants may be cut than allowed.",
            "What helps most: half the camera's delay",
            "At the machine: 250 mm of side-shift from end to end is enough; the machine has 200 mm.",
            "at up to 87 mm/s",
            "bore 32 mm, rod 16 mm",
        ] {
            assert!(told.contains(words), "{words}\n{told}");
        }
    }

    /// No tool stands at the trade's yardstick: the sentence must say what it is, also where the tools are set to something else.
    #[test]
    fn regress_the_yardstick_of_the_trade_is_said_to_be_one() {
        let mut results = synthetic::results();
        results.working_clearance_m = 0.065;
        let told = told(&results);
        assert!(
            told.contains("the middle between the tools stays within 38 mm of the row over")
                && told.contains("the trade's yardstick for guided machines."),
            "{told}"
        );
    }

    #[test]
    fn prop_a_change_is_told_in_the_units_asked_for() {
        let mut results = synthetic::results();
        for line in &mut results.answers.pays {
            line.change = Change::MoreStroke;
        }
        let said = three(&results, Units::Us)[1].more.join(" ");
        assert!(said.contains("What helps most: 4 in more stroke"), "{said}");
        assert!(!said.contains(" mm"), "{said}");
    }

    #[test]
    fn prop_what_has_no_answer_says_why() {
        let told = told(&synthetic::unanswered(synthetic::results()));
        assert!(
            told.contains("No setting is recommended: no simulated setting keeps every limit.")
        );
        assert!(told.contains("No simulated speed keeps every limit."));
        assert_eq!(
            told.matches("No answer within what was simulated").count(),
            3,
            "{told}"
        );
    }

    #[test]
    fn prop_a_study_cut_short_says_what_it_knows() {
        let mut results = synthetic::results();
        results.answers = Answers::default();
        let told = told(&results);
        assert!(
            told.contains("6 km/h is the highest simulated speed so far"),
            "{told}"
        );
        assert_eq!(told.matches("only a complete study tells").count(), 2);
    }
}
