//! `rowroom study` and the bare command.

use std::fmt::Display;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::Duration;

use rowroom::answers::{grid::settled, trial::Stopped};
use rowroom::montecarlo::learning::learned;
use rowroom::montecarlo::saved::Saved;
use rowroom::montecarlo::study::{BLOCK_PASSES, Part, run};
use rowroom::report::json::results_json;
use rowroom::report::{File, answer_text, study_files};
use rowroom::results::Results;
use rowroom::scenario::Scenario;
use rowroom::study::{Plan, StudyError, Until, Watch, study};

use super::args::Study;
use super::failure::Failure;
use super::folder::{Folder, Owner, SO_FAR};
use super::progress::{self, Progress};

/// Studies the demo.
pub fn demo() -> Result<(), Failure> {
    let scenario = Scenario::demo()?;
    let study = scenario.study();
    whole(&Job {
        folder: Path::new("reports").join("demo"),
        plan: Plan {
            scenario: &scenario,
            seed: study.seed,
            until: Until::Decided {
                most_passes: study.most_passes,
            },
            threads: None,
        },
        time: None,
        tell: Tell::default(),
    })
}

/// Studies a file.
pub fn file(asked: &Study) -> Result<(), Failure> {
    let scenario = Scenario::read_with(&asked.file, asked.replay.as_deref(), &asked.changes.given)?;
    let seed = asked.seed.unwrap_or(scenario.study().seed);
    let threads = asked.threads.map(|threads| threads as usize);
    let scenario = ready(scenario, seed, threads)?;
    let study = scenario.study();
    let asked_for = match (asked.passes, asked.part) {
        (Some(passes), Some(part)) => Until::Share { part, passes },
        (Some(passes), None) => Until::Passes(passes),
        (None, _) => Until::Decided {
            most_passes: asked.most_passes.unwrap_or(study.most_passes),
        },
    };
    // Over whole fields, where something is not known: what is kept of a study says how many passes it truly has.
    let until = asked_for.of_scenario(&scenario);
    let usual = || super::default_folder(&asked.file);
    let job = Job {
        folder: match (&asked.out, asked.part) {
            (Some(out), _) => out.clone(),
            (None, None) => usual(),
            (None, Some(_)) => usual().join("parts"),
        },
        plan: Plan {
            scenario: &scenario,
            seed,
            until,
            threads,
        },
        time: asked.minutes,
        tell: Tell {
            quiet: asked.quiet,
            json: asked.json,
            open: asked.open,
        },
    };
    match until {
        Until::Share { part, passes } => share(&job, part, passes),
        _ => whole(&job),
    }
}

/// The scenario with what its notes teach, and with the speeds and clearances to simulate, chosen where it names none.
pub fn ready(scenario: Scenario, seed: u64, threads: Option<usize>) -> Result<Scenario, Failure> {
    let silent = Progress::new(true, None);
    let scenario = learned(scenario, seed, threads, &silent)?;
    match settled(scenario, seed, threads, &silent) {
        Ok(scenario) => Ok(scenario),
        Err(Stopped::Watch) => Err(Failure::interrupted("nothing was simulated yet")),
        Err(error) => Err(Failure::run(error)),
    }
}

struct Job<'a> {
    plan: Plan<'a>,
    folder: PathBuf,
    time: Option<Duration>,
    tell: Tell,
}

/// What is printed.
#[derive(Clone, Copy, Default)]
pub struct Tell {
    /// No words but errors.
    pub quiet: bool,
    /// The results as JSON on standard output; words go to standard error then.
    pub json: bool,
    /// The report is opened once it is written.
    pub open: bool,
}

