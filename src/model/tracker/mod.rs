//! The row tracker between camera and controller.

pub mod transfer;

use nalgebra::{Matrix2, RowVector2, Vector2};

use super::camera::Mount;
use super::controller::law::Arrival;
use super::setup::Setup;
use super::vector::{Lanes, one_if};

/// The three trackers.
///
/// It works on the number that the controller uses: the row as the shifted frame sees it for `on_off` and
/// `pid`, the row as the fixed frame sees it for the lag-compensated kinds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tracker {
    /// The raw number, outliers included.
    None,
    /// First-order low-pass with the discrete gain `1 - exp(-T_f / time_s)`.
    LowPass {
        /// Time constant, s. A slow change is followed [`Tracker::delay_s`] late, which is about half a frame less.
        time_s: f64,
        /// A number further than this from the filtered one is taken for an outlier, m.
        gate_m: f64,
    },
    /// Steady-state Kalman filter with the state (offset, offset rate); `offset_rate` walks at random.
    Kalman {
        /// Standard deviation of a measurement that the filter believes, m.
        measurement_sd_m: f64,
        /// Intensity of the random walk of the offset rate, m/s per root second.
        rate_walk_m_s15: f64,
        /// A number further than this from the predicted one is taken for an outlier, m.
        gate_m: f64,
    },
    /// Steady-state Kalman filter with a yaw-rate sensor as input: the state is (offset, heading to the row) at the
    /// reference axle (the tractor's, or the implement's own if drawn).
    KalmanYaw {
        /// Standard deviation of a measurement that the filter believes, m.
        measurement_sd_m: f64,
        /// Intensity of the random walk of the offset, m per root second.
        offset_walk_m_s05: f64,
        /// Intensity of the random walk of the heading, rad per root second.
        heading_walk_rad_s05: f64,
        /// A number further than this from the predicted one is taken for an outlier, m.
        gate_m: f64,
    },
}

/// Steady-state gains of [`Tracker::Kalman`] on (offset, offset rate), in 1 and 1/s.
///
/// Model over one frame T: `A = [[1, T], [0, 1]]`, `Q = q² [[T³/3, T²/2], [T²/2, T]]` (rate driven by white noise of
/// intensity q = `rate_walk_m_s15`), measured: the offset. All arguments above 0.
pub fn rate_gains(measurement_sd_m: f64, rate_walk_m_s15: f64, frame_s: f64) -> [f64; 2] {
    let t = frame_s;
    let power = rate_walk_m_s15 * rate_walk_m_s15;
    let growth = Matrix2::new(t * t * t / 3.0, t * t / 2.0, t * t / 2.0, t) * power;
    steady_gains(
        Matrix2::new(1.0, t, 0.0, 1.0),
        growth,
        RowVector2::new(1.0, 0.0),
        measurement_sd_m,
    )
}

/// Steady-state gains of [`Tracker::KalmanYaw`] on (row minus reference axle, heading), in 1 and rad/m.
///
/// Model over one frame T at speed v: offset' = -v heading, heading' = measured yaw rate w, so `A = [[1, -v T], [0, 1]]`,
/// `B = [-v T²/2, T]` on the mean w of the frame; `Q = diag(offset_walk² T, heading_walk² T)` (the small cross term of the
/// heading walk is left out). The camera at `lever_m` behind the reference axle sees offset + lever heading. Both sds, both
/// walks and the frame above 0.
pub fn yaw_gains(
    measurement_sd_m: f64,
    offset_walk_m_s05: f64,
    heading_walk_rad_s05: f64,
    frame_s: f64,
    speed_m_s: f64,
    lever_m: f64,
) -> [f64; 2] {
    let growth = Vector2::new(
        offset_walk_m_s05 * offset_walk_m_s05,
        heading_walk_rad_s05 * heading_walk_rad_s05,
    ) * frame_s;
    steady_gains(
        Matrix2::new(1.0, -speed_m_s * frame_s, 0.0, 1.0),
        Matrix2::from_diagonal(&growth),
        RowVector2::new(1.0, lever_m),
        measurement_sd_m,
    )
}

/// Measurement-update gain `P Cᵀ/(C P Cᵀ + R)` with P from the discrete algebraic Riccati equation
/// `P = A (P - P Cᵀ (C P Cᵀ + R)⁻¹ C P) Aᵀ + Q`, solved by the doubling algorithm, whose error squares at each turn
/// (Chu, Fan, Lin & Wang, Int. J. Control 77:767-788, 2004; from memory).
fn steady_gains(
    step: Matrix2<f64>,
    growth: Matrix2<f64>,
    seen: RowVector2<f64>,
    measurement_sd_m: f64,
) -> [f64; 2] {
    let power = measurement_sd_m * measurement_sd_m;
    // Q and R by the same factor: same gains, better scaled numbers.
    let mut a = step.transpose();
    let mut g = seen.transpose() * seen;
    let mut p = growth / power;
    // Its error squares at each turn: sixty only bound the loop.
    for _ in 0..60 {
        // I + G P of two positive semidefinite matrices always has an inverse; overflow alone could end it here.
        let Some(inverse) = (Matrix2::identity() + g * p).try_inverse() else {
            break;
        };
        let more_p = a.transpose() * p * inverse * a;
        g += a * inverse * g * a.transpose();
        a = a * inverse * a;
        p += more_p;
        if more_p.amax() <= 1e-16 * p.amax() {
            break;
        }
    }
    let gain = p * seen.transpose() / ((seen * p * seen.transpose())[0] + 1.0);
    [gain[0], gain[1]]
}

