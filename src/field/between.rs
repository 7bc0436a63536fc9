//! The way between the fixes of a log: one of those that the wander may have driven, drawn among all that fit the fixes.
//!
//! A straight line from fix to fix, or the mean of all ways, would wander less than the tractor did. Drawn by filtering forwards and
//! sampling backwards (Carter & Kohn, Biometrika 81:541-553, 1994; Frühwirth-Schnatter, Journal of Time Series Analysis 15:183-202, 1994).

use super::kalman::{Seen, Stretch};
use super::wander::about_trend_m;

/// Points nearer to each other than this are one, m.
const SAME_M: f64 = 1e-3;

/// Mean of value and slope, and their covariance: (11, 12, 22).
#[derive(Clone, Copy)]
struct State {
    mean: [f64; 2],
    spread: [f64; 3],
}

/// A place, what was read there, and what the filter knows before and after the reading.
struct Place {
    at_m: f64,
    read_m: Option<f64>,
    before: State,
    after: State,
}

/// Offsets at the places `at_m`, m, rising, of a way that fits the readings of a pass; every call of `normal` gives a standard normal
/// deviate, and with zeros it is the mean of all such ways. `None` where the pass has too few readings. The drift of `seen` is not taken
/// off.
pub fn drawn_m(
    pass: &Stretch,
    seen: &Seen,
    at_m: &[f64],
    normal: &mut dyn FnMut() -> f64,
) -> Option<Vec<f64>> {
    let rest_m = about_trend_m(pass)?;
    let mut places = merged(&pass.along_m, &rest_m, at_m);
    filter(&mut places, seen, pass.lever_m);
    let states = sampled(&places, seen, normal);
    let way: Vec<f64> = places.iter().map(|place| place.at_m).collect();
    let trend_m: Vec<f64> = pass
        .offsets_m
        .iter()
        .zip(&rest_m)
        .map(|(offset, rest)| offset - rest)
        .collect();
    let found = at_m.iter().map(|&at| {
        let i = way.partition_point(|place| *place < at - SAME_M);
        states[i.min(states.len() - 1)][0] + straight(&pass.along_m, &trend_m, at)
    });
    Some(found.collect())
}

fn merged(along_m: &[f64], rest_m: &[f64], at_m: &[f64]) -> Vec<Place> {
    let nothing = State {
        mean: [0.0; 2],
        spread: [0.0; 3],
    };
    let place = |at_m: f64, read_m: Option<f64>| Place {
        at_m,
        read_m,
        before: nothing,
        after: nothing,
    };
    let reads = along_m.iter().zip(rest_m);
    let mut all: Vec<Place> = reads
        .map(|(at, read)| place(*at, Some(*read)))
        .chain(at_m.iter().map(|at| place(*at, None)))
        .collect();
    all.sort_by(|a, b| a.at_m.total_cmp(&b.at_m));
    all.dedup_by(|next, kept| {
        let same =
            next.at_m - kept.at_m < SAME_M && (next.read_m.is_none() || kept.read_m.is_none());
        if same {
            kept.read_m = kept.read_m.or(next.read_m);
        }
        same
    });
    all
}

fn filter(places: &mut [Place], seen: &Seen, lever_m: f64) {
    let [p0, p1] = seen.wander.stationary();
    let mut now = State {
        mean: [0.0; 2],
        spread: [p0, 0.0, p1],
    };
    let mut last_m = places.first().map_or(0.0, |place| place.at_m);
    let white = seen.white_sd_m * seen.white_sd_m;
    for place in places {
        now = moved(&now, seen, place.at_m - last_m);
        last_m = place.at_m;
        place.before = now;
        if let Some(read_m) = place.read_m {
            let [c00, c01, c11] = now.spread;
            let (h0, h1) = (c00 + c01 * lever_m, c01 + c11 * lever_m);
            let spread = (h0 + h1 * lever_m + white).max(1e-18);
            let surprise = read_m - now.mean[0] - lever_m * now.mean[1];
            now.mean[0] += h0 / spread * surprise;
            now.mean[1] += h1 / spread * surprise;
            now.spread = [
                c00 - h0 * h0 / spread,
                c01 - h0 * h1 / spread,
                c11 - h1 * h1 / spread,
            ];
        }
        place.after = now;
    }
}

