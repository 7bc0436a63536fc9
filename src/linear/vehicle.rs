//! Driver, tractor and hitch: how far the axle and points of the frame wander.

use super::Complex;
use super::spectrum::{gauss_markov, variances};
use super::unstable::{SUGGESTED_GAIN_MARGIN, Unstable};
use crate::model::damped::Damped;
use crate::model::driver::Driver;
use crate::model::hitch::Hitch;
use crate::model::sampled::delay;
use crate::model::setup::Setup;

/// Offset y of the rear axle per unit of what disturbs it; 0 where the setup's driver does not know the source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxleResponse {
    /// Per offset of the row line at the axle's station, m/m.
    pub row: Complex,
    /// Per seeing error, m/m.
    pub seeing: Complex,
    /// Per steering error, m/rad.
    pub steering: Complex,
    /// Per receiver error (noise and drift alike), m/m.
    pub receiver: Complex,
}

/// Variances of the axle's offset from the row by source, m² (satellite line: of its offset from the planned line).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxleWander {
    /// Row wander that the driver does not follow.
    pub row: f64,
    /// Driver's seeing error, `wander_factor` in.
    pub seeing: f64,
    /// Driver's steering error, `wander_factor` in.
    pub steering: f64,
    /// Satellite receiver noise.
    pub receiver: f64,
    /// Satellite receiver drift.
    pub drift: f64,
}

impl AxleWander {
    /// Their sum, m².
    pub fn variance_m2(&self) -> f64 {
        self.row + self.seeing + self.steering + self.receiver + self.drift
    }
}

/// Response of the axle at an angular frequency above 0, rad/s. `None` for a replayed path.
pub fn axle_response(setup: &Setup, speed_m_s: f64, w_rad_s: f64) -> Option<AxleResponse> {
    let s = Complex::new(0.0, w_rad_s);
    let zero = Complex::new(0.0, 0.0);
    // Both fractions of the text times s² (1 + tau_s s).
    let inertia = s * s * (s * setup.tractor.steer_lag_s + 1.0);
    match &setup.driver {
        Driver::Hand(hand) => {
            let d = hand.preview_m(speed_m_s);
            let turn = speed_m_s * speed_m_s / setup.tractor.wheelbase_m;
            let sight = delay(w_rad_s * hand.reaction_s)
                * (2.0 * setup.tractor.wheelbase_m / (d * d) * turn);
            let den = inertia + sight * (s * (d / speed_m_s) + 1.0);
            Some(AxleResponse {
                row: sight * delay(-w_rad_s * d / speed_m_s) / den,
                seeing: -sight / den,
                steering: Complex::new(turn, 0.0) / den,
                receiver: zero,
            })
        }
        Driver::SatelliteLine(line) => {
            let wc = line.frequency_rad_s;
            let den = inertia + s * (2.0 * line.damping * wc) + wc * wc;
            Some(AxleResponse {
                row: zero,
                seeing: zero,
                steering: zero,
                receiver: Complex::new(-wc * wc, 0.0) / den,
            })
        }
        Driver::Replay(_) => None,
    }
}

/// Axle wander by source. `None` for a replayed path or a steering loop that is not stable.
pub fn axle_wander(setup: &Setup, speed_m_s: f64) -> Option<AxleWander> {
    let satellite = matches!(setup.driver, Driver::SatelliteLine(_));
    wander(setup, speed_m_s, if satellite { 0.0 } else { 1.0 })
}

/// The same about the planned line, as a log sees it, whoever steers: what the driver follows of the rows is in it.
pub fn axle_about_line(setup: &Setup, speed_m_s: f64) -> Option<AxleWander> {
    wander(setup, speed_m_s, 0.0)
}

/// Two-sided density of the axle's offset from the planned line at an angular frequency above 0, m² s. `None` for a replayed path.
pub fn axle_density(setup: &Setup, speed_m_s: f64, w_rad_s: f64) -> Option<f64> {
    let noises = DriverNoises::new(setup, speed_m_s);
    Some(
        noises
            .shares(&axle_response(setup, speed_m_s, w_rad_s)?, 0.0, w_rad_s)
            .iter()
            .sum(),
    )
}

