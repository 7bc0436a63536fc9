//! Plain arrays with arithmetic: one value per pass that runs side by side.
//!
//! Every function here is inlined into its caller, so that the whole engine is compiled once more where the processor has
//! wider registers. Nothing is fused and nothing is reordered: a lane computes what a single pass would, to the last bit.

use std::ops::{Add, AddAssign, Div, Mul, Neg, Sub, SubAssign};

/// 2^52: a number from 0 on that is added to it loses its fraction, and the lowest bits of the sum hold the nearest whole number.
pub const WHOLE: f64 = 4_503_599_627_370_496.0;

/// 1 where something holds, else 0: a choice of numbers, which wide registers make, where a conversion of the answer goes through bytes.
/// Conditions of several parts are joined by `&` and `|`: `&&` and `||` are branches, at which every lane goes its own way.
#[inline(always)]
pub fn one_if(holds: bool) -> f64 {
    if holds { 1.0 } else { 0.0 }
}

/// One number per pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lanes<const N: usize>(pub [f64; N]);

impl<const N: usize> Default for Lanes<N> {
    #[inline(always)]
    fn default() -> Self {
        Self([0.0; N])
    }
}

macro_rules! lane_by_lane {
    ($trait:ident, $method:ident, $op:tt) => {
        impl<const N: usize> $trait for Lanes<N> {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                self.zip(other, |a, b| a $op b)
            }
        }

        impl<const N: usize> $trait<f64> for Lanes<N> {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: f64) -> Self {
                self.map(|a| a $op other)
            }
        }

        impl<const N: usize> $trait<Lanes<N>> for f64 {
            type Output = Lanes<N>;
            #[inline(always)]
            fn $method(self, other: Lanes<N>) -> Lanes<N> {
                other.map(|b| self $op b)
            }
        }
    };
}

lane_by_lane!(Add, add, +);
lane_by_lane!(Sub, sub, -);
lane_by_lane!(Mul, mul, *);
lane_by_lane!(Div, div, /);

impl<const N: usize> Neg for Lanes<N> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        self.map(|x| -x)
    }
}

