//! Sections of the page that answer engineer, dealer, grower and workshop: the sentence first, then its numbers.

pub mod dealer;
pub mod engineer;
pub mod grower;
pub mod workshop;

use super::both::Both;
use super::changes;
use super::display::{Units, percent, points};
use super::parts::Fold;
use super::sentences::{NOT_COMPLETE, answered, lacking};
use super::svg::{Pictures, twin::Twin};
use crate::report::words::capital;
use crate::results::Results;
use crate::results::Share;
use crate::results::answers::Limited;
use crate::results::answers::{Effect, Status};
use crate::results::reasons::Reason;
use maud::{Markup, html};

/// All of them as parts of the page, or why there are none.
pub fn parts(results: &Results, both: Both, pictures: &Pictures<Twin>) -> Vec<Fold> {
    if !answered(results) {
        let lack = html! { p { (NOT_COMPLETE) } };
        return vec![Fold::new(
            "answers",
            "Stroke, speed, spacing and setting sheet",
            lack,
        )];
    }
    let fast = html! { (dealer::how_fast(results, both)) (dealer::what_pays(results, both)) };
    let cost = html! {
        (grower::spacing(results, both))
        (grower::stages(results, both))
        (grower::soil(results, both))
    };
    let machine = html! {
        (engineer::stroke(results, both))
        (engineer::cylinder(results, both))
        (engineer::control(results, both, pictures))
    };
    vec![
        Fold::new("how-fast", "How fast, and what pays", fast),
        Fold::new("costs", "Costs, crop and soil", cost),
        Fold::new("machine", "Side-shift, cylinder, camera", machine),
        Fold::new(
            "tools",
            "Where every tool goes",
            workshop::sheet(results, both, pictures),
        ),
    ]
}

/// The sentence of an answer; where there is none, in the colour of a warning.
fn said(
    both: Both,
    status: Status,
    reason: Option<&Reason>,
    words: impl Fn(Units) -> String,
) -> Markup {
    let lack = |units| lacking(status, reason, units).unwrap_or_default();
    match status {
        Status::Ok => html! { p.said { (both.say(words)) } },
        Status::NoAnswer | Status::NoData => html! { p.warn { (both.say(lack)) } },
    }
}

/// A rate with its limits below.
fn rate_cell(cut: &Share) -> Markup {
    html! { td.rate { (percent(cut.rate)) small { (percent(cut.lower)) " to " (percent(cut.upper)) } } }
}

/// A difference of rates in percentage points with its limits below.
fn difference_cell(of: &Limited) -> Markup {
    let [value, lower, upper] = points(of.value, of.lower, of.upper);
    html! { td.rate { (value) small { (lower) " to " (upper) } } }
}

/// Lines of changes and what they do to the plants cut.
fn effects(effects: &[Effect], both: Both) -> Markup {
    html! {
        table {
            thead { tr {
                th.text scope="col" { "Change" }
                th scope="col" { "Plants cut" }
                th scope="col" { "Difference, percentage points" }
            } }
            tbody { @for effect in effects { tr {
                th.text scope="row" { (both.say(|units| capital(changes::change(effect.change, units)))) }
                (rate_cell(&effect.cut))
                (difference_cell(&effect.difference))
            } } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{both::seen, svg::twin::study_twins, synthetic};

    fn shown(results: &Results) -> String {
        let both = Both::of(results);
        let pictures = study_twins(results, &[], both);
        let parts = parts(results, both, &pictures);
        let page: String = parts
            .iter()
            .map(|part| part.markup().into_string())
            .collect();
        seen(&page, both.own())
    }

    #[test]
    fn prop_no_answer_and_no_data_are_said_with_their_reason() {
        let page = shown(&synthetic::unanswered(synthetic::results()));
        for why in [
            "even the longest stroke",
            "the rows ask for no shift speed",
            "the path is replayed",
            "no simulated setting keeps every limit",
            "no simulated clearance keeps the allowed rate at",
            "the values of the scenario lead to no finite number",
            "no tool on hand fits",
        ] {
            let told = format!("No answer within what was simulated: {why}");
            assert!(page.contains(&told), "{why}");
        }
        assert!(page.contains("even the slowest simulated speed cuts more plants"));
        let page = shown(&synthetic::without_data(synthetic::results()));
        for table in ["farm", "growth", "soil", "workshop", "hydraulics"] {
            let told = format!("for lack of data: add the table [{table}] with ");
            assert!(page.contains(&told), "{table}");
        }
    }

    #[test]
    fn prop_a_study_cut_short_says_that_answers_need_a_complete_one() {
        let mut results = synthetic::results();
        results.answers = Default::default();
        let page = shown(&results);
        assert!(page.contains(NOT_COMPLETE));
        assert_eq!(page.matches("<h2").count(), 1);
    }

    /// A difference of two shares is told in percentage points or in plants, never as a percentage of something.
    #[test]
    fn prop_no_difference_of_rates_is_called_percent() {
        let page = shown(&synthetic::results());
        let signed = page
            .split(['>', ' ', '('])
            .zip(page.split(['>', ' ', '(']).skip(1));
        for (word, next) in signed {
            let number =
                word.starts_with(['+', '-']) && word[1..].starts_with(|c: char| c.is_ascii_digit());
            assert!(!(number && next.starts_with('%')), "{word} {next}");
        }
        assert!(page.matches("percentage points").count() >= 3);
        assert!(page.contains("against the day 1.2 more plants in 1000 (limits +0.9 to +1.5)"));
    }

    #[test]
    fn prop_every_section_has_a_heading_and_a_sentence() {
        let page = shown(&synthetic::results());
        assert_eq!(page.matches("<h3").count(), 9);
        assert_eq!(page.matches("<details").count(), 4);
        assert_eq!(page.matches("<p class=\"said\"").count(), 9);
        assert!(!page.contains("NaN"));
    }
}
