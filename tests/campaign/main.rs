//! The robustness campaign: the real program on inputs that nobody should give it, stopped at any moment, and on disks that are
//! full.
//!
//! ```text
//! cargo test --release --test campaign -- inputs=10000 stops=200 disks=200    the long one
//! cargo test --release --test campaign -- seed=7 input=123                    one case again
//! ```
//!
//! Without arguments it is a matter of seconds, as a part of `cargo test`. A case is its seed and number; what it did stays in
//! `target/tmp/campaign/` if it fails. Arguments that the test harness knows, names of tests and options, run nothing here.

mod beside;
mod case;
mod commands;
mod dice;
mod disks;
mod judge;
mod judge_test;
mod paths;
mod prepared;
mod run;
mod scenarios;
mod stops;
mod sums;
mod texts;

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use case::{Case, Verdict};
use dice::Dice;
use prepared::Prepared;
use run::Program;

/// A kind of case: its name, how many of forty inputs are of it, and how it is tried.
type Kind = (&'static str, u64, fn(&mut Case) -> Verdict);

const INPUTS: [Kind; 9] = [
    ("scenario", 20, scenarios::case),
    ("log", 3, paths::log),
    ("polyline", 3, paths::polyline),
    ("notes", 3, paths::notes),
    ("field", 3, paths::field),
    ("part", 4, sums::part),
    ("so_far", 3, sums::so_far),
    ("results", 3, beside::case),
    ("command", 4, commands::case),
];
const STOP: Kind = ("stop", 1, stops::case);
const DISK: Kind = ("disk", 1, disks::case);

/// Failing cases of which the folder is kept.
const KEPT: usize = 200;

/// What was asked for.
struct Asked {
    seed: u64,
    inputs: u64,
    stops: u64,
    disks: u64,
    /// Inputs of this kind alone.
    kind: Option<String>,
    /// One case alone.
    only: Option<(&'static str, u64)>,
    limit_s: u64,
    binary: PathBuf,
}

impl Asked {
    fn read(words: impl Iterator<Item = String>) -> Result<Asked, String> {
        let mut asked = Asked {
            seed: 1,
            inputs: 40,
            stops: 2,
            disks: 2,
            kind: None,
            only: None,
            limit_s: 30,
            binary: env!("CARGO_BIN_EXE_rowroom").into(),
        };
        for word in words {
            let (key, value) = word.split_once('=').unwrap_or((&word, ""));
            let number = || {
                value
                    .parse()
                    .map_err(|_| format!("{word}: a number is wanted"))
            };
            match key {
                "seed" => asked.seed = number()?,
                "inputs" => asked.inputs = number()?,
                "stops" => asked.stops = number()?,
                "disks" => asked.disks = number()?,
                "input" => asked.only = Some(("input", number()?)),
                "stop" => asked.only = Some(("stop", number()?)),
                "disk" => asked.only = Some(("disk", number()?)),
                "kind" => asked.kind = Some(value.to_owned()),
                "limit" => asked.limit_s = number()?,
                "binary" => asked.binary = value.into(),
                _ => {
                    return Err(format!(
                        "{word}: known are seed, inputs, stops, disks, input, stop, disk, kind, limit and binary, each with = and a value"
                    ));
                }
            }
        }
        Ok(asked)
    }
}

/// One case of one stage.
#[derive(Clone, Copy)]
struct Numbered {
    /// The word that names it on the command line.
    stage: &'static str,
    number: u64,
    kind: Kind,
}

/// What became of it.
struct Done {
    kind: &'static str,
    verdict: Verdict,
    took: Duration,
    told: String,
}

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if words
        .iter()
        .any(|word| word.starts_with('-') || !word.contains('='))
    {
        println!(
            "the campaign is left out: {} is for the test harness",
            words.join(" ")
        );
        return ExitCode::SUCCESS;
    }
    match Asked::read(words.into_iter()).and_then(|asked| campaign(&asked)) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            println!("{why}");
            ExitCode::from(2)
        }
    }
}

/// True if nothing was found.
fn campaign(asked: &Asked) -> Result<bool, String> {
    let start = Instant::now();
    let program = Program {
        binary: asked
            .binary
            .canonicalize()
            .map_err(|error| format!("{}: {error}", asked.binary.display()))?,
        limit: Duration::from_secs(asked.limit_s),
    };
    let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join("campaign");
    let scratch = tempfile::tempdir().map_err(|error| error.to_string())?;
    let cases = cases(asked);
    let stops = cases.iter().any(|case| case.stage == "stop");
    let prepared = Prepared::new(&program, scratch.path(), stops)?;
    let (judged, mistakes) = judge_test::mistakes(&prepared, scratch.path());
    println!(
        "seed {}, {} cases; the judge was tried {judged} times",
        asked.seed,
        cases.len()
    );
    for mistake in &mistakes {
        println!("FAILED judge: {mistake}");
    }
    let done = all(
        &cases,
        asked.seed,
        &program,
        &prepared,
        scratch.path(),
        &kept,
    );
    table(&done);
    if let Some(slowest) = done.iter().max_by_key(|done| done.took) {
        println!(
            "slowest: {} in {:.1} s",
            slowest.told,
            slowest.took.as_secs_f64()
        );
    }
    println!("{} s in all", start.elapsed().as_secs());
    let failed = mistakes.len()
        + done
            .iter()
            .filter(|done| !done.verdict.faults.is_empty())
            .count();
    println!("{} passed, {failed} failed", judged + done.len() - failed);
    Ok(failed == 0)
}

