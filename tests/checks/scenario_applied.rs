//! No key is declared and never applied: another value makes another study, machine, field or warning.

use rowroom::model::controller::pid::Pid;
use rowroom::model::tracker::Tracker;
use rowroom::scenario::Scenario;
use rowroom::scenario::keys::{Id, KEYS, Key, Need, Presence, Shape, TABLES};

fn files(name: &str) -> std::io::Result<String> {
    Ok(match name {
        "rows.csv" => "x_m,y_m\n0,0\n150,0\n300,9\n".to_string(),
        "others.csv" => "x_m,y_m\n0,0\n150,0\n300,-9\n".to_string(),
        other => panic!("{other}"),
    })
}

/// A scenario with the table of `key`, every part fitted, and these values.
fn text(key: &Key, values: &[(&str, &str)]) -> String {
    let group = key.table.split_once('.').map(|(group, _)| group);
    let mut text = String::new();
    let mut done: Vec<&str> = Vec::new();
    for table in TABLES {
        if let (Presence::OneOfGroup, Some(own)) = (table.presence, table.group()) {
            let wanted = if group == Some(own) {
                table.name == key.table
            } else {
                !done.contains(&own)
            };
            if !wanted {
                continue;
            }
            done.push(own);
        }
        if !table.name.is_empty() {
            text.push_str(&format!("[{}]\n", table.name));
        }
        for other in KEYS.iter().filter(|other| other.table == table.name) {
            let path = other.path();
            if let Some((_, value)) = values.iter().find(|(known, _)| *known == path) {
                text.push_str(&format!("{} = {value}\n", other.name));
            } else if let Need::Required { example } = other.need {
                text.push_str(&format!("{} = {example}\n", other.name));
            }
        }
    }
    text
}

/// What else the key needs, and two values of it that differ.
fn trial(key: &Key) -> (Vec<(&'static str, &'static str)>, String, String) {
    let simc = ("controller.pid.simc_closed_loop_time", "\"0.13 s\"");
    let gain = ("controller.pid.gain", "\"4 1/s\"");
    let derivative = ("controller.pid.derivative_time", "\"50 ms\"");
    let slope = ("ground.side_slope", "\"5 %\"");
    let two = |a: &str, b: &str| (a.to_string(), b.to_string());
    let (mut beside, (a, b)) = match key.id {
        Id::Speeds => (vec![], two("[\"8 km/h\"]", "[\"4 km/h\", \"8 km/h\"]")),
        Id::Clearances => (vec![], two("[\"50 mm\"]", "[\"40 mm\", \"50 mm\"]")),
        Id::WorkingSpeed => (vec![], two("\"4 km/h\"", "\"6 km/h\"")),
        Id::WorkingClearance => (vec![], two("\"38 mm\"", "\"50 mm\"")),
        Id::StudyControllers => (vec![], two("[\"pid\"]", "[\"locked\"]")),
        Id::HeldShift => (
            vec![("pass.while_lifted", "\"held\"")],
            two("\"10 %\"", "\"20 %\""),
        ),
        Id::WhileLifted => (vec![], two("\"centred\"", "\"held\"")),
        Id::PolylineFile => (vec![], two("\"rows.csv\"", "\"others.csv\"")),
        Id::Beds => (vec![("rows.bed_spacing", "\"1.8 m\"")], two("2", "3")),
        Id::BedSpacing => (vec![("rows.beds", "2")], two("\"1.8 m\"", "\"2 m\"")),
        Id::PlanterRows => (vec![("rows.seen_rows", "[1]")], two("2", "3")),
        Id::FirstPlanterRows => (
            vec![("rows.seen_rows", "[1]"), ("rows.planter_rows", "3")],
            two("1", "2"),
        ),
        Id::SeenRows => (vec![], two("[1, 2]", "[2, 3]")),
        Id::RowsPerBed => (vec![], two("4", "5")),
        Id::TrackWidth => (vec![], two("\"1350 mm\"", "\"1800 mm\"")),
        Id::TyreWidth => (
            vec![("tractor.track_width", "\"1800 mm\"")],
            two("\"200 mm\"", "\"600 mm\""),
        ),
        Id::CrabPerSlope | Id::DrawnCrab | Id::FrameWeight => {
            let (low, high) = spaced(key);
            (vec![slope], (low, high))
        }
        Id::HandObserved => (
            vec![("driver.hand.observed_at", "\"8 km/h\"")],
            two("\"45 mm\"", "\"50 mm\""),
        ),
        Id::HandObservedAt => (
            vec![("driver.hand.observed_wander", "\"45 mm\"")],
            two("\"6 km/h\"", "\"8 km/h\""),
        ),
        Id::LineObserved => (vec![], two("\"25 mm\"", "\"30 mm\"")),
        Id::SimcTime => (vec![], two("\"0.13 s\"", "\"0.2 s\"")),
        Id::PidGain => (vec![], two("\"3 1/s\"", "\"4 1/s\"")),
        Id::PidIntegral => (vec![gain], two("\"1 s\"", "\"2 s\"")),
        Id::PidDerivative => (vec![gain], two("\"20 ms\"", "\"40 ms\"")),
        Id::PidFilter => (vec![gain, derivative], two("\"2 ms\"", "\"4 ms\"")),
        Id::OnOffStart => (vec![], two("\"20 mm\"", "\"30 mm\"")),
        Id::OnOffStop => (vec![], two("\"4 mm\"", "\"8 mm\"")),
        Id::EntryLength => (vec![], two("\"10 m\"", "\"20 m\"")),
        Id::PassLength => (vec![], two("\"150 m\"", "\"200 m\"")),
        Id::Return => (vec![], two("\"5 bar\"", "\"10 bar\"")),
        Id::Bore => (vec![], two("\"50 mm\"", "\"63 mm\"")),
        Id::Rod => (vec![], two("\"20 mm\"", "\"25 mm\"")),
        Id::ArcRadius | Id::SBendRadius => (vec![], two("\"100 m\"", "\"200 m\"")),
        Id::RowSpacing => (vec![], two("\"450 mm\"", "\"500 mm\"")),
        Id::PlantHeights => (
            vec![],
            two(
                "[\"1 cm\", \"20 cm\", \"40 cm\"]",
                "[\"2 cm\", \"20 cm\", \"40 cm\"]",
            ),
        ),
        Id::StageRadii => (
            vec![],
            two(
                "[\"1 cm\", \"2 cm\", \"4 cm\"]",
                "[\"1 cm\", \"3 cm\", \"4 cm\"]",
            ),
        ),
        Id::StageStems => (
            vec![],
            two(
                "[\"2 mm\", \"5 mm\", \"9 mm\"]",
                "[\"3 mm\", \"5 mm\", \"9 mm\"]",
            ),
        ),
        Id::ToolWidths => (vec![], two("[\"10 cm\", \"20 cm\"]", "[\"20 cm\"]")),
        _ => (vec![], spaced(key)),
    };
    let sets_pid = [Id::SimcTime, Id::PidGain].contains(&key.id) || beside.contains(&gain);
    if !sets_pid {
        beside.push(simc);
    }
    (beside, a, b)
}

