//! The engine of the studies: its expectations against a recount of plants, the same bits from every build of it and in any company.

use crate::common::machines::machines;
use crate::common::recount;
use rowroom::model::camera::Mount;
use rowroom::model::controller::Kind;
use rowroom::model::driver::Driver;
use rowroom::model::line::{Bend, Line};
use rowroom::model::setup::Setup;
use rowroom::model::tracker::Tracker;
use rowroom::montecarlo::estimate::RatioSums;
use rowroom::montecarlo::tally::{TRADE_ROOM_M, Tally};
use rowroom::results::Stretch;
use rowroom::sim::pass::Pass;
use rowroom::sim::plants::Fate;
use rowroom::sim::{self, LANES, Registers, Request, Variant};

const SEED: u64 = 11;
const SPEED_M_S: f64 = 8.0 / 3.6;
const CLEARANCES_M: [f64; 5] = [0.02, 0.038, 0.045, 0.06, 0.08];

/// Beyond 3 m/s the receiver's error grows: no person on the wheel and a straight line, so small angles, so that half as much error again
/// for each m/s beyond 3 m/s makes 1.75 times the offset, up to the cube of the heading (some 0.02 rad).
#[test]
fn analytic_the_line_error_grows_with_the_speed() {
    let (_, mut setup) = machines().swap_remove(3);
    let [grown, plain] = [0.5, 0.0].map(|growth_s_m| {
        let Driver::SatelliteLine(line) = &mut setup.driver else {
            panic!("no satellite line");
        };
        line.growth_s_m = growth_s_m;
        Pass::drive(&setup, SEED, 42, 4.5).path.axle_m
    });
    assert!(plain.iter().any(|axle_m| axle_m.abs() > 0.01));
    for (grown, plain) in grown.iter().zip(&plain) {
        assert!((grown - 1.75 * plain).abs() < 1e-3 * 0.1, "{grown} {plain}");
    }
}

fn request(speeds_m_s: &[f64]) -> Request<'_> {
    Request {
        seed: SEED,
        speeds_m_s,
        clearances_m: &CLEARANCES_M,
        rows_apart_at_m_s: Some(SPEED_M_S),
        room_m: TRADE_ROOM_M,
    }
}

/// The builds for all registers give the same bits, and so does a pass alone.
#[test]
fn prop_the_same_bits_from_every_build_and_in_any_company() {
    let builds = Registers::here();
    println!("this processor has {builds:?}");
    let speeds = [SPEED_M_S, 12.0 / 3.6];
    let request = request(&speeds);
    for (name, setup) in machines() {
        let setups: [Setup; LANES] = std::array::from_fn(|_| setup.clone());
        let passes: [u64; LANES] = std::array::from_fn(|i| i as u64);
        let text = |result: &[Vec<sim::PassAtSpeed>]| format!("{result:?}");
        let together = sim::run(&request, &Kind::ALL, &setups, &passes);
        for &registers in &builds {
            let built = sim::run_on(registers, &request, &Kind::ALL, &setups, passes);
            assert_eq!(text(&together), text(&built), "{name} {registers:?}");
        }
        let alone = sim::run(&request, &Kind::ALL, &setups[3..4], &passes[3..4]);
        assert_eq!(text(&together[3..4]), text(&alone), "{name}");
    }
}

/// Passes that differ in entry, alignment and hydraulics run side by side, their side-shifts apart: each as it would run alone.
#[test]
fn prop_passes_with_valves_of_their_own_run_side_by_side_as_alone() {
    let speeds = [SPEED_M_S];
    let request = request(&speeds);
    let passes: Vec<u64> = (0..5).collect();
    for (name, setup) in machines() {
        let setups: Vec<Setup> = passes
            .iter()
            .map(|&pass| {
                let mut setup = setup.clone();
                let more = 1.0 + 0.2 * pass as f64;
                setup.run.length_m = 40.0;
                setup.run.entry_shift_m = 0.002 * pass as f64;
                setup.camera.alignment_m = -0.003 * pass as f64;
                let hydraulics = &mut setup.hydraulics;
                hydraulics.stroke_m /= more;
                hydraulics.directional.as_mut().unwrap().open_s *= more;
                hydraulics.proportional.as_mut().unwrap().dead_time_s *= more;
                setup
            })
            .collect();
        let together = sim::run(&request, &Kind::ALL, &setups, &passes);
        for (place, found) in together.iter().enumerate() {
            let one = place..place + 1;
            let alone = sim::run(
                &request,
                &Kind::ALL,
                &setups[one.clone()],
                &passes[one.clone()],
            );
            assert_eq!(
                format!("{:?}", &together[one]),
                format!("{alone:?}"),
                "{name}, {place}"
            );
            assert!(place == 0 || format!("{found:?}") != format!("{:?}", together[0]));
        }
    }
}

