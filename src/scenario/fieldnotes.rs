//! A file of notes from the field, as it is typed on a phone, and how it goes into a scenario.
//!
//! A notebook ([`crate::field::notebook`]) or a piece of the scenario language, with `[[notes]]` and the keys that were measured, such as
//! `[camera]` with `latency = { measured = "95 ms", error = "10 ms" }`.

use std::fmt::Write;

use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

use super::error::{Problem, ScenarioError};
use super::keys::{KEYS, TABLES};
use super::notes::{Counted, MOST_PLANTS};
use super::read;
use crate::field::{FieldError, notebook};

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

impl FieldNotes {
    /// Reads notes: a notebook where the name does not end in `.toml` or `[[reading]]` stands in it, else a piece of the scenario language.
    ///
    /// # Errors
    ///
    /// Everything that is wrong, with its line.
    pub fn parse(text: &str, file: &str) -> Result<Self, ScenarioError> {
        let file = &crate::quote::escaped(file);
        let written = text.to_owned();
        let is_notebook = !file.to_ascii_lowercase().ends_with(".toml")
            || text.lines().any(|line| line.trim() == "[[reading]]");
        let text = match is_notebook {
            true => from_notebook(text, file)?,
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
        let mut notes = parsed(&self.text)?;
        let visits = notes.remove("notes");
        merge(into.as_table_mut(), notes.as_table(), "");
        if let Some(visits) = visits {
            add_visits(into.as_table_mut(), visits);
        }
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

/// Puts entries beside those that are there, table by table of the language; `path` is the table's own name.
fn merge(into: &mut dyn TableLike, from: &dyn TableLike, path: &str) {
    for (name, item) in from.iter() {
        let full = match path {
            "" => name.to_owned(),
            path => format!("{path}.{name}"),
        };
        let is_table = TABLES
            .iter()
            .any(|table| table.name == full || table.group() == Some(&full));
        let there = into.get_mut(name);
        match (there, item) {
            (Some(there), item) if is_table => {
                if let (Some(there), Some(more)) = (there.as_table_like_mut(), item.as_table_like())
                {
                    merge(there, more, &full);
                }
            }
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
fn add_visits(into: &mut Table, item: Item) {
    let mut all = match into.remove("notes") {
        Some(there) => tables(there),
        None => ArrayOfTables::new(),
    };
    for mut visit in tables(item) {
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

/// One visit from a notebook. Rows at one place tell of the same moment of the frame: the first gaps of each place are taken, and its
/// plants together.
fn from_notebook(text: &str, file: &str) -> Result<String, ScenarioError> {
    let readings = notebook::read(text, file).map_err(|error| match error {
        FieldError::Line { file, line, what } => problem(&file, line, &what),
        FieldError::Read { file, line, said } => problem(&file, line, &said),
    })?;
    let mut places: Vec<(&str, Option<[f64; 2]>, Counted)> = Vec::new();
    for one in &readings {
        let known = places.iter().position(|(name, ..)| *name == one.place);
        let place = known.unwrap_or(places.len());
        if known.is_none() {
            places.push((&one.place, None, Counted { plants: 0, cut: 0 }));
        }
        let (_, gaps_m, counted) = &mut places[place];
        *gaps_m = gaps_m.or(one.gaps_m);
        if let Some(counts) = one.counts {
            counted.plants = counted.plants.saturating_add(counts.plants);
            counted.cut = counted.cut.saturating_add(counts.cut);
        }
        if counted.plants > MOST_PLANTS {
            let message = format!("more than {MOST_PLANTS} plants at one place");
            return Err(problem(file, one.line, &message));
        }
    }
    // To a hundredth of a millimetre: no tape tells more.
    let mm = |length_m: f64| (1e5 * length_m).round() / 100.0;
    let gaps = places.iter().filter_map(|(_, gaps_m, _)| *gaps_m);
    let gaps: Vec<String> = gaps
        .map(|[left_m, right_m]| format!("[\"{} mm\", \"{} mm\"]", mm(left_m), mm(right_m)))
        .collect();
    let counts: Vec<String> = (places.iter().filter(|(.., counted)| counted.plants > 0))
        .map(|(.., counted)| format!("[{}, {}]", counted.plants, counted.cut))
        .collect();
    let mut toml = String::from("[[notes]]\n");
    for (name, all) in [("gaps", &gaps), ("counts", &counts)] {
        if !all.is_empty() {
            let _ = writeln!(toml, "{name} = [{}]", all.join(", "));
        }
    }
    match gaps.is_empty() && counts.is_empty() {
        true => Err(problem(
            file,
            1,
            "this notebook holds neither gaps nor counted plants",
        )),
        false => Ok(toml),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str, file: &str) -> String {
        FieldNotes::parse(text, file).unwrap_err().to_string()
    }

    /// The first gaps of a place, its plants together; semicolons and decimal commas, as a phone in much of Europe types them.
    #[test]
    fn regress_places_of_a_notebook() {
        let text = "place; row; left mm; right mm; plants; cut\n1; 2; 58,5; 63; 200; 3\n2; 1;;; 200; 0\n# a remark\n3; 2; 61; 60\n3; 3; 40; 80; 100; 1\n";
        let toml = "unit = \"mm\"\n[[reading]]\nplace = 1\nrow = 2\nleft = 58.5\nright = 63\nplants = 200\ncut = 3\n";
        let notes = FieldNotes::parse(text, "walk.csv").unwrap();
        assert_eq!(
            notes.text,
            "[[notes]]\ngaps = [[\"58.5 mm\", \"63 mm\"], [\"61 mm\", \"60 mm\"]]\ncounts = [[200, 3], [200, 0], [100, 1]]\n"
        );
        assert_eq!((notes.visits, notes.keys.len()), (1, 0));
        let notes = FieldNotes::parse(toml, "walk.toml").unwrap();
        assert_eq!(
            notes.text,
            "[[notes]]\ngaps = [[\"58.5 mm\", \"63 mm\"]]\ncounts = [[200, 3]]\n"
        );
    }

    #[test]
    fn regress_mistakes_have_their_line() {
        for (text, file, words) in [
            (
                "place,row,left_mm,rigth_mm\n1,1,1,2\n",
                "a.csv",
                "a.csv:1:1: the column \"rigth_mm\" is not known",
            ),
            (
                "place,row,left_mm,right_mm\n1,1,58,sixty\n",
                "a.csv",
                "a.csv:2:1: the right gap \"sixty\" is no length",
            ),
            (
                "place,row,plants,cut\n1,1,200,3\n2,1,5,9\n",
                "a.csv",
                "a.csv:3:1: 9 cut",
            ),
            (
                "place,row,plants\n1,1,2000000\n",
                "a.csv",
                "a.csv:2:1: more than 1000000 plants",
            ),
            (
                "place,row,left_mm,right_mm\n1,1,,\n",
                "a.csv",
                "neither gaps nor counted plants",
            ),
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

    /// A table in braces keeps what else it holds.
    #[test]
    fn regress_notes_go_into_a_table_in_braces() {
        let notes = "[camera]\nlatency = \"90 ms\"\n[driver.hand]\npractice = \"new\"\n";
        let notes = FieldNotes::parse(notes, "n.toml").unwrap();
        let scenario = "camera = { lookahead = \"1 m\", latency = \"80 ms\" }\n[driver]\nhand = { reaction_time = \"0.3 s\" }\n";
        let text = notes.put_into(scenario, "s.toml").unwrap();
        for words in [
            "lookahead = \"1 m\"",
            "latency = \"90 ms\"",
            "reaction_time = \"0.3 s\"",
            "practice = \"new\"",
        ] {
            assert_eq!(text.matches(words).count(), 1, "{text}");
        }
        assert!(!text.contains("80 ms"));
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
