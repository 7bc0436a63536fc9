//! Random numbers for passes side by side: a stream for every pass and source, each lane on its own.
//!
//! Generator: xorshift128+ with the shifts 23, 18, 5 (Vigna, J. Comput. Appl. Math. 315:175-181, 2017), which needs no rotation and so
//! runs in wide registers; its known flaw, planes that show when the first of three numbers is magnified some million times, is far below
//! the 31 bits used here. Seeded by SplitMix64 (Steele, Lea & Flood,
//! OOPSLA 2014) from seed, pass and source. Normal deviates: Box & Muller, Ann. Math. Statist. 29:610-611, 1958, in single precision
//! with polynomials of our own, so that every processor gives the same bits. The tail ends at 6.6 standard deviations.

use super::streams::{PER_PASS, Source};
use crate::model::vector::Lanes;

/// Deviates that loops draw at a time: few enough to stay near, enough to be drawn in runs of wide registers.
pub const AT_A_TIME: usize = 64;

/// A stream of deviates, one per lane.
#[derive(Clone, Debug)]
pub struct Deviates<const N: usize> {
    state: [[u64; N]; 2],
    spare: Option<[f32; N]>,
}

impl<const N: usize> Deviates<N> {
    /// The streams of one source in these passes. `part` picks one of several equal sources.
    pub fn new(seed: u64, passes: [u64; N], source: Source, part: u64) -> Self {
        let mut state = [[0; N]; 2];
        for (lane, pass) in passes.into_iter().enumerate() {
            let stream = pass
                .wrapping_mul(PER_PASS)
                .wrapping_add(source as u64 + part);
            // Seed and stream are mixed one after the other: a plain sum would give stream 1 of seed 2 the numbers of stream 2 of seed 1.
            let mut mix = SplitMix(seed);
            let key = mix.next();
            let mut mix = SplitMix(key ^ stream.wrapping_mul(0x9e37_79b9_7f4a_7c15));
            for word in &mut state {
                word[lane] = mix.next();
            }
        }
        Self { state, spare: None }
    }

    #[inline(always)]
    fn bits(&mut self) -> [u64; N] {
        let [s0, s1] = &mut self.state;
        let mut bits = [0; N];
        for i in 0..N {
            let (mut x, y) = (s0[i], s1[i]);
            s0[i] = y;
            x ^= x << 23;
            x ^= y ^ (x >> 18) ^ (y >> 5);
            s1[i] = x;
            bits[i] = x.wrapping_add(y);
        }
        bits
    }

    /// Uniform deviates in [0, 1) with 53 bits.
    #[inline(always)]
    pub fn uniform(&mut self) -> Lanes<N> {
        let bits = self.bits();
        Lanes::from_fn(|i| (bits[i] >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0))
    }

    /// Standard normal deviates.
    #[inline(always)]
    pub fn normal(&mut self) -> Lanes<N> {
        let deviates = match self.spare.take() {
            Some(spare) => spare,
            None => {
                let (now, later) = pair(self.bits());
                self.spare = Some(later);
                now
            }
        };
        Lanes::from_fn(|i| f64::from(deviates[i]))
    }

    /// As many standard normal deviates as there is room for, the same as one by one: for loops that need many.
    #[inline(always)]
    pub fn fill(&mut self, room: &mut [Lanes<N>]) {
        let mut rest = room;
        if !rest.is_empty() && self.spare.is_some() {
            rest[0] = self.normal();
            rest = &mut rest[1..];
        }
        let mut pairs = rest.chunks_exact_mut(2);
        for two in &mut pairs {
            let (now, later) = pair(self.bits());
            two[0] = Lanes::from_fn(|i| f64::from(now[i]));
            two[1] = Lanes::from_fn(|i| f64::from(later[i]));
        }
        for last in pairs.into_remainder() {
            *last = self.normal();
        }
    }
}

struct SplitMix(u64);

impl SplitMix {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
}

