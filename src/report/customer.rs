//! `customer.html`: how fast and at what cost in plants, for somebody who buys or hires the machine. One page of paper.

use super::bounds;
use super::cautions;
use super::changes;
use super::display::{Units, chosen_percent, grouped, limit_in_words, plants_in_words};
use super::parts::{list, paper, wide};
use super::sentences::{self, highest, lacking, speed_answer};
use super::svg::Pictures;
use crate::model::controller::Kind;
use crate::report::words::controllers::spoken;
use crate::results::Known;
use crate::results::answers::SpeedAnswer;
use crate::results::{Assumption, Results};
use maud::{Markup, html};

/// What a value of the scenario means to somebody in the field, in the order in which it is told; `{}` is the value.
const TOLD: [(&str, &str); 11] = [
    (
        "plants.root_margin",
        "A plant counts as touched once a tool comes nearer than {} to its stem, and as cut once it goes through the stem.",
    ),
    (
        "plants.scatter_sd",
        "Two plants in three stand within {} of the line of their row.",
    ),
    (
        "rows.wander",
        "The planter kept within {} of a straight line two thirds of the way.",
    ),
    (
        "driver.hand.observed_wander",
        "The driver keeps the tractor within {} of the row two thirds of the way.",
    ),
    (
        "driver.satellite_line.observed_wander",
        "The tractor keeps within {} of its line two thirds of the way.",
    ),
    ("ground.side_slope", "The side slope of the field is {}."),
    (
        "camera.blind_by_weeds",
        "Weeds hide the rows from the camera over {} of the way.",
    ),
    (
        "camera.blind_by_gaps",
        "Gaps in the rows leave the camera without a row over {} of the way.",
    ),
    (
        "tools.setting_error_sd",
        "Two tools in three are set within {} of where they belong.",
    ),
    (
        "camera.lookahead",
        "The camera looks {} ahead of the tools.",
    ),
    (
        "hydraulics.stroke",
        "The frame can move {} from end to end.",
    ),
];

/// How many of them are told.
const MOST: usize = 5;

/// The page.
pub fn page(results: &Results, pictures: &Pictures) -> String {
    let units = results.scenario.units;
    let work = speed_answer(results);
    let body = html! {
        main.paper.customer {
            h1 { (results.scenario.name) }
            p.soft { (results.scenario.description) }
            (answer(results, work, units))
            @if let Some(picture) = &pictures.plain {
                (wide(picture))
                p.soft { (picture.reading) }
            }
            div.columns {
                div {
                    h2 { "What it rests on" }
                    (rests_on(results))
                }
                div {
                    h2 { "Please note" }
                    ul { @for caution in cautions::CUSTOMER { li { (caution) } } }
                }
            }
            div.byhand {
                p { "Name" }
                p { "Date" }
                p.note { "Note" }
                p.empty {}
                p.empty {}
            }
        }
        footer { p { (origin(results, units)) } }
    };
    paper(
        &format!("{} - how fast", results.scenario.name),
        units,
        body,
    )
}

/// The sentence, and what stands behind it.
fn answer(results: &Results, work: Option<&SpeedAnswer>, units: Units) -> Markup {
    let clearance_m = work.map_or(results.working_clearance_m, |answer| answer.clearance_m);
    let clearance = units.clearance(clearance_m);
    let found = work.and_then(|answer| Some((answer, highest(answer, units)?)));
    html! {
        @match found {
            Some((answer, highest)) => {
                p.main {
                    "With the tools " (clearance) " from the row, "
                    @if answer.at_least {
                        "every simulated speed, up to " (highest.trim_start_matches("at least ")) ", keeps every limit."
                    } @else {
                        (highest) " is the highest speed that keeps every limit."
                    }
                }
                p { (sentences::what_binds(answer, units)) " " (cut_there(results, answer, units)) }
            }
            None => {
                p.main { "With the tools " (clearance) " from the row no simulated speed keeps every limit." }
                @if let Some(answer) = work {
                    @if let Some(binding) = answer.binding { p { "What stands in the way: " (bounds::broken(binding)) "." } }
                    @if let Some(lack) = lacking(answer.status, answer.reason.as_ref(), units) { p { (lack) } }
                }
            }
        }
        @if let Some(setting) = &results.answers.recommended { p { "It needs " (needs(setting.controller)) "." } }
        p {
            @if let Some(locked) = results.at_work(Kind::Locked) {
                "Without steering the frame, at " (units.speed_text(results.working_speed_m_s)) " and "
                (units.clearance(results.working_clearance_m)) ", about " (plants_in_words(locked.cut.rate)) " would be cut. "
            }
            @if let Some(best) = sentences::gains(results).next() {
                "What would help most: " (changes::change(best.change, units)) " (" (sentences::plain_gain(best, units)) ")."
            }
        }
    }
}

