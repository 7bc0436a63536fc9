//! The answers of whole studies: laws, another seed, demands that nothing meets, and every shipped scenario.

use crate::common::known;
use rowroom::results::reasons::Reason;
use std::path::Path;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

use rowroom::answers::compare::{Entrant, How, compare};
use rowroom::answers::limits::{Limits, lowest};
use rowroom::answers::speed::{Tries, searches, step_m_s};
use rowroom::answers::trial::{Ask, Trials};
use rowroom::montecarlo::estimate::korn_graubard;
use rowroom::montecarlo::saved::Saved;
use rowroom::montecarlo::study::{Part, run, without_answers};
use rowroom::results::answers::{Bound, Change, Holds};
use rowroom::results::answers::{SpeedAnswer, Status};
use rowroom::results::{Results, Stretch};
use rowroom::scenario::{Scenario, Units};
use rowroom::study::{Plan, StudyError, Until, Unwatched, Watch, study};

const PASSES: u64 = 48;

/// The shipped leeks with fewer settings and shorter passes, and with this allowed rate of cut plants.
fn leeks(allowed: &str) -> Scenario {
    leeks_where(allowed, "unwanted")
}

/// The same where soil may reach the plants or not.
fn leeks_where(allowed: &str, covering: &str) -> Scenario {
    let text = known::known_leeks();
    let with = |text: &str, key: &str, value: &str| -> String {
        let line = text
            .lines()
            .find(|line| line.starts_with(&format!("{key} =")))
            .unwrap();
        text.replacen(line, &format!("{key} = {value}"), 1)
    };
    let text = with(
        &text,
        "speeds",
        r#"["4 km/h", "8 km/h", "12 km/h", "16 km/h"]"#,
    );
    let text = with(
        &text,
        "clearances",
        r#"["40 mm", "45 mm", "50 mm", "60 mm", "70 mm"]"#,
    );
    let text = with(&text, "working_clearance", r#""60 mm""#);
    let text = with(&text, "length", r#""100 m""#);
    let text = with(&text, "covering", &format!("\"{covering}\""));
    let text = with(&text, "allowed_cut_rate", &format!("\"{allowed}\""));
    Scenario::parse(&text, "leeks.toml", &|_| unreachable!(), None).unwrap()
}

fn answered(scenario: &Scenario, seed: u64, passes: u64) -> Results {
    let plan = Plan {
        scenario,
        seed,
        until: Until::Passes(passes),
        threads: None,
    };
    study(&plan, None, &Unwatched).unwrap().results
}

fn first_seed() -> &'static Results {
    static RESULTS: OnceLock<Results> = OnceLock::new();
    RESULTS.get_or_init(|| answered(&leeks("2 %"), 1, PASSES))
}

fn second_seed() -> &'static Results {
    static RESULTS: OnceLock<Results> = OnceLock::new();
    RESULTS.get_or_init(|| answered(&leeks("2 %"), 2, PASSES))
}

/// A stricter rate, on the passes of the first seed.
fn stricter() -> &'static Results {
    static RESULTS: OnceLock<Results> = OnceLock::new();
    RESULTS.get_or_init(|| answered(&leeks("1 %"), 1, PASSES))
}

/// A rate that nothing keeps.
fn hopeless() -> &'static Results {
    static RESULTS: OnceLock<Results> = OnceLock::new();
    RESULTS.get_or_init(|| answered(&leeks("0.001 %"), 1, 16))
}