/// All cases in order; stages that this system cannot have are left out.
fn cases(asked: &Asked) -> Vec<Numbered> {
    let only = |stage, many| match asked.only {
        Some((one, number)) if one == stage => number..number + 1,
        Some(_) => 0..0,
        None => 0..many,
    };
    let mut cases: Vec<Numbered> = only("input", asked.inputs)
        .map(|number| Numbered {
            stage: "input",
            number,
            kind: input_kind(number),
        })
        .filter(|case| asked.kind.as_deref().is_none_or(|kind| kind == case.kind.0))
        .collect();
    for (stage, many, kind) in [("stop", asked.stops, STOP), ("disk", asked.disks, DISK)] {
        let numbers = only(stage, many);
        if disks::possible() {
            cases.extend(numbers.map(|number| Numbered {
                stage,
                number,
                kind,
            }));
        } else if many > 0 {
            println!("left out: {stage}, for which this system lacks the means");
        }
    }
    cases
}

/// The kinds take turns.
fn input_kind(number: u64) -> Kind {
    let all: u64 = INPUTS.iter().map(|(_, share, _)| share).sum();
    // A step that has no divisor in common with the sum mixes the kinds.
    let mut place = number * 7 % all;
    for kind in INPUTS {
        if place < kind.1 {
            return kind;
        }
        place -= kind.1;
    }
    INPUTS[0]
}

/// Runs the cases on all cores.
fn all(
    cases: &[Numbered],
    seed: u64,
    program: &Program,
    prepared: &Prepared,
    scratch: &Path,
    kept: &Path,
) -> Vec<Done> {
    let next = AtomicUsize::new(0);
    let failures = AtomicUsize::new(0);
    let done = Mutex::new(Vec::new());
    let work = || {
        while let Some(numbered) = cases.get(next.fetch_add(1, Ordering::Relaxed)) {
            let (found, case) = one(*numbered, seed, program, prepared, scratch);
            if !found.verdict.faults.is_empty() {
                let place = kept.join(format!(
                    "seed_{seed}_{}_{}_{}",
                    numbered.stage, numbered.number, found.kind
                ));
                let again = format!("seed={seed} {}={}", numbered.stage, numbered.number);
                println!(
                    "FAILED {again} ({}): {}",
                    found.kind,
                    found.verdict.faults.join("; ")
                );
                if failures.fetch_add(1, Ordering::Relaxed) < KEPT {
                    let _ = fs::remove_dir_all(&place);
                    written(&place.join("inputs"), &case.inputs);
                    written(&place.join("after"), &judge::files(&case.folder));
                    let _ = fs::write(place.join("runs.txt"), case.log);
                }
            }
            let _ = fs::remove_dir_all(&case.folder);
            if let Ok(mut done) = done.lock() {
                done.push(found);
                if done.len() % 1000 == 0 {
                    println!("{} of {} cases", done.len(), cases.len());
                }
            }
        }
    };
    let threads = thread::available_parallelism().map_or(1, |cores| cores.get());
    thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(work);
        }
    });
    done.into_inner().unwrap_or_default()
}

/// One case, in a folder of its own.
fn one<'a>(
    numbered: Numbered,
    seed: u64,
    program: &'a Program,
    prepared: &'a Prepared,
    scratch: &Path,
) -> (Done, Case<'a>) {
    let Numbered {
        stage,
        number,
        kind: (kind, _, attempt),
    } = numbered;
    let stream = match stage {
        "input" => number,
        "stop" => (1 << 40) + number,
        _ => (2 << 40) + number,
    };
    let folder = scratch.join(format!("{stage}_{number}"));
    let _ = fs::create_dir_all(&folder);
    let mut case = Case {
        dice: Dice::new(seed, stream),
        folder,
        program,
        prepared,
        inputs: judge::Files::new(),
        log: String::new(),
    };
    let start = Instant::now();
    // A fault of the campaign itself must not end it.
    let attempted = catch_unwind(AssertUnwindSafe(|| attempt(&mut case)));
    let verdict = attempted.unwrap_or_else(|_| Verdict {
        refused: false,
        faults: vec!["the campaign itself panicked, see above".to_owned()],
    });
    let done = Done {
        kind,
        verdict,
        took: start.elapsed(),
        told: format!("seed={seed} {stage}={number} ({kind})"),
    };
    (done, case)
}

fn written(folder: &Path, files: &judge::Files) {
    let _ = fs::create_dir_all(folder);
    for (name, bytes) in files {
        let path = folder.join(name);
        let _ = path.parent().map(fs::create_dir_all);
        let _ = fs::write(path, bytes);
    }
}

fn table(done: &[Done]) {
    println!(
        "\n{:<10}{:>8}{:>9}{:>8}{:>8}{:>10}",
        "kind", "tried", "refused", "ran", "failed", "s each"
    );
    for (kind, _, _) in INPUTS.into_iter().chain([STOP, DISK]) {
        let of_kind: Vec<&Done> = done.iter().filter(|done| done.kind == kind).collect();
        let tried = of_kind.len();
        let refused = of_kind.iter().filter(|done| done.verdict.refused).count();
        let failed = of_kind
            .iter()
            .filter(|done| !done.verdict.faults.is_empty())
            .count();
        let took: Duration = of_kind.iter().map(|done| done.took).sum();
        if tried > 0 {
            println!(
                "{kind:<10}{tried:>8}{refused:>9}{:>8}{failed:>8}{:>10.2}",
                tried - refused,
                took.as_secs_f64() / tried as f64
            );
        }
    }
}