fn moved(from: &State, seen: &Seen, by_m: f64) -> State {
    let step = seen.wander.transition(by_m);
    let [[a, b], [c, e]] = step.phi;
    let ([m0, m1], [p00, p01, p11]) = (from.mean, from.spread);
    State {
        mean: [a * m0 + b * m1, c * m0 + e * m1],
        spread: [
            a * a * p00 + 2.0 * a * b * p01 + b * b * p11 + step.added[0],
            a * c * p00 + (a * e + b * c) * p01 + b * e * p11 + step.added[1],
            c * c * p00 + 2.0 * c * e * p01 + e * e * p11 + step.added[2],
        ],
    }
}

/// Value and slope at every place, from the last one back.
fn sampled(places: &[Place], seen: &Seen, normal: &mut dyn FnMut() -> f64) -> Vec<[f64; 2]> {
    let mut states = vec![[0.0; 2]; places.len()];
    let mut next: Option<(usize, [f64; 2])> = None;
    for (i, place) in places.iter().enumerate().rev() {
        let law = match next {
            None => place.after,
            Some((after, state)) => given_next(place, &places[after], seen, state),
        };
        let [v00, v01, v11] = law.spread;
        let first = v00.max(0.0).sqrt();
        let cross = if first > 0.0 { v01 / first } else { 0.0 };
        let (z0, z1) = (normal(), normal());
        states[i] = [
            law.mean[0] + first * z0,
            law.mean[1] + cross * z0 + (v11 - cross * cross).max(0.0).sqrt() * z1,
        ];
        next = Some((i, states[i]));
    }
    states
}

fn given_next(place: &Place, next: &Place, seen: &Seen, state: [f64; 2]) -> State {
    let [[a, b], [c, e]] = seen.wander.transition(next.at_m - place.at_m).phi;
    let ([m0, m1], [p00, p01, p11]) = (place.after.mean, place.after.spread);
    let [r00, r01, r11] = next.before.spread;
    // Scaled to correlations: value and slope have other units.
    let det = r00 * r11 - r01 * r01;
    if det <= 1e-14 * r00 * r11 {
        return place.after;
    }
    // Covariance of here and there, times the inverse of the one there.
    let k = [
        [a * p00 + b * p01, c * p00 + e * p01],
        [a * p01 + b * p11, c * p01 + e * p11],
    ];
    let gain = k.map(|[x, y]| [(x * r11 - y * r01) / det, (y * r00 - x * r01) / det]);
    let off = [
        state[0] - next.before.mean[0],
        state[1] - next.before.mean[1],
    ];
    let [g0, g1] = gain;
    State {
        mean: [
            m0 + g0[0] * off[0] + g0[1] * off[1],
            m1 + g1[0] * off[0] + g1[1] * off[1],
        ],
        spread: [
            p00 - g0[0] * k[0][0] - g0[1] * k[0][1],
            p01 - g0[0] * k[1][0] - g0[1] * k[1][1],
            p11 - g1[0] * k[1][0] - g1[1] * k[1][1],
        ],
    }
}

