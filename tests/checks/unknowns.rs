//! Whole studies of a farm simulator whose truth is known (`common/farm_simulator.rs`): limits against brute force, how often they hold,
//! what measuring does to them, and false alarms.

use crate::common::farm_simulator::*;
use rowroom::unknowns::assurance::{Axis, Reach};
use rowroom::unknowns::cloud::Cloud;
use rowroom::unknowns::correct::Trust;
use rowroom::unknowns::dice::Dice;
use rowroom::unknowns::emulator::{Emulator, Simulated};
use rowroom::unknowns::learn::{conflict, learn, ln_likelihood, moved};
use rowroom::unknowns::limits::{LEVELS, RAREST, quantiles};
use rowroom::unknowns::measure::{Aspect, Count, Measurement, Tape};
use rowroom::unknowns::shapley::shares;
use rowroom::unknowns::special::normal_quantile;

/// Limits over 4096 farms of which each is simulated until its rate is known.
fn brute(kind: Kind, speed_m_s: f64) -> Vec<[f64; 3]> {
    let laws = laws();
    let farms = Cloud::new(77, laws.len(), 4096);
    let mut rates = vec![Vec::new(); CLEARANCES_M.len()];
    for i in 0..farms.len() {
        let x = values(&laws, farms.point(i));
        for (list, rate) in rates.iter_mut().zip(truth(kind, &x, speed_m_s)) {
            list.push(libm::log(rate));
        }
    }
    let all = rates.iter();
    all.map(|list| quantiles(farms.weights(), list, LEVELS))
        .collect()
}

/// Median and 95 % point within 10 %, the 5 % point within 15 %, of rates that are not rare, where the fit may be shown; and most may.
/// Where the rates follow the bell curve's trend by less than 0.6 all within a quarter: bursts that no unknown explains carry the tails
/// there, and the simulated fields alone would err as much and scatter more. Brute force itself errs by about 2 % (4096 farms).
fn limits_agree(kind: Kind, least_sound: usize) {
    let laws = laws();
    let points = Cloud::new(1001, laws.len(), 8192);
    let mut sound = 0;
    let expected: Vec<_> = [1, 3].map(|s| (s, brute(kind, SPEEDS_M_S[s]))).into();
    for seed in [1, 2, 3] {
        let (draws, passes, simulated) = study(kind, seed, 256);
        let emulator = Emulator::fit(&laws, &draws, &passes, &simulated, &band).unwrap();
        let at = emulator.at(&points);
        for (speed, expected) in &expected {
            for (cell, expected) in expected.iter().enumerate() {
                let fit = &emulator.fits[*speed].rates[cell];
                if fit.trust != Trust::Sound {
                    continue;
                }
                sound += 1;
                let found = quantiles(points.weights(), &at.ln_rates(*speed, cell), LEVELS);
                for ((found, expected), within) in found.iter().zip(expected).zip([0.15, 0.1, 0.1])
                {
                    let off = libm::exp(found - expected) - 1.0;
                    let common = libm::exp(*expected) >= RAREST;
                    let within = if fit.slope_alone < 0.6 { 0.25 } else { within };
                    assert!(!common || off.abs() < within, "{seed} {speed} {cell} {off}");
                }
            }
        }
    }
    assert!(sound >= least_sound, "{sound}");
}

#[test]
fn analytic_limits_agree_with_brute_force() {
    limits_agree(CALM, 24);
}

/// Bursts of five times the variance in a few percent of each pass: tails that are no bell curve's.
#[test]
fn analytic_limits_agree_with_brute_force_under_heavy_tails() {
    limits_agree(HEAVY, 12);
}

