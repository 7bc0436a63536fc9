//! `rowroom field`.

use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use rowroom::field::log::{Logs, Quality};
use rowroom::field::passes::{Antenna, Planned};
use rowroom::field::{FieldError, How, look, notebook, notes, receiver, tracks};
use rowroom::files::{POINTS_BYTES, read_text};
use rowroom::report::field::{field_files, field_json, field_text};

use super::args::{Field, FieldQuality};
use super::failure::Failure;
use super::folder::Folder;

/// Reads logs and notebook and says what they tell.
pub fn run(asked: &Field) -> Result<(), Failure> {
    if asked.logs.is_empty() && asked.notes.is_none() {
        return Err(Failure::input(
            "a log, or a notebook with --notes FILE, is wanted",
        ));
    }
    let told = match asked.logs.is_empty() {
        true => None,
        false => Some(tracks(&read(&asked.logs, &asked.columns)?, &how(asked)?)),
    };
    let written = match &asked.notes {
        None => None,
        Some(path) => {
            let text = read_text(path, POINTS_BYTES)?;
            Some(notes(&notebook::read(&text, &name(path))?))
        }
    };
    let findings = look(told.as_ref(), written.as_ref());
    if let (Some(path), Some(told)) = (&asked.out, &told) {
        Folder::open(path, "wander")?.fill(&field_files(told))?;
    }
    if asked.json {
        let json = field_json(&findings).map_err(Failure::run)?;
        return super::print_data(&json);
    }
    super::print(&field_text(&findings))
}

fn how(asked: &Field) -> Result<How, Failure> {
    let drift = match &asked.parked {
        None => None,
        Some(path) => {
            let logs = read(std::slice::from_ref(path), &asked.columns)?;
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
                return Err(Failure::input(format!(
                    "--line {other}: straight or arc is wanted"
                )));
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

fn read(paths: &[PathBuf], columns: &[(String, String)]) -> Result<Logs, Failure> {
    let mut logs = Logs::with_columns(columns);
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
