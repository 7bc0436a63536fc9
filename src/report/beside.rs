//! `beside.html`: two finished studies on one page, such as two machines, two settings, or before and after.

use super::both::Both;
use super::display::{Units, chosen_percent, controller_title, percent, plants_in_words};
use super::live::Data;
use super::page::{cautions, origin, said, try_it};
use super::parts::{self, scroll};
use super::svg::study_pictures;
use super::svg::twin::Twin;
use super::text::{WIDTH, cell, wrapped};
use super::three_answers::{guided, three};
use super::{File, sentences};
use crate::results::{Rate, Results};
use maud::{Markup, html};

/// Name of the page's file.
pub const FILE: &str = "beside.html";

/// Wherever speeds are told.
const NOT_A_PERMISSION: &str = "A simulated speed is not a permission: makers' manuals, local rules and what you see in the field come first.";

/// Two studies.
pub struct Beside<'a> {
    /// The first; its units are those of the page.
    pub first: &'a Results,
    /// The second.
    pub second: &'a Results,
}

/// A question and what each study says to it.
struct Line {
    question: String,
    first: String,
    second: String,
}

impl Beside<'_> {
    /// The page as a file.
    pub fn file(&self) -> File {
        File::new(FILE, self.page())
    }

    fn studies(&self) -> [&Results; 2] {
        [self.first, self.second]
    }

    fn units(&self) -> Units {
        Units::from_name(&self.first.scenario.units)
    }

    /// The page.
    pub fn page(&self) -> String {
        let title = format!(
            "{} beside {}",
            self.first.scenario.name, self.second.scenario.name
        );
        parts::live_page(
            &title,
            self.units(),
            self.body(Both::new(self.units())),
            &Data::new(self.units(), &self.studies(), None),
        )
    }

    fn body(&self, both: Both) -> Markup {
        let maps = self.maps(both);
        html! {
            main {
                (parts::units_switch(self.units()))
                h1 { (both.stored(&format!("{} beside {}", self.first.scenario.name, self.second.scenario.name))) }
                p.big { (both.say(|units| self.verdict(units))) }
                (self.glance(both))
                p.soft { (NOT_A_PERMISSION) }
                @for (study, place) in self.studies().into_iter().zip(["First", "Second"]) {
                    h2 { (both.stored(&format!("{place}: {}", study.scenario.name))) }
                    p.soft.own-units { (study.scenario.description) }
                    @if !study.complete {
                        p.warn { "This study was cut short. Its numbers stand for the passes that were done." }
                    }
                    (said(both, |units| three(study, units)))
                }
                (try_it(&self.studies(), both, &[&maps[0], &maps[1]]))
                (self.rates(both))
                (self.differing())
                h2 { "How the two hang together" }
                p { "Each study was computed by itself, on its own ground, driver and plants, so the difference of two shares is known no better than "
                    "both together. Where the limits of two shares do not overlap, the studies differ clearly. Two machines on the very same "
                    "passes are told apart more finely: " code { "rowroom compare" } " does that with both scenarios." }
                (cautions())
            }
            footer { @for study in self.studies() { (origin(study, both)) } }
        }
    }

    /// Maps of both studies; ids of the second one's are its own.
    fn maps(&self, both: Both) -> [Vec<Twin>; 2] {
        let maps = |study: &Results, prefix: &str| {
            let [own, other] = both.each().map(|units| {
                let mut maps = study_pictures(study, &[], units).maps;
                for picture in &mut maps {
                    picture.name = format!("{prefix}{}", picture.name);
                }
                maps
            });
            let pairs = own.into_iter().zip(other);
            pairs
                .map(|(own, other)| Twin::new(both, [own, other]))
                .collect()
        };
        [maps(self.first, ""), maps(self.second, "second_")]
    }

    /// What a reader wants to know first.
    fn verdict(&self, units: Units) -> String {
        let (first, second) = (at_work(self.first), at_work(self.second));
        let (Some(first), Some(second)) = (first, second) else {
            return "One of the two studies says nothing about its working setting.".into();
        };
        let at = |study: &Results| {
            format!(
                "{} and {}",
                units.speed_text(study.working_speed_m_s),
                units.clearance(study.working_clearance_m)
            )
        };
        let told = |cell: &Rate, study: &Results| {
            format!("{} at {}", plants_in_words(cell.cut.rate), at(study))
        };
        let both = format!(
            "As worked in each: {} in the first, {} in the second.",
            told(first, self.first),
            told(second, self.second)
        );
        let clear = if second.cut.upper < first.cut.lower {
            "The second clearly cuts fewer plants."
        } else if second.cut.lower > first.cut.upper {
            "The first clearly cuts fewer plants."
        } else {
            "The limits of the two overlap: these studies do not tell which cuts fewer."
        };
        format!("{both} {clear}")
    }

    /// One line for each question that both answer.
    fn lines(&self, units: Units) -> Vec<Line> {
        let line = |question: String, say: &dyn Fn(&Results) -> Option<String>| {
            let said = |study| say(study).unwrap_or_else(|| "not told".into());
            Line {
                question,
                first: said(self.first),
                second: said(self.second),
            }
        };
        vec![
            line("Working setting".into(), &|study| {
                Some(format!(
                    "{}, tools {} from the row",
                    units.speed_text(study.working_speed_m_s),
                    units.clearance(study.working_clearance_m)
                ))
            }),
            line("Frame steered by".into(), &|study| {
                guided(study).map(|name| controller_title(name).to_owned())
            }),
            line("Plants cut there".into(), &|study| {
                let cell = at_work(study)?;
                Some(format!(
                    "{} ({} to {})",
                    percent(cell.cut.rate),
                    percent(cell.cut.lower),
                    percent(cell.cut.upper)
                ))
            }),
            line("Allowed to be cut".into(), &|study| {
                Some(chosen_percent(study.allowed_cut_rate))
            }),
            line("Highest speed, all limits".into(), &|study| {
                sentences::highest(sentences::speed_answer(study)?, units)
            }),
            line("Recommended setting".into(), &|study| {
                let setting = study.answers.recommended.as_ref()?;
                Some(sentences::recommended_place(setting, units))
            }),
            line("Its cost a round".into(), &|study| {
                let cost_per_ha = study.answers.recommended.as_ref()?.cost_per_ha?;
                Some(sentences::price(cost_per_ha, study, units))
            }),
            line("Side-shift from end to end".into(), &|study| {
                Some(units.clearance(study.answers.stroke.recommended_m?))
            }),
            line(
                format!("Shift speed asked for, {}", units.shift_speed_unit()),
                &|study| {
                    let answer = &study.answers.hydraulics;
                    (answer.wanted_speed_m_s > 0.0)
                        .then(|| units.shift_speed_number(answer.wanted_speed_m_s))
                },
            ),
        ]
    }

    fn glance(&self, both: Both) -> Markup {
        let [own, other] = both.each().map(|units| self.lines(units));
        html! {
            (scroll("Both at a glance", html! { "Both at a glance; in brackets the " (chosen_percent(self.first.level)) " limits." }, html! {
                table {
                    thead { tr {
                        th.text scope="col" { "Question" }
                        th.text scope="col" { "First" }
                        th.text scope="col" { "Second" }
                    } }
                    tbody { @for (own, other) in own.iter().zip(&other) {
                        @let of = |units| if units == both.own() { own } else { other };
                        tr {
                            th.text scope="row" { (both.say(|units| of(units).question.as_str())) }
                            td.text { (both.say(|units| of(units).first.as_str())) }
                            td.text { (both.say(|units| of(units).second.as_str())) }
                        }
                    } }
                }
            }))
        }
    }

    /// Plants cut at every speed, each at its working clearance.
    fn rates(&self, both: Both) -> Markup {
        let mut speeds: Vec<f64> = self
            .studies()
            .iter()
            .flat_map(|study| study.speeds_m_s.clone())
            .collect();
        speeds.sort_by(f64::total_cmp);
        speeds.dedup();
        let shown = |study: &Results, v: f64| {
            guided(study)
                .and_then(|name| cell(study, name, v))
                .map(|cell| {
                    (
                        percent(cell.cut.rate),
                        format!("{} to {}", percent(cell.cut.lower), percent(cell.cut.upper)),
                    )
                })
        };
        html! {
            h2 { "Plants cut, speed by speed" }
            (scroll("Plants cut in both", html! { "Share of plants cut on the whole row at the working clearance of each study, with its best controller and "
                    (chosen_percent(self.first.level)) " limits. Empty: that speed was not simulated." }, html! {
                table {
                    thead { tr {
                        th scope="col" { (both.say(|units| format!("Speed, {}", units.speed_unit()))) }
                        @for (study, place) in self.studies().into_iter().zip(["First", "Second"]) {
                            th scope="col" { (both.say(|units| format!("{place}, {}", units.clearance(study.working_clearance_m)))) }
                        }
                    } }
                    tbody { @for v in &speeds { tr {
                        th scope="row" { (both.say(|units| units.speed_number(*v))) }
                        @for study in self.studies() {
                            @match shown(study, *v) {
                                Some((rate, limits)) => td.rate { (rate) small { (limits) } },
                                None => td {},
                            }
                        }
                    } } }
                }
            }))
        }
    }

    /// Values of the scenarios that are not the same.
    fn differing(&self) -> Markup {
        let value = |study: &Results, key: &str| {
            let mut values = study.assumptions.iter();
            values
                .find(|one| one.key == key)
                .map(|one| one.value.clone())
        };
        let mut keys: Vec<(&str, &str)> = Vec::new();
        for one in self.studies().iter().flat_map(|study| &study.assumptions) {
            if !keys.iter().any(|(key, _)| *key == one.key)
                && value(self.first, &one.key) != value(self.second, &one.key)
            {
                keys.push((&one.key, &one.meaning));
            }
        }
        let shown = |study: &Results, key: &str| value(study, key).unwrap_or_else(|| "none".into());
        html! {
            h2 { "What differs in the scenarios" }
            @if keys.is_empty() {
                p { "Nothing: both studies rest on the same values." }
            } @else {
                (scroll("Differing values", html! { "Every value that is not the same in both." }, html! {
                    table.own-units {
                        thead { tr {
                            th.text scope="col" { "What" }
                            th.text scope="col" { "First" }
                            th.text scope="col" { "Second" }
                            th.text scope="col" { "Key in the scenario" }
                        } }
                        tbody { @for (key, meaning) in &keys { tr {
                            td.text { (meaning) }
                            td.text { (shown(self.first, key)) }
                            td.text { (shown(self.second, key)) }
                            td.text { (parts::key(key)) }
                        } } }
                    }
                }))
            }
        }
    }

    /// The same in short for a terminal.
    pub fn text(&self) -> String {
        let units = self.units();
        let mut out = wrapped(
            &format!(
                "First: {} ({}). Second: {} ({}).",
                self.first.scenario.name,
                self.first.scenario.file,
                self.second.scenario.name,
                self.second.scenario.file
            ),
            WIDTH,
        );
        out.push('\n');
        out.push_str(&wrapped(&self.verdict(units), WIDTH));
        out.push('\n');
        for line in self.lines(units) {
            let text = format!(
                "{}: first {}; second {}.",
                line.question, line.first, line.second
            );
            out.push_str(&wrapped(&text, WIDTH));
        }
        out.push('\n');
        out.push_str(&wrapped(NOT_A_PERMISSION, WIDTH));
        out
    }
}

