//! Predictions against published trials, from the kept table: the same on every page.

use super::Page;
use crate::report::parts::scroll;
use crate::trust::{self, Row, Verdict, count};
use maud::{Markup, html};

impl Page<'_> {
    pub(super) fn trust(&self) -> Markup {
        let rows = trust::rows();
        let told = |verdict: Verdict| count(&rows, verdict).iter().sum::<usize>();
        let [independent, informed] = count(&rows, Verdict::Inside);
        let caption = "Predicted is the mean over what the report leaves open. Uncertainty: of inputs, numerics and data together, one standard deviation, \
                       \u{201c}x\u{201d} a factor. Low and high: beyond twice that. Not discriminating: within, but perfect tools or a frame that never moves would be too. A star: the trial informed a \
                       default, so it is no independent evidence.";
        html! {
            p { "Published trials, predicted the way they measured. Of " (rows.len()) " comparisons " (independent) " are inside their \
                 uncertainty and " (informed) " more that informed a default, " (told(Verdict::NotDiscriminating)) " cannot tell, " (told(Verdict::Low)) " predictions are too low and "
                (told(Verdict::High)) " too high. None of the trials counted plants that a camera-guided cultivator cut at a known clearance and speed. \
                 Count plants on a short stretch of your own before you decide by these numbers." }
            (scroll("Predicted against measured", html! { (caption) }, html! {
                table.own-units {
                    thead { tr {
                        th.text scope="col" { "Trial" }
                        th.text scope="col" { "What" }
                        th scope="col" { "Measured" }
                        th scope="col" { "Predicted" }
                        th scope="col" { "Uncertainty" }
                        th.text scope="col" { "Prediction" }
                    } }
                    tbody { @for row in &rows { (line(row)) } }
                }
            }))
        }
    }
}

fn line(row: &Row) -> Markup {
    let cells = row.cells();
    html! { tr {
        th.text scope="row" { (row.title) }
        td.text { (row.what) }
        td { (cells.measured) " " (row.unit) }
        td { (cells.simulated) " " (row.unit) }
        td { (cells.u_val) @if !cells.u_val.starts_with('x') { " " (row.unit) } }
        td.text { (cells.verdict) }
    } }
}
