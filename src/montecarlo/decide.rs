//! When a study knows enough: a pure function of its sums.
//!
//! Decided is, for every controller at the working clearance, up to which speed it keeps the allowed rate. A setting is clear once
//! its limits lie on one side of the allowed rate, or so close together that more passes would not move the answer by more than
//! a tenth of it. Speeds beyond the first that clearly cuts too often decide nothing.
//!
//! A study looks at its sums several times. At 95 % one look in twenty would decide wrongly by chance; the looks therefore use
//! [`DECISION_LEVEL`].

use super::estimate::{Estimate, RatioSums, korn_graubard};
use super::plan::working_clearance;
use super::sums::Sums;
use crate::scenario::{FIELD_PASSES, Scenario};

/// Confidence at which a setting counts as clear (our choice, no source).
pub const DECISION_LEVEL: f64 = 0.99;

/// Limits that lie this close together decide even across the allowed rate; a share of the allowed rate, both sides together
/// (our choice, no source).
pub const NARROW_SHARE: f64 = 0.2;

/// Passes at the first look.
const FIRST_LOOK: u64 = 64;

/// Number of passes at the first look after `passes`: 64, 96, 128, 192, 256, 384 and so on, by halves and thirds, so that no
/// more than half of the passes come after the decision.
pub fn next_look(passes: u64) -> u64 {
    let mut look = FIRST_LOOK;
    while look <= passes {
        let half_way = look.saturating_add(look / 2);
        if half_way > passes {
            return half_way;
        }
        look = look.saturating_mul(2);
    }
    look
}

/// True if a study looks after so many passes.
pub fn is_look(passes: u64) -> bool {
    passes > 0 && next_look(passes - 1) == passes
}

/// A setting that is not clear.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Open {
    /// Index of the speed.
    pub speed: usize,
    /// Passes that would make it clear, roughly: limits close in with the root of the number of passes.
    pub passes_needed: u64,
}

/// The open settings of one controller: `by_speed[speed][clearance]`, speeds rising.
pub fn open_settings<'a>(
    by_speed: impl IntoIterator<Item = &'a [RatioSums]>,
    working_clearance: usize,
    allowed_cut_rate: f64,
) -> Vec<Open> {
    let mut open = Vec::new();
    for (speed, by_clearance) in by_speed.into_iter().enumerate() {
        let Some(sums) = by_clearance.get(working_clearance) else {
            continue;
        };
        let estimate = korn_graubard(by_clearance, DECISION_LEVEL)[working_clearance];
        // Whatever is faster cuts no less: it decides nothing.
        if estimate.lower > allowed_cut_rate {
            break;
        }
        if let Some(passes_needed) = passes_needed(&estimate, sums.passes(), allowed_cut_rate) {
            open.push(Open {
                speed,
                passes_needed,
            });
        }
    }
    open
}

/// What is not decided yet, with the index of its controller.
pub(super) fn undecided(scenario: &Scenario, sums: &Sums) -> Vec<(usize, Open)> {
    let study = scenario.study();
    let Some(working) = working_clearance(scenario) else {
        return Vec::new();
    };
    let kinds = sums.tallies.first().map_or(0, Vec::len);
    // Where limits count fields, so does the guess.
    let passes_each = if sums.fields.is_some() {
        FIELD_PASSES
    } else {
        1
    };
    let of_kind = |kind: usize| {
        let by_speed = sums.tallies.iter().map(move |at| &at[kind].whole.cut[..]);
        let open = open_settings(by_speed, working, study.allowed_cut_rate);
        open.into_iter().map(move |open| {
            let passes_needed = open.passes_needed * passes_each;
            let speed = open.speed;
            (
                kind,
                Open {
                    speed,
                    passes_needed,
                },
            )
        })
    };
    (0..kinds).flat_map(of_kind).collect()
}

