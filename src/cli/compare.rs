//! `rowroom compare`.

use rowroom::answers::compare::{CompareError, machines};
use rowroom::answers::trial::Stopped;
use rowroom::report::compare::{comparison_json, comparison_text};
use rowroom::scenario::Scenario;

use super::args::Compare;
use super::failure::Failure;
use super::progress::Progress;
use super::study::with_grid;

/// Simulates both machines and prints what they allow; no file is written.
pub fn run(asked: &Compare) -> Result<(), Failure> {
    let first = Scenario::read(&asked.first, None)?;
    let second = Scenario::read(&asked.second, None)?;
    let seed = asked.seed.unwrap_or(first.study().seed);
    let threads = asked.threads.map(|threads| threads as usize);
    let first = with_grid(first, seed, threads)?;
    super::paint::err(&format!(
        "Comparing \"{}\" with \"{}\": {} passes at each of {} speeds, seed {seed}\n",
        first.name(),
        second.name(),
        asked.passes,
        first.study().speeds_m_s.len(),
    ));
    let watch = Progress::new(true, None);
    let found = machines(&first, &second, seed, asked.passes, threads, &watch)?;
    if asked.json {
        super::print_data(&comparison_json(&found)?)
    } else {
        super::print(&comparison_text(&found))
    }
}

impl From<CompareError> for Failure {
    fn from(error: CompareError) -> Failure {
        match error {
            CompareError::Unstable { .. } => Failure::unstable(error),
            CompareError::NoController { .. } => Failure::input(error),
            CompareError::Stopped(Stopped::Watch) => Failure::interrupted("nothing was compared"),
            CompareError::Stopped(_) | CompareError::Threads(_) => Failure::run(error),
        }
    }
}
