//! `rowroom compare`.

use std::path::Path;

use rowroom::answers::compare::{CompareError, Entrant, How, compare, of_study};
use rowroom::answers::trial::Stopped;
use rowroom::files::{RESULTS_BYTES, read_text};
use rowroom::montecarlo::learning::learned;
use rowroom::report::ReportError;
use rowroom::report::compare::page::{FILE, Page};
use rowroom::report::compare::{comparison_json, comparison_text};
use rowroom::report::json::read_results;
use rowroom::results::{Results, SCHEMA_VERSION};
use rowroom::scenario::Scenario;

use super::args::Compare;
use super::failure::Failure;
use super::folder::{Folder, MARK};
use super::progress::Progress;
use super::study::ready;

/// What was named on the command line.
enum Machine {
    Scenario(Box<Scenario>),
    Study(Box<Results>),
}

/// Compares all machines with the first and prints what they allow; a page is written if a folder is named.
pub fn run(asked: &Compare) -> Result<(), Failure> {
    let mut machines = asked
        .machines
        .iter()
        .map(|place| read(place, asked))
        .collect::<Result<Vec<_>, Failure>>()?;
    let how = how(&mut machines, asked)?;
    let folder = asked
        .out
        .as_deref()
        .map(|out| Folder::open(out, FILE))
        .transpose()?;
    let entrants: Vec<Entrant> = machines
        .iter()
        .map(|machine| match machine {
            Machine::Scenario(scenario) => Entrant::Scenario(scenario),
            Machine::Study(study) => Entrant::Study(study),
        })
        .collect();
    announce(&entrants, how);
    let found = compare(&entrants, how, &Progress::new(true, None))?;
    let mut page = String::new();
    if let Some(folder) = folder {
        let files = [Page::new(&found, &entrants).file()];
        folder.fill(&files)?;
        let file = folder.path().join(FILE);
        page = format!("\nThe page: {}\n", file.display());
        super::open(asked.open, &file);
    }
    if asked.json {
        super::paint::err(page.trim_start());
        super::print_data(&comparison_json(&found)?)
    } else {
        super::print(&format!("{}{page}", comparison_text(&found)))
    }
}

/// How scenarios are simulated. The first one gets its speeds and clearances where it names none.
fn how(machines: &mut [Machine], asked: &Compare) -> Result<How, Failure> {
    let mut scenarios = machines.iter_mut().filter_map(|machine| match machine {
        Machine::Scenario(scenario) => Some(scenario),
        Machine::Study(_) => None,
    });
    let first = scenarios.next();
    let how = asked.trials.how(first.as_deref().map(Box::as_ref));
    if let Some(scenario) = first {
        **scenario = ready(scenario.as_ref().clone(), how.seed, how.threads)?;
        for other in scenarios {
            let silent = Progress::new(true, None);
            **other = learned(other.as_ref().clone(), how.seed, how.threads, &silent)?;
        }
    } else if !asked.changes.given.is_empty() {
        return Err(Failure::input(
            "--set changes scenario files, and only finished studies are named: study a scenario with --set, or name its file",
        ));
    }
    Ok(how)
}

fn announce(entrants: &[Entrant], how: How) {
    let scenarios: Vec<&Scenario> = entrants
        .iter()
        .filter_map(|entrant| match entrant {
            Entrant::Scenario(scenario) => Some(*scenario),
            Entrant::Study(_) => None,
        })
        .collect();
    if let Some(first) = scenarios.first() {
        let names: Vec<String> = scenarios
            .iter()
            .map(|one| format!("\"{}\"", one.name()))
            .collect();
        super::paint::err(&format!(
            "Simulating {}: {} passes at each of {} speeds, seed {}\n",
            names.join(", "),
            how.passes,
            first.study().speeds_m_s.len(),
            how.seed,
        ));
    }
}

/// A scenario from its file, or the results of a study from its folder or its `results.json`.
fn read(place: &Path, asked: &Compare) -> Result<Machine, Failure> {
    if place.is_dir() {
        return study(&place.join(MARK)).map(Machine::Study);
    }
    let is_results = place
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("json"));
    if is_results {
        return study(place).map(Machine::Study);
    }
    let scenario = Scenario::read_with(place, None, &asked.changes.given)?;
    Ok(Machine::Scenario(Box::new(scenario)))
}

fn study(file: &Path) -> Result<Box<Results>, Failure> {
    let name = file.display();
    let text = read_text(file, RESULTS_BYTES).map_err(|error| {
        Failure::run(error).and(
            "Name a scenario file, the folder of a finished study, such as reports/demo, or the results.json in it",
        )
    })?;
    let version = serde_json::from_str::<serde_json::Value>(&text)
        .ok()
        .and_then(|value| value["schema_version"].as_u64());
    if version.is_some_and(|version| version != u64::from(SCHEMA_VERSION)) {
        return Err(Failure::input(format!(
            "{name} was written by another version of the program: study that scenario again"
        )));
    }
    let results = read_results(&text).map_err(|error| {
        let why = match error {
            ReportError::Json(why) => why.to_string(),
            other => other.to_string(),
        };
        Failure::input(format!(
            "{name} is no results.json of this version ({why}). Name a scenario file (.toml) or the folder of a finished study, or study that \
             scenario again"
        ))
    })?;
    match results.contradiction() {
        Some(why) => Err(Failure::input(format!(
            "{name} contradicts itself ({why}): it was changed since it was written; study that scenario again"
        ))),
        None if of_study(&results).is_err() => Err(Failure::input(format!(
            "{name} tells nothing of its working setting: study that scenario again"
        ))),
        None => Ok(Box::new(results)),
    }
}

impl From<CompareError> for Failure {
    fn from(error: CompareError) -> Failure {
        match error {
            CompareError::Unstable { .. } => Failure::unstable(error),
            CompareError::NoController { .. }
            | CompareError::Count(_)
            | CompareError::NothingAtWork { .. } => Failure::input(error),
            CompareError::Stopped(Stopped::Watch) => Failure::interrupted("nothing was compared"),
            CompareError::Stopped(_) | CompareError::Threads(_) => Failure::run(error),
        }
    }
}