/// What a machine shares with the first one of a run is what it would have worked out itself: every part changed in turn, on every machine.
#[test]
fn prop_what_machines_share_is_what_each_would_find_alone() {
    type Change = fn(&mut Setup);
    let changes: [(&str, Change); 27] = [
        ("nothing", |_| {}),
        ("stroke", |s| s.hydraulics.stroke_m *= 0.2),
        ("pump", |s| s.hydraulics.pump_m3_s *= 0.3),
        ("valve", |s| {
            s.hydraulics.proportional.as_mut().unwrap().dead_time_s += 0.02;
        }),
        ("gain", |s| {
            s.controllers.pid.as_mut().unwrap().gain_1_s *= 0.8
        }),
        ("tracker", |s| {
            s.tracker = Tracker::LowPass {
                time_s: 0.1,
                gate_m: 0.1,
            };
        }),
        ("latency", |s| s.camera.latency_s += 0.02),
        ("mount", |s| {
            s.camera.mount = match s.camera.mount {
                Mount::Fixed => Mount::Shifted,
                Mount::Shifted => Mount::Fixed,
            };
        }),
        ("start", |s| s.run.start_delay_s += 0.2),
        ("frame's entry", |s| s.run.entry_shift_m += 0.01),
        ("stems", |s| s.plants.stem_radius_m *= 1.5),
        ("scatter", |s| s.plants.scatter_sd_m *= 0.5),
        ("white noise", |s| s.camera.white_sd_m += 0.002),
        ("outliers", |s| {
            s.camera.outlier_share = 0.05;
            s.camera.outlier_sd_m = 0.05;
        }),
        ("roll", |s| s.camera.roll_still_sd_rad += 0.002),
        ("alignment", |s| s.camera.alignment_m += 0.01),
        ("position sensor", |s| {
            s.position_sensor.as_mut().unwrap().noise_sd_m += 0.001;
        }),
        ("yaw sensor", |s| {
            let sensor = s.yaw_sensor.as_mut().unwrap();
            sensor.noise.sd += 0.001;
            sensor.bias_rad_s += 0.001;
        }),
        ("appearance", |s| s.camera.appearance.sd *= 0.5),
        ("blind stretches", |s| {
            s.camera.blind_share = 0.1;
            s.camera.blind_length_m = 1.0;
        }),
        ("frames", |s| s.camera.frame_s *= 2.0),
        ("lookahead", |s| s.camera.lookahead_m += 0.3),
        ("entry", |s| {
            s.run.entry_offset_m += 0.02;
            s.run.entry_heading_rad -= 0.01;
        }),
        ("slope", |s| s.tractor.crab_rad += 0.005),
        ("rows", |s| s.rows.wander.sd *= 0.5),
        ("tools", |s| s.tools.setting_sd_m += 0.002),
        ("bends", |s| {
            s.line = Line::new(&[Bend {
                start_m: 20.0,
                length_m: 30.0,
                curvature_start_1_m: 0.0,
                curvature_end_1_m: 0.01,
            }]);
        }),
    ];
    let speeds = [SPEED_M_S, 12.0 / 3.6];
    let request = request(&speeds);
    let passes: Vec<u64> = (0..3).collect();
    for (name, setup) in machines() {
        let machines: Vec<Vec<Setup>> = changes
            .iter()
            .map(|(_, change)| {
                let mut setup = setup.clone();
                setup.run.length_m = 40.0;
                change(&mut setup);
                vec![setup; passes.len()]
            })
            .collect();
        let variants: Vec<Variant> = machines
            .iter()
            .map(|setups| Variant {
                kinds: &Kind::ALL,
                setups,
            })
            .collect();
        let together = sim::run_variants(&request, &variants, &passes);
        let mut as_the_first = 0;
        for ((what, _), (found, setups)) in changes.iter().zip(together.iter().zip(&machines)) {
            let alone = sim::run(&request, &Kind::ALL, setups, &passes);
            assert_eq!(format!("{found:?}"), format!("{alone:?}"), "{name}, {what}");
            as_the_first += usize::from(format!("{found:?}") == format!("{:?}", together[0]));
        }
        // A replay has neither wandering driver nor slope; a change that shows nowhere would test nothing.
        assert!(as_the_first <= 4, "{name}: {as_the_first}");
    }
}

