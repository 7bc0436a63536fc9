//! The number that people act on: plants cut on whole rows, the same everywhere, against a recount.

use crate::common::known;
use rowroom::model::controller::Kind;
use rowroom::montecarlo::estimate::RatioSums;
use rowroom::montecarlo::study::one_pass;
use rowroom::report::display::{Units, limit_in_words, trimmed};
use rowroom::report::svg::study_pictures;
use rowroom::report::{answer_text, customer, page, setting_sheet};
use rowroom::results::{Results, Stretch};
use rowroom::scenario::Scenario;
use rowroom::sim::trace::{Fate, View};
use rowroom::study::{Plan, Until, Unwatched, study};

const PASSES: u64 = 160;

/// The demo with few settings, on rows three times as long as a shorter pass.
fn leeks() -> Scenario {
    let text = known::known_leeks();
    let line = |text: &str, key: &str, value: &str| -> String {
        let lines = text.lines().map(|line| match line.split_once(" = ") {
            Some((name, _)) if name == key => format!("{key} = {value}\n"),
            _ => format!("{line}\n"),
        });
        lines.collect()
    };
    let text = line(
        &text,
        "speeds",
        "[\"4 km/h\", \"6 km/h\", \"8 km/h\", \"10 km/h\"]",
    );
    let text = line(
        &text,
        "clearances",
        "[\"45 mm\", \"55 mm\", \"60 mm\", \"70 mm\", \"80 mm\"]",
    );
    let text = text.replacen("length = \"200 m\"", "length = \"70 m\"", 1);
    let text = text.replacen("row_length = \"200 m\"", "row_length = \"210 m\"", 1);
    Scenario::parse(&text, "leeks.toml", &|_| unreachable!(), None).unwrap()
}

fn studied(scenario: &Scenario) -> Results {
    let plan = Plan {
        scenario,
        seed: 4,
        until: Until::Passes(PASSES),
        threads: Some(2),
    };
    study(&plan, None, &Unwatched).unwrap().results
}

/// The plants of the same passes, counted one by one: entry once, and 195/55 of the rest. Shares agree within 4 joint standard errors,
/// of which the count has the larger part: it scatters the plants where the study integrates over them.
#[test]
fn analytic_whole_rows_against_a_recount_of_the_plants() {
    let scenario = leeks();
    let results = studied(&scenario);
    let (speed_m_s, clearance_m) = (results.working_speed_m_s, results.working_clearance_m);
    assert_eq!(results.row_length_m, 210.0);
    for kind in [Kind::Locked, Kind::Pid, Kind::LagCompensatedYaw] {
        let mut recount: Vec<(Fate, [RatioSums; 3])> = [Fate::Cut, Fate::Touched]
            .map(|fate| (fate, Default::default()))
            .into();
        for pass in 0..PASSES {
            let view = View {
                kind,
                speed_m_s,
                clearance_m,
                seed: 4,
                pass,
            };
            let trace = one_pass(&scenario, view).unwrap();
            let entry = |station_m: f64| station_m < 15.0;
            for (fate, sums) in &mut recount {
                let count = |in_entry: bool| -> (f64, f64) {
                    let here = || {
                        trace
                            .plants
                            .iter()
                            .filter(|p| entry(p.station_m) == in_entry)
                    };
                    let met = here().filter(|plant| plant.fate == *fate).count();
                    (met as f64, here().count() as f64)
                };
                let (entry, rest) = (count(true), count(false));
                let times = 195.0 / 55.0;
                sums[0].add(entry.0 + times * rest.0, entry.1 + times * rest.1);
                sums[1].add(entry.0, entry.1);
                sums[2].add(rest.0, rest.1);
            }
        }
        for (fate, sums) in &recount {
            for (stretch, sums) in Stretch::ALL.into_iter().zip(sums) {
                let rate = results.rate(stretch, kind, speed_m_s, clearance_m).unwrap();
                let share = match fate {
                    Fate::Cut => rate.cut,
                    _ => rate.touched,
                };
                let own = (share.upper - share.lower) / 4.0;
                let apart = (sums.rate() - share.rate).abs();
                let seldom = 4.0 / sums.plants();
                assert!(
                    apart < 4.0 * own.hypot(sums.variance().unwrap().sqrt()) + seldom,
                    "{} {stretch:?} {fate:?}: {} counted, {share:?}",
                    kind.name(),
                    sums.rate()
                );
            }
        }
    }
    // The whole is entry and rest, by plants.
    for rates in results.rates.chunks(3 * results.clearances_m.len()) {
        let clearances = results.clearances_m.len();
        for i in 0..clearances {
            let [whole, entry, rest] = [0, 1, 2].map(|stretch| &rates[stretch * clearances + i]);
            let mixed = (15.0 * entry.cut.rate + 195.0 * rest.cut.rate) / 210.0;
            assert!((whole.cut.rate - mixed).abs() < 1e-12, "{whole:?}");
        }
    }
}

/// Terminal, first screen, customer page, setting sheet and results say the same speed, clearance and share.
#[test]
fn prop_every_output_says_the_same_numbers() {
    let scenario = leeks();
    let results = studied(&scenario);
    let units = Units::Metric;
    let setting = results.answers.recommended.as_ref().unwrap();
    let answer = results.answers.speed.iter().find(|answer| {
        answer.controller == setting.controller && answer.clearance_m == setting.clearance_m
    });
    let answer = answer.unwrap();
    let pictures = study_pictures(&results, &[], units);
    // Line ends are spaces on the terminal, and the page wraps what differs between units.
    let plain = |text: String| -> String {
        let mut out = String::new();
        let mut inside = false;
        for c in text.chars() {
            match c {
                '<' => inside = true,
                '>' => inside = false,
                _ if inside => {}
                '\n' => out.push(' '),
                c => out.push(c),
            }
        }
        out
    };
    let speed = trimmed(3.6 * setting.speed_m_s, 1);
    let recommended = format!("{speed} km/h");
    let clearance = units.clearance(setting.clearance_m);
    let worst = limit_in_words(setting.cut.upper);
    let highest = units.speed_limit(answer.highest_speed_m_s.unwrap());
    for (name, text) in [
        ("terminal", plain(answer_text(&results))),
        ("page", plain(page::page(&results, &[], &[]))),
        ("customer page", plain(customer::page(&results, &pictures))),
        (
            "setting sheet",
            plain(setting_sheet::page(&results, &pictures)),
        ),
    ] {
        for told in [&recommended, &clearance, &worst] {
            assert!(text.contains(told.as_str()), "{name} does not say {told}");
        }
        if name != "setting sheet" {
            assert!(text.contains(&format!("{highest} km/h")), "{name}");
        }
    }
    assert_eq!(results.answers.sheet.clearance_m, setting.clearance_m);
    assert_eq!(results.answers.stroke.clearance_m, setting.clearance_m);
    assert_eq!(results.answers.stroke.design_speed_m_s, setting.speed_m_s);
    assert!(setting.speed_m_s <= answer.highest_speed_m_s.unwrap() * (1.0 + 1e-9));
}