/// Box-Muller: the upper half of the bits gives the radius, the lower the angle.
#[inline(always)]
fn pair<const N: usize>(bits: [u64; N]) -> ([f32; N], [f32; N]) {
    // In separate loops, so that each is one run of wide registers.
    let mut upper = [0_i32; N];
    let mut lower = [0_i32; N];
    for i in 0..N {
        upper[i] = (bits[i] >> 33) as i32;
        lower[i] = bits[i] as i32;
    }
    let (mut radii, mut angles) = ([0.0_f32; N], [0.0_f32; N]);
    for i in 0..N {
        radii[i] = upper[i] as f32;
    }
    for i in 0..N {
        angles[i] = lower[i] as f32;
    }
    for radius in &mut radii {
        // Half a step in, so that the logarithm never meets nothing.
        *radius = (-2.0 * ln((*radius + 0.5) * (1.0 / 2_147_483_648.0)))
            .max(0.0)
            .sqrt();
    }
    let mut cosines = [0.0; N];
    let mut sines = [0.0; N];
    for i in 0..N {
        let (sin, cos) = sin_cos_turns(angles[i] * (1.0 / 4_294_967_296.0));
        cosines[i] = radii[i] * cos;
        sines[i] = radii[i] * sin;
    }
    (cosines, sines)
}

/// Natural logarithm of a positive normal number: exponent and the series of `2 atanh((m-1)/(m+1))`, m within a root of two of 1.
#[inline(always)]
fn ln(x: f32) -> f32 {
    let bits = x.to_bits();
    // Moves the split between exponents from 1 to 1/sqrt(2).
    let shifted = bits.wrapping_sub(0x3f35_04f3);
    let exponent = (shifted as i32) >> 23;
    let mantissa = f32::from_bits((shifted & 0x007f_ffff).wrapping_add(0x3f35_04f3));
    let t = (mantissa - 1.0) / (mantissa + 1.0);
    let z = t * t;
    let series = ((((2.0 / 9.0) * z + 2.0 / 7.0) * z + 2.0 / 5.0) * z + 2.0 / 3.0) * z + 2.0;
    exponent as f32 * std::f32::consts::LN_2 + t * series
}

