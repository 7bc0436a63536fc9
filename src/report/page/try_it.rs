//! Sliders over the simulated settings, with the maps that they move on.

use crate::report::both::Both;
use crate::report::display::{Units, plain_title};
use crate::report::svg::twin::Twin;
use crate::report::three_answers::guided;
use crate::results::Results;
use maud::{Markup, html};

/// What is told of a setting: the start of the id and the question.
const TOLD: [(&str, &str); 9] = [
    ("words", "Plants cut"),
    ("rate", "Share of plants cut"),
    ("limits", "Could be"),
    ("touched", "Touched, not cut"),
    ("keeps", "Allowed to be cut"),
    ("weeds", "Weeds left"),
    ("area", "Field work"),
    ("days", "For all the land"),
    ("cost", "Cost a round"),
];

/// The section for one study or for several beside one another, each with what it is called there; the sliders run over what all of them
/// simulated.
pub fn try_it(studies: &[&Results], both: Both, maps: &[&[Twin]], places: &[&str]) -> Markup {
    let reading = maps.iter().find_map(|maps| maps.first());
    html! {
        section #try {
            h2 { "Try other settings" }
            @if let Some(picture) = reading.filter(|_| studies.len() > 1) { p.soft { (picture.reading()) } }
            div.try.one[studies.len() == 1].two[studies.len() > 1] {
                (panel(studies, places))
                @for (number, (study, maps)) in studies.iter().zip(maps).enumerate() {
                    div.maps data-study=(number) {
                        @if studies.len() > 1 { h3 { (places[number]) ": " (study.scenario.name) } }
                        div.pictures {
                            @for (name, picture) in study.ran().zip(*maps) {
                                figure data-controller=(name.name()) { (picture.inline()) }
                            }
                        }
                        @if let Some(picture) = reading.filter(|_| studies.len() == 1) { p.soft { (picture.reading()) } }
                    }
                }
            }
            (rule(studies, both))
        }
    }
}

fn panel(studies: &[&Results], places: &[&str]) -> Markup {
    html! {
        div.panel.needs-script {
            @for (what, label) in [("speed", "Speed"), ("clearance", "Tools from the row")] {
                div.slider {
                    label for={ "try-" (what) } { (label) }
                    output id={ "try-" (what) "-said" } for={ "try-" (what) } aria-live="off" {}
                    input id={ "try-" (what) } type="range" min="0" step="1";
                }
            }
            @for (number, study) in studies.iter().enumerate() {
                @let id = if number == 0 { "try-controller".to_owned() } else { format!("try-controller-{number}") };
                div.choice {
                    label for=(id) {
                        "Frame steered by"
                        @if studies.len() > 1 { ", " (places[number].to_lowercase()) }
                    }
                    select id=(id) {
                        @for name in study.ran() {
                            option value=(name.name()) selected[Some(name) == guided(study)] { (plain_title(name)) }
                        }
                    }
                }
            }
            table.told {
                @if studies.len() > 1 { thead { tr {
                    td {}
                    @for (number, study) in studies.iter().enumerate() { th scope="col" { (places[number]) ": " (study.scenario.name) } }
                } } }
                tbody { @for (what, question) in TOLD { tr {
                    th scope="row" { (question) }
                    @for number in 0..studies.len() { td { output id={ "try-" (what) "-" (number) } aria-live=(if what == "words" { "polite" } else { "off" }) {} } }
                } } }
            }
        }
    }
}

/// What the sliders do between simulated settings.
fn rule(studies: &[&Results], both: Both) -> Markup {
    let spans = |values: fn(&Results) -> &Vec<f64>, text: &dyn Fn(f64) -> String| {
        let low = studies
            .iter()
            .filter_map(|study| values(study).first().copied())
            .fold(f64::MIN, f64::max);
        let high = studies
            .iter()
            .filter_map(|study| values(study).last().copied())
            .fold(f64::MAX, f64::min);
        format!("{} to {}", text(low), text(high))
    };
    let speeds = |units: Units| spans(|study| &study.speeds_m_s, &|v| units.speed_text(v));
    let clearances = |units: Units| spans(|study| &study.clearances_m, &|c| units.clearance(c));
    html! {
        details.fold.small.needs-script {
            summary { "Between the dots" }
            p.soft { (both.say(|units| format!(
            "The sliders run from {} and from {}, as far as was simulated; nothing is carried on beyond. Dots are simulated settings. Between them the \
             logarithms of the shares cut and touched and of their limits run straight with speed and clearance among the four dots around, and so do \
             machine cost, weeding, weeds left and field work themselves; lost plants cost their share of all. Where one of these shares is nothing, \
             the shares themselves run straight.",
            speeds(units), clearances(units)
        ))) }
        }
    }
}
