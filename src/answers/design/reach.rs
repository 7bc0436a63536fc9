//! The assured speed of a machine from passes that others met as well, and what resampling these passes makes of it.
//!
//! Where something is not known, each field gives the speed up to which it keeps the allowed rate, and the assured speed is the one that
//! the asked share of the fields keeps; else the rate of all passes gives it. Fields, or passes, are resampled with replacement, the same
//! ones for all machines, so that a difference carries what the two do not have in common (bootstrap, pairs kept together: Efron &
//! Tibshirani, An Introduction to the Bootstrap, 1993, chapters 6 and 13). A field's own rate holds the scatter of its eight passes too:
//! fields then lie apart a little further than they are, and an assured speed comes out rather low.

use crate::answers::trial::Cell;
use crate::results::LEVEL;
use crate::results::answers::{Edge, Limited};
use crate::unknowns::assurance::{Axis, Reach};
use crate::unknowns::dice::Dice;
use crate::unknowns::limits::quantiles;

/// Resamples (our choice: of 95 % limits 25 lie beyond either end).
const RESAMPLES: usize = 1000;

/// A rate of nothing has no logarithm: this share of what is allowed stands for it.
const NOTHING: f64 = 1e-6;

/// What is asked of a machine.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// Share of plants that may be cut.
    pub allowed_cut_rate: f64,
    /// Share of the fields that is to keep it; `None` where all is known.
    pub assurance: Option<f64>,
}

/// Plants cut of one machine under one controller, from the slowest speed on as far as they are known.
#[derive(Clone, Debug, Default)]
pub struct Curve {
    speeds_m_s: Vec<f64>,
    /// `[speed][unit]`: cut plants and plants.
    units: Vec<Vec<(f64, f64)>>,
    /// No faster than this, m/s, whatever the plants say.
    pub cap_m_s: f64,
    /// How far each unit goes.
    reaches: Vec<Reach>,
}

/// Draws of units with replacement: how often each is drawn.
pub struct Resamples(Vec<Vec<f64>>);

impl Resamples {
    /// Of so many units.
    pub fn new(seed: u64, units: usize) -> Self {
        let mut dice = Dice::new(seed);
        let draw = |_| {
            let mut times = vec![0.0; units];
            for _ in 0..units {
                times[dice.below(units)] += 1.0;
            }
            times
        };
        Self((0..RESAMPLES).map(draw).collect())
    }
}

impl Curve {
    /// Before any speed was run.
    pub fn new(cap_m_s: f64) -> Self {
        Self {
            cap_m_s,
            ..Self::default()
        }
    }

    /// Adds the next faster speed, m/s, of a single clearance.
    pub fn add(&mut self, asked: Asked, speed_m_s: f64, cell: &Cell) {
        self.add_units(asked, speed_m_s, cell.passes(0).collect());
    }

    fn add_units(&mut self, asked: Asked, speed_m_s: f64, units: Vec<(f64, f64)>) {
        self.speeds_m_s.push(speed_m_s);
        self.units.push(units);
        let count = self.units[0].len();
        self.reaches = (0..count)
            .map(|unit| {
                self.crossing(asked, |speed| {
                    let (cut, plants) = self.units[speed][unit];
                    cut / plants
                })
            })
            .collect();
    }

    fn crossing(&self, asked: Asked, rate: impl Fn(usize) -> f64) -> Reach {
        let allowed = asked.allowed_cut_rate;
        let ln_rate = |speed: usize| libm::log(rate(speed).max(NOTHING * allowed));
        Axis::Harsher(&self.speeds_m_s).reach(ln_rate, libm::log(allowed))
    }