/// Sine and cosine of an angle in turns, -1/2 to 1/2: doubled from the half angle, which lies within an eighth of a turn after
/// the half turn is taken off.
#[inline(always)]
fn sin_cos_turns(turns: f32) -> (f32, f32) {
    // 1.5 times 2^23: adding and taking it off leaves the nearest whole number, without a call.
    const ROUND: f32 = 12_582_912.0;
    let halves = (2.0 * turns + ROUND) - ROUND;
    let sign = 1.0 - 2.0 * halves * halves;
    let x = (turns - 0.5 * halves) * std::f32::consts::PI;
    let z = x * x;
    let sin = x + x * z * (-1.0 / 6.0 + z * (1.0 / 120.0 + z * (-1.0 / 5040.0)));
    let cos = 1.0 + z * (-0.5 + z * (1.0 / 24.0 + z * (-1.0 / 720.0 + z * (1.0 / 40320.0))));
    (sign * 2.0 * sin * cos, sign * (1.0 - 2.0 * sin * sin))
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    const COUNT: usize = 1 << 18;

    fn lanes(seed: u64, first_pass: u64, source: Source) -> Vec<Lanes<8>> {
        let passes = std::array::from_fn(|i| first_pass + i as u64);
        let mut deviates = Deviates::new(seed, passes, source, 0);
        (0..COUNT / 8).map(|_| deviates.normal()).collect()
    }

    fn flat(seed: u64, source: Source) -> Vec<f64> {
        lanes(seed, 0, source)
            .iter()
            .flat_map(|lanes| lanes.0)
            .collect()
    }

    /// Mean, variance, skewness and kurtosis within 4 standard errors of 0, 1, 0, 3 (large-sample errors sqrt of 1, 2, 6, 24 over
    /// n).
    #[test]
    fn analytic_moments_of_the_normal_deviates() {
        for seed in [0, 1, 77] {
            let z = flat(seed, Source::Steering);
            let n = z.len() as f64;
            let moment = |k: i32| z.iter().map(|z| z.powi(k)).sum::<f64>() / n;
            for (value, expected, variance) in [
                (moment(1), 0.0, 1.0),
                (moment(2), 1.0, 2.0),
                (moment(3), 0.0, 15.0),
                (moment(4), 3.0, 96.0),
            ] {
                assert!(
                    (value - expected).abs() < 4.0 * (variance / n).sqrt(),
                    "{value} {expected}"
                );
            }
        }
    }

    /// Kolmogorov-Smirnov distance from the normal law (crate statrs) below its 99.9 % point, 1.95/sqrt(n).
    #[test]
    fn val_kolmogorov_smirnov_distance_of_the_normal_deviates() {
        let law = Normal::new(0.0, 1.0).unwrap();
        for seed in [0, 1, 77] {
            let mut z = flat(seed, Source::Roll);
            z.sort_by(f64::total_cmp);
            let n = z.len() as f64;
            let apart = z
                .iter()
                .enumerate()
                .map(|(i, &z)| (law.cdf(z) - (i as f64 + 0.5) / n).abs());
            assert!(apart.fold(0.0, f64::max) < 1.95 / n.sqrt());
        }
    }

    /// No correlation, also of the squares: between the two halves of a pair, neighbours, lanes, passes far apart, sources and
    /// seeds. 4 standard errors.
    #[test]
    fn analytic_pairs_of_deviates_are_uncorrelated() {
        let correlation = |pairs: &mut dyn Iterator<Item = (f64, f64)>, what: &str| {
            let (mut n, mut plain, mut square) = (0.0, 0.0, 0.0);
            for (a, b) in pairs {
                n += 1.0;
                plain += a * b;
                square += (a * a - 1.0) * (b * b - 1.0) / 2.0;
            }
            assert!(
                plain.abs() / n < 4.0 / f64::sqrt(n),
                "{what}: {}",
                plain / n
            );
            assert!(
                square.abs() / n < 4.0 / f64::sqrt(n),
                "{what}: {}",
                square / n
            );
        };
        let own = lanes(5, 0, Source::Steering);
        let lane = |series: &[Lanes<8>], i: usize| {
            series
                .iter()
                .map(move |lanes| lanes.0[i])
                .collect::<Vec<_>>()
        };
        let first = lane(&own, 0);
        for lag in [1, 2, 3] {
            let mut pairs = first.iter().copied().zip(first[lag..].iter().copied());
            correlation(&mut pairs, "neighbours");
        }
        for (other, what) in [
            (lane(&own, 1), "lanes"),
            (lane(&lanes(5, 1000, Source::Steering), 0), "passes"),
            (lane(&lanes(5, 0, Source::Receiver), 0), "sources"),
            (lane(&lanes(6, 0, Source::Steering), 0), "seeds"),
        ] {
            correlation(&mut first.iter().copied().zip(other), what);
        }
    }

    /// Filled rooms of any size hold what one draws one by one.
    #[test]
    fn prop_filled_rooms_hold_the_same_deviates() {
        let new = || Deviates::new(9, [5], Source::Sway, 3);
        let (mut filled, mut single) = (new(), new());
        for size in [1, 4, 0, 7, 2, 3, 64, 1] {
            let mut room = vec![Lanes::default(); size];
            filled.fill(&mut room);
            for deviate in room {
                assert_eq!(deviate.0, single.normal().0);
            }
        }
    }

    /// A lane of eight draws what the pass draws alone.
    #[test]
    fn prop_a_lane_is_a_pass_alone() {
        let mut together = Deviates::new(
            9,
            std::array::from_fn::<u64, 8, _>(|i| i as u64),
            Source::Sway,
            3,
        );
        let mut alone = Deviates::new(9, [5], Source::Sway, 3);
        for _ in 0..1000 {
            assert_eq!(together.normal().0[5], alone.normal().0[0]);
            assert_eq!(together.uniform().0[5], alone.uniform().0[0]);
        }
    }
}
