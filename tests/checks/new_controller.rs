//! The exercise "add a controller" of DEVELOPERS.md, done: a plain proportional one. Its law agrees with its linear form, and in a copy of
//! the source it takes one file, one line of the table and its words to compile.

#[path = "exercise/proportional.rs"]
mod proportional;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::common::{MeanSquares, mean_square, unlimited};
use proportional::Control;
use rowroom::linear::variances_under;
use rowroom::model::controller::{Controller, Kind};
use rowroom::model::setup::Setup;
use rowroom::sim::pass::Pass;

const SEED: u64 = 1234;
const SPEED_M_S: f64 = 2.0;

/// The tool error of every pass under a law.
fn simulated(setup: &Setup, passes: u64) -> MeanSquares {
    let valve = Control::VALVE.unwrap();
    let squares = (0..passes)
        .map(|pass| {
            let drive = Pass::drive(setup, SEED, pass, SPEED_M_S);
            let law = Control::law::<1>(setup, SPEED_M_S).unwrap();
            let shift = drive.shift_under(setup, valve, law);
            // The shift starts centred: leave out what it needs to settle.
            let first = (6.0 / drive.path.step_s) as usize;
            let ticks = first..drive.path.station_m.len();
            mean_square(ticks.map(|k| shift.shift_m[k] - drive.path.wanted_m(k)))
        })
        .collect();
    MeanSquares(squares)
}

/// Simulation against linear check: 3 standard errors and 1 %, as in `agreement.rs`.
#[test]
fn val_the_new_controller_agrees_with_its_linear_form() {
    let setup = unlimited();
    assert_eq!(Control::lacks(&setup), None);
    let (sd_m, error_m) = simulated(&setup, 24).sd_and_error();
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
