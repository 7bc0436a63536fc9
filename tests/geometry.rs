//! Bends of the row line and steady turns, held against SciPy quadrature and exact plane geometry.
#![allow(missing_docs)]

mod common;

use common::{assert_near, cases, driven_at, number, quiet, references};
use rowroom::model::driver::Driver;
use rowroom::model::hitch::Hitch;
use rowroom::model::line::{Bend, Line};
use rowroom::model::noise::GaussMarkov;
use rowroom::model::setup::Setup;
use rowroom::sim::ground::Ground;
use rowroom::sim::path::{Path, drive};
use serde_json::Value;

const SPEED_M_S: f64 = 2.0;

fn line(bends: &Value) -> Line {
    let bends: Vec<Bend> = bends
        .as_array()
        .expect("bends")
        .iter()
        .map(|bend| Bend {
            start_m: number(bend, "start_m"),
            length_m: number(bend, "length_m"),
            curvature_start_1_m: number(bend, "curvature_start_1_m"),
            curvature_end_1_m: number(bend, "curvature_end_1_m"),
        })
        .collect();
    Line::new(&bends)
}

/// The tabulated bend against SciPy's double integral (quadrature: 1e-12 m), and against the exact plane curve. The bend leaves
/// out that the tangent turns over the distance x: the lateral position loses at most `|x| a²/2` times the
/// angle a = k x, `k³ x⁴/2`, with k the sharpest curvature (on an arc `k³ x⁴/8`).
#[test]
fn val_bends_of_a_line() {
    let file = references("geometry");
    let lines: Vec<Line> = cases(&file, "lines").iter().map(line).collect();
    let mut bent = 0;
    for case in cases(&file, "bends") {
        let line = &lines[number(case, "line") as usize];
        let (s, x) = (number(case, "station_m"), number(case, "behind_m"));
        let found = line.bend_behind_m(s, x);
        assert_near(found, number(case, "bend_m"), 0.0, 1e-12, case);
        assert_near(line.bend_ahead_m(s, -x), found, 0.0, 1e-15, case);
        let third_order = line.sharpest_1_m().powi(3) * x.powi(4) / 2.0;
        assert_near(
            found,
            number(case, "plane_m"),
            0.0,
            third_order + 1e-9,
            case,
        );
        bent += usize::from(found.abs() > 0.01);
    }
    assert!(bent > 20);
}

/// A left arc over the whole pass.
fn on_arc(radius_m: f64) -> Setup {
    let mut setup = quiet();
    setup.line = Line::new(&[Bend {
        start_m: 0.0,
        length_m: 2000.0,
        curvature_start_1_m: 1.0 / radius_m,
        curvature_end_1_m: 1.0 / radius_m,
    }]);
    setup
}

fn path_of(setup: &Setup) -> Path {
    drive(setup, &Ground::draw(setup, 1, 0), 1, 0, SPEED_M_S)
}

/// Off-tracking with the axle on the arc, against exact circles (sqrt(R² + x²) - R and R - sqrt(R² + h² - l²)) and the
/// rolling carrier integrated by SciPy. The crate's bend leaves out the third order, `k³ x⁴/8` with x the distance
/// from the axle to the point.
#[test]
fn val_off_tracking_in_steady_turns() {
    let file = references("geometry");
    for case in cases(&file, "turns") {
        let radius_m = number(case, "radius_m");
        let mut setup = on_arc(radius_m);
        setup.driver = driven_at(0.0);
        let behind_m = number(case, "behind_m");
        let hitch_m = number(case, "hitch_m");
        setup.hitch = match case["carrier_m"].as_f64() {
            Some(carrier_m) => Hitch::Drawn {
                hitch_m,
                carrier_m,
                implement_crab_rad: 0.0,
            },
            None => Hitch::Rigid {
                sway: GaussMarkov::OFF,
                free_play_m: 0.0,
            },
        };
        setup.tools.tool_line_m = hitch_m + behind_m;
        let path = path_of(&setup);
        let found = *path.frame_m.last().unwrap();
        let third_order = (hitch_m + behind_m).powi(4) / (8.0 * radius_m.powi(3));
        assert_near(
            found,
            number(case, "offset_m"),
            0.0,
            third_order + 1e-9,
            case,
        );
    }
}

/// Published in the model's text: on a 100 m left arc a rigid point 2.2 m behind the axle stands 24.2 mm outside, a drawn one
/// with h = 1 m, l = 3 m 40.0 mm inside; the hand driver (L 2.5 m, d 8 m) adds 0.07 mm inside. All digits.
#[test]
fn val_off_tracking_in_millimetres() {
    let file = references("geometry");
    let offset_mm = |behind_m: f64, carrier: bool| {
        let list = cases(&file, "turns");
        let case = list.iter().find(|case| {
            number(case, "radius_m") == 100.0
                && number(case, "behind_m") == behind_m
                && case["carrier_m"].is_null() != carrier
        });
        1e3 * number(case.expect("that turn"), "offset_m")
    };
    assert_near(offset_mm(2.2, false), -24.2, 0.0, 0.05, "rigid");
    assert_near(offset_mm(3.0, true), 40.0, 0.0, 0.05, "drawn");
    let driver_mm = 1e3 * number(&file["drivers"][0], "offset_m");
    assert_near(driver_mm, 0.07, 0.0, 0.005, "driver");
}

/// The hand driver's steady offset on an arc, against the exact steady state (SciPy 1.17.1). Settled after a drive of
/// more than 20 previews to 1e-8 m; steady states do not depend on the tick.
#[test]
fn val_driver_on_an_arc() {
    let file = references("geometry");
    for case in cases(&file, "drivers") {
        let mut setup = on_arc(number(case, "radius_m"));
        setup.run.length_m = 300.0;
        setup.tractor.wheelbase_m = number(case, "wheelbase_m");
        let Driver::Hand(hand) = &mut setup.driver else {
            panic!("a hand driver")
        };
        hand.preview_min_m = number(case, "preview_m");
        hand.preview_time_s = 0.0;
        let path = path_of(&setup);
        let found = *path.axle_m.last().unwrap();
        assert_near(found, number(case, "offset_m"), 0.0, 1e-8, case);
    }
}

/// On a side slope: tractor crab 0 and implement crab -2 deg give theta = +2 deg (the implement points uphill), exactly, since
/// both tangents are those of the same wheels.
#[test]
fn analytic_a_drawn_implement_points_uphill() {
    let mut setup = quiet();
    setup.driver = driven_at(0.0);
    let crab_rad = -2_f64.to_radians();
    setup.hitch = Hitch::Drawn {
        hitch_m: 1.0,
        carrier_m: 3.0,
        implement_crab_rad: crab_rad,
    };
    setup.tools.tool_line_m = 4.0;
    let path = path_of(&setup);
    let last = path.frame_sin.len() - 1;
    assert_near(
        libm::asin(path.frame_sin[last]),
        -crab_rad,
        1e-3,
        0.0,
        "theta",
    );
    assert_near(
        path.frame_m[last],
        -3.0 * path.frame_sin[last],
        1e-9,
        0.0,
        "hangs downhill",
    );
}
