//! Valve, pump, cylinder and frame of the side-shift.

/// Proportional valve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ProportionalValve {
    /// Rated flow per edge, m³/s.
    pub rated_flow_m3_s: f64,
    /// Pressure drop per edge at the rated flow, Pa.
    pub rated_drop_pa: f64,
    /// Dead time T_v, s.
    pub dead_time_s: f64,
    /// First-order spool lag T_s, s.
    pub spool_lag_s: f64,
    /// Share of the command either way that opens nothing, 0 to 0.5.
    pub deadband: f64,
    /// Share of the deadband that the electronics jump over, 0 to 1.
    pub deadband_compensation: f64,
}

/// Directional (on-off) valve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DirectionalValve {
    /// Rated flow per edge, m³/s.
    pub rated_flow_m3_s: f64,
    /// Pressure drop per edge at the rated flow, Pa.
    pub rated_drop_pa: f64,
    /// Time from command to open, s.
    pub open_s: f64,
    /// Time from command to closed, s.
    pub close_s: f64,
}

/// Side-shift hydraulics. Extension moves the frame towards `extends_left`'s side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hydraulics {
    /// Supply pressure p_s, Pa.
    pub supply_pa: f64,
    /// Return pressure p_r, Pa.
    pub return_pa: f64,
    /// Flow that the tractor gives, m³/s.
    pub pump_m3_s: f64,
    /// Cylinder bore diameter, m.
    pub bore_m: f64,
    /// Rod diameter, m, below the bore.
    pub rod_m: f64,
    /// Total travel, m: the shift stays within half of it either way.
    pub stroke_m: f64,
    /// True: extension moves the frame to the left.
    pub extends_left: bool,
    /// Sideways force of soil and slope on the frame towards the left, N, signed.
    pub side_force_n: f64,
    /// Friction against the motion, N, at least 0.
    pub friction_n: f64,
    /// Play between cylinder and frame, total, m.
    pub backlash_m: f64,
    /// Proportional valve, if fitted.
    pub proportional: Option<ProportionalValve>,
    /// Directional valve, if fitted.
    pub directional: Option<DirectionalValve>,
    /// Cold oil: factor on dead time and switching times, at least 1.
    pub cold_dead_time_factor: f64,
    /// Cold oil: factor on the spool lag, at least 1.
    pub cold_lag_factor: f64,
    /// Cold oil: factor on the rated flow, at most 1.
    pub cold_flow_factor: f64,
}

/// Young's modulus of steel, Pa: 210 GPa, as usual in reckoning rods (makers' rules of the trade; EN 1993-1-1 from memory).
pub const STEEL_PA: f64 = 210e9;

/// Buckling load over greatest load that the rod of a cylinder must have: 3.5, within the 3 to 5 of the trade (textbooks of oil
/// hydraulics; value from memory). ISO/TS 13725:2021 leaves the factor to whoever reckons (abstract read).
pub const BUCKLING_SAFETY: f64 = 3.5;

/// What the length of a cylinder between its pins, drawn in, has over its stroke: piston, head, bottom and eyes. This much, m, and so
/// many bores (assumed: between the short and the long makes of the trade).
const EYES_M: f64 = 0.1;
const EYES_BORES: f64 = 3.0;

/// Euler's buckling load of a column between two pins, N: `pi² E I / L²`.
pub fn euler_load_n(modulus_pa: f64, second_moment_m4: f64, length_m: f64) -> f64 {
    let pi = core::f64::consts::PI;
    pi * pi * modulus_pa * second_moment_m4 / (length_m * length_m)
}

/// Second moment of area of a round rod, m⁴.
pub fn second_moment_m4(diameter_m: f64) -> f64 {
    let square_m2 = diameter_m * diameter_m;
    core::f64::consts::PI / 64.0 * square_m2 * square_m2
}

/// The way the cylinder moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stroke {
    /// Oil into the bore side.
    Extending,
    /// Oil into the rod side.
    Retracting,
}

impl Hydraulics {
    /// Bore area A1, m².
    pub fn bore_area_m2(&self) -> f64 {
        core::f64::consts::FRAC_PI_4 * self.bore_m * self.bore_m
    }

    /// Annulus area A2 on the rod side, m².
    pub fn rod_side_area_m2(&self) -> f64 {
        self.bore_area_m2() - core::f64::consts::FRAC_PI_4 * self.rod_m * self.rod_m
    }