#[test]
fn prop_more_stroke_never_cuts_more() {
    for results in [first_seed(), second_seed()] {
        let stroke = &results.answers.stroke;
        assert_eq!(stroke.candidates.len(), 11);
        for pair in stroke.candidates.windows(2) {
            let (shorter, longer) = (&pair[0], &pair[1]);
            assert!(longer.stroke_m > shorter.stroke_m);
            let (more, less) = (longer.difference, shorter.difference);
            let doubt = (more.upper - more.value) + (less.upper - less.value);
            let more = more.value - less.value;
            assert!(more <= doubt, "{shorter:?} {longer:?}");
            assert!(longer.end_stop_share <= shorter.end_stop_share);
        }
        let recommended = stroke.recommended_m.unwrap();
        for candidate in &stroke.candidates {
            if candidate.stroke_m >= recommended {
                assert!(candidate.difference.upper <= 0.1 * results.allowed_cut_rate);
            }
        }
    }
}

/// The highest speed of a setting; nothing is slower than any speed.
fn highest(answer: &SpeedAnswer) -> f64 {
    answer.highest_speed_m_s.unwrap_or(0.0)
}

#[test]
fn prop_a_lower_allowed_rate_never_allows_more_speed() {
    let (lax, strict) = (first_seed(), stricter());
    assert!(strict.allowed_cut_rate < lax.allowed_cut_rate);
    let mut slower = 0;
    for (lax, strict) in lax.answers.speed.iter().zip(&strict.answers.speed) {
        assert_eq!(
            (&lax.controller, lax.clearance_m),
            (&strict.controller, strict.clearance_m)
        );
        assert!(highest(strict) <= highest(lax) + 1e-9, "{lax:?} {strict:?}");
        slower += u32::from(highest(strict) < highest(lax));
    }
    assert!(slower > 0, "nothing was at stake");
}

/// The highest speed is the lowest of its bounds and names the one that is met there and the next one. The bound of cut plants keeps the
/// allowed rate with its limit at every slower simulated speed; the next tenth of a km/h was tested and does not, or another bound is met
/// before it.
#[test]
fn prop_the_highest_speed_is_what_it_says() {
    let (mut refined, mut by_soil, mut explained) = (0, 0, 0);
    let both = [first_seed(), stricter()];
    let of_both = both.into_iter().flat_map(|results| {
        let answers = results.answers.speed.iter();
        answers.map(move |answer| (results, answer))
    });
    for (results, answer) in of_both {
        let cells = || {
            results.whole_rows().filter(|cell| {
                cell.controller == answer.controller && cell.clearance_m == answer.clearance_m
            })
        };
        let ends: Vec<(f64, Bound)> = answer
            .limits
            .iter()
            .filter(|limit| limit.holds == Holds::UpTo)
            .map(|limit| (limit.speed_m_s.unwrap(), limit.cause))
            .collect();
        assert!(ends.is_sorted_by(|a, b| a.0 <= b.0), "{answer:?}");
        let of_cut = answer
            .limits
            .iter()
            .find(|limit| limit.cause == Bound::CutPlants)
            .unwrap();
        let slower = cells().filter(|cell| of_cut.speed_m_s.is_some_and(|v| cell.speed_m_s <= v));
        assert!(
            slower
                .into_iter()
                .all(|cell| cell.cut.upper <= results.allowed_cut_rate)
        );
        match answer.status {
            Status::Ok => {
                assert_eq!(answer.highest_speed_m_s, Some(ends[0].0));
                assert_eq!(answer.binding, Some(ends[0].1));
                assert_eq!(answer.next_binding, Some(ends[1].1));
                assert_eq!(answer.at_least, ends[0].1 == Bound::SimulatedSpeeds);
                by_soil += u32::from(ends[0].1 == Bound::ThrownSoil);
            }
            _ => {
                assert!(answer.reason.is_some() && answer.highest_speed_m_s.is_none());
                assert!(answer.binding.is_some());
            }
        }
        if of_cut.holds == Holds::Never {
            assert!(cells().next().unwrap().cut.upper > results.allowed_cut_rate);
        }
        if answer.binding == Some(Bound::CutPlants) && answer.status == Status::Ok {
            let tenths = 36.0 * highest(answer);
            assert!((tenths - tenths.round()).abs() < 1e-6, "{tenths}");
            refined += u32::from(cells().all(|cell| cell.speed_m_s != highest(answer)));
        }
        let of_answers = Some(&answer.controller) == results.answers.controller.as_ref();
        let fails = cells().any(|cell| cell.cut.upper > results.allowed_cut_rate);
        if of_answers && fails && answer.clearance_m == results.working_clearance_m {
            explained += 1;
            let causes = &answer.causes;
            assert!(causes.len() >= 8, "{causes:?}");
            assert!(causes.is_sorted_by(|a, b| a.difference.value <= b.difference.value));
        }
    }
    assert!(refined > 0, "no speed between those of the study was tried");
    assert!(by_soil > 0, "soil bounds no speed");
    assert!(explained > 0, "no causes were looked for");
}

