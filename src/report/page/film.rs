//! The section with the pass from above that plays.

use crate::report::live::Film;
use maud::{Markup, html};

/// The section; the script draws into it.
pub fn section(film: Option<&Film>) -> Markup {
    html! {
        @if let Some(film) = film {
            section #film.needs-script {
                h2 { "Watch a pass" }
                p.soft { "One pass of the study from above, at the working speed and clearance. "
                    @if film.lanes.len() > 1 { "Both lanes are the same ground, plants and driver; only the steering of the frame differs. " }
                    "The small setting errors of single edges are counted but not drawn." }
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
                p #film-said aria-live="polite" {}
            }
        }
    }
}