    /// Area into which the oil flows, m².
    pub fn driven_area_m2(&self, way: Stroke) -> f64 {
        match way {
            Stroke::Extending => self.bore_area_m2(),
            Stroke::Retracting => self.rod_side_area_m2(),
        }
    }

    /// The way the cylinder moves when the frame goes left (`true`) or right.
    pub fn way(&self, to_the_left: bool) -> Stroke {
        if to_the_left == self.extends_left {
            Stroke::Extending
        } else {
            Stroke::Retracting
        }
    }

    /// External force against extension, N, signed.
    pub fn force_against_extension_n(&self) -> f64 {
        if self.extends_left {
            -self.side_force_n
        } else {
            self.side_force_n
        }
    }

    /// Speed that the metering edges alone would give a fully open valve, m/s; 0 where the load stands against it.
    ///
    /// Extending: `Q_r sqrt(max(0, p_s A1 - p_r A2 - F - R) / (dp_r (A1³ + A2³)))`; retracting with A1 and A2 swapped and
    /// F reversed. `loaded` false: F = R = 0.
    pub fn metered_speed_m_s(
        &self,
        rated_flow_m3_s: f64,
        rated_drop_pa: f64,
        way: Stroke,
        loaded: bool,
    ) -> f64 {
        let (a1, a2) = (self.bore_area_m2(), self.rod_side_area_m2());
        let (driven, other, force) = match way {
            Stroke::Extending => (a1, a2, self.force_against_extension_n()),
            Stroke::Retracting => (a2, a1, -self.force_against_extension_n()),
        };
        let load = if loaded { force + self.friction_n } else { 0.0 };
        // Both edges throttle, Q_r sqrt(dp/dp_r) each: with the two chamber pressures eliminated the cubes of both areas are left.
        // One edge alone would give too much speed.
        let push = self.supply_pa * driven - self.return_pa * other - load;
        // A load beyond the supply holds the frame where it is; it is not taken to run back.
        rated_flow_m3_s * (push.max(0.0) / (rated_drop_pa * (a1 * a1 * a1 + a2 * a2 * a2))).sqrt()
    }

    /// Speed that the pump's flow allows, m/s.
    pub fn pump_speed_m_s(&self, way: Stroke) -> f64 {
        // The pump fills the driven side only: the same flow moves the smaller rod side faster.
        self.pump_m3_s / self.driven_area_m2(way)
    }

    /// Free buckling length, m: from pin to pin with the rod fully out. Drawn in, a cylinder is as long as its stroke, piston, head,
    /// bottom and eyes; the stroke comes on top.
    pub fn buckling_length_m(&self) -> f64 {
        2.0 * self.stroke_m + EYES_M + EYES_BORES * self.bore_m
    }

    /// The stroke at which the free buckling length is this one, m; below 0 if no stroke is that short.
    pub fn stroke_of_buckling_length_m(&self, length_m: f64) -> f64 {
        0.5 * (length_m - EYES_M - EYES_BORES * self.bore_m)
    }

    /// Buckling load of the rod over the greatest load that it can get: Euler's, both ends pinned, the barrel counted as no stiffer
    /// than the rod (safe), rod fully out, against the supply on the whole bore (the frame at its stop, nothing back from the return).
    ///
    /// At least [`BUCKLING_SAFETY`] is wanted.
    pub fn buckling_reserve(&self) -> f64 {
        let load_n = self.supply_pa * self.bore_area_m2();
        let rod_m4 = second_moment_m4(self.rod_m);
        euler_load_n(STEEL_PA, rod_m4, self.buckling_length_m()) / load_n
    }

    /// Force of the cylinder at standstill, N: supply on the driven side, return pressure on the other.
    pub fn stall_force_n(&self, way: Stroke) -> f64 {
        let (driven, other) = match way {
            Stroke::Extending => (self.bore_area_m2(), self.rod_side_area_m2()),
            Stroke::Retracting => (self.rod_side_area_m2(), self.bore_area_m2()),
        };
        self.supply_pa * driven - self.return_pa * other
    }
}

