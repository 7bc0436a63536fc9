//! `rowroom learn`.

use std::path::{Path, PathBuf};

use rowroom::files::{POINTS_BYTES, SCENARIO_BYTES, read_text};
use rowroom::montecarlo::learning::{Measured, lesson};
use rowroom::report::lesson::lesson_text;
use rowroom::report::svg::farms;
use rowroom::scenario::{FieldNotes, Scenario, ScenarioError};
use rowroom::unknowns::law::Law;

use super::args::Learn;
use super::failure::Failure;
use super::folder;

/// Learns from notes, tells before and after, and writes the scenario with the notes in it.
pub fn run(asked: &Learn) -> Result<(), Failure> {
    let replay = asked.replay.as_deref();
    let before = Scenario::read_with(&asked.file, replay, &[])?;
    let notes_text = read_text(&asked.notes, SCENARIO_BYTES).map_err(ScenarioError::from)?;
    let notes = FieldNotes::parse(&notes_text, &asked.notes.display().to_string())?;
    let out = asked.out.clone().unwrap_or_else(|| beside(&asked.file));
    if out.exists() {
        return Err(taken(&out));
    }
    let text = read_text(&asked.file, SCENARIO_BYTES).map_err(ScenarioError::from)?;
    let file = asked.file.display().to_string();
    let text = notes.put_into(&text, &file)?;
    let named = asked.notes.display().to_string();
    let after = with_notes(&text, &asked.file, replay, &|error| {
        notes.blamed(&named, error)
    })?;
    let new = &after.notes()[before.notes().len().min(after.notes().len())..];
    if before.unknowns().is_empty() {
        return Err(Failure::input(format!(
            "{file} says that everything is known, so that nothing can be learned: give what is not known a range, or leave it out and take unknowns = \"stated\" \
             away"
        )));
    }
    let found = lesson(
        &before,
        new,
        &measured(&notes, &after),
        before.study().seed,
        None,
    )?;
    write(&out, &text)?;
    let picture = out.with_extension("svg");
    let drawn = match farms::lesson(&found).map(|picture| picture.standalone()) {
        Some(svg) if folder::write_new(&picture, svg.as_bytes()).is_ok() => {
            format!("Before and after as a picture: {}\n", picture.display())
        }
        _ => String::new(),
    };
    let words = format!(
        "{}\n{}{drawn}{} is written: {file} with the notes in it. The next study starts from there: rowroom study {}\n",
        lesson_text(&found),
        known_before(&notes, &before),
        out.display(),
        out.display()
    );
    if asked.json {
        super::paint::err(&words);
        let json = serde_json::to_string_pretty(&found).map_err(Failure::run)?;
        return super::print_data(&format!("{json}\n"));
    }
    super::print(&words)
}

/// What the notes measured although the scenario has it as known: before and after do not tell of it.
fn known_before(notes: &FieldNotes, before: &Scenario) -> String {
    let is_unknown = |key: &str| before.unknowns().iter().any(|unknown| unknown.key() == key);
    let known: Vec<&str> = (notes.keys.iter().map(String::as_str))
        .filter(|key| !is_unknown(key))
        .collect();
    match known.is_empty() {
        true => String::new(),
        false => format!(
            "So far the scenario had these as known, and the numbers above still do: {}. The next study takes what the notes say.\n",
            known.join(", ")
        ),
    }
}

/// The scenario's file with another name beside it.
pub(super) fn beside(file: &Path) -> PathBuf {
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    file.with_file_name(format!("{stem}_learned.toml"))
}

/// Writes a scenario that was not there.
pub(super) fn write(out: &Path, text: &str) -> Result<(), Failure> {
    folder::write_new(out, text.as_bytes()).map_err(|error| match error.kind() {
        std::io::ErrorKind::AlreadyExists => taken(out),
        _ => Failure::run(format!("{} could not be written: {error}", out.display())),
    })
}

pub(super) fn taken(out: &Path) -> Failure {
    Failure::run(format!(
        "{} is there already and was not touched: name another file with --out",
        out.display()
    ))
}

/// Reads the new text as if it stood in the scenario's folder.
pub(super) fn with_notes(
    text: &str,
    file: &Path,
    replay: Option<&Path>,
    blamed: &dyn Fn(ScenarioError) -> ScenarioError,
) -> Result<Scenario, Failure> {
    let log = match replay {
        Some(path) => Some((
            read_text(path, POINTS_BYTES).map_err(ScenarioError::from)?,
            path.display().to_string(),
        )),
        None => None,
    };
    let folder = file.parent().unwrap_or(Path::new(""));
    let read = Scenario::parse(
        text,
        &file.display().to_string(),
        &|name| Ok(read_text(&folder.join(name), POINTS_BYTES)?),
        log.as_ref()
            .map(|(text, file)| (text.as_str(), file.as_str())),
    );
    Ok(read.map_err(blamed)?)
}

/// Values that the notes hold as measured.
pub(super) fn measured(notes: &FieldNotes, after: &Scenario) -> Vec<Measured> {
    let unknowns = after.unknowns().iter();
    unknowns
        .filter(|unknown| notes.keys.contains(&unknown.key()))
        .filter_map(|unknown| match unknown.law {
            Law::Normal { mean, sd, .. } => Some(Measured {
                key: unknown.key(),
                value: mean,
                error: sd,
            }),
            _ => None,
        })
        .collect()
}
