//! Standard series of cylinders and the rule of thumb for oil in hoses.

/// Bores, m: ISO 3320, metric series, as far as a side-shift goes (values from memory).
pub const BORES_M: [f64; 7] = [0.025, 0.032, 0.040, 0.050, 0.063, 0.080, 0.100];

/// Rods, m: ISO 3320, metric series (values from memory).
pub const RODS_M: [f64; 16] = [
    0.012, 0.014, 0.016, 0.018, 0.020, 0.022, 0.025, 0.028, 0.032, 0.036, 0.040, 0.045, 0.050,
    0.056, 0.063, 0.070,
];

/// Strokes, m: ISO 4393, basic series (values from memory).
pub const STROKES_M: [f64; 11] = [
    0.025, 0.050, 0.080, 0.100, 0.125, 0.160, 0.200, 0.250, 0.320, 0.400, 0.500,
];

/// Least and greatest area ratio of bore side to rod side. The usual nominal ones of ISO 3320 are 1.25, 1.4, 1.6 and 2 (values
/// from memory); the diameters of the series miss them by up to 6 %, and no pair of the series lies within 1 % of either end.
pub const AREA_RATIOS: (f64, f64) = (1.21, 2.15);

/// Area of the bore over that of the rod's side.
pub fn area_ratio(bore_m: f64, rod_m: f64) -> f64 {
    let share = rod_m / bore_m;
    1.0 / (1.0 - share * share)
}

/// Every bore with every rod that gives a usual area ratio, m: bores rising, then rods rising.
pub fn cylinders_m() -> impl Iterator<Item = (f64, f64)> {
    let (least, most) = AREA_RATIOS;
    BORES_M.into_iter().flat_map(move |bore_m| {
        RODS_M
            .into_iter()
            .filter(move |&rod_m| {
                rod_m < bore_m && (least..=most).contains(&area_ratio(bore_m, rod_m))
            })
            .map(move |rod_m| (bore_m, rod_m))
    })
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
        let (least, most) = AREA_RATIOS;
        for bore_m in BORES_M {
            for nominal in [1.25, 1.4, 1.6, 2.0] {
                assert!(
                    cylinders_m().any(|(bore, rod)| bore == bore_m
                        && (area_ratio(bore, rod) / nominal - 1.0).abs() <= 0.06),
                    "{bore_m} {nominal}"
                );
            }
            for rod_m in RODS_M.into_iter().filter(|rod_m| *rod_m < bore_m) {
                let ratio = area_ratio(bore_m, rod_m);
                assert!((ratio / least - 1.0).abs() > 0.01, "{bore_m} {rod_m}");
                assert!((ratio / most - 1.0).abs() > 0.01, "{bore_m} {rod_m}");
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