/// The rate of the controller that the study speaks of at its working setting.
fn at_work(study: &Results) -> Option<&Rate> {
    cell(study, guided(study)?, study.working_speed_m_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    fn two() -> (Results, Results) {
        let first = synthetic::results();
        let mut second = first.clone();
        second.scenario.name = "<b>Other</b>".into();
        second.scenario.units = "us".into();
        for Rate { cut, .. } in &mut second.rates {
            (cut.rate, cut.lower, cut.upper) = (0.1 * cut.rate, 0.1 * cut.lower, 0.1 * cut.upper);
        }
        second.assumptions[0].value = "something else".into();
        (first, second)
    }

    #[test]
    fn prop_the_verdict_follows_the_limits() {
        let (first, second) = two();
        let said = |first, second| Beside { first, second }.verdict(Units::Metric);
        assert!(said(&first, &second).contains("The second clearly cuts fewer plants"));
        assert!(said(&second, &first).contains("The first clearly cuts fewer plants"));
        assert!(said(&first, &first).contains("do not tell"));
    }

    #[test]
    fn prop_the_page_tells_what_differs_and_escapes_it() {
        let (first, second) = two();
        let page = Beside {
            first: &first,
            second: &second,
        }
        .page();
        assert!(page.contains("something else"));
        assert!(!page.contains("<b>Other"));
        assert!(page.contains("&lt;b&gt;Other"));
        let same = Beside {
            first: &first,
            second: &first,
        }
        .page();
        assert!(same.contains("both studies rest on the same values"));
    }

    #[test]
    fn prop_ids_are_unique() {
        let (first, second) = two();
        let page = Beside {
            first: &first,
            second: &second,
        }
        .page();
        let mut ids: Vec<&str> = page
            .split(" id=\"")
            .skip(1)
            .map(|rest| rest.split('"').next().unwrap())
            .collect();
        let all = ids.len();
        ids.sort();
        ids.dedup();
        assert_eq!(ids.len(), all);
    }

    #[test]
    fn prop_the_text_fits_a_terminal() {
        let (first, mut second) = two();
        second.scenario.name = "Other".into();
        let text = Beside {
            first: &first,
            second: &second,
        }
        .text();
        assert!(
            text.lines().all(|line| line.chars().count() <= WIDTH),
            "{text}"
        );
        assert!(text.contains("Plants cut there: first "));
        assert!(text.contains("not a permission"));
    }
}
