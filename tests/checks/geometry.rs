//! Bends of the row line and steady turns, held against SciPy quadrature and exact plane geometry.

use crate::common::{assert_near, cases, driven_at, number, quiet, references};
use rowroom::model::driver::Driver;
use rowroom::model::hitch::Hitch;
use rowroom::model::line::{Bend, Line};
use rowroom::model::noise::GaussMarkov;
use rowroom::model::setup::Setup;
use rowroom::sim::pass::{Pass, Path};
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
    Pass::drive(setup, 1, 0, SPEED_M_S).path
}

/// The tool point of a machine whose axle is driven along an arc, m from the arc, left positive.
fn tool_point_on_arc_m(radius_m: f64, hitch_m: f64, carrier_m: Option<f64>, behind_m: f64) -> f64 {
    let mut setup = on_arc(radius_m);
    setup.driver = driven_at(0.0);
    setup.hitch = match carrier_m {
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
    *path_of(&setup).frame_m.last().unwrap()
}

/// Off-tracking with the axle on the arc, against exact circles (sqrt(R² + x²) - R and R - sqrt(R² + h² - l²)) and the
/// rolling carrier integrated by SciPy. The crate takes the line's distance from its tangent for `k x²/2`; with x = h + b
/// and the carrier's angle k (h + l) that leaves out `k³ [x⁴/8 + b (h + l) x (h + l - x)/2]`, added here. The next
/// order is at most `k⁵ X⁶`, X the longer of h + b and h + l.
#[test]
fn val_off_tracking_in_steady_turns() {
    let file = references("geometry");
    for case in cases(&file, "turns") {
        let (hitch_m, behind_m) = (number(case, "hitch_m"), number(case, "behind_m"));
        let (k, carrier_m) = (1.0 / number(case, "radius_m"), case["carrier_m"].as_f64());
        let found = tool_point_on_arc_m(1.0 / k, hitch_m, carrier_m, behind_m);
        let x = hitch_m + behind_m;
        let turned = carrier_m.map_or(0.0, |carrier_m| {
            let whole = hitch_m + carrier_m;
            behind_m * whole * x * (whole - x) / 2.0
        });
        let left_out = k.powi(3) * (x.powi(4) / 8.0 + turned);
        let longer = x.abs().max(hitch_m + carrier_m.unwrap_or(0.0));
        let next = k.powi(5) * longer.powi(6);
        assert_near(
            found + left_out,
            number(case, "offset_m"),
            0.0,
            next + 1e-9,
            case,
        );
    }
}

/// Closed forms with the digits that a textbook prints: on a 100 m left arc a rigid point 2.2 m behind the axle stands 24.2 mm
/// outside, a drawn one with h = 1 m, l = 3 m 40.0 mm inside. Half a unit of the last digit.
#[test]
fn val_off_tracking_in_millimetres() {
    let rigid_mm = 1e3 * tool_point_on_arc_m(100.0, 0.0, None, 2.2);
    let drawn_mm = 1e3 * tool_point_on_arc_m(100.0, 1.0, Some(3.0), 3.0);
    assert_near(rigid_mm, -24.2, 0.0, 0.05, "rigid");
    assert_near(drawn_mm, 40.0, 0.0, 0.05, "drawn");
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
    let shown_mm = 1e3 * number(&file["drivers"][0], "offset_m");
    assert_near(
        shown_mm,
        0.07,
        0.0,
        0.005,
        "L 2.5 m, d 8 m, 100 m arc: 0.07 mm inside",
    );
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