/// Assured clearance and speed against those of 2048 farms whose rates are known: within 1 mm and 0.2 m/s (which is what 5 % of
/// the rate moves), and the same ends.
#[test]
fn analytic_assured_values_agree_with_brute_force() {
    let laws = laws();
    let farms = Cloud::new(78, laws.len(), 2048);
    let known: Vec<Vec<[f64; 5]>> = (0..farms.len())
        .map(|i| {
            let x = values(&laws, farms.point(i));
            let speeds = SPEEDS_M_S.iter();
            speeds
                .map(|&speed| truth(CALM, &x, speed).map(libm::log))
                .collect()
        })
        .collect();
    let (draws, passes, simulated) = study(CALM, 3, 256);
    let emulator = Emulator::fit(&laws, &draws, &passes, &simulated, &band).unwrap();
    let points = Cloud::new(1003, laws.len(), 8192);
    let at = emulator.at(&points);
    let found: Vec<Vec<Vec<f64>>> = (0..SPEEDS_M_S.len())
        .map(|speed| {
            (0..CLEARANCES_M.len())
                .map(|cell| at.ln_rates(speed, cell))
                .collect()
        })
        .collect();
    let ln_allowed = libm::log(0.01);
    let speeds = Axis::Harsher(&SPEEDS_M_S);
    let clearances = Axis::Milder(&CLEARANCES_M);
    let mut inside = 0;
    let mut compare = |axis: Axis, ours: Vec<Reach>, brute: Vec<Reach>, within: f64| {
        for level in [0.5, 0.8, 0.95] {
            let ours = axis.assured(points.weights(), &ours, level);
            let brute = axis.assured(farms.weights(), &brute, level);
            match (ours, brute) {
                (Reach::At(ours), Reach::At(brute)) => {
                    inside += 1;
                    assert!((ours - brute).abs() < within, "{level} {ours} {brute}");
                }
                _ => assert_eq!(ours, brute, "{level}"),
            }
        }
    };
    for speed in 0..SPEEDS_M_S.len() {
        let ours =
            (0..points.len()).map(|i| clearances.reach(|cell| found[speed][cell][i], ln_allowed));
        let brute =
            (0..farms.len()).map(|i| clearances.reach(|cell| known[i][speed][cell], ln_allowed));
        compare(clearances, ours.collect(), brute.collect(), 1e-3);
    }
    for cell in 1..CLEARANCES_M.len() {
        let ours = (0..points.len()).map(|i| speeds.reach(|s| found[s][cell][i], ln_allowed));
        let brute = (0..farms.len()).map(|i| speeds.reach(|s| known[i][s][cell], ln_allowed));
        compare(speeds, ours.collect(), brute.collect(), 0.2);
    }
    assert!(inside >= 12, "{inside}");
}

/// Shares of the emulated logarithm of a rate against those of the true one, by the same walks: within 2 % of its variance. The nugget
/// carries next to nothing.
#[test]
fn analytic_shares_agree_with_the_truth() {
    let laws = laws();
    let (draws, passes, simulated) = one_speed(CALM, 2);
    let emulator = Emulator::fit(&laws, &draws, &passes, &simulated, &band).unwrap();
    let walks = 512;
    let d = laws.len() + 1;
    let ours = &shares(4, d, 1, walks, |u, out| {
        let point = emulator.at_point(u);
        out[0] = point.ln_rate(0, 1, point.tool_error(0));
    })[0];
    let known = &shares(4, d, 1, walks, |u, out| {
        out[0] = libm::log(truth(CALM, &values(&laws, u), SPEEDS_M_S[SPEED])[1]);
    })[0];
    let variance = known.variance;
    for (ours, known) in ours.shares.iter().zip(&known.shares) {
        assert!((ours - known).abs() < 0.02 * variance, "{ours} {known}");
    }
    assert!((ours.variance / known.variance - 1.0).abs() < 0.05);
    assert!(ours.shares[d - 1].abs() < 0.01 * ours.variance);
}

/// A farm of its own: values of the unknowns that no sequence has chosen.
fn farm(dice: &mut Dice) -> Vec<f64> {
    laws()
        .iter()
        .map(|law| law.quantile(dice.uniform()))
        .collect()
}

