//! Sd, reach and damping of the wander, with profile limits.

use serde::Serialize;

use super::climb::{Hill, Top};
use super::kalman::{Drift, Seen, Stretch};
use crate::model::damped::Damped;

/// Twice the fall of the logarithm of the likelihood at the ends of a 95 % interval: chi-square with one degree.
const CHI_SQUARE_95: f64 = 3.841_458_820_694_124;

/// Least and greatest sd of the wander, m.
const SD_M: [f64; 2] = [1e-4, 3.0];

/// Least and greatest reach, m (assumed: shorter is the tyre, longer is the planned line).
const REACH_M: [f64; 2] = [0.3, 30.0];

/// Least and greatest damping (assumed: beyond, the shapes can no longer be told apart).
const DAMPING: [f64; 2] = [0.2, 5.0];

/// Least and greatest white noise of a reading, m.
const WHITE_M: [f64; 2] = [1e-4, 3.0];

/// A number that was not known, with its 95 % limits. What the readings do not bound is `None`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// Likeliest value.
    pub value: Option<f64>,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

/// What the passes tell of the wander.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Wander {
    /// Standard deviation about the planned line, m.
    pub sd_m: Estimate,
    /// One over the natural frequency in radians, m.
    pub reach_m: Estimate,
    /// Share of the critical damping.
    pub damping: Estimate,
    /// White noise of a reading, m.
    pub receiver_noise_sd_m: f64,
    /// Passes that were used.
    pub passes: usize,
    /// Points that were used.
    pub points: usize,
}

impl Wander {
    /// The likeliest noise, where it is known.
    pub fn noise(&self) -> Option<Damped> {
        Some(Damped {
            sd: self.sd_m.value?,
            reach: self.reach_m.value?,
            damping: self.damping.value?,
        })
    }

    /// The same where only an upper limit may be told: all that was observed, white noise included.
    pub fn at_most(self, observed_sd_m: f64) -> Wander {
        let none = Estimate {
            value: None,
            lower: None,
            upper: None,
        };
        let most_m = self
            .sd_m
            .upper
            .map(|upper_m| libm::hypot(upper_m, self.receiver_noise_sd_m).max(observed_sd_m));
        Wander {
            sd_m: Estimate {
                upper: most_m,
                ..none
            },
            reach_m: none,
            damping: none,
            ..self
        }
    }
}

/// The likelihood of all passes together over the logarithms of sd, reach, damping and white noise.
fn ln_likelihood(passes: &[Stretch], drift: Option<Drift>, at: &[f64]) -> f64 {
    let seen = Seen {
        wander: Damped {
            sd: libm::exp(at[0]),
            reach: libm::exp(at[1]),
            damping: libm::exp(at[2]),
        },
        white_sd_m: libm::exp(at[3]),
        drift,
    };
    passes.iter().map(|pass| pass.ln_likelihood(&seen)).sum()
}

fn bounds() -> [[f64; 2]; 4] {
    [SD_M, REACH_M, DAMPING, WHITE_M].map(|ends| ends.map(libm::log))
}

/// The best of a few starts, climbed to the top.
fn top(hill: &Hill, observed_sd_m: f64) -> Top {
    let mut best: Option<Top> = None;
    for reach_m in [1.0, 2.5, 6.0] {
        for share in [0.1, 0.5] {
            let at = [0.9 * observed_sd_m, reach_m, 0.9, share * observed_sd_m];
            let at: Vec<f64> = at.iter().map(|x| libm::log(x.max(1e-4))).collect();
            let height = (hill.height)(&at);
            if best.as_ref().is_none_or(|best| height > best.height) {
                best = Some(Top { at, height });
            }
        }
    }
    let start = best.map_or_else(|| vec![-3.0, 1.0, 0.0, -4.0], |best| best.at);
    hill.top(&start, None)
}