    /// Whether further speeds may move the assured speed or its limits.
    pub fn goes_on(&self, asked: Asked) -> bool {
        let (Some(&fastest_m_s), Some(last)) = (self.speeds_m_s.last(), self.units.last()) else {
            return true;
        };
        if fastest_m_s >= self.cap_m_s {
            return false;
        }
        match asked.assurance {
            // Resamples have some more or fewer of the fields that went: three standard deviations.
            Some(assurance) => {
                let share = 1.0 - assurance;
                let enough = share + 3.0 * (share * assurance / last.len() as f64).sqrt();
                let gone = self.reaches.iter().filter(|&&reach| reach != Reach::All);
                (gone.count() as f64) < enough.min(1.0) * last.len() as f64
            }
            // Twice the allowed rate: no resample of many passes halves it.
            None => {
                let [cut, plants] = sums(last, &vec![1.0; last.len()]);
                cut <= 2.0 * asked.allowed_cut_rate * plants
            }
        }
    }

    /// How far the machine goes with each unit counted so many times.
    fn reach(&self, asked: Asked, times: &[f64]) -> Reach {
        match asked.assurance {
            Some(assurance) => {
                Axis::Harsher(&self.speeds_m_s).assured(times, &self.reaches, assurance)
            }
            None => self.crossing(asked, |speed| {
                let [cut, plants] = sums(&self.units[speed], times);
                cut / plants
            }),
        }
    }

    /// The same as a number, m/s: the ends of the simulated speeds where it lies beyond them.
    fn number(&self, reach: Reach) -> f64 {
        let held_m_s = Axis::Harsher(&self.speeds_m_s).held(reach);
        held_m_s.min(self.cap_m_s)
    }

    /// The assured speed of all units, m/s, and where it lies.
    pub fn of_all(&self, asked: Asked) -> (f64, Edge) {
        let times = vec![1.0; self.units.first().map_or(0, Vec::len)];
        let reach = self.reach(asked, &times);
        let edge = match reach {
            Reach::None => Edge::NoneKeeps,
            // A loop that runs away beyond its cap ends it, not the speeds.
            Reach::All if self.cap_m_s.is_infinite() => Edge::AllKeep,
            _ => Edge::Within,
        };
        (self.number(reach), edge)
    }

    /// Of every resample.
    pub fn resampled(&self, asked: Asked, resamples: &Resamples) -> Vec<f64> {
        let times = resamples.0.iter();
        times
            .map(|times| self.number(self.reach(asked, times)))
            .collect()
    }
}

fn sums(units: &[(f64, f64)], times: &[f64]) -> [f64; 2] {
    let pairs = units.iter().zip(times);
    pairs.fold([0.0; 2], |[cut, plants], (unit, times)| {
        [cut + times * unit.0, plants + times * unit.1]
    })
}

/// A number with the limits that its resamples give.
pub fn limited(value: f64, resampled: &[f64]) -> Limited {
    let tail = 0.5 * (1.0 - LEVEL);
    let weights = vec![1.0; resampled.len()];
    let [lower, upper] = quantiles(&weights, resampled, [tail, 1.0 - tail]);
    Limited {
        value,
        lower: lower.min(value),
        upper: upper.max(value),
    }
}

