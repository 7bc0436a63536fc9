//! What can be typed.

use std::path::PathBuf;
use std::time::Duration;

use clap::{Args, Parser, Subcommand, ValueEnum};
use rowroom::model::controller::Kind;
use rowroom::montecarlo::study::{MOST_PARTS, MOST_PASSES, Part};
use rowroom::scenario::Given;
use rowroom::scenario::keys::{self, Id};
use rowroom::scenario::units::{self, Quantity};

/// How close to the plants may the sweeps of a camera-guided cultivator run, and how fast?
///
/// Without a command, the built-in demo field is studied and its report written to reports/demo.
#[derive(Parser)]
#[command(version, after_help = EXIT_CODES, after_long_help = EXIT_CODES)]
pub struct Cli {
    /// What to do; nothing: study the demo
    #[command(subcommand)]
    pub command: Option<Command>,
}

const EXIT_CODES: &str = "\
Example:
  rowroom starter my_field.toml     write a scenario to edit
  rowroom study my_field.toml       plants cut at each speed and clearance

Exit codes: 0 done, 1 failed run or file trouble, 2 bad input, 3 unstable control loop, 130 interrupted.";

/// The commands.
#[derive(Subcommand)]
pub enum Command {
    /// Simulate many passes and report plants cut at each speed and clearance
    #[command(after_help = "\
Example:
  rowroom study my_field.toml --out reports/narrow_rows --seed 7")]
    Study(Study),
    /// Put the parts of a study together; the report is the same as if it had run in one go
    #[command(after_help = "\
Example:
  rowroom study my_field.toml --passes 20000 --part 1/2 --out shares
  rowroom study my_field.toml --passes 20000 --part 2/2 --out shares    on another machine, say
  rowroom merge shares/part_1_of_2.json shares/part_2_of_2.json")]
    Merge(Merge),
    /// Simulate a single pass and write its trace (CSV) and picture (SVG)
    #[command(after_help = "\
Example:
  rowroom pass my_field.toml --number 12 --controller pid --speed \"8 km/h\" --clearance \"38 mm\"")]
    Pass(Pass),
    /// Simulate two machines on the same passes and say which allows more speed
    #[command(after_help = "\
Example:
  rowroom compare with_pid.toml with_yaw_rate.toml")]
    Compare(Compare),
    /// Put two finished studies on one page: two machines, two settings, before and after
    #[command(after_help = "\
Example:
  rowroom study before.toml
  rowroom study after.toml
  rowroom beside reports/before reports/after")]
    Beside(Beside),
    /// Write a commented scenario to start from; an existing file is never touched
    #[command(after_help = "\
Example:
  rowroom starter my_field.toml")]
    Starter(Starter),
    /// Print the JSON Schema of scenario files (for editors) or of results.json
    #[command(after_help = "\
Example:
  rowroom schema > scenario.schema.json
  rowroom schema results > results.schema.json")]
    Schema(Schema),
}

/// `--set`.
#[derive(Args)]
pub struct Changes {
    /// Change a value of the scenario file, such as camera.latency="80 ms"; may be given several times
    ///
    /// Any key of the scenario language with its table. An empty value (KEY=) takes a key or a table out of the file.
    #[arg(long = "set", value_name = "KEY=VALUE", value_parser = Given::parse)]
    pub given: Vec<Given>,
}

/// `rowroom study`.
#[derive(Args)]
pub struct Study {
    /// Scenario file
    pub file: PathBuf,
    #[command(flatten)]
    pub changes: Changes,
    /// Folder for the report [default: reports/<file stem> in the current folder]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Seed of all random numbers [default: the scenario's]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Simulate exactly so many passes at each speed
    ///
    /// Without it a study ends by itself once it is decided which settings keep the allowed rate.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(2..=MOST_PASSES))]
    pub passes: Option<u64>,
    /// End after so many passes even if something is undecided [default: the scenario's]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(2..=MOST_PASSES), conflicts_with = "passes")]
    pub most_passes: Option<u64>,
    /// Stop after so many minutes; the same command goes on from there
    #[arg(long, value_name = "M", value_parser = minutes)]
    pub minutes: Option<Duration>,
    /// Compute part K of N alone, for "rowroom merge"; with --passes of all parts together
    #[arg(long, value_name = "K/N", value_parser = part, requires = "passes")]
    pub part: Option<Part>,
    /// Threads; results do not depend on it [default: all cores]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1024))]
    pub threads: Option<u64>,
    /// Print no words but errors
    #[arg(long)]
    pub quiet: bool,
    /// Print results.json to standard output, and everything else to standard error
    #[arg(long, conflicts_with = "part")]
    pub json: bool,
    /// Log of a driven pass, for a scenario that replays one
    #[arg(long, value_name = "LOG")]
    pub replay: Option<PathBuf>,
}

