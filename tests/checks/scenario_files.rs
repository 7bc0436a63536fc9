//! The scenarios that ship, the starter file, the schema and the texts of errors.

use rowroom::results::reasons::Warning;
use std::path::{Path, PathBuf};

use rowroom::linear;
use rowroom::model::controller::{Kind, Lack};
use rowroom::model::driver::Driver;
use rowroom::scenario::keys::{KEYS, Need, Presence, TABLES};
use rowroom::scenario::{Scenario, ScenarioError, schema, starter};
use serde_json::Value;

const SHIPPED: [&str; 6] = [
    "leeks",
    "sugar_beet",
    "wide_rows_us",
    "drawn_on_off",
    "carrots_slope",
    "replayed_pass",
];

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn shipped(name: &str) -> Result<Scenario, ScenarioError> {
    let log = path("tests/data/synthetic_pass.csv");
    let replay = (name == "replayed_pass").then_some(log.as_path());
    Scenario::read(&path(&format!("scenarios/{name}.toml")), replay)
}

fn text_of(name: &str) -> String {
    std::fs::read_to_string(path(name)).unwrap()
}

fn no_files(_: &str) -> std::io::Result<String> {
    Err(std::io::Error::new(
        std::io::ErrorKind::NotFound,
        "no such file",
    ))
}

fn parse(text: &str) -> Result<Scenario, ScenarioError> {
    Scenario::parse(text, "scenarios/x.toml", &no_files, None)
}

/// The starter with the first line that reads so replaced.
fn changed(from: &str, to: &str) -> String {
    replaced(&starter(), from, to)
}

fn replaced(text: &str, from: &str, to: &str) -> String {
    let mut lines: Vec<&str> = text.lines().collect();
    let at = lines.iter().position(|line| *line == from);
    lines[at.unwrap_or_else(|| panic!("no line reads {from}"))] = to;
    lines.join("\n") + "\n"
}

fn refusal(text: &str) -> String {
    match parse(text) {
        Ok(_) => panic!("nothing is wrong"),
        Err(error) => error.to_string(),
    }
}

#[test]
fn prop_every_shipped_scenario_reads_says_that_it_is_invented_and_is_stable() {
    for name in SHIPPED {
        let scenario = shipped(name).unwrap_or_else(|error| panic!("{error}"));
        assert!(scenario.description().contains("Invented"), "{name}");
        assert_eq!(scenario.file(), format!("{name}.toml"));
        assert_eq!(scenario.sha256().len(), 64);
        let again = Scenario::from_texts(scenario.texts()).unwrap();
        assert_eq!(again.stamp(), scenario.stamp(), "{name}");
        assert_eq!(again.texts(), scenario.texts(), "{name}");
        let setup = scenario.nominal();
        let runs: Vec<Kind> = Kind::ALL
            .into_iter()
            .filter(|kind| kind.lacks(&setup).is_none())
            .collect();
        assert!(runs.len() > 1, "{name} runs nothing but locked");
        for kind in runs {
            for &speed_m_s in &scenario.study().speeds_m_s {
                if let Err(unstable) = linear::check_stable(&setup, kind, speed_m_s) {
                    panic!("{name} {kind:?} {speed_m_s}: {unstable:?}");
                }
            }
        }
    }
}

#[test]
fn regress_what_each_shipped_scenario_is_there_for() {
    let demo = Scenario::demo().unwrap();
    assert_eq!(demo.sha256(), shipped("leeks").unwrap().sha256());
    assert!(demo.study().speeds_m_s.len() >= 8);
    assert!(demo.nominal().run.length_m >= 200.0 && demo.nominal().run.step_s <= 0.005);
    assert!(
        Kind::ALL
            .iter()
            .all(|kind| kind.lacks(&demo.nominal()).is_none())
    );
    assert!(!demo.linear_varies());

    let beet = shipped("sugar_beet").unwrap();
    assert_eq!(beet.nominal().rows.offset_m.len(), 12);
    let guess = Warning::GuessRows {
        after_rows: vec![6],
    };
    assert_eq!(beet.warnings()[0], guess);
    assert!(matches!(beet.nominal().driver, Driver::SatelliteLine(_)));

    let wide = shipped("wide_rows_us").unwrap();
    assert_eq!(wide.units().name(), "us");
    let offsets = wide.nominal().rows.offset_m;
    assert!((offsets[0] - offsets[1] - 0.762).abs() < 1e-12);

    let drawn = shipped("drawn_on_off").unwrap();
    assert_eq!(Kind::OnOff.lacks(&drawn.nominal()), None);
    assert_eq!(
        Kind::Pid.lacks(&drawn.nominal()),
        Some(Lack::ProportionalValve)
    );
    assert_eq!(drawn.nominal().tools.tool_line_m, 4.2);

    let carrots = shipped("carrots_slope").unwrap();
    let setup = carrots.nominal();
    assert!(carrots.linear_varies());
    assert!(!setup.line.is_straight());
    assert!(setup.tractor.crab_rad < 0.0 && setup.hydraulics.side_force_n < 0.0);
    assert_eq!(setup.tools.tool_line_m, -4.0);

    let replayed = shipped("replayed_pass").unwrap();
    assert!(matches!(replayed.nominal().driver, Driver::Replay(_)));
    assert_eq!(replayed.warnings()[0], Warning::OnePath);
}

/// The synthetic log is what its comment says.
#[test]
fn analytic_the_synthetic_log_follows_its_formula() {
    let Driver::Replay(log) = shipped("replayed_pass").unwrap().nominal().driver else {
        panic!("no replay");
    };
    let turn = 2.0 * std::f64::consts::PI;
    for (s, y) in log.station_m().iter().zip(log.offset_m()) {
        let wave = |size: f64, length: f64, phase: f64| size * (turn * s / length + phase).sin();
        let formula = wave(0.035, 31.0, 0.0) + wave(0.015, 13.0, 1.0) + wave(0.004, 6.0, 2.0);
        // Rounded to 0.1 mm.
        assert!((y - formula).abs() <= 0.5e-4 + 1e-12, "{s}: {y} {formula}");
    }
    assert_eq!(log.station_m().last(), Some(&130.0));
}

