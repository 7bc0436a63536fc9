//! Standard series of cylinders and the rule of thumb for oil in hoses.

/// Sizes that a maker has on the shelf.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// Whole millimetres.
    Metric,
    /// Inches and their parts.
    Inch,
}

/// Bores, m: ISO 3320, metric series, as far as a side-shift goes (values from memory).
const METRIC_BORES_M: [f64; 7] = [0.025, 0.032, 0.040, 0.050, 0.063, 0.080, 0.100];

/// Rods, m: ISO 3320, metric series (values from memory).
const METRIC_RODS_M: [f64; 16] = [
    0.012, 0.014, 0.016, 0.018, 0.020, 0.022, 0.025, 0.028, 0.032, 0.036, 0.040, 0.045, 0.050,
    0.056, 0.063, 0.070,
];

/// Strokes, m: ISO 4393, basic series (values from memory).
const METRIC_STROKES_M: [f64; 11] = [
    0.025, 0.050, 0.080, 0.100, 0.125, 0.160, 0.200, 0.250, 0.320, 0.400, 0.500,
];

const INCH_M: f64 = 0.0254;

/// Bores, m: 1, 1-1/8, 1-1/4, 1-1/2, 2, 2-1/2, 3, 3-1/4 and 4 in. 1-1/8, 1-1/2, 2, 2-1/2, 3-1/4 and 4 are those of ANSI B93 and NFPA
/// (second hand), the others are common on farm machines (from memory).
const INCH_BORES_M: [f64; 9] = [
    INCH_M,
    1.125 * INCH_M,
    1.25 * INCH_M,
    1.5 * INCH_M,
    2.0 * INCH_M,
    2.5 * INCH_M,
    3.0 * INCH_M,
    3.25 * INCH_M,
    4.0 * INCH_M,
];

/// Rods, m: 1/2, 5/8, 1, 1-3/8, 1-3/4, 2 and 2-1/2 in of ANSI B93 and NFPA (second hand, 2-1/2 in from memory); 3/4, 1-1/8, 1-1/4 and
/// 1-1/2 in are common on farm machines (from memory).
const INCH_RODS_M: [f64; 11] = [
    0.5 * INCH_M,
    0.625 * INCH_M,
    0.75 * INCH_M,
    INCH_M,
    1.125 * INCH_M,
    1.25 * INCH_M,
    1.375 * INCH_M,
    1.5 * INCH_M,
    1.75 * INCH_M,
    2.0 * INCH_M,
    2.5 * INCH_M,
];

/// Strokes, m: whole inches; no standard is known to us, these are common ones of the trade (from memory).
const INCH_STROKES_M: [f64; 11] = [
    INCH_M,
    2.0 * INCH_M,
    3.0 * INCH_M,
    4.0 * INCH_M,
    5.0 * INCH_M,
    6.0 * INCH_M,
    8.0 * INCH_M,
    10.0 * INCH_M,
    12.0 * INCH_M,
    16.0 * INCH_M,
    20.0 * INCH_M,
];

impl Series {
    /// Bores, m, rising.
    pub fn bores_m(self) -> &'static [f64] {
        match self {
            Series::Metric => &METRIC_BORES_M,
            Series::Inch => &INCH_BORES_M,
        }
    }

    /// Rods, m, rising.
    pub fn rods_m(self) -> &'static [f64] {
        match self {
            Series::Metric => &METRIC_RODS_M,
            Series::Inch => &INCH_RODS_M,
        }
    }

    /// Strokes, m, rising.
    pub fn strokes_m(self) -> &'static [f64] {
        match self {
            Series::Metric => &METRIC_STROKES_M,
            Series::Inch => &INCH_STROKES_M,
        }
    }

    /// Least and greatest area ratio of bore side to rod side. The usual nominal ones of ISO 3320 are 1.25, 1.4, 1.6 and 2 (values
    /// from memory); the diameters of the series miss them by up to 6 %, and no pair of the metric series lies within 1 % of either
    /// end. Inches begin at the thinnest rods of the trade (1 in in 2-1/2 in: 1.19); no pair of theirs lies within 0.5 % of either end.
    pub fn area_ratios(self) -> (f64, f64) {
        match self {
            Series::Metric => (1.21, 2.15),
            Series::Inch => (1.18, 2.15),
        }
    }

    /// Every bore with every rod that gives a usual area ratio, m: bores rising, then rods rising.
    pub fn cylinders_m(self) -> impl Iterator<Item = (f64, f64)> {
        let (least, most) = self.area_ratios();
        self.bores_m().iter().flat_map(move |&bore_m| {
            let rods_m = self.rods_m().iter().copied();
            rods_m
                .filter(move |&rod_m| {
                    rod_m < bore_m && (least..=most).contains(&area_ratio(bore_m, rod_m))
                })
                .map(move |rod_m| (bore_m, rod_m))
        })
    }
}

