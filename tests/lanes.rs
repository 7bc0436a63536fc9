//! The fast engine against the reference: to rounding on shared deviates, statistically on their own; the same bits from every
//! build of it and in any company.

#[path = "common/machines.rs"]
mod machines;

use machines::machines;
use rowroom::lanes::deviates::PassStreams;
use rowroom::lanes::drive::{Drive, Own};
use rowroom::lanes::ground::Ground;
use rowroom::lanes::sensors::Sensors;
use rowroom::lanes::shift::{Shift, run};
use rowroom::lanes::{self, LANES, Request};
use rowroom::model::controller::Kind;
use rowroom::model::driver::Driver;
use rowroom::model::line::{Bend, Line};
use rowroom::model::setup::Setup;
use rowroom::montecarlo::estimate::RatioSums;
use rowroom::montecarlo::tally::{TRADE_ROOM_M, Tally};
use rowroom::results::Stretch;
use rowroom::sim;

const SEED: u64 = 11;
const SPEED_M_S: f64 = 8.0 / 3.6;
const CLEARANCES_M: [f64; 5] = [0.02, 0.038, 0.045, 0.06, 0.08];

/// On shared deviates the shift of every controller is that of the reference at every tick. Both round differently (polynomials
/// instead of crate libm, another order of operations): 1e-9 m over some 10,000 ticks. The switch of the on-off valve may tip over
/// by rounding alone; it has not in these passes.
#[test]
fn analytic_the_engine_agrees_with_the_reference_to_rounding() {
    for (name, setup) in machines() {
        let setups: [Setup; LANES] = std::array::from_fn(|_| setup.clone());
        let passes: [u64; LANES] = std::array::from_fn(|i| 40 + i as u64);
        let own = Own::of(&setups, passes);
        let ground = Ground::draw(&setup, SEED, passes);
        let drive = Drive::new(&setup, &ground, SEED, &own, SPEED_M_S);
        let sensors = Sensors::observe(&setup, &ground, &drive, SEED, &own);
        for lane in [0, 5] {
            let streams = PassStreams {
                seed: SEED,
                pass: passes[lane],
            };
            let alone = sim::ground::Ground::draw_from(&setup, &streams);
            let path = sim::path::drive_from(&setup, &alone, &streams, SPEED_M_S);
            let frames = sim::frames::Frames::observe_from(&setup, &alone, &path, &streams);
            assert_eq!(path.station_m.len(), drive.station_m.len(), "{name}");
            let mut reference = sim::shift::Shift::default();
            let mut fast = Shift::default();
            for kind in Kind::ALL {
                sim::shift::run(&setup, &path, &frames, kind, &mut reference);
                run(&setup, &own, &drive, &sensors, kind, 1, &mut fast);
                let apart = reference
                    .shift_m
                    .iter()
                    .zip(&fast.shift_m)
                    .map(|(a, b)| (a - b.0[lane]).abs());
                let apart = apart.fold(0.0, f64::max);
                assert!(apart < 1e-9, "{name}, {}: {apart:e}", kind.name());
                let moved = reference
                    .shift_m
                    .iter()
                    .fold(0.0, |most: f64, q| most.max(q.abs()));
                assert!(
                    kind == Kind::Locked || moved > 0.005,
                    "{name}, {}: {moved}",
                    kind.name()
                );
            }
            let axle = path
                .axle_m
                .iter()
                .zip(&drive.axle_m)
                .map(|(a, b)| (a - b.0[lane]).abs());
            assert!(axle.fold(0.0, f64::max) < 1e-9, "{name}");
        }
    }
}

