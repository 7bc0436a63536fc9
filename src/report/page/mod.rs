//! `report.html`: the whole study on one page. First what a grower asks for: a pass from above, three answers, sliders, warnings that
//! change a decision and what can hurt; then, folded, all that an engineer, a dealer or a workshop needs beyond.

mod farms;
mod film;
mod following;
mod method;
mod rates;
mod rests_on;
mod room;
#[cfg(test)]
pub(in crate::report) mod tests;
mod trust;
mod try_it;
mod warnings;

use super::answers;
use super::both::Both;
use super::display::Units;
use super::live::{self, Data, Film};
use super::parts::{self, Fold, wide_twin};
use super::svg::Pictures;
use super::svg::twin::{Twin, study_twins};
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
        .filter(|trace| lanes.contains(&trace.kind))
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

/// A page with nothing but the film of `traces` and `worst`.
pub fn film_page(results: &Results, traces: &[Trace], worst: &[Trace]) -> String {
    let both = Both::of(results);
    let film = live::film(results, traces, worst);
    parts::live_page(
        &format!("{} - a pass", results.scenario.name),
        both.own(),
        html! { main { (parts::units_switch(both.own())) (film::section(film.as_ref(), both)) } },
        &Data::new(both.own(), &[], film.as_ref()),
    )
}

struct Page<'a> {
    results: &'a Results,
    both: Both,
}

impl Page<'_> {
    fn body(&self, pictures: &Pictures<Twin>, film: Option<&Film>) -> Markup {
        let (results, both) = (self.results, self.both);
        let folds = self.folds(pictures);
        html! {
            main {
                (parts::units_switch(both.own()))
                h1 { (results.scenario.name) }
                p.soft.own-units { (results.scenario.description) }
                @if !results.complete {
                    p.warn { "This study was cut short. Its numbers stand for the passes that were done." }
                }
                (film::section(film, both))
                (said(both, |units| three(results, units)))
                p.soft { (method::AT_MOST) }
                (self.contents(&folds))
                (try_it(&[results], both, &[&pictures.maps], &["First"]))
                (self.warnings())
                (cautions())
                (room::room())
                @for fold in &folds { (fold.markup()) }
            }
            footer { p { (results.tool.name) " " (results.tool.version) } }
        }
    }

    fn clearance(&self, units: Units) -> String {
        units.clearance(self.results.working_clearance_m)
    }

    /// What an engineer, a dealer or a workshop asks for beyond the answers.
    fn folds(&self, pictures: &Pictures<Twin>) -> Vec<Fold> {
        let speeds = html! {
            (self.rates_now())
            (self.differences())
            h3 { "Clearance, speed by speed" }
            (gallery(&pictures.rates))
            (self.rows())
            (self.entry())
        };
        let following = html! {
            (self.passes(pictures))
            (self.tracking())
            (self.error_budget(pictures))
            (self.margins())
        };
        let method = html! { (self.method()) (origin(self.results, self.both)) };
        let mut folds = vec![Fold::new("speeds", "Plants cut at every speed", speeds)];
        if let Some(farms) = self.farms(pictures) {
            folds.push(Fold::new("farms", "Farms like this one", farms));
        }
        folds.extend(answers::parts(self.results, self.both, pictures));
        folds.push(Fold::new(
            "following",
            "How well the tools follow",
            following,
        ));
        if let Some(warnings) = self.further_warnings() {
            folds.push(Fold::new("further-warnings", "Further warnings", warnings));
        }
        folds.extend([
            Fold::new("rests-on", "What this rests on", self.rests_on()),
            Fold::new("trust", "How far to trust it", self.trust()),
            Fold::new("method", "Method, and what is left out", method),
        ]);
        folds
    }

    /// Where to find what on a long page.
    fn contents(&self, folds: &[Fold]) -> Markup {
        html! {
            nav aria-label="On this page" { ul {
                @if self.warned() { li { a href="#warnings" { "Warnings" } } }
                li { a href="#cautions" { "Safety" } }
                @for fold in folds { li { (fold.link()) } }
            } }
        }
    }

    fn passes(&self, pictures: &Pictures<Twin>) -> Markup {
        html! {
            @if !pictures.above.is_empty() {
                h3 { "One pass from above" }
                (gallery(&pictures.above))
                h3 { "Shift and demand" }
                @if let Some(picture) = pictures.shift.first() {
                    p.soft { (picture.say(|picture| format!("{} {}", picture.note, picture.reading))) }
                }
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
