//! Autocorrelation and spectrum of what was measured, to hold against what was fitted.

use core::f64::consts::TAU;

use super::kalman::Stretch;
use super::wander::about_trend_m;

/// Product of offsets about the trend at lags `step_m` apart, m², from 0 to `most_m`: mean over all pairs of points of all passes whose
/// distance falls next to the lag. Windows of points keep it quick on uneven logs.
pub fn covariances_m2(passes: &[Stretch], step_m: f64, most_m: f64) -> Vec<(f64, f64)> {
    let bins = (most_m / step_m) as usize + 1;
    let mut sums = vec![(0.0, 0.0); bins];
    for pass in passes {
        let Some(rest_m) = about_trend_m(pass) else {
            continue;
        };
        for i in 0..rest_m.len() {
            for j in i..rest_m.len() {
                let bin = ((pass.along_m[j] - pass.along_m[i]) / step_m).round() as usize;
                if bin >= bins {
                    break;
                }
                sums[bin].0 += rest_m[i] * rest_m[j];
                sums[bin].1 += 1.0;
            }
        }
    }
    let filled = sums.iter().enumerate().filter(|(_, (_, n))| *n > 0.0);
    filled
        .map(|(bin, (sum, n))| (step_m * bin as f64, sum / n))
        .collect()
}

/// Two-sided density of the offsets about the trend at wavelengths (m), m³ per radian as [`crate::model::damped::Damped::density`]: the
/// mean of the passes' periodograms, a sum over uneven points, over a third of an octave.
pub fn densities_m3(passes: &[Stretch], wavelengths_m: &[f64]) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    for &wavelength_m in wavelengths_m {
        let (mut sum, mut n) = (0.0, 0.0);
        for pass in passes {
            let Some(rest_m) = about_trend_m(pass) else {
                continue;
            };
            let length_m = pass.along_m[rest_m.len() - 1] - pass.along_m[0];
            if wavelength_m > length_m / 2.0 {
                continue;
            }
            for k in -2..=2_i32 {
                let w = TAU / wavelength_m * libm::exp2(f64::from(k) / 15.0);
                sum += periodogram_m3(&pass.along_m, &rest_m, w);
                n += 1.0;
            }
        }
        if n > 0.0 {
            out.push((wavelength_m, sum / n));
        }
    }
    out
}

fn periodogram_m3(along_m: &[f64], rest_m: &[f64], w: f64) -> f64 {
    let last = rest_m.len() - 1;
    let length_m = along_m[last] - along_m[0];
    let (mut cos, mut sin) = (0.0, 0.0);
    for i in 0..=last {
        // Each point stands for the way half to its neighbours.
        let share_m = (along_m[(i + 1).min(last)] - along_m[i.saturating_sub(1)]) / 2.0;
        cos += share_m * rest_m[i] * libm::cos(w * along_m[i]);
        sin += share_m * rest_m[i] * libm::sin(w * along_m[i]);
    }
    (cos * cos + sin * sin) / length_m
}