#[test]
fn prop_the_starter_file_is_a_scenario_and_its_defaults_are_those_of_the_language() {
    let scenario = parse(&starter()).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(scenario.warnings(), []);
    let assumptions = scenario.assumptions();
    let origin = |key: &str| {
        let found = assumptions.iter().find(|a| a.key == key);
        found.map(|a| (a.value.clone(), a.origin.clone()))
    };
    assert_eq!(
        origin("tractor.wheelbase"),
        Some(("2.5 m".into(), "scenario".into()))
    );
    assert_eq!(origin("pass.step"), Some(("5 ms".into(), "assumed".into())));
    assert_eq!(origin("line.arc.radius"), None);
    for key in KEYS {
        assert!(starter().contains(&format!("{} = {}", key.name, key.example())));
    }
    for table in TABLES.iter().filter(|table| !table.name.is_empty()) {
        assert!(starter().contains(&format!("[{}]\n", table.name)));
    }
}

/// Each table of the starter that stands behind `#` is good as well, in place of the first of its group.
#[test]
fn prop_every_alternative_of_the_starter_file_reads() {
    for table in TABLES {
        let (Presence::OneOfGroup, Some(group)) = (table.presence, table.group()) else {
            continue;
        };
        if table.name == "driver.replay" {
            continue;
        }
        let mut text = String::new();
        let mut here = String::new();
        for line in starter().lines() {
            let bare = line.trim_start_matches("# ");
            if bare.starts_with('[') && bare.ends_with(']') {
                here = bare.trim_matches(['[', ']']).to_string();
            }
            let is_entry = bare == format!("[{}]", table.name)
                || KEYS.iter().any(|key| {
                    key.table == table.name
                        && !matches!(key.need, Need::Optional { .. })
                        && bare == format!("{} = {}", key.name, key.example())
                });
            if here == table.name && is_entry {
                text.push_str(bare);
            } else if !here.starts_with(&format!("{group}.")) {
                text.push_str(line);
            }
            text.push('\n');
        }
        let files = |name: &str| {
            assert_eq!(name, "rows.csv");
            Ok("x_m,y_m\n0,0\n150,0\n300,4\n".to_string())
        };
        if let Err(error) = Scenario::parse(&text, "x.toml", &files, None) {
            panic!("{}: {error}", table.name);
        }
    }
}

#[test]
fn prop_defaults_and_examples_keep_their_own_ranges() {
    for key in KEYS {
        if let Some((low, high)) = key.range() {
            assert!(low < high, "{}", key.path());
        }
        let text = format!("{} = {}", key.name, key.example());
        let (header, replay) = (format!("[{}]\n{text}\n", key.table), None);
        let header = if key.table.is_empty() {
            text.clone()
        } else {
            header
        };
        // Whatever else is missing, nothing is said against the value itself.
        let Err(error) = Scenario::parse(&header, "x.toml", &no_files, replay) else {
            continue;
        };
        let ScenarioError::Problems(problems) = error else {
            panic!("{}: {error}", key.path());
        };
        for problem in problems {
            let about = problem.key == key.path();
            let value = problem.message.contains("out of range")
                || problem.message.contains("unknown")
                || problem.message.contains("wanted");
            assert!(!(about && value), "{problem}");
        }
    }
}

#[test]
fn regress_all_mistakes_are_told_at_once_with_place_and_cure() {
    let text = r#"name = "Mistakes"
[study]
speeds = ["4 km/h", "8 km/h", "6 km/h"]
clearances = ["38 mm", "1.5 m"]
working_speed = "8 km/h"
working_clearance = "40 mm"
passes = "many"

[line.straight]
[rows]
row_spacing = "450 mm"
rows_per_bed = 4
seen_rows = [1, 2, 3, 5]
[plants]
spacing = 200
[tractor]
wheelbase = "25 m"
steering_lag = "0,2 s"
trackwidth = "1.8 m"
[driver.hand]
reaction_tme = "0.3 s"
seeing_sd = { mean = "35 mm", sdev = "5 mm" }
[driver.satellite_line]
[hitch.back]
tools_behind_axle = "2.2 m"
[camera]
lookahead = "3 bar"
mount = "shiftet"
noise_sd = "2 furlongs"
alignment = { mean = "0 mm", sd = "8 mm", low = "5 mm" }
[tracker.none]
[controller.pid]
simc_closed_loop_time = "0.13 s"
gain = "4 1/s"
[hydraulics]
pump_flow = "900 gpm"
bore = "25 mm"
rod = "25 mm"
stroke = "400 mm"
"#;
    let wanted = "\
scenarios/x.toml:3:31: study.speeds must rise: \"6 km/h\" is not more than the value before it
scenarios/x.toml:4:24: study.clearances = \"1.5 m\" is out of range: allowed 0.001 m to 1 m (1 mm to 1000 mm)
scenarios/x.toml:7:10: study.passes = \"many\" is no whole number; write it without quotation marks, 2 to 10000000
scenarios/x.toml:13:13: rows.seen_rows = [1, 2, 3, 5] names row 5, but the implement has 4
scenarios/x.toml:15:11: plants.spacing = 200 has no unit; a length is wanted, in m, cm, mm, in or ft; write for example \"200 mm\"
scenarios/x.toml:17:13: tractor.wheelbase = \"25 m\" is out of range: allowed 1 m to 6 m
scenarios/x.toml:18:16: tractor.steering_lag = \"0,2 s\" has a comma; write a decimal point: \"0.2 s\"
scenarios/x.toml:19:1: tractor.trackwidth is unknown; did you mean track_width?
scenarios/x.toml:21:1: driver.hand.reaction_tme is unknown; did you mean reaction_time?
scenarios/x.toml:22:31: driver.hand.seeing_sd.sdev is unknown in a distribution; did you mean sd?
scenarios/x.toml:23:1: [driver.satellite_line] contradicts [driver.hand] in line 20: keep one of [driver.hand], [driver.satellite_line], [driver.replay]
scenarios/x.toml:24:8: the table [hitch.back] is unknown; did you mean [hitch.rear]?
scenarios/x.toml:27:13: camera.lookahead = \"3 bar\" is a pressure; a length is wanted, in m, cm, mm, in or ft
scenarios/x.toml:28:9: camera.mount = \"shiftet\" is not among \"shifted\", \"fixed\"; did you mean \"shifted\"?
scenarios/x.toml:29:12: camera.noise_sd = \"2 furlongs\" has the unknown unit \"furlongs\"; a length is wanted, in m, cm, mm, in or ft
scenarios/x.toml:30:13: camera.alignment contradicts itself: mean must lie between low and high
scenarios/x.toml:34:8: controller.pid.gain = \"4 1/s\" contradicts controller.pid.simc_closed_loop_time: keep one
scenarios/x.toml:36:13: hydraulics.pump_flow = \"900 gpm\" is out of range: allowed 0.264 gpm to 79.3 gpm (1 L/min to 300 L/min)
scenarios/x.toml:38:7: hydraulics.rod = \"25 mm\" does not fit into hydraulics.bore; it must be thinner";
    assert_eq!(refusal(text), wanted);
}