/// On the straight pieces between points, and beyond them on the last one.
fn straight(along_m: &[f64], values: &[f64], at_m: f64) -> f64 {
    let i = along_m
        .partition_point(|point| *point <= at_m)
        .clamp(1, along_m.len() - 1);
    let share = (at_m - along_m[i - 1]) / (along_m[i] - along_m[i - 1]);
    values[i - 1] + share * (values[i] - values[i - 1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::damped::Damped;
    use nalgebra::{DMatrix, DVector};
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    /// Mean and covariance given the readings, by the dense normal equations: the mean to rounding, the covariance of 4000 drawn ways
    /// within five standard errors.
    #[test]
    fn analytic_drawn_ways_are_those_of_the_normal_law() {
        let seen = Seen {
            wander: Damped {
                sd: 0.04,
                reach: 3.0,
                damping: 0.68,
            },
            white_sd_m: 0.015,
            drift: None,
        };
        let along_m: Vec<f64> = (0..12).map(|i| 2.2 * f64::from(i)).collect();
        let pass = Stretch {
            columns: 1,
            offsets_m: along_m
                .iter()
                .map(|m| 0.05 * libm::sin(0.7 * m) + 0.3)
                .collect(),
            along_m: along_m.clone(),
            ..Stretch::default()
        };
        let rest_m = about_trend_m(&pass).unwrap();
        let at_m: Vec<f64> = (0..9).map(|i| 0.3 + 2.9 * f64::from(i)).collect();
        let cov = |a: &[f64], b: &[f64]| {
            DMatrix::from_fn(a.len(), b.len(), |i, j| {
                seen.wander.sd.powi(2) * seen.wander.correlation((a[i] - b[j]).abs())
            })
        };
        let mut read = cov(&along_m, &along_m);
        for i in 0..along_m.len() {
            read[(i, i)] += seen.white_sd_m.powi(2);
        }
        let across = cov(&at_m, &along_m);
        let inverse = read.try_inverse().unwrap();
        let mean = &across * &inverse * DVector::from_vec(rest_m);
        let spread = cov(&at_m, &at_m) - &across * inverse * across.transpose();
        let found = drawn_m(&pass, &seen, &at_m, &mut || 0.0).unwrap();
        let trend_m = pass.offsets_m.iter().sum::<f64>() / along_m.len() as f64;
        for (found, mean) in found.iter().zip(&mean) {
            assert!((found - trend_m - mean).abs() < 1e-10, "{found} {mean}");
        }
        let mut dice = ChaCha8Rng::seed_from_u64(1);
        let draws: u32 = 4000;
        let mut sums = DMatrix::zeros(at_m.len(), at_m.len());
        for _ in 0..draws {
            let way = drawn_m(&pass, &seen, &at_m, &mut || {
                StandardNormal.sample(&mut dice)
            })
            .unwrap();
            let off = DVector::from_vec(way) - DVector::from_vec(found.clone());
            sums += &off * off.transpose();
        }
        sums /= f64::from(draws);
        for i in 0..at_m.len() {
            for j in 0..at_m.len() {
                let error = ((spread[(i, i)] * spread[(j, j)] + spread[(i, j)].powi(2))
                    / f64::from(draws))
                .sqrt();
                assert!(
                    (sums[(i, j)] - spread[(i, j)]).abs() < 5.0 * error,
                    "{i} {j}"
                );
            }
        }
    }

    /// Places all along a coarse log: the ways drawn wander as the tractor does, the mean and straight lines less. Ratio of variances over
    /// 40 passes of 400 m: some 60 lengths each, so that its standard error is below 2 %; three of them.
    #[test]
    fn prop_drawn_ways_keep_the_wander() {
        let truth = Damped {
            sd: 0.04,
            reach: 1.2,
            damping: 0.68,
        };
        let mut dice = ChaCha8Rng::seed_from_u64(2);
        let mut normal = || -> f64 { StandardNormal.sample(&mut dice) };
        let seen = Seen {
            wander: truth,
            white_sd_m: 0.005,
            drift: None,
        };
        let at_m: Vec<f64> = (0..1600).map(|i| 0.25 * f64::from(i)).collect();
        let (mut drawn, mut mean, mut all) = (0.0, 0.0, 0.0);
        for _ in 0..40 {
            // What was driven: drawn with no reading nearby but one far ahead of all.
            let none = Stretch {
                columns: 1,
                along_m: vec![-900.0, -800.0, -700.0],
                offsets_m: vec![0.0; 3],
                ..Stretch::default()
            };
            let driven = drawn_m(&none, &seen, &at_m, &mut normal).unwrap();
            let read = || (0..1600).step_by(9);
            let pass = Stretch {
                columns: 1,
                along_m: read().map(|i| at_m[i]).collect(),
                offsets_m: read().map(|i| driven[i] + 0.005 * normal()).collect(),
                ..Stretch::default()
            };
            let square = |way: &[f64]| way.iter().map(|y| y * y).sum::<f64>();
            all += square(&driven);
            drawn += square(&drawn_m(&pass, &seen, &at_m, &mut normal).unwrap());
            mean += square(&drawn_m(&pass, &seen, &at_m, &mut || 0.0).unwrap());
        }
        assert!((drawn / all - 1.0).abs() < 0.06, "{}", drawn / all);
        assert!(mean / all < 0.93, "{}", mean / all);
    }
}