/// Passes that would make a setting clear whose limits are known after `passes`; `None` if it is.
fn passes_needed(estimate: &Estimate, passes: u64, allowed_cut_rate: f64) -> Option<u64> {
    let clear = estimate.upper <= allowed_cut_rate || estimate.lower > allowed_cut_rate;
    let narrow = NARROW_SHARE * allowed_cut_rate;
    if clear || estimate.upper - estimate.lower <= narrow {
        return None;
    }
    let (room, reach) = if estimate.rate <= allowed_cut_rate {
        (
            allowed_cut_rate - estimate.rate,
            estimate.upper - estimate.rate,
        )
    } else {
        (
            estimate.rate - allowed_cut_rate,
            estimate.rate - estimate.lower,
        )
    };
    // Limits close in with the root of the passes: so many times closer takes the square of that many.
    let times_closer = (reach / room).min((estimate.upper - estimate.lower) / narrow);
    let wanted = passes as f64 * (times_closer * times_closer);
    // Two digits are more than such a guess is worth.
    let step = libm::exp10((libm::log10(wanted).floor() - 1.0).max(0.0));
    Some(((wanted / step).ceil() * step) as u64).map(|wanted| wanted.max(passes + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Passes whose rates lie evenly about a mean, half of them `spread` below and half above.
    fn sums(passes: u64, rate: f64, spread: f64) -> RatioSums {
        let mut sums = RatioSums::default();
        for pass in 0..passes {
            let rate = rate + if pass % 2 == 0 { spread } else { -spread };
            sums.add_expected(rate * 1e5, 1e5);
        }
        sums
    }

    fn open(by_speed: &[RatioSums]) -> Vec<usize> {
        let by_speed = by_speed.iter().map(std::slice::from_ref);
        let open = open_settings(by_speed, 0, 0.01);
        open.iter().map(|open| open.speed).collect()
    }

    #[test]
    fn analytic_looks() {
        let mut looks = vec![next_look(0)];
        while looks.len() < 8 {
            looks.push(next_look(looks[looks.len() - 1]));
        }
        assert_eq!(looks, [64, 96, 128, 192, 256, 384, 512, 768]);
        assert_eq!(
            (next_look(63), next_look(65), next_look(100)),
            (64, 96, 128)
        );
        assert!(!is_look(0) && !is_look(80));
        for look in looks {
            assert!(is_look(look));
            assert_eq!(look % crate::montecarlo::plan::BLOCK_PASSES, 0);
        }
    }

    #[test]
    fn analytic_what_is_clear_or_narrow_is_not_open() {
        // 99 % limits reach about 2.6 spreads over the root of 100 passes: a quarter of the spread.
        assert_eq!(open(&[sums(100, 0.005, 0.004)]), [0; 0]);
        assert_eq!(open(&[sums(100, 0.0095, 0.004)]), [0]);
        assert_eq!(open(&[sums(100, 0.0105, 0.004)]), [0]);
        assert_eq!(open(&[sums(100, 0.0095, 0.002)]), [0; 0], "narrow");
        assert_eq!(open(&[sums(100, 0.02, 0.004)]), [0; 0]);
    }

    #[test]
    fn analytic_speeds_beyond_the_first_that_cuts_too_often_decide_nothing() {
        let near = sums(100, 0.0095, 0.004);
        let beyond = sums(100, 0.05, 0.004);
        assert_eq!(open(&[near.clone(), beyond.clone(), near.clone()]), [0]);
        assert_eq!(open(&[beyond, near]), [0; 0]);
    }

    /// The guess keeps its word: with that many passes of the same kind the setting is clear, with half as many it is not.
    #[test]
    fn analytic_the_guess_of_passes() {
        for (rate, spread) in [(0.0095, 0.004), (0.0104, 0.005), (0.00999, 0.006)] {
            let now = sums(100, rate, spread);
            let guess = open_settings([std::slice::from_ref(&now)], 0, 0.01)[0].passes_needed;
            assert!(guess > 100);
            let later = |passes| open(&[sums(passes, rate, spread)]);
            // Limits of small counts lie lopsided: a tenth more is ample.
            assert_eq!(later(guess + guess / 10), [0; 0], "{rate} {guess}");
            assert_eq!(later(guess / 2), [0], "{rate} {guess}");
        }
    }

    /// A rate that hangs on one pass is not clear, however low it is.
    #[test]
    fn analytic_one_bad_pass_leaves_it_open() {
        let mut sums = sums(99, 1e-9, 0.0);
        sums.add_expected(1e4, 1e5);
        assert!(!sums.borne_by_enough());
        assert_eq!(open(&[sums]), [0]);
    }

    /// Studies whose true rate lies a tenth beyond the allowed one, in passes as lopsided as log-normal ones of spread 1, end with
    /// "keeps it" in fewer than one of twenty, however often they look.
    #[test]
    fn prop_looking_often_seldom_decides_wrongly() {
        use rand_distr::{Distribution, StandardNormal};
        let (allowed, plants, studies, most_passes) = (0.01, 1e4, 400, 6000);
        let mut rng = crate::sim::streams::stream(5, 0, crate::sim::streams::Source::Plants, 0);
        let mut pass = || {
            let z: f64 = StandardNormal.sample(&mut rng);
            1.1 * allowed * libm::exp(z - 0.5)
        };
        let (mut wrong, mut right) = (0, 0);
        for _ in 0..studies {
            let mut sums = RatioSums::default();
            while sums.passes() < most_passes {
                let look = next_look(sums.passes());
                while sums.passes() < look {
                    sums.add_expected(pass() * plants, plants);
                }
                if open_settings([std::slice::from_ref(&sums)], 0, allowed).is_empty() {
                    let estimate = korn_graubard(std::slice::from_ref(&sums), DECISION_LEVEL)[0];
                    wrong += u32::from(estimate.upper <= allowed);
                    right += u32::from(estimate.lower > allowed);
                    break;
                }
            }
        }
        assert!(wrong < studies / 20, "{wrong}");
        assert!(right > studies / 2, "{right}");
    }
}
