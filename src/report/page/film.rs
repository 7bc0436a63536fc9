//! The section with the pass from above that plays.

use crate::report::both::Both;
use crate::report::display::Units;
use crate::report::live::Film;
use maud::{Markup, html};

/// The section; the script draws into it.
pub fn section(film: Option<&Film>, both: Both) -> Markup {
    html! {
        @if let Some(film) = film {
            section #film.needs-script {
                h2 { "Watch a pass" }
                p.soft { (both.say(|units| told(film, units))) }
                div.film-controls {
                    button #film-play type="button" aria-pressed="false" { "Play" }
                    button #film-worst type="button" { "Worst stretch of the study" }
                    label { "Pass " select #film-pass {} }
                    label { "Pace " select #film-pace {
                        option value="1" { "as driven" }
                        option value="0.5" { "half" }
                        option value="0.25" { "a quarter" }
                    } }
                    label.film-place { "Place " input #film-scrub type="range" min="0" max="0" step="1" value="0"; }
                }
                canvas #film-canvas role="img" aria-label="A pass from above" {}
                p #film-said.for-ears aria-live="polite" {}
            }
        }
    }
}

fn told(film: &Film, units: Units) -> String {
    let same = if film.lanes.len() > 1 {
        " Both lanes have the same ground, plants and driver; only the steering of the frame differs."
    } else {
        ""
    };
    format!(
        "One pass from above as worked now: {}, tools {} from the row.{same}",
        units.speed_text(film.speed_m_s),
        units.clearance(film.clearance_m)
    )
}