#[test]
fn regress_what_is_missing_points_at_its_table() {
    let lacking = changed("wheelbase = \"2.5 m\"", "");
    let line = lacking
        .lines()
        .position(|line| line == "[tractor]")
        .unwrap()
        + 1;
    assert_eq!(
        refusal(&lacking),
        format!(
            "scenarios/x.toml:{line}:1: tractor.wheelbase is missing: distance between front and rear axle; 1 m to 6 m, for example \"2.5 m\""
        )
    );
    let message = refusal("name = \"Nothing else\"\n");
    let told: Vec<&str> = message.lines().collect();
    assert_eq!(
        told[0],
        "scenarios/x.toml:1:1: the table [study] is missing: what is simulated and what counts as good enough; it needs working_speed, working_clearance"
    );
    // study, rows, plants, camera, hydraulics, tractor; line, driver, hitch, tracker
    assert_eq!(told.len(), 10, "{message}");
}

#[test]
fn regress_contradictions_say_what_would_do() {
    for (from, to, wanted) in [
        (
            "# speeds = [\"4 km/h\", \"6 km/h\", \"8 km/h\", \"10 km/h\", \"12 km/h\"]",
            "speeds = [\"4 km/h\", \"6 km/h\"]",
            "study.working_speed = \"8 km/h\" is not in study.speeds; take one of them or add it there",
        ),
        (
            "# entry_length = \"15 m\"",
            "entry_length = \"150 m\"",
            "pass.entry_length = \"150 m\" takes more than half of pass.length; make it shorter or the pass longer",
        ),
        (
            "# held_shift = { from = \"-60 %\", to = \"60 %\" }",
            "held_shift = \"10 %\"",
            "pass.held_shift = \"10 %\" has no use: it needs pass.while_lifted = \"held\"",
        ),
        (
            "# while_lifted = \"centred\"",
            "while_lifted = \"following\"",
            "pass.while_lifted = \"following\" needs pass.approach, the way over the row before the tools are lowered",
        ),
        (
            "# beds = 1",
            "beds = 2",
            "rows.beds = 2 needs rows.bed_spacing, the distance from bed centre to bed centre",
        ),
        (
            "# planter_rows = 6",
            "planter_rows = 2",
            "rows.seen_rows = [1, 2, 3, 4] spans planter passes 1 and 2 (1 at the left); all rows seen must belong to one",
        ),
        (
            "# clearances = [\"25 mm\", \"38 mm\", \"50 mm\", \"65 mm\", \"80 mm\"]",
            "clearances = [\"50 mm\", \"300 mm\"]",
            "study.clearances = [\"50 mm\", \"300 mm\"] goes up to 300 mm on either side, which leaves no room between rows 450 mm apart; allowed up to 225 mm",
        ),
        (
            "working_clearance = \"50 mm\"",
            "working_clearance = \"250 mm\"",
            "study.working_clearance = \"250 mm\" goes up to 250 mm on either side, which leaves no room between rows 450 mm apart; allowed up to 225 mm",
        ),
        (
            "stop_below = \"8 mm\"",
            "stop_below = \"20 mm\"",
            "controller.on_off.stop_below = \"20 mm\" must be less than controller.on_off.start_above",
        ),
        (
            "simc_closed_loop_time = \"0.13 s\"",
            "",
            "controller.pid.simc_closed_loop_time or controller.pid.gain is missing: give one of them",
        ),
        (
            "[line.straight]",
            "[line.s_bend]\nstart = \"50 m\"\nlength = \"20 m\"\nradius = \"3.5 yd\"",
            "line.s_bend.radius = \"3.5 yd\" has the unknown unit \"yd\"; a length is wanted, in m, cm, mm, in or ft",
        ),
        (
            "# side_slope = \"0 %\"",
            "side_slope = \"90 deg\"",
            "ground.side_slope = \"90 deg\" is out of range: allowed -21.8 deg to 21.8 deg (-40 % to 40 %)",
        ),
        (
            "[tracker.none]",
            "[tracker.kalman_yaw]\n[sensors.yaw]",
            "the table [sensors.yaw] is unknown; did you mean [sensors.yaw_rate]?",
        ),
        (
            "# observed_at = \"8 km/h\"",
            "observed_at = \"8 km/h\"",
            "driver.hand.observed_at = \"8 km/h\" needs driver.hand.observed_wander",
        ),
        (
            "[hitch.rear]",
            "[hitch.rear]\nwheelbase = \"2 m\"",
            "hitch.rear.wheelbase is unknown; it belongs to [tractor]",
        ),
        (
            "[line.straight]",
            "[line.polyline]\nfile = \"rows.csv\"",
            "line.polyline.file = \"rows.csv\" cannot be read: no such file; a path is taken from the scenario file's folder",
        ),
    ] {
        let message = refusal(&changed(from, to));
        assert!(message.contains(wanted), "{message}");
        assert_eq!(message.lines().count(), 1, "{message}");
    }
}

