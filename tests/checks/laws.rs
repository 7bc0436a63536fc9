//! Laws that every pass must obey, whatever the numbers.

use crate::common::recount;
use rowroom::model::controller::Kind;
use rowroom::model::driver::Driver;
use rowroom::model::hitch::Hitch;
use rowroom::model::line::{Bend, Line};
use rowroom::model::noise::GaussMarkov;
use rowroom::model::setup::Setup;
use rowroom::montecarlo::tally::Tally;
use rowroom::results::Stretch;
use rowroom::sim::pass::{Pass, Shifted};

const SPEED_M_S: f64 = 8.0 / 3.6;

/// The plausible machine with every noise off, on a straight level row, entered without offset.
fn quiet() -> Setup {
    let mut setup = Setup::plausible();
    let off = GaussMarkov::OFF;
    if let Driver::Hand(hand) = &mut setup.driver {
        hand.seeing = off;
        hand.steering = off;
    }
    if let Hitch::Rigid { sway, .. } = &mut setup.hitch {
        *sway = off;
    }
    setup.rows.wander.sd = 0.0;
    setup.rows.unit_sd_m = 0.0;
    setup.rows.join_sd_m = 0.0;
    setup.plants.scatter_sd_m = 0.0;
    setup.tools.setting_sd_m = 0.0;
    setup.camera.white_sd_m = 0.0;
    setup.camera.appearance = off;
    setup.camera.roll_still_sd_rad = 0.0;
    setup.camera.roll_ground_sd_rad = 0.0;
    setup.camera.blind_share = 0.0;
    setup.camera.outlier_share = 0.0;
    setup.position_sensor.as_mut().unwrap().noise_sd_m = 0.0;
    let yaw = setup.yaw_sensor.as_mut().unwrap();
    yaw.noise = off;
    yaw.bias_rad_s = 0.0;
    setup.run.entry_offset_m = 0.0;
    setup.run.entry_heading_rad = 0.0;
    setup.run.entry_shift_m = 0.0;
    setup
}

#[test]
fn prop_without_noise_nothing_is_cut_or_touched() {
    let mut setup = quiet();
    setup.hydraulics.side_force_n = 0.0;
    let clearances = [setup.plants.protected_radius_m + 1e-6, 0.05];
    let drive = Pass::drive(&setup, 3, 0, SPEED_M_S);
    for kind in Kind::ALL {
        let mut tally = Tally::new(setup.rows.offset_m.len(), clearances.len());
        let shift = drive.shift(&setup, kind);
        recount::count(&mut tally, &setup, &drive, &shift, &clearances);
        assert!(tally.rest.cut[0].plants() > 1000.0);
        for fates in Stretch::ALL.map(|stretch| tally.on(stretch)) {
            for sums in fates.cut.iter().chain(&fates.touched) {
                assert_eq!(sums.hits(), 0.0, "{}", kind.name());
            }
        }
    }
}

#[test]
fn prop_a_smaller_clearance_never_spares_more() {
    let setup = Setup::plausible();
    let clearances: Vec<f64> = (1..30).map(|i| f64::from(i) * 0.004).collect();
    for pass in 0..3 {
        let drive = Pass::drive(&setup, 5, pass, SPEED_M_S);
        for kind in Kind::ALL {
            let mut tally = Tally::new(setup.rows.offset_m.len(), clearances.len());
            let shift = drive.shift(&setup, kind);
            recount::count(&mut tally, &setup, &drive, &shift, &clearances);
            let whole = &tally.whole;
            for pair in whole.cut.windows(2) {
                assert!(pair[0].hits() >= pair[1].hits());
            }
            let met: Vec<f64> = (whole.cut.iter().zip(&whole.touched))
                .map(|(cut, touched)| cut.hits() + touched.hits())
                .collect();
            assert!(met.windows(2).all(|pair| pair[0] >= pair[1]));
            assert!(whole.cut[0].hits() > 0.0, "the law must not be empty");
        }
    }
}

