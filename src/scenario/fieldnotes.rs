//! A file of notes from the field, as it is typed on a phone, and how it goes into a scenario.
//!
//! TOML: a piece of the scenario language, with `[[notes]]` and the keys that were measured, such as
//! `[camera]` with `latency = { measured = "95 ms", error = "10 ms" }`. Or CSV: a line for each place, with the columns `left_mm` and
//! `right_mm` (or `left_in` and `right_in`) for the gaps beside a row, `plants` and `cut` for counted plants, and `place`, `row`, `touched`
//! and `remark`, which are left alone.

use std::fmt::Write;

use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, Value};

use super::error::{Problem, ScenarioError};
use super::keys::{self, Id, KEYS};
use super::notes::{MOST_PLACES, MOST_PLANTS};
use super::read;
use super::units::{self, Quantity};
use crate::quote::quoted;

/// Notes from the field.
#[derive(Clone, Debug)]
pub struct FieldNotes {
    /// As a piece of the scenario language, and as it was written.
    text: String,
    written: String,
    /// Keys of the language that they hold, such as `camera.latency`.
    pub keys: Vec<String>,
    /// How many visits they hold.
    pub visits: usize,
}

const COLUMNS: [&str; 10] = [
    "place", "row", "left_mm", "right_mm", "left_in", "right_in", "plants", "cut", "touched",
    "remark",
];

impl FieldNotes {
    /// Reads notes; a name that ends in `.csv` is CSV, any other TOML.
    ///
    /// # Errors
    ///
    /// Everything that is wrong, with its line.
    pub fn parse(text: &str, file: &str) -> Result<Self, ScenarioError> {
        let file = &crate::quote::escaped(file);
        let written = text.to_owned();
        let is_csv = file.to_ascii_lowercase().ends_with(".csv");
        let text = match is_csv {
            true => from_csv(text, file)?,
            false => text.to_owned(),
        };
        let read = read::read(&text, file, &[]).map_err(ScenarioError::Syntax)?;
        let entries = KEYS.iter().filter(|key| read.entry(key.id).is_some());
        let notes = Self {
            keys: entries.map(|key| key.path()).collect(),
            visits: read.notes.len(),
            text,
            written,
        };
        let nothing = notes.keys.is_empty() && notes.visits == 0;
        let problems = read.problems();
        if !problems.is_empty() {
            return Err(ScenarioError::Problems(problems));
        }
        if nothing {
            return Err(problem(
                file,
                1,
                "these notes hold nothing: write [[notes]] with gaps or counts, or a key that was measured",
            ));
        }
        Ok(notes)
    }

    /// What is wrong with a scenario since these notes are in it, told with their own lines; it was right without them.
    pub fn blamed(&self, file: &str, error: ScenarioError) -> ScenarioError {
        let ScenarioError::Problems(mut problems) = error else {
            return error;
        };
        for problem in &mut problems {
            let word = problem.key.rsplit('.').next().unwrap_or("");
            let line = self
                .written
                .lines()
                .position(|line| !word.is_empty() && line.contains(word));
            problem.file = crate::quote::escaped(file);
            problem.line = line.unwrap_or(0) + 1;
            problem.column = 1;
        }
        ScenarioError::Problems(problems)
    }

    /// A scenario's text with these notes in it: what was measured takes the place of what was written, visits come to those that are
    /// there; comments and order stay.
    ///
    /// # Errors
    ///
    /// The scenario is no TOML.
    pub fn put_into(&self, scenario: &str, file: &str) -> Result<String, ScenarioError> {
        let parsed = |text: &str| {
            text.parse::<DocumentMut>()
                .map_err(|error| problem(file, 1, &format!("this is no TOML: {}", error.message())))
        };
        let mut into = parsed(scenario)?;
        let notes = parsed(&self.text)?;
        merge(into.as_table_mut(), notes.as_table(), "");
        Ok(into.to_string())
    }
}

fn problem(file: &str, line: usize, message: &str) -> ScenarioError {
    ScenarioError::Problems(vec![Problem {
        file: file.to_string(),
        line,
        column: 1,
        key: String::new(),
        message: message.to_string(),
    }])
}

fn merge(into: &mut Table, from: &Table, path: &str) {
    for (name, item) in from {
        if path.is_empty() && name == "notes" {
            add_visits(into, item);
            continue;
        }
        match (into.get_mut(name), item) {
            (Some(Item::Table(inner)), Item::Table(more)) => merge(inner, more, name),
            (Some(Item::Value(old)), Item::Value(new)) => {
                // What stands about the old value, its comment above all, stays.
                let about = old.decor().clone();
                *old = new.clone();
                *old.decor_mut() = about;
            }
            _ => {
                into.insert(name, item.clone());
            }
        }
    }
}

