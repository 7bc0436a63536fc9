//! What is known of one input of which only a range or a distribution is known: one value for a farm and its machine, never drawn anew
//! for a pass.

use serde::{Deserialize, Serialize};

use super::special::{normal_probability, normal_quantile};

/// "About X" means between X over this and X times this, every ratio alike: a standard deviation of 23 %. Our rule. People's ranges for
/// what they do not know are too narrow (Lichtenstein, Fischhoff & Phillips, in Judgment under Uncertainty, 1982, chapter 22, from
/// memory: ranges meant to miss 2 times in 100 miss 20 to 40 times), so it is no narrower than what "about" sounds like.
pub const ABOUT: f64 = 1.5;

/// The distribution of an input, in the unit of that input.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Law {
    /// Every value between is as likely.
    Uniform {
        /// Least value.
        from: f64,
        /// Greatest value, above `from`.
        to: f64,
    },
    /// Every ratio is as likely: for what is known to a factor.
    LogUniform {
        /// Least value, above 0.
        from: f64,
        /// Greatest value, above `from`.
        to: f64,
    },
    /// Bell curve, of which what lies outside `low` to `high` is cut off.
    Normal {
        /// Mean before the cut.
        mean: f64,
        /// Standard deviation before the cut, above 0.
        sd: f64,
        /// Least value; `None` without a cut on this side.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        low: Option<f64>,
        /// Greatest value, above `low`; `None` without a cut on this side.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        high: Option<f64>,
    },
}

/// The orthogonal polynomials that go with a law.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Polynomials {
    /// On -1 to 1, for the uniform laws.
    Legendre,
    /// On standard normal numbers.
    Hermite,
}

impl Law {
    /// Bell curve without a cut.
    pub fn normal(mean: f64, sd: f64) -> Self {
        Law::Normal {
            mean,
            sd,
            low: None,
            high: None,
        }
    }

    /// Between two values, the first below the second: every ratio alike where both are above 0, else every value.
    pub fn between(from: f64, to: f64) -> Self {
        if from > 0.0 {
            Law::LogUniform { from, to }
        } else {
            Law::Uniform { from, to }
        }
    }

    /// The same law cut to a range that holds its median.
    pub fn within(self, least: f64, greatest: f64) -> Self {
        match self {
            Law::Uniform { from, to } => Law::Uniform {
                from: from.max(least),
                to: to.min(greatest),
            },
            Law::LogUniform { from, to } => Law::LogUniform {
                from: from.max(least),
                to: to.min(greatest),
            },
            Law::Normal {
                mean,
                sd,
                low,
                high,
            } => Law::Normal {
                mean,
                sd,
                low: Some(low.map_or(least, |low| low.max(least))),
                high: Some(high.map_or(greatest, |high| high.min(greatest))),
            },
        }
    }

    /// What "about `value`" means by [`ABOUT`]; `None` unless the value is above 0 and finite: "about nothing" says no range.
    pub fn about(value: f64) -> Option<Self> {
        (value > 0.0 && value.is_finite()).then(|| Law::LogUniform {
            from: value / ABOUT,
            to: value * ABOUT,
        })
    }

    /// True if the numbers make a law: finite, in order, spread above 0, and of a cut bell curve at least 1e-12 is left.
    pub fn is_sound(&self) -> bool {
        match *self {
            Law::Uniform { from, to } => from.is_finite() && to.is_finite() && from < to,
            Law::LogUniform { from, to } => 0.0 < from && from < to && to.is_finite(),
            Law::Normal {
                mean,
                sd,
                low,
                high,
            } => {
                let (from, to) = ends(low, high);
                let sound = mean.is_finite() && sd > 0.0 && sd.is_finite() && from < to;
                sound && {
                    let cut = Cut::new(mean, sd, from, to);
                    cut.to - cut.from >= 1e-12
                }
            }
        }
    }

    /// Value that is not exceeded with probability `u`, 0 to 1 exclusive. Smooth in `u`, also under a cut.
    pub fn quantile(&self, u: f64) -> f64 {
        match *self {
            Law::Uniform { from, to } => from + (to - from) * u,
            Law::LogUniform { from, to } => from * libm::exp(libm::log(to / from) * u),
            Law::Normal {
                mean,
                sd,
                low: None,
                high: None,
            } => mean + sd * normal_quantile(u),
            Law::Normal {
                mean,
                sd,
                low,
                high,
            } => {
                let (from, to) = ends(low, high);
                Cut::new(mean, sd, from, to).value(u).clamp(from, to)
            }
        }
    }

    /// Where `u` lies on the axis of the polynomials: -1 to 1 of the range (of logarithms, where these are uniform), for a bell curve its
    /// distance from the mean in standard deviations, both before a cut.
    pub fn coordinate(&self, u: f64) -> f64 {
        match *self {
            Law::Uniform { .. } | Law::LogUniform { .. } => 2.0 * u - 1.0,
            Law::Normal { mean, sd, .. } => (self.quantile(u) - mean) / sd,
        }
    }

    /// The polynomials of [`Law::coordinate`].
    pub fn polynomials(&self) -> Polynomials {
        match self {
            Law::Uniform { .. } | Law::LogUniform { .. } => Polynomials::Legendre,
            Law::Normal { .. } => Polynomials::Hermite,
        }
    }

    /// Value below and above which half of the probability lies.
    pub fn median(&self) -> f64 {
        self.quantile(0.5)
    }

