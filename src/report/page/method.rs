//! How it was computed, what it leaves out, what can hurt, and where the numbers come from.

use super::Page;
use crate::report::both::Both;
use crate::report::cautions;
use crate::report::display::{chosen_percent, controller_title, grouped, plain_title, trimmed};
use crate::results::Results;
use maud::{Markup, html};

impl Page<'_> {
    /// How it was computed.
    pub(super) fn method(&self) -> Markup {
        let (results, both) = (self.results, self.both);
        html! {
        p { (both.say(|units| format!(
            "A tractor with its driver, hitch, camera, controller, valve and cylinder is simulated on {} passes of {} at each speed. Every pass draws \
             everything anew: the row as planted, the driver, the ground, the camera, the settings. A rate is therefore the mean over many fields \
             like this one, not a forecast for one field.",
            grouped(results.passes), units.distance_text(results.length_m)
        ))) }
        p { "A plant is cut when a cutting edge passes through its stem, and touched when one comes within its protected radius and spares the "
            "stem. Of each pass the plants to be expected in either are counted, given the path of its tools, over the scatter of the plants about "
            "their row, for a whole row: the entry stretch once, and as much of the rest as the row is long. Limits are "
            "Korn-Graubard limits at " (chosen_percent(results.level)) " over passes; what the answers call at most is the upper one. Cut plants come in bunches, so plants are "
            "never counted as independent. All speeds and controllers meet the same ground." }
        p { "The linear check is a second, independent computation in the frequency domain. It knows no limits of stroke, flow or valve, and no "
            "lost sight of the row. Where fields differ it takes the first 16 of every 64." }
        p { "The film counts small setting errors of single tools but does not draw them." }
        p { "Left out: " (left_out()) ". The limits tell how sure the simulation is of its own rate; "
            "they do not cover wrong assumptions." }
        h3 { "What steers the frame" }
        ul { @for (name, plain) in steering(results) { li { (name) ": " (plain) "." } } }
        }
    }
}

/// What the tables call a controller, and what the answers call it.
fn steering(results: &Results) -> Vec<(&str, &str)> {
    results
        .ran()
        .map(|name| (controller_title(name), plain_title(name)))
        .collect()
}

/// What the answers mean by a number that is reached at most.
pub const AT_MOST: &str = "\u{201c}At most\u{201d} tells how far chance in these passes may reach; one field can do worse. A simulated speed is not a permission.";

/// All that is left out, in one sentence without its full stop.
fn left_out() -> String {
    cautions::LEFT_OUT.join("; ")
}

/// Where the numbers of a study come from.
pub fn origin(results: &Results, both: Both) -> Markup {
    html! {
        p { (results.tool.name) " " (results.tool.version) ", scenario " code { (results.scenario.file) } (both.say(|units| format!(
                ", seed {}, {} passes of {} at each speed, ticks of {} ms. SHA-256 of the scenario: ",
                results.seed, grouped(results.passes), units.distance_text(results.length_m), trimmed(1000.0 * results.step_s, 3)
            ))) code { (results.scenario.sha256) } "." }
    }
}

/// What can hurt.
pub fn cautions() -> Markup {
    html! {
        h2 #cautions { "Before anybody goes near the machine" }
        ul.cautions { @for caution in cautions::STUDY { li { (caution) } } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::page::page;
    use crate::report::synthetic;

    /// One list for all who read: the README's is the page's.
    #[test]
    fn regress_readme_and_page_leave_out_the_same() {
        let told = |text: &str, before: &str| {
            let folded = text.split_whitespace().collect::<Vec<_>>().join(" ");
            let (_, after) = folded.split_once(before).unwrap();
            after.split_once('.').unwrap().0.to_owned()
        };
        let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
        let readme = std::fs::read_to_string(root.join("README.md")).unwrap();
        assert_eq!(told(&readme, "**Left out:** "), left_out());
        let page = page(&synthetic::results(), &[], &[]);
        assert_eq!(
            told(&page, "Left out: soil").trim_start(),
            left_out().trim_start_matches("soil ")
        );
    }
}
