//! Densities of the noises and the variance integral.

use super::Complex;
use crate::model::sampled::Frequency;

/// Two-sided density of a Gauss-Markov noise with correlation time `time_s`, unit² s.
pub fn gauss_markov(sd: f64, time_s: f64, w_rad_s: f64) -> f64 {
    let x = w_rad_s * time_s;
    2.0 * sd * sd * time_s / (1.0 + x * x)
}

/// Density of a Gauss-Markov noise that exists at frames only, before the hold, unit² s; `time_s` 0: white.
pub fn sampled_gauss_markov(sd: f64, time_s: f64, at: &Frequency) -> f64 {
    let kept = if time_s > 0.0 {
        libm::exp(-at.frame_s / time_s)
    } else {
        0.0
    };
    let pole = Complex::new(1.0 - kept, 0.0) + at.one_minus_back * kept;
    sd * sd * at.frame_s * (1.0 - kept * kept) / pole.norm_sqr()
}

/// Kronrod nodes from the outside in (QUADPACK, Piessens et al. 1983), the odd ones Gauss nodes too.
const NODES: [f64; 8] = [
    0.991_455_371_120_812_6,
    0.949_107_912_342_758_5,
    0.864_864_423_359_769_1,
    0.741_531_185_599_394_4,
    0.586_087_235_467_691_1,
    0.405_845_151_377_397_2,
    0.207_784_955_007_898_47,
    0.0,
];
const KRONROD: [f64; 8] = [
    0.022_935_322_010_529_224,
    0.063_092_092_629_978_55,
    0.104_790_010_322_250_18,
    0.140_653_259_715_525_92,
    0.169_004_726_639_267_9,
    0.190_350_578_064_785_4,
    0.204_432_940_075_298_9,
    0.209_482_141_084_727_82,
];
const GAUSS: [f64; 4] = [
    0.129_484_966_168_869_7,
    0.279_705_391_489_276_64,
    0.381_830_050_505_118_9,
    0.417_959_183_673_469_4,
];

/// Accepted difference between the two rules of a panel, as a share of the whole. The Kronrod value is far closer than that
/// difference; with some hundred panels the sum stays within 1e-5.
const PANEL_TOLERANCE: f64 = 1e-6;

/// Halvings of a panel at most.
const HALVINGS: u32 = 8;

/// `(1/pi) ∫ density dw` over w from 0 to infinity, for several densities at once, to 1e-5 of their sum.
///
/// Adaptive 7-15 point Gauss-Kronrod rule on octaves of w between `low_rad_s` (below which the densities are flat) and
/// `high_rad_s` (above which they fall at least like w⁻²), both above 0; the ends are taken to 0 and infinity.
pub fn variances<const N: usize>(
    density: impl Fn(f64) -> [f64; N],
    low_rad_s: f64,
    high_rad_s: f64,
) -> [f64; N] {
    // With w = e^u: densities that fall over many decades become even curves of u.
    let logarithmic = |u: f64| {
        let w = libm::exp(u);
        density(w).map(|value| value * w)
    };
    // With w = 1/t: the tail to infinity becomes a short stretch.
    let inverse = |t: f64| {
        let w = 1.0 / t;
        density(w).map(|value| value * w * w)
    };
    let (from, to) = (libm::log(low_rad_s), libm::log(high_rad_s));
    let octaves = libm::ceil((to - from) / core::f64::consts::LN_2).max(1.0);
    let width = (to - from) / octaves;
    let mut sum = panel(&density, 0.0, low_rad_s).0;
    add(&mut sum, &panel(&inverse, 0.0, 1.0 / high_rad_s).0);
    let panels: Vec<_> = (0..octaves as usize)
        .map(|i| {
            let a = from + i as f64 * width;
            (a, panel(&logarithmic, a, a + width))
        })
        .collect();
    let mut rough = sum;
    for (_, (value, _)) in &panels {
        add(&mut rough, value);
    }
    // A share of all densities together: one that hardly counts need not be known as well as the rest.
    let tolerance = PANEL_TOLERANCE * rough.iter().sum::<f64>();
    for (a, found) in panels {
        add(
            &mut sum,
            &refined(&logarithmic, a, a + width, found, tolerance, HALVINGS),
        );
    }
    sum.map(|value| value / core::f64::consts::PI)
}

