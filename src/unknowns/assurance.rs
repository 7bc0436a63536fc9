//! How sure one can be that a setting keeps the allowed rate, and which speed or clearance is sure enough.

use serde::{Deserialize, Serialize};

use super::limits::quantiles;

/// How far an axis may be gone along before the allowed rate is passed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reach {
    /// Even the mildest value of the axis passes it: none is slow, or wide, enough.
    None,
    /// Up to this value of the axis (speed: at most; clearance: at least), in its unit.
    At(f64),
    /// Every value of the axis that was simulated keeps it.
    All,
}

/// The values at which rates are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Axis<'a> {
    /// Rising; more of it strikes more: speed in m/s.
    Harsher(&'a [f64]),
    /// Rising; more of it strikes less: clearance in m.
    Milder(&'a [f64]),
}

impl Axis<'_> {
    /// The values, in rising order.
    pub fn values(&self) -> &[f64] {
        match self {
            Axis::Harsher(values) | Axis::Milder(values) => values,
        }
    }

    /// Where the logarithm of the rate, given at each value of the axis in rising order, first passes the allowed one on the way from the
    /// mildest value; linear between values.
    pub fn reach(&self, ln_rates: impl Fn(usize) -> f64, ln_allowed: f64) -> Reach {
        let values = self.values();
        let count = values.len();
        let place = |step: usize| match self {
            Axis::Harsher(_) => step,
            Axis::Milder(_) => count - 1 - step,
        };
        let mut before: Option<(f64, f64)> = None;
        for step in 0..count {
            let index = place(step);
            let (value, ln_rate) = (values[index], ln_rates(index));
            if ln_rate > ln_allowed || ln_rate.is_nan() {
                let Some((last, kept)) = before else {
                    return Reach::None;
                };
                let share = (ln_allowed - kept) / (ln_rate - kept);
                return Reach::At(if share.is_finite() {
                    last + (value - last) * share.clamp(0.0, 1.0)
                } else {
                    last
                });
            }
            before = Some((value, ln_rate));
        }
        if count == 0 { Reach::None } else { Reach::All }
    }

    /// The reach as a number: beyond the axis' ends, infinite on that side.
    fn number(&self, reach: Reach) -> f64 {
        match (self, reach) {
            (_, Reach::At(value)) => value,
            (Axis::Harsher(_), Reach::None) | (Axis::Milder(_), Reach::All) => f64::NEG_INFINITY,
            (Axis::Harsher(_), Reach::All) | (Axis::Milder(_), Reach::None) => f64::INFINITY,
        }
    }

    /// The reach as a number that can be averaged: beyond the axis' ends, these ends.
    pub fn held(&self, reach: Reach) -> f64 {
        let values = self.values();
        match (values.first(), values.last()) {
            (Some(&first), Some(&last)) => self.number(reach).clamp(first, last),
            _ => f64::NAN,
        }
    }

    /// The reach that a share `level` (0 to 1) of all weight has at least: the assured speed, or clearance.
    pub fn assured(&self, weights: &[f64], reaches: &[Reach], level: f64) -> Reach {
        let numbers: Vec<f64> = reaches.iter().map(|&reach| self.number(reach)).collect();
        let (level, nothing) = match self {
            Axis::Harsher(_) => (1.0 - level, f64::NEG_INFINITY),
            Axis::Milder(_) => (level, f64::INFINITY),
        };
        let [value] = quantiles(weights, &numbers, [level]);
        if value.is_finite() {
            Reach::At(value)
        } else if value == nothing || value.is_nan() {
            Reach::None
        } else {
            Reach::All
        }
    }
}

/// Share of all weight whose rate is at most the allowed one, 0 to 1.
pub fn assurance(weights: &[f64], ln_rates: &[f64], ln_allowed: f64) -> f64 {
    let total: f64 = weights.iter().sum();
    let kept = weights.iter().zip(ln_rates);
    kept.filter(|&(_, &ln_rate)| ln_rate <= ln_allowed)
        .map(|(weight, _)| weight)
        .sum::<f64>()
        / total
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPEEDS: [f64; 3] = [1.0, 2.0, 3.0];

    #[test]
    fn analytic_first_crossing_by_hand() {
        let speeds = Axis::Harsher(&SPEEDS);
        let reach = |ln: [f64; 3]| speeds.reach(|i| ln[i], -4.0);
        assert_eq!(reach([-6.0, -5.0, -3.0]), Reach::At(2.5));
        assert_eq!(reach([-3.0, -5.0, -6.0]), Reach::None);
        assert_eq!(reach([-6.0, -5.0, -4.0]), Reach::All);
        // The first crossing counts, not the last.
        assert_eq!(reach([-5.0, -3.0, -5.0]), Reach::At(1.5));
        let clearances = Axis::Milder(&SPEEDS);
        let reach = |ln: [f64; 3]| clearances.reach(|i| ln[i], -4.0);
        assert_eq!(reach([-3.0, -5.0, -6.0]), Reach::At(1.5));
        assert_eq!(reach([-3.0, -5.0, -3.0]), Reach::None);
        assert_eq!(reach([-5.0, -5.5, -6.0]), Reach::All);
        assert_eq!(reach([-5.0, -3.0, -5.0]), Reach::At(2.5));
        assert_eq!(Axis::Milder(&[]).reach(|_| 0.0, 0.0), Reach::None);
    }

    /// Crossings 1.1, 1.2 ... 3: nineteen in twenty keep 1.2 (95 %: between the first and second of twenty).
    #[test]
    fn analytic_assured_values() {
        let reaches: Vec<Reach> = (1..=20)
            .map(|i| Reach::At(1.0 + 0.1 * f64::from(i)))
            .collect();
        let weights = [0.05; 20];
        let at = |axis: Axis, level| match axis.assured(&weights, &reaches, level) {
            Reach::At(value) => value,
            other => panic!("{other:?}"),
        };
        let speeds = Axis::Harsher(&SPEEDS);
        assert!((at(speeds, 0.5) - 2.05).abs() < 1e-9);
        assert!((at(speeds, 0.95) - 1.15).abs() < 1e-9);
        assert!((at(Axis::Milder(&SPEEDS), 0.95) - 2.95).abs() < 1e-9);
    }

    #[test]
    fn analytic_assured_ends() {
        let mixed = [Reach::None, Reach::At(2.0), Reach::All, Reach::All];
        let weights = [0.25; 4];
        let speeds = Axis::Harsher(&SPEEDS);
        assert_eq!(speeds.assured(&weights, &mixed, 0.95), Reach::None);
        assert_eq!(speeds.assured(&weights, &mixed, 0.2), Reach::All);
        let clearances = Axis::Milder(&SPEEDS);
        assert_eq!(clearances.assured(&weights, &mixed, 0.95), Reach::None);
        assert_eq!(clearances.assured(&weights, &mixed, 0.2), Reach::All);
        assert_eq!(clearances.held(Reach::All), 1.0);
        assert_eq!(speeds.held(Reach::All), 3.0);
    }

    /// Weighted: half the farms at twice the weight.
    #[test]
    fn analytic_assurance_of_a_setting() {
        let found = assurance(&[2.0, 1.0, 2.0, 1.0], &[-5.0, -5.0, -3.0, -4.0], -4.0);
        assert!((found - 4.0 / 6.0).abs() < 1e-12);
    }
}