/// The tractor's least radius is L / tan(limit) = 2.5 m / tan(5 deg) = 28.6 m.
/// Own arithmetic: a track of 2300 mm puts the tyres 950 to 1350 mm from the centre. The bed's own rows end at 562.5 mm; the next bed's
/// begin at 1800 - 562.5 = 1237.5 mm.
#[test]
fn analytic_a_tyre_on_the_next_bed_is_told() {
    let leeks = text_of("scenarios/leeks.toml");
    assert!(
        leeks.contains("bed_spacing = \"1800 mm\"") && leeks.contains("row_spacing = \"375 mm\"")
    );
    let about_tyres = |text: &str| -> Vec<Warning> {
        let warnings = parse(text).unwrap().warnings().into_iter();
        let about =
            |one: &Warning| matches!(one, Warning::TyresOnRows { .. } | Warning::TyresOnNextRows);
        warnings.filter(about).collect()
    };
    assert_eq!(about_tyres(&leeks), []);
    let wide = replaced(
        &leeks,
        "track_width = \"1800 mm\"",
        "track_width = \"2300 mm\"",
    );
    assert_eq!(about_tyres(&wide), [Warning::TyresOnNextRows]);
}

#[test]
fn analytic_a_bend_sharper_than_the_steering_is_refused() {
    let arc = |radius: &str| {
        let text = changed(
            "# steering_limit = \"35 deg\"",
            "steering_limit = \"5 deg\"",
        );
        replaced(
            &text,
            "[line.straight]",
            &format!("[line.arc]\nradius = \"{radius}\""),
        )
    };
    let message = refusal(&arc("28 m"));
    assert!(
        message.ends_with(
            "line.arc.radius = \"28 m\" makes a bend of 28.0 m radius; with tractor.wheelbase and tractor.steering_limit the tractor needs 28.6 m"
        ),
        "{message}"
    );
    assert!(parse(&arc("29 m")).is_ok());
}

#[test]
fn regress_text_that_is_no_toml_is_told_with_its_place() {
    let message = refusal("name = \"x\"\n[study\n");
    assert!(
        message.starts_with("scenarios/x.toml:2:7: this is no TOML: "),
        "{message}"
    );
}

#[test]
fn regress_replay_is_asked_for_refused_and_measured() {
    let text = text_of("scenarios/replayed_pass.toml");
    let with = |log: Option<&str>| {
        Scenario::parse(
            &text,
            "replayed_pass.toml",
            &no_files,
            log.map(|log| (log, "log.csv")),
        )
    };
    assert_eq!(
        with(None).unwrap_err().to_string(),
        "replayed_pass.toml: this scenario drives a logged pass again; give its file with --replay FILE"
    );
    let short: String = (0..=100).map(|i| format!("{i},0.01\n")).collect();
    assert_eq!(
        with(Some(&format!("distance_m,offset_m\n{short}")))
            .unwrap_err()
            .to_string(),
        "log.csv: the log covers 100.0 m, but the pass needs 101.2 m; a log of that length would do, or pass.length = \"98 m\""
    );
    // Nothing negative, and nothing that the key refuses: a pass has at least 20 m.
    for (step, covered, question) in [
        (0.2, "20.0", ""),
        (0.002, "0.2", "; are its distances kilometres?"),
    ] {
        let points: String = (0..=100)
            .map(|i| format!("{},0.01\n", step * f64::from(i)))
            .collect();
        assert_eq!(
            with(Some(&format!("distance_m,offset_m\n{points}")))
                .unwrap_err()
                .to_string(),
            format!(
                "log.csv: the log covers {covered} m, but the pass needs 101.2 m; a log of that length would do{question}"
            )
        );
    }
    assert_eq!(
        with(Some("distance_m,offset_m\n0,0\n1,x\n"))
            .unwrap_err()
            .to_string(),
        "log.csv:3: offset_m = \"x\" is no number"
    );
    let unused = Scenario::parse(&starter(), "x.toml", &no_files, Some((&short, "log.csv")));
    assert_eq!(
        unused.unwrap_err().to_string(),
        "x.toml: a logged pass was given with --replay, but the scenario has no [driver.replay]; leave the log out or change the driver"
    );
}

#[test]
fn prop_line_ends_change_nothing_and_every_read_file_is_in_the_hash() {
    let text = text_of("scenarios/carrots_slope.toml");
    let rows = text_of("scenarios/carrots_slope_rows.csv");
    let hash = |text: &str, rows: &str| {
        let files = |_: &str| Ok(rows.to_string());
        let scenario = Scenario::parse(text, "carrots_slope.toml", &files, None).unwrap();
        scenario.sha256().to_string()
    };
    let plain = hash(&text, &rows);
    let windows = |text: &str| text.replace('\n', "\r\n");
    assert_eq!(plain, hash(&windows(&text), &windows(&rows)));
    assert_ne!(plain, hash(&text, &rows.replace("85,2.5", "85,2.6")));
    assert_ne!(plain, hash(&text.replace("\"8 %\"", "\"7 %\""), &rows));
}

