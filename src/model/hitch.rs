//! How the implement hangs on the tractor.

use super::noise::GaussMarkov;

/// The two hitches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Hitch {
    /// Carried rigidly, behind or in front.
    Rigid {
        /// Lateral sway of the implement on the lower links, m over a length in m.
        sway: GaussMarkov,
        /// The lower links' free play either way, m: sway is clipped to it.
        free_play_m: f64,
    },
    /// Drawn on wheels of its own.
    Drawn {
        /// Distance of the hitch point behind the rear axle, m.
        hitch_m: f64,
        /// Distance of the implement's axle behind the hitch point, m.
        carrier_m: f64,
        /// Steady slip angle of the implement's wheels on the side slope, rad, positive to the left.
        implement_crab_rad: f64,
    },
}

/// Tools on the shifted frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tools {
    /// Distance of the tool line behind the rear axle, m (front mounted: negative).
    pub tool_line_m: f64,
    /// How far a row's left cutting edge stands behind the tool line, m (ahead: negative).
    pub left_edge_behind_m: f64,
    /// How far a row's right cutting edge stands behind the tool line, m (ahead: negative).
    pub right_edge_behind_m: f64,
    /// Standard deviation of the lateral setting error of each cutting edge, m.
    pub setting_sd_m: f64,
}
