//! `report.html`: the whole study on one page. The answer comes first, then the pictures that carry it, then the rest.

mod film;
mod following;
mod method;
mod rates;
mod rests_on;
mod room;
#[cfg(test)]
mod tests;
mod try_it;

use super::answers;
use super::both::Both;
use super::display::Units;
use super::live::{self, Data, Film};
use super::parts::{self, wide_twin};
use super::svg::Pictures;
use super::svg::twin::{Twin, study_twins};
use super::text::{sentence, undecided_line};
use super::three_answers::{Said, three};
use crate::results::Results;
use crate::sim::trace::Trace;
use maud::{Markup, html};

pub use method::{cautions, origin};
pub use try_it::try_it;

/// The page. `traces` are the first pass of the study and `worst` its worst one, each under every controller at the working setting.
pub fn page(results: &Results, traces: &[Trace], worst: &[Trace]) -> String {
    let both = Both::of(results);
    let film = live::film(results, traces, worst);
    let lanes = live::lanes(results);
    let shown: Vec<Trace> = traces
        .iter()
        .filter(|trace| lanes.contains(&trace.kind.name()))
        .cloned()
        .collect();
    let pictures = study_twins(results, &shown, both);
    parts::live_page(
        &format!("{} - plants cut", results.scenario.name),
        both.own(),
        Page { results, both }.body(&pictures, film.as_ref()),
        &Data::new(both.own(), &[results], film.as_ref()),
    )
}

struct Page<'a> {
    results: &'a Results,
    both: Both,
}

impl Page<'_> {
    fn body(&self, pictures: &Pictures<Twin>, film: Option<&Film>) -> Markup {
        let (results, both) = (self.results, self.both);
        html! {
            main {
                (parts::units_switch(both.own()))
                h1 { (both.stored(&results.scenario.name)) }
                p.soft.own-units { (results.scenario.description) }
                @if !results.complete {
                    p.warn { "This study was cut short. Its numbers stand for the passes that were done." }
                }
                (said(both, |units| three(results, units)))
                p.soft { "\u{201c}At worst\u{201d} is the upper " (super::display::chosen_percent(results.level))
                    " limit of the simulated rate. A simulated speed is not a permission." }
                (room::room())
                (self.contents(film.is_some()))
                (try_it(&[results], both, &[&pictures.maps], &["First"]))
                (film::section(film))
                (self.warnings())
                (self.rates_now())
                (self.differences())
                (self.pictures(pictures))
                div #questions { (answers::sections(results, both, pictures)) }
                div #following { (self.tracking()) }
                (self.error_budget(pictures))
                (self.margins())
                (self.rows())
                (self.entry())
                div #rests-on { (self.rests_on()) }
                div #method { (self.method()) }
                div #cautions { (cautions()) }
            }
            footer { (origin(results, both)) }
        }
    }

    fn clearance(&self, units: Units) -> String {
        units.clearance(self.results.working_clearance_m)
    }

    /// Where to find what on a long page.
    fn contents(&self, film: bool) -> Markup {
        html! {
            nav aria-label="On this page" { ul {
                li { a href="#try" { "Speed against clearance" } }
                @if film { li.needs-script { a href="#film" { "Watch a pass" } } }
                @if self.warned() { li { a href="#warnings" { "Warnings" } } }
                li { a href="#questions" { "Speed, cost, spacing, machine" } }
                li { a href="#following" { "How well the tools follow" } }
                li { a href="#rests-on" { "What this rests on" } }
                li { a href="#method" { "Method and limits" } }
                li { a href="#cautions" { "Cautions" } }
            } }
        }
    }

    fn warned(&self) -> bool {
        !self.results.warnings.is_empty() || !self.results.undecided.is_empty()
    }

    fn warnings(&self) -> Markup {
        html! {
            @if self.warned() {
                h2 #warnings { "Warnings" }
                @if !self.results.undecided.is_empty() {
                    p.warn { (self.both.say(|units| undecided_line(self.results, units).unwrap_or_default())) }
                }
                @for warning in &self.results.warnings { p.warn.own-units { (sentence(warning)) } }
            }
        }
    }

    fn pictures(&self, pictures: &Pictures<Twin>) -> Markup {
        html! {
            h2 { "Clearance, speed by speed" }
            (gallery(&pictures.rates))
            @if !pictures.above.is_empty() {
                h2 { "One pass from above" }
                (gallery(&pictures.above))
                h2 { "Shift and demand" }
                @if let Some(picture) = pictures.shift.first() { p.soft { (picture.say(|picture| format!("{} {}", picture.note, picture.reading))) } }
                @for picture in &pictures.shift { (wide_twin(picture)) }
                p.soft { "The same pictures of all controllers lie beside this page as SVG files." }
            }
        }
    }
}

/// The three answers in their boxes.
pub fn said(both: Both, three: impl Fn(Units) -> [Said; 3]) -> Markup {
    let [own, other] = both.each().map(three);
    html! {
        div.answers { @for (own, other) in own.iter().zip(&other) {
            @let of = |units| if units == both.own() { own } else { other };
            section {
                h2 { (own.heading) }
                p.big { (both.say(|units| of(units).lead.as_str())) }
                @for i in 0..own.more.len() {
                    p { (both.say(|units| of(units).more.get(i).map_or("", String::as_str))) }
                }
            }
        } }
    }
}

/// Pictures beside one another; what they have in common is said once.
fn gallery(pictures: &[Twin]) -> Markup {
    html! {
        @if let Some(picture) = pictures.first() { p.soft { (picture.reading()) } }
        div.pictures {
            @for picture in pictures {
                figure {
                    (picture.inline())
                    @if picture.has_note() { figcaption { (picture.note()) } }
                }
            }
        }
    }
}
