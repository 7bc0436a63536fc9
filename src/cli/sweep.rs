//! `rowroom sweep`.

use rowroom::answers::sweep::{SweepError, sweep};
use rowroom::answers::trial::Stopped;
use rowroom::montecarlo::learning::learned;
use rowroom::report::sweep::{PICTURE, sweep_files, sweep_json, sweep_text};
use rowroom::scenario::Scenario;

use super::args::Sweep;
use super::failure::Failure;
use super::folder::Folder;
use super::progress::{self, Progress};

/// Runs the scenario with every value and writes table and picture.
pub fn run(asked: &Sweep) -> Result<(), Failure> {
    let scenario = Scenario::read_with(&asked.file, asked.replay.as_deref(), &asked.changes.given)?;
    let how = asked.trials.how(Some(&scenario));
    let scenario = learned(scenario, how.seed, how.threads, &Progress::new(true, None))?;
    let path = asked.out.clone().unwrap_or_else(|| {
        let keys: Vec<&str> = asked.over.iter().map(|over| over.key.as_str()).collect();
        super::default_folder(&asked.file)
            .join("sweeps")
            .join(keys.join("_and_"))
    });
    if !asked.quiet {
        let settings: usize = asked.over.iter().map(|over| over.values.len()).product();
        super::paint::err(&format!(
            "Sweeping \"{}\": {} passes with each of {settings} settings, seed {}\n",
            scenario.name(),
            how.passes,
            how.seed
        ));
    }
    let found = sweep(&scenario, &asked.over, how, &Progress::new(true, None))?;
    let files = sweep_files(&found);
    if progress::interrupted() {
        return Err(Failure::interrupted("no file was written or changed"));
    }
    let folder = Folder::open(&path, PICTURE)?;
    folder.fill(&files)?;
    let words = format!(
        "{}\n{}",
        sweep_text(&found),
        super::where_they_lie(&folder, &files)
    );
    match (asked.json, asked.quiet) {
        (false, false) => super::print(&words)?,
        (true, false) => super::paint::err(&words),
        (_, true) => {}
    }
    if asked.json {
        super::print_data(&sweep_json(&found)?)?;
    }
    super::open(asked.open, &folder.path().join(PICTURE));
    Ok(())
}

impl From<SweepError> for Failure {
    fn from(error: SweepError) -> Failure {
        match error {
            SweepError::Scenario(why) => why.into(),
            SweepError::Keys(_)
            | SweepError::Twice(_)
            | SweepError::Settings(_)
            | SweepError::NoController { .. } => Failure::input(error),
            SweepError::Stopped(Stopped::Watch) => {
                Failure::interrupted("no file was written or changed")
            }
            SweepError::Stopped(_) | SweepError::Threads(_) => Failure::run(error),
        }
    }
}