/// A whole study: from its start, or from where the same command was stopped.
fn whole(job: &Job) -> Result<(), Failure> {
    let plan = &job.plan;
    let folder = folder(plan, &job.folder)?;
    let saved = so_far(&folder, SO_FAR, plan)?;
    announce(job, saved.as_ref(), "");
    let watched = Watched::new(job.tell.quiet, job.time, Some(&folder));
    let found = study(plan, saved, &watched);
    // First of all: passes that could not be kept are why the study stopped, and it does not know.
    let passes = watched.kept()?;
    let kept = |failure: Failure| {
        failure.and(&format!(
            "The {passes} passes are kept in {}: the same command goes on from there",
            folder.path().join(SO_FAR).display()
        ))
    };
    let found = found.map_err(|why| match why {
        why if passes > 0 => kept(why.into()),
        StudyError::Interrupted { .. } => {
            stopped("no pass was done and no file was written or changed")
        }
        why => failed(plan, why),
    })?;
    let complete = found.results.complete;
    let files = study_files(&found.results, &found.traces, &found.worst)
        .map_err(|error| kept(error.into()))?;
    // A finished study stays until another one is finished.
    if complete || !folder.is_finished()? {
        folder.fill(&files).map_err(|error| kept(error.into()))?;
    } else {
        return cut_short(
            job.tell.quiet,
            &format!(
                "{passes} of at most {} passes are done and kept in {}; the finished study there stays until then. The same command goes on",
                plan.until.most_passes(),
                folder.path().join(SO_FAR).display()
            ),
        );
    }
    if complete {
        // Not before the report is in its place: until then these passes are all there is.
        folder.remove(SO_FAR)?;
        return answer(job.tell, &found.results, &folder, &files);
    }
    answer(job.tell, &found.results, &folder, &files)?;
    let how_far = format!(
        "{passes} of at most {} passes are done and written; the same command goes on from there",
        plan.until.most_passes()
    );
    cut_short(job.tell.quiet, &how_far)
}

/// One part of a study.
fn share(job: &Job, part: Part, passes: u64) -> Result<(), Failure> {
    let plan = &job.plan;
    if passes.div_ceil(BLOCK_PASSES) < part.of {
        return Err(Failure::input(format!(
            "--part: there are more parts than blocks of {BLOCK_PASSES} passes: take fewer parts or more passes"
        )));
    }
    let name = format!("part_{}_of_{}.json", part.number, part.of);
    let folder = Folder::open(&job.folder, &name)?;
    let file = job.folder.join(&name);
    let saved = so_far(&folder, &name, plan)?;
    let most_passes = plan.until.most_passes();
    announce(
        job,
        saved.as_ref(),
        &format!(", part {} of {}", part.number, part.of),
    );
    let progress = Progress::new(job.tell.quiet, job.time);
    let run = run(plan, saved, &progress);
    progress.finish();
    let run = run.map_err(|why| failed(plan, why))?;
    if run.saved.passes() == 0 {
        return Err(stopped(
            "no pass was done and no file was written or changed",
        ));
    }
    folder.fill(&[saved_file(name, &run.saved)?])?;
    if run.complete {
        let done = format!("Part {} of {}: {}\n", part.number, part.of, file.display());
        return if job.tell.quiet {
            Ok(())
        } else {
            super::print(&done)
        };
    }
    let how_far = format!(
        "{} of {most_passes} passes of this part are done and kept; the same command goes on from there",
        run.saved.passes()
    );
    cut_short(job.tell.quiet, &how_far)
}

/// Why a study could not run, with its scenario's file.
fn failed(plan: &Plan, why: StudyError) -> Failure {
    Failure::from(why).of(plan.scenario.file())
}

/// What a file of the folder holds of the plan so far. One that cannot be gone on from is never written over.
fn so_far(folder: &Folder, name: &str, plan: &Plan) -> Result<Option<Saved>, Failure> {
    let Some(text) = folder.read(name)? else {
        return Ok(None);
    };
    let refused = |why: &dyn Display| {
        Failure::run(format!(
            "{} is there already, but {why}. Nothing was changed: to begin anew, delete that file or name another folder with --out",
            folder.path().join(name).display()
        ))
    };
    let saved = Saved::from_json(&text).map_err(|why| refused(&why))?;
    saved.leads_to(plan).map_err(|why| refused(&why))?;
    Ok(Some(saved))
}

/// Shows how far a study is and, before its answers are worked out, keeps its passes: whatever befalls the answers.
pub struct Watched<'a> {
    progress: Progress,
    quiet: bool,
    keep_in: Option<&'a Folder>,
    kept: Mutex<Result<u64, Failure>>,
}