/// Causes of blindness combine as independent ones; stem and root margin add up to the protected radius.
#[test]
fn analytic_a_mean_of_blind_causes_and_protected_radius() {
    let setup = parse(
        &changed("# blind_by_gaps = \"0.5 %\"", "blind_by_gaps = \"10 %\"")
            .replace("# blind_by_weeds = \"0.5 %\"", "blind_by_weeds = \"20 %\"")
            .replace("# root_margin = \"10 mm\"", "root_margin = \"12 mm\""),
    )
    .unwrap()
    .nominal();
    // 1 - 0.9 · 0.8; rounding of a handful of operations.
    assert!((setup.camera.blind_share - 0.28).abs() < 1e-15);
    assert!((setup.plants.protected_radius_m - 0.017).abs() < 1e-17);
}

/// SIMC with th = latency + valve dead time + half a frame (model: Skogestad 2003), by hand: th = 0.08 + 0.03 + 0.02 s,
/// tau_c = 0.13 s, lag 0.06 s: series K_c = 1/0.26, tau_I = 1.04 s, tau_D = 0.06 s; parallel K = K_c (1 + 0.06/1.04).
#[test]
fn analytic_simc_gains_come_from_nominal_warm_values() {
    let cold = changed("# dead_time_factor = 1", "dead_time_factor = 3");
    for text in [starter(), cold] {
        let pid = parse(&text).unwrap().nominal().controllers.pid.unwrap();
        assert!((pid.gain_1_s - (1.0 + 0.06 / 1.04) / 0.26).abs() < 1e-12);
        assert!((pid.integral_s - 1.1).abs() < 1e-12);
        assert!((pid.derivative_s - 1.04 * 0.06 / 1.1).abs() < 1e-12);
    }
}

#[test]
fn analytic_observed_wander_is_met_and_its_least_value_is_named() {
    for name in [
        "leeks",
        "sugar_beet",
        "wide_rows_us",
        "drawn_on_off",
        "carrots_slope",
    ] {
        let scenario = shipped(name).unwrap();
        let observed: Vec<(String, f64)> = scenario
            .assumptions()
            .iter()
            .filter(|a| a.key.ends_with("observed_wander") || a.key.ends_with("observed_at"))
            .map(|a| {
                let (number, unit) = a.value.split_once(' ').unwrap();
                let factor = match unit {
                    "mm" => 1e-3,
                    "in" => 0.0254,
                    "km/h" => 1.0 / 3.6,
                    "mph" => 0.44704,
                    other => panic!("{other}"),
                };
                (a.key.clone(), number.parse::<f64>().unwrap() * factor)
            })
            .collect();
        let wander_m = observed[0].1;
        // Satellite steering wanders alike at any speed up to this one.
        let speed_m_s = observed.get(1).map_or(3.0, |at| at.1);
        let met = linear::axle_wander(&scenario.nominal(), speed_m_s).unwrap();
        // The same integrals on either side: rounding only.
        assert!(
            (met.variance_m2().sqrt() / wander_m - 1.0).abs() < 1e-9,
            "{name}"
        );
    }
    let wide = changed("# wander = \"30 mm\"", "wander = \"100 mm\"");
    let low = replaced(
        &wide,
        "# observed_wander = \"45 mm\"",
        "observed_wander = \"6 mm\"",
    );
    let low = replaced(
        &low,
        "# observed_at = \"8 km/h\"",
        "observed_at = \"8 km/h\"",
    );
    let message = refusal(&low);
    let least_mm: f64 = message
        .split("it must exceed ")
        .nth(1)
        .and_then(|rest| rest.strip_suffix(" mm"))
        .unwrap_or_else(|| panic!("{message}"))
        .parse()
        .unwrap();
    let speed_m_s = 8.0 / 3.6;
    let row = linear::axle_wander(&parse(&wide).unwrap().nominal(), speed_m_s)
        .unwrap()
        .row;
    assert!(least_mm * 1e-3 >= row.sqrt() && least_mm * 1e-3 <= row.sqrt() + 1.1e-4);
    let enough = format!("observed_wander = \"{} mm\"", least_mm + 1.0);
    let enough = replaced(&low, "observed_wander = \"6 mm\"", &enough);
    assert!(parse(&enough).is_ok());
}

/// Checks a TOML value against the part of JSON Schema that the schema uses.
fn conform(schema: &Value, value: &toml::Value, at: &str) -> Result<(), String> {
    if let Some(options) = schema.get("anyOf").and_then(Value::as_array) {
        let fits = options
            .iter()
            .any(|option| conform(option, value, at).is_ok());
        return if fits {
            Ok(())
        } else {
            Err(format!("{at}: no option fits"))
        };
    }
    if let Some(words) = schema.get("enum").and_then(Value::as_array) {
        let fits = words.iter().any(|word| word.as_str() == value.as_str());
        return fits.then_some(()).ok_or(format!("{at}: not in the list"));
    }
    let wrong = || Err(format!("{at}: wrong type"));
    match schema["type"].as_str() {
        Some("object") => {
            let Some(table) = value.as_table() else {
                return wrong();
            };
            let properties = schema["properties"].as_object().ok_or("no properties")?;
            for (name, inner) in table {
                let inside = properties
                    .get(name)
                    .ok_or(format!("{at}.{name}: unknown"))?;
                conform(inside, inner, &format!("{at}.{name}"))?;
            }
            for name in schema
                .get("required")
                .and_then(Value::as_array)
                .into_iter()
                .flatten()
            {
                let name = name.as_str().ok_or("required")?;
                if !table.contains_key(name) {
                    return Err(format!("{at}.{name}: missing"));
                }
            }
            let count = table.len() as u64;
            let least = schema.get("minProperties").and_then(Value::as_u64);
            let most = schema.get("maxProperties").and_then(Value::as_u64);
            if count < least.unwrap_or(0) || count > most.unwrap_or(u64::MAX) {
                return Err(format!("{at}: {count} tables"));
            }
            Ok(())
        }
        Some("array") => {
            let Some(items) = value.as_array() else {
                return wrong();
            };
            items
                .iter()
                .try_for_each(|item| conform(&schema["items"], item, at))
        }
        Some("string") => {
            let pattern = schema.get("pattern").and_then(Value::as_str).unwrap_or("");
            let pattern = regex_lite::Regex::new(pattern).map_err(|error| error.to_string())?;
            match value.as_str() {
                Some(text) if pattern.is_match(text) => Ok(()),
                Some(text) => Err(format!("{at}: {text} does not fit the pattern")),
                None => wrong(),
            }
        }
        Some("integer") if value.is_integer() => Ok(()),
        Some("number") if value.is_integer() || value.is_float() => Ok(()),
        _ => wrong(),
    }
}