/// Beyond 3 m/s the receiver's error grows in both engines alike: to rounding on shared deviates (the tolerance of the test above),
/// and not at all as it was without growth.
#[test]
fn analytic_the_line_error_grows_alike_in_both_engines() {
    let (_, mut setup) = machines().swap_remove(3);
    let speed_m_s = 4.5;
    let mut axles: Vec<Vec<f64>> = Vec::new();
    for growth_s_m in [0.5, 0.0] {
        let Driver::SatelliteLine(line) = &mut setup.driver else {
            panic!("no satellite line");
        };
        line.growth_s_m = growth_s_m;
        let setups: [Setup; LANES] = std::array::from_fn(|_| setup.clone());
        let passes: [u64; LANES] = std::array::from_fn(|i| 40 + i as u64);
        let own = Own::of(&setups, passes);
        let ground = Ground::draw(&setup, SEED, passes);
        let drive = Drive::new(&setup, &ground, SEED, &own, speed_m_s);
        let (seed, pass) = (SEED, passes[2]);
        let streams = PassStreams { seed, pass };
        let alone = sim::ground::Ground::draw_from(&setup, &streams);
        let path = sim::path::drive_from(&setup, &alone, &streams, speed_m_s);
        let pairs = path.axle_m.iter().zip(&drive.axle_m);
        let apart = pairs.map(|(a, b)| (a - b.0[2]).abs()).fold(0.0, f64::max);
        assert!(apart < 1e-9, "{apart:e}");
        axles.push(path.axle_m);
    }
    // No person on the wheel and a straight line: small angles, so that half as much error again for each m/s beyond 3 m/s makes
    // 1.75 times the offset, up to the cube of the heading (some 0.02 rad).
    for (grown, plain) in axles[0].iter().zip(&axles[1]) {
        assert!((grown - 1.75 * plain).abs() < 1e-3 * 0.1, "{grown} {plain}");
    }
}

fn request(speeds_m_s: &[f64]) -> Request<'_> {
    Request {
        seed: SEED,
        speeds_m_s,
        kinds: &Kind::ALL,
        clearances_m: &CLEARANCES_M,
        rows_apart_at_m_s: Some(SPEED_M_S),
        room_m: TRADE_ROOM_M,
    }
}

/// The build for wide registers and the one for the baseline give the same bits, and so does a pass alone.
#[test]
fn prop_the_same_bits_from_every_build_and_in_any_company() {
    #[cfg(target_arch = "x86_64")]
    if !std::arch::is_x86_feature_detected!("avx2") {
        println!("left out: this processor has no AVX2, so there is only one build to run");
    }
    let speeds = [SPEED_M_S, 12.0 / 3.6];
    let request = request(&speeds);
    for (name, setup) in machines() {
        let setups: [Setup; LANES] = std::array::from_fn(|_| setup.clone());
        let passes: [u64; LANES] = std::array::from_fn(|i| i as u64);
        let text = |result: &[Vec<lanes::PassAtSpeed>]| format!("{result:?}");
        let together = lanes::run(&request, &setups, &passes);
        assert_eq!(
            text(&together),
            text(&lanes::run_on_baseline(&request, &setups, passes)),
            "{name}"
        );
        let alone = lanes::run(&request, &setups[3..4], &passes[3..4]);
        assert_eq!(text(&together[3..4]), text(&alone), "{name}");
    }
}

/// A driver who looks 25 m ahead cuts a bend of 6 m radius until the tractor stands across the row: the plants that are never met count as
/// cut, so that every speed has the same plants, and a recount of the reference's plants on the same deviates finds the same share. Engine
/// and reference lose the row at the same tick; the share of some 700 plants that the scatter alone decides differs by a few hundredths.
#[test]
fn prop_a_pass_that_loses_the_row_keeps_its_plants() {
    let speeds = [SPEED_M_S, 12.0 / 3.6];
    let request = request(&speeds);
    let passes: [u64; LANES] = std::array::from_fn(|i| i as u64);
    let ran = |setup: &Setup| lanes::run(&request, &vec![setup.clone(); LANES], &passes);
    for (name, setup) in machines() {
        assert!(
            ran(&setup).iter().flatten().all(|pass| !pass.lost),
            "{name}"
        );
    }
    let mut setup = Setup::plausible();
    setup.run.length_m = 80.0;
    setup.line = Line::new(&[Bend {
        start_m: 30.0,
        length_m: 40.0,
        curvature_start_1_m: 0.0,
        curvature_end_1_m: 1.0 / 6.0,
    }]);
    let Driver::Hand(hand) = &mut setup.driver else {
        panic!("a person is to steer");
    };
    hand.preview_min_m = 25.0;
    let found = ran(&setup);
    let plants = |under: &lanes::PassUnderController| (under.rest.plants, under.entry.plants);
    let all = plants(&found[0][0].controllers[0]);
    for (pass, at_speeds) in found.iter().enumerate() {
        for (speed_m_s, at_speed) in speeds.iter().zip(at_speeds) {
            assert!(at_speed.lost, "pass {pass} at {speed_m_s} m/s");
            for (kind, under) in Kind::ALL.into_iter().zip(&at_speed.controllers) {
                assert_eq!(plants(under), all);
                let view = sim::trace::View {
                    kind,
                    speed_m_s: *speed_m_s,
                    clearance_m: CLEARANCES_M[3],
                    seed: SEED,
                    pass: pass as u64,
                };
                let streams = PassStreams {
                    seed: SEED,
                    pass: pass as u64,
                };
                let trace = sim::trace::Trace::of(&setup, view, &streams);
                let counted = trace.plants.iter();
                let counted = counted.filter(|plant| plant.station_m >= trace.entry_length_m);
                let (mut cut, mut of) = (0.0, 0.0);
                for plant in counted {
                    cut += f64::from(u8::from(plant.fate == sim::trace::Fate::Cut));
                    of += 1.0;
                }
                let expected = under.rest.cut[3] / under.rest.plants;
                assert!(expected > 0.3, "{expected}");
                assert!(
                    (cut / of - expected).abs() < 0.04,
                    "{} {expected}",
                    cut / of
                );
            }
        }
    }
}