/// Plants cut at the recommended setting, which is told where it is another than the highest speed, and what it costs.
fn cut_there(results: &Results, answer: &SpeedAnswer, units: Units) -> String {
    let allowed = limit_in_words(results.allowed_cut_rate);
    let Some(setting) = &results.answers.recommended else {
        return format!("No more than {allowed} plants are to be cut.");
    };
    let highest = answer.highest_speed_m_s.map(|m_s| units.speed_limit(m_s));
    // Compared as printed: two speeds that read alike are one to the reader.
    let at = if highest == Some(units.speed_limit(setting.speed_m_s)) {
        format!("At {}", units.speed_text(setting.speed_m_s))
    } else {
        format!(
            "Recommended is {}. There",
            sentences::recommended_place(setting, units)
        )
    };
    let cost = setting.cost_per_ha.map_or(String::new(), |cost| {
        format!(
            " It costs {} each round.",
            sentences::price(cost, results, units)
        )
    });
    format!(
        "{at} about {} is cut on the whole row of {}, at most {} by these passes; {allowed} is allowed.{cost}",
        plants_in_words(setting.cut.rate),
        units.distance_text(results.row_length_m),
        limit_in_words(setting.cut.upper)
    )
}

/// What a controller needs, in words of the field.
fn needs(controller: Kind) -> String {
    let words = spoken(controller);
    if words.way.is_empty() {
        return words.parts.to_owned();
    }
    format!("{}, with {}", words.parts, words.way)
}

/// The assumptions that matter most, in words.
fn rests_on(results: &Results) -> Markup {
    let told: Vec<String> = TOLD
        .iter()
        .filter_map(|(key, words)| {
            let found = results.assumptions.iter().find(|one| one.key == *key)?;
            Some(words.replace("{}", plain(&found.value)?) + assumed(found))
        })
        .take(MOST)
        .collect();
    let all = results.assumptions.len();
    let guessed = results
        .assumptions
        .iter()
        .filter(|one| !assumed(one).is_empty());
    html! {
        (list("", &told))
        p { "Numbers behind this: " (all) ", of which assumed: " (guessed.count()) ". Another field, crop or driver gives other speeds." }
    }
}

/// A value that is one plain number.
fn plain(value: &str) -> Option<&str> {
    // A spread, a list or a word would not read as part of a sentence.
    (!value.contains(['{', '[', '"'])).then_some(value)
}

fn assumed(one: &Assumption) -> &'static str {
    if one.known == Known::Assumed {
        " (Assumed.)"
    } else {
        ""
    }
}

fn origin(results: &Results, units: Units) -> String {
    format!(
        "Computed by {} {} from {} passes of {} at each speed, seed {}, scenario {}. \"At most\" is the upper {} limit of the simulated share; it does not \
         cover wrong assumptions.",
        results.tool.name,
        results.tool.version,
        grouped(results.passes),
        units.distance_text(results.length_m),
        results.seed,
        results.scenario.file,
        chosen_percent(results.level),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{svg::study_pictures, synthetic};

    fn page_of(results: &Results) -> String {
        page(results, &study_pictures(results, &[], Units::Metric))
    }

    #[test]
    fn prop_the_page_says_the_speed_its_picture_and_its_cautions() {
        let page = page_of(&synthetic::results());
        assert!(page.contains("7.3 km/h is the highest speed that keeps every limit."));
        assert_eq!(page.matches("<svg").count(), 1);
        for caution in cautions::CUSTOMER {
            assert!(page.contains(caution), "{caution}");
        }
        assert!(page.contains("not a permission"));
    }

    #[test]
    fn prop_no_word_of_the_trade_of_control_stands_on_it() {
        let page = page_of(&synthetic::results()).to_lowercase();
        let (_, body) = page.split_once("<body>").unwrap();
        for word in [
            "pid",
            "lag-comp",
            "standard deviation",
            "quantile",
            "confidence",
            "kalman",
            "bode",
        ] {
            assert!(!body.contains(word), "{word}");
        }
    }

    #[test]
    fn prop_assumptions_are_told_in_words_if_they_are_one_number() {
        let results = synthetic::results();
        let page = page_of(&results);
        assert!(page.contains("within 10 mm of the line of their row. (Assumed.)"));
        assert!(page.contains("The side slope of the field is 2 %."));
        assert!(!page.contains("mean ="), "a spread is not one number");
        let assumed = results
            .assumptions
            .iter()
            .filter(|one| one.known == Known::Assumed);
        let told = format!(
            "{}, of which assumed: {}.",
            results.assumptions.len(),
            assumed.count()
        );
        assert!(page.contains(&told));
    }

    #[test]
    fn prop_every_key_that_is_told_is_one_of_the_scenario() {
        for (key, _) in TOLD {
            let (table, name) = key.rsplit_once('.').unwrap();
            let known = crate::scenario::keys::KEYS.iter();
            assert!(
                known
                    .clone()
                    .any(|one| one.table == table && one.name == name),
                "{key}"
            );
        }
    }

    #[test]
    fn prop_where_the_list_of_speeds_ends_no_limit_is_told() {
        let mut results = synthetic::results();
        for answer in &mut results.answers.speed {
            answer.at_least = true;
        }
        let page = page_of(&results);
        assert!(page.contains("every simulated speed, up to 7.3 km/h, keeps every limit."));
        assert!(!page.contains("is the highest speed"));
    }

    #[test]
    fn prop_without_a_speed_nothing_is_promised() {
        let page = page_of(&synthetic::unanswered(synthetic::results()));
        assert!(page.contains("from the row no simulated speed keeps every limit."));
        assert!(page.contains("with the tools 77 mm from the row it would keep"));
        assert!(!page.contains("highest speed"));
    }
}