impl<const N: usize> AddAssign for Lanes<N> {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl<const N: usize> SubAssign for Lanes<N> {
    #[inline(always)]
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl<const N: usize> Lanes<N> {
    /// The same number for every pass.
    #[inline(always)]
    pub fn all(value: f64) -> Self {
        Self([value; N])
    }

    /// A function of the lane's index.
    #[inline(always)]
    pub fn from_fn(mut f: impl FnMut(usize) -> f64) -> Self {
        let mut lanes = [0.0; N];
        for (i, lane) in lanes.iter_mut().enumerate() {
            *lane = f(i);
        }
        Self(lanes)
    }

    /// A function of every lane.
    #[inline(always)]
    pub fn map(mut self, f: impl Fn(f64) -> f64) -> Self {
        for i in 0..N {
            self.0[i] = f(self.0[i]);
        }
        self
    }

    /// One lane alone.
    #[inline(always)]
    pub fn lane(self, lane: usize) -> Lanes<1> {
        Lanes([self.0[lane]])
    }

    /// A function of two lanes.
    #[inline(always)]
    pub fn zip(mut self, other: Self, f: impl Fn(f64, f64) -> f64) -> Self {
        for i in 0..N {
            self.0[i] = f(self.0[i], other.0[i]);
        }
        self
    }

    /// Size without sign.
    #[inline(always)]
    pub fn abs(self) -> Self {
        self.map(f64::abs)
    }

    /// The smaller of both; `other` where they do not compare.
    #[inline(always)]
    pub fn min(self, other: Self) -> Self {
        self.zip(other, |a, b| if a < b { a } else { b })
    }

    /// The larger of both; `other` where they do not compare.
    #[inline(always)]
    pub fn max(self, other: Self) -> Self {
        self.zip(other, |a, b| if a > b { a } else { b })
    }

    /// Kept within limits.
    #[inline(always)]
    pub fn clamp(self, low: Self, high: Self) -> Self {
        self.max(low).min(high)
    }

    /// `this` where the mask is not 0, else `other`.
    #[inline(always)]
    pub fn select(mask: Self, this: Self, other: Self) -> Self {
        // Both numbers are there already: a choice, no branch that lanes could part at.
        let mut lanes = other;
        for i in 0..N {
            lanes.0[i] = if mask.0[i] != 0.0 {
                this.0[i]
            } else {
                other.0[i]
            };
        }
        lanes
    }

    /// 1 where `self > other`, else 0.
    #[inline(always)]
    pub fn above(self, other: Self) -> Self {
        self.zip(other, |a, b| one_if(a > b))
    }
}

/// The whole numbers not above numbers from 0 on, and as they stand in the lowest bits of the second: no conversion in sight.
#[inline(always)]
pub fn whole_below<const N: usize>(x: Lanes<N>) -> (Lanes<N>, Lanes<N>) {
    let nearest = (x + WHOLE) - WHOLE;
    let whole = nearest - nearest.above(x);
    (whole, whole + WHOLE)
}

/// The entries of every lane at its number, as [`whole_below`] gives it but at most `last`, and at the next one.
///
/// Passes side by side are mostly at neighbouring numbers: then whole rows are read and chosen from.
#[inline(always)]
pub fn neighbours<const N: usize>(
    series: &[Lanes<N>],
    number: Lanes<N>,
    last: usize,
) -> (Lanes<N>, Lanes<N>) {
    let series = &series[..last + 2];
    let index = |lane: usize| (number.0[lane].to_bits() as u32 as usize).min(last);
    let first = index(0);
    let off = number - number.0[0];
    let is_near = off.abs().above(Lanes::all(1.0)) == Lanes::default();
    if is_near && first >= 1 && first < last {
        let rows = &series[first - 1..first + 3];
        let (below, above) = (Lanes::default().above(off), off.above(Lanes::default()));
        let choose =
            |low, middle, high| Lanes::select(below, low, Lanes::select(above, high, middle));
        return (
            choose(rows[0], rows[1], rows[2]),
            choose(rows[1], rows[2], rows[3]),
        );
    }
    let (mut a, mut b) = (Lanes::default(), Lanes::default());
    for lane in 0..N {
        let i = index(lane);
        a.0[lane] = series[i].0[lane];
        b.0[lane] = series[i + 1].0[lane];
    }
    (a, b)
}

/// Linear interpolation of a series of ticks at one time for all lanes; held beyond the ends.
#[inline(always)]
pub fn at<const N: usize>(series: &[Lanes<N>], ticks: f64) -> Lanes<N> {
    let x = ticks.clamp(0.0, (series.len() - 1) as f64);
    let i = (x as usize).min(series.len() - 2);
    series[i] + (series[i + 1] - series[i]) * (x - i as f64)
}

/// The same with a time of its own for every lane.
#[inline(always)]
pub fn at_each<const N: usize>(series: &[Lanes<N>], ticks: Lanes<N>) -> Lanes<N> {
    let last = series.len() - 2;
    let end = Lanes::all(last as f64);
    let x = ticks.clamp(Lanes::default(), Lanes::all(last as f64 + 1.0));
    let (whole, number) = whole_below(x.min(end));
    let (a, b) = neighbours(series, number, last);
    a + (x - whole) * (b - a)
}

/// Sine and cosine of an angle up to a right angle either way, to about 1e-14: Taylor polynomials, the same bits everywhere.
#[inline(always)]
pub fn sin_cos<const N: usize>(x: Lanes<N>) -> (Lanes<N>, Lanes<N>) {
    let z = x * x;
    let mut sin = Lanes::all(SIN[0]);
    let mut cos = Lanes::all(COS[0]);
    for k in 1..SIN.len() {
        sin = sin * z + SIN[k];
        cos = cos * z + COS[k];
    }
    (sin * z * x + x, cos * z + 1.0)
}

/// Sine of an angle up to a right angle either way, to about 1e-14.
#[inline(always)]
pub fn sin<const N: usize>(x: Lanes<N>) -> Lanes<N> {
    let z = x * x;
    let mut sin = Lanes::all(SIN[0]);
    for &coefficient in &SIN[1..] {
        sin = sin * z + coefficient;
    }
    sin * z * x + x
}

/// Tangent of an angle to 5e-14 of it up to 0.7 rad and 2e-10 up to 1.2 rad: the continued fraction of Lambert (1761) as a rational
/// function.
#[inline(always)]
pub fn tan<const N: usize>(x: Lanes<N>) -> Lanes<N> {
    let z = x * x;
    let over = ((378.0 - z) * z - 17_325.0) * z + 135_135.0;
    let under = ((3_150.0 - z * 28.0) * z - 62_370.0) * z + 135_135.0;
    x * over / under
}

const SIN: [f64; 8] = [
    1.0 / 355_687_428_096_000.0,
    -1.0 / 1_307_674_368_000.0,
    1.0 / 6_227_020_800.0,
    -1.0 / 39_916_800.0,
    1.0 / 362_880.0,
    -1.0 / 5_040.0,
    1.0 / 120.0,
    -1.0 / 6.0,
];

const COS: [f64; 8] = [
    1.0 / 20_922_789_888_000.0,
    -1.0 / 87_178_291_200.0,
    1.0 / 479_001_600.0,
    -1.0 / 3_628_800.0,
    1.0 / 40_320.0,
    -1.0 / 720.0,
    1.0 / 24.0,
    -1.0 / 2.0,
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Against crate libm over the whole range, within the first term that each series leaves out.
    #[test]
    fn val_sine_and_cosine() {
        for i in -1000..=1000 {
            let x = f64::from(i) / 1000.0 * std::f64::consts::FRAC_PI_2;
            let (sin, cos) = sin_cos(Lanes([x]));
            assert!((sin.0[0] - libm::sin(x)).abs() < 1e-15 + x.abs().powi(19) / 1.2e17);
            assert!((cos.0[0] - libm::cos(x)).abs() < 1e-15 + x.abs().powi(18) / 6.4e15);
        }
    }

    /// Own arithmetic, one lane after the other: close together, apart, on whole numbers, at the ends and beyond them. The same bits.
    #[test]
    fn prop_lanes_are_interpolated_as_each_alone() {
        let series: Vec<Lanes<8>> = (0..40)
            .map(|i| Lanes::from_fn(|lane| libm::sin(f64::from(i) * 0.7 + lane as f64)))
            .collect();
        for spread in [0.0, 0.1, 0.25, 0.5, 3.0, -0.2] {
            for base in (-20..450).map(|i| f64::from(i) / 10.0) {
                let ticks = Lanes::from_fn(|lane| base + spread * lane as f64);
                let found = at_each(&series, ticks);
                for lane in 0..8 {
                    let x = ticks.0[lane].clamp(0.0, 39.0);
                    let i = (x as usize).min(38);
                    let (a, b) = (series[i].0[lane], series[i + 1].0[lane]);
                    assert_eq!(
                        found.0[lane],
                        a + (x - i as f64) * (b - a),
                        "{base} {spread} {lane}"
                    );
                }
            }
        }
    }

    /// Against crate libm.
    #[test]
    fn val_tangent() {
        for i in -1200..=1200 {
            let x = f64::from(i) / 1000.0;
            let within = if x.abs() <= 0.7 { 5e-14 } else { 2e-10 };
            let apart = tan(Lanes([x])).0[0] - libm::tan(x);
            assert!(apart.abs() <= within * libm::tan(x).abs(), "{x}: {apart:e}");
        }
    }
}
