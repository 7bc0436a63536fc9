//! One pass: ground, drive, sensors, side-shift, count.
//!
//! The ground of a pass serves every speed; the drive and the sensors at one speed serve every controller; the side-shift of
//! one controller answers every clearance.

pub mod count;
pub mod frames;
pub mod ground;
pub mod path;
pub mod shift;
pub mod streams;
pub mod trace;

use crate::model::controller::law::Law;
use crate::model::controller::{Kind, ValveKind};
use crate::model::setup::Setup;
use count::Meeting;
use frames::Frames;
use ground::Ground;
use path::Path;
use shift::Shift;
use streams::{Reference, Streams};

/// One pass at one speed, driven and observed: all that its controllers share.
#[derive(Clone, Debug)]
pub struct Drive {
    /// Motion of tractor and unshifted implement.
    pub path: Path,
    /// Sensor numbers.
    pub sensors: Frames,
    /// Moments at which edges pass plants.
    pub meetings: Vec<Meeting>,
}

impl Drive {
    /// Drives one pass at one speed (m/s, above 0 and at most [`ground::TOP_SPEED_M_S`]).
    pub fn new(setup: &Setup, ground: &Ground, seed: u64, pass: u64, speed_m_s: f64) -> Self {
        Self::from_streams(setup, ground, &Reference { seed, pass }, speed_m_s)
    }

    /// Drives one pass from its streams, as [`Drive::new`].
    pub fn from_streams(
        setup: &Setup,
        ground: &Ground,
        streams: &impl Streams,
        speed_m_s: f64,
    ) -> Self {
        let path = path::drive_from(setup, ground, streams, speed_m_s);
        let sensors = Frames::observe_from(setup, ground, &path, streams);
        let meetings = count::meetings(setup, ground, &path);
        Self {
            path,
            sensors,
            meetings,
        }
    }

    /// Runs one controller.
    pub fn shift(&self, setup: &Setup, kind: Kind, out: &mut Shift) {
        shift::run(setup, &self.path, &self.sensors, kind, out);
    }

    /// Runs any law on one of the machine's valves: a controller of one's own.
    pub fn shift_under(&self, setup: &Setup, valve: ValveKind, law: impl Law<1>, out: &mut Shift) {
        shift::run_law(setup, &self.path, &self.sensors, valve, law, out);
    }
}
