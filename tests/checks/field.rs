//! Logs and tape against outside values, and the command `rowroom field`.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use rowroom::field::hands::hands_like;
use rowroom::field::plane::Plane;
use rowroom::field::tape::{Value, two_way};
use rowroom::linear::{axle_about_line, axle_wander};
use rowroom::model::damped::Damped;
use rowroom::model::setup::Setup;
use rowroom::scenario::Scenario;
use rowroom::sim::pass::Pass;
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

/// A driver who is fitted to a wander gives it: the linear spectrum is that of the wander where its power lies, and the offsets of passes
/// that the engine drives have its covariance, at once and a reach apart. 4.8 km are some 300 memories of 8 m, so that a variance is known
/// to 8 %; three times that.
#[test]
fn val_a_fitted_driver_wanders_as_was_found() {
    let mut setup = Setup::plausible();
    setup.run.length_m = 300.0;
    setup.rows.wander.sd = 0.01;
    let speed_m_s = 8.0 / 3.6;
    for truth in [
        Damped {
            sd: 0.045,
            reach: 4.0,
            damping: 0.7,
        },
        Damped {
            sd: 0.03,
            reach: 6.0,
            damping: 0.6,
        },
    ] {
        let hands = hands_like(&setup, speed_m_s, &truth).unwrap();
        // A driver who reacts late, in a tractor that steers late, is no pure second order: a fifth of the power, a tenth of the offset.
        assert!(hands.off < 0.2, "{hands:?}");
        assert!(
            (hands.about_line_m / truth.sd - 1.0).abs() < 0.02,
            "{hands:?}"
        );
        let driven = hands.put_into(&setup, speed_m_s);
        let line_m = axle_about_line(&driven, speed_m_s)
            .unwrap()
            .variance_m2()
            .sqrt();
        // What lies beyond the frequencies that are compared.
        assert!((line_m / truth.sd - 1.0).abs() < 0.05, "{line_m}");
        let (mut at_once, mut apart, mut count) = (0.0, 0.0, 0.0);
        for pass in 0..16 {
            let path = Pass::drive(&driven, 3, pass, speed_m_s).path;
            let lag = (truth.reach / (speed_m_s * path.step_s)).round() as usize;
            for (here, there) in path.axle_m.iter().zip(&path.axle_m[lag..]) {
                at_once += here * here;
                apart += here * there;
                count += 1.0;
            }
        }
        let variance_m2 = truth.sd * truth.sd;
        for (found, wanted) in [(at_once, 1.0), (apart, truth.correlation(truth.reach))] {
            let found = found / count / variance_m2;
            assert!((found - wanted).abs() < 0.24, "{truth:?}: {found} {wanted}");
        }
    }
}

/// Rows that wander more than the log lets the tractor follow are said to wander less, others stay.
#[test]
fn prop_rows_move_only_where_the_log_forbids_them() {
    let setup = Setup::plausible();
    let rows_m = |sd: f64, reach: f64| {
        let truth = Damped {
            sd,
            reach,
            damping: 0.7,
        };
        hands_like(&setup, 8.0 / 3.6, &truth)
            .unwrap()
            .row_wander_sd_m
    };
    // At the longest waves rows of 30 mm over 12.5 m carry four times the power of the first, and a fifth of the second.
    assert!(rows_m(0.04, 2.5) < 0.022, "{}", rows_m(0.04, 2.5));
    assert!(rows_m(0.09, 10.0) > 0.027, "{}", rows_m(0.09, 10.0));
}

/// An observed wander may be measured: every field then has its own, and the linear check of the field meets it.
#[test]
fn analytic_a_measured_wander_is_met_on_every_field() {
    let text = include_str!("../../scenarios/carrots_slope.toml").replace(
        "observed_wander = \"42 mm\"",
        "observed_wander = { measured = \"42 mm\", error = \"3 mm\" }",
    );
    let rows = include_str!("../../scenarios/carrots_slope_rows.csv");
    let text = text.replace("wander = { about = \"25 mm\" }", "wander = \"25 mm\"");
    let text = text.replace("[study]\n", "[study]\nunknowns = \"stated\"\n");
    let scenario = Scenario::parse(&text, "x.toml", &|_| Ok(rows.to_owned()), None).unwrap();
    let key = "driver.hand.observed_wander";
    let place = scenario
        .unknowns()
        .iter()
        .position(|unknown| unknown.key() == key);
    let law = scenario.unknowns()[place.unwrap()].law;
    let mut seen = Vec::new();
    for field in 0..40 {
        let point = scenario.point(1, field);
        let setup = scenario.draw(1, 8 * field);
        let mut level = setup.clone();
        level.line = scenario.nominal().line;
        let found_m = axle_wander(&level, 5.0 / 3.6).unwrap().variance_m2().sqrt();
        let wanted_m = law.quantile(point[place.unwrap()]);
        // What else is not known of this farm does not change how its tractor wanders.
        assert!(
            (found_m / wanted_m - 1.0).abs() < 1e-3,
            "{field}: {found_m} {wanted_m}"
        );
        seen.push(found_m);
    }
    let spread = seen.iter().fold(f64::NEG_INFINITY, |a, b| a.max(*b))
        - seen.iter().fold(f64::INFINITY, |a, b| a.min(*b));
    assert!(spread > 0.008, "{spread}");
}

/// A short cabbage field in which one speed is studied, so that little is simulated.
fn short_field() -> String {
    let text = include_str!("../../scenarios/morning/cabbage.toml");
    text.replace(
        "[study]\n",
        "# as we drive it\n[study]\nspeeds = [\"5 km/h\"]\nclearances = [\"60 mm\", \"80 mm\"]\ncontrollers = [\"lag_compensated\"]\n",
    )
    .replace("[line.straight]\n", "[pass]\nlength = \"60 m\"\nentry_length = \"5 m\"\n\n[line.straight]\n")
}

