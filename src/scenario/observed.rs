//! Wander of the axle as somebody observed it, instead of the intensity of its causes.

use super::build::{self, Fixed, Numbers};
use super::check::contradicts;
use super::keys::Id;
use super::read::Read;
use super::values::Values;
use crate::linear::axle_wander;

/// Factor on the driver's (satellite line: the receiver's) noises at which the linear check meets the observed wander, all
/// parameters nominal: `g² = (observed² - V_row) / (V_see + V_steer)`. 1 without an observed wander, or where none meets it,
/// which is noted as a problem. The wander of satellite steering does not depend on speed, so any will do there.
pub fn wander_factor(read: &mut Read, values: &Values, fixed: &Fixed) -> f64 {
    let at_any_speed = values.number(Id::WorkingSpeed);
    for (id, speed_m_s) in [
        (Id::HandObserved, values.number(Id::HandObservedAt)),
        (Id::LineObserved, at_any_speed),
    ] {
        let (Some(observed_m), Some(speed_m_s)) = (values.number(id), speed_m_s) else {
            continue;
        };
        let setup = build::setup(values, fixed, &Numbers::nominal(values));
        let Some(wander) = axle_wander(&setup, speed_m_s) else {
            contradicts(read, id, |shown| {
                format!(
                    "{shown} cannot be met: the steering is not stable at that speed; a longer preview, a shorter reaction time or a lower natural frequency would steady it"
                )
            });
            continue;
        };
        let scaled_m2 = wander.variance_m2() - wander.row;
        let wanted_m2 = observed_m * observed_m - wander.row;
        if wanted_m2 <= 0.0 {
            let least_m = wander.row.sqrt();
            contradicts(read, id, |shown| {
                format!(
                    "{shown} is less than the row's own wander leaves at that speed; it must exceed {:.1} mm",
                    libm::ceil(least_m * 1e4) / 10.0
                )
            });
        } else if scaled_m2 <= 0.0 {
            contradicts(read, id, |shown| {
                format!("{shown} cannot be met: both noises that it scales are 0")
            });
        } else {
            return (wanted_m2 / scaled_m2).sqrt();
        }
    }
    1.0
}
