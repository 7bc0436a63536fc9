//! `rowroom field`.

use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use rowroom::field::log::{Logs, Quality};
use rowroom::field::passes::{Antenna, Planned, usual_speed_m_s};
use rowroom::field::{FieldError, How, Tracks, look, notebook, notes, receiver, tracks};
use rowroom::files::{POINTS_BYTES, SCENARIO_BYTES, read_text};
use rowroom::montecarlo::learning::{lesson, predicted_wander};
use rowroom::report::field::{field_files, field_json, field_text, into_text, predicted_file};
use rowroom::results::lesson::Lesson;
use rowroom::scenario::fromlog::{IntoScenario, changes, from_log};
use rowroom::scenario::{FieldNotes, Scenario, ScenarioError, Units};

use super::args::{Field, FieldQuality};
use super::failure::Failure;
use super::folder::Folder;
use super::learn::{beside, measured, taken, with_notes, write};

/// Reads logs and notebook and says what they tell.
pub fn run(asked: &Field) -> Result<(), Failure> {
    if asked.logs.is_empty() && asked.notes.is_none() {
        return Err(Failure::input(
            "a log, or a notebook with --notes FILE, is wanted",
        ));
    }
    let told = match asked.logs.is_empty() {
        true => None,
        false => {
            let logs = read(Logs::with_columns(&asked.columns), &asked.logs)?;
            Some(tracks(&logs, &how(asked, &logs)?))
        }
    };
    let written = match &asked.notes {
        None => None,
        Some(path) => {
            let text = read_text(path, POINTS_BYTES)?;
            Some(notes(&notebook::read(&text, &name(path))?))
        }
    };
    let findings = look(told.as_ref(), written.as_ref());
    let into = match &asked.scenario {
        None => None,
        Some(path) => Some(Learns::prepare(asked, path, told.as_ref())?),
    };
    if let Some(path) = &asked.out {
        let mut files = told.as_ref().map_or_else(Vec::new, field_files);
        files.extend(
            into.iter()
                .flat_map(|into| predicted_file(&into.said, into.units)),
        );
        Folder::open(path, "wander")?.fill(&files)?;
    }
    if let Some(into) = &into {
        into.write()?;
    }
    let said = into.as_ref().map(|into| &into.said);
    if asked.json {
        let json = field_json(&findings, said).map_err(Failure::run)?;
        return super::print_data(&json);
    }
    let mut text = field_text(&findings);
    if let Some(into) = &into {
        text += &into_text(&into.said, into.lesson.as_ref(), into.units, &into.from);
    }
    super::print(&text)
}

/// What is to go into a scenario, checked before anything is written.
struct Learns {
    said: IntoScenario,
    lesson: Option<Lesson>,
    units: Units,
    from: String,
    out: PathBuf,
    text: String,
}