/// Fits the wander to passes; `None` where they have too few points or do not move at all.
pub fn fit(passes: &[Stretch], drift: Option<Drift>) -> Option<Wander> {
    let points: usize = passes.iter().map(|pass| pass.along_m.len()).sum();
    let observed_sd_m = observed_sd_m(passes)?;
    let height = |at: &[f64]| ln_likelihood(passes, drift, at);
    let bounds = bounds();
    let hill = Hill {
        height: &height,
        bounds: &bounds,
    };
    let top = top(&hill, observed_sd_m);
    if !top.height.is_finite() {
        return None;
    }
    let estimate = |which: usize| {
        let [lower, upper] = hill.limits(&top, which, CHI_SQUARE_95 / 2.0);
        Estimate {
            value: Some(libm::exp(top.at[which])),
            lower: lower.map(libm::exp),
            upper: upper.map(libm::exp),
        }
    };
    let mut sd_m = estimate(0);
    // A wander below the least that is tried is none at all.
    if sd_m.lower.is_none() {
        sd_m.lower = Some(0.0);
    }
    Some(Wander {
        sd_m,
        reach_m: estimate(1),
        damping: estimate(2),
        receiver_noise_sd_m: libm::exp(top.at[3]),
        passes: passes.len(),
        points,
    })
}

/// How far twice the logarithm of the likelihood falls from its top where the sd is `sd_m`: below 3.84 it lies within the 95 % limits.
pub fn fall_at_sd(passes: &[Stretch], drift: Option<Drift>, sd_m: f64) -> Option<f64> {
    let height = |at: &[f64]| ln_likelihood(passes, drift, at);
    let bounds = bounds();
    let hill = Hill {
        height: &height,
        bounds: &bounds,
    };
    let top = top(&hill, observed_sd_m(passes)?);
    let held = hill.held_at(&top, 0, libm::log(sd_m));
    Some(2.0 * (top.height - held.height))
}

/// Standard deviation about a straight line or a parabola by least squares, over all passes.
pub fn observed_sd_m(passes: &[Stretch]) -> Option<f64> {
    let (mut square, mut free) = (0.0, 0.0);
    for pass in passes {
        let sd_m = sd_about_trend_m(pass)?;
        let left = (pass.offsets_m.len() - pass.columns) as f64;
        square += left * sd_m * sd_m;
        free += left;
    }
    (free > 4.0 && square > 0.0).then(|| (square / free).sqrt())
}

/// Offsets of a pass less their trend by least squares, m; `None` where there are too few.
pub fn about_trend_m(pass: &Stretch) -> Option<Vec<f64>> {
    let n = pass.offsets_m.len();
    if n <= pass.columns + 1 {
        return None;
    }
    let (first, last) = (pass.along_m[0], pass.along_m[n - 1]);
    let half = ((last - first) / 2.0).max(1e-9);
    // Orthogonal columns by Gram and Schmidt: no matrix is needed.
    let mut columns: Vec<Vec<f64>> = Vec::new();
    let mut rest = pass.offsets_m.clone();
    for power in 0..pass.columns as i32 {
        let mut column: Vec<f64> = pass
            .along_m
            .iter()
            .map(|at| ((at - first) / half - 1.0).powi(power))
            .collect();
        for before in &columns {
            take_off(&mut column, before);
        }
        take_off(&mut rest, &column);
        columns.push(column);
    }
    Some(rest)
}

fn take_off(from: &mut [f64], column: &[f64]) {
    let norm: f64 = column.iter().map(|x| x * x).sum();
    let share: f64 = from.iter().zip(column).map(|(a, b)| a * b).sum::<f64>() / norm.max(1e-300);
    for (a, b) in from.iter_mut().zip(column) {
        *a -= share * b;
    }
}

/// Standard deviation of a pass about its trend, with the columns taken off the count.
pub fn sd_about_trend_m(pass: &Stretch) -> Option<f64> {
    let rest = about_trend_m(pass)?;
    let free = (rest.len() - pass.columns) as f64;
    Some((rest.iter().map(|x| x * x).sum::<f64>() / free).sqrt())
}
