//! Fields of a study on which something is not known: what the passes over one share, what threads, parts and stops leave alone, and limits
//! against a nested study.

use rowroom::model::controller::Kind;
use rowroom::montecarlo::fields::{KEPT_FIELDS, together};
use rowroom::montecarlo::study::{Part, Plan, Until, Unwatched};
use rowroom::montecarlo::tally::TRADE_ROOM_M;
use rowroom::results::answers::Edge;
use rowroom::results::{NoFarms, Results, Stretch};
use rowroom::scenario::{FIELD_PASSES, Given, Scenario};
use rowroom::sim::{self, LANES, Request};
use rowroom::study::{Saved, study};
use rowroom::unknowns::law::{ABOUT, Law};

const SEED: u64 = 3;

/// What is not known of the farms here.
const UNKNOWN: [(&str, &str); 5] = [
    (
        "plants.scatter_sd",
        "{ least = \"6 mm\", most = \"20 mm\" }",
    ),
    ("rows.unit_error_sd", "{ about = \"4 mm\" }"),
    ("camera.noise_sd", "{ least = \"1 mm\", most = \"8 mm\" }"),
    (
        "camera.latency",
        "{ measured = \"80 ms\", error = \"10 ms\" }",
    ),
    ("rows.wander", "{ about = \"30 mm\" }"),
];

/// What the demo itself leaves unknown, as known.
const KNOWN: [(&str, &str); 12] = [
    ("rows.wander", "\"30 mm\""),
    ("rows.unit_error_sd", "\"4 mm\""),
    ("plants.scatter_sd", "\"12 mm\""),
    ("plants.stem_radius", "\"5 mm\""),
    ("hitch.rear.sway_sd", "\"3 mm\""),
    ("tools.setting_error_sd", "\"2 mm\""),
    ("camera.latency", "\"80 ms\""),
    ("camera.noise_sd", "\"2 mm\""),
    ("camera.appearance_sd", "\"6 mm\""),
    ("camera.roll_moving_sd", "\"0.34 deg\""),
    ("hydraulics.friction", "\"800 N\""),
    ("valve.proportional.dead_time", "\"30 ms\""),
];

/// The demo on short passes with few settings.
const SHORT: [(&str, &str); 7] = [
    ("study.allowed_cut_rate", "\"4 %\""),
    ("study.speeds", "[\"5 km/h\", \"8 km/h\"]"),
    ("study.clearances", "[\"38 mm\", \"50 mm\", \"60 mm\"]"),
    ("study.controllers", "[\"pid\"]"),
    ("pass.length", "\"40 m\""),
    ("farm.row_length", "\"40 m\""),
    ("pass.entry_length", "\"10 m\""),
];

fn demo(keys: &[&[(&str, &str)]]) -> Scenario {
    let others = [
        ("valve.proportional.spool_lag", "\"60 ms\""),
        ("study.unknowns", "stated"),
    ];
    let all: [&[(&str, &str)]; 2] = [&KNOWN, &others];
    // The last value of a key holds.
    let mut given: Vec<Given> = Vec::new();
    for (key, value) in all.iter().chain(keys).copied().flatten() {
        given.retain(|before| before.key != *key);
        given.push(Given::parse(&format!("{key}={value}")).unwrap());
    }
    let demo = Scenario::demo().unwrap();
    demo.changed(&given)
        .unwrap_or_else(|error| panic!("{error}"))
}

fn plan(scenario: &Scenario, until: Until, threads: usize) -> Plan<'_> {
    Plan {
        scenario,
        seed: SEED,
        until,
        threads: Some(threads),
    }
}

fn ran(scenario: &Scenario, until: Until, threads: usize) -> Results {
    let plan = plan(scenario, until, threads);
    study(&plan, None, &Unwatched).unwrap().results
}

/// Passes over a field have the same unknown values, those of another field others, all within their laws; what varies by pass still does.
/// Over 256 fields each eighth of a law is met by 32: points that fill a cube evenly do so exactly.
#[test]
fn prop_passes_over_a_field_share_what_is_not_known() {
    let scenario = demo(&[&UNKNOWN]);
    let of_field = |field: u64, pass: u64| scenario.draw(SEED, field * FIELD_PASSES + pass);
    let laws: Vec<Law> = (scenario.unknowns().iter())
        .map(|unknown| unknown.law)
        .collect();
    let keys: Vec<String> = (scenario.unknowns().iter())
        .map(|unknown| unknown.key())
        .collect();
    // In the order of the language; the camera's alignment stays for a field too.
    assert_eq!(
        keys,
        [
            "rows.wander",
            "rows.unit_error_sd",
            "plants.scatter_sd",
            "camera.latency",
            "camera.noise_sd",
            "camera.alignment"
        ]
    );
    let mut eighths = [[0; 8]; 6];
    for field in 0..256 {
        let first = of_field(field, 0);
        assert_eq!(first.field, Some(field));
        for pass in 1..FIELD_PASSES {
            let mut other = of_field(field, pass);
            assert_ne!(other.run.entry_offset_m, first.run.entry_offset_m);
            other.run = first.run;
            other.yaw_sensor = first.yaw_sensor;
            assert!(other == first, "{field} {pass}");
        }
        let point = scenario.point(SEED, field);
        let values = [
            first.rows.wander.sd,
            first.rows.unit_sd_m,
            first.plants.scatter_sd_m,
            first.camera.latency_s,
            first.camera.white_sd_m,
            first.camera.alignment_m,
        ];
        for (place, (value, law)) in values.into_iter().zip(&laws).enumerate() {
            assert_eq!(value, law.quantile(point[place]));
            let (least, most) = law.support();
            assert!((least..=most).contains(&value), "{value} {law:?}");
            eighths[place][(8.0 * point[place]) as usize] += 1;
        }
    }
    assert_eq!(eighths, [[32; 8]; 6]);
    // The controllers reckon with what the machine is believed to be, whatever it is.
    assert_eq!(of_field(0, 0).controllers, scenario.nominal().controllers);
}