/// Wander about so much of the row.
fn wander(setup: &Setup, speed_m_s: f64, of_row: f64) -> Option<AxleWander> {
    steering_stable(setup, speed_m_s).ok()?;
    axle_response(setup, speed_m_s, 1.0)?;
    let noises = DriverNoises::new(setup, speed_m_s);
    let (low, high) = band(setup, speed_m_s);
    let [row, seeing, steering, receiver, drift] = variances(
        |w| axle_response(setup, speed_m_s, w).map_or([0.0; 5], |y| noises.shares(&y, of_row, w)),
        low,
        high,
    );
    Some(AxleWander {
        row,
        seeing,
        steering,
        receiver,
        drift,
    })
}

/// Row, seeing, steering, receiver and drift as noises over time at one speed; the last four as (sd, time in s).
pub(super) struct DriverNoises {
    row: Damped,
    others: [(f64, f64); 4],
}

impl DriverNoises {
    pub(super) fn new(setup: &Setup, speed_m_s: f64) -> DriverNoises {
        let none = (0.0, 1.0);
        let row = setup.rows.wander.stretched(1.0 / speed_m_s);
        let others = match &setup.driver {
            Driver::Hand(hand) => [
                (
                    hand.seeing.sd * hand.wander_factor,
                    hand.seeing.reach / speed_m_s,
                ),
                (hand.steering.sd * hand.wander_factor, hand.steering.reach),
                none,
                none,
            ],
            Driver::SatelliteLine(line) => {
                let [receiver, drift] = line.noises(speed_m_s).map(|noise| (noise.sd, noise.reach));
                [none, none, receiver, drift]
            }
            Driver::Replay(_) => [none; 4],
        };
        DriverNoises { row, others }
    }

    pub(super) fn densities(&self, w_rad_s: f64) -> [f64; 5] {
        let [a, b, c, d] = self
            .others
            .map(|(sd, time)| gauss_markov(sd, time, w_rad_s));
        [self.row.density(w_rad_s), a, b, c, d]
    }

    /// Density by source of the axle's offset from so much of the row.
    fn shares(&self, y: &AxleResponse, of_row: f64, w_rad_s: f64) -> [f64; 5] {
        let density = self.densities(w_rad_s);
        [
            (y.row - Complex::new(of_row, 0.0)).norm_sqr() * density[0],
            y.seeing.norm_sqr() * density[1],
            y.steering.norm_sqr() * density[2],
            y.receiver.norm_sqr() * density[3],
            y.receiver.norm_sqr() * density[4],
        ]
    }

    fn slowest_s(&self) -> f64 {
        self.others
            .iter()
            .fold(self.row.memory(), |slowest, (_, time)| slowest.max(*time))
    }
}

/// Band outside of which every density is flat (below) or falls like w⁻² without ripples that matter (above), rad/s.
pub(super) fn band(setup: &Setup, speed_m_s: f64) -> (f64, f64) {
    let sway_s = match setup.hitch {
        Hitch::Rigid { sway, .. } => sway.reach / speed_m_s,
        Hitch::Drawn { carrier_m, .. } => carrier_m / speed_m_s,
    };
    let line_s = match &setup.driver {
        Driver::Hand(hand) => hand.preview_m(speed_m_s) / speed_m_s,
        Driver::SatelliteLine(line) => 1.0 / line.frequency_rad_s,
        Driver::Replay(_) => 0.0,
    };
    let slowest_s = DriverNoises::new(setup, speed_m_s)
        .slowest_s()
        .max(sway_s)
        .max(line_s);
    let fast_s = setup.camera.frame_s.min(setup.camera.roll_time_s.max(1e-3));
    (1e-3 / slowest_s, 300.0 / fast_s)
}

/// Lateral position of the frame `x_m` behind the rear axle per offset of the axle, m/m (crab and bend apart).
pub fn frame_position(setup: &Setup, speed_m_s: f64, x_m: f64, w_rad_s: f64) -> Complex {
    let s = Complex::new(0.0, w_rad_s / speed_m_s);
    let one = Complex::new(1.0, 0.0);
    match setup.hitch {
        Hitch::Rigid { .. } => one - s * x_m,
        Hitch::Drawn { hitch_m, .. } => {
            one - s * hitch_m - frame_heading(setup, speed_m_s, w_rad_s) * (x_m - hitch_m)
        }
    }
}