/// Seen in a mirror, with rod side, edges, slope and bends mirrored too, every pass is its own mirror image: without noise
/// exactly so, to rounding.
#[test]
fn prop_mirror_symmetry() {
    let bend = |side: f64| {
        Line::new(&[Bend {
            start_m: 30.0,
            length_m: 60.0,
            curvature_start_1_m: 0.0,
            curvature_end_1_m: side / 80.0,
        }])
    };
    let mut left = quiet();
    left.line = bend(1.0);
    left.tractor.crab_rad = -0.01;
    left.hydraulics.side_force_n = -800.0;
    left.hydraulics.friction_n = 200.0;
    left.hydraulics.extends_left = true;
    left.run.entry_offset_m = 0.05;
    left.run.entry_heading_rad = 0.01;
    left.tools.left_edge_behind_m = 0.2;
    left.tools.right_edge_behind_m = -0.1;
    left.camera.alignment_m = 0.004;
    let mut right = left.clone();
    right.line = bend(-1.0);
    right.tractor.crab_rad = 0.01;
    right.hydraulics.side_force_n = 800.0;
    right.hydraulics.extends_left = false;
    right.run.entry_offset_m = -0.05;
    right.run.entry_heading_rad = -0.01;
    right.tools.left_edge_behind_m = -0.1;
    right.tools.right_edge_behind_m = 0.2;
    right.camera.alignment_m = -0.004;
    right.rows.offset_m = left.rows.offset_m.iter().rev().map(|y| -y).collect();
    let drive = |setup: &Setup| Pass::drive(setup, 1, 0, SPEED_M_S);
    let (drive_left, drive_right) = (drive(&left), drive(&right));
    for kind in Kind::ALL {
        let a = drive_left.shift(&left, kind);
        let b = drive_right.shift(&right, kind);
        let apart = a.shift_m.iter().zip(&b.shift_m).map(|(a, b)| (a + b).abs());
        assert!(apart.fold(0.0, f64::max) < 1e-9, "{}", kind.name());
        let moved = a.shift_m.iter().fold(0.0, |most: f64, q| most.max(q.abs()));
        assert!(kind == Kind::Locked || moved > 0.02, "{}", kind.name());
        // Same plants (same streams) on mirrored rows need the same clearance.
        let rows = left.rows.offset_m.len();
        let needed = |meetings: &[rowroom::sim::plants::Meeting], shift: &Shifted, row: usize| {
            meetings
                .iter()
                .filter(|meeting| meeting.row == row)
                .map(|meeting| meeting.needed_m(&shift.shift_m))
                .fold(0.0, f64::max)
        };
        for row in 0..rows {
            let l = needed(&drive_left.meetings, &a, row);
            let r = needed(&drive_right.meetings, &b, rows - 1 - row);
            // The plants of mirrored rows come from different draws: the worst of 1000 plants over a smooth path differs by
            // less than the path can change within one plant spacing.
            assert!((l - r).abs() < 2e-3, "{} row {row}: {l} {r}", kind.name());
        }
    }
}

/// Closed forms of a steady left arc of 100 m: the rigid tool point stands x²k/2 outside, the hand driver
/// `(d²/2L)(L k - atan(L k))` inside.
#[test]
fn analytic_steady_arc_rigid() {
    let mut setup = quiet();
    let k = 0.01;
    setup.line = Line::new(&[Bend {
        start_m: 20.0,
        length_m: 400.0,
        curvature_start_1_m: k,
        curvature_end_1_m: k,
    }]);
    let path = Pass::drive(&setup, 1, 0, SPEED_M_S).path;
    let last = path.station_m.len() - 1;
    let Driver::Hand(hand) = setup.driver else {
        panic!("a hand driver")
    };
    let (d, wheelbase) = (hand.preview_m(SPEED_M_S), setup.tractor.wheelbase_m);
    let inside = d * d / (2.0 * wheelbase) * (wheelbase * k - libm::atan(wheelbase * k));
    let tool = setup.tools.tool_line_m;
    // Second order in k: the exact circle and the small-angle bend differ by k³x⁴/8 (< 0.1 µm); the driver's sine by k d.
    assert!(
        (path.axle_m[last] - inside).abs() < 2e-5,
        "{}",
        path.axle_m[last]
    );
    let outside = path.frame_m[last] - path.axle_m[last];
    assert!((outside + 0.5 * k * tool * tool).abs() < 2e-5, "{outside}");
}

