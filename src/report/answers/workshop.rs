//! What the setting sheet holds, in short.

use super::said;
use crate::report::both::Both;
use crate::report::parts::wide_twin;
use crate::report::sentences;
use crate::report::setting_sheet::for_speed;
use crate::report::svg::{Pictures, twin::Twin};
use crate::report::words::sentence;
use crate::report::words::warnings;
use crate::results::Results;
use maud::{Markup, html};

/// The drawing and the warnings; the positions stand on the sheet itself.
pub fn sheet(results: &Results, both: Both, pictures: &Pictures<Twin>) -> Markup {
    let answer = &results.answers.sheet;
    html! {
        h3 { "Setting the tools" }
        (said(both, answer.status, answer.reason.as_ref(), |units| sentences::sheet(results, units)))
        @if let Some(told) = for_speed(results, both.own()) {
            @let in_units = both.say(|units| match for_speed(results, units) {
                Some(Ok(told) | Err(told)) => told,
                None => String::new(),
            });
            @if told.is_ok() { p { (in_units) } } @else { p.warn { (in_units) } }
        }
        @for warning in &answer.warnings { p.warn { (both.say(|units| sentence(&warnings::sheet(warning, units)))) } }
        @if let Some(picture) = &pictures.tools {
            div.own-units {
                p.soft { (picture.say(|picture| format!(
                    "{} Every edge in mm and inches stands in setting_sheet.html, which prints on one page.", picture.reading
                ))) }
                (wide_twin(picture))
            }
        }
    }
}