/// Up to which speed plants cut allow: all passes of the study keep the allowed rate there and not a step further, whether few or all of
/// them are a first look.
#[test]
fn prop_a_told_speed_keeps_the_rate_in_all_passes_and_the_next_step_does_not() {
    let (scenario, passes) = (leeks_where("1 %", "wanted"), 64);
    let plan = Plan {
        scenario: &scenario,
        seed: 1,
        until: Until::Passes(passes),
        threads: None,
    };
    let results = without_answers(&plan, &Unwatched).unwrap().results;
    let trials = Trials::new(&scenario, 1, None, &Unwatched).unwrap();
    let setup = scenario.nominal();
    let ran = results
        .controllers
        .iter()
        .filter(|note| note.left_out.is_none());
    let kinds: Vec<_> = ran.map(|note| note.controller).collect();
    let bounds = Limits {
        setup: &setup,
        on_slope: &setup,
        farm: &scenario.farm(),
        demand: &[],
        speeds_m_s: &results.speeds_m_s,
    };
    for first in [32, passes] {
        let mut tries = Tries::new(&trials, &results, &kinds, first);
        let mut tested = 0;
        for search in searches(&mut tries, &bounds).unwrap() {
            let (kind, clearance) = (kinds[search.kind], search.clearance);
            let (other_m_s, ..) = lowest(&bounds.of(kind, results.clearances_m[clearance]));
            let told_m_s = search.limit().speed_m_s;
            let Some(speed_m_s) = told_m_s.filter(|&v| v < other_m_s.unwrap()) else {
                continue;
            };
            let ask = Ask {
                passes,
                speeds_m_s: &[speed_m_s, speed_m_s + step_m_s(Units::Metric)],
                clearances_m: &results.clearances_m,
            };
            let tallies = trials.tallies(&ask, 0, &[kind]).unwrap();
            let [keeps, fails] = [0, 1].map(|speed| {
                let cut = &tallies[speed][0].whole.cut;
                korn_graubard(cut, results.level)[clearance].upper
            });
            let allowed = results.allowed_cut_rate;
            assert!(
                keeps <= allowed && fails > allowed,
                "{kind:?} {clearance} {speed_m_s}"
            );
            tested += 1;
        }
        assert!(tested > 5, "{tested}");
    }
}