/// Halving the tick must divide the change of a smooth deterministic path by about four (midpoint rule).
#[test]
fn analytic_the_drive_converges_with_second_order() {
    // Curvature ramps without jumps; a jump at lowering would be smeared over one tick of the driver's memory.
    let mut setup = quiet();
    setup.line = Line::new(&[
        Bend {
            start_m: 10.0,
            length_m: 50.0,
            curvature_start_1_m: 0.0,
            curvature_end_1_m: 0.02,
        },
        Bend {
            start_m: 60.0,
            length_m: 50.0,
            curvature_start_1_m: 0.02,
            curvature_end_1_m: 0.0,
        },
    ]);
    let offset_at = |step_s: f64| {
        let mut setup = setup.clone();
        setup.run.step_s = step_s;
        let path = Pass::drive(&setup, 1, 0, SPEED_M_S).path;
        // Compared at distances, since the first tick of a run depends on the tick.
        [30.0, 55.0, 80.0, 105.0].map(|station_m| {
            let tick = path.station_m.partition_point(|&s| s < station_m);
            let part = (station_m - path.station_m[tick - 1])
                / (path.station_m[tick] - path.station_m[tick - 1]);
            path.axle_m[tick - 1] + part * (path.axle_m[tick] - path.axle_m[tick - 1])
        })
    };
    let [coarse, middle, fine] = [0.02, 0.01, 0.005].map(offset_at);
    for i in 0..coarse.len() {
        let (first, second) = (coarse[i] - middle[i], middle[i] - fine[i]);
        // The interpolation at a station adds errors of the same order, so 3 instead of 4 is asked for.
        assert!(
            second.abs() < 1e-7 || first.abs() > 3.0 * second.abs(),
            "{i}: {first:e} {second:e}"
        );
    }
}

/// The side-shift at ticks of 5 ms and below: what it does to a deterministic entry jump must not depend on the tick.
#[test]
fn analytic_the_side_shift_converges() {
    let mut setup = quiet();
    setup.run.entry_offset_m = 0.06;
    for kind in [
        Kind::Pid,
        Kind::LagCompensated,
        Kind::LagCompensatedYaw,
        Kind::OnOff,
    ] {
        let at = |step_s: f64| {
            let mut setup = setup.clone();
            setup.run.step_s = step_s;
            let drive = Pass::drive(&setup, 1, 0, SPEED_M_S);
            let shift = drive.shift(&setup, kind);
            let path = &drive.path;
            [0.5, 1.0, 1.5, 3.0].map(|time_s| path.at(&shift.shift_m, time_s))
        };
        let (coarse, fine) = (at(0.005), at(0.00125));
        for (coarse, fine) in coarse.into_iter().zip(fine) {
            // Full speed is 0.25 m/s: a quarter of a tick of it is 0.3 mm.
            assert!(
                (coarse - fine).abs() < 3e-4,
                "{}: {coarse} {fine}",
                kind.name()
            );
        }
    }
}

/// Halving the tick must not change the statistics of the drive and the tool error (3 standard errors of the difference,
/// taken as independent).
#[test]
fn analytic_statistics_do_not_depend_on_the_step() {
    let spread = |step_s: f64| {
        let mut setup = Setup::plausible();
        setup.run.step_s = step_s;
        setup.run.entry_length_m = 30.0;
        let mut tally = Tally::new(setup.rows.offset_m.len(), 1);
        for pass in 0..30 {
            let drive = Pass::drive(&setup, 9, pass, SPEED_M_S);
            let shift = drive.shift(&setup, Kind::LagCompensated);
            recount::count(&mut tally, &setup, &drive, &shift, &[0.05]);
        }
        (
            tally.tool_error.spread().unwrap(),
            tally.axle.spread().unwrap(),
        )
    };
    let ((tool_a, axle_a), (tool_b, axle_b)) = (spread(0.005), spread(0.0025));
    for (a, b) in [(tool_a, tool_b), (axle_a, axle_b)] {
        let se = a.sd_se.hypot(b.sd_se);
        assert!((a.sd - b.sd).abs() < 3.0 * se, "{} {} {se}", a.sd, b.sd);
    }
}