/// The study's speed that the tests below look at.
const SPEED: usize = 2;

fn one_speed(kind: Kind, seed: u64) -> (Cloud, Vec<u64>, Vec<Simulated>) {
    let (draws, passes, mut simulated) = study(kind, seed, 256);
    (draws, passes, vec![simulated.swap_remove(SPEED)])
}

/// The 5 and 95 % points enclose the rate of 90 % of farms: 20 studies of 40 farms, 4 standard errors of 800 farms.
#[test]
fn analytic_limits_hold_for_nine_farms_of_ten() {
    let laws = laws();
    let farms = 40;
    for kind in [CALM, HEAVY] {
        let mut dice = Dice::new(31);
        let points = Cloud::new(8, laws.len(), 2048);
        let mut held = [0; 2];
        for seed in 0..20 {
            let (draws, passes, simulated) = one_speed(kind, 50 + seed);
            let emulator = Emulator::fit(&laws, &draws, &passes, &simulated, &band).unwrap();
            let at = emulator.at(&points);
            let ends = [0, 1].map(|cell| {
                let [low, _, high] = quantiles(points.weights(), &at.ln_rates(0, cell), LEVELS);
                low..=high
            });
            for _ in 0..farms {
                let rates = truth(kind, &farm(&mut dice), SPEEDS_M_S[SPEED]);
                for cell in [0, 1] {
                    held[cell] += i32::from(ends[cell].contains(&libm::log(rates[cell])));
                }
            }
        }
        let all = f64::from(20 * farms);
        let shares = held.map(|held| f64::from(held) / all);
        println!("coverage {shares:?}");
        for share in shares {
            assert!(
                (share - 0.9).abs() < 4.0 * (0.09_f64 / all).sqrt(),
                "{share}"
            );
        }
    }
}

/// What is measured on a farm: twelve tape readings, each in a pass of its own, and struck plants among 1000 at five places.
fn measure(kind: Kind, x: &[f64], dice: &mut Dice) -> (Vec<f64>, f64) {
    let speed = SPEEDS_M_S[SPEED];
    let other = stand(x).variance_m2();
    let readings = (0..12).map(|_| {
        let (mean, square, _) = pass(kind, x, speed, [dice.normal(), dice.normal()]);
        let variance = square - mean * mean + other + TAPE_SD_M * TAPE_SD_M;
        mean + variance.sqrt() * dice.normal()
    });
    let readings = readings.collect();
    let struck = (0..5).map(|_| {
        let (_, _, rates) = pass(kind, x, speed, [dice.normal(), dice.normal()]);
        dice.binomial(200, rates[1]) as f64
    });
    (readings, struck.sum())
}

const TAPE_SD_M: f64 = 0.002;

/// The instruments at the points of a cloud.
fn instruments(emulator: &Emulator, cloud: &Cloud) -> (Tape, Count) {
    let at = emulator.at(cloud);
    let other = (0..cloud.len()).map(|i| at.band(i, 1).other_variance_m2);
    let tape = Tape {
        mean_m: at.mean_m[0].clone(),
        variance_m2: other.zip(&at.variance_m2[0]).map(|(a, b)| a + b).collect(),
        tape_sd_m: TAPE_SD_M,
        readings: 12,
    };
    let ln_rate = at.ln_rates(0, 1);
    let fit = &emulator.fits[0].rates[1];
    let count = Count {
        pass_variation: ln_rate.iter().map(|&ln| fit.pass_variation(ln)).collect(),
        ln_rate,
        plants: 1000,
        places: 5,
        pass_over_place: 1.0,
    };
    (tape, count)
}

