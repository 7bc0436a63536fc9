//! `rowroom design`.

use rowroom::answers::design::{DesignError, design};
use rowroom::answers::trial::Stopped;
use rowroom::report::design::{PICTURE, design_files, design_json, design_text};
use rowroom::scenario::Scenario;

use super::args::Design;
use super::failure::Failure;
use super::folder::Folder;
use super::progress::{self, Progress};
use super::study::ready;

/// Looks for the machines that nobody beats and writes table and picture.
pub fn run(asked: &Design) -> Result<(), Failure> {
    let scenario = Scenario::read_with(&asked.file, asked.replay.as_deref(), &asked.changes.given)?;
    let how = asked.trials.how(Some(&scenario));
    let scenario = ready(scenario, how.seed, how.threads)?;
    let path = asked
        .out
        .clone()
        .unwrap_or_else(|| super::default_folder(&asked.file).join("design"));
    if !asked.quiet {
        super::paint::err(&format!(
            "Looking for machines beside \"{}\": {} passes and as many fresh ones, seed {}\n",
            scenario.name(),
            how.passes,
            how.seed
        ));
    }
    let found = design(&scenario, how, &Progress::new(true, None))?;
    let files = design_files(&found);
    if progress::interrupted() {
        return Err(Failure::interrupted("no file was written or changed"));
    }
    let folder = Folder::open(&path, PICTURE)?;
    folder.fill(&files)?;
    let words = format!(
        "{}\n{}",
        design_text(&found),
        super::where_they_lie(&folder, &files)
    );
    match (asked.json, asked.quiet) {
        (false, false) => super::print(&words)?,
        (true, false) => super::paint::err(&words),
        (_, true) => {}
    }
    if asked.json {
        super::print_data(&design_json(&found)?)?;
    }
    super::open(asked.open, &folder.path().join(PICTURE));
    Ok(())
}

impl From<DesignError> for Failure {
    fn from(error: DesignError) -> Failure {
        match error {
            DesignError::Scenario(why) => why.into(),
            DesignError::NothingToChange { .. } | DesignError::NoController { .. } => {
                Failure::input(error)
            }
            DesignError::Stopped(Stopped::Watch) => {
                Failure::interrupted("no file was written or changed")
            }
            DesignError::Stopped(_) | DesignError::Threads(_) => Failure::run(error),
        }
    }
}