#[test]
fn prop_the_schema_accepts_what_the_reader_accepts_and_refuses_mistakes() {
    let schema = schema();
    let read = |text: &str| text.parse::<toml::Table>().map(toml::Value::Table).unwrap();
    conform(&schema, &read(&starter()), "starter").unwrap();
    for fine in ["2.5M", " 98 inches ", "8.2 ft", "+2.5e0 m", "250 cm"] {
        let text = changed("wheelbase = \"2.5 m\"", &format!("wheelbase = \"{fine}\""));
        assert!(parse(&text).is_ok(), "{fine}");
        conform(&schema, &read(&text), fine).unwrap();
    }
    for name in SHIPPED {
        let text = text_of(&format!("scenarios/{name}.toml"));
        conform(&schema, &read(&text), name).unwrap();
    }
    for (from, to) in [
        ("wheelbase = \"2.5 m\"", "wheelbse = \"2.5 m\""),
        ("wheelbase = \"2.5 m\"", ""),
        ("wheelbase = \"2.5 m\"", "wheelbase = 2.5"),
        ("mount = \"shifted\"", "mount = \"loose\""),
        ("wheelbase = \"2.5 m\"", "wheelbase = \"2.5 bar\""),
        ("wheelbase = \"2.5 m\"", "wheelbase = \"long\""),
        ("[line.straight]", ""),
        (
            "[line.straight]",
            "[line.straight]\n[line.arc]\nradius = \"100 m\"",
        ),
    ] {
        assert!(
            conform(&schema, &read(&changed(from, to)), "x").is_err(),
            "{to}"
        );
    }
}

/// What is no file of reasonable size is refused before it is read, also where a scenario names it.
#[test]
fn regress_only_files_of_a_reasonable_size_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    let told = |name: &str, replay: Option<&str>| {
        let replay = replay.map(place);
        let error = Scenario::read(&place(name), replay.as_deref()).unwrap_err();
        let shown = format!("{}{}", folder.path().display(), std::path::MAIN_SEPARATOR);
        error.to_string().replace(&shown, "")
    };
    std::fs::write(place("large.toml"), " ".repeat((4 << 20) + 1)).unwrap();
    assert_eq!(
        told("large.toml", None),
        "large.toml: is larger than 4 MiB, the most that is read of such a file"
    );
    std::fs::create_dir(place("logs")).unwrap();
    std::fs::write(place("x.toml"), starter()).unwrap();
    assert_eq!(
        told("x.toml", Some("logs")),
        "logs: is a folder; the name of a file is wanted"
    );
    std::fs::write(place("rows.csv"), b"x_m,y_m\n0,0\n# caf\xE9\n").unwrap();
    for (name, wanted) in [
        ("logs", "logs: is a folder; the name of a file is wanted"),
        (
            "rows.csv",
            "rows.csv:3:6: the byte 0xE9 here is no UTF-8 text; save the file as UTF-8",
        ),
    ] {
        let line = format!("[line.polyline]\nfile = \"{name}\"\nrounding = \"10 m\"");
        std::fs::write(place("x.toml"), changed("[line.straight]", &line)).unwrap();
        let message = told("x.toml", None);
        let wanted = format!(
            "line.polyline.file = \"{name}\" cannot be read: {wanted}; a path is taken from the scenario file's folder"
        );
        assert!(message.ends_with(&wanted), "{message}");
    }
}

/// Taken for metres, offsets in other units leave the field; offsets that can be are doubted aloud.
#[test]
fn regress_a_log_that_no_tractor_drove_is_refused_and_an_unlikely_one_doubted() {
    let text = text_of("scenarios/replayed_pass.toml");
    let with = |offset: &dyn Fn(f64) -> f64| {
        let points: String = (0..=240)
            .map(|i| 0.5 * f64::from(i))
            .map(|s| format!("{s},{}\n", offset(s)))
            .collect();
        let log = format!("distance_m,offset_m\n{points}");
        let read = Scenario::parse(&text, "x.toml", &no_files, Some((&log, "log.csv")));
        read.map(|scenario| scenario.warnings().into_iter().skip(1).collect::<Vec<_>>())
            .map_err(|error| error.to_string())
    };
    let wave = |s: f64| (s / 4.0).sin() + 0.3 * (s / 1.7).cos();
    assert_eq!(with(&|s| 0.06 * wave(s)), Ok(vec![]));
    for (size, wander, units) in [
        (60.0, "42.9", "; are these millimetres?"),
        (6.0, "4.3", "; are these centimetres?"),
        (2.4, "1.7", "; are these centimetres or inches?"),
        (60_000.0, "42937.1", ""),
    ] {
        assert_eq!(
            with(&|s| size * wave(s)),
            Err(format!(
                "log.csv: offset_m has a wander of {wander} m (standard deviation about its trend); a tractor that follows a row stays below 0.5 m{units}"
            ))
        );
    }
    assert_eq!(
        with(&|s| 0.06 * wave(s) - 24.0),
        Err("log.csv: offset_m is -24.1 m at 69.5 m from the start; at most 3 m either way are allowed, counted from the planned line of this pass".to_string())
    );
    let doubted = |offset: &dyn Fn(f64) -> f64| with(offset).unwrap().remove(0);
    let Warning::WideWander { sd_m, likely } = doubted(&|s| 0.25 * wave(s)) else {
        panic!("not doubted")
    };
    assert!((sd_m - 0.179).abs() < 1e-3, "{sd_m}");
    assert_eq!(likely, ["feet"]);
    let Warning::FarOffLine {
        farthest_m,
        at_m,
        likely,
    } = doubted(&|s| 0.01 * s)
    else {
        panic!("not doubted")
    };
    assert!((farthest_m - 1.01).abs() < 0.005 && (at_m - 101.0).abs() < 0.5);
    assert!(likely.is_empty());
}

