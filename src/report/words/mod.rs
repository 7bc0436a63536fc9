//! The words of results: all that is typed in them, said in English for terminal and pages.

pub mod controllers;
pub mod farms;
pub mod quantities;
pub mod reasons;
pub mod warnings;

use crate::scenario::ScenarioStamp;

/// A scenario with its file and what was set beside it: "Leeks (leeks.toml, camera.latency = 80 ms)".
pub fn scenario_and_file(scenario: &ScenarioStamp) -> String {
    let changes: String = scenario.set.iter().map(|set| format!(", {set}")).collect();
    format!("{} ({}{changes})", scenario.name, scenario.file)
}

/// A text as a sentence: one full stop at its end.
pub fn sentence(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}

/// A text without a capital at its start, for the middle of a sentence; "PID" stays.
pub fn uncapital(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) if !chars.clone().next().is_some_and(char::is_uppercase) => {
            first.to_lowercase().chain(chars).collect()
        }
        _ => text.to_owned(),
    }
}

/// A text with a capital at its start.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}
