//! Cylinder speed, flow and force, held against textbook exercises and the two metering edges solved apart.

use crate::common::{assert_near, cases, number, references};
use rowroom::model::hydraulics::{Hydraulics, Stroke};
use rowroom::model::setup::Setup;
use serde_json::Value;

/// Closed form against root finding to rounding.
const ROUNDING: f64 = 1e-9;

/// Textbook exercises: v = Q/A, F = p A. The US rule has four digits.
#[test]
fn val_cylinder_exercises() {
    let file = references("hydraulics");
    for case in cases(&file, "exercises") {
        let mut hydraulics = Setup::plausible().hydraulics;
        hydraulics.bore_m = number(case, "bore_m");
        hydraulics.pump_m3_s = number(case, "flow_m3_s");
        let digits = if case["what"].as_str().unwrap().contains("four digits") {
            5e-4
        } else {
            ROUNDING
        };
        let speed_m_s = hydraulics.pump_speed_m_s(Stroke::Extending);
        assert_near(speed_m_s, number(case, "speed_m_s"), digits, 0.0, case);
        if let Some(force_n) = case.get("force_n").and_then(Value::as_f64) {
            hydraulics.supply_pa = number(case, "pressure_pa");
            hydraulics.return_pa = 0.0;
            let found = hydraulics.stall_force_n(Stroke::Extending);
            assert_near(found, force_n, ROUNDING, 0.0, case);
        }
    }
}

/// 36 L/min into a 40 mm bore: 28 648 mm/min (textbook exercise, all digits).
#[test]
fn val_forty_millimetre_bore_published() {
    let mut hydraulics = Setup::plausible().hydraulics;
    hydraulics.bore_m = 0.040;
    hydraulics.pump_m3_s = 36.0e-3 / 60.0;
    let mm_per_minute = hydraulics.pump_speed_m_s(Stroke::Extending) * 60e3;
    assert_near(mm_per_minute, 28_648.0, 0.0, 0.5, "mm/min");
}

fn machine(case: &Value) -> Hydraulics {
    let mut hydraulics = Setup::plausible().hydraulics;
    hydraulics.bore_m = number(case, "bore_m");
    hydraulics.rod_m = number(case, "rod_m");
    hydraulics.supply_pa = number(case, "supply_pa");
    hydraulics.return_pa = number(case, "return_pa");
    hydraulics.pump_m3_s = number(case, "pump_m3_s");
    hydraulics.friction_n = number(case, "friction_n");
    hydraulics.extends_left = true;
    hydraulics.side_force_n = -number(case, "force_against_extension_n");
    hydraulics
}

/// Both metering edges and the force balance solved by SciPy 1.17.1.
#[test]
fn val_valve_speed_of_an_unequal_cylinder() {
    let file = references("hydraulics");
    let mut standing = 0;
    for case in cases(&file, "valves") {
        let mut hydraulics = machine(case);
        let way = if case["extending"].as_bool().unwrap() {
            Stroke::Extending
        } else {
            Stroke::Retracting
        };
        let (flow, drop) = (
            number(case, "rated_flow_m3_s"),
            number(case, "rated_drop_pa"),
        );
        for mirrored in [false, true] {
            if mirrored {
                // The same cylinder built in the other way round: the force turns with it.
                hydraulics.extends_left = false;
                hydraulics.side_force_n = -hydraulics.side_force_n;
            }
            let loaded = hydraulics.metered_speed_m_s(flow, drop, way, true);
            let free = hydraulics.metered_speed_m_s(flow, drop, way, false);
            assert_near(loaded, number(case, "metered_m_s"), ROUNDING, 1e-12, case);
            assert_near(free, number(case, "unloaded_m_s"), ROUNDING, 1e-12, case);
            standing += usize::from(loaded == 0.0);
        }
        assert_near(
            hydraulics.pump_speed_m_s(way),
            number(case, "pump_m_s"),
            ROUNDING,
            0.0,
            case,
        );
        assert_near(
            hydraulics.stall_force_n(way),
            number(case, "stall_force_n"),
            ROUNDING,
            0.0,
            case,
        );
    }
    assert!(standing > 0, "no case in which the load holds the cylinder");
}