/// The three ways to say what is known: by hand.
#[test]
fn analytic_laws_of_what_is_not_known() {
    let law = |key: &str, value: &str| {
        let scenario = demo(&[&[(key, value)]]);
        let unknowns = scenario.unknowns();
        let found = unknowns.iter().find(|unknown| unknown.key() == key);
        found.unwrap().law
    };
    assert_eq!(
        law("rows.wander", "{ about = \"30 mm\" }"),
        Law::LogUniform {
            from: 0.03 / ABOUT,
            to: 0.03 * ABOUT
        }
    );
    assert_eq!(
        law("rows.wander", "{ least = \"20 mm\", most = \"50 mm\" }"),
        Law::LogUniform {
            from: 0.02,
            to: 0.05
        }
    );
    // From nothing on no ratio is as likely as another.
    assert_eq!(
        law("camera.noise_sd", "{ least = \"0 mm\", most = \"5 mm\" }"),
        Law::Uniform {
            from: 0.0,
            to: 0.005
        }
    );
    let Law::Normal { mean, sd, low, .. } = law(
        "camera.latency",
        "{ measured = \"80 ms\", error = \"10 ms\" }",
    ) else {
        panic!("no bell curve");
    };
    assert_eq!((mean, sd, low), (0.08, 0.01, Some(0.0)));
    assert_eq!(demo(&[&UNKNOWN]).nominal().camera.latency_s, 0.08);
    assert!(demo(&[]).unknowns().is_empty());
}

/// What a form lacks or mixes is told, with what would be right.
#[test]
fn regress_wrong_forms_are_told() {
    for (value, told) in [
        ("{ about = \"0 mm\" }", "\"about nothing\" says no range"),
        ("{ least = \"5 mm\" }", "{ least = ..., most = ... }"),
        (
            "{ least = \"9 mm\", most = \"5 mm\" }",
            "least must be less than most",
        ),
        (
            "{ about = \"9 mm\", error = \"5 mm\" }",
            "{ measured = ..., error = ... }",
        ),
        (
            "{ measured = \"9 mm\", error = \"0 mm\" }",
            "error must be greater than 0",
        ),
        ("{ abuot = \"9 mm\" }", "did you mean about?"),
    ] {
        let given = Given::parse(&format!("rows.wander={value}")).unwrap();
        let error = Scenario::demo().unwrap().changed(&[given]).unwrap_err();
        assert!(error.to_string().contains(told), "{value}: {error}");
    }
}

/// Threads, parts and stops change nothing, and a study takes whole fields.
#[test]
fn prop_threads_parts_and_stops_change_nothing() {
    let scenario = demo(&[&UNKNOWN, &SHORT]);
    // 130 fields.
    let passes = 1033;
    let whole = ran(&scenario, Until::Passes(passes), 1);
    assert_eq!(whole.passes, 1040);
    assert!(whole.no_farms.is_none() && whole.rates[0].known.is_some());
    assert!(whole == ran(&scenario, Until::Passes(passes), 2));
    let parts: Vec<(String, Saved)> = (1..=3)
        .map(|number| {
            let part = Part { number, of: 3 };
            let until = Until::Share { part, passes };
            let plan = plan(&scenario, until, 2);
            let run = rowroom::montecarlo::study::run(&plan, None, &Unwatched).unwrap();
            // As a file would give it back.
            let text = run.saved.to_json().unwrap();
            (number.to_string(), Saved::from_json(&text).unwrap())
        })
        .collect();
    let merged = Saved::put_together(&parts).unwrap();
    assert_eq!(merged.passes(), 1040);
    let plan_of_all = plan(&scenario, Until::Passes(passes), 2);
    let together = study(&plan_of_all, Some(merged), &Unwatched).unwrap();
    assert!(together.results == whole);
    let first = plan(&scenario, Until::Passes(24), 1);
    let begun = rowroom::montecarlo::study::run(&first, None, &Unwatched).unwrap();
    let gone_on = study(&plan_of_all, Some(begun.saved), &Unwatched).unwrap();
    assert!(gone_on.results == whole);
}