impl<'a> Watched<'a> {
    /// The run may take so long from now on; its passes are kept in a folder, if one is given.
    pub fn new(quiet: bool, time: Option<Duration>, keep_in: Option<&'a Folder>) -> Watched<'a> {
        Watched {
            progress: Progress::new(quiet, time),
            quiet,
            keep_in,
            kept: Mutex::new(Ok(0)),
        }
    }

    fn keep(&self, so_far: &Saved) -> Result<u64, Failure> {
        if let Some(folder) = self.keep_in {
            folder.fill(&[saved_file(SO_FAR.into(), so_far)?])?;
        }
        Ok(so_far.passes())
    }

    /// Takes the bar away and gives the number of passes that were kept, 0 before they were simulated.
    fn kept(self) -> Result<u64, Failure> {
        self.progress.finish();
        self.kept.into_inner().unwrap_or(Ok(0))
    }
}

impl Watch for Watched<'_> {
    fn passes_done(&self, done: u64, of: u64) {
        self.progress.passes_done(done, of);
    }

    fn simulated(&self, so_far: &Saved, complete: bool) -> bool {
        self.progress.finish();
        let kept = self.keep(so_far);
        // What was not kept would be lost with the answers: it is told before they are begun.
        let go_on = kept.is_ok();
        if let Ok(mut slot) = self.kept.lock() {
            *slot = kept;
        }
        if go_on && complete && !self.quiet {
            super::paint::err(&format!(
                "{} passes done; now the answers that follow from them\n",
                so_far.passes()
            ));
        }
        go_on
    }

    fn answers_done(&self, share: f64) {
        self.progress.answers_done(share);
    }

    fn stop(&self) -> bool {
        self.progress.stop()
    }
}

/// Opens the folder of a study.
pub fn folder(plan: &Plan, path: &Path) -> Result<Folder, Failure> {
    let owner = Owner {
        scenario: plan.scenario.name().to_owned(),
        sha256: plan.scenario.sha256().to_owned(),
        seed: plan.seed,
        most_passes: plan.until.most_passes(),
    };
    Ok(Folder::for_study(path, owner)?)
}

/// Prints what was found and where it lies.
pub fn answer(
    tell: Tell,
    results: &Results,
    folder: &Folder,
    files: &[File],
) -> Result<(), Failure> {
    let words = || {
        let where_they_lie = super::where_they_lie(folder, files);
        format!("{}\n{where_they_lie}", answer_text(results))
    };
    super::open(tell.open, &folder.path().join("report.html"));
    match (tell.json, tell.quiet) {
        (false, true) => Ok(()),
        (false, false) => super::print(&words()),
        (true, quiet) => {
            if !quiet {
                super::paint::err(&words());
            }
            super::print_data(&results_json(results)?)
        }
    }
}

fn announce(job: &Job, saved: Option<&Saved>, part: &str) {
    if job.tell.quiet {
        return;
    }
    let plan = &job.plan;
    let at_most = match plan.until {
        Until::Decided { .. } => "at most ",
        _ => "",
    };
    let going_on = match saved {
        Some(saved) => format!(", going on after {}", saved.passes()),
        None => String::new(),
    };
    super::paint::err(&format!(
        "Studying \"{}\": {at_most}{} passes at each of {} speeds, seed {}{part}{going_on}\n",
        plan.scenario.name(),
        plan.until.most_passes(),
        plan.scenario.study().speeds_m_s.len(),
        plan.seed,
    ));
}

fn saved_file(name: String, saved: &Saved) -> Result<File, Failure> {
    let text = saved.to_json().map_err(Failure::run)?;
    Ok(File {
        name,
        bytes: text.into_bytes(),
    })
}

/// Ctrl-C is a failure; an end of time that was asked for is none.
fn cut_short(quiet: bool, how_far: &str) -> Result<(), Failure> {
    if progress::interrupted() {
        return Err(Failure::interrupted(how_far));
    }
    if !quiet {
        super::paint::err(&format!("The time is over: {how_far}\n"));
    }
    Ok(())
}

fn stopped(how_far: &str) -> Failure {
    if progress::interrupted() {
        Failure::interrupted(how_far)
    } else {
        Failure::run(format!("the time was over too soon: {how_far}"))
    }
}
