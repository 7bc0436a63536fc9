//! A farm simulator that is cheap enough to know its truth: tool error normal with what the unknowns make of it, plants struck by the bell
//! curve, passes with random effects of their own, optionally with bursts in which the error is far greater.

use rowroom::unknowns::band::{Band, Stand};
use rowroom::unknowns::cloud::Cloud;
use rowroom::unknowns::dice::Dice;
use rowroom::unknowns::emulator::Simulated;
use rowroom::unknowns::law::Law;
use rowroom::unknowns::special::ln_two_tails;

/// Speeds, m/s.
pub const SPEEDS_M_S: [f64; 4] = [1.4, 2.0, 2.6, 3.2];

/// Clearances, m.
pub const CLEARANCES_M: [f64; 5] = [0.03, 0.045, 0.06, 0.075, 0.09];

/// How the passes of a farm differ from the trend.
#[derive(Clone, Copy)]
pub struct Kind {
    /// Share of a pass in bursts, before its own unknown factor.
    pub bursts: f64,
    /// Standard deviation of a pass's ln variance.
    pub pass_spread: f64,
}

pub const CALM: Kind = Kind {
    bursts: 0.0,
    pass_spread: 0.3,
};

pub const HEAVY: Kind = Kind {
    bursts: 0.04,
    pass_spread: 0.5,
};

/// Unknowns: noise of the camera, its alignment, latency, wander, plants' scatter, units' setting, share of bursts, wear.
pub fn laws() -> Vec<Law> {
    let cut = |mean, sd| Law::Normal {
        mean,
        sd,
        low: Some(0.0),
        high: None,
    };
    vec![
        Law::LogUniform {
            from: 0.004,
            to: 0.012,
        },
        Law::normal(0.0, 0.006),
        Law::Uniform {
            from: 0.06,
            to: 0.24,
        },
        cut(0.03, 0.009),
        Law::LogUniform {
            from: 0.005,
            to: 0.016,
        },
        cut(0.008, 0.003),
        Law::LogUniform { from: 0.4, to: 2.5 },
        Law::Uniform { from: 0.0, to: 1.0 },
    ]
}

pub fn stand(x: &[f64]) -> Stand {
    Stand {
        plants_sd_m: x[4],
        units_sd_m: x[5],
        rows: 6.0,
        edges_sd_m: 0.004,
    }
}

/// Cells are clearances; stems of 3 mm.
pub fn band(x: &[f64], cell: usize) -> Band {
    Band {
        room_m: CLEARANCES_M[cell] - 0.003,
        apart_m: None,
        other_variance_m2: stand(x).variance_m2(),
    }
}

/// Mean, m, and standard deviation, m, of the tool error of an average pass.
pub fn tool_error(x: &[f64], speed_m_s: f64) -> (f64, f64) {
    let follows = x[3] * (0.5 * x[2] * speed_m_s + 0.15 * x[7] * x[7]);
    let mean = x[1] + 0.002 * x[7] * (speed_m_s - 1.0);
    (mean, (x[0] * x[0] + follows * follows + 9e-6).sqrt())
}

/// A pass: mean and mean square of the tool error, and the rate at each clearance.
pub fn pass(kind: Kind, x: &[f64], speed_m_s: f64, z: [f64; 2]) -> (f64, f64, [f64; 5]) {
    let (mean, sd) = tool_error(x, speed_m_s);
    let mean = mean + 0.3 * sd * z[0];
    let variance = sd * sd * libm::exp(kind.pass_spread * z[1]);
    let share = kind.bursts * x[6];
    let wild = 5.0 * variance;
    let square = (1.0 - share) * variance + share * wild + mean * mean;
    let other = stand(x).variance_m2();
    let rates = CLEARANCES_M.map(|clearance_m| {
        let room = clearance_m - 0.003;
        let struck = |variance: f64| {
            let s = (variance + other).sqrt();
            libm::exp(ln_two_tails((room - mean) / s, (room + mean) / s))
        };
        (1.0 - share) * struck(variance) + share * struck(wild)
    });
    (mean, square, rates)
}

pub fn values(laws: &[Law], point: &[f64]) -> Vec<f64> {
    laws.iter()
        .zip(point)
        .map(|(law, &u)| law.quantile(u))
        .collect()
}

/// Mean rate at each clearance over very many passes: the integral over their two random effects by the trapezoidal rule from -4.2 to 4.2
/// standard deviations in steps of 0.85, which errs by exp(-2 pi²/0.85²) under a bell curve, and by 3e-5 at the ends.
pub fn truth(kind: Kind, x: &[f64], speed_m_s: f64) -> [f64; 5] {
    let nodes: Vec<(f64, f64)> = (-5..=5)
        .map(|i| {
            let z = 0.85 * f64::from(i);
            (
                z,
                0.85 * libm::exp(-0.5 * z * z) / (2.0 * core::f64::consts::PI).sqrt(),
            )
        })
        .collect();
    let mut sums = [0.0; 5];
    for &(a, weight_a) in &nodes {
        for &(b, weight_b) in &nodes {
            let (_, _, rates) = pass(kind, x, speed_m_s, [a, b]);
            for (sum, rate) in sums.iter_mut().zip(rates) {
                *sum += rate * weight_a * weight_b;
            }
        }
    }
    sums
}

/// A study: eight passes for each of the draws, one `Simulated` for each speed.
pub fn study(kind: Kind, seed: u64, draws: usize) -> (Cloud, Vec<u64>, Vec<Simulated>) {
    let cloud = Cloud::new(seed, laws().len(), draws);
    let (passes, simulated) = study_of(kind, seed, &cloud);
    (cloud, passes, simulated)
}

/// The same of given draws.
pub fn study_of(kind: Kind, seed: u64, cloud: &Cloud) -> (Vec<u64>, Vec<Simulated>) {
    let laws = laws();
    let draws = cloud.len();
    let mut dice = Dice::new(seed ^ 0xabcd);
    let mut all: Vec<Simulated> = SPEEDS_M_S
        .iter()
        .map(|_| Simulated {
            tool: vec![Default::default(); draws],
            rates: vec![vec![Default::default(); draws]; 5],
            elsewhere: Vec::new(),
        })
        .collect();
    for i in 0..draws {
        let x = values(&laws, cloud.point(i));
        for _ in 0..8 {
            // The same pass at every speed.
            let z = [dice.normal(), dice.normal()];
            for (one, &speed) in all.iter_mut().zip(&SPEEDS_M_S) {
                let (mean, square, rates) = pass(kind, &x, speed, z);
                one.tool[i].add(mean, square);
                for (cell, rate) in one.rates.iter_mut().zip(rates) {
                    cell[i].add(rate);
                }
            }
        }
    }
    (vec![8; draws], all)
}