/// Area of the bore over that of the rod's side.
pub fn area_ratio(bore_m: f64, rod_m: f64) -> f64 {
    let share = rod_m / bore_m;
    1.0 / (1.0 - share * share)
}

const FOOT_M: f64 = 0.3048;
const PSI_PA: f64 = 6_894.757_293_168;

/// Speed of oil in a pressure line that should not be passed, m/s, by the supply pressure, Pa: 15 ft/s below 500 psi (34 bar), 20 ft/s
/// up to 3000 psi (207 bar), 25 ft/s above: the upper ends of a rule of thumb of the trade (second hand).
pub fn greatest_hose_speed_m_s(supply_pa: f64) -> f64 {
    let feet = if supply_pa < 500.0 * PSI_PA {
        15.0
    } else if supply_pa <= 3000.0 * PSI_PA {
        20.0
    } else {
        25.0
    };
    feet * FOOT_M
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Own arithmetic: 40 mm with 28 mm is 1/(1 - 0.49).
    #[test]
    fn analytic_area_ratio_by_hand() {
        assert!((area_ratio(0.040, 0.028) - 1.0 / 0.51).abs() < 1e-12);
    }

    /// Each bore has a rod near each usual ratio, and the ends of the range cut between pairs, not through one.
    #[test]
    fn prop_every_bore_comes_with_every_usual_ratio() {
        let metric = Series::Metric;
        for &bore_m in metric.bores_m() {
            for nominal in [1.25, 1.4, 1.6, 2.0] {
                assert!(
                    metric.cylinders_m().any(|(bore, rod)| bore == bore_m
                        && (area_ratio(bore, rod) / nominal - 1.0).abs() <= 0.06),
                    "{bore_m} {nominal}"
                );
            }
        }
        for (series, apart) in [(metric, 0.01), (Series::Inch, 0.005)] {
            let (least, most) = series.area_ratios();
            for &bore_m in series.bores_m() {
                for &rod_m in series.rods_m().iter().filter(|&&rod_m| rod_m < bore_m) {
                    let ratio = area_ratio(bore_m, rod_m);
                    assert!((ratio / least - 1.0).abs() > apart, "{bore_m} {rod_m}");
                    assert!((ratio / most - 1.0).abs() > apart, "{bore_m} {rod_m}");
                }
            }
        }
    }

    /// Sizes of either series are whole millimetres or sixteenths of an inch; every inch bore has a thin and a thick rod.
    #[test]
    fn prop_sizes_are_those_of_a_shelf() {
        for (series, step_m) in [(Series::Metric, 0.001), (Series::Inch, INCH_M / 16.0)] {
            for sizes_m in [series.bores_m(), series.rods_m(), series.strokes_m()] {
                assert!(sizes_m.windows(2).all(|pair| pair[0] < pair[1]));
                for size_m in sizes_m {
                    let steps = size_m / step_m;
                    assert!((steps - steps.round()).abs() < 1e-9, "{series:?} {size_m}");
                }
            }
            for &bore_m in series.bores_m() {
                let of_bore = series.cylinders_m().filter(|&(bore, _)| bore == bore_m);
                assert!(of_bore.count() >= 2, "{series:?} {bore_m}");
            }
        }
    }

    /// Upper ends of the rule in m/s as it is quoted: 4.6, 6.1 and 7.6 (rounded to 0.05 m/s).
    #[test]
    fn val_hose_speed_by_pressure() {
        for (bar, quoted) in [(30.0, 4.6), (40.0, 6.1), (200.0, 6.1), (210.0, 7.6)] {
            let found = greatest_hose_speed_m_s(bar * 1e5);
            assert!((found - quoted).abs() < 0.05, "{bar} {found}");
        }
    }
}
