//! The morning of the README once more: what an invented grower brings home from a first pass over an invented field of cabbage.
//!
//! The scenario is what `rowroom starter --crop cabbage` writes. The field's truth is another one, written below and in no other place: the
//! camera looks past the rows by 14 mm, and the driver is less steady than the starter says. Everything is drawn by the seed 7.
//!
//! `cargo run --release --example morning scenarios/morning` writes the files; a test makes them again and compares.

use std::fmt::Write;
use std::path::Path;

use rowroom::model::controller::Kind;
use rowroom::montecarlo::study::one_pass;
use rowroom::scenario::{Crop, FIELD_PASSES, Given, Scenario, Steering, Units, short_starter};
use rowroom::sim::trace::{Fate, Trace, View};
use rowroom::unknowns::dice::Dice;

/// Of everything that is drawn.
const SEED: u64 = 7;

/// The field among all those that the scenario allows.
const FIELD: u64 = 3;

/// What is true of the farm beside it, and the grower does not know.
const TRUTH: [&str; 4] = [
    "camera.alignment=14 mm",
    "driver.hand.seeing_sd=65 mm",
    "driver.hand.seeing_length=6 m",
    "driver.hand.shortest_preview=6 m",
];

/// Passes that are logged.
const PASSES: u64 = 6;

/// Distance between them, m: four rows of 700 mm.
const APART_M: f64 = 2.8;

/// White noise of the receiver with a fixed carrier phase, m (Carballido et al., Applied Engineering in Agriculture 30(3):361-366, 2014:
/// 14.3 mm).
const RECEIVER_M: f64 = 0.0143;

/// Places along a pass at which the tape is read and plants are counted, m.
const PLACES_M: [f64; 4] = [35.0, 80.0, 125.0, 170.0];

/// Plants are counted from there on over so much, m.
const COUNTED_M: f64 = 20.0;

/// What a reading with a tape adds, m (as learning takes it).
const TAPE_M: f64 = 0.002;

/// The files, by name.
pub fn files() -> Vec<(&'static str, String)> {
    let starter = short_starter(Crop::Cabbage, Steering::Hand, Units::Metric);
    let none = |_: &str| Err(std::io::ErrorKind::NotFound.into());
    let scenario = Scenario::parse(&starter, "cabbage.toml", &none, None).expect("the starter");
    let given = TRUTH.map(|text| Given::parse(text).expect("a key and its value"));
    let farm = scenario.changed(&given).expect("a true farm");
    let study = scenario.study();
    let mut dice = Dice::new(SEED);
    let traces: Vec<Trace> = (0..PASSES)
        .map(|pass| {
            let view = View {
                kind: Kind::LagCompensated,
                speed_m_s: study.working_speed_m_s,
                clearance_m: study.working_clearance_m,
                seed: SEED,
                pass: FIELD * FIELD_PASSES + pass,
            };
            one_pass(&farm, view).expect("a pass")
        })
        .collect();
    vec![
        ("cabbage.toml", starter),
        ("tractor.csv", log(&traces, &mut dice)),
        ("notebook.csv", notebook(&traces, &mut dice)),
    ]
}

/// Five fixes in two seconds, up the field and down again.
fn log(traces: &[Trace], dice: &mut Dice) -> String {
    let mut text = String::from("time_s,x_m,y_m,quality,pass\n");
    let mut begins_s = 0.0;
    for (number, trace) in traces.iter().enumerate() {
        let (first, last) = (trace.samples[0], trace.samples[trace.samples.len() - 1]);
        let middle_m = 0.5 * (first.station_m + last.station_m);
        let way = if number % 2 == 0 { 1.0 } else { -1.0 };
        let mut next_s = first.time_s;
        for sample in &trace.samples {
            if sample.time_s < next_s {
                continue;
            }
            next_s += 0.4;
            let x_m = middle_m + way * (sample.station_m - middle_m) + RECEIVER_M * dice.normal();
            let y_m = APART_M * number as f64 + way * sample.axle_m + RECEIVER_M * dice.normal();
            let time_s = begins_s + sample.time_s - first.time_s;
            let _ = writeln!(text, "{time_s:.1},{x_m:.3},{y_m:.3},4,{}", number + 1);
        }
        begins_s += last.time_s - first.time_s + 30.0;
    }
    text
}

/// Gaps of two rows and plants of one, at a few places of every second pass.
fn notebook(traces: &[Trace], dice: &mut Dice) -> String {
    let mut text = String::from("place; row; left mm; right mm; plants; cut; touched\n");
    let mut place = 0;
    for trace in traces.iter().step_by(2) {
        for at_m in PLACES_M {
            place += 1;
            let sample = trace
                .samples
                .partition_point(|sample| sample.station_m < at_m);
            let error_m = trace.samples[sample].tool_error_m;
            for row in [1_usize, 2] {
                let own_m = 0.004 * dice.normal();
                let mm = |m: f64| (1e3 * m).round();
                let left_mm = mm(trace.clearance_m + error_m + own_m + TAPE_M * dice.normal());
                let right_mm = mm(trace.clearance_m - error_m - own_m + TAPE_M * dice.normal());
                let _ = write!(text, "{place}; {}; {left_mm}; {right_mm}", row + 1);
                let near = trace.plants.iter().filter(|plant| {
                    plant.row == row && (at_m..at_m + COUNTED_M).contains(&plant.station_m)
                });
                let count = |fate: Option<Fate>| {
                    let of = near.clone();
                    of.filter(|plant| fate.is_none_or(|fate| plant.fate == fate))
                        .count()
                };
                let _ = writeln!(
                    text,
                    "; {}; {}; {}",
                    count(None),
                    count(Some(Fate::Cut)),
                    count(Some(Fate::Touched))
                );
            }
        }
    }
    text
}

#[allow(dead_code)]
fn main() -> std::io::Result<()> {
    let folder = std::env::args().nth(1);
    let folder = Path::new(folder.as_deref().unwrap_or("scenarios/morning"));
    std::fs::create_dir_all(folder)?;
    for (name, text) in files() {
        std::fs::write(folder.join(name), text)?;
    }
    Ok(())
}
