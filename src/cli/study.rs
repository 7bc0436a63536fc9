//! `rowroom study` and the bare command.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use rowroom::montecarlo::study::{Plan, study};
use rowroom::report::{answer_text, study_files};
use rowroom::scenario::Scenario;

use super::args::Study;
use super::failure::Failure;
use super::folder::{Folder, Owner};
use super::progress::{self, Progress};

/// Studies the demo.
pub fn demo() -> Result<(), Failure> {
    let scenario = Scenario::demo()?;
    run(&Job {
        folder: Path::new("reports").join("demo"),
        seed: scenario.study().seed,
        passes: scenario.study().passes,
        threads: None,
        quiet: false,
        scenario,
    })
}

/// Studies a file.
pub fn file(asked: &Study) -> Result<(), Failure> {
    let scenario = Scenario::read(&asked.file, asked.replay.as_deref())?;
    run(&Job {
        folder: asked
            .out
            .clone()
            .unwrap_or_else(|| super::default_folder(&asked.file)),
        seed: asked.seed.unwrap_or(scenario.study().seed),
        passes: asked.passes.unwrap_or(scenario.study().passes),
        threads: asked.threads.map(|threads| threads as usize),
        quiet: asked.quiet,
        scenario,
    })
}

struct Job {
    scenario: Scenario,
    folder: PathBuf,
    seed: u64,
    passes: u64,
    threads: Option<usize>,
    quiet: bool,
}

fn run(job: &Job) -> Result<(), Failure> {
    let folder = Folder::for_study(
        &job.folder,
        &Owner {
            scenario: job.scenario.name(),
            sha256: job.scenario.sha256(),
            seed: job.seed,
        },
    )?;
    if !job.quiet {
        let _ = writeln!(
            io::stderr(),
            "Studying \"{}\": {} passes at each of {} speeds, seed {}",
            job.scenario.name(),
            job.passes,
            job.scenario.study().speeds_m_s.len(),
            job.seed,
        );
    }
    let progress = Progress::new(job.quiet);
    let done = study(
        &Plan {
            scenario: &job.scenario,
            seed: job.seed,
            passes: job.passes,
            threads: job.threads,
        },
        &progress,
    );
    progress.finish();
    let outcome = done?;
    let files = study_files(&outcome.results, &outcome.traces)?;
    if progress::interrupted() {
        return Err(Failure::interrupted("before the files were written"));
    }
    folder.fill(&files)?;
    if job.quiet {
        return Ok(());
    }
    super::print(&format!(
        "{}\n{}",
        answer_text(&outcome.results),
        super::where_they_lie(&folder, &files)
    ))
}