/// `rowroom compare`.
#[derive(Args)]
pub struct Compare {
    /// Scenario of the first machine; speeds, clearances and the allowed rate are taken from it
    pub first: PathBuf,
    /// Scenario of the second machine
    pub second: PathBuf,
    /// Passes at each speed
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(2..=MOST_PASSES), default_value_t = rowroom::answers::compare::PASSES)]
    pub passes: u64,
    /// Seed of all random numbers [default: the first scenario's]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Threads; results do not depend on it [default: all cores]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1024))]
    pub threads: Option<u64>,
    /// Print the numbers as JSON
    #[arg(long)]
    pub json: bool,
}

/// `rowroom beside`.
#[derive(Args)]
pub struct Beside {
    /// Folder of the first study, or its results.json; the page opens with its units
    pub first: PathBuf,
    /// Folder of the second study, or its results.json
    pub second: PathBuf,
    /// Folder for the page [default: reports/<first>_beside_<second> in the current folder]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
}

fn minutes(text: &str) -> Result<Duration, String> {
    text.parse()
        .ok()
        .filter(|minutes| *minutes > 0.0)
        .and_then(|minutes: f64| Duration::try_from_secs_f64(60.0 * minutes).ok())
        .ok_or_else(|| "a number of minutes above 0 is wanted, such as 5 or 0.5".into())
}

fn part(text: &str) -> Result<Part, String> {
    text.split_once('/')
        .and_then(|(number, of)| {
            Some(Part {
                number: number.parse().ok()?,
                of: of.parse().ok()?,
            })
        })
        .filter(|part| (1..=part.of).contains(&part.number) && part.of <= MOST_PARTS)
        .ok_or_else(|| {
            format!("a part is wanted, such as 3/8 for the third of eight; at most {MOST_PARTS}")
        })
}

/// `rowroom merge`.
#[derive(Args)]
pub struct Merge {
    /// Files of all parts, in any order
    #[arg(required = true, value_name = "PART")]
    pub parts: Vec<PathBuf>,
    /// Folder for the report [default: reports/<scenario's file stem> in the current folder]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print no words but errors
    #[arg(long)]
    pub quiet: bool,
    /// Print results.json to standard output, and everything else to standard error
    #[arg(long)]
    pub json: bool,
}

/// `rowroom pass`.
#[derive(Args)]
pub struct Pass {
    /// Scenario file
    pub file: PathBuf,
    #[command(flatten)]
    pub changes: Changes,
    /// Number of the pass in the study, from 0
    #[arg(long, value_name = "K", default_value_t = 0)]
    pub number: u64,
    /// Controller [default: the last in this list that the machine has the parts for]
    #[arg(long, value_name = "NAME", value_parser = controllers())]
    pub controller: Option<String>,
    /// Speed with its unit, such as "8 km/h" or "5 mph" [default: the scenario's working speed]
    #[arg(long, value_name = "SPEED", value_parser = speed_m_s)]
    pub speed: Option<f64>,
    /// Clearance with its unit, such as "38 mm" or "1.5 in" [default: the scenario's working clearance]
    #[arg(long, value_name = "LENGTH", value_parser = clearance_m)]
    pub clearance: Option<f64>,
    /// Seed of all random numbers [default: the scenario's]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Folder for the files [default: reports/<file stem>/passes/ and the setting]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Log of a driven pass, for a scenario that replays one
    #[arg(long, value_name = "LOG")]
    pub replay: Option<PathBuf>,
}

fn controllers() -> clap::builder::PossibleValuesParser {
    Kind::ALL.map(Kind::name).into()
}

fn speed_m_s(text: &str) -> Result<f64, String> {
    quantity(text, Quantity::Speed, Id::WorkingSpeed)
}

fn clearance_m(text: &str) -> Result<f64, String> {
    quantity(text, Quantity::Length, Id::WorkingClearance)
}

/// A quantity in SI, within the limits that the scenario's key has.
fn quantity(text: &str, what: Quantity, id: Id) -> Result<f64, String> {
    let key = keys::key(id);
    let si = units::parse(text, what).map_err(|why| why.to_string())?.si;
    match key.range() {
        Some((low, high)) if si < low || si > high => {
            Err(format!("is not within {}", key.allowed()))
        }
        _ => Ok(si),
    }
}

/// `rowroom starter`.
#[derive(Args)]
pub struct Starter {
    /// File to write
    #[arg(default_value = "my_field.toml")]
    pub file: PathBuf,
}

/// `rowroom schema`.
#[derive(Args)]
pub struct Schema {
    /// Which one
    #[arg(value_enum, default_value = "scenario")]
    pub of: SchemaOf,
}

/// Files with a schema.
#[derive(Clone, Copy, ValueEnum)]
pub enum SchemaOf {
    /// Scenario files
    Scenario,
    /// The results.json of a study
    Results,
}
