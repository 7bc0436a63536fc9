//! The worst pass that a study tells of, held against the engine pass by pass.

use crate::common::known;
use rowroom::model::controller::Kind;
use rowroom::montecarlo::saved::Saved;
use rowroom::montecarlo::study::{
    Outcome, Part, Plan, Run, Until, Unwatched, outcome, run, without_answers,
};
use rowroom::montecarlo::tally::TRADE_ROOM_M;
use rowroom::results::WorstPass;
use rowroom::scenario::Scenario;
use rowroom::sim::trace::{Fate, Trace};
use rowroom::sim::{self, Request};

/// Three blocks, the last of them not full.
const SEED: u64 = 4;
const PASSES: u64 = 20;

/// The demo on short passes, with few settings; the working ones are not the first of their lists.
fn leeks(controllers: &str, working_clearance: &str, scatter: &str) -> Scenario {
    leeks_with(controllers, working_clearance, scatter, &str::to_owned)
}

/// The same with one more edit.
fn leeks_with(
    controllers: &str,
    working_clearance: &str,
    scatter: &str,
    edit: &dyn Fn(&str) -> String,
) -> Scenario {
    let edits = [
        ("speeds", r#"["5 km/h", "8 km/h"]"#.to_owned()),
        ("clearances", r#"["30 mm", "45 mm", "180 mm"]"#.to_owned()),
        ("working_clearance", format!("{working_clearance:?}")),
        ("length", r#""60 m""#.to_owned()),
    ];
    let mut lines: Vec<String> = known::known_leeks().lines().map(str::to_owned).collect();
    for (key, value) in edits {
        let start = format!("{key} = ");
        let line = lines.iter_mut().find(|line| line.starts_with(&start));
        *line.unwrap() = start + &value;
    }
    let plants = lines.iter().position(|line| line == "[plants]").unwrap();
    lines.insert(plants + 1, format!("scatter_sd = {scatter:?}"));
    let study = lines.iter().position(|line| line == "[study]").unwrap();
    lines.insert(study + 1, format!("controllers = {controllers}"));
    let text = edit(&lines.join("\n"));
    Scenario::parse(&text, "leeks.toml", &|_| unreachable!(), None).unwrap()
}

const THREE: &str = r#"["locked", "pid", "lag_compensated"]"#;

fn plan(scenario: &Scenario, until: Until, threads: usize) -> Plan<'_> {
    Plan {
        scenario,
        seed: SEED,
        until,
        threads: Some(threads),
    }
}

fn whole(scenario: &Scenario) -> Outcome {
    without_answers(&plan(scenario, Until::Passes(PASSES), 1), &Unwatched).unwrap()
}

/// Every pass alone, at the working setting only: neither its neighbours in a block nor other settings have a say.
fn by_hand(scenario: &Scenario, kind: Kind) -> WorstPass {
    let study = scenario.study();
    let rate = |pass: u64| {
        let request = Request {
            seed: SEED,
            speeds_m_s: &[study.working_speed_m_s],
            clearances_m: &study.clearances_m,
            rows_apart_at_m_s: None,
            room_m: TRADE_ROOM_M,
        };
        let found = sim::run(&request, &[kind], &[scenario.draw(SEED, pass)], &[pass]);
        let whole = &found[0][0].controllers[0].whole;
        let is_working = |&c: &f64| c == study.working_clearance_m;
        let clearance = study.clearances_m.iter().position(is_working).unwrap();
        whole.cut[clearance] / whole.plants
    };
    let (pass, rate) = (0..PASSES)
        .map(|pass| (pass, rate(pass)))
        .reduce(|worst, next| if next.1 > worst.1 { next } else { worst })
        .unwrap();
    WorstPass {
        controller: kind,
        pass,
        rate,
    }
}

#[test]
fn prop_the_worst_pass_is_the_highest_of_all() {
    let scenario = leeks(THREE, "45 mm", "10 mm");
    let found = whole(&scenario);
    let kinds = [Kind::Locked, Kind::Pid, Kind::LagCompensated];
    let expected = kinds.map(|kind| by_hand(&scenario, kind));
    assert_eq!(found.results.worst_passes, expected);
    for worst in &found.results.worst_passes {
        let mean = found.results.at_work(worst.controller).unwrap().cut.rate;
        assert!(worst.rate > mean && mean > 0.0);
    }
    // It must not be told by the mere order of passes.
    assert!(expected.iter().any(|worst| worst.pass >= 8));
}

#[test]
fn prop_threads_parts_and_stops_find_the_same_worst_pass() {
    let scenario = leeks(THREE, "45 mm", "10 mm");
    let expected = whole(&scenario);
    let same = |found: &Outcome| {
        assert_eq!(found.results, expected.results);
        assert_eq!(found.worst, expected.worst);
    };
    let two_threads = plan(&scenario, Until::Passes(PASSES), 2);
    same(&without_answers(&two_threads, &Unwatched).unwrap());

    let part = |number| {
        let until = Until::Share {
            part: Part { number, of: 3 },
            passes: PASSES,
        };
        let saved = run(&plan(&scenario, until, 1), None, &Unwatched)
            .unwrap()
            .saved;
        let text = saved.to_json().unwrap();
        (number.to_string(), Saved::from_json(&text).unwrap())
    };
    let saved = Saved::put_together(&[part(3), part(1), part(2)]).unwrap();
    let complete = true;
    same(&outcome(&two_threads, &Run { saved, complete }));

    let first = run(&plan(&scenario, Until::Passes(8), 1), None, &Unwatched).unwrap();
    let rest = run(&two_threads, Some(first.saved), &Unwatched).unwrap();
    same(&outcome(&two_threads, &rest));
}

/// Numbers and controllers of traces.
fn shown(traces: &[Trace]) -> Vec<(u64, Kind)> {
    traces.iter().map(|t| (t.pass, t.kind)).collect()
}

#[test]
fn prop_the_worst_pass_of_the_answer_is_traced_under_every_controller() {
    let scenario = leeks(THREE, "45 mm", "10 mm");
    let found = whole(&scenario);
    let answer = &found.results.answer;
    let choice = answer.fastest.as_ref().or(answer.fewest.as_ref()).unwrap();
    assert_ne!(choice.controller, Kind::Locked);
    let worst = found
        .results
        .worst_passes
        .iter()
        .find(|worst| worst.controller == choice.controller)
        .unwrap();
    let pass = worst.pass;
    let kinds = [Kind::Locked, Kind::Pid, Kind::LagCompensated];
    assert_eq!(shown(&found.traces), kinds.map(|kind| (0, kind)));
    assert_eq!(shown(&found.worst), kinds.map(|kind| (pass, kind)));
    let setup = scenario.draw(SEED, pass);
    for (trace, first) in found.worst.iter().zip(&found.traces) {
        let of = |t: &Trace| (t.seed, t.speed_m_s, t.clearance_m);
        assert_eq!(of(trace), of(first));
        assert_eq!(trace.axle_ahead_m, setup.tools.tool_line_m);
        assert!((trace.camera_ahead_m - setup.camera.lookahead_m).abs() < 1e-12);
        assert_eq!(trace.protected_radius_m, setup.plants.protected_radius_m);
        assert_eq!(trace.stem_radius_m, setup.plants.stem_radius_m);
        // The same ground: plants where they were, whatever passes them.
        let places = |t: &Trace| -> Vec<_> {
            t.plants
                .iter()
                .map(|plant| (plant.row, plant.station_m, plant.lateral_m))
                .collect()
        };
        assert!(places(trace) == places(&found.worst[0]));
        // Radii and clearance give the fates again.
        let mut met = 0;
        for plant in &trace.plants {
            let Some(needed_m) = plant.needed_clearance_m else {
                continue;
            };
            let stem_m = needed_m - trace.protected_radius_m + trace.stem_radius_m;
            let near = |a: f64| (a - trace.clearance_m).abs() < 1e-12;
            let fate = match (needed_m > trace.clearance_m, stem_m > trace.clearance_m) {
                (_, true) => Fate::Cut,
                (true, _) => Fate::Touched,
                _ => Fate::Spared,
            };
            assert!(plant.fate == fate || near(needed_m) || near(stem_m));
            met += u32::from(plant.fate != Fate::Spared);
        }
        assert!(met > 0, "the law must not be empty");
    }
}

/// Where no pass cuts anything the first one is as bad as any, and where none guides the first controller stands for the answer.
#[test]
fn prop_without_cut_plants_or_guidance_there_is_a_worst_pass() {
    // Expected cut plants of a wide scatter are never quite 0, nor those of an entry askew.
    let straight = |text: &str| {
        text.replacen(
            "[pass]",
            "[pass]\nentry_offset = \"0 mm\"\nentry_heading = \"0 deg\"",
            1,
        )
    };
    let guided = r#"["pid", "lag_compensated"]"#;
    let found = whole(&leeks_with(guided, "180 mm", "1 mm", &straight));
    for worst in &found.results.worst_passes {
        assert_eq!((worst.pass, worst.rate), (0, 0.0), "{}", worst.controller);
    }
    assert_eq!(found.worst, found.traces);

    let found = whole(&leeks(r#"["locked"]"#, "45 mm", "10 mm"));
    let worst = &found.results.worst_passes[0];
    assert_eq!(shown(&found.worst), [(worst.pass, Kind::Locked)]);
}
