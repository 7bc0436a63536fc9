//! The three answers that come first, one for each user, in the same words on the terminal and on the page.

use super::display::{
    Units, controller_in_words, limit_in_words, percent, plants_in_words, strikes_in_words, trimmed,
};
use super::restate::restated;
use super::sentences::{
    self, answered, capital, cell_of, cylinder_name, gains, highest, lacking, place, plain_gain,
    price, speed_at_work,
};
use super::text::{cell, sentence};
use crate::montecarlo::tally::TRADE_ROOM_M;
use crate::results::Results;
use crate::results::answers::Status;

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
    let said = [
        field(results, units),
        speed(results, units),
        machine(results, units),
    ];
    // Reasons and changes may be told in other units than those asked for.
    let in_units = |text: String| restated(&text, units).unwrap_or(text);
    said.map(|said| Said {
        lead: in_units(said.lead),
        more: said.more.into_iter().map(in_units).collect(),
        ..said
    })
}

/// Which setting costs least, and how many plants are struck as it is worked now.
fn field(results: &Results, units: Units) -> Said {
    let answer = &results.answers.spacing;
    let mut more = Vec::new();
    let lead = match (answer.status, &answer.best) {
        (Status::Ok, Some(best)) => {
            let mut costs = format!(
                "It costs {} each round.",
                price(best.cost_per_ha, results, units)
            );
            if let Some(cell) = cell_of(results, best) {
                let days = trimmed(cell.days, 1);
                costs += &format!(
                    " It leaves {} of the weeds and takes {days} {}",
                    percent(cell.weeds_left_share),
                    if days == "1" { "day" } else { "days" }
                );
                costs += if cell.in_time {
                    "."
                } else {
                    ", more than soil and weather allow."
                };
            }
            more.push(costs);
            more.push(match &answer.best_allowed {
                Some(allowed) if allowed == best => "It keeps the allowed strikes.".into(),
                Some(allowed) => format!(
                    "Least cost that keeps the allowed strikes: {}. It costs {}.",
                    place(allowed, units),
                    price(allowed.cost_per_ha, results, units)
                ),
                None => "No priced setting keeps the allowed strikes.".into(),
            });
            format!("Least cost: {}.", place(best, units))
        }
        _ => unanswered(
            results,
            answer.status,
            answer.reason.as_deref(),
            "Which spacing is best",
        ),
    };
    more.extend(at_work(results, units));
    Said {
        heading: HEADINGS[0],
        lead,
        more,
    }
}

/// Strikes as it is worked now, with the frame steered and locked.
fn at_work(results: &Results, units: Units) -> Option<String> {
    let rate = |name: &str| cell(results, name, results.working_speed_m_s);
    let guided = rate(guided(results)?)?;
    let mut text = format!(
        "As worked now, {} with the tools {} from the row: {}.",
        units.speed_text(results.working_speed_m_s),
        units.clearance(results.working_clearance_m),
        uncapital_about(&strikes_in_words(guided.rate, guided.upper)),
    );
    if let Some(locked) = rate("locked").filter(|locked| locked.controller != guided.controller) {
        text += &format!(
            " With the frame locked it would be {}.",
            plants_in_words(locked.rate)
        );
    }
    Some(text)
}

fn uncapital_about(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |first| {
        first.to_lowercase().chain(chars).collect()
    })
}

/// The controller that the page speaks of where it speaks of one.
pub fn guided(results: &Results) -> Option<&str> {
    let answer = &results.answer;
    let chosen = answer.fastest.as_ref().or(answer.fewest.as_ref());
    results
        .answers
        .controller
        .as_deref()
        .or(chosen.map(|choice| choice.controller.as_str()))
}

/// The highest simulated speed, what limits it and what helps.
fn speed(results: &Results, units: Units) -> Said {
    let work = speed_at_work(results);
    let found = work.and_then(|work| Some((work, highest(work, units)?)));
    let allowed = limit_in_words(results.allowed_rate);
    let clearance = units.clearance(results.working_clearance_m);
    let mut more = Vec::new();
    let lead = match (&found, &results.answer.fastest) {
        (Some((work, highest)), _) => capital(&format!(
            "{} the allowed {allowed}.",
            sentences::kept(highest, work)
        )),
        (None, Some(choice)) if work.is_none() => format!(
            "{} is the highest simulated speed so far that keeps the allowed {allowed}.",
            units.speed_text(choice.speed_m_s)
        ),
        _ => format!("No simulated speed keeps the allowed {allowed}."),
    };
    let mut setting = format!("The tools run {clearance} from the row");
    if let Some(name) = found
        .as_ref()
        .map(|(work, _)| work.controller.as_str())
        .or(guided(results))
    {
        setting += &format!(", with {}", controller_in_words(name));
    }
    more.push(setting + ".");
    match (&found, &results.answer.fastest) {
        (Some((work, _)), _) => {
            if let (Some(rate), Some(upper)) = (work.rate, work.rate_upper) {
                more.push(format!("{} at that speed.", strikes_in_words(rate, upper)));
            }
        }
        (None, Some(choice)) if work.is_none() => more.push(format!(
            "{} at that speed.",
            strikes_in_words(choice.rate, choice.upper)
        )),
        _ => more.extend(work.and_then(|work| lacking(work.status, work.reason.as_deref()))),
    }
    let binding = found.and_then(|(work, _)| work.binding.as_deref());
    more.push(format!(
        "What limits it: {}",
        sentence(binding.unwrap_or(&results.answer.limit))
    ));
    if let Some(best) = gains(results).next() {
        more.push(format!(
            "What helps most: {} ({}).",
            best.change,
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
            stroke.reason.as_deref(),
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
            "At {} the middle between the tools stays within {} of the row over {} of the way; that is the trade's yardstick for guided machines, \
             whatever the tools are set to. The frame stands at its end stop over {} of it.",
            units.speed_text(row.speed_m_s),
            units.clearance(TRADE_ROOM_M),
            percent(row.within_38mm_share),
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
fn unanswered(results: &Results, status: Status, reason: Option<&str>, question: &str) -> String {
    if answered(results) {
        lacking(status, reason).unwrap_or_else(|| format!("{question}: no setting stands out."))
    } else {
        format!("{question}: only a complete study tells.")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;
    use crate::results::answers::Answers;

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
            "In the field: Least cost: 10.5 km/h",
            "of the weeds",
            "How fast: 7.3 km/h is the highest simulated speed",
            "What limits it: lag of camera and valve.",
            "What helps most: latency of the camera halved",
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
                && told.contains("that is the trade's yardstick for guided machines, whatever the tools are set to."),
            "{told}"
        );
    }

    #[test]
    fn prop_a_change_told_in_other_units_is_restated() {
        let mut results = synthetic::results();
        for line in &mut results.answers.pays {
            line.change = "100 mm more stroke".into();
        }
        let said = three(&results, Units::Us)[1].more.join(" ");
        assert!(
            said.contains("What helps most: 3.94 in more stroke"),
            "{said}"
        );
        assert!(!said.contains(" mm"), "{said}");
    }

    #[test]
    fn prop_what_has_no_answer_says_why() {
        let told = told(&synthetic::unanswered(synthetic::results()));
        assert!(told.contains("No simulated speed keeps the allowed"));
        assert_eq!(
            told.matches("No answer within what was simulated").count(),
            3
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
