//! Predicted against measured: every published trial of this folder, in the manner of ASME V&V 20.
//!
//! ```text
//! cargo test --release --test trials                    a few fields of each, held against the kept table
//! cargo test --release --test trials -- fields=32       the same with more fields, as `.ci/run` does
//! cargo test --release --test trials -- full            all of it; writes the kept table and what is made of it
//! ```
//!
//! A comparison is the error E = S - D, S predicted and D measured, against the combined standard uncertainty of what the report leaves
//! open (inputs), of the number of simulated fields (numerics) and of the measurement (data).

mod kept;
mod parts;
mod predict;
mod trial;
mod written;

use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use rowroom::trust::Row;

/// Fields of each machine in the brief run.
const BRIEF: u64 = 4;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let (fields, write) = match words.as_slice() {
        [] => (BRIEF, false),
        [word] if word == "full" => (predict::BLOCK, true),
        [word] => match word.strip_prefix("fields=").and_then(|n| n.parse().ok()) {
            Some(fields) => (fields, false),
            // A name of a test or an option of the harness: nothing here is meant.
            None => return ExitCode::SUCCESS,
        },
        _ => return ExitCode::SUCCESS,
    };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/trials");
    let (machines, trials) = trial::read(&folder);
    let start = Instant::now();
    let rows: Vec<Row> = trials
        .iter()
        .flat_map(|trial| predict::rows(trial, &machines, fields))
        .collect();
    print!("{}", written::plain(&rows));
    println!(
        "{} comparisons of {} trials in {:.1} s, {} fields of 8 passes each",
        rows.len(),
        trials.len(),
        start.elapsed().as_secs_f64(),
        4 * fields.min(predict::BLOCK),
    );
    if write {
        written::write(&rows, &trials);
        return ExitCode::SUCCESS;
    }
    let wrong = kept::wrong(&rows, &trials);
    for line in &wrong {
        println!("WRONG: {line}");
    }
    if wrong.is_empty() {
        println!("as the kept table says");
        ExitCode::SUCCESS
    } else {
        println!(
            "if the model was meant to change: cargo test --release --test trials -- full, and look at what it wrote"
        );
        ExitCode::FAILURE
    }
}