/// One metre of wander out of noises that hardly are.
#[test]
fn regress_noises_are_not_blown_up_beyond_what_their_keys_allow() {
    let observed = |seeing: &str, steering: &str, wander: &str| {
        let mut text = starter();
        for (from, to) in [
            (
                "# seeing_sd = \"50 mm\"",
                format!("seeing_sd = \"{seeing}\""),
            ),
            (
                "# steering_sd = \"0.15 deg\"",
                format!("steering_sd = \"{steering}\""),
            ),
            (
                "# observed_wander = \"45 mm\"",
                format!("observed_wander = \"{wander}\""),
            ),
            (
                "# observed_at = \"8 km/h\"",
                "observed_at = \"8 km/h\"".to_string(),
            ),
        ] {
            text = replaced(&text, from, &to);
        }
        text
    };
    assert!(parse(&observed("35 mm", "0.4 deg", "45 mm")).is_ok());
    assert!(parse(&observed("0.001 mm", "0 deg", "45 mm")).is_ok());
    let message = refusal(&observed("0 mm", "0.001 deg", "500 mm"));
    let wanted = regex_lite::Regex::new(
        "^scenarios/x.toml:[0-9]+:[0-9]+: driver.hand.observed_wander = \"500 mm\" would need driver.hand.steering_sd of [0-9.]+ deg, [0-9]+ times \"0.001 deg\"; allowed 0 deg to 5 deg. Observe again, or give driver.hand.steering_sd and driver.hand.seeing_sd as large as they are$",
    );
    assert!(wanted.unwrap().is_match(&message), "{message}");
    let message = refusal(&observed("20 mm", "0 deg", "500 mm"));
    assert!(
        message.contains(" would need driver.hand.seeing_sd of "),
        "{message}"
    );
}

/// Told one by one from the beginning of the text this would take minutes.
#[test]
fn regress_a_flood_of_mistakes_is_counted() {
    let many = 200_000;
    let tables: String = (0..many).map(|i| format!("[tractr{i}]\n")).collect();
    let message = refusal(&(starter() + &tables));
    let told: Vec<&str> = message.lines().collect();
    assert_eq!(told.len(), 51);
    let first = starter().lines().count() + 1;
    assert_eq!(
        told[0],
        format!(
            "scenarios/x.toml:{first}:2: the table [tractr0] is unknown; did you mean [tractor]?"
        )
    );
    assert_eq!(
        told[50],
        "scenarios/x.toml: and 199950 more problems like these"
    );
    // All in one line.
    let keys: String = (0..many).map(|i| format!(", k{i} = 1")).collect();
    let text = changed(
        "[tracker.none]",
        &format!("[tracker]\nnone = {{ x = 1{keys} }}"),
    );
    let message = refusal(&text);
    assert!(message.ends_with(": and 199951 more problems like these"));
    assert!(
        message.contains(":10: tracker.none.x is unknown\n"),
        "{}",
        &message[..200]
    );
}

#[test]
fn regress_lists_are_of_a_reasonable_length() {
    let speeds: Vec<String> = (0..101).map(|i| format!("\"{} km/h\"", 5 + i)).collect();
    let line = "# speeds = [\"4 km/h\", \"6 km/h\", \"8 km/h\", \"10 km/h\", \"12 km/h\"]";
    let message = refusal(&changed(line, &format!("speeds = [{}]", speeds.join(", "))));
    assert!(
        message.ends_with(": study.speeds has 101 entries; allowed 1 to 100"),
        "{message}"
    );
    let twice = "controllers = [\"pid\", \"pid\", \"pid\", \"pid\", \"pid\", \"pid\"]";
    let message = refusal(&changed("# controllers = [\"locked\", \"pid\"]", twice));
    assert!(
        message.ends_with(": study.controllers has 6 entries; allowed 1 to 5"),
        "{message}"
    );
}