/// Engine and reference, each on its own deviates: tool error, plants cut and touched within 3.5 standard errors of their difference (some
/// 70 comparisons).
#[test]
fn analytic_engine_and_reference_agree_statistically() {
    const PASSES: u64 = 48;
    let mut setup = Setup::plausible();
    setup.run.length_m = 120.0;
    let rows = setup.rows.offset_m.len();
    let speeds = [SPEED_M_S];
    let setups = vec![setup.clone(); PASSES as usize];
    let passes: Vec<u64> = (0..PASSES).collect();
    let results = lanes::run(&request(&speeds), &setups, &passes);
    let mut shift = sim::shift::Shift::default();
    let mut reference: Vec<Tally> = Kind::ALL
        .iter()
        .map(|_| Tally::new(rows, CLEARANCES_M.len()))
        .collect();
    for pass in 0..PASSES {
        let ground = sim::ground::Ground::draw(&setup, SEED, pass);
        let drive = sim::Drive::new(&setup, &ground, SEED, pass, SPEED_M_S);
        for (tally, kind) in reference.iter_mut().zip(Kind::ALL) {
            drive.shift(&setup, kind, &mut shift);
            tally.add(&setup, &drive.path, &drive.meetings, &shift, &CLEARANCES_M);
        }
    }
    let mut compared = 0;
    for (k, kind) in Kind::ALL.into_iter().enumerate() {
        let mut fast = Tally::new(rows, CLEARANCES_M.len());
        for pass in &results {
            fast.add_expected(&pass[0].controllers[k], pass[0].axle);
        }
        let (a, b) = (
            fast.tool_error.spread().unwrap(),
            reference[k].tool_error.spread().unwrap(),
        );
        assert!(
            (a.sd - b.sd).abs() < 3.5 * a.sd_se.hypot(b.sd_se),
            "{} {a:?} {b:?}",
            kind.name()
        );
        let pairs = |fast: &Tally, slow: &Tally| -> Vec<_> {
            let fates = |tally: &Tally| -> Vec<RatioSums> {
                let by_stretch = Stretch::ALL.map(|stretch| tally.on(stretch).clone());
                let of_stretch = by_stretch.into_iter().flat_map(|of| [of.cut, of.touched]);
                of_stretch.chain(tally.rows.clone()).flatten().collect()
            };
            (fates(fast).into_iter().zip(fates(slow)))
                .filter(|(fast, slow)| fast.plants() > 0.0 && slow.plants() > 0.0)
                .collect()
        };
        for (a, b) in pairs(&fast, &reference[k]) {
            let variance = a.variance().unwrap() + b.variance().unwrap();
            // A rate that the reference never saw happen has no variance there: at most a few plants of all.
            let seldom = 4.0 / b.plants();
            let apart = (a.rate() - b.rate()).abs();
            assert!(
                apart < 3.5 * variance.sqrt() + seldom,
                "{} {a:?} {b:?}",
                kind.name()
            );
            compared += 1;
        }
    }
    assert!(compared > 150);
}