    /// Least and greatest value; infinite where a bell curve has no cut.
    pub fn support(&self) -> (f64, f64) {
        match *self {
            Law::Uniform { from, to } | Law::LogUniform { from, to } => (from, to),
            Law::Normal { low, high, .. } => ends(low, high),
        }
    }

    /// The 5 and 95 % points.
    pub fn likely(&self) -> (f64, f64) {
        (self.quantile(0.05), self.quantile(0.95))
    }
}

fn ends(low: Option<f64>, high: Option<f64>) -> (f64, f64) {
    (
        low.unwrap_or(f64::NEG_INFINITY),
        high.unwrap_or(f64::INFINITY),
    )
}

/// A cut bell curve, looked at from the side on which its probabilities do not round to 1.
struct Cut {
    mean: f64,
    sd: f64,
    /// -1 if seen from above.
    side: f64,
    from: f64,
    to: f64,
}

impl Cut {
    fn new(mean: f64, sd: f64, low: f64, high: f64) -> Self {
        let side = if low > mean { -1.0 } else { 1.0 };
        let (near, far) = if side > 0.0 { (low, high) } else { (high, low) };
        Self {
            mean,
            sd,
            side,
            from: normal_probability(side * (near - mean) / sd),
            to: normal_probability(side * (far - mean) / sd),
        }
    }

    fn value(&self, u: f64) -> f64 {
        let u = if self.side > 0.0 { u } else { 1.0 - u };
        self.mean + self.side * self.sd * normal_quantile(self.from + (self.to - self.from) * u)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ends, middle and inner points by hand.
    #[test]
    fn analytic_quantiles_by_hand() {
        let flat = Law::Uniform { from: 2.0, to: 4.0 };
        assert_eq!((flat.quantile(0.25), flat.coordinate(0.25)), (2.5, -0.5));
        let ratios = Law::LogUniform {
            from: 1.0,
            to: 100.0,
        };
        assert!((ratios.median() - 10.0).abs() < 1e-12);
        let bell = Law::normal(3.0, 2.0);
        let (low, high) = bell.likely();
        assert!((low - (3.0 - 2.0 * 1.644_853_626_951_472_7)).abs() < 1e-12);
        assert!((high - (3.0 + 2.0 * 1.644_853_626_951_472_7)).abs() < 1e-12);
        assert!((bell.coordinate(0.95) - 1.644_853_626_951_472_7).abs() < 1e-12);
    }

    /// Half a bell curve: the quantile of |z|. A window far out is seen from its own side.
    #[test]
    fn analytic_cut_bell_curves() {
        let half = Law::Normal {
            mean: 0.0,
            sd: 1.0,
            low: Some(0.0),
            high: None,
        };
        for u in [1e-6, 0.1, 0.5, 0.9, 1.0 - 1e-6] {
            assert!((half.quantile(u) - normal_quantile((1.0 + u) / 2.0)).abs() < 1e-9);
        }
        let window = |low, high| Law::Normal {
            mean: 1.0,
            sd: 0.5,
            low: Some(low),
            high: Some(high),
        };
        let (above, below) = (window(3.5, 4.0), window(-2.0, -1.5));
        assert!(above.is_sound() && below.is_sound());
        for u in [0.01, 0.4, 0.99] {
            // Mirror images about the mean.
            let apart = above.quantile(u) - 1.0 + (below.quantile(1.0 - u) - 1.0);
            assert!(apart.abs() < 1e-12);
            assert!((3.5..=4.0).contains(&above.quantile(u)));
        }
        // Most of the window's probability lies at its near end: ratio of densities exp(-5.5²/2) : exp(-5²/2).
        assert!(above.median() < 3.6);
    }

    /// Rising and continuous in `u`: no jump wider than the density allows.
    #[test]
    fn prop_quantiles_rise() {
        let cut = Law::Normal {
            mean: 10.0,
            sd: 4.0,
            low: Some(8.0),
            high: Some(20.0),
        };
        for law in [Law::about(12.0).unwrap(), Law::normal(0.0, 1.0), cut] {
            let mut last = law.quantile(1e-9);
            for i in 1..1000 {
                let value = law.quantile(f64::from(i) / 1000.0);
                assert!(value > last);
                last = value;
            }
        }
    }

    #[test]
    fn analytic_about_is_a_factor_either_way() {
        let law = Law::about(12.0).unwrap();
        assert!((law.median() - 12.0).abs() < 1e-12);
        assert!(
            (law.quantile(0.0) - 8.0).abs() < 1e-12 && (law.quantile(1.0) - 18.0).abs() < 1e-12
        );
        assert!(Law::about(0.0).is_none() && Law::about(-3.0).is_none());
    }

    #[test]
    fn regress_unsound_laws() {
        assert!(!Law::Uniform { from: 1.0, to: 1.0 }.is_sound());
        assert!(!Law::LogUniform { from: 0.0, to: 1.0 }.is_sound());
        assert!(!Law::normal(0.0, 0.0).is_sound());
        let far = Law::Normal {
            mean: 0.0,
            sd: 1.0,
            low: Some(20.0),
            high: None,
        };
        assert!(!far.is_sound());
    }

    #[test]
    fn regress_written_and_read_again() {
        let cut = Law::Normal {
            mean: 1.0,
            sd: 0.5,
            low: Some(0.0),
            high: None,
        };
        let text = serde_json::to_string(&cut).unwrap();
        assert_eq!(text, r#"{"normal":{"mean":1.0,"sd":0.5,"low":0.0}}"#);
        assert_eq!(serde_json::from_str::<Law>(&text).unwrap(), cut);
    }
}
