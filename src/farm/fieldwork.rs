//! Laws of field work: capacity, draft, fuel, thrown soil.

use super::{Shank, Soil, Texture};

/// Field capacity, m²/s: `v w eta` (Srivastava, Goering, Rohrbach and Buckmaster, Engineering Principles of Agricultural
/// Machines, 2006, eq. 15.1, there in km/h, m and ha/h).
pub fn capacity_m2_s(speed_m_s: f64, width_m: f64, efficiency: f64) -> f64 {
    speed_m_s * width_m * efficiency
}

/// Field efficiency: the share of the time in the field that is spent working. Driving a row takes `L/v` and every row ends in one
/// turn; `idle_share` of the whole time is lost otherwise. Our own form, from the meaning of the word; ASABE D497 gives 70 to
/// 90 % for row-crop cultivators, 80 % as typical (values from memory).
pub fn efficiency(speed_m_s: f64, row_length_m: f64, turn_s: f64, idle_share: f64) -> f64 {
    let row_s = row_length_m / speed_m_s;
    // A share of all the time, turns in it: as a time per row it would vanish in long rows.
    row_s / (row_s + turn_s) * (1.0 - idle_share)
}

/// Pull of a row-crop cultivator, N: `D = F (A + B S + C S²) W T` with S in km/h, W the number of rows and T the depth in cm
/// (ASABE D497; coefficients per row from memory; the standard gives ±15 %, `no_till` ±20 %, also from memory). C is 0 for these
/// tools. The standard has rows for maize in mind: for narrow rows the pull comes out high.
pub fn draft_n(texture: Texture, shank: Shank, rows: usize, depth_m: f64, speed_m_s: f64) -> f64 {
    let factor = match texture {
        Texture::Fine => 1.0,
        Texture::Medium => 0.85,
        Texture::Coarse => 0.65,
    };
    let (a, b) = match shank {
        Shank::STine => (140.0, 7.0),
        Shank::CShank => (260.0, 13.0),
        Shank::NoTill => (435.0, 21.8),
    };
    // The standard's coefficients want km/h and cm; with SI the pull would come out some hundred times too low.
    let (speed_km_h, depth_cm) = (3.6 * speed_m_s, 100.0 * depth_m);
    factor * (a + b * speed_km_h) * rows as f64 * depth_cm
}

/// Power that a pull takes of the axle, W: `D v` over the share of the axle's power that becomes pull (ASABE EP496, from memory).
pub fn axle_w(draft_n: f64, speed_m_s: f64, traction: f64) -> f64 {
    draft_n * speed_m_s / traction
}

/// Diesel at full throttle, L/h: `0.22 X + 0.096` litres per kWh of rated power, X the share of that power in use (ASABE D497.7,
/// second hand; that it means full throttle is from memory). `None` beyond the rated power.
pub fn fuel_l_per_h(rated_w: f64, load_share: f64) -> Option<f64> {
    // Litres per kWh of the rated power, not of that in use: the load stands inside the bracket.
    (load_share <= 1.0).then(|| (0.22 * load_share + 0.096) * rated_w / 1000.0)
}

/// Speeds in the soil bin of the published form of [`thrown_m`], m/s.
pub const THROWN_TRIED_M_S: (f64, f64) = (0.70, 2.22);

/// How far beyond the edge of the tools soil flies, m. That it grows in a straight line with speed and does not depend on the
/// width of the tool is published (Evaluation of inter-row sweeps with different working widths, ASABE: 0.70 to 2.22 m/s, 50 mm
/// deep, sandy loam; its coefficients were not at hand). That the line runs through the origin and one observation in the field
/// is our assumption, no source.
pub fn thrown_m(soil: &Soil, speed_m_s: f64) -> f64 {
    soil.thrown_m * speed_m_s / soil.thrown_at_m_s
}