/// The recommended setting keeps every bound, and the study's own numbers stand behind it.
#[test]
fn prop_the_recommended_setting_keeps_every_bound() {
    for results in [first_seed(), second_seed(), stricter()] {
        let setting = results.answers.recommended.as_ref().unwrap();
        let of_setting = results.answers.speed.iter().find(|answer| {
            answer.controller == setting.controller && answer.clearance_m == setting.clearance_m
        });
        let answer = of_setting.unwrap();
        assert!(setting.speed_m_s <= highest(answer) * (1.0 + 1e-9));
        assert!(setting.cut.upper <= results.allowed_cut_rate);
        assert_eq!(setting.passes, results.passes);
        let simulated = results.rate(
            Stretch::Whole,
            setting.controller,
            setting.speed_m_s,
            setting.clearance_m,
        );
        if let Some(rate) = simulated {
            assert_eq!((rate.cut, rate.touched), (setting.cut, setting.touched));
        }
        let spacing = &results.answers.spacing;
        let kept = spacing.cheapest_kept.as_ref().unwrap();
        assert!(setting.cost_per_ha.unwrap() <= kept.cost_per_ha * (1.0 + 1e-3));
        let told = spacing.recommended.as_ref().unwrap();
        assert!((told.cost_per_ha - setting.cost_per_ha.unwrap()).abs() < 1e-9);
        assert!(told.breaks.is_empty() && Some(told.in_time) == setting.in_time);
        let soil = &results.answers.soil;
        let speeds_m_s: Vec<f64> = soil.speeds.iter().map(|line| line.speed_m_s).collect();
        assert!(speeds_m_s.is_sorted() && speeds_m_s.contains(&setting.speed_m_s));
        assert_eq!(soil.design_speed_m_s, setting.speed_m_s);
        assert_eq!(results.answers.stages.passes, setting.passes);
        assert_eq!(results.answers.stroke.design_speed_m_s, setting.speed_m_s);
        assert_eq!(results.answers.sheet.clearance_m, setting.clearance_m);
    }
    assert_eq!(hopeless().answers.recommended, None);
    assert!(hopeless().answers.not_recommended.is_some());
}

/// What one seed decides, the other does not refute at its own confidence.
#[test]
fn prop_another_seed_does_not_refute_a_decision() {
    let (mut looked, mut compared) = (0, 0);
    for (one, other) in [(first_seed(), second_seed()), (second_seed(), first_seed())] {
        for answer in &one.answers.speed {
            let kept = other.whole_rows().filter(|cell| {
                cell.controller == answer.controller
                    && cell.clearance_m == answer.clearance_m
                    && cell.speed_m_s <= highest(answer)
            });
            for cell in kept {
                looked += 1;
                assert!(
                    cell.cut.lower <= other.allowed_cut_rate,
                    "{answer:?} {cell:?}"
                );
            }
        }
        let place = |results: &Results| {
            let stroke = &results.answers.stroke;
            let recommended = stroke.recommended_m.unwrap();
            stroke
                .candidates
                .iter()
                .position(|candidate| candidate.stroke_m == recommended)
                .unwrap() as i64
        };
        assert!((place(one) - place(other)).abs() <= 1);
        for mine in &one.answers.pays {
            let theirs = other.answers.pays.iter().find(|theirs| {
                theirs.change == mine.change && theirs.controller == mine.controller
            });
            let Some(theirs) = theirs else { continue };
            compared += 1;
            let limits = |pays: &rowroom::results::answers::Pays| {
                pays.clearance_gain_m.map(|gain| (gain.lower, gain.upper))
            };
            let (Some(a), Some(b)) = (limits(mine), limits(theirs)) else {
                continue;
            };
            // Two intervals of 95 % that miss each other by their own width would be a wonder.
            let width = (a.1 - a.0) + (b.1 - b.0) + 1e-6;
            assert!(
                a.0 <= b.1 + width && b.0 <= a.1 + width,
                "{mine:?} {theirs:?}"
            );
        }
    }
    assert!(looked > 20 && compared > 5, "{looked} {compared}");
}

#[test]
fn prop_what_nothing_meets_is_answered_with_the_reason_and_the_nearest_setting() {
    let results = hopeless();
    for answer in &results.answers.speed {
        assert_eq!(answer.status, Status::NoAnswer);
        let nothing = Reason::CutsTooMany {
            wider_m: None,
            under: None,
        };
        assert_eq!(answer.reason, Some(nothing));
    }
    for pays in &results.answers.pays {
        assert_eq!(pays.speed_gain_m_s, None);
        assert!(pays.reason.is_some());
    }
    assert_eq!(results.answers.stages.status, Status::NoAnswer);
    assert!(matches!(
        results.answers.stages.reason,
        Some(Reason::NoClearanceFor { .. })
    ));
    // Where a wider clearance would do, it is named.
    let named = first_seed().answers.speed.iter().filter(|answer| {
        let Some(Reason::CutsTooMany { wider_m, .. }) = answer.reason else {
            return false;
        };
        wider_m.is_some_and(|wider_m| (0.06..=0.07).contains(&wider_m))
    });
    assert!(named.count() > 0);
}

