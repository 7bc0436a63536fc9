//! What can be typed.

use std::path::PathBuf;
use std::time::Duration;

use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Parser, Subcommand, ValueEnum};
use rowroom::answers::compare::{How, PASSES};
use rowroom::answers::sweep::Over;
use rowroom::model::controller::Kind;
use rowroom::montecarlo::study::{MOST_PARTS, MOST_PASSES, Part};
use rowroom::page::file as page;
use rowroom::scenario::keys::{self, Id};
use rowroom::scenario::units::{self, Quantity};
use rowroom::scenario::{Crop, Given, Scenario, Steering, Units};

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
    /// Compare machines, two or more: scenario files, simulated on the same passes, and finished studies
    #[command(after_help = "\
Example:
  rowroom compare with_pid.toml with_yaw_rate.toml
  rowroom compare reports/before reports/after --out reports/both
  rowroom compare my_field.toml reports/demo other.toml --set camera.latency=\"120 ms\"

--set changes every scenario file that is compared, no finished study.")]
    Compare(Compare),
    /// Change one or two values through a list and see what it does to the plants cut
    #[command(after_help = "\
Example:
  rowroom sweep my_field.toml --over camera.latency=\"40 ms, 80 ms, 120 ms\"
  rowroom sweep my_field.toml --over camera.lookahead=\"0.4 m, 0.8 m\" --over camera.mount=\"shifted, fixed\"")]
    Sweep(Sweep),
    /// Look for the machines that nobody beats on both price and assured speed
    #[command(after_help = "\
Example:
  rowroom design my_field.toml