/// Too few fields tell nothing of farms, and the results say how many are needed.
#[test]
fn prop_too_few_fields_are_told() {
    let scenario = demo(&[&UNKNOWN, &SHORT]);
    let results = ran(&scenario, Until::Passes(64), 1);
    let needed = 128;
    assert_eq!(
        results.no_farms,
        Some(NoFarms::FewFields { fields: 8, needed })
    );
    assert!(results.rates.iter().all(|rate| rate.known.is_none()));
    assert!(results.answers.assured.is_empty());
    // Limits count fields: eight of them, whatever they hold.
    assert_eq!(results.unknowns.len(), 6);
}

/// The same fields simulated until their rates are known: 512 of them with 64 passes each, against a study of 256 with eight. The 95 %
/// point within a tenth, the median within a tenth, the 5 % point within 15 %; brute force itself errs by some 3 % (512 farms).
#[test]
fn val_limits_over_farms_against_a_nested_study() {
    let scenario = demo(&[&UNKNOWN, &SHORT, &[("study.unknowns", "ranges")]]);
    let results = ran(&scenario, Until::Passes(KEPT_FIELDS * FIELD_PASSES), 2);
    let study = scenario.study();
    let speed = 1;
    let request = Request {
        seed: 99,
        speeds_m_s: &study.speeds_m_s[speed..],
        clearances_m: &study.clearances_m,
        rows_apart_at_m_s: None,
        room_m: TRADE_ROOM_M,
    };
    let (farms, blocks) = (512, 8);
    let mut rates = vec![Vec::new(); study.clearances_m.len()];
    for farm in 0..farms {
        // Fields far from those of the study; their passes under numbers of their own.
        let of_farm = scenario.draw(77, farm * FIELD_PASSES);
        let passes = (0..blocks).flat_map(|block| {
            let numbers: [u64; LANES] =
                std::array::from_fn(|lane| (farm * blocks + block) * LANES as u64 + lane as u64);
            let setups = numbers.map(|number| {
                let mut setup = of_farm.clone();
                setup.run = scenario.draw(99, number).run;
                setup.yaw_sensor = scenario.draw(99, number).yaw_sensor;
                setup
            });
            sim::run(&request, &[Kind::Pid], &setups, &numbers)
        });
        let all = together(passes).unwrap();
        let whole = &all[0].controllers[0].whole;
        for (rates, cut) in rates.iter_mut().zip(&whole.cut) {
            rates.push(cut / whole.plants);
        }
    }
    let mut compared = 0;
    for (clearance, rates) in rates.iter_mut().enumerate() {
        rates.sort_by(f64::total_cmp);
        let point = |level: f64| rates[(level * farms as f64) as usize];
        let rate = results.rate_at(Stretch::Whole, Kind::Pid, speed, clearance);
        let told = rate.unwrap().known.unwrap();
        let known = told.cut;
        println!(
            "{:.3} m: {known:?} {} against {:.5} {:.5} {:.5}",
            study.clearances_m[clearance],
            told.fitted,
            point(0.05),
            point(0.5),
            point(0.95)
        );
        for (found, level, within) in [
            (known.p05, 0.05, 0.15),
            (known.p50, 0.5, 0.1),
            (known.p95, 0.95, 0.1),
        ] {
            compared += 1;
            let truth = point(level);
            assert!(
                (found / truth - 1.0).abs() < within,
                "{clearance} {level}: {found} {truth}"
            );
        }
        assert!((known.p50..=known.p95).contains(&told.assured_cut));
    }
    assert_eq!(compared, 9);
    // Half of the farms need no more than four in five do, and these no more than nineteen in twenty.
    let assured = &results.answers.assured;
    assert_eq!(assured.len(), 3);
    let clearances: Vec<f64> = (assured.iter())
        .map(|one| match one.clearance_edge {
            Edge::AllKeep => 0.0,
            Edge::Within => one.clearance_m.unwrap(),
            Edge::NoneKeeps => f64::INFINITY,
        })
        .collect();
    println!("{assured:?}");
    assert!(clearances.is_sorted(), "{clearances:?}");
    assert!(clearances[2] > clearances[0] && clearances[2] < 0.06);
    // Plants that nobody has measured carry most of it here: from 6 to 20 mm off their row.
    let share = |key: &str| {
        let unknown = results.unknowns.iter().find(|one| one.key == key);
        unknown.unwrap().share_of_rate.unwrap()
    };
    let all: f64 = (results.unknowns.iter())
        .map(|unknown| unknown.share_of_rate.unwrap())
        .sum();
    assert!((all - 1.0).abs() < 1e-9);
    assert!(share("plants.scatter_sd") > 0.5);
    println!("{:?}", results.unknowns);
}