/// A yaw-rate sensor, plants nearer to their line and a better camera alignment gain room on common passes, and more stroke than is ever
/// asked for gains nothing.
#[test]
fn prop_what_pays_is_ranked_and_sound() {
    // Where soil bounds the speed first, nothing that works on cut plants gains any.
    let pays = &answered(&leeks_where("2 %", "wanted"), 1, PASSES)
        .answers
        .pays;
    let of = |change: Change| pays.iter().find(|pays| pays.change == change).unwrap();
    assert!(of(Change::YawRateSensor).clearance_gain_m.unwrap().lower > 0.0);
    assert!(of(Change::ExactPlanting).clearance_gain_m.unwrap().value > 0.0);
    assert!(of(Change::AlignedCamera).clearance_gain_m.unwrap().value > 0.0);
    let stroke = of(Change::MoreStroke);
    assert!(stroke.clearance_gain_m.unwrap().value.abs() < 1e-3);
    let gained = pays.iter().filter_map(|pays| pays.speed_gain_m_s);
    let gains: Vec<f64> = gained.map(|gain| gain.value).collect();
    assert!(gains.is_sorted_by(|a, b| a >= b));
    for pays in pays {
        if let Some(gain) = pays.speed_gain_m_s {
            assert!(gain.lower <= gain.value && gain.value <= gain.upper);
        }
    }
    let by_soil = &first_seed().answers;
    let bound = by_soil.recommended.as_ref().unwrap();
    let answer = by_soil.speed.iter().find(|answer| {
        answer.controller == bound.controller && answer.clearance_m == bound.clearance_m
    });
    assert_eq!(answer.unwrap().binding, Some(Bound::ThrownSoil));
    for pays in &by_soil.pays {
        let gain = pays.speed_gain_m_s.map_or(0.0, |gain| gain.value);
        match pays.change {
            Change::Shields => assert!(gain > 0.5, "{pays:?}"),
            Change::AlignedCamera | Change::SteadyDriver | Change::ExactPlanting => {
                assert!(gain.abs() < 1e-9, "{pays:?}");
            }
            _ => {}
        }
    }
}

/// Older plants need more room.
#[test]
fn prop_stages_need_more_room_as_they_grow() {
    let stages = &first_seed().answers.stages.stages;
    assert!(stages.len() >= 2);
    let clearances: Vec<f64> = stages
        .iter()
        .map(|stage| stage.clearance_m.unwrap_or(f64::INFINITY))
        .collect();
    assert!(clearances.is_sorted_by(|a, b| a <= b), "{clearances:?}");
}

