//! A scenario file to start from: every table and key with a comment.

use std::fmt::Write;

use super::keys::{self, Key, Need, Presence, Shape, TABLES, Table};

/// Width of a comment line.
const WIDTH: usize = 100;

/// A commented scenario file that runs as it stands. Keys with a default stand behind a `#` with that default; so do the
/// tables that exclude one another, but the first.
pub fn starter() -> String {
    let mut text = String::from(
        "# A scenario for rowroom. Every number in it is invented or assumed: put in your own.\n\
         #\n\
         # A quantity is a text with a unit: \"38 mm\", \"1.5 in\", \"6 km/h\", \"4 mph\", \"180 bar\", \"12 L/min\", \"3 gpm\" (US),\n\
         # \"2 deg\", a slope also \"5 %\". Where it says \"may vary\" a distribution will do as well, drawn anew for every pass:\n\
         # { mean = \"0 mm\", sd = \"8 mm\" } (normal; low and high narrow it) or { from = \"60 ms\", to = \"100 ms\" } (uniform).\n\
         # Left is positive. A line behind # states the default; take the # away to change it: the value then counts as known. What was found in\n\
         # the field goes into [[notes]], see \"rowroom learn --help\".\n",
    );
    let mut seen_groups: Vec<&str> = Vec::new();
    for table in TABLES {
        let group = table.group();
        let first = group.is_none_or(|group| !seen_groups.contains(&group));
        if let (true, Some(group)) = (first, group) {
            seen_groups.push(group);
        }
        let live = table.presence != Presence::OneOfGroup || first;
        describe(&mut text, table, first);
        let mark = if live { "" } else { "# " };
        if !table.name.is_empty() {
            let _ = writeln!(text, "{mark}[{}]", table.name);
        }
        for key in keys::keys_of(table.name) {
            entry(&mut text, key, live);
        }
    }
    text
}

fn describe(text: &mut String, table: &Table, first: bool) {
    text.push('\n');
    let which = match table.presence {
        Presence::Always => String::new(),
        Presence::OneOfGroup if first => {
            let group = table.group().unwrap_or("");
            let members: Vec<String> = TABLES
                .iter()
                .filter(|other| other.group() == Some(group))
                .map(|other| format!("[{}]", other.name))
                .collect();
            format!(" (keep exactly one of {})", members.join(", "))
        }
        Presence::OneOfGroup => " (instead)".to_string(),
        Presence::IfFitted => " (leave the table out if the machine has none)".to_string(),
    };
    if !table.name.is_empty() {
        comment(text, &format!("{}{which}", capital(table.meaning)));
    }
}

fn entry(text: &mut String, key: &Key, live: bool) {
    let vary = if key.may_vary() { "; may vary" } else { "" };
    let allowed = match key.shape {
        Shape::Text => String::new(),
        _ => format!(" ({}{vary})", key.allowed()),
    };
    let origin = match key.need {
        Need::Default {
            value,
            origin,
            plausible: Some(range),
        } => format!(" Default: {origin}; plausible: {}.", range.words(value)),
        Need::Default { origin, .. } => format!(" Default: {origin}."),
        Need::ByChoice { .. } => format!(" Default {}.", key.default_words()),
        Need::Required { .. } | Need::Optional { .. } => String::new(),
    };
    comment(text, &format!("{}{allowed}.{origin}", capital(key.meaning)));
    let mark = if live && is_live(key) { "" } else { "# " };
    let _ = writeln!(text, "{mark}{} = {}", key.name, key.example());
}

/// Whether a key of a live table is written out: required ones, and one way to set the PID.
fn is_live(key: &Key) -> bool {
    matches!(key.need, Need::Required { .. }) || key.id == keys::Id::SimcTime
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

fn comment(text: &mut String, words: &str) {
    let mut line = String::from("#");
    for word in words.split_whitespace() {
        if line.len() + word.len() >= WIDTH {
            text.push_str(&line);
            text.push('\n');
            line = String::from("#");
        }
        line.push(' ');
        line.push_str(word);
    }
    text.push_str(&line);
    text.push('\n');
}
