//! Eye and hand of a driver, so that the tractor wanders as a log says.
//!
//! The linear check tells the spectrum of the rear axle about the planned line from what the driver sees, does and follows. Of all such
//! parts those are taken that give the spectrum of the log with the least change of what was said of them before.

use serde::Serialize;

use super::climb::Hill;
use crate::linear::vehicle::steering_stable;
use crate::linear::{axle_density, axle_wander};
use crate::model::damped::Damped;
use crate::model::driver::{Driver, HandDriver};
use crate::model::setup::Setup;

/// Frequencies at which spectra are compared.
const FREQUENCIES: usize = 80;

/// They reach from so many memories of the wander up to so many parts of its reach.
const BAND: [f64; 2] = [40.0, 20.0];

/// What a factor of e in the spectrum weighs against one in a part of the driver (our choice: the spectrum is to be met, the parts only say
/// in which of many ways).
const WEIGHT: f64 = 400.0;

/// What a factor of e in each part weighs: preview, seeing error and its length, steering, and the rows, of which a log alone tells little
/// (our choice: they move where the spectrum would else be off by a quarter).
const PARTS: [f64; 5] = [1.0, 1.0, 1.0, 1.0, 25.0];

/// Least and greatest preview, m; sd and length of the seeing error, m; sd of the steering angle, rad: the limits of their keys.
const BOUNDS: [[f64; 2]; 4] = [[2.0, 50.0], [5e-4, 0.5], [0.5, 200.0], [1e-5, 0.087]];

/// Least wander of the rows, m.
const LEAST_ROW_M: f64 = 5e-4;

/// Parts of a driver whose tractor wanders as was found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Hands {
    /// Preview distance at the speed of the log, m.
    pub preview_m: f64,
    /// Error in seeing the row, sd, m.
    pub seeing_sd_m: f64,
    /// Its correlation length, m.
    pub seeing_length_m: f64,
    /// What the hands add to the steering angle, sd, rad.
    pub steering_sd_rad: f64,
    /// Wander of the rows that the driver follows, sd, m: at most what was said before.
    pub row_wander_sd_m: f64,
    /// The rear axle about the planned line, sd, m.
    pub about_line_m: f64,
    /// The rear axle about the row, sd, m.
    pub about_row_m: f64,
    /// How far the spectrum is off, as standard deviation of its natural logarithm, weighed by the power of the wander.
    pub off: f64,
}

impl Hands {
    /// The machine with this driver in it; anybody else's stays as it is.
    pub fn put_into(&self, setup: &Setup, speed_m_s: f64) -> Setup {
        let mut changed = setup.clone();
        changed.rows.wander.sd = self.row_wander_sd_m;
        if let Driver::Hand(hand) = &mut changed.driver {
            hand.preview_min_m = self.preview_m;
            hand.preview_time_s = hand.preview_time_s.min(self.preview_m / speed_m_s);
            hand.seeing.sd = self.seeing_sd_m;
            hand.seeing.reach = self.seeing_length_m;
            hand.steering.sd = self.steering_sd_rad;
            hand.wander_factor = 1.0;
        }
        changed
    }
}

