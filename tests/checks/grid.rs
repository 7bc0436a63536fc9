//! Speeds and clearances where the scenario names none.

use std::sync::atomic::{AtomicBool, Ordering};

use rowroom::answers::grid::settled;
use rowroom::montecarlo::saved::Saved;
use rowroom::scenario::Scenario;
use rowroom::study::{Plan, Until, Unwatched, Watch, study};

/// The shipped leeks without lists of speeds and clearances, with this allowed rate, and shorter.
fn leeks(allowed: &str) -> Scenario {
    let text = include_str!("../../scenarios/leeks.toml");
    let kept = text
        .lines()
        .filter(|line| !line.starts_with("speeds =") && !line.starts_with("clearances ="));
    let text: String = kept.map(|line| format!("{line}\n")).collect();
    let text = text
        .replace(
            "allowed_cut_rate = \"0.5 %\"",
            &format!("allowed_cut_rate = \"{allowed}\""),
        )
        .replace("length = \"200 m\"", "length = \"60 m\"");
    Scenario::parse(&text, "leeks.toml", &|_| unreachable!(), None).unwrap()
}

fn chosen(allowed: &str) -> Scenario {
    settled(leeks(allowed), 1, Some(2), &Unwatched).unwrap()
}

/// Finer settings are added to the coarse ones, the same for the same seed, and the setting worked with now stays.
#[test]
fn prop_the_grid_is_refined_and_always_the_same() {
    let coarse = leeks("1 %");
    assert_eq!(coarse.open_grid(), [true, true]);
    let (once, again) = (chosen("1 %"), chosen("1 %"));
    let (study, plain) = (once.study(), coarse.study());
    assert_eq!(study, again.study());
    for (fine, plain) in [
        (&study.speeds_m_s, &plain.speeds_m_s),
        (&study.clearances_m, &plain.clearances_m),
    ] {
        assert!(fine.len() > plain.len(), "{fine:?}");
        assert!(plain.iter().all(|value| fine.contains(value)));
        assert!(fine.is_sorted_by(|a, b| a < b), "{fine:?}");
    }
    assert!(study.speeds_m_s.contains(&study.working_speed_m_s));
    assert!(study.clearances_m.contains(&study.working_clearance_m));
}

/// Where nothing keeps the allowed rate the range grows to slower and wider.
#[test]
fn prop_the_range_grows_where_the_answer_lies_outside() {
    let plain = leeks("0.001 %");
    let hopeless = chosen("0.001 %");
    let (plain, grown) = (plain.study(), hopeless.study());
    assert!(grown.speeds_m_s[0] < plain.speeds_m_s[0]);
    assert!(grown.clearances_m.last() > plain.clearances_m.last());
    // No wider than the rows leave room for, 375 mm apart.
    assert!(grown.clearances_m.iter().all(|&c| c <= 0.1875));
}

/// What the scenario names is simulated and nothing else.
#[test]
fn regress_named_speeds_and_clearances_stay() {
    let text = include_str!("../../scenarios/leeks.toml");
    let named = Scenario::parse(text, "leeks.toml", &|_| unreachable!(), None).unwrap();
    let study = named.study().clone();
    let settled = settled(named, 1, Some(2), &Unwatched).unwrap();
    assert_eq!(*settled.study(), study);
}

/// Lets the passes be simulated and nothing be worked out of them.
#[derive(Default)]
struct PassesAlone(AtomicBool);

impl Watch for PassesAlone {
    fn passes_done(&self, _done: u64, _of: u64) {}
    fn simulated(&self, _so_far: &Saved, _complete: bool) -> bool {
        self.0.store(true, Ordering::Relaxed);
        true
    }
    fn stop(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// One call chooses the grid too, and one that was chosen before is not chosen again.
#[test]
fn prop_a_study_chooses_the_grid_that_is_left_open() {
    let speeds = |scenario: &Scenario| {
        let plan = Plan {
            scenario,
            seed: 1,
            until: Until::Passes(8),
            threads: Some(2),
        };
        let found = study(&plan, None, &PassesAlone::default()).unwrap().results;
        (found.speeds_m_s, found.clearances_m)
    };
    let settled = chosen("1 %");
    let study = settled.study();
    let expected = (study.speeds_m_s.clone(), study.clearances_m.clone());
    assert_eq!(speeds(&leeks("1 %")), expected);
    assert_eq!(speeds(&settled), expected);
}
