//! Warnings: in sight those that change what somebody would do, the others folded.

use super::Page;
use crate::report::display::{Units, grouped};
use crate::report::text::undecided_line;
use crate::report::words::sentence;
use crate::report::words::warnings::study;
use crate::results::Undecided;
use crate::results::reasons::Warning;
use maud::{Markup, html};

impl Page<'_> {
    /// Whether there is a warning that changes a decision.
    pub(super) fn warned(&self) -> bool {
        !self.open_here().is_empty()
            || !self.of_the_field().is_empty()
            || !self.results.answers.sheet.warnings.is_empty()
    }

    /// What the answers cannot tell yet, what is wrong with the field as it was given, and that the sheet has warnings.
    pub(super) fn warnings(&self) -> Markup {
        let open = self.open_here();
        html! {
            @if self.warned() {
                h2 #warnings { "Warnings" }
                @if !open.is_empty() { p.warn { (self.both.say(|units| open_in_words(&open, units))) } }
                @for warning in self.of_the_field() { (self.warning(warning)) }
                @match self.results.answers.sheet.warnings.len() {
                    0 => {},
                    1 => p.warn { "Setting the tools: " a href="#tools" { "read the warning" } "." },
                    count => p.warn { "Setting the tools: " a href="#tools" { "read the " (count) " warnings" } "." },
                }
            }
        }
    }

    /// All that no setting hangs on; nothing without any.
    pub(super) fn further_warnings(&self) -> Option<Markup> {
        let results = self.results;
        let further: Vec<&Warning> = self.of(false).collect();
        if results.undecided.is_empty() && further.is_empty() {
            return None;
        }
        Some(html! {
            @if !results.undecided.is_empty() {
                p.warn { (self.both.say(|units| undecided_line(results, units).unwrap_or_default())) }
            }
            @for warning in further { (self.warning(warning)) }
        })
    }

    /// Settings that are not decided of what steers the frame in the answers.
    fn open_here(&self) -> Vec<&Undecided> {
        let results = self.results;
        let chosen = &results.answers.controller;
        let undecided = results.undecided.iter();
        undecided
            .filter(|open| {
                chosen
                    .as_ref()
                    .is_none_or(|chosen| *chosen == open.controller)
            })
            .collect()
    }

    /// Warnings of the study but the one that counts rates that hang on few passes.
    fn of_the_field(&self) -> Vec<&Warning> {
        self.of(true).collect()
    }

    fn of(&self, field: bool) -> impl Iterator<Item = &Warning> {
        let warnings = self.results.warnings.iter();
        warnings.filter(move |one| field != matches!(one, Warning::FewPasses { .. }))
    }

    fn warning(&self, warning: &Warning) -> Markup {
        let results = self.results;
        html! { p.warn { (self.both.say(|units| sentence(&study(warning, results, units)))) } }
    }
}

/// "Not sure yet is whether no more plants are cut than allowed at 6, 8 km/h. About 900 passes would tell."
fn open_in_words(open: &[&Undecided], units: Units) -> String {
    let mut speeds_m_s: Vec<f64> = open.iter().map(|open| open.speed_m_s).collect();
    speeds_m_s.sort_by(f64::total_cmp);
    speeds_m_s.dedup();
    let speeds: Vec<String> = speeds_m_s.iter().map(|v| units.speed_number(*v)).collect();
    let most = open.iter().map(|open| open.passes_needed).max();
    format!(
        "Not sure yet is whether no more plants are cut than allowed at {} {}. About {} passes would tell.",
        speeds.join(", "),
        units.speed_unit(),
        grouped(most.unwrap_or(0))
    )
}
