//! `comparison.html`: machines beside one another on one page. What finished studies answer stands there too, with their sliders.

use super::{
    NOT_A_PERMISSION, PLACES, difference, headings, introduced, rests_on, row, units_of, verdicts,
    with_limits,
};
use crate::answers::compare::Entrant;
use crate::report::both::Both;
use crate::report::display::{chosen_percent, percent};
use crate::report::live::Data;
use crate::report::page::{cautions, origin, said, try_it};
use crate::report::parts::{self, scroll};
use crate::report::svg::lines::{Across, Line, Lines, class};
use crate::report::svg::study_pictures;
use crate::report::svg::twin::Twin;
use crate::report::three_answers::three;
use crate::report::words::capital;
use crate::report::{File, display::Units};
use crate::results::comparison::{Compared, Comparison};
use crate::results::{Assumption, Results};
use maud::{Markup, html};

/// Name of the page's file.
pub const FILE: &str = "comparison.html";

/// A comparison with what was compared.
pub struct Page<'a> {
    comparison: &'a Comparison,
    entrants: &'a [Entrant<'a>],
    assumptions: Vec<Vec<Assumption>>,
}

impl<'a> Page<'a> {
    /// Both in the same order.
    pub fn new(comparison: &'a Comparison, entrants: &'a [Entrant<'a>]) -> Page<'a> {
        let assumptions = entrants.iter().map(|entrant| match entrant {
            Entrant::Scenario(scenario) => scenario.assumptions(),
            Entrant::Study(study) => study.assumptions.clone(),
        });
        Page {
            comparison,
            assumptions: assumptions.collect(),
            entrants,
        }
    }

    /// The page as a file.
    pub fn file(&self) -> File {
        File::new(FILE, self.page())
    }

    /// The page. Its script moves the sliders of finished studies; without any of them there is none.
    pub fn page(&self) -> String {
        let names: Vec<&str> = self
            .machines()
            .map(|(one, _)| one.scenario.name.as_str())
            .collect();
        let (title, units) = (names.join(" against "), units_of(self.comparison));
        let studies: Vec<&Results> = self.studies().map(|(study, _)| study).collect();
        let body = self.body(Both::new(units), &title);
        if studies.is_empty() {
            parts::still_page(&title, units, body)
        } else {
            parts::live_page(&title, units, body, &Data::new(units, &studies, None))
        }
    }

    fn machines(&self) -> impl Iterator<Item = (&'a Compared, &'static str)> {
        self.comparison.machines.iter().zip(PLACES)
    }

    fn studies(&self) -> impl Iterator<Item = (&'a Results, &'static str)> {
        let placed = self.entrants.iter().zip(PLACES);
        placed.filter_map(|(entrant, place)| match entrant {
            Entrant::Study(study) => Some((*study, place)),
            Entrant::Scenario(_) => None,
        })
    }

    fn body(&self, both: Both, title: &str) -> Markup {
        let has_studies = self.studies().next().is_some();
        html! {
            main {
                @if has_studies { (parts::units_switch(both.own())) }
                h1 { (title) }
                @for (machine, place) in self.machines() {
                    p { (both.say(|units| introduced(machine, place, units))) }
                }
                @for number in 0..verdicts(self.comparison, both.own()).len() {
                    p.big { (both.say(|units| verdicts(self.comparison, units).swap_remove(number))) }
                }
                (self.glance(both))
                p.soft { (NOT_A_PERMISSION) }
                (self.over_speed(both))
                (self.rates(both))
                (self.differing())
                @for (study, place) in self.studies() {
                    h2 { (place) ": " (study.scenario.name) }
                    p.soft.own-units { (study.scenario.description) }
                    (said(both, |units| three(study, units)))
                }
                @if has_studies { (self.sliders(both)) }
                h2 { "How the differences are known" }
                p { (rests_on(self.comparison)) }
                (cautions())
            }
            footer {
                @for (study, _) in self.studies() { (origin(study, both)) }
                @for (machine, place) in self.machines() {
                    p { (place) ": SHA-256 of the scenario " code { (machine.scenario.sha256) } "." }
                }
            }
        }
    }

    fn glance(&self, both: Both) -> Markup {
        let level = chosen_percent(self.comparison.level);
        html! {
            (scroll("All at a glance", html! { "Each with its best controller as it is worked; in brackets the " (level) " limits. The highest speed "
                    "keeps the allowed share of plants cut; differences from the first in percentage points (one is 1 plant in 100)." }, html! {
                table {
                    thead { tr {
                        @for column in 0..headings(both.own()).len() {
                            th.text scope="col" { (both.say(|units| headings(units).swap_remove(column))) }
                        }
                    } }
                    tbody { @for (machine, place) in self.machines() { tr {
                        @for column in 0..headings(both.own()).len() {
                            @let cell = both.say(|units| row(machine, place, units).swap_remove(column));
                            @if column == 0 { th.text scope="row" { (cell) } } @else { td.text { (cell) } }
                        }
                    } } }
                }
            }))
            (self.controllers())
        }
    }

    /// Every controller that two machines on the same passes both have.
    fn controllers(&self) -> Markup {
        let title = crate::report::display::controller_title;
        let lines: Vec<_> = self
            .machines()
            .filter_map(|(machine, place)| Some((machine.against_first.as_ref()?, place)))
            .flat_map(|(against, place)| against.pairs.iter().map(move |pair| (pair, place)))
            .collect();
        html! { @if !lines.is_empty() {
            (scroll("Controller by controller", html! { "Controller by controller, plants cut on the same passes." }, html! {
                table {
                    thead { tr {
                        @for heading in ["Machine", "Controller of the first", "Its own controller", "Cut by the first", "Cut by it", "Difference, points"] {
                            th.text scope="col" { (heading) }
                        }
                    } }
                    tbody { @for (pair, place) in &lines { tr {
                        th.text scope="row" { (place) }
                        td.text { (title(pair.first_controller)) }
                        td.text { (title(pair.other_controller)) }
                        td.text { (with_limits(&pair.first_rate)) }
                        td.text { (with_limits(&pair.other_rate)) }
                        td.text { (difference(&pair.difference)) }
                    } } }
                }
            }))
        } }
    }

    /// Lines of plants cut over speed, one for each machine.
    pub fn lines(&self, units: Units) -> Lines {
        let line = |(number, (machine, place)): (usize, (&Compared, &str))| Line {
            name: format!(
                "{}, {}",
                place.to_lowercase(),
                units.clearance(machine.clearance_m)
            ),
            class: class(number),
            points: machine
                .rates
                .iter()
                .map(|rate| (units.speed(rate.speed_m_s), rate.cut))
                .collect(),
        };
        let first = self.comparison.machines.first();
        Lines {
            name: "cut_over_speed".into(),
            title: "Plants cut over speed".into(),
            subtitle: String::new(),
            across_title: format!("speed, {}", units.speed_unit()),
            across: Across::Numbers,
            lines: self.machines().enumerate().map(line).collect(),
            allowed_cut_rate: first.map_or(0.0, |one| one.allowed_cut_rate),
            level: self.comparison.level,
        }
    }

    fn over_speed(&self, both: Both) -> Markup {
        let twin = Twin::new(both, both.each().map(|units| self.lines(units).picture()));
        html! {
            h2 { "Plants cut over speed" }
            p.soft { (twin.reading()) " The allowed share is the first machine's." }
            figure { div.scroll tabindex="0" role="region" aria-label="Plants cut over speed" { (twin.inline()) } }
        }
    }

    /// Plants cut at every speed.
    fn rates(&self, both: Both) -> Markup {
        let rates = || self.machines().flat_map(|(machine, _)| &machine.rates);
        let mut speeds: Vec<f64> = rates().map(|rate| rate.speed_m_s).collect();
        speeds.sort_by(f64::total_cmp);
        speeds.dedup();
        let shown = |machine: &Compared, v: f64| {
            let rate = machine.rates.iter().find(|rate| rate.speed_m_s == v)?;
            let limits = format!("{} to {}", percent(rate.cut.lower), percent(rate.cut.upper));
            Some((percent(rate.cut.value), limits))
        };
        html! {
            (scroll("Plants cut at every speed", html! { "The same in numbers, under the controller of the table above. Empty: that speed was not simulated." }, html! {
                table {
                    thead { tr {
                        th scope="col" { (both.say(|units| format!("Speed, {}", units.speed_unit()))) }
                        @for (machine, place) in self.machines() {
                            th scope="col" { (both.say(|units| format!("{place}, {}", units.clearance(machine.clearance_m)))) }
                        }
                    } }
                    tbody { @for v in &speeds { tr {
                        th scope="row" { (both.say(|units| units.speed_number(*v))) }
                        @for (machine, _) in self.machines() {
                            @match shown(machine, *v) {
                                Some((rate, limits)) => td.rate { (rate) small { (limits) } },
                                None => td {},
                            }
                        }
                    } } }
                }
            }))
        }
    }

    fn value(&self, machine: usize, key: &str) -> Option<&str> {
        let found = self.assumptions[machine].iter().find(|one| one.key == key);
        found.map(|one| one.value.as_str())
    }

    /// Values of the scenarios that are not the same.
    fn differing(&self) -> Markup {
        let machines = 0..self.assumptions.len();
        let mut keys: Vec<(&str, &str)> = Vec::new();
        for one in self.assumptions.iter().flatten() {
            let first = self.value(0, &one.key);
            let differs = machines
                .clone()
                .any(|machine| self.value(machine, &one.key) != first);
            if differs && !keys.iter().any(|(key, _)| *key == one.key) {
                keys.push((&one.key, &one.meaning));
            }
        }
        html! {
            h2 { "What differs in the scenarios" }
            @if keys.is_empty() {
                p { "Nothing: all rest on the same values." }
            } @else {
                (scroll("Differing values", html! { "Every value that is not the same in all." }, html! {
                    table.own-units {
                        thead { tr {
                            th.text scope="col" { "What" }
                            @for (_, place) in self.machines() { th.text scope="col" { (place) } }
                            th.text scope="col" { "Key in the scenario" }
                        } }
                        tbody { @for (key, meaning) in &keys { tr {
                            td.text { (capital(meaning)) }
                            @for machine in machines.clone() { td.text { (self.value(machine, key).unwrap_or("none")) } }
                            td.text { (parts::key(key)) }
                        } } }
                    }
                }))
            }
        }
    }

    fn sliders(&self, both: Both) -> Markup {
        let (studies, places): (Vec<&Results>, Vec<&str>) = self.studies().unzip();
        let maps: Vec<Vec<Twin>> = studies
            .iter()
            .enumerate()
            .map(|(number, study)| maps(study, number, both))
            .collect();
        let maps: Vec<&[Twin]> = maps.iter().map(Vec::as_slice).collect();
        try_it(&studies, both, &maps, &places)
    }
}

/// Maps of a study; ids of a further one are its own.
fn maps(study: &Results, number: usize, both: Both) -> Vec<Twin> {
    let prefix = match number {
        0 => String::new(),
        _ => format!("{}_", PLACES[number % PLACES.len()].to_lowercase()),
    };
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
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::compare::{How, compare};
    use crate::montecarlo::study::Unwatched;
    use crate::report::compare::comparison_text;
    use crate::report::page::tests::unique_ids;
    use crate::report::synthetic;
    use crate::report::text::WIDTH;
    use crate::results::Rate;
    use crate::scenario::{Given, Scenario};

    const HOW: How = How {
        seed: 1,
        passes: 8,
        threads: Some(1),
    };

    fn two() -> (Results, Results) {
        let first = synthetic::results();
        let mut second = first.clone();
        second.scenario.name = "<b>Other</b>".into();
        second.scenario.units = Units::Us;
        for Rate { cut, .. } in &mut second.rates {
            (cut.rate, cut.lower, cut.upper) = (0.1 * cut.rate, 0.1 * cut.lower, 0.1 * cut.upper);
        }
        second.assumptions[0].value = "something else".into();
        (first, second)
    }

    fn of(entrants: &[Entrant]) -> (Comparison, String) {
        let found = compare(entrants, HOW, &Unwatched).unwrap();
        let page = Page::new(&found, entrants).page();
        (found, page)
    }

    #[test]
    fn prop_the_verdict_follows_the_limits() {
        let (first, second) = two();
        let said = |a, b| {
            let (found, _) = of(&[Entrant::Study(a), Entrant::Study(b)]);
            comparison_text(&found)
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
        };
        assert!(said(&first, &second).contains("The second machine cuts fewer plants"));
        assert!(said(&second, &first).contains("The second machine cuts more plants"));
        assert!(said(&first, &first).contains("The second machine is not told apart"));
        assert!(said(&first, &first).contains("unpaired"));
    }

    #[test]
    fn prop_the_page_tells_what_differs_and_escapes_it() {
        let (first, second) = two();
        let (_, page) = of(&[Entrant::Study(&first), Entrant::Study(&second)]);
        assert!(page.contains("something else"));
        assert!(!page.contains("<b>Other"));
        assert!(page.contains("&lt;b&gt;Other"));
        let (_, same) = of(&[Entrant::Study(&first), Entrant::Study(&first)]);
        assert!(same.contains("all rest on the same values"));
    }

    #[test]
    fn prop_ids_are_unique_and_the_text_fits_a_terminal() {
        let (first, mut second) = two();
        second.scenario.name = "Other".into();
        let demo = Scenario::demo().unwrap();
        let given = Given::parse("camera.latency=120 ms").unwrap();
        let slow = demo.changed(&[given]).unwrap();
        let (found, page) = of(&[
            Entrant::Scenario(&demo),
            Entrant::Study(&first),
            Entrant::Study(&second),
            Entrant::Scenario(&slow),
        ]);
        unique_ids(&page);
        let text = comparison_text(&found);
        let widest = text.lines().map(|line| line.chars().count()).max();
        assert!(widest <= Some(WIDTH), "{text}");
        assert!(text.contains("not a permission"));
        assert!(text.contains("camera.latency = 120 ms"));
        let paired = |place: usize| found.machines[place].against_first.as_ref().unwrap().paired;
        assert_eq!([1, 2, 3].map(paired), [false, false, true]);
    }
}