fn add<const N: usize>(sum: &mut [f64; N], more: &[f64; N]) {
    for (total, value) in sum.iter_mut().zip(more) {
        *total += value;
    }
}

fn refined<const N: usize>(
    f: &impl Fn(f64) -> [f64; N],
    a: f64,
    b: f64,
    (value, error): ([f64; N], f64),
    tolerance: f64,
    halvings: u32,
) -> [f64; N] {
    if halvings == 0 || error.is_nan() || error <= tolerance {
        return value;
    }
    let middle = 0.5 * (a + b);
    let mut left = refined(f, a, middle, panel(f, a, middle), tolerance, halvings - 1);
    let right = refined(f, middle, b, panel(f, middle, b), tolerance, halvings - 1);
    add(&mut left, &right);
    left
}

/// Kronrod value of each component and the sum of their unsigned differences from the Gauss value.
fn panel<const N: usize>(f: &impl Fn(f64) -> [f64; N], a: f64, b: f64) -> ([f64; N], f64) {
    let (middle, half) = (0.5 * (a + b), 0.5 * (b - a));
    let mut fine = [0.0; N];
    let mut coarse = [0.0; N];
    for (i, &node) in NODES.iter().enumerate() {
        let sides: &[f64] = if node == 0.0 { &[1.0] } else { &[-1.0, 1.0] };
        for side in sides {
            let values = f(middle + side * half * node);
            for k in 0..N {
                fine[k] += KRONROD[i] * values[k];
                if i % 2 == 1 {
                    coarse[k] += GAUSS[i / 2] * values[k];
                }
            }
        }
    }
    let error = (0..N).map(|k| (fine[k] - coarse[k]).abs()).sum::<f64>() * half;
    (fine.map(|value| value * half), error)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::damped::Damped;

    /// A 15-point Kronrod rule is exact to degree 22, its 7-point Gauss rule to degree 13: integral of x^k over [-1, 1] is
    /// 2/(k + 1) for even k. Rounding only: 1e-14.
    #[test]
    fn analytic_panel_integrates_polynomials() {
        for k in [0_u32, 2, 8, 22] {
            let (value, error) = panel(&|x: f64| [x.powi(k as i32)], -1.0, 1.0);
            assert!((value[0] - 2.0 / f64::from(k + 1)).abs() < 1e-14, "{k}");
            assert_eq!(error < 1e-14, k <= 13, "{k}");
        }
    }

    /// The densities belong to noises of the variance sd², whatever the correlation time (1e-5, the integral's tolerance).
    #[test]
    fn analytic_densities_integrate_to_the_variance() {
        for time_s in [0.02, 1.0, 400.0] {
            let found = variances(
                |w| {
                    [
                        gauss_markov(0.3, time_s, w),
                        Damped::smooth(0.2, time_s).density(w),
                    ]
                },
                1e-2 / time_s,
                1e3 / time_s,
            );
            assert!((found[0] / 0.09 - 1.0).abs() < 1e-5, "{found:?}");
            assert!((found[1] / 0.04 - 1.0).abs() < 1e-5, "{found:?}");
        }
    }

    /// Gauss-Markov noise through 1/(1 + a s) keeps the share T/(T + a) of its variance.
    #[test]
    fn analytic_first_order_filter_of_gauss_markov_noise() {
        let (sd, time_s, a) = (0.5, 0.7, 0.2);
        let found = variances(
            |w| [gauss_markov(sd, time_s, w) / (1.0 + w * w * a * a)],
            1e-3,
            1e4,
        );
        let expected = sd * sd * time_s / (time_s + a);
        assert!((found[0] / expected - 1.0).abs() < 1e-5);
    }

    /// A noise that exists at frames, held from frame to frame, has the variance of its samples.
    #[test]
    fn analytic_held_samples_keep_their_variance() {
        for time_s in [0.0, 0.15, 3.0] {
            let found = variances(
                |w| {
                    let at = Frequency::new(w, 0.04);
                    [at.hold.norm_sqr() * sampled_gauss_markov(0.4, time_s, &at)]
                },
                1e-3,
                1e5,
            );
            // The hold's side lobes fall like w⁻², and the tail beyond 1e5 rad/s oscillates: 2/(pi 1e5 T_f) = 1.6e-4 of it.
            assert!((found[0] / 0.16 - 1.0).abs() < 2e-4, "{time_s} {found:?}");
        }
    }
}
