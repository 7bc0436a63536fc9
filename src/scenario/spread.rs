//! A value of the scenario: one number, the distribution from which every pass draws it anew, or what is known of a number that stays the
//! same for a whole field.

use rand::{Rng, RngExt};

use crate::unknowns::law::Law;

/// A number in SI or its distribution.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spread {
    /// The same in every pass.
    Fixed(f64),
    /// Normal; a draw outside `low` to `high` is drawn again.
    Normal {
        /// Mean of the untruncated law, and the value of the nominal pass.
        mean: f64,
        /// Standard deviation of the untruncated law, above 0.
        sd: f64,
        /// Least value.
        low: f64,
        /// Greatest value.
        high: f64,
    },
    /// Uniform.
    Uniform {
        /// Least value.
        from: f64,
        /// Greatest value.
        to: f64,
    },
    /// Not known, but the same in all passes over a field.
    Unknown {
        /// What is known of it.
        law: Law,
        /// Value of the nominal pass.
        nominal: f64,
    },
}

impl Spread {
    /// Not known but for this law; the nominal pass has its median, of a bell curve what was measured.
    pub fn unknown_as(law: Law) -> Spread {
        Spread::Unknown {
            law,
            nominal: match law {
                Law::Normal { mean, .. } => mean,
                _ => law.median(),
            },
        }
    }

    /// The value of the nominal pass.
    pub fn mean(&self) -> f64 {
        match *self {
            Spread::Fixed(value) => value,
            Spread::Normal { mean, .. } => mean,
            Spread::Uniform { from, to } => from + (to - from) / 2.0,
            Spread::Unknown { nominal, .. } => nominal,
        }
    }

    /// Least and greatest value that a pass can meet.
    pub fn support(&self) -> (f64, f64) {
        match *self {
            Spread::Fixed(value) => (value, value),
            Spread::Normal { low, high, .. } => (low, high),
            Spread::Uniform { from, to } => (from, to),
            Spread::Unknown { law, .. } => law.support(),
        }
    }

    /// True if passes over the same field differ.
    pub fn varies(&self) -> bool {
        matches!(self, Spread::Normal { .. } | Spread::Uniform { .. })
    }

    /// What is known of a number that stays the same for a field; `None` if it is known or varies from pass to pass.
    pub fn unknown(&self) -> Option<Law> {
        match *self {
            Spread::Unknown { law, .. } => Some(law),
            _ => None,
        }
    }

    /// One draw for a pass; of what stays the same for a field its nominal value.
    pub fn draw(&self, rng: &mut impl Rng) -> f64 {
        match *self {
            Spread::Fixed(value) => value,
            Spread::Unknown { nominal, .. } => nominal,
            Spread::Normal {
                mean,
                sd,
                low,
                high,
            } => loop {
                let value = mean + sd * normal(rng);
                if (low..=high).contains(&value) {
                    return value;
                }
            },
            Spread::Uniform { from, to } => from + (to - from) * rng.random::<f64>(),
        }
    }
}

/// A standard normal deviate by Box and Muller, with the `libm` crate so that its bits agree everywhere.
fn normal(rng: &mut impl Rng) -> f64 {
    let u: f64 = 1.0 - rng.random::<f64>();
    let turn: f64 = rng.random();
    (-2.0 * libm::log(u)).sqrt() * libm::cos(2.0 * core::f64::consts::PI * turn)
}