/// What logs and notebook tell goes into a scenario: comments stay, what changes is told, it is read again, and nothing is written over.
#[test]
fn regress_findings_go_into_a_scenario() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    written(at, "log.csv", &log("4"));
    written(at, "s.toml", &short_field());
    written(
        at,
        "notes.csv",
        "place; row; left mm; right mm; plants; cut\n1; 2; 92; 70; 40; 0\n2; 2; 91; 71; 40; 1\n3; 2; 90; 68; 40; 0\n",
    );
    let asked = ["log.csv", "--notes", "notes.csv", "--scenario", "s.toml"];
    let out = field(at, &[&asked[..], &["--out", "pictures"]].concat());
    let text = String::from_utf8(out.stdout).unwrap();
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    for words in [
        "What changes in s.toml\n",
        "  driver.hand.observed_wander: nothing -> ",
        "  driver.hand.seeing_sd: 50 mm -> ",
        "Predicted against found",
        "Tools left of their rows on average: predicted ",
        "Wander of the tractor about its line: predicted ",
        "s_learned.toml is written: s.toml with this and the notes in it, its comments kept.",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    let learned = std::fs::read_to_string(at.join("s_learned.toml")).unwrap();
    assert!(learned.contains("# as we drive it\n[study]"), "{learned}");
    assert!(
        learned.contains("gaps = [[\"92 mm\", \"70 mm\"]"),
        "{learned}"
    );
    let read = Scenario::read(&at.join("s_learned.toml"), None).unwrap();
    let keys: Vec<String> = read
        .unknowns()
        .iter()
        .map(|unknown| unknown.key())
        .collect();
    for key in [
        "driver.hand.observed_wander",
        "driver.hand.shortest_preview",
    ] {
        assert!(keys.contains(&key.to_owned()), "{key}: {keys:?}");
    }
    let svg = std::fs::read_to_string(at.join("pictures/predicted.svg")).unwrap();
    assert!(svg.matches("<circle").count() >= 4, "{svg}");
    let again = field(at, &asked);
    assert_eq!(again.status.code(), Some(1));
    assert!(
        String::from_utf8_lossy(&again.stderr).contains("is there already and was not touched")
    );
    // A phone tells nothing, and nothing is written.
    written(at, "phone.csv", &log("1"));
    let phone = field(
        at,
        &[
            "phone.csv",
            "--scenario",
            "s.toml",
            "--learned",
            "none.toml",
        ],
    );
    assert!(phone.status.success());
    assert!(String::from_utf8_lossy(&phone.stdout).contains("nothing was written"));
    assert!(!at.join("none.toml").exists());
}

#[path = "../../examples/morning.rs"]
mod morning;

/// The story of README: its files are made again from their seed, and what `rowroom field` makes of them is what is there.
#[test]
fn regress_the_morning_is_made_again() {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/morning");
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in morning::files() {
        let there = std::fs::read_to_string(kept.join(name))
            .unwrap()
            .replace("\r\n", "\n");
        assert!(
            there == text,
            "{name} is another: cargo run --release --example morning"
        );
        written(folder.path(), name, &text);
    }
    let asked = [
        "tractor.csv",
        "--notes",
        "notebook.csv",
        "--scenario",
        "cabbage.toml",
    ];
    let out = field(folder.path(), &asked);
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    let made = std::fs::read_to_string(folder.path().join("cabbage_learned.toml")).unwrap();
    let there = std::fs::read_to_string(kept.join("cabbage_learned.toml")).unwrap();
    assert_eq!(made, there.replace("\r\n", "\n"));
    let text = String::from_utf8(out.stdout).unwrap();
    // The truth of the farm, see examples/morning.rs: the tools are moved to the right by what the camera looks past the rows.
    assert!(
        text.contains("All tools together (camera or frame alignment): 1"),
        "{text}"
    );
    assert!(text.contains("in to the right"), "{text}");
}

/// Planned lines may be given as a file.
#[test]
fn regress_planned_lines_are_given() {
    let folder = tempfile::tempdir().unwrap();
    let mut text = "time,x_m,y_m,quality,pass\n".to_owned();
    for i in 0..400 {
        let x = 0.5 * f64::from(i);
        // A wave of 1 m over the whole pass is the planned line, 3 cm about it are the tractor's.
        let y = (x / 60.0).sin() + 0.03 * (0.31 * x).sin();
        text += &format!("{},{x},{y:.4},4,1\n", 0.25 * f64::from(i));
    }
    written(folder.path(), "log.csv", &text);
    let line: String = (0..=200)
        .map(|i| format!("{i},{:.4}\n", (f64::from(i) / 60.0).sin()))
        .collect();
    written(folder.path(), "line.csv", &format!("x_m,y_m\n{line}"));
    let sd_m = |arguments: &[&str]| {
        let out = field(folder.path(), arguments);
        assert!(
            out.status.success(),
            "{}",
            String::from_utf8_lossy(&out.stderr)
        );
        let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
        json["passes"][0]["sd_m"].as_f64().unwrap()
    };
    // 3 cm of a sine have an sd of 21 mm.
    let given = sd_m(&["log.csv", "--line", "line.csv", "--json"]);
    assert!((given - 0.0212).abs() < 0.002, "{given}");
    let straight = sd_m(&["log.csv", "--line", "straight", "--json"]);
    assert!(straight > 0.1, "{straight}");
    let none = field(folder.path(), &["log.csv", "--line", "bent"]);
    assert_eq!(none.status.code(), Some(2));
}