/// Shares of the resamples in which no other machine beats each: cost and speed in every resample.
pub fn unbeaten(all: &[(f64, &[f64])]) -> Vec<f64> {
    let share = |(cost, speeds): &(f64, &[f64])| {
        let stands = (0..speeds.len()).filter(|&draw| {
            let own = (*cost, speeds[draw]);
            let mut others = all.iter();
            !others.any(|(cost, speeds)| super::front::beats((*cost, speeds[draw]), own))
        });
        stands.count() as f64 / speeds.len().max(1) as f64
    };
    all.iter().map(share).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPEEDS_M_S: [f64; 4] = [1.0, 2.0, 3.0, 4.0];

    /// A curve of units of 1000 plants whose rates are `ln rate = ln allowed + (v - reach)`.
    fn curve(asked: Asked, reaches: &[f64]) -> Curve {
        let mut curve = Curve::new(f64::INFINITY);
        for speed_m_s in SPEEDS_M_S {
            let unit = |reach: &f64| {
                let rate = asked.allowed_cut_rate * libm::exp(speed_m_s - reach);
                (1000.0 * rate, 1000.0)
            };
            curve.add_units(asked, speed_m_s, reaches.iter().map(unit).collect());
        }
        curve
    }

    const SOME: Asked = Asked {
        allowed_cut_rate: 0.01,
        assurance: Some(0.8),
    };

    const KNOWN: Asked = Asked {
        assurance: None,
        ..SOME
    };

    /// Straight on the logarithm, so that each unit goes exactly as far as it was made to: of 1.1 to 3 in twenty steps the 20 % point lies
    /// in the middle of the fourth and fifth.
    #[test]
    fn analytic_the_speed_that_a_share_of_the_fields_keeps() {
        let reaches: Vec<f64> = (1..=20).map(|i| 1.0 + 0.1 * f64::from(i)).collect();
        let curve = curve(SOME, &reaches);
        let (speed_m_s, edge) = curve.of_all(SOME);
        assert!((speed_m_s - 1.45).abs() < 1e-9 && edge == Edge::Within);
        let mut capped = curve.clone();
        capped.cap_m_s = 1.2;
        assert_eq!(capped.of_all(SOME), (1.2, Edge::Within));
    }

    /// Known: the rate of all passes. One pass that goes to 2 and one to 3 m/s: allowed e^(v - 2) (1 + e^-1) / 2 = allowed at
    /// v = 2 - ln((1 + e^-1) / 2).
    #[test]
    fn analytic_the_speed_of_a_mean_rate() {
        let (speed_m_s, _) = curve(KNOWN, &[2.0, 3.0]).of_all(KNOWN);
        let wanted = 2.0 - libm::log(0.5 * (1.0 + libm::exp(-1.0)));
        assert!((speed_m_s - wanted).abs() < 1e-12, "{speed_m_s} {wanted}");
        assert_eq!(curve(KNOWN, &[0.5]).of_all(KNOWN), (1.0, Edge::NoneKeeps));
        assert_eq!(curve(KNOWN, &[9.0]).of_all(KNOWN), (4.0, Edge::AllKeep));
    }

    /// The resampled mean of independent units scatters as the standard error of a mean does. Tolerance: three standard errors of a
    /// standard deviation of 1000 draws, 7 %, and the curve of the logarithm beside it.
    #[test]
    fn analytic_resamples_scatter_as_a_mean_does() {
        let mut dice = Dice::new(3);
        let sd = 0.05;
        let reaches: Vec<f64> = (0..100).map(|_| 2.5 + sd * dice.normal()).collect();
        let found = curve(KNOWN, &reaches).resampled(KNOWN, &Resamples::new(1, 100));
        let mean = found.iter().sum::<f64>() / found.len() as f64;
        let squares: f64 = found.iter().map(|x| (x - mean) * (x - mean)).sum();
        let own_mean = reaches.iter().sum::<f64>() / 100.0;
        let own: f64 = reaches
            .iter()
            .map(|x| (x - own_mean) * (x - own_mean))
            .sum();
        let wanted = (own / 100.0).sqrt() / 10.0;
        let ratio = (squares / found.len() as f64).sqrt() / wanted;
        assert!((ratio - 1.0).abs() < 0.1, "{ratio}");
    }

    /// A machine that is a hair faster in every field is unbeaten for sure, though both scatter widely: they share the fields. One that
    /// is as fast and dearer is beaten for sure.
    #[test]
    fn analytic_shared_fields_tell_small_differences_apart() {
        let mut dice = Dice::new(7);
        let reaches: Vec<f64> = (0..32).map(|_| 2.0 + 0.8 * dice.uniform()).collect();
        let faster: Vec<f64> = reaches.iter().map(|reach| reach + 0.01).collect();
        let draws = Resamples::new(1, 32);
        let own = curve(SOME, &reaches).resampled(SOME, &draws);
        let new = curve(SOME, &faster).resampled(SOME, &draws);
        assert_eq!(
            unbeaten(&[(0.0, &own), (1.0, &new), (2.0, &new)]),
            [1.0, 1.0, 0.0]
        );
        let gains: Vec<f64> = new.iter().zip(&own).map(|(new, own)| new - own).collect();
        let gain = limited(0.01, &gains);
        assert!(gain.lower > 0.0099 && gain.upper < 0.0101, "{gain:?}");
        let alone = limited(own[0], &own);
        assert!(alone.upper - alone.lower > 0.05);
    }

    /// Chosen among many that are truly alike, the best looks better than it is; on fresh fields it does not. 40 machines of 32 fields with
    /// reaches that scatter by 0.4 m/s: the greatest of 40 means lies 2.16 standard errors (of 0.0707 m/s) above their mean (expected
    /// greatest of 40 standard normals, any table). Tolerance: three standard errors of 100 rounds, some 0.015 m/s, and the bend of the
    /// logarithm, which the mean of all machines shows as well.
    #[test]
    fn analytic_the_chosen_look_better_than_they_are() {
        let mut dice = Dice::new(11);
        let (mut chosen, mut fresh, mut all) = (0.0, 0.0, 0.0);
        let rounds = 100;
        for _ in 0..rounds {
            let mut speed = || {
                let reaches: Vec<f64> = (0..32).map(|_| 2.5 + 0.4 * dice.normal()).collect();
                curve(KNOWN, &reaches).of_all(KNOWN).0
            };
            let speeds: Vec<f64> = (0..40).map(|_| speed()).collect();
            chosen += speeds.iter().copied().fold(0.0, f64::max) / f64::from(rounds);
            all += speeds.iter().sum::<f64>() / 40.0 / f64::from(rounds);
            fresh += speed() / f64::from(rounds);
        }
        assert!(
            (chosen - all - 2.16 * 0.0707).abs() < 0.03,
            "{chosen} {all}"
        );
        assert!((fresh - all).abs() < 0.03, "{fresh} {all}");
    }

    /// Limits of a gain hold the true one about as often as they say. Machines share what makes a field bad (0.5 m/s) and have some of
    /// their own (0.1); the second goes 0.2 m/s further in truth. For the rate of all passes 95 of 100; for the speed that four fields in
    /// five keep, of 32 fields, resamples know but few fields about that place: no fewer than 85 of 100 (for quantiles of small samples
    /// the percentile bootstrap is known to be rough). Three binomial standard errors of 300 rounds are 3.8 and 6.2 of 100.
    #[test]
    fn val_limits_of_a_gain_cover_as_often_as_they_say() {
        let mut dice = Dice::new(21);
        for (asked, units, least) in [(KNOWN, 64, 0.95 - 0.038), (SOME, 32, 0.85)] {
            let (rounds, mut covered) = (300, 0);
            for round in 0..rounds {
                let mut pair: [Vec<f64>; 2] = Default::default();
                for _ in 0..units {
                    let shared = 2.4 + 0.5 * (dice.uniform() - 0.5);
                    pair[0].push(shared + 0.1 * (dice.uniform() - 0.5));
                    pair[1].push(shared + 0.2 + 0.1 * (dice.uniform() - 0.5));
                }
                let draws = Resamples::new(round, units);
                let curves = pair.map(|reaches| curve(asked, &reaches));
                let [own, new] = [0, 1].map(|i| curves[i].resampled(asked, &draws));
                let gains: Vec<f64> = new.iter().zip(&own).map(|(new, own)| new - own).collect();
                let value = curves[1].of_all(asked).0 - curves[0].of_all(asked).0;
                let gain = limited(value, &gains);
                covered += u32::from(gain.lower <= 0.2 && 0.2 <= gain.upper);
            }
            let share = f64::from(covered) / rounds as f64;
            assert!((least..=1.0).contains(&share), "{share} of {units}");
        }
    }
}
