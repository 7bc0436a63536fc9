//! The exercise "add a controller" of DEVELOPERS.md, done: a plain proportional one. Its law agrees with its linear form, and in a copy of
//! the source it takes one file, one line of the table and its words to compile.
#![allow(missing_docs)]

#[path = "exercise/proportional.rs"]
mod proportional;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use proportional::Control;
use rowroom::linear::variances_under;
use rowroom::model::controller::{Controller, Kind};
use rowroom::model::setup::Setup;
use rowroom::sim::Drive;
use rowroom::sim::ground::Ground;
use rowroom::sim::shift::Shift;

const SEED: u64 = 1234;
const SPEED_M_S: f64 = 2.0;

/// The plausible machine with every limit out of reach.
fn wide_open() -> Setup {
    let mut setup = Setup::plausible();
    setup.run.length_m = 400.0;
    setup.run.start_delay_s = 0.0;
    setup.plants.spacing_m = 50.0;
    setup.tractor.steer_limit_rad = 1.5;
    setup.tractor.steer_rate_rad_s = 100.0;
    setup.hydraulics.stroke_m = 20.0;
    setup.hydraulics.pump_m3_s *= 1000.0;
    setup.hydraulics.rod_m = 0.0;
    if let Some(valve) = &mut setup.hydraulics.proportional {
        valve.rated_flow_m3_s *= 1000.0;
    }
    setup
}

/// Mean square of the tool error of every pass under a law, m².
fn simulated_m2(setup: &Setup, passes: u64) -> Vec<f64> {
    let valve = Control::VALVE.unwrap();
    let mut shift = Shift::default();
    (0..passes)
        .map(|pass| {
            let ground = Ground::draw(setup, SEED, pass);
            let drive = Drive::new(setup, &ground, SEED, pass, SPEED_M_S);
            let law = Control::law::<1>(setup, SPEED_M_S).unwrap();
            drive.shift_under(setup, valve, law, &mut shift);
            // The shift starts centred: leave out what it needs to settle.
            let first = (6.0 / drive.path.step_s) as usize;
            let ticks = first..drive.path.station_m.len();
            let count = ticks.len() as f64;
            let squares = ticks.map(|k| (shift.shift_m[k] - drive.path.wanted_m(k)).powi(2));
            squares.sum::<f64>() / count
        })
        .collect()
}

/// Simulation against linear check: 3 standard errors and 1 %, as in `agreement.rs`.
#[test]
fn val_the_new_controller_agrees_with_its_linear_form() {
    let setup = wide_open();
    assert_eq!(Control::lacks(&setup), None);
    let squares = simulated_m2(&setup, 24);
    let n = squares.len() as f64;
    let mean_m2 = squares.iter().sum::<f64>() / n;
    let spread = squares.iter().map(|x| (x - mean_m2).powi(2)).sum::<f64>() / (n - 1.0);
    let sd_m = mean_m2.sqrt();
    let error_m = (spread / n).sqrt() / (2.0 * sd_m);
    let control = Control::linear(&setup, SPEED_M_S).unwrap();
    let variances_m2 = variances_under(&setup, control.as_ref(), SPEED_M_S).unwrap();
    let linear_m = variances_m2.iter().sum::<f64>().sqrt();
    let told = format!("simulated {sd_m} m, standard error {error_m} m, linear {linear_m} m");
    assert!(
        (sd_m - linear_m).abs() < 3.0 * error_m + 0.01 * linear_m,
        "{told}"
    );
    // The check tells controllers apart: the PID's number is another one.
    let pid = Kind::Pid.linear(&setup, SPEED_M_S).unwrap();
    let variances_m2 = variances_under(&setup, pid.as_ref(), SPEED_M_S).unwrap();
    let pid_m = variances_m2.iter().sum::<f64>().sqrt();
    assert!(
        (sd_m - pid_m).abs() > 3.0 * error_m + 0.01 * pid_m,
        "{told}, PID {pid_m} m"
    );
}

fn copied(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let place = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copied(&entry.path(), &place);
        } else {
            fs::copy(entry.path(), place).unwrap();
        }
    }
}

/// A copy of what the library is built of.
fn copy() -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let copy = Path::new(env!("CARGO_TARGET_TMPDIR")).join("new_controller");
    let _ = fs::remove_dir_all(&copy);
    for folder in ["src", "scenarios", "examples"] {
        copied(&root.join(folder), &copy.join(folder));
    }
    let manifest = fs::read_to_string(root.join("Cargo.toml")).unwrap();
    // Without the tests, benches and members that stay behind.
    let mut kept = String::new();
    for part in manifest.split_inclusive("\n\n") {
        let behind = ["[workspace]", "[[test]]", "[[bench]]"];
        if !behind.iter().any(|table| part.contains(table)) {
            kept += part;
        }
    }
    fs::write(copy.join("Cargo.toml"), kept + "\n[workspace]\n").unwrap();
    fs::copy(root.join("Cargo.lock"), copy.join("Cargo.lock")).unwrap();
    copy
}

fn insert(file: &Path, before: &str, text: &str) {
    let old = fs::read_to_string(file).unwrap();
    assert_eq!(old.matches(before).count(), 1, "{before:?} in {file:?}");
    fs::write(file, old.replace(before, &format!("{text}{before}"))).unwrap();
}

/// What the compiler says of the copy; nothing if it is content.
fn complaints(copy: &Path) -> String {
    // The folder of this build has the dependencies already.
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).join("..");
    let told = Command::new(env!("CARGO"))
        .args(["check", "--lib", "--offline", "--quiet"])
        .env("CARGO_TARGET_DIR", target)
        .current_dir(copy)
        .output()
        .unwrap();
    let words = String::from_utf8_lossy(&told.stderr).into_owned();
    if told.status.success() {
        String::new()
    } else {
        words
    }
}

/// The steps of DEVELOPERS.md, in their order.
#[test]
fn regress_a_new_controller_compiles_only_when_all_it_needs_is_there() {
    let copy = copy();
    let controllers = copy.join("src/model/controller");
    let law = include_str!("exercise/proportional.rs").replace("rowroom::", "crate::");
    fs::write(controllers.join("proportional.rs"), law).unwrap();
    let table = controllers.join("mod.rs");
    insert(&table, "pub mod pid;\n", "pub mod proportional;\n");
    insert(
        &table,
        "    /// Sets the shift when the seen row reaches the tools.\n    LagCompensated:",
        "    /// Plain proportional control.\n    Proportional: proportional,\n",
    );
    let told = complaints(&copy);
    for file in ["src/report/words/controllers.rs", "src/answers/pays.rs"] {
        assert!(told.contains(file), "{file} is not asked for: {told}");
    }
    assert_eq!(told.matches("non-exhaustive patterns").count(), 2, "{told}");

    insert(
        &copy.join("src/report/words/controllers.rs"),
        "        Kind::LagCompensated => &Spoken {",
        "        Kind::Proportional => &Spoken {
            title: \"Proportional\",
            plain: \"Camera, proportional valve, no memory\",
            short: \"proportional\",
            one: \"a proportional controller\",
            this: \"the proportional controller\",
            steering: \"the frame steered by camera, without memory\",
            parts: \"a row camera and a proportional valve\",
            way: \"a control that corrects the error of the moment\",
        },
",
    );
    insert(
        &copy.join("src/answers/pays.rs"),
        "        Kind::LagCompensated => &[",
        "        Kind::Proportional => &[],\n",
    );
    assert_eq!(complaints(&copy), "");
}
