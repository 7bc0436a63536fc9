//! What the setting sheet holds, in short.

use super::said;
use crate::report::display::Units;
use crate::report::parts::wide;
use crate::report::sentences;
use crate::report::setting_sheet::for_speed;
use crate::report::svg::Pictures;
use crate::report::text::sentence;
use crate::results::Results;
use maud::{Markup, html};

/// The drawing and the warnings; the positions stand on the sheet itself.
pub fn sheet(results: &Results, units: Units, pictures: &Pictures) -> Markup {
    let answer = &results.answers.sheet;
    html! {
        h2 { "Setting the tools" }
        (said(answer.status, answer.reason.as_deref(), &sentences::sheet(results, units)))
        @match for_speed(results, units) {
            Some(Ok(told)) => p { (told) },
            Some(Err(broken)) => p.warn { (broken) },
            None => {},
        }
        @for warning in &answer.warnings { p.warn.own-units { (sentence(warning)) } }
        @if let Some(picture) = &pictures.tools {
            div.own-units {
                p.soft { (picture.reading) " Every edge in mm and inches stands in setting_sheet.html, which prints on one page." }
                (wide(picture))
            }
        }
    }
}
