//! The controllers: one file each, with its settings, the parts that it needs, its law and its linear form, and one table.
//!
//! A controller that stands in the table is simulated, checked against its linear form, studied, compared and shown like the others.

pub mod lag_compensated;
pub mod lag_compensated_yaw;
pub mod law;
pub mod linear;
pub mod locked;
pub mod on_off;
pub mod pid;

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use lag_compensated::LagCompensation;
pub use on_off::OnOff;
pub use pid::Pid;

use super::camera::Mount;
use super::setup::Setup;
use super::vector::Lanes;
use law::{Arrival, Asked, Law};
use linear::{Feedback, Lead, Linear};

/// What every controller has to say of itself.
pub trait Controller {
    /// Fixed name in scenarios and every output.
    const NAME: &'static str;

    /// What people call its feedback loop; empty if it has none.
    const LOOP: &'static str;

    /// The valve that it drives; `None`: the frame stays where it is.
    const VALVE: Option<ValveKind>;

    /// Its law with its memory.
    type Law<const N: usize>: Law<N>;

    /// The first part that a machine lacks for it; `None`: it can run.
    fn lacks(setup: &Setup) -> Option<Lack>;

    /// Its law on a machine at a speed, m/s, above 0; `None` where a part is missing.
    fn law<const N: usize>(setup: &Setup, speed_m_s: f64) -> Option<Self::Law<N>>;

    /// The same without limits; `None` if it has no linear form, or where a part is missing.
    fn linear(setup: &Setup, speed_m_s: f64) -> Option<Box<dyn Linear>>;

    /// Its feedback loop, with `more_dead_s` (s) more of the valve's real dead time; `None` if it has none.
    fn feedback(setup: &Setup, speed_m_s: f64, more_dead_s: f64) -> Option<Feedback>;

    /// What it takes off the lookahead; `None` if it does not wait for the row.
    fn lead(setup: &Setup, speed_m_s: f64) -> Option<Lead>;
}

/// Kinds of valves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValveKind {
    /// Opens and closes.
    Directional,
    /// Opens as far as it is told.
    Proportional,
}

/// A part that a controller needs and a machine lacks.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, thiserror::Error, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Lack {
    /// A directional valve.
    #[error("the machine has no directional valve")]
    DirectionalValve,
    /// A proportional valve.
    #[error("the machine has no proportional valve")]
    ProportionalValve,
    /// The controller's own settings.
    #[error("the scenario has no settings for it")]
    Settings,
    /// A position sensor, because the camera rides on the fixed frame.
    #[error("a camera on the fixed frame needs a position sensor")]
    PositionForFixedCamera,
    /// A position sensor on the side-shift.
    #[error("the machine has no position sensor on the side-shift")]
    PositionSensor,
    /// A yaw-rate sensor.
    #[error("the machine has no yaw-rate sensor")]
    YawRateSensor,
}

impl Lack {
    /// A camera on the fixed frame tells the error only together with the position of the frame.
    pub fn position_for_error(setup: &Setup) -> Option<Lack> {
        let fixed = setup.camera.mount == Mount::Fixed;
        (fixed && setup.position_sensor.is_none()).then_some(Lack::PositionForFixedCamera)
    }
}

macro_rules! table {
    ($($(#[$meaning:meta])* $kind:ident: $file:ident,)*) => {
        /// The ways to move (or not to move) the frame, in the order of every output.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Kind {
            $($(#[$meaning])* $kind,)*
        }

        impl Kind {
            /// All kinds in output order.
            pub const ALL: [Kind; [$(Kind::$kind),*].len()] = [$(Kind::$kind),*];

            /// The fixed names in output order.
            pub const NAMES: [&'static str; Kind::ALL.len()] = [$($file::Control::NAME),*];

            /// The fixed name in every output.
            pub fn name(self) -> &'static str {
                Kind::NAMES[self as usize]
            }

            /// See [`Controller::LOOP`].
            pub fn loop_name(self) -> &'static str {
                match self { $(Kind::$kind => $file::Control::LOOP,)* }
            }

            /// See [`Controller::VALVE`].
            pub fn valve(self) -> Option<ValveKind> {
                match self { $(Kind::$kind => $file::Control::VALVE,)* }
            }

            /// See [`Controller::lacks`].
            pub fn lacks(self, setup: &Setup) -> Option<Lack> {
                match self { $(Kind::$kind => $file::Control::lacks(setup),)* }
            }

            /// See [`Controller::linear`].
            pub fn linear(self, setup: &Setup, speed_m_s: f64) -> Option<Box<dyn Linear>> {
                // A kind may find all that its formulas need and still lack a sensor; for the next two as well.
                if self.lacks(setup).is_some() {
                    return None;
                }
                match self { $(Kind::$kind => $file::Control::linear(setup, speed_m_s),)* }
            }

            /// See [`Controller::feedback`].
            pub fn feedback(self, setup: &Setup, speed_m_s: f64, more_dead_s: f64) -> Option<Feedback> {
                if self.lacks(setup).is_some() {
                    return None;
                }
                match self { $(Kind::$kind => $file::Control::feedback(setup, speed_m_s, more_dead_s),)* }
            }

            /// See [`Controller::lead`].
            pub fn lead(self, setup: &Setup, speed_m_s: f64) -> Option<Lead> {
                if self.lacks(setup).is_some() {
                    return None;
                }
                match self { $(Kind::$kind => $file::Control::lead(setup, speed_m_s),)* }
            }
        }

        /// The law of any kind.
        pub enum AnyLaw<const N: usize> {
            $($(#[$meaning])* $kind(<$file::Control as Controller>::Law<N>),)*
        }

        impl<const N: usize> AnyLaw<N> {
            /// See [`Controller::law`].
            pub fn of(kind: Kind, setup: &Setup, speed_m_s: f64) -> Option<Self> {
                // As for the linear form: what has settings but lacks a sensor must not run on readings that nobody gives.
                if kind.lacks(setup).is_some() {
                    return None;
                }
                match kind {
                    $(Kind::$kind => {
                        <$file::Control as Controller>::law::<N>(setup, speed_m_s).map(AnyLaw::$kind)
                    })*
                }
            }
        }

        impl<const N: usize> Law<N> for AnyLaw<N> {
            #[inline(always)]
            fn command(&mut self, arrival: &Arrival<'_, N>) -> Asked<N> {
                match self { $(AnyLaw::$kind(law) => law.command(arrival),)* }
            }

            #[inline(always)]
            fn applied(&mut self, now_s: f64, speed_m_s: Lanes<N>) {
                match self {
                    $(AnyLaw::$kind(law) => Law::<N>::applied(law, now_s, speed_m_s),)*
                }
            }
        }
    };
}

table! {
    /// The frame stays centred: the baseline.
    Locked: locked,
    /// Hysteresis switch on a directional valve.
    OnOff: on_off,
    /// PID on a proportional valve.
    Pid: pid,
    /// Sets the shift when the seen row reaches the tools.
    LagCompensated: lag_compensated,
    /// The same, corrected by what the measured yaw rate moved the implement since the exposure.
    LagCompensatedYaw: lag_compensated_yaw,
}

impl Kind {
    /// The kind with that name.
    pub fn from_name(name: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// Whether it moves the frame.
    pub fn moves(self) -> bool {
        self.valve().is_some()
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// What the scenario gives each controller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Controllers {
    /// Switch, if the machine has a directional valve.
    pub on_off: Option<OnOff>,
    /// PID, if it has a proportional valve.
    pub pid: Option<Pid>,
    /// Lag compensation, if it has a proportional valve and a position sensor.
    pub lag: Option<LagCompensation>,
}
