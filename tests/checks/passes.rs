//! Passes as an engine of one pass at a time, written apart from today's and since taken out, walked through them on the same deviates:
//! tests/references/passes.json, to rounding.

use std::path::Path;

use crate::common::machines::machines;
use crate::common::{cases, numbers, references};
use rowroom::model::controller::Kind;
use rowroom::model::driver::Driver;
use rowroom::model::hitch::Hitch;
use rowroom::model::noise::GaussMarkov;
use rowroom::model::setup::Setup;
use rowroom::scenario::Scenario;
use rowroom::sim::trace::{Trace, View};
use serde_json::{Value, json};

const SEED: u64 = 11;
const CLEARANCE_M: f64 = 0.045;
/// Samples of a pass that were kept.
const KEPT: usize = 12;

/// Every machine with a name, a speed and the passes of it that were kept.
fn frozen() -> Vec<(String, f64, Setup, u64)> {
    let mut all = Vec::new();
    for (name, setup) in machines() {
        for pass in [40, 45] {
            all.push((name.to_owned(), 8.0 / 3.6, setup.clone(), pass));
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files: Vec<_> = std::fs::read_dir(root.join("scenarios"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|file| file.extension().is_some_and(|ending| ending == "toml"))
        .collect();
    files.sort();
    for file in files {
        let name = file.file_stem().unwrap().to_str().unwrap().to_owned();
        let log = root.join("tests/data/synthetic_pass.csv");
        let scenario = Scenario::read(&file, (name == "replayed_pass").then_some(&*log)).unwrap();
        let scenario = scenario.all_known();
        all.push((
            name,
            scenario.study().working_speed_m_s,
            scenario.draw(SEED, 1),
            1,
        ));
    }
    all
}

/// What is kept of a pass: axle, frame, row, heading, shift and command at some samples; then plants, those cut, and the sum of the
/// clearances that they need.
fn kept(trace: &Trace) -> Vec<f64> {
    let every = trace.samples.len() / KEPT;
    let mut kept: Vec<f64> = (0..KEPT)
        .map(|k| &trace.samples[k * every])
        .flat_map(|at| {
            [
                at.axle_m,
                at.frame_m,
                at.row_m,
                at.heading_rad,
                at.shift_m,
                at.command,
            ]
        })
        .collect();
    let needed = trace.plants.iter().filter_map(|p| p.needed_clearance_m);
    let cut = |of: &Trace| of.plants.iter().filter(|p| p.fate.name() == "cut").count() as f64;
    kept.extend([trace.plants.len() as f64, cut(trace), needed.sum()]);
    kept
}

/// That engine drove in steps of the side-shift's ticks, on a ground of 200 points per correlation length; what straight lines between them
/// take off the variance it left.
fn as_then(setup: &mut Setup) {
    const PER_REACH: f64 = 200.0;
    setup.run.drive_ticks = 1;
    setup.run.ground_points = PER_REACH;
    let plain = |noise: &mut GaussMarkov| {
        noise.sd *= noise.sd / noise.through_points(noise.reach / PER_REACH).sd.max(1e-300);
    };
    let wander = &mut setup.rows.wander;
    if wander.sd > 0.0 {
        wander.sd *= wander.sd / wander.through_points(wander.reach / PER_REACH).sd;
    }
    plain(&mut setup.camera.appearance);
    if let Driver::Hand(hand) = &mut setup.driver {
        plain(&mut hand.seeing);
    }
    if let Hitch::Rigid { sway, .. } = &mut setup.hitch {
        plain(sway);
    }
}

fn passes() -> Value {
    let mut list = Vec::new();
    for (name, speed_m_s, setup, pass) in frozen() {
        let mut in_every_tick = setup.clone();
        as_then(&mut in_every_tick);
        for kind in Kind::ALL {
            if kind.lacks(&setup).is_some() {
                continue;
            }
            let setup = &in_every_tick;
            let view = View {
                kind,
                speed_m_s,
                clearance_m: CLEARANCE_M,
                seed: SEED,
                pass,
            };
            let trace = Trace::of(setup, view);
            list.push(json!({ "machine": name, "pass": pass, "controller": kind.name(), "values": kept(&trace) }));
        }
    }
    json!({ "passes": list })
}

/// Both round differently (polynomials instead of crate libm, another order of operations): 1e-9 (m, rad) over some 10,000 ticks, and the
/// sum over some hundred plants within 1e-7 m. Where frames fall between ticks that engine took the frame's place there, with its sway,
/// from the straight line between both; this one takes the tractor's and looks up the sway: some µm in a number. What it makes of shifts is
/// held to 0.5 mm, of commands to 5e-3 (at the edge of a deadband a hair decides), of plants to one.
#[test]
fn val_the_passes_are_those_of_an_engine_written_apart() {
    let (found, expected) = (passes(), references("passes"));
    let (found, expected) = (cases(&found, "passes"), cases(&expected, "passes"));
    let sways_between_ticks: Vec<String> = frozen()
        .into_iter()
        .filter(|(_, _, setup, _)| {
            let ticks = setup.camera.frame_s / setup.run.step_s;
            let sways = matches!(setup.hitch, Hitch::Rigid { sway, .. } if sway.sd > 0.0);
            sways && (ticks - ticks.round()).abs() > 1e-6
        })
        .map(|(name, ..)| name)
        .collect();
    assert_eq!(sways_between_ticks, ["sugar_beet", "wide_rows_us"]);
    assert_eq!(found.len(), expected.len());
    for (found, expected) in found.iter().zip(expected) {
        let what = ["machine", "pass", "controller"].map(|key| found[key].to_string());
        for key in ["machine", "pass", "controller"] {
            assert_eq!(found[key], expected[key], "{what:?}");
        }
        let sways = sways_between_ticks
            .iter()
            .any(|name| found["machine"] == **name);
        let (found, expected) = (numbers(&found["values"]), numbers(&expected["values"]));
        assert_eq!(found.len(), expected.len(), "{what:?}");
        let sum = found.len() - 1;
        for (i, (a, b)) in found.iter().zip(&expected).enumerate() {
            let allowed = if sways {
                of_swaying(i, sum)
            } else if i == sum {
                1e-7
            } else {
                1e-9
            };
            assert!((a - b).abs() < allowed, "{what:?}, value {i}: {a} {b}");
        }
    }
}

/// What shifts, commands and plants may differ by where frames fall between ticks, see above; by their places in [`kept`].
fn of_swaying(i: usize, sum: usize) -> f64 {
    match (sum - i, i % 6) {
        (0, _) => 0.02,
        (1, _) => 1.5,
        (_, 4) => 5e-4,
        (_, 5) => 5e-3,
        _ => 1e-9,
    }
}
