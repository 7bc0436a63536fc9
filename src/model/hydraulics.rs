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
        let push = self.supply_pa * driven - self.return_pa * other - load;
        rated_flow_m3_s * (push.max(0.0) / (rated_drop_pa * (a1 * a1 * a1 + a2 * a2 * a2))).sqrt()
    }

    /// Speed that the pump's flow allows, m/s.
    pub fn pump_speed_m_s(&self, way: Stroke) -> f64 {
        self.pump_m3_s / self.driven_area_m2(way)
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
            .metered_speed_m_s(self.rated_flow_m3_s, self.rated_drop_pa, way, false)
            .min(hydraulics.pump_speed_m_s(way))
    }

    /// Speed of a fully open valve under load and oil temperature before the pump limit, m/s.
    pub fn open_speed_m_s(&self, hydraulics: &Hydraulics, way: Stroke) -> f64 {
        let flow = self.rated_flow_m3_s * hydraulics.cold_flow_factor;
        hydraulics.metered_speed_m_s(flow, self.rated_drop_pa, way, true)
    }

    /// Real small-signal shift speed over the one that the controller reckons with: 1 without load, cold oil and pump limit.
    pub fn speed_ratio(&self, hydraulics: &Hydraulics, way: Stroke) -> f64 {
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
