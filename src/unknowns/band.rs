//! Which plants a tool strikes, as far as the bell curve goes: the trend that simulation then corrects.

use super::special::ln_two_tails;

/// What adds to the tool error until a plant is met, standard deviations in m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stand {
    /// Of plants about their row.
    pub plants_sd_m: f64,
    /// Of row units' lateral setting.
    pub units_sd_m: f64,
    /// Rows that the camera follows, at least 1: their mean is what is followed.
    pub rows: f64,
    /// Of the edges of the tools.
    pub edges_sd_m: f64,
}

impl Stand {
    /// Variance of all of it, m²: of a unit's error only what the mean of the rows does not hold.
    pub fn variance_m2(&self) -> f64 {
        let units = self.units_sd_m * self.units_sd_m * (1.0 - 1.0 / self.rows.max(1.0));
        self.plants_sd_m * self.plants_sd_m + units + self.edges_sd_m * self.edges_sd_m
    }
}

/// Distances from the row's line beyond which a plant meets one fate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Room in m: clearance less the radius that counts. May be below 0.
    pub room_m: f64,
    /// Room up to a harsher fate that is counted apart, in m, above `room_m` (touched, but not cut: clearance less stem radius); `None`
    /// where none is.
    pub apart_m: Option<f64>,
    /// Variance of all but the tool error, m², see [`Stand::variance_m2`].
    pub other_variance_m2: f64,
}

/// Least variance of tool error and plants together, m²: that of a micrometre.
const LEAST_VARIANCE_M2: f64 = 1e-12;

impl Band {
    /// Logarithm of the share of plants in the band, by the bell curve, for a tool error of this mean and variance. At most 0, finite.
    pub fn ln_share(&self, mean_m: f64, variance_m2: f64) -> f64 {
        let sd_m = (variance_m2 + self.other_variance_m2)
            .max(LEAST_VARIANCE_M2)
            .sqrt();
        let beyond = |room_m: f64| ln_two_tails((room_m - mean_m) / sd_m, (room_m + mean_m) / sd_m);
        let all = beyond(self.room_m);
        match self.apart_m {
            None => all,
            Some(apart_m) => {
                let harsher = beyond(apart_m);
                // ln(e^all - e^harsher), at least a billionth of all.
                all + libm::log((-libm::expm1(harsher - all)).max(1e-9))
            }
        }
    }
}

/// Plants that meet their fate where the tool error is not the one that is fitted: those of the entry stretch.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Elsewhere {
    /// Their share of all plants, 0 to below 1.
    pub share: f64,
    /// Share of them that meet the fate, 0 to 1: the mean over all draws.
    pub rate: f64,
    /// Variance of the tool error there, m², as [`Elsewhere::variance_m2`] finds it: how the rate changes with the band.
    pub variance_m2: f64,
    /// Logarithm of the bell curve's share with that variance in the band of the median farm.
    pub ln_median: f64,
}

impl Elsewhere {
    /// Logarithm of the share of all plants, from that of the others, in a band.
    pub fn with(&self, ln_share: f64, band: &Band) -> f64 {
        if self.share > 0.0 {
            let changes = libm::exp(band.ln_share(0.0, self.variance_m2) - self.ln_median);
            let rate = (self.rate * changes).min(1.0);
            let all = (1.0 - self.share) * libm::exp(ln_share) + self.share * rate;
            libm::log(all.max(f64::MIN_POSITIVE))
        } else {
            ln_share
        }
    }

    /// Variance of a tool error about 0, m², with which a band without a harsher fate holds this share of the plants; the nearest one from
    /// a micrometre to a metre.
    pub fn variance_m2(band: &Band, share: f64) -> f64 {
        let (mut low, mut high) = (libm::log(1e-6), 0.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            let sd_m = libm::exp(middle);
            if libm::exp(band.ln_share(0.0, sd_m * sd_m)) < share {
                low = middle;
            } else {
                high = middle;
            }
        }
        libm::exp(low + high)
    }
}

#[cfg(test)]
mod tests {
    use super::super::special::normal_probability;
    use super::*;

    /// Room 50 mm, error 10 ± 15 mm, plants 20 mm: 25 mm in all.
    #[test]
    fn analytic_share_by_hand() {
        let stand = Stand {
            plants_sd_m: 0.012,
            units_sd_m: 0.016,
            rows: 1e300,
            edges_sd_m: 0.0,
        };
        let mut band = Band {
            room_m: 0.05,
            apart_m: None,
            other_variance_m2: stand.variance_m2(),
        };
        let q = |z: f64| normal_probability(-z);
        let share = libm::exp(band.ln_share(0.01, 0.015 * 0.015));
        assert!((share - q(1.6) - q(2.4)).abs() < 1e-12);
        band.apart_m = Some(0.06);
        let share = libm::exp(band.ln_share(0.01, 0.015 * 0.015));
        assert!((share - (q(1.6) + q(2.4) - q(2.0) - q(2.8))).abs() < 1e-12);
    }

    /// A tenth of the plants stand elsewhere and 0.2 of them are met: 0.9 * 0.01 + 0.02 on the median farm, and where a wider band holds
    /// half as many there too, 0.9 * 0.01 + 0.01; without any the share itself, however small.
    #[test]
    fn analytic_plants_elsewhere_by_hand() {
        let band = |room_m| Band {
            room_m,
            apart_m: None,
            other_variance_m2: 0.01 * 0.01,
        };
        let median = band(0.04);
        let variance_m2 = Elsewhere::variance_m2(&median, 0.2);
        // Two tails of 0.1 each: 1.28155 standard deviations (any table).
        let sd_m = 0.04 / 1.281_551_565_5;
        assert!((variance_m2 + 1e-4 - sd_m * sd_m).abs() < 1e-9);
        let elsewhere = Elsewhere {
            share: 0.1,
            rate: 0.2,
            variance_m2,
            ln_median: median.ln_share(0.0, variance_m2),
        };
        let all = |band: &Band| libm::exp(elsewhere.with(libm::log(0.01), band));
        assert!((all(&median) - 0.029).abs() < 1e-12);
        // Two tails of 0.05 each.
        let wide = band(1.644_853_627 * sd_m);
        assert!((all(&wide) - 0.019).abs() < 1e-9);
        assert_eq!(Elsewhere::default().with(-690.0, &median), -690.0);
    }

    /// With one row the camera follows that row: its unit's error does not count.
    #[test]
    fn analytic_one_row_is_followed_itself() {
        let stand = |rows| Stand {
            plants_sd_m: 0.003,
            units_sd_m: 0.02,
            rows,
            edges_sd_m: 0.004,
        };
        assert!((stand(1.0).variance_m2() - 25e-6).abs() < 1e-18);
        assert!((stand(4.0).variance_m2() - (25e-6 + 0.75 * 4e-4)).abs() < 1e-18);
    }

    #[test]
    fn prop_finite_whatever_the_room() {
        for room_m in [-1.0, 0.0, 0.01, 0.5, 5.0] {
            for (mean_m, variance_m2) in [(0.0, 0.0), (0.3, 1e-9), (-0.02, 1e-4)] {
                for apart_m in [None, Some(room_m + 0.01)] {
                    let band = Band {
                        room_m,
                        apart_m,
                        other_variance_m2: 0.0,
                    };
                    let ln = band.ln_share(mean_m, variance_m2);
                    assert!(ln.is_finite() && ln <= 0.0);
                }
            }
        }
    }
}