#[test]
fn prop_every_shipped_scenario_gives_the_answers_it_has_data_for() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let file = entry.unwrap().path();
        if file.extension().is_none_or(|extension| extension != "toml") {
            continue;
        }
        let replays = file.file_stem().unwrap() == "replayed_pass";
        let log = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/synthetic_pass.csv");
        let scenario = Scenario::read(&file, replays.then_some(log.as_path())).unwrap();
        let results = answered(&scenario, 1, 8);
        let (answers, farm) = (&results.answers, scenario.farm());
        let told = |status: Status, reason: &Option<Reason>, has: bool| {
            assert_eq!(status == Status::NoData, !has, "{file:?} {reason:?}");
            if !has {
                assert!(
                    matches!(reason, Some(Reason::TablesMissing { .. })),
                    "{reason:?}"
                );
            }
        };
        told(
            answers.stages.status,
            &answers.stages.reason,
            !farm.stages.is_empty(),
        );
        told(
            answers.soil.status,
            &answers.soil.reason,
            farm.soil.is_some(),
        );
        told(
            answers.sheet.status,
            &answers.sheet.reason,
            farm.workshop.is_some(),
        );
        let pays = farm.land.is_some() && farm.weeds.is_some() && farm.prices.is_some();
        told(answers.spacing.status, &answers.spacing.reason, pays);
        assert_ne!(answers.stroke.status, Status::NoData);
        assert_ne!(answers.hydraulics.status, Status::NoData);
        assert_ne!(answers.control.status, Status::NoData);
        assert!(!answers.hydraulics.effects.is_empty());
        assert!(!answers.pays.is_empty());
        assert_eq!(answers.speed.len(), {
            let ran = results
                .controllers
                .iter()
                .filter(|note| note.left_out.is_none());
            ran.count() * results.clearances_m.len()
        });
        assert!(!answers.stroke.demand.is_empty());
        // Which limit binds, and which is next.
        for answer in &answers.speed {
            assert!(answer.binding.is_some() && answer.next_binding.is_some());
            assert_ne!(answer.binding, answer.next_binding, "{file:?} {answer:?}");
        }
        assert!(answers.recommended.is_some() != answers.not_recommended.is_some());
        seen += 1;
    }
    assert_eq!(seen, 6);
}

/// A machine beside itself gains exactly nothing, without any doubt; beside one with a slower valve it gains room.
#[test]
fn prop_two_machines_meet_the_same_passes() {
    let one = leeks("1 %");
    let how = How {
        seed: 3,
        passes: 32,
        threads: None,
    };
    let against = |other: &Scenario| {
        let both = [Entrant::Scenario(&one), Entrant::Scenario(other)];
        let mut found = compare(&both, how, &Unwatched).unwrap();
        found.machines.remove(1).against_first.unwrap()
    };
    let itself = against(&one);
    assert_eq!(itself.pairs.len(), 5);
    for pair in &itself.pairs {
        assert_eq!(pair.first_controller, pair.other_controller);
        assert_eq!(pair.first_rate, pair.other_rate);
        let difference = pair.difference;
        assert_eq!(
            (difference.lower, difference.value, difference.upper),
            (0.0, 0.0, 0.0)
        );
        if let Some(gain) = pair.gains.speed_gain_m_s {
            assert_eq!((gain.lower, gain.value, gain.upper), (0.0, 0.0, 0.0));
        }
    }
    let mount = "mount = \"shifted\"";
    let aligned = format!("{mount}\nalignment = \"0 mm\"");
    let text = one.texts().text.replace(mount, &aligned);
    let aligned = Scenario::parse(&text, "aligned.toml", &|_| unreachable!(), None).unwrap();
    let better = against(&aligned);
    assert!(better.pairs[0].difference.upper < 0.0);
    assert!(better.pairs[0].gains.clearance_gain_m.unwrap().lower > 0.0);
}

/// Shares of the answers that were told, in order.
#[derive(Default)]
struct Listener(std::sync::Mutex<Vec<f64>>);

impl Watch for Listener {
    fn passes_done(&self, _done: u64, _of: u64) {}
    fn answers_done(&self, share: f64) {
        self.0.lock().unwrap().push(share);
    }
    fn stop(&self) -> bool {
        false
    }
}

