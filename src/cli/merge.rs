//! `rowroom merge`.

use std::path::Path;

use rowroom::files::{SAVED_BYTES, read_text};
use rowroom::montecarlo::saved::Saved;
use rowroom::montecarlo::study::{Plan, Run, Until, outcome};
use rowroom::report::study_files;
use rowroom::scenario::Scenario;

use super::args::Merge;
use super::failure::Failure;
use super::folder::SO_FAR;
use super::progress::Progress;
use super::study::{Tell, answer, answers_too, folder, with_grid};

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
    let scenario = with_grid(scenario, saved.seed(), None)?;
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
    let run = Run {
        saved,
        complete: true,
    };
    let mut outcome = outcome(&plan, &run);
    let progress = Progress::new(asked.quiet, None);
    if !answers_too(&plan, &mut outcome.results, &progress, asked.quiet)? {
        return Err(Failure::interrupted("no file was written or changed"));
    }
    let files = study_files(&outcome.results, &outcome.traces, &outcome.worst)?;
    folder.fill(&files)?;
    folder.remove(SO_FAR)?;
    let tell = Tell {
        quiet: asked.quiet,
        json: asked.json,
        open: asked.open,
    };
    answer(tell, &outcome.results, &folder, &files)
}

fn read(file: &Path) -> Result<Saved, Failure> {
    let name = file.display();
    let text = read_text(file, SAVED_BYTES)?;
    Saved::from_json(&text)
        .map_err(|error| Failure::input(format!("{name} is no part of a study: {error}")))
}