/// Numbers in a row that the gate may reject before the tracker believes them and starts anew.
const REJECTIONS_BEFORE_RESTART: u8 = 5;

/// A tracker made ready for one camera and speed: `x = A x + B w`, then `x += K (number - C x)`, output `C x`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Filter {
    a: [[f64; 2]; 2],
    b: [f64; 2],
    c: [f64; 2],
    gain: [f64; 2],
    gate_m: f64,
}

impl Tracker {
    /// The filter for a frame period, a speed and the camera's distance behind the reference axle (`lever_m`).
    pub fn filter(&self, frame_s: f64, speed_m_s: f64, lever_m: f64) -> Filter {
        let still = Filter {
            a: [[1.0, 0.0], [0.0, 0.0]],
            b: [0.0; 2],
            c: [1.0, 0.0],
            gain: [1.0, 0.0],
            gate_m: f64::INFINITY,
        };
        match *self {
            Tracker::None => still,
            Tracker::LowPass { time_s, gate_m } => Filter {
                gain: [-libm::expm1(-frame_s / time_s), 0.0],
                gate_m,
                ..still
            },
            Tracker::Kalman {
                measurement_sd_m,
                rate_walk_m_s15,
                gate_m,
            } => Filter {
                a: [[1.0, frame_s], [0.0, 1.0]],
                gain: rate_gains(measurement_sd_m, rate_walk_m_s15, frame_s),
                gate_m,
                ..still
            },
            Tracker::KalmanYaw {
                measurement_sd_m,
                offset_walk_m_s05,
                heading_walk_rad_s05,
                gate_m,
            } => Filter {
                a: [[1.0, -speed_m_s * frame_s], [0.0, 1.0]],
                b: [-0.5 * speed_m_s * frame_s * frame_s, frame_s],
                c: [1.0, lever_m],
                gain: yaw_gains(
                    measurement_sd_m,
                    offset_walk_m_s05,
                    heading_walk_rad_s05,
                    frame_s,
                    speed_m_s,
                    lever_m,
                ),
                gate_m,
            },
        }
    }

    /// Delay of a slow signal, s: `-d arg F/dw` at `w -> 0`. The Kalman kinds follow a ramp without delay.
    pub fn delay_s(&self, frame_s: f64) -> f64 {
        match *self {
            Tracker::LowPass { time_s, .. } => {
                // Of the filter at the frames, which is less than its time constant.
                let kept = libm::exp(-frame_s / time_s);
                frame_s * kept / (1.0 - kept)
            }
            _ => 0.0,
        }
    }

    /// True if the tracker needs a yaw-rate sensor.
    pub fn uses_yaw_rate(&self) -> bool {
        matches!(self, Tracker::KalmanYaw { .. })
    }
}

/// A tracker with its memory, for passes side by side.
#[derive(Clone, Debug)]
pub struct Tracked<const N: usize> {
    filter: Filter,
    mount: Mount,
    x: [Lanes<N>; 2],
    rejected: Lanes<N>,
    started: Lanes<N>,
}

impl<const N: usize> Tracked<N> {
    /// The machine's tracker at a speed, m/s, above 0; it has seen nothing yet.
    pub fn new(setup: &Setup, speed_m_s: f64) -> Self {
        let lever_m = setup.camera_point_m() - setup.reference_axle_m();
        Self {
            filter: setup
                .tracker
                .filter(setup.camera.frame_s, speed_m_s, lever_m),
            mount: setup.camera.mount,
            x: [Lanes::default(); 2],
            rejected: Lanes::default(),
            started: Lanes::default(),
        }
    }