/// Whatever a terminal would obey is refused in texts and shown by number in messages, and what is long is cut.
#[test]
fn regress_no_control_character_gets_further() {
    for (name, column, number) in [
        ("\"a\\u001b[2J\"", 8, "001B"),
        ("\"a\\rb\"", 8, "000D"),
        ("\"ä\u{9b}1m\"", 10, "009B"),
        ("\"ab\u{202e}c\"", 11, "202E"),
        ("\"\"\"\nab\\u007f\"\"\"", 8, "007F"),
    ] {
        let text = changed("name = \"My field\"", &format!("name = {name}"));
        let message = refusal(&text);
        let place = message.split(": ").next().unwrap();
        assert!(place.ends_with(&format!(":{column}")), "{message}");
        assert!(
            message.ends_with(&format!(
                ": name has the control character U+{number} in it; leave it out"
            )),
            "{message}"
        );
    }
    assert!(parse(&changed("name = \"My field\"", "name = \"a\\tb\\nc\"")).is_ok());
    let long = "ä".repeat(1 << 19);
    for (from, to) in [
        (
            "wheelbase = \"2.5 m\"",
            format!("wheelbase = \"2.5 {long}\""),
        ),
        (
            "wheelbase = \"2.5 m\"",
            format!("wheelbase = \"2,5 {long}\""),
        ),
        (
            "wheelbase = \"2.5 m\"",
            "wheelbase = \"2.5 \\u001b[2J\u{9b}\"".to_string(),
        ),
        ("mount = \"shifted\"", format!("mount = \"{long}\"")),
        (
            "mount = \"shifted\"",
            "mount = \"\u{202e}shifted\"".to_string(),
        ),
        (
            "[tracker.none]",
            format!("[tracker.none]\n{} = 1", "k".repeat(1 << 20)),
        ),
        (
            "[tracker.none]",
            "[tracker.none]\n\"\\u001b[2J\" = 1".to_string(),
        ),
        (
            "[tracker.none]",
            "[tracker.none]\n[\"tracker\\n.kalman\"]".to_string(),
        ),
        (
            "[tracker.none]",
            format!("[tracker.none]\nx = \u{9b}{long}"),
        ),
        (
            "# alignment = { mean = \"0 mm\", sd = \"4 mm\" }",
            "alignment = { \"\\u001b\" = 1 }".to_string(),
        ),
        (
            "working_speed = \"8 km/h\"",
            format!(
                "working_speed = \"8                   {}  km/h\"",
                " ".repeat(1 << 20)
            ),
        ),
    ] {
        let text = changed(from, &to);
        let Err(error) = parse(&text) else {
            continue;
        };
        let message = error.to_string();
        assert!(message.len() < 1000, "{}", &message[..1000]);
        assert!(
            !message.chars().any(|c| c.is_control() || c == '\u{202e}'),
            "{message:?}"
        );
    }
}

/// A quoted name with a dot in it is one name, not a table and its key.
#[test]
fn regress_a_dot_within_a_name_parts_nothing() {
    let text = changed("wheelbase = \"2.5 m\"", "");
    assert_eq!(
        refusal(&format!("\"tractor.wheelbase\" = \"2.5 m\"\n{text}"))
            .lines()
            .next(),
        Some("scenarios/x.toml:1:1: \"tractor.wheelbase\" is unknown")
    );
    let message = refusal(&changed("[tracker.none]", "[\"tracker.none\"]"));
    assert!(
        message.contains("the table [\"tracker.none\"] is unknown; did you mean [tracker.none]?"),
        "{message}"
    );
}

#[test]
fn regress_names_of_files_are_names() {
    let with = |file: &str| {
        let read = Scenario::parse(&starter(), file, &no_files, None);
        read.map(|scenario| scenario.file().to_string())
            .map_err(|error| error.to_string())
    };
    let wrong = "may not be empty, \".\" or begin with \"..\", as folders are named after it; rename the file";
    for (file, name) in [
        ("", ""),
        ("fields/", ""),
        ("fields/.", "."),
        ("..", ".."),
        ("a\\...", "..."),
        ("..toml", "..toml"),
    ] {
        assert_eq!(
            with(file),
            Err(format!("\"{name}\": the name of this file {wrong}"))
        );
    }
    assert_eq!(
        with("fields/a\u{1b}[2J.toml"),
        Err("\"a\\u{1b}[2J.toml\": the name of this file has control characters in it; rename the file".to_string())
    );
    assert_eq!(with("a b/.ü.toml"), Ok(".ü.toml".to_string()));

    let texts = shipped("replayed_pass").unwrap().texts().clone();
    let log = texts.replay.clone().unwrap().1;
    for file in ["../../x.toml", "/x.toml", "a\\x.toml", "..", "x/"] {
        let mut other = texts.clone();
        other.file = file.to_string();
        assert!(
            matches!(
                Scenario::from_texts(&other),
                Err(ScenarioError::Name { .. })
            ),
            "{file}"
        );
        let mut other = texts.clone();
        other.replay = Some((file.to_string(), log.clone()));
        assert!(
            matches!(
                Scenario::from_texts(&other),
                Err(ScenarioError::Name { .. })
            ),
            "{file}"
        );
    }
    let mut other = texts;
    other.file = "fields/x.toml".to_string();
    assert_eq!(
        Scenario::from_texts(&other).unwrap_err().to_string(),
        "\"fields/x.toml\": the name of this file has a folder in it; here it must stand alone"
    );
}

/// However deep a text nests, it is told, not fallen over.
#[test]
fn regress_deep_nesting_is_refused() {
    let deep = 1 << 17;
    for text in [
        format!("a = {}", "[".repeat(deep)),
        format!("a = {}{}", "[".repeat(deep), "]".repeat(deep)),
        format!("a = {}", "{a = ".repeat(deep)),
        format!("[{}a]", "a.".repeat(deep)),
        format!("{}a = 1", "a.".repeat(deep)),
        format!("[[{}a]]", "a.".repeat(deep)),
    ] {
        let message = refusal(&text);
        assert!(message.len() < 20_000, "{}", message.len());
    }
}

#[test]
fn regress_a_polyline_far_longer_than_the_pass_is_doubted() {
    let text = changed("[line.straight]", "[line.polyline]\nfile = \"rows.csv\"");
    let with = |points: &str| {
        let files = |_: &str| Ok(format!("x_m,y_m\n{points}"));
        Scenario::parse(&text, "x.toml", &files, None)
            .unwrap()
            .warnings()
    };
    assert_eq!(with("0,0\n5000,0\n"), []);
    assert_eq!(
        with("0,0\n250000,0\n"),
        [Warning::LineFarLonger {
            line_m: 250_000.0,
            pass_m: 200.0
        }]
    );
}