impl ProportionalValve {
    /// No-load speed that the controller reckons with (warm oil, F = R = 0, pump limit in), m/s.
    pub fn no_load_speed_m_s(&self, hydraulics: &Hydraulics, way: Stroke) -> f64 {
        hydraulics
            // Neither load nor cold oil: an electronic box is set up once and knows neither. What that costs shows in speed_ratio.
            .metered_speed_m_s(self.rated_flow_m3_s, self.rated_drop_pa, way, false)
            .min(hydraulics.pump_speed_m_s(way))
    }

    /// Speed of a fully open valve under load and oil temperature before the pump limit, m/s.
    pub fn open_speed_m_s(&self, hydraulics: &Hydraulics, way: Stroke) -> f64 {
        let flow = self.rated_flow_m3_s * hydraulics.cold_flow_factor;
        // The pump only cuts off the top: small openings scale with the speed that the edges alone would give.
        hydraulics.metered_speed_m_s(flow, self.rated_drop_pa, way, true)
    }

    /// Real small-signal shift speed over the one that the controller reckons with: 1 without load, cold oil and pump limit.
    pub fn speed_ratio(&self, hydraulics: &Hydraulics, way: Stroke) -> f64 {
        // Above 1 where the pump cuts the full opening: the controller then divides by less than a small opening gives.
        self.open_speed_m_s(hydraulics, way) / self.no_load_speed_m_s(hydraulics, way)
    }
}

impl DirectionalValve {
    /// Speed of the open valve under load and oil temperature, pump limit in, m/s.
    pub fn open_speed_m_s(&self, hydraulics: &Hydraulics, way: Stroke) -> f64 {
        let flow = self.rated_flow_m3_s * hydraulics.cold_flow_factor;
        hydraulics
            .metered_speed_m_s(flow, self.rated_drop_pa, way, true)
            .min(hydraulics.pump_speed_m_s(way))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::setup::Setup;

    /// A column of 2 m with pins at both ends, E = 13 GPa, 100 kN with a factor of safety of 2.5: a square of 98.3 mm (Beer and Johnston,
    /// Mechanics of Materials, chapter 10, first example; values from memory).
    #[test]
    fn val_euler_square_column_published() {
        let side_m = 0.0983_f64;
        let load_n = euler_load_n(13e9, side_m.powi(4) / 12.0, 2.0);
        // Three digits of the side are four times as uncertain in the load.
        assert!((load_n / 250e3 - 1.0).abs() < 4.0 * 0.05 / 98.3, "{load_n}");
    }

    /// A tube of 3 in outer and 2.75 in inner radius, 24 ft between pins, E = 29 000 ksi: 64.5 kip (Hibbeler, Mechanics of Materials,
    /// chapter 13, first example; values from memory). The tube is the round rod less the round hole.
    #[test]
    fn val_euler_round_tube_published() {
        let inch_m = 0.0254;
        let tube_m4 = second_moment_m4(6.0 * inch_m) - second_moment_m4(5.5 * inch_m);
        let load_n = euler_load_n(29e6 * 6_894.757_293_168, tube_m4, 24.0 * 0.3048);
        let kip = load_n / 4_448.221_615_260_5;
        assert!((kip - 64.5).abs() < 0.05, "{kip}");
    }

    /// By hand: bore 50 mm, rod 28 mm, stroke 400 mm, 180 bar. Pins 2 x 0.4 + 0.1 + 3 x 0.05 = 1.05 m apart; I = pi/64 x 2.8⁴ cm⁴ =
    /// 3.017 cm⁴; pi² x 210 GPa x I = 62.54 kN m²; over 1.1025 m² 56.72 kN. The bore (19.635 cm²) pushes 35.34 kN: 1.605 times.
    #[test]
    fn analytic_buckling_reserve_by_hand() {
        let mut oil = Setup::plausible().hydraulics;
        (oil.bore_m, oil.rod_m, oil.stroke_m) = (0.050, 0.028, 0.4);
        assert!((oil.buckling_length_m() - 1.05).abs() < 1e-12);
        assert!((oil.stroke_of_buckling_length_m(1.05) - 0.4).abs() < 1e-12);
        let reserve = oil.buckling_reserve();
        assert!((reserve - 1.605).abs() < 5e-4, "{reserve}");
        // Friction, return pressure and side do not help the rod.
        oil.friction_n = 5000.0;
        oil.return_pa *= 2.0;
        oil.extends_left = !oil.extends_left;
        assert_eq!(oil.buckling_reserve(), reserve);
    }
}