/// How far the answers are is told all along, and what was planned is about what is done. A price of a change is told with what it earns a
/// year and the years until it has paid.
#[test]
fn prop_progress_and_prices_of_changes_are_told() {
    let text = leeks("2 %").texts().text.clone();
    let priced = text + "\n[change_prices]\nframe_set_before = 500\nclean_rows = 1000000\n";
    let scenario = Scenario::parse(&priced, "priced.toml", &|_| unreachable!(), None).unwrap();
    let plan = Plan {
        scenario: &scenario,
        seed: 1,
        until: Until::Passes(PASSES),
        threads: Some(1),
    };
    let listener = Listener::default();
    let answers = study(&plan, None, &listener).unwrap().results.answers;
    let told = listener.0.into_inner().unwrap();
    assert!(told.len() > 20, "{}", told.len());
    assert!(told.is_sorted_by(|a, b| a <= b));
    let done = *told.last().unwrap();
    assert!(told[0] < 0.1 && (0.8..1.25).contains(&done), "{done}");
    for pays in &answers.pays {
        match pays.change {
            Change::FrameSetBefore => {
                assert_eq!(pays.price, Some(500.0));
                if let Some(earns) = pays.earns_a_year.filter(|&earns| earns > 0.0) {
                    let years = pays.paid_after_years.unwrap();
                    assert!((years * earns - 500.0).abs() < 1e-9);
                }
                assert!(pays.earns_a_year.is_some());
            }
            Change::CleanRows => assert_eq!(pays.price, Some(1e6)),
            _ => assert_eq!((pays.price, pays.paid_after_years), (None, None)),
        }
    }
}

/// Asks to stop once so much of the answers is done; the answers are not wanted at all where `wanted` is false.
struct Stopper {
    at_share: f64,
    wanted: bool,
    over: AtomicBool,
}

impl Stopper {
    fn new(at_share: f64, wanted: bool, over: bool) -> Self {
        let over = AtomicBool::new(over);
        Self {
            at_share,
            wanted,
            over,
        }
    }
}

impl Watch for Stopper {
    fn passes_done(&self, _done: u64, _of: u64) {}
    fn simulated(&self, so_far: &Saved, complete: bool) -> bool {
        assert!(complete && so_far.passes() == 16);
        self.wanted
    }
    fn answers_done(&self, share: f64) {
        if share >= self.at_share {
            self.over.store(true, Ordering::Relaxed);
        }
    }
    fn stop(&self) -> bool {
        self.over.load(Ordering::Relaxed)
    }
}

/// A study that is cut short among its answers keeps its passes and says so; it goes on to the very same end, as does one whose passes
/// were put together from parts.
#[test]
fn prop_a_study_in_one_call_goes_on_from_where_it_was_stopped() {
    let scenario = leeks("2 %");
    let plan = |until| Plan {
        scenario: &scenario,
        seed: 3,
        until,
        threads: None,
    };
    let sixteen = plan(Until::Passes(16));
    let whole = study(&sixteen, None, &Unwatched).unwrap();
    assert!(whole.results.complete && whole.saved.passes() == 16);
    assert!(!whole.traces.is_empty() && !whole.worst.is_empty());

    let cut = study(&sixteen, None, &Stopper::new(0.2, true, false)).unwrap();
    let answers = &cut.results.answers;
    assert!(!cut.results.complete && answers.recommended.is_none());
    assert_eq!(answers.spacing.status, Status::NoData);
    assert_eq!(answers.spacing.reason, Some(Reason::CutShort));
    let gone_on = study(&sixteen, Some(cut.saved), &Unwatched).unwrap();
    assert_eq!(gone_on.results, whole.results);

    let part = |number| {
        let part = Part { number, of: 2 };
        let until = Until::Share { part, passes: 16 };
        let saved = run(&plan(until), None, &Unwatched).unwrap().saved;
        (number.to_string(), saved)
    };
    let together = Saved::put_together(&[part(2), part(1)]).unwrap();
    let merged = study(&sixteen, Some(together), &Unwatched).unwrap();
    assert_eq!(merged.results, whole.results);
    assert_eq!((merged.traces, merged.worst), (whole.traces, whole.worst));

    for (watch, passes) in [
        (Stopper::new(1.0, false, false), 16),
        (Stopper::new(1.0, true, true), 0),
    ] {
        let stopped = study(&sixteen, None, &watch).unwrap_err();
        let StudyError::Interrupted { done, of: 16 } = stopped else {
            panic!("{stopped}");
        };
        assert_eq!(done, passes);
    }
}
