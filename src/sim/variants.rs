//! What machines that meet the same passes have in common, stage by stage.

use super::drive::{Own, take_own};
use crate::model::setup::Setup;

/// Which stages of the first machine another one may take.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shares {
    /// The ground.
    pub ground: bool,
    /// The drive and the looks along it.
    pub drive: bool,
    /// The sensors.
    pub sensors: bool,
}

impl Shares {
    /// Of two machines with what is each pass's own. A part that no stage is known to leave alone counts for all of them, so that a new one
    /// is simulated anew until somebody says here that it need not be.
    pub fn of<const N: usize>(first: (&Setup, &Own<N>), other: (&Setup, &Own<N>)) -> Self {
        let ((a, of_a), (b, of_b)) = (first, other);
        // What only the side-shift, the tables of plants and the controllers read.
        let mut b = b.clone();
        b.hydraulics = a.hydraulics;
        b.controllers = a.controllers;
        b.tracker = a.tracker;
        b.plants = a.plants;
        b.camera.latency_s = a.camera.latency_s;
        b.camera.mount = a.camera.mount;
        b.run.start_delay_s = a.run.start_delay_s;
        b.run.follows_before_lowering = a.run.follows_before_lowering;
        // How often the row holds a stretch is for whoever adds them up.
        b.run.row_length_m = a.run.row_length_m;
        // What is each pass's own is compared lane by lane; where the frame was held, the side-shift alone reads.
        take_own(a, &mut b);
        let drives_as = of_a.entry_offset_m == of_b.entry_offset_m
            && of_a.entry_heading_rad == of_b.entry_heading_rad;
        let sees_as =
            of_a.alignment_m == of_b.alignment_m && of_a.yaw_bias_rad_s == of_b.yaw_bias_rad_s;
        let sensors = drives_as && sees_as && *a == b;

        // What beside it only the sensors read. Neither a camera's noise nor the field that it finds no row in moves a tractor.
        let mut seen = a.camera;
        seen.lookahead_m = b.camera.lookahead_m;
        seen.frame_s = b.camera.frame_s;
        let ground_seen = (
            a.camera.appearance,
            a.camera.blind_share,
            a.camera.blind_length_m,
        ) == (
            b.camera.appearance,
            b.camera.blind_share,
            b.camera.blind_length_m,
        );
        b.camera = seen;
        b.position_sensor = a.position_sensor;
        if let (Some(a), Some(b)) = (&a.yaw_sensor, &mut b.yaw_sensor) {
            *b = *a;
        }
        let drive = drives_as && *a == b;

        // And what only the drive reads.
        b.camera.frame_s = a.camera.frame_s;
        b.yaw_sensor = a.yaw_sensor;
        b.tractor = a.tractor;
        b.line = a.line.clone();
        b.run.step_s = a.run.step_s;
        b.run.drive_ticks = a.run.drive_ticks;
        let ground = ground_seen && *a == b;
        Self {
            ground,
            drive,
            sensors,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How far each change reaches back: that it gives the right passes is a test of the engine, that it saves work is this one.
    #[test]
    fn prop_a_change_leaves_the_stages_before_it() {
        type Change = fn(&mut Setup);
        let (all, none) = ([true; 3], [false; 3]);
        let changes: [(Change, [bool; 3]); 8] = [
            (|s| s.hydraulics.stroke_m *= 0.5, all),
            (|s| s.plants.scatter_sd_m *= 0.5, all),
            (|s| s.camera.white_sd_m += 0.001, [true, true, false]),
            (|s| s.camera.alignment_m += 0.001, [true, true, false]),
            (|s| s.camera.appearance.sd *= 0.5, [false, true, false]),
            (|s| s.run.entry_offset_m += 0.01, [true, false, false]),
            (|s| s.tractor.crab_rad += 0.01, [true, false, false]),
            (|s| s.rows.wander.sd *= 0.5, none),
        ];
        for (place, (change, shared)) in changes.into_iter().enumerate() {
            let first = Setup::plausible();
            let mut other = first.clone();
            change(&mut other);
            let own = |setup: &Setup| Own::of(std::array::from_ref(setup), [0_u64; 1]);
            let found = Shares::of((&first, &own(&first)), (&other, &own(&other)));
            assert_eq!(
                [found.ground, found.drive, found.sensors],
                shared,
                "{place}"
            );
        }
    }
}
