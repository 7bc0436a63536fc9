//! What is said of a loop that would run away.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::model::controller::Kind;

/// Gain margin that a suggested change leaves (common practice, no source: 6 dB).
pub(super) const SUGGESTED_GAIN_MARGIN: f64 = 2.0;

/// A loop that would run away, and what would calm it.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "loop", rename_all = "snake_case")]
pub enum Unstable {
    /// The controller's feedback loop.
    #[error("{}", describe_loop(kind.loop_name(), *speed_m_s, *gain_1_s, *gain_margin, *gain_that_would_do_1_s))]
    Loop {
        /// Controller.
        kind: Kind,
        /// Speed, m/s.
        speed_m_s: f64,
        /// Its gain, 1/s.
        gain_1_s: f64,
        /// Factor on the gain, below 1, at which it turns stable; `None` if none does.
        gain_margin: Option<f64>,
        /// Gain that would leave a gain margin of 2, 1/s.
        gain_that_would_do_1_s: Option<f64>,
    },
    /// The person at the wheel.
    #[error(
        "the driver's steering is unstable at {}: a preview of {} is too short for the reaction time and steering lag; {} would do (gain margin 2)",
        speed(*.speed_m_s), distance(*.preview_m), distance(*.preview_that_would_do_m)
    )]
    HandSteering {
        /// Speed, m/s.
        speed_m_s: f64,
        /// Preview distance, m.
        preview_m: f64,
        /// Preview distance that would leave a gain margin of 2, m.
        preview_that_would_do_m: f64,
    },
    /// The satellite steering.
    #[error(
        "the satellite steering is unstable at {}: {frequency_rad_s:.2} rad/s is too fast for the steering lag; {frequency_that_would_do_rad_s:.2} rad/s would do",
        speed(*.speed_m_s)
    )]
    SatelliteSteering {
        /// Speed, m/s.
        speed_m_s: f64,
        /// Natural frequency, rad/s.
        frequency_rad_s: f64,
        /// Half of the highest stable frequency, rad/s.
        frequency_that_would_do_rad_s: f64,
    },
}

/// "8.0 km/h (5.0 mph)": the scenario's units are not known here.
fn speed(speed_m_s: f64) -> String {
    format!(
        "{:.1} km/h ({:.1} mph)",
        speed_m_s * 3.6,
        speed_m_s / 0.44704
    )
}

/// "8.0 m (26.2 ft)".
fn distance(length_m: f64) -> String {
    format!("{length_m:.1} m ({:.1} ft)", length_m / 0.3048)
}

fn describe_loop(
    name: &str,
    speed_m_s: f64,
    gain_1_s: f64,
    margin: Option<f64>,
    would_do_1_s: Option<f64>,
) -> String {
    let speed = speed(speed_m_s);
    match (margin, would_do_1_s) {
        (Some(margin), Some(would_do)) => format!(
            "the {name} is unstable at {speed}: gain {gain_1_s:.3} 1/s is {:.2} times too high; {would_do:.3} 1/s would do (gain margin {SUGGESTED_GAIN_MARGIN})",
            1.0 / margin
        ),
        _ => format!(
            "the {name} is unstable at {speed}: gain {gain_1_s:.3} 1/s, and no smaller gain would do; its other settings do not suit the delays"
        ),
    }
}
