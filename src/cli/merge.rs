//! `rowroom merge`.

use std::path::Path;

use rowroom::files::{SAVED_BYTES, read_text};
use rowroom::montecarlo::saved::Saved;
use rowroom::report::study_files;
use rowroom::scenario::Scenario;
use rowroom::study::{Plan, Until, study};

use super::args::Merge;
use super::failure::Failure;
use super::folder::SO_FAR;
use super::study::{Tell, Watched, answer, folder, ready};

/// Puts parts together and writes what the whole study would have written.
pub fn run(asked: &Merge) -> Result<(), Failure> {
    let parts = asked
        .parts
        .iter()
        .map(|file| Ok((file.display().to_string(), read(file)?)))
        .collect::<Result<Vec<_>, Failure>>()?;
    let saved = Saved::put_together(&parts)?;
    drop(parts);
    let scenario = Scenario::from_texts(saved.scenario())?;
    let scenario = ready(scenario, saved.seed(), None)?;
    let plan = Plan {
        scenario: &scenario,
        seed: saved.seed(),
        until: Until::Passes(saved.passes()),
        threads: None,
    };
    saved.is_of(&plan).map_err(|why| {
        Failure::input(format!(
            "the parts cannot be put together: put together, {why}; compute them again"
        ))
    })?;
    let path = asked
        .out
        .clone()
        .unwrap_or_else(|| super::default_folder(Path::new(scenario.file())));
    let folder = folder(&plan, &path)?;
    let found = study(&plan, Some(saved), &Watched::new(asked.quiet, None, None))?;
    if !found.results.complete {
        return Err(Failure::interrupted("no file was written or changed"));
    }
    let files = study_files(&found.results, &found.traces, &found.worst)?;
    folder.fill(&files)?;
    folder.remove(SO_FAR)?;
    let tell = Tell {
        quiet: asked.quiet,
        json: asked.json,
        open: asked.open,
    };
    answer(tell, &found.results, &folder, &files)
}

fn read(file: &Path) -> Result<Saved, Failure> {
    let name = file.display();
    let text = read_text(file, SAVED_BYTES)?;
    Saved::from_json(&text)
        .map_err(|error| Failure::input(format!("{name} is no part of a study: {error}")))
}