impl Learns {
    fn prepare(asked: &Field, path: &Path, told: Option<&Tracks>) -> Result<Self, Failure> {
        let before = Scenario::read(path, None)?;
        let out = asked.learned.clone().unwrap_or_else(|| beside(path));
        if out.exists() {
            return Err(taken(&out));
        }
        let from = path.display().to_string();
        let mut text = read_text(path, SCENARIO_BYTES).map_err(ScenarioError::from)?;
        let mut said = IntoScenario::default();
        let seed = before.study().seed;
        let mut keys: Vec<String> = Vec::new();
        if let Some((tracks, wander)) = told.and_then(|told| Some((told, told.wander?))) {
            let speed_m_s = usual_speed_m_s(&tracks.passes);
            let speed_m_s = speed_m_s.unwrap_or(before.study().working_speed_m_s);
            said.speed_m_s = Some(speed_m_s);
            if let (Some(found_m), lower, Some(upper_m)) =
                (wander.sd_m.value, wander.sd_m.lower, wander.sd_m.upper)
            {
                let limits_m = [lower.unwrap_or(0.0), upper_m];
                said.predicted.extend(predicted_wander(
                    &before, seed, speed_m_s, found_m, limits_m,
                ));
            }
            match from_log(&before, &wander, speed_m_s) {
                Ok(fitted) => {
                    text = fitted.notes.put_into(&text, &from)?;
                    keys.extend(fitted.notes.keys.clone());
                    said.driver = Some(fitted.hands);
                }
                Err(why) => said.unwritten = Some(why),
            }
        }
        let mut lesson_of: Option<FieldNotes> = None;
        if let Some(path) = &asked.notes {
            let written = read_text(path, SCENARIO_BYTES).map_err(ScenarioError::from)?;
            let notes = FieldNotes::parse(&written, &path.display().to_string())?;
            text = notes.put_into(&text, &from)?;
            keys.extend(notes.keys.clone());
            said.visits = notes.visits;
            lesson_of = Some(notes);
        }
        let after = with_notes(&text, path, None, &|error| match &lesson_of {
            Some(notes) => notes.blamed(&from, error),
            None => error,
        })?;
        let mut taught = None;
        if let (Some(notes), false) = (&lesson_of, before.unknowns().is_empty()) {
            let new = &after.notes()[before.notes().len().min(after.notes().len())..];
            let found = lesson(&before, new, &measured(notes, &after), seed, None)?;
            said.predicted.extend(found.predicted.iter().cloned());
            taught = Some(found);
        }
        said.changes = changes(&keys, &before, &after);
        if !said.changes.is_empty() || said.visits > 0 {
            said.file = Some(out.display().to_string());
        }
        Ok(Self {
            said,
            lesson: taught,
            units: before.units(),
            from,
            out,
            text,
        })
    }

    fn write(&self) -> Result<(), Failure> {
        match self.said.file {
            Some(_) => write(&self.out, &self.text),
            None => Ok(()),
        }
    }
}

fn how(asked: &Field, logs: &Logs) -> Result<How, Failure> {
    let drift = match &asked.parked {
        None => None,
        Some(path) => {
            let logs = read(
                Logs::with_columns(&asked.columns),
                std::slice::from_ref(path),
            )?;
            Some(
                receiver::parked(&logs)
                    .map_err(|error| Failure::input(format!("{}: {error}", name(path))))?,
            )
        }
    };
    Ok(How {
        antenna: Antenna {
            ahead_m: asked.antenna_ahead.unwrap_or(0.0),
            height_m: asked.antenna_height,
        },
        planned: match asked.line.as_deref() {
            None => Planned::Found,
            Some("straight") => Planned::Straight,
            Some("arc") => Planned::Arc,
            Some(other) => {
                let path = PathBuf::from(other);
                if !path.exists() {
                    return Err(Failure::input(format!(
                        "--line {}: straight, arc or a file with the planned lines is wanted",
                        rowroom::quote::escaped(other)
                    )));
                }
                Planned::Given(read(logs.beside(), &[path])?.lines_m())
            }
        },
        quality: asked.quality.map(|quality| match quality {
            FieldQuality::Fixed => Quality::Fixed,
            FieldQuality::Float => Quality::Float,
            FieldQuality::Corrected => Quality::Corrected,
            FieldQuality::Alone => Quality::Alone,
        }),
        drift,
    })
}

fn read(mut logs: Logs, paths: &[PathBuf]) -> Result<Logs, Failure> {
    for path in paths {
        let refused = |source: std::io::Error| {
            Failure::run(format!("{}: cannot be read: {source}", name(path)))
        };
        // Devices and pipes need not end.
        if !std::fs::metadata(path).map_err(refused)?.is_file() {
            return Err(Failure::run(format!(
                "{}: is no file; the name of a log is wanted",
                name(path)
            )));
        }
        let file = File::open(path).map_err(refused)?;
        logs.read(BufReader::with_capacity(1 << 16, file), &name(path))?;
    }
    Ok(logs)
}

fn name(path: &Path) -> String {
    rowroom::quote::escaped(&path.display().to_string())
}

impl From<FieldError> for Failure {
    fn from(error: FieldError) -> Failure {
        match error {
            FieldError::Line { .. } => Failure::input(error),
            FieldError::Read { .. } => Failure::run(error),
        }
    }
}