What could be bought or set stands in the scenario; offers for the same part exclude one another:
  [[offers]]
  part = \"camera\"
  name = \"50 frames a second\"
  price = 1800                                                 in the currency of [prices]
  set = { camera.frames = \"50 Hz\", camera.latency = \"50 ms\" }    as --set would
Without offers the changes that have a price in [change_prices] are tried; without prices all that are known, and parts are counted. The machine as
it stands is the scenario's with the controllers of study.controllers.")]
    Design(Design),
    /// Put notes of the field into a scenario, and tell what they teach about this farm
    #[command(after_help = "\
Example:
  rowroom learn my_field.toml walk.csv
  rowroom study my_field_learned.toml

Notes are a notebook as \"rowroom field --notes\" takes it: a table with the columns place; row; left mm; right mm; plants; cut; touched. Of a place
the first gaps are taken, and its plants together. Or a file that ends in .toml:
  [[notes]]
  speed = \"8 km/h\"                                  left out: the working speed
  clearance = \"60 mm\"                               left out: the working clearance
  controller = \"pid\"                                left out: the last one that the machine can run
  gaps = [[\"58 mm\", \"63 mm\"], [\"61 mm\", \"60 mm\"]]   left and right of a row, place by place
  counts = [[200, 3], [200, 0]]                     plants looked at and cut, place by place
  [camera]
  latency = { measured = \"95 ms\", error = \"10 ms\" }

Gaps are measured with the tools in the ground, engine off and oil without pressure.")]
    Learn(Learn),
    /// Look at logs of positions and a notebook: how far the tractor wanders, what to move
    #[command(after_help = "\
Example:
  rowroom field monday.nmea --parked parked.nmea
  rowroom field track.csv --columns latitude=Breite,longitude=Laenge --quality fixed
  rowroom field --notes notes.csv

Logs: NMEA 0183, GPX, CSV with named columns (latitude and longitude, x_m and y_m, or distance_m and offset_m), lines of GeoJSON.
Notebook: a table with the columns place; row; left mm; right mm; plants; cut; touched. Left and right as seen in the direction of travel.")]
    Field(Field),
    /// Write a short commented scenario to start from; an existing file is never touched
    #[command(after_help = "\
Example:
  rowroom starter my_field.toml
  rowroom starter my_field.toml --crop sugar_beet --driver satellite_line --units us
  rowroom starter all.toml --full")]
    Starter(Starter),
    /// Write the whole tool as one page that opens by a double click, without network or installation
    #[command(after_help = "\
Example:
  rowroom page
  rowroom page --out stick/rowroom.html")]
    Page(Page),
    /// Print the JSON Schema of scenario files (for editors) or of results.json
    #[command(after_help = "\
Example:
  rowroom schema > scenario.schema.json
  rowroom schema results > results.schema.json")]
    Schema(Schema),
}

/// `rowroom page`.
#[derive(Args)]
pub struct Page {
    /// The file to write; it must not be there yet
    #[arg(long, value_name = "FILE", default_value = page::FILE)]
    pub out: PathBuf,
    /// Open it in the browser
    #[arg(long)]
    pub open: bool,
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

/// How settings are simulated beside one another.
#[derive(Args)]
pub struct Trials {
    /// Passes with every setting and at every speed
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(2..=MOST_PASSES), default_value_t = PASSES)]
    pub passes: u64,
    /// Seed of all random numbers [default: the scenario's, the first one's]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Threads; results do not depend on it [default: all cores]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1024))]
    pub threads: Option<u64>,
}

impl Trials {
    /// How they are simulated; the seed is the scenario's unless one is named.
    pub fn how(&self, scenario: Option<&Scenario>) -> How {
        let seed = self.seed.or(scenario.map(|scenario| scenario.study().seed));
        How {
            // Without a scenario nothing is drawn.
            seed: seed.unwrap_or(0),
            passes: self.passes,
            threads: self.threads.map(|threads| threads as usize),
        }
    }
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
    /// Open the report in the browser once it is written
    #[arg(long, conflicts_with = "part")]
    pub open: bool,
    /// Log of a driven pass, for a scenario that replays one
    #[arg(long, value_name = "LOG")]
    pub replay: Option<PathBuf>,
}

/// `rowroom compare`.
#[derive(Args)]
pub struct Compare {
    /// Scenario files and finished studies (a folder with results.json, or that file), two to eight
    ///
    /// Scenario files are simulated on the same passes, at the speeds, clearances, working setting and allowed rate of the first one;
    /// finished studies stand as they were worked. All are held against the first.
    #[arg(required = true, num_args = 2.., value_name = "MACHINE")]
    pub machines: Vec<PathBuf>,
    #[command(flatten)]
    pub changes: Changes,
    #[command(flatten)]
    pub trials: Trials,
    /// Folder for a page with it all, comparison.html [default: none is written]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the numbers as JSON
    #[arg(long)]
    pub json: bool,
    /// Open the page in the browser
    #[arg(long, requires = "out")]
    pub open: bool,
}

fn minutes(text: &str) -> Result<Duration, String> {
    text.parse()
        .ok()
        // NaN falls out here, and what is too long for a duration below: one message for all.
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
    /// Open the report in the browser once it is written
    #[arg(long)]
    pub open: bool,
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

/// `rowroom sweep`.
#[derive(Args)]
pub struct Sweep {
    /// Scenario file
    pub file: PathBuf,
    /// Key and its values with commas between them, for one or two keys
    ///
    /// Everything is simulated at the working speed and clearance, the file as it stands too; with two keys every pair of values is.
    #[arg(long, required = true, value_name = "KEY=VALUES", value_parser = Over::parse)]
    pub over: Vec<Over>,
    #[command(flatten)]
    pub changes: Changes,
    /// Folder for table and picture [default: reports/<file stem>/sweeps/ and the keys]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub trials: Trials,
    /// Print no words but errors
    #[arg(long)]
    pub quiet: bool,
    /// Print the numbers as JSON to standard output, and everything else to standard error
    #[arg(long)]
    pub json: bool,
    /// Log of a driven pass, for a scenario that replays one
    #[arg(long, value_name = "LOG")]
    pub replay: Option<PathBuf>,
    /// Open the picture in whatever shows such files
    #[arg(long)]
    pub open: bool,
}

/// `rowroom design`.
#[derive(Args)]
pub struct Design {
    /// Scenario file
    pub file: PathBuf,
    #[command(flatten)]
    pub changes: Changes,
    /// Folder for table and picture [default: reports/<file stem>/design]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub trials: Trials,
    /// Print no words but errors
    #[arg(long)]
    pub quiet: bool,
    /// Print the numbers as JSON to standard output, and everything else to standard error
    #[arg(long)]
    pub json: bool,
    /// Log of a driven pass, for a scenario that replays one
    #[arg(long, value_name = "LOG")]
    pub replay: Option<PathBuf>,
    /// Open the picture in whatever shows such files
    #[arg(long)]
    pub open: bool,
}

/// `rowroom learn`.
#[derive(Args)]
pub struct Learn {
    /// Scenario file
    pub file: PathBuf,
    /// Notes from the field
    pub notes: PathBuf,
    /// File for the scenario with the notes in it; it must not be there [default: the scenario's name with _learned]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Print the numbers as JSON to standard output, and everything else to standard error
    #[arg(long)]
    pub json: bool,
    /// Log of a driven pass, for a scenario that replays one
    #[arg(long, value_name = "LOG")]
    pub replay: Option<PathBuf>,
}

/// `rowroom field`.
#[derive(Args)]
pub struct Field {
    /// Logs of the tractor's positions, one after another
    #[arg(value_name = "LOG")]
    pub logs: Vec<PathBuf>,
    /// Notebook with readings of a tape and counts of plants
    #[arg(long, value_name = "FILE")]
    pub notes: Option<PathBuf>,
    /// Log of the same receiver with the tractor parked, 10 minutes: how it drifts
    #[arg(long, value_name = "FILE")]
    pub parked: Option<PathBuf>,
    /// Columns of a CSV log whose names are not known: latitude=NAME,longitude=NAME; also x, y, distance, offset, time, quality, roll,
    /// pass, lifted
    #[arg(long, value_name = "ROLE=NAME", value_delimiter = ',', value_parser = column)]
    pub columns: Vec<(String, String)>,
    /// What the receiver showed, for a log that does not tell
    #[arg(long, value_enum)]
    pub quality: Option<FieldQuality>,
    /// Planned line of every pass: straight, arc, or a file with lines (GeoJSON, GPX, CSV with places as the log has them and a column
    /// "pass") [default: straight, an arc where it clearly bends]
    #[arg(long, value_name = "KIND|FILE")]
    pub line: Option<String>,
    /// Antenna so far ahead of the rear axle, such as "1.2 m"
    #[arg(long, value_name = "LENGTH", value_parser = length, allow_hyphen_values = true)]
    pub antenna_ahead: Option<f64>,
    /// Height of the antenna, for a log with a column of the roll
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub antenna_height: Option<f64>,
    /// Scenario that is to learn from it: says what changes, compares with what it predicted, and writes it anew
    #[arg(long, value_name = "FILE")]
    pub scenario: Option<PathBuf>,
    /// File for that scenario with what was found in it; it must not be there [default: its name with _learned]
    #[arg(long, value_name = "FILE", requires = "scenario")]
    pub learned: Option<PathBuf>,
    /// Folder for pictures of the wander, measured against fitted [default: none is drawn]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Print the numbers as JSON, in SI units
    #[arg(long)]
    pub json: bool,
}

/// What a receiver may show.
#[derive(Clone, Copy, ValueEnum)]
pub enum FieldQuality {
    /// Carrier phase, fixed
    Fixed,
    /// Carrier phase, not fixed
    Float,
    /// With corrections
    Corrected,
    /// Satellites alone
    Alone,
}

fn column(text: &str) -> Result<(String, String), String> {
    let roles = rowroom::field::role_names();
    let (role, name) = text
        .split_once('=')
        .ok_or_else(|| format!("ROLE=NAME is wanted; roles are {roles}"))?;
    if !roles.split(", ").any(|known| known == role) {
        return Err(format!("no role \"{role}\"; roles are {roles}"));
    }
    Ok((role.to_owned(), name.to_owned()))
}

fn length(text: &str) -> Result<f64, String> {
    let length_m = units::parse(text, Quantity::Length)
        .map_err(|why| why.to_string())?
        .si;
    if length_m.abs() > 10.0 {
        return Err("is not within 10 m".to_owned());
    }
    Ok(length_m)
}

/// `rowroom starter`.
#[derive(Args)]
pub struct Starter {
    /// File to write
    #[arg(default_value = "my_field.toml")]
    pub file: PathBuf,
    /// Crop
    #[arg(long, default_value = "leeks", value_parser = PossibleValuesParser::new(Crop::ALL.map(Crop::name)).map(|name| named(Crop::ALL, Crop::name, &name)))]
    pub crop: Crop,
    /// Who steers
    #[arg(long, default_value = "hand", value_parser = PossibleValuesParser::new(Steering::ALL.map(Steering::name)).map(|name| named(Steering::ALL, Steering::name, &name)))]
    pub driver: Steering,
    /// Units of the values and of the reports
    #[arg(long, default_value = "metric", value_parser = PossibleValuesParser::new(UNITS.map(Units::name)).map(|name| named(UNITS, Units::name, &name)))]
    pub units: Units,
    /// Write every key of the language with its meaning and default instead, in metric units
    #[arg(long, conflicts_with_all = ["crop", "driver", "units"])]
    pub full: bool,
}

const UNITS: [Units; 2] = [Units::Metric, Units::Us];

/// The one of that name; the parser lets no other name through.
fn named<T: Copy, const N: usize>(all: [T; N], name_of: fn(T) -> &'static str, name: &str) -> T {
    let found = all.into_iter().find(|one| name_of(*one) == name);
    found.unwrap_or(all[0])
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
