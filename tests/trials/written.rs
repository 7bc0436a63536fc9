//! The kept table and all that is made of it: JSON, the pages of the documentation, a part of the README.

use std::fs;
use std::path::PathBuf;

use rowroom::trust::{Row, Verdict, count};

use crate::trial::Trial;

const BEGIN: &str = "<!-- made by the full run of tests/trials: begin -->\n";
const END: &str = "<!-- made by the full run of tests/trials: end -->\n";

fn place(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// For a terminal.
pub fn plain(rows: &[Row]) -> String {
    let mut text = String::new();
    for row in rows {
        let c = row.cells();
        text += &format!(
            "{}, {}: D {} ({}), S {} (inputs {}, numerics {}), E {}, u_val {} {}: {}; alternatives {:?}\n",
            row.title,
            row.what,
            c.measured,
            c.u_data,
            c.simulated,
            c.u_input,
            c.u_numerics,
            c.error,
            c.u_val,
            row.unit,
            c.verdict,
            row.numbers.alternatives,
        );
        for one in &row.what_if {
            text += &format!("    {}: S {}\n", one.changed, row.shown(one));
        }
    }
    text
}

/// How many comparisons say what.
fn summary(rows: &[Row]) -> String {
    let told = |verdict: Verdict| {
        let [alone, informed] = count(rows, verdict);
        let star = if informed > 0 {
            format!(" ({} more with a star)", informed)
        } else {
            String::new()
        };
        format!("{alone} {}{star}", verdict.words())
    };
    let all = [
        Verdict::Inside,
        Verdict::NotDiscriminating,
        Verdict::Low,
        Verdict::High,
    ];
    format!("{} comparisons: {}.", rows.len(), all.map(told).join(", "))
}

fn table_md(rows: &[Row], trials: &[Trial]) -> String {
    let mut text = format!(
        "# The table\n\n{} E = S - D; u_val holds inputs, numerics and data, each as one standard deviation. *Low* and *high*: E is beyond \
         twice u_val, the prediction below or above what was measured. *Not discriminating*: within, but tools always in place or a frame \
         that never moves would be too. A star: the trial informed a default, so that it is no independent evidence. Made by the full run \
         of `tests/trials`, over {} fields of 8 passes each.\n\n\
         | Trial | What | How known | Unit | D | u_data | S | u_input | u_num | E | u_val | Verdict |\n|---|---|---|---|---|---|---|---|---|---|---|---|\n",
        summary(rows),
        4 * crate::predict::BLOCK,
    );
    for row in rows {
        let c = row.cells();
        let cells = [
            row.title.clone(),
            row.what.clone(),
            row.known.clone(),
            row.unit.clone(),
            c.measured,
            c.u_data,
            c.simulated,
            c.u_input,
            c.u_numerics,
            c.error,
            c.u_val,
            c.verdict,
        ];
        text += &format!("| {} |\n", cells.join(" | "));
    }
    text += "\n# What would change a prediction\n\nOne thing changed at a time, the rest as in the table: evidence of why a prediction is off, not a \
             fit. \"Against single plants\": as if the trial had measured the tools' distance from plants, not from the row.\n\n\
             | Trial | What | D | S | Changed | S then |\n|---|---|---|---|---|---|\n";
    for row in rows {
        let c = row.cells();
        for one in &row.what_if {
            text += &format!(
                "| {} | {} | {} {unit} | {} {unit} | {} | {} {unit} |\n",
                row.title,
                row.what,
                c.measured,
                c.simulated,
                one.changed,
                row.shown(one),
                unit = row.unit
            );
        }
    }
    text += "\n# The trials\n\n";
    for trial in trials {
        text += &format!(
            "**{}.** {} Source: {}.",
            trial.title, trial.conditions, trial.source
        );
        if !trial.informed.is_empty() {
            text += &format!(" Informed the default of `{}`.", trial.informed);
        }
        for one in &trial.measured {
            text += &format!(
                " Uncertainty of {} ({}): {} - {}",
                one.value,
                one.words(),
                one.error,
                one.why
            );
        }
        text += "\n\n";
    }
    text
}

fn readme_md(rows: &[Row]) -> String {
    let mut text = format!(
        "{BEGIN}{}\n\n| Trial | What | Measured | Predicted | E | u_val | Verdict |\n|---|---|---|---|---|---|---|\n",
        summary(rows)
    );
    for row in rows {
        let c = row.cells();
        text += &format!(
            "| {} | {} | {} {unit} | {} {unit} | {} | {} | {} |
",
            row.title,
            row.what,
            c.measured,
            c.simulated,
            c.error,
            c.u_val,
            c.verdict,
            unit = row.unit,
        );
    }
    text + END
}

fn with_part(readme: &str, part: &str) -> Option<String> {
    let (before, rest) = readme.split_once(BEGIN)?;
    let (_, after) = rest.split_once(END)?;
    Some(format!("{before}{part}{after}"))
}

fn files(rows: &[Row], trials: &[Trial]) -> Vec<(&'static str, String)> {
    let readme = fs::read_to_string(place("README.md")).expect("README.md");
    let readme = readme.replace("\r\n", "\n");
    let readme = with_part(&readme, &readme_md(rows)).expect("the marks of the table in README.md");
    vec![
        ("src/trust/table.md", table_md(rows, trials)),
        ("README.md", readme),
    ]
}

/// Writes the table and what is made of it.
pub fn write(rows: &[Row], trials: &[Trial]) {
    let json = serde_json::to_string_pretty(rows).expect("numbers") + "\n";
    fs::write(place("src/trust/table.json"), json).expect("table.json");
    for (name, text) in files(rows, trials) {
        fs::write(place(name), text).unwrap_or_else(|error| panic!("{name}: {error}"));
        println!("wrote {name}");
    }
}

/// What no longer follows from the kept table.
pub fn stale(kept: &[Row], trials: &[Trial]) -> Vec<String> {
    let there = |name: &str| {
        fs::read_to_string(place(name))
            .unwrap_or_default()
            .replace("\r\n", "\n")
    };
    (files(kept, trials).into_iter())
        .filter(|(name, text)| there(name) != *text)
        .map(|(name, _)| format!("{name} does not follow from the kept table"))
        .collect()
}