/// After twelve readings and a count on each of 150 farms the limits of another clearance hold for 90 % of them (3.5 standard errors)
/// and are narrower.
#[test]
fn analytic_limits_hold_after_measuring() {
    let laws = laws();
    let (draws, passes, simulated) = one_speed(CALM, 4);
    let emulator = Emulator::fit(&laws, &draws, &passes, &simulated, &band).unwrap();
    let cell = 2;
    let before = Cloud::new(6, laws.len(), 4096);
    let [low, _, high] = quantiles(
        before.weights(),
        &emulator.at(&before).ln_rates(0, cell),
        LEVELS,
    );
    let width = high - low;
    let mut dice = Dice::new(12);
    let farms = 150;
    let (mut held, mut widths) = (0.0, 0.0);
    for number in 0..farms {
        let x = farm(&mut dice);
        let (readings, struck) = measure(CALM, &x, &mut dice);
        let learned = learn(600 + number, laws.len(), 2048, |cloud| {
            let (tape, count) = instruments(&emulator, cloud);
            let results: [(&dyn Measurement, &[f64]); 2] =
                [(&tape, &readings), (&count, &[struck])];
            ln_likelihood(&results, cloud.len())
        })
        .unwrap();
        assert!(learned.is_enough(), "{}", learned.effective);
        let rates = emulator.at(&learned.cloud).ln_rates(0, cell);
        let [low, _, high] = quantiles(learned.cloud.weights(), &rates, LEVELS);
        let rate = libm::log(truth(CALM, &x, SPEEDS_M_S[SPEED])[cell]);
        held += f64::from(u8::from((low..=high).contains(&rate)));
        widths += (high - low) / f64::from(farms as u32);
    }
    let share = held / f64::from(farms as u32);
    println!("coverage after measuring {share}, width {widths} instead of {width}");
    assert!(
        (share - 0.9).abs() < 3.5 * (0.09_f64 / f64::from(farms as u32)).sqrt(),
        "{share}"
    );
    assert!(widths < 0.7 * width);
}

/// Farms as they were said to be: an alarm on 2 % of them, at most (3 standard errors of 1500), and not on hardly any.
#[test]
fn analytic_false_alarms() {
    let laws = laws();
    let (draws, passes, simulated) = one_speed(CALM, 5);
    let emulator = Emulator::fit(&laws, &draws, &passes, &simulated, &band).unwrap();
    let before = Cloud::new(6, laws.len(), 512);
    let (tape, count) = instruments(&emulator, &before);
    let mut dice = Dice::new(13);
    let farms = 1500;
    let mut alarms = 0;
    for _ in 0..farms {
        let (readings, struck) = measure(CALM, &farm(&mut dice), &mut dice);
        let results: [(&dyn Measurement, &[f64]); 2] = [(&tape, &readings), (&count, &[struck])];
        let found = conflict(&before, &results).unwrap();
        alarms += i32::from(found.is_real());
    }
    let share = f64::from(alarms) / f64::from(farms);
    println!("false alarms {share}");
    assert!(
        share < 0.02 + 3.0 * (0.02_f64 * 0.98 / f64::from(farms)).sqrt(),
        "{share}"
    );
    assert!(share > 0.006, "{share}");
}

/// A camera six standard deviations out of line, or a machine that wanders eight of them more: an alarm on nearly every farm, and that
/// unknown named first. (Among unknowns that show alike, one whose law has no ends is named before one that has.)
#[test]
fn analytic_true_alarms() {
    let laws = laws();
    let (draws, passes, simulated) = one_speed(CALM, 5);
    let emulator = Emulator::fit(&laws, &draws, &passes, &simulated, &band).unwrap();
    let before = Cloud::new(6, laws.len(), 2048);
    let (tape, count) = instruments(&emulator, &before);
    let mut dice = Dice::new(14);
    for (unknown, value, aspect) in [(1, 0.036, Aspect::Mean), (3, 0.1, Aspect::Spread)] {
        let (mut alarms, mut named) = (0, 0);
        for number in 0..20 {
            let mut x = farm(&mut dice);
            x[unknown] = value;
            // Enough latency to show it.
            x[2] = 0.2;
            let (readings, struck) = measure(CALM, &x, &mut dice);
            let results: [(&dyn Measurement, &[f64]); 2] =
                [(&tape, &readings), (&count, &[struck])];
            let found = conflict(&before, &results).unwrap();
            alarms += i32::from(found.is_real() && found.high && found.aspect != Aspect::Value);
            let shown = found.aspect == aspect || found.aspect == Aspect::Struck;
            let learned = learn(number, laws.len(), 2048, |cloud| {
                let (tape, count) = instruments(&emulator, cloud);
                let results: [(&dyn Measurement, &[f64]); 2] =
                    [(&tape, &readings), (&count, &[struck])];
                ln_likelihood(&results, cloud.len())
            });
            let moved = moved(&learned.unwrap().cloud);
            named += i32::from(shown && moved[0].unknown == unknown && moved[0].by_sd > 1.0);
        }
        println!("unknown {unknown}: alarms {alarms}, named {named} of 20");
        assert!(alarms >= 16 && named >= 15, "{unknown} {alarms} {named}");
    }
}

