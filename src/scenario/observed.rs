//! Wander of the axle as somebody observed it, instead of the intensity of its causes.

use super::build::{self, Fixed, Numbers};
use super::check::contradicts;
use super::keys::{self, Id, Key, Shape};
use super::read::Read;
use super::units;
use super::values::Values;
use crate::linear::axle_wander;
use crate::model::driver::STEADY_LINE_M_S;
use crate::quote::quoted;

/// What the linear check makes of the noises as they are given, all parameters nominal.
#[derive(Clone, Copy, Debug)]
pub struct Observed {
    /// Key of the observed wander.
    pub id: Id,
    /// Variance that the row leaves, m².
    row_m2: f64,
    /// Variance of the noises that are scaled, m².
    scaled_m2: f64,
}

impl Observed {
    /// Factor on the driver's (satellite line: the receiver's) noises that meets a wander, m:
    /// `g² = (observed² - V_row) / (V_see + V_steer)`; 0 where the row alone leaves more.
    pub fn factor(&self, observed_m: f64) -> f64 {
        ((observed_m * observed_m - self.row_m2).max(0.0) / self.scaled_m2).sqrt()
    }
}

/// How an observed wander is met; `None` without one, or where none meets it, which is noted as a problem, as is a factor that takes a
/// noise out of the range of its key. The wander of satellite steering does not depend on speed as long as that is low, so any such will
/// do there.
pub fn observed(read: &mut Read, values: &Values, fixed: &Fixed) -> Option<Observed> {
    for (id, speed_m_s) in [
        (Id::HandObserved, values.number(Id::HandObservedAt)),
        (Id::LineObserved, Some(STEADY_LINE_M_S)),
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
            // Upwards, as the limit is none that may be fallen short of.
            let least_m = libm::ceil(wander.row.sqrt() * 1e4) / 1e4;
            let least = match values.text(Id::StudyUnits) {
                Some("us") => format!("{:.2} in", libm::ceil(100.0 * least_m / 0.0254) / 100.0),
                _ => format!("{:.1} mm", 1000.0 * least_m),
            };
            contradicts(read, id, |shown| {
                format!(
                    "{shown} is less than the row's own wander leaves at that speed; it must exceed {least}"
                )
            });
        } else if scaled_m2 <= 0.0 {
            contradicts(read, id, |shown| {
                format!("{shown} cannot be met: both noises that it scales are 0")
            });
        } else {
            let found = Observed {
                id,
                row_m2: wander.row,
                scaled_m2,
            };
            within_their_ranges(read, values, id, found.factor(observed_m));
            return Some(found);
        }
    }
    None
}

/// Notes that a noise would have to grow beyond what its own key allows, the one that is farthest beyond.
fn within_their_ranges(read: &mut Read, values: &Values, observed: Id, factor: f64) {
    let noises = match observed {
        Id::HandObserved => [Id::SeeingSd, Id::SteeringSd],
        _ => [Id::ReceiverSd, Id::DriftSd],
    };
    let beyond = |id: Id| Some(factor * values.number(id)? / keys::key(id).range()?.1);
    let shares = noises.map(|id| beyond(id).unwrap_or(0.0));
    let worst = usize::from(shares[1] > shares[0]);
    if shares[worst] <= 1.0 {
        return;
    }
    let (key, other) = (keys::key(noises[worst]), keys::key(noises[1 - worst]));
    let Some(stated) = values.stated(key.id) else {
        return;
    };
    let needed = values.number(key.id).map_or(f64::NAN, |sd| factor * sd);
    let (scaled, stated) = (in_unit_of(key, needed), quoted(&stated.written));
    contradicts(read, observed, |shown| {
        format!(
            "{shown} would need {path} of {scaled}, {factor} times {stated}; allowed {}. Observe again, or give {path} and {} as large as they are",
            key.allowed(),
            other.path(),
            path = key.path(),
            factor = units::short(factor),
        )
    });
}

/// A number in the unit in which the language states the limits of its key.
fn in_unit_of(key: &Key, si: f64) -> String {
    let Shape::Quantity { quantity, high, .. } = key.shape else {
        return units::short(si);
    };
    match units::parse(high, quantity) {
        Ok(limit) => format!(
            "{} {}",
            units::short(limit.unit.from_si(si)),
            limit.unit.name
        ),
        Err(_) => units::short(si),
    }
}