/// Heading of the frame per offset of the axle, rad/m.
pub fn frame_heading(setup: &Setup, speed_m_s: f64, w_rad_s: f64) -> Complex {
    let s = Complex::new(0.0, w_rad_s / speed_m_s);
    match setup.hitch {
        Hitch::Rigid { .. } => s,
        Hitch::Drawn {
            hitch_m, carrier_m, ..
        } => s * (-s * hitch_m + 1.0) / (s * carrier_m + 1.0),
    }
}

/// Whether the driver's own loop is stable at a speed, m/s.
///
/// The hand loop `(2 v²/d²) e^(-s tau_D) (1 + s d/v)/(s² (1 + tau_s s))` falls with w throughout, so it is stable just where
/// its phase lies above -pi at its only crossing of 1 (Nyquist). Satellite line: Routh, `tau_s wc < 2 z`.
pub fn steering_stable(setup: &Setup, speed_m_s: f64) -> Result<(), Unstable> {
    let lag_s = setup.tractor.steer_lag_s;
    match &setup.driver {
        Driver::Hand(hand) => {
            let preview_m = hand.preview_m(speed_m_s);
            let stable = |preview_m: f64, gain: f64| {
                hand_stable(speed_m_s / preview_m, hand.reaction_s, lag_s, gain)
            };
            if stable(preview_m, 1.0) {
                return Ok(());
            }
            let mut would_do_m = preview_m;
            // A longer preview always calms the loop in the end: its gain falls with the square of it.
            while !stable(would_do_m, SUGGESTED_GAIN_MARGIN) {
                would_do_m *= 1.02;
            }
            Err(Unstable::HandSteering {
                speed_m_s,
                preview_m,
                preview_that_would_do_m: would_do_m,
            })
        }
        Driver::SatelliteLine(line) if lag_s * line.frequency_rad_s >= 2.0 * line.damping => {
            Err(Unstable::SatelliteSteering {
                speed_m_s,
                frequency_rad_s: line.frequency_rad_s,
                frequency_that_would_do_rad_s: 2.0 * line.damping / lag_s / SUGGESTED_GAIN_MARGIN,
            })
        }
        _ => Ok(()),
    }
}