/// Speed at which soil flies that far, m/s: [`thrown_m`] the other way round; infinite if none flies.
pub fn thrown_at_m_s(soil: &Soil, thrown_m: f64) -> f64 {
    if soil.thrown_m > 0.0 {
        soil.thrown_at_m_s * thrown_m.max(0.0) / soil.thrown_m
    } else {
        f64::INFINITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HA_PER_H: f64 = 10_000.0 / 3600.0;

    fn close(a: f64, b: f64, tolerance: f64) {
        assert!((a - b).abs() <= tolerance, "{a} is not {b}");
    }

    fn soil() -> Soil {
        Soil {
            thrown_m: 0.04,
            thrown_at_m_s: 6.0 / 3.6,
            may_cover: false,
            depth_m: 0.05,
            texture: Texture::Fine,
            shank: Shank::STine,
            traction: 0.72,
            tractor_w: 75_000.0,
        }
    }

    /// GRDC machinery fact sheet: 8 km/h, 18.33 m, 80 % make 11.73 ha/h; given to 0.01, so half of it is the tolerance.
    #[test]
    fn val_field_capacity_of_a_fact_sheet() {
        let ha_h = capacity_m2_s(8.0 / 3.6, 18.33, 0.8) / HA_PER_H;
        close(ha_h, 11.73, 0.005);
    }

    /// Own arithmetic: 200 m at 2 m/s take 100 s, with a turn of 25 s 80 %, of which a tenth is lost: 72 %.
    #[test]
    fn analytic_efficiency_of_row_and_turn() {
        close(efficiency(2.0, 200.0, 25.0, 0.1), 0.72, 1e-12);
        close(efficiency(2.0, 200.0, 0.0, 0.0), 1.0, 1e-12);
    }

    /// ASABE D497 calls 70 to 90 % usual and 80 % typical for row-crop cultivators at 8 km/h (values from memory). The defaults of
    /// this program, 20 s and 10 %, on rows of 400 m lie within.
    #[test]
    fn val_efficiency_lies_in_the_range_of_the_standard() {
        let share = efficiency(8.0 / 3.6, 400.0, 20.0, 0.1);
        assert!((0.7..=0.9).contains(&share), "{share}");
    }

    /// ASABE D497 with coefficients from memory, own arithmetic: 6 rows, S-tines, 5 cm, 8 km/h: (140 + 7 * 8) * 6 * 5 = 5880 N.
    #[test]
    fn val_draft_of_six_rows() {
        let draft = |texture| draft_n(texture, Shank::STine, 6, 0.05, 8.0 / 3.6);
        close(draft(Texture::Fine), 5880.0, 1e-9);
        close(draft(Texture::Medium), 4998.0, 1e-9);
        close(draft(Texture::Coarse), 3822.0, 1e-9);
        let fine = |shank| draft_n(Texture::Fine, shank, 6, 0.05, 8.0 / 3.6);
        // (260 + 104) * 30 and (435 + 174.4) * 30.
        close(fine(Shank::CShank), 10_920.0, 1e-9);
        close(fine(Shank::NoTill), 18_282.0, 1e-9);
    }

    /// Own arithmetic: 5880 N at 8 km/h are 13.07 kW (5880 * 8 / 3600), over 72 % 18.15 kW.
    #[test]
    fn val_power_of_that_draft() {
        close(axle_w(5880.0, 8.0 / 3.6, 1.0), 13_066.7, 0.05);
        close(axle_w(5880.0, 8.0 / 3.6, 0.72), 18_148.1, 0.05);
    }

    /// Own arithmetic: half the load of 75 kW, (0.11 + 0.096) * 75 = 15.45 L/h; idle 7.2 L/h; full 23.7 L/h.
    #[test]
    fn analytic_fuel_by_load() {
        close(fuel_l_per_h(75_000.0, 0.5).unwrap(), 15.45, 1e-9);
        close(fuel_l_per_h(75_000.0, 0.0).unwrap(), 7.2, 1e-9);
        close(fuel_l_per_h(75_000.0, 1.0).unwrap(), 23.7, 1e-9);
        assert_eq!(fuel_l_per_h(75_000.0, 1.001), None);
    }

    /// Own arithmetic: 40 mm at 6 km/h are 80 mm at 12 km/h and 20 mm at 3 km/h; and back.
    #[test]
    fn analytic_thrown_soil_through_origin_and_observation() {
        close(thrown_m(&soil(), 12.0 / 3.6), 0.08, 1e-15);
        close(thrown_m(&soil(), 3.0 / 3.6), 0.02, 1e-15);
        close(thrown_at_m_s(&soil(), 0.08), 12.0 / 3.6, 1e-12);
        let none = Soil {
            thrown_m: 0.0,
            ..soil()
        };
        assert_eq!(thrown_at_m_s(&none, 0.02), f64::INFINITY);
    }
}
