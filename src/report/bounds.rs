//! What bounds the speed, in words.

use super::display::Units;
use crate::results::answers::{Bound, Holds, SpeedLimit};

/// "plants cut", the bound's name in a list.
pub fn name(bound: Bound) -> &'static str {
    match bound {
        Bound::CutPlants => "plants cut",
        Bound::ThrownSoil => "soil thrown onto the plants",
        Bound::TractorPower => "the tractor's power",
        Bound::Oil => "the oil that moves the frame",
        Bound::CameraSight => "what the camera sees in time",
        Bound::DaysAvailable => "days available",
        Bound::SimulatedSpeeds => "the end of the simulated speeds",
    }
}

/// "soil flies as far as the plants": what happens where the bound is broken.
pub fn broken(bound: Bound) -> &'static str {
    match bound {
        Bound::CutPlants => "more plants may be cut than allowed",
        Bound::ThrownSoil => "soil flies as far as the plants, which may not be covered",
        Bound::TractorPower => "the pull takes more than the tractor's power",
        Bound::Oil => "the rows ask for faster shifting than the oil allows",
        Bound::CameraSight => "the tools are there before the frame can answer what the camera saw",
        Bound::DaysAvailable => "a round takes more days than soil and weather allow",
        Bound::SimulatedSpeeds => "nothing was simulated",
    }
}

/// "up to 7.3 km/h", "at no simulated speed".
pub fn holds(limit: &SpeedLimit, units: Units) -> String {
    let speed = |m_s: f64| format!("{} {}", units.speed_limit(m_s), units.speed_unit());
    match (limit.holds, limit.speed_m_s) {
        (Holds::UpTo, Some(m_s)) => format!("up to {}", speed(m_s)),
        (Holds::From, Some(m_s)) => {
            format!("from {} {} on", units.speed_least(m_s), units.speed_unit())
        }
        (Holds::Never, _) => "at no simulated speed".to_owned(),
        _ => "at every simulated speed".to_owned(),
    }
}

/// "soil flies as far as the plants; more plants may be cut than allowed".
pub fn all_broken(bounds: &[Bound]) -> String {
    let told: Vec<&str> = bounds.iter().map(|&bound| broken(bound)).collect();
    told.join("; ")
}