/// `rate` is v/d in 1/s.
fn hand_stable(rate: f64, reaction_s: f64, lag_s: f64, gain: f64) -> bool {
    let magnitude = |w: f64| {
        let lead = w / rate;
        gain * 2.0 * rate * rate * (1.0 + lead * lead).sqrt()
            / (w * w * (1.0 + w * w * lag_s * lag_s).sqrt())
    };
    let (mut below, mut above) = (1e-6 * rate, 1e6 * rate * gain);
    for _ in 0..100 {
        let middle = (below * above).sqrt();
        if magnitude(middle) > 1.0 {
            below = middle;
        } else {
            above = middle;
        }
    }
    // The two integrators stand at -pi already: what the preview leads must outweigh reaction and steering lag.
    libm::atan(above / rate) - above * reaction_s - libm::atan(above * lag_s) > 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::driver::SatelliteLine;
    use crate::model::noise::GaussMarkov;

    fn hand(preview_m: f64, reaction_s: f64, lag_s: f64) -> Setup {
        let mut setup = Setup::plausible();
        setup.tractor.steer_lag_s = lag_s;
        if let Driver::Hand(driver) = &mut setup.driver {
            driver.preview_min_m = preview_m;
            driver.preview_time_s = 0.0;
            driver.reaction_s = reaction_s;
        }
        setup
    }

    /// Without reaction time the hand loop is `tau s³ + s² + 2 c s + 2 c²`, c = v/d: stable just where c tau < 1 (Routh).
    #[test]
    fn analytic_hand_loop_without_reaction_obeys_routh() {
        for (rate, lag, stable) in [(1.0, 0.99, true), (1.0, 1.01, false), (4.0, 0.2, true)] {
            assert_eq!(hand_stable(rate, 0.0, lag, 1.0), stable, "{rate} {lag}");
        }
        let refused = steering_stable(&hand(2.0, 0.0, 1.2), 2.0).unwrap_err();
        let Unstable::HandSteering {
            preview_that_would_do_m,
            ..
        } = refused
        else {
            panic!("{refused}");
        };
        assert!(steering_stable(&hand(preview_that_would_do_m, 0.0, 1.2), 2.0).is_ok());
        assert!(preview_that_would_do_m > 2.4);
    }

    /// Without reaction and steering lag: y = -2c²/(s² + 2cs + 2c²) n_see, c = v/d, natural frequency c sqrt(2), damping
    /// 1/sqrt(2). White noise of density S in steering angle gives v⁴/L² S/(2·2c·2c²)... and Gauss-Markov noise over a time
    /// T through `k/(s² + a s + b)` gives the variance `k² sd² T (1 + a T)/(a b (1 + a T + b T²))` (from the standard integral of a
    /// third-order system; Newton, Gould & Kaiser 1957).
    #[test]
    fn analytic_axle_wander_of_an_undelayed_driver() {
        let setup = hand(8.0, 0.0, 0.0);
        let v = 2.0;
        let c: f64 = v / 8.0;
        let closed = |k: f64, sd: f64, t: f64| {
            let (a, b) = (2.0 * c, 2.0 * c * c);
            k * k * sd * sd * t * (1.0 + a * t) / (a * b * (1.0 + a * t + b * t * t))
        };
        let found = axle_wander(&setup, v).unwrap();
        let seeing = closed(2.0 * c * c, 0.035, 12.0 / v);
        let steering = closed(v * v / 2.5, 0.4_f64.to_radians(), 0.5);
        assert!((found.seeing / seeing - 1.0).abs() < 2e-5);
        assert!((found.steering / steering - 1.0).abs() < 2e-5);
        assert_eq!((found.receiver, found.drift), (0.0, 0.0));
    }

    /// Satellite line without steering lag: the same second-order system with a = 2 z wc, b = wc².
    #[test]
    fn analytic_axle_wander_of_the_satellite_line() {
        let mut setup = hand(8.0, 0.0, 0.0);
        let (wc, z) = (0.8, 0.9);
        let closed = |sd: f64, t: f64| {
            let (a, b) = (2.0 * z * wc, wc * wc);
            b * b * sd * sd * t * (1.0 + a * t) / (a * b * (1.0 + a * t + b * t * t))
        };
        setup.driver = Driver::SatelliteLine(SatelliteLine {
            frequency_rad_s: wc,
            damping: z,
            receiver: GaussMarkov {
                sd: 0.008,
                reach: 1.0,
            },
            drift: GaussMarkov {
                sd: 0.015,
                reach: 600.0,
            },
            growth_s_m: 0.25,
        });
        let found = axle_wander(&setup, 2.0).unwrap();
        assert!((found.receiver / closed(0.008, 1.0) - 1.0).abs() < 2e-5);
        assert!((found.drift / closed(0.015, 600.0) - 1.0).abs() < 2e-5);
        assert_eq!(found.row, 0.0);
        // Two metres a second beyond 3 m/s: half as much again. The band of the integral does not depend on the speed: rounding.
        let fast = axle_wander(&setup, 5.0).unwrap();
        assert!((fast.receiver / (2.25 * closed(0.008, 1.0)) - 1.0).abs() < 2e-5);
        assert!((fast.drift / (2.25 * closed(0.015, 600.0)) - 1.0).abs() < 2e-5);
        let steady = axle_wander(&setup, 3.0).unwrap();
        assert!((steady.receiver / found.receiver - 1.0).abs() < 2e-5);
        setup.tractor.steer_lag_s = 2.0 * z / wc;
        assert!(axle_wander(&setup, 2.0).is_none());
    }

    /// A drawn frame follows slow motion and turns with it like a rigid one of no length: at w to 0 position 1; its own axle obeys
    /// `axle' = v heading`.
    #[test]
    fn analytic_drawn_axle_moves_along_its_heading() {
        let mut setup = Setup::plausible();
        setup.hitch = Hitch::Drawn {
            hitch_m: 1.0,
            carrier_m: 3.0,
            implement_crab_rad: 0.0,
        };
        for w in [0.1, 1.0, 10.0] {
            let at_axle = frame_position(&setup, 2.0, 4.0, w);
            let heading = frame_heading(&setup, 2.0, w);
            let gap = at_axle * Complex::new(0.0, w) - heading * 2.0;
            assert!(gap.norm_sqr().sqrt() < 1e-12 * (1.0 + w));
        }
    }
}