/// The middle of a law is the middle of its points.
#[test]
fn analytic_normal_scores_are_even() {
    let cloud = Cloud::new(1, 3, 1024);
    for d in 0..4 {
        let mean: f64 = (0..1024).map(|i| normal_quantile(cloud.point(i)[d])).sum();
        assert!(mean.abs() / 1024.0 < 0.01);
    }
}

/// Shapley shares lie between first-order and total Sobol indices (Owen, SIAM/ASA J. Uncertainty Quantification 2:245-251, 2014) as SALib
/// 1.6.0 has them, `tests/references/shares.py`, within its 95 % limits and 3 % for our walks (standard error about 1 % with 4096).
#[test]
fn val_shares_lie_between_sobol_indices() {
    use statrs::distribution::{ContinuousCDF, Normal};
    let text = include_str!("../references/shares.json");
    let reference: serde_json::Value = serde_json::from_str(text).unwrap();
    let g = [0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0];
    let pi = std::f64::consts::PI;
    let bell = Normal::new(0.0, 1.0).unwrap();
    let functions = reference["functions"].as_array().unwrap();
    assert_eq!(functions.len(), 3);
    for function in functions {
        let name = function["name"].as_str().unwrap();
        let value = |u: &[f64]| match name {
            "ishigami" => {
                let x: Vec<f64> = u.iter().map(|u| pi * (2.0 * u - 1.0)).collect();
                x[0].sin() + 7.0 * x[1].sin().powi(2) + 0.1 * x[2].powi(4) * x[0].sin()
            }
            "g" => (u.iter().zip(g))
                .map(|(u, a)| ((4.0 * u - 2.0).abs() + a) / (1.0 + a))
                .product(),
            _ => {
                let ends = [
                    (0.006, 0.020),
                    (0.002, 0.010),
                    (0.001, 0.008),
                    (0.004, 0.012),
                ];
                let squares = u
                    .iter()
                    .zip(ends)
                    .map(|(u, (from, to))| (from + (to - from) * u).powi(2));
                let sd_m = squares.sum::<f64>().sqrt();
                (2.0 * bell.sf(0.045 / sd_m)).ln()
            }
        };
        let of = |key: &str| -> Vec<f64> {
            let list = function[key].as_array().unwrap().iter();
            list.map(|x| x.as_f64().unwrap()).collect()
        };
        let (first, total, within) = (of("first"), of("total"), of("within"));
        let found = shares(5, first.len(), 1, 4096, |u, out| out[0] = value(u));
        let found = &found[0];
        for (place, share) in found.shares.iter().enumerate() {
            let share = share / found.variance;
            let apart = within[place] + 0.03;
            assert!(
                first[place] - apart <= share && share <= total[place] + apart,
                "{name} {place}: {share} of {} to {}",
                first[place],
                total[place]
            );
        }
        assert!((found.shares.iter().sum::<f64>() / found.variance - 1.0).abs() < 1e-9);
    }
}