/// Two values from the inside of the key's range.
fn spaced(key: &Key) -> (String, String) {
    match key.shape {
        Shape::Quantity { quantity, .. } => {
            let (low, high) = key.range().unwrap();
            let unit = quantity.units()[0];
            let at = |share: f64| {
                let number = unit.from_si(low + share * (high - low));
                if unit.name.is_empty() {
                    format!("{number:?}")
                } else {
                    format!("\"{number:?} {}\"", unit.name)
                }
            };
            (at(0.3), at(0.4))
        }
        Shape::Count { low, .. } => ((low + 1).to_string(), (low + 2).to_string()),
        Shape::Choice(words) => (format!("\"{}\"", words[0]), format!("\"{}\"", words[1])),
        Shape::Text => ("\"one\"".to_string(), "\"another\"".to_string()),
        _ => panic!("{} needs a trial of its own", key.path()),
    }
}

/// All that a scenario does.
fn effect(key: &Key, beside: &[(&str, &str)], value: &str) -> String {
    let path = key.path();
    let mut values = beside.to_vec();
    values.push((&path, value));
    let text = text(key, &values);
    let log: String = (0..300).map(|i| format!("{i},0.01\n")).collect();
    let log = format!("distance_m,offset_m\n{log}");
    let replay = (key.table == "driver.replay").then_some((log.as_str(), "log.csv"));
    let scenario = Scenario::parse(&text, "x.toml", &files, replay)
        .unwrap_or_else(|error| panic!("{path} = {value}: {error}\n{text}"));
    format!(
        "{} {} {:?} {:?} {:?} {:?} {:?} {:?}",
        scenario.name(),
        scenario.description(),
        scenario.units(),
        scenario.study(),
        scenario.nominal(),
        scenario.warnings(),
        scenario.draw(1, 1),
        scenario.farm(),
    )
}

#[test]
fn prop_every_key_changes_something() {
    for key in KEYS {
        let (beside, a, b) = trial(key);
        let beside: Vec<(&str, &str)> = beside
            .into_iter()
            .filter(|(path, _)| *path != key.path())
            .collect();
        if key.id == Id::WhileLifted {
            // Held at 10 % of half the stroke or centred.
            let held = effect(key, &[beside[0], ("pass.held_shift", "\"10 %\"")], &b);
            assert_ne!(effect(key, &beside, &a), held);
            continue;
        }
        assert_ne!(
            effect(key, &beside, &a),
            effect(key, &beside, &b),
            "{} has no effect",
            key.path()
        );
    }
}

/// What the SIMC rule calls dead time counts the low-pass tracker, which follows a slow change `T/(exp(T/time) - 1)` late (its pole at
/// `exp(-T/time)`, T between frames).
#[test]
fn analytic_the_simc_rule_counts_the_tracker() {
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/sugar_beet.toml");
    let text = std::fs::read_to_string(file).unwrap();
    let scenario = Scenario::parse(&text, "beet.toml", &|_| unreachable!(), None).unwrap();
    let setup = scenario.nominal();
    let Tracker::LowPass { time_s, .. } = setup.tracker else {
        panic!("no low-pass");
    };
    let (frame_s, valve) = (setup.camera.frame_s, setup.hydraulics.proportional.unwrap());
    let tracker_s = frame_s / ((frame_s / time_s).exp() - 1.0);
    let dead_s = setup.camera.latency_s + tracker_s + valve.dead_time_s + 0.5 * frame_s;
    let expected = Pid::simc(0.2, dead_s, valve.spool_lag_s);
    let found = setup.controllers.pid.unwrap();
    assert!((found.gain_1_s / expected.gain_1_s - 1.0).abs() < 1e-12);
    assert!((found.integral_s / expected.integral_s - 1.0).abs() < 1e-12);
}