/// `[[notes]]` of the notes behind those of the scenario.
fn add_visits(into: &mut Table, item: &Item) {
    let mut all = match into.remove("notes") {
        Some(there) => tables(there),
        None => ArrayOfTables::new(),
    };
    for mut visit in tables(item.clone()) {
        // Behind everything else, in their order.
        visit.set_position(None);
        visit.decor_mut().set_prefix("\n");
        all.push(visit);
    }
    into.insert("notes", Item::ArrayOfTables(all));
}

fn tables(item: Item) -> ArrayOfTables {
    let mut all = ArrayOfTables::new();
    match item {
        Item::ArrayOfTables(visits) => return visits,
        Item::Table(one) => all.push(one),
        Item::Value(Value::Array(visits)) => {
            for visit in visits {
                if let Value::InlineTable(visit) = visit {
                    all.push(visit.into_table());
                }
            }
        }
        _ => {}
    }
    all
}

/// One visit from a table of places.
fn from_csv(text: &str, file: &str) -> Result<String, ScenarioError> {
    let text = text.trim_start_matches('\u{feff}');
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(at, line)| (at + 1, line.trim()))
        .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'));
    let Some((at, header)) = lines.next() else {
        return Err(problem(
            file,
            1,
            "this file is empty: a line with the names of its columns is wanted first",
        ));
    };
    let mark = ['\t', ';', ',']
        .into_iter()
        .find(|mark| header.contains(*mark))
        .unwrap_or(',');
    let names: Vec<String> = header
        .split(mark)
        .map(|name| name.trim().to_ascii_lowercase())
        .collect();
    if let Some(name) = names.iter().find(|name| !COLUMNS.contains(&name.as_str())) {
        let message = format!(
            "the column {} is unknown; columns are {}",
            quoted(name),
            COLUMNS.join(", ")
        );
        return Err(problem(file, at, &message));
    }
    let column = |name: &str| names.iter().position(|one| one == name);
    let unit = ["mm", "in"]
        .into_iter()
        .find(|unit| column(&format!("left_{unit}")).is_some());
    let gap_columns = unit.and_then(|unit| {
        Some((
            column(&format!("left_{unit}"))?,
            column(&format!("right_{unit}"))?,
            unit,
        ))
    });
    let count_columns = column("plants").zip(column("cut"));
    if gap_columns.is_none() && count_columns.is_none() {
        let message = "left_mm and right_mm (or left_in and right_in), or plants and cut are wanted among the columns";
        return Err(problem(file, at, message));
    }
    let (mut gaps, mut counts) = (Vec::new(), Vec::new());
    for (at, line) in lines {
        let fields: Vec<&str> = line.split(mark).map(str::trim).collect();
        let field = |place: usize| fields.get(place).copied().unwrap_or("");
        // With another mark between columns a comma is a decimal one.
        let number = |place: usize| -> Result<Option<f64>, ScenarioError> {
            let text = field(place);
            if text.is_empty() {
                return Ok(None);
            }
            let plain = if mark == ',' {
                text.to_string()
            } else {
                text.replace(',', ".")
            };
            let parsed = plain
                .parse()
                .ok()
                .filter(|number: &f64| number.is_finite() && *number >= 0.0);
            parsed.map(Some).ok_or_else(|| {
                let message = format!("{}: {} is no number", names[place], quoted(text));
                problem(file, at, &message)
            })
        };
        if let Some((left, right, unit)) = gap_columns {
            match (number(left)?, number(right)?) {
                (Some(left), Some(right)) if [left, right].iter().all(|gap| is_gap(*gap, unit)) => {
                    gaps.push(format!("[\"{left} {unit}\", \"{right} {unit}\"]"))
                }
                (None, None) => {}
                (Some(_), Some(_)) => {
                    let allowed = keys::key(Id::WorkingClearance).allowed();
                    let message = format!("a gap lies within {allowed}; are these {unit}?");
                    return Err(problem(file, at, &message));
                }
                _ => {
                    return Err(problem(
                        file,
                        at,
                        "a gap is wanted on both sides of the row, or on none",
                    ));
                }
            }
        }
        if let Some((plants, cut)) = count_columns {
            match (number(plants)?, number(cut)?) {
                (Some(plants), Some(cut)) if is_count(plants, cut) => {
                    counts.push(format!("[{plants:.0}, {cut:.0}]"))
                }
                (None, None) => {}
                _ => {
                    let message = "plants looked at and plants cut are two whole numbers, the second no greater than the first";
                    return Err(problem(file, at, message));
                }
            }
        }
        if gaps.len().max(counts.len()) > MOST_PLACES {
            return Err(problem(
                file,
                at,
                &format!("more than {MOST_PLACES} places"),
            ));
        }
    }
    let mut toml = String::from("[[notes]]\n");
    for (name, all) in [("gaps", gaps), ("counts", counts)] {
        if !all.is_empty() {
            let _ = writeln!(toml, "{name} = [{}]", all.join(", "));
        }
    }
    Ok(toml)
}