    /// One frame later: `number` is what the camera reports where `found` is 1, `yaw_rad_s` the mean measured yaw rate since the
    /// frame before. Gives the tracked number, and 1 where the frame told something.
    #[inline(always)]
    pub fn update(
        &mut self,
        number: Lanes<N>,
        found: Lanes<N>,
        yaw_rad_s: Lanes<N>,
    ) -> (Lanes<N>, Lanes<N>) {
        let Filter {
            a,
            b,
            c,
            gain,
            gate_m,
        } = self.filter;
        let [x0, x1] = self.x;
        // Predicted in every frame, found or not: that is how the Kalman kinds coast.
        let x0 = x0 * a[0][0] + self.x[1] * a[0][1] + yaw_rad_s * b[0];
        let x1 = self.x[0] * a[1][0] + x1 * a[1][1] + yaw_rad_s * b[1];
        let surprise = number - (x0 * c[0] + x1 * c[1]);
        let one = Lanes::all(1.0);
        let within = surprise.map(|surprise| one_if(surprise.abs() <= gate_m));
        // A row that truly lies elsewhere would be rejected for ever: after some numbers in a row the tracker gives way.
        let patient = self
            .rejected
            .map(|n| one_if(n < f64::from(REJECTIONS_BEFORE_RESTART)));
        // Of the lanes that found something: correct, reject, or start anew.
        let corrects = found * self.started * within;
        let rejects = found * self.started * (one - within) * patient;
        let restarts = found - corrects - rejects;
        let nothing = Lanes::default();
        let x0 = Lanes::select(
            corrects,
            x0 + surprise * gain[0],
            Lanes::select(restarts, number, x0),
        );
        let x1 = Lanes::select(
            corrects,
            x1 + surprise * gain[1],
            // Anew: rate or heading belonged to the row that was given up.
            Lanes::select(restarts, nothing, x1),
        );
        // A frame without a row neither confirms the tracker nor the outliers.
        self.rejected = Lanes::select(
            rejects,
            self.rejected + 1.0,
            Lanes::select(found, nothing, self.rejected),
        );
        self.started = self.started.max(restarts);
        self.x = [x0, x1];
        // A rejected number counts as nothing seen, so that the controller coasts on the prediction instead.
        (x0 * c[0] + x1 * c[1], found - rejects)
    }

    /// Row as the shifted frame sees it, tracked, m, and 1 where the frame told something.
    #[inline(always)]
    pub fn error(&mut self, arrival: &Arrival<'_, N>) -> (Lanes<N>, Lanes<N>) {
        // On the shifted frame the camera itself sees the error, exactly; from the fixed frame it takes the sensor's reading, noise and
        // all.
        let seen_from = match self.mount {
            Mount::Shifted => arrival.frame_exposed_m,
            Mount::Fixed => arrival.reading_exposed_m,
        };
        self.update(
            arrival.number_m - seen_from,
            arrival.found,
            arrival.yaw_rad_s,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Plain Riccati recursion, run until it stands still: an independent way to the same fixed point.
    fn by_recursion(a: Matrix2<f64>, q: Matrix2<f64>, c: RowVector2<f64>, r: f64) -> [f64; 2] {
        let mut p = Matrix2::identity();
        let mut k = Vector2::zeros();
        for _ in 0..200_000 {
            k = p * c.transpose() / ((c * p * c.transpose())[0] + r);
            p = a * (p - k * c * p) * a.transpose() + q;
        }
        [k[0], k[1]]
    }

    /// The recursion's own rounding over so many steps: 1e-9.
    #[test]
    fn analytic_rate_gains_solve_the_riccati_equation() {
        for (sd, walk, t) in [(0.006, 0.05, 0.04), (0.02, 0.01, 0.1), (0.001, 1.0, 0.02)] {
            let q = Matrix2::new(t * t * t / 3.0, t * t / 2.0, t * t / 2.0, t) * (walk * walk);
            let a = Matrix2::new(1.0, t, 0.0, 1.0);
            let expected = by_recursion(a, q, RowVector2::new(1.0, 0.0), sd * sd);
            let gains = rate_gains(sd, walk, t);
            for i in 0..2 {
                assert!(
                    (gains[i] / expected[i] - 1.0).abs() < 1e-9,
                    "{gains:?} {expected:?}"
                );
            }
        }
    }

    #[test]
    fn analytic_yaw_gains_solve_the_riccati_equation() {
        for (v, lever) in [(2.2, 1.4), (1.1, -1.5), (3.3, 0.6)] {
            let (sd, offset, heading, t): (f64, f64, f64, f64) = (0.006, 0.01, 0.01, 0.04);
            let q = Matrix2::new(offset * offset * t, 0.0, 0.0, heading * heading * t);
            let a = Matrix2::new(1.0, -v * t, 0.0, 1.0);
            let expected = by_recursion(a, q, RowVector2::new(1.0, lever), sd * sd);
            let gains = yaw_gains(sd, offset, heading, t, v, lever);
            for i in 0..2 {
                assert!(
                    (gains[i] / expected[i] - 1.0).abs() < 1e-9,
                    "{gains:?} {expected:?}"
                );
            }
        }
    }

    /// In the fast-frame limit the filter is the continuous Kalman-Bucy filter of a double integrator: gains per second
    /// `sqrt(2 q/r)` and `q/r`, r = sd sqrt(T) the intensity of the measurement noise. First order in the filter's bandwidth
    /// times T (here 0.014): 2 %.
    #[test]
    fn analytic_rate_gains_tend_to_kalman_bucy() {
        let (sd, walk, t): (f64, f64, f64) = (0.01, 0.01, 1e-4);
        let ratio = walk / (sd * t.sqrt());
        let gains = rate_gains(sd, walk, t);
        assert!((gains[0] / t / (2.0 * ratio).sqrt() - 1.0).abs() < 0.02);
        assert!((gains[1] / t / ratio - 1.0).abs() < 0.02);
    }
}