/// Fits the driver of a machine to a wander about the planned line that was found at a speed, m/s. `None` where nobody steers by hand, and
/// where no steady driver comes near.
pub fn hands_like(setup: &Setup, speed_m_s: f64, wander: &Damped) -> Option<Hands> {
    let Driver::Hand(hand) = &setup.driver else {
        return None;
    };
    let before = parts(hand, speed_m_s, setup.rows.wander.sd);
    let bounds = [
        BOUNDS[0],
        BOUNDS[1],
        BOUNDS[2],
        BOUNDS[3],
        [LEAST_ROW_M, setup.rows.wander.sd.max(2.0 * LEAST_ROW_M)],
    ]
    .map(|ends| ends.map(libm::log));
    let wanted = Wanted::new(wander, speed_m_s);
    let at = |x: &[f64]| told(x).put_into(setup, speed_m_s);
    let start = {
        let mut start = before.map(|part| libm::log(part.max(1e-9)));
        for (x, [least, most]) in start.iter_mut().zip(bounds) {
            *x = x.clamp(least, most);
        }
        start
    };
    let height = |x: &[f64]| {
        let setup = at(x);
        if steering_stable(&setup, speed_m_s).is_err() {
            return -1e9;
        }
        let Some([off, sd]) = wanted.apart(&setup) else {
            return -1e9;
        };
        let moved: f64 = (x.iter().zip(&start).zip(PARTS))
            .map(|((x, from), weight)| weight * (x - from).powi(2))
            .sum();
        -0.5 * (WEIGHT * (off * off + sd * sd) + moved)
    };
    let hill = Hill {
        height: &height,
        bounds: &bounds,
    };
    // Pure pursuit follows its point like a mass on a spring of the reach preview / sqrt 2, whatever the speed.
    let preview = (core::f64::consts::SQRT_2 * wander.reach).max(1.2 * speed_m_s * hand.reaction_s);
    let mut other = start;
    other[0] = libm::log(preview.max(BOUNDS[0][0]));
    let tops = [start, other].map(|from| hill.top(&from, None));
    let best = tops
        .into_iter()
        .max_by(|a, b| a.height.total_cmp(&b.height))?;
    if best.height < -1e8 {
        return None;
    }
    let setup = at(&best.at);
    let [off, sd] = wanted.apart(&setup)?;
    Some(Hands {
        about_line_m: wander.sd * libm::exp(sd),
        about_row_m: axle_wander(&setup, speed_m_s)?.variance_m2().sqrt(),
        off,
        ..told(&best.at)
    })
}

fn parts(hand: &HandDriver, speed_m_s: f64, row_m: f64) -> [f64; 5] {
    [
        hand.preview_m(speed_m_s),
        hand.wander_factor * hand.seeing.sd,
        hand.seeing.reach,
        hand.wander_factor * hand.steering.sd,
        row_m,
    ]
}

fn told(x: &[f64]) -> Hands {
    Hands {
        preview_m: libm::exp(x[0]),
        seeing_sd_m: libm::exp(x[1]),
        seeing_length_m: libm::exp(x[2]),
        steering_sd_rad: libm::exp(x[3]),
        row_wander_sd_m: libm::exp(x[4]),
        about_line_m: f64::NAN,
        about_row_m: f64::NAN,
        off: f64::NAN,
    }
}

/// The spectrum that is wanted, over logarithms of the frequency.
struct Wanted {
    speed_m_s: f64,
    /// Frequency, rad/s, density and share of the power.
    at: Vec<[f64; 3]>,
}

impl Wanted {
    fn new(wander: &Damped, speed_m_s: f64) -> Wanted {
        let over_time = wander.stretched(1.0 / speed_m_s);
        let ends = [
            1.0 / (BAND[0] * over_time.memory()),
            BAND[1] / over_time.reach,
        ]
        .map(libm::log);
        let step = (ends[1] - ends[0]) / (FREQUENCIES - 1) as f64;
        let mut at: Vec<[f64; 3]> = (0..FREQUENCIES)
            .map(|i| {
                let w = libm::exp(ends[0] + step * i as f64);
                let density = over_time.density(w);
                [w, density, w * density]
            })
            .collect();
        let power: f64 = at.iter().map(|[.., power]| power).sum();
        at.iter_mut().for_each(|[.., share]| *share /= power);
        Wanted { speed_m_s, at }
    }

    /// How far the spectrum of the axle about the planned line is off, and the logarithm of its sd over the wanted one.
    fn apart(&self, setup: &Setup) -> Option<[f64; 2]> {
        let (mut square, mut more) = (0.0, 0.0);
        for [w, density, share] in &self.at {
            let ratio = axle_density(setup, self.speed_m_s, *w)? / density;
            square += share * libm::log(ratio).powi(2);
            more += share * ratio;
        }
        Some([square.sqrt(), 0.5 * libm::log(more)])
    }
}