fn is_gap(gap: f64, unit: &str) -> bool {
    let written = units::parse(&format!("{gap} {unit}"), Quantity::Length);
    let range = keys::key(Id::WorkingClearance).range();
    written.is_ok_and(|gap| range.is_some_and(|(low, high)| (low..=high).contains(&gap.si)))
}

fn is_count(plants: f64, cut: f64) -> bool {
    let whole = |number: f64| number.fract() == 0.0 && number <= MOST_PLANTS as f64;
    whole(plants) && whole(cut) && plants >= 1.0 && cut <= plants
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str, file: &str) -> String {
        FieldNotes::parse(text, file).unwrap_err().to_string()
    }

    /// Semicolons and decimal commas, as a phone in much of Europe types them.
    #[test]
    fn regress_places_from_a_table() {
        let text = "Place;Row;Left_mm;Right_mm;Plants;Cut\n1;2;58,5;63;200;3\n2;1;;;200;0\n# a remark\n3;2;61;60;;\n";
        let notes = FieldNotes::parse(text, "walk.csv").unwrap();
        assert_eq!(
            notes.text,
            "[[notes]]\ngaps = [[\"58.5 mm\", \"63 mm\"], [\"61 mm\", \"60 mm\"]]\ncounts = [[200, 3], [200, 0]]\n"
        );
        assert_eq!((notes.visits, notes.keys.len()), (1, 0));
    }

    #[test]
    fn regress_mistakes_have_their_line() {
        for (text, file, words) in [
            (
                "left_mm,rigth_mm\n1,2\n",
                "a.csv",
                "a.csv:1:1: the column rigth_mm is unknown",
            ),
            (
                "left_mm,right_mm\n58,sixty\n",
                "a.csv",
                "a.csv:2:1: right_mm: sixty is no number",
            ),
            (
                "plants,cut\n200,3\n5,9\n",
                "a.csv",
                "a.csv:3:1: plants looked at",
            ),
            ("left_mm,right_mm\n58,\n", "a.csv", "on both sides"),
            ("", "a.csv", "empty"),
            (
                "left_mm,right_mm\n5.8,1e9\n",
                "a.csv",
                "a.csv:2:1: a gap lies within 1 mm to 1000 mm; are these mm?",
            ),
            ("place,row\n1,1\n", "a.csv", "wanted among the columns"),
            (
                "[[notes]]\ngap = [[\"58 mm\", \"60 mm\"]]\n",
                "a.toml",
                "a.toml:2:7: notes.gap is unknown; did you mean gaps?",
            ),
            (
                "[[notes]]\ngaps = [[\"58\", \"60 mm\"]]\n",
                "a.toml",
                "place 1",
            ),
            (
                "[[notes]]\ncounts = [[20, 30]]\n",
                "a.toml",
                "30 plants cut of 20 looked at",
            ),
            ("[[notes]]\n", "a.toml", "hold nothing"),
            ("# nothing\n", "a.toml", "hold nothing"),
            (
                "[camera]\nlatnecy = \"80 ms\"\n",
                "a.toml",
                "did you mean latency?",
            ),
        ] {
            assert!(told(text, file).contains(words), "{}", told(text, file));
        }
    }

    /// Comments and order stay; a measured value takes its place, a visit comes behind the others.
    #[test]
    fn regress_notes_go_into_a_scenario() {
        let scenario = "# mine\nname = \"x\" # short\n\n[camera]\n# as in the papers\nlatency = \"80 ms\" # ?\n\n[[notes]]\ncounts = [[100, 1]]\n";
        let notes = "[camera]\nlatency = { measured = \"95 ms\", error = \"5 ms\" }\n[plants]\nscatter_sd = \"9 mm\"\n[[notes]]\ncounts = [[200, 3]]\n";
        let notes = FieldNotes::parse(notes, "n.toml").unwrap();
        assert_eq!(notes.keys, ["plants.scatter_sd", "camera.latency"]);
        let text = notes.put_into(scenario, "s.toml").unwrap();
        for words in [
            "# mine\nname = \"x\" # short\n",
            "# as in the papers\nlatency = { measured = \"95 ms\", error = \"5 ms\" } # ?\n",
            "[plants]\nscatter_sd = \"9 mm\"\n",
        ] {
            assert!(text.contains(words), "{text}");
        }
        let visits: Vec<&str> = text
            .lines()
            .filter(|line| line.starts_with("counts"))
            .collect();
        assert_eq!(
            visits,
            ["counts = [[100, 1]]", "counts = [[200, 3]]"],
            "{text}"
        );
        assert_eq!(text.matches("[[notes]]").count(), 2, "{text}");
    }
}
