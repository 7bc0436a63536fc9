//! The row camera: what it looks at and what it gets wrong.

use super::noise::GaussMarkov;

/// Which frame carries the camera.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mount {
    /// The frame that the cylinder moves: the camera sees what the tools still miss.
    Shifted,
    /// The frame that stays with the hitch: the camera sees the whole wanted shift.
    Fixed,
}

/// Camera parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Distance ahead of the tool line at which it looks at the rows, m.
    pub lookahead_m: f64,
    /// Which frame carries it.
    pub mount: Mount,
    /// Time between frames, s.
    pub frame_s: f64,
    /// Time from exposure to number, s.
    pub latency_s: f64,
    /// Standard deviation of the white noise of one measurement, m.
    pub white_sd_m: f64,
    /// Row-appearance noise of a single row, m over a length in m; the rows seen average it.
    pub appearance: GaussMarkov,
    /// Alignment bias, m: a constant added to every measurement, left positive.
    pub alignment_m: f64,
    /// Constant taken out of every measurement, m, left positive.
    pub trim_m: f64,
    /// Height that turns roll into a lateral error, m.
    pub roll_height_m: f64,
    /// Roll standard deviation at standstill, rad.
    pub roll_still_sd_rad: f64,
    /// Roll standard deviation that the ground adds at `roll_reference_m_s`, rad; grows with the root of speed
    /// (waviness 2, ISO 8608).
    pub roll_ground_sd_rad: f64,
    /// Speed at which `roll_ground_sd_rad` holds, m/s.
    pub roll_reference_m_s: f64,
    /// Correlation time of the roll, s.
    pub roll_time_s: f64,
    /// Share of distance over which the camera finds no row, 0 to 0.9.
    pub blind_share: f64,
    /// Mean length of a blind stretch, m.
    pub blind_length_m: f64,
    /// Share of frames that report a wrong number.
    pub outlier_share: f64,
    /// Standard deviation of the error of such a number, m.
    pub outlier_sd_m: f64,
}

/// Position sensor on the cylinder.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PositionSensor {
    /// Standard deviation of the white noise of one reading, m.
    pub noise_sd_m: f64,
}

/// Yaw-rate sensor on the implement (drawn) or tractor and implement (rigid).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct YawSensor {
    /// Noise, rad/s over a time in s.
    pub noise: GaussMarkov,
    /// Constant bias, rad/s.
    pub bias_rad_s: f64,
}

impl Camera {
    /// Roll at a speed, rad over a time in s: `sd = sqrt(still² + ground² v / v_ref)`.
    pub fn roll(&self, speed_m_s: f64) -> GaussMarkov {
        let ground =
            self.roll_ground_sd_rad * self.roll_ground_sd_rad * speed_m_s / self.roll_reference_m_s;
        let sd = (self.roll_still_sd_rad * self.roll_still_sd_rad + ground).sqrt();
        GaussMarkov {
            sd,
            reach: self.roll_time_s,
        }
    }
}
