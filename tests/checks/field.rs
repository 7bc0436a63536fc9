//! Logs and tape against outside values, and the command `rowroom field`.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use rowroom::field::plane::Plane;
use rowroom::field::tape::{Value, two_way};
use serde::Deserialize;

#[derive(Deserialize)]
struct Place {
    origin_deg: [f64; 2],
    place_deg: [f64; 2],
    east_m: f64,
    north_m: f64,
}

#[derive(Deserialize)]
struct References {
    planes: Vec<Place>,
    readings: Vec<(usize, usize, f64)>,
    mean: f64,
    mean_se: f64,
    row_offsets: Vec<f64>,
    place_sd: f64,
    scatter_sd: f64,
}

fn references() -> References {
    serde_json::from_str(include_str!("../references/field.json")).unwrap()
}

/// geographiclib 2.1: a tangent plane is off by d^3 / (6 R^2), and azimuths of geodesics by as much again; below 0.01 mm at 800 m.
#[test]
fn val_the_plane_is_that_of_the_ellipsoid() {
    for place in references().planes {
        let [a, o] = place.origin_deg.map(f64::to_radians);
        let [b, p] = place.place_deg.map(f64::to_radians);
        let [east_m, north_m] = Plane::at(a, o).east_north_m(b, p);
        let d = f64::hypot(place.east_m, place.north_m);
        let most_m = 1e-7 + 3.0 * d.powi(3) / (6.0 * 6.37e6_f64.powi(2));
        assert!(
            (east_m - place.east_m).abs() < most_m,
            "{east_m} {}",
            place.east_m
        );
        assert!(
            (north_m - place.north_m).abs() < most_m,
            "{north_m} {}",
            place.north_m
        );
    }
}

/// statsmodels 0.15.0, restricted likelihood of an unbalanced table; its search stops within 1e-4 of the variances.
#[test]
fn val_unbalanced_readings() {
    let want = references();
    let values = want
        .readings
        .iter()
        .map(|&(place, row, value)| Value { place, row, value });
    let found = two_way(&values.collect::<Vec<_>>()).unwrap();
    let near = |got: f64, want: f64| assert!((got - want).abs() < 2e-3, "{got} {want}");
    near(found.mean.value.unwrap(), want.mean);
    near(found.mean_se, want.mean_se);
    near(found.place_sd.value.unwrap(), want.place_sd);
    near(found.scatter_sd.value.unwrap(), want.scatter_sd);
    for (got, want) in found.rows.iter().zip(want.row_offsets) {
        near(got.value.unwrap(), want);
    }
}

fn field(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rowroom"));
    command
        .arg("field")
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn written(folder: &Path, name: &str, text: &str) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path
}

/// Five straight passes side by side, 0.5 m from fix to fix.
fn log(quality: &str) -> String {
    let mut text = "time;x_m;y_m;quality\n".to_owned();
    let mut place = 0.0_f64;
    for pass in 0..5 {
        for i in 0..400 {
            // A cheap noise: sines that do not fit together.
            let x = 0.5 * f64::from(i);
            let wander = 0.03
                * ((0.31 * x + f64::from(pass)).sin() + (0.73 * x + 2.0 * f64::from(pass)).sin());
            place += 0.25;
            text += &format!(
                "{place};{x};{:.4};{quality}\n",
                100.0 * f64::from(pass) + wander
            );
        }
    }
    text
}

#[test]
fn regress_the_command_tells_wander_and_moves() {
    let folder = tempfile::tempdir().unwrap();
    written(folder.path(), "log.csv", &log("4"));
    written(
        folder.path(),
        "notes.csv",
        "place; row; left mm; right mm; plants; cut; touched\n1; 1; 52; 30; 100; 1; 2\n1; 2; 50; 30\n2; 1; 51; 31\n2; 2; 50; 31\n3; 1; 52; 31\n3; 2; 49; 30\n",
    );
    let out = field(folder.path(), &["log.csv", "--notes", "notes.csv"]);
    let text = String::from_utf8(out.stdout).unwrap();
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    assert!(text.starts_with("What to move\n  All tools together (camera or frame alignment): 10 mm = 0.40 in to the right"), "{text}");
    assert!(text.contains("engine off, oil without pressure"), "{text}");
    assert!(text.contains("sd about the planned line"), "{text}");
    assert!(text.is_ascii());
    let out = field(
        folder.path(),
        &["log.csv", "--notes", "notes.csv", "--json"],
    );
    let drawn = field(folder.path(), &["log.csv", "--out", "pictures"]);
    assert!(drawn.status.success());
    for name in ["wander_over_distance.svg", "wander_over_wavelength.svg"] {
        let svg = std::fs::read_to_string(folder.path().join("pictures").join(name)).unwrap();
        assert!(svg.matches("<circle").count() > 8, "{name}");
    }
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    for key in [
        "/receiver/quality",
        "/receiver/rate_hz",
        "/receiver/step_m",
        "/receiver/verdict",
        "/passes/4/points",
        "/passes/4/length_m",
        "/passes/4/sd_m",
        "/wander/sd_m/value",
        "/wander/reach_m/lower",
        "/wander/damping/upper",
        "/alignment_error_m/value",
        "/row_offsets/1/row",
        "/row_offsets/1/value",
        "/tool_error_sd_m/value",
        "/scatter_sd_m/value",
        "/moves/0/by_m",
    ] {
        assert!(json.pointer(key).is_some(), "{key} is missing: {json:#}");
    }
    assert_eq!(json["passes"].as_array().unwrap().len(), 5);
}

#[test]
fn regress_the_command_refuses_with_a_place() {
    let folder = tempfile::tempdir().unwrap();
    written(folder.path(), "phone.csv", &log("1"));
    written(folder.path(), "bad.csv", "lat,lon\n52,x\n");
    written(folder.path(), "parked.csv", "time,x_m,y_m\n0,0,0\n10,0,0\n");
    let told = |arguments: &[&str]| {
        let out = field(folder.path(), arguments);
        let text = String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap();
        (out.status.code(), text)
    };
    let (code, text) = told(&["phone.csv"]);
    assert!(
        code == Some(0) && text.contains("satellites alone, as in a phone"),
        "{text}"
    );
    for (arguments, code, want) in [
        (
            &["bad.csv"][..],
            2,
            "error: bad.csv:2: lon = \"x\" is no number",
        ),
        (&[][..], 2, "error: a log, or a notebook"),
        (&["none.csv"][..], 1, "error: none.csv: cannot be read"),
        (&["."][..], 1, "error: .: is no file"),
        (
            &["phone.csv", "--parked", "parked.csv"][..],
            2,
            "error: parked.csv: the parked log lasts 10 s",
        ),
        (
            &["phone.csv", "--columns", "width=a"][..],
            2,
            "error: invalid value",
        ),
    ] {
        let (got, text) = told(arguments);
        assert!(
            got == Some(code) && text.starts_with(want),
            "{arguments:?}: {got:?} {text}"
        );
    }
}