/// A driver who looks 25 m ahead cuts a bend of 6 m radius until the tractor stands across the row: the plants that are never met count as
/// cut, so that every speed has the same plants, and a recount of plants one by one finds the same share; the share of some 700 plants that
/// the scatter alone decides differs by a few hundredths.
#[test]
fn prop_a_pass_that_loses_the_row_keeps_its_plants() {
    let speeds = [SPEED_M_S, 12.0 / 3.6];
    let request = request(&speeds);
    let passes: [u64; LANES] = std::array::from_fn(|i| i as u64);
    let ran = |setup: &Setup| sim::run(&request, &Kind::ALL, &vec![setup.clone(); LANES], &passes);
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
    let plants = |under: &sim::PassUnderController| (under.rest.plants, under.entry.plants);
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
                let trace = sim::trace::Trace::of(&setup, view);
                let counted = trace.plants.iter();
                let counted = counted.filter(|plant| plant.station_m >= trace.entry_length_m);
                let (mut cut, mut of) = (0.0, 0.0);
                for plant in counted {
                    cut += f64::from(u8::from(plant.fate == Fate::Cut));
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

/// Expectations at looks against plants and ticks counted one by one on the same passes: tool error within 0.6 of the standard errors that
/// passes of their own would have, plants cut and touched within 5 standard errors of a count (Poisson) and one plant, some 250
/// comparisons.
#[test]
fn analytic_expected_and_counted_plants_agree() {
    const PASSES: u64 = 96;
    let mut setup = Setup::plausible();
    setup.run.length_m = 120.0;
    let rows = setup.rows.offset_m.len();
    let speeds = [SPEED_M_S];
    let setups = vec![setup.clone(); PASSES as usize];
    let passes: Vec<u64> = (0..PASSES).collect();
    let results = sim::run(&request(&speeds), &Kind::ALL, &setups, &passes);
    let mut counted: Vec<Tally> = Kind::ALL
        .iter()
        .map(|_| Tally::new(rows, CLEARANCES_M.len()))
        .collect();
    for pass in 0..PASSES {
        let pass = Pass::drive(&setup, SEED, pass, SPEED_M_S);
        for (tally, kind) in counted.iter_mut().zip(Kind::ALL) {
            let shifted = pass.shift(&setup, kind);
            recount::count(tally, &setup, &pass, &shifted, &CLEARANCES_M);
        }
    }
    let mut compared = 0;
    for (k, kind) in Kind::ALL.into_iter().enumerate() {
        let mut expected = Tally::new(rows, CLEARANCES_M.len());
        for pass in &results {
            expected.add(&pass[0].controllers[k], pass[0].axle);
        }
        let (a, b) = (
            expected.tool_error.spread().unwrap(),
            counted[k].tool_error.spread().unwrap(),
        );
        assert!(
            (a.sd - b.sd).abs() < 0.6 * a.sd_se.hypot(b.sd_se),
            "{} {a:?} {b:?}",
            kind.name()
        );
        let pairs = |expected: &Tally, counted: &Tally| -> Vec<_> {
            let fates = |tally: &Tally| -> Vec<RatioSums> {
                let by_stretch = Stretch::ALL.map(|stretch| tally.on(stretch).clone());
                let of_stretch = by_stretch.into_iter().flat_map(|of| [of.cut, of.touched]);
                of_stretch.chain(tally.rows.clone()).flatten().collect()
            };
            (fates(expected).into_iter().zip(fates(counted)))
                .filter(|(a, b)| a.plants() > 0.0 && b.plants() > 0.0)
                .collect()
        };
        for (a, b) in pairs(&expected, &counted[k]) {
            // The path is the same: what is left is which plants happen to stand where it leads, and what a frame does between two looks.
            let apart = (a.rate() - b.rate()).abs() * b.plants();
            let expected = a.rate() * b.plants();
            assert!(
                apart < 5.0 * expected.sqrt() + 1.0,
                "{} {a:?} {b:?}",
                kind.name()
            );
            compared += 1;
        }
    }
    assert!(compared > 150);
}
