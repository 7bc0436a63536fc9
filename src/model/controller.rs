//! The controllers, by their fixed names.

/// The five ways to move (or not to move) the frame, in the order of every output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// The frame stays centred: the baseline.
    Locked,
    /// Hysteresis switch on a directional valve.
    OnOff,
    /// PID on a proportional valve.
    Pid,
    /// Sets the shift when the seen row reaches the tools.
    LagCompensated,
    /// The same, corrected by what the measured yaw rate moved the implement since the exposure.
    LagCompensatedYaw,
}

impl Kind {
    /// All kinds in output order.
    pub const ALL: [Kind; 5] = [
        Kind::Locked,
        Kind::OnOff,
        Kind::Pid,
        Kind::LagCompensated,
        Kind::LagCompensatedYaw,
    ];

    /// The fixed name in every output.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Locked => "locked",
            Kind::OnOff => "on_off",
            Kind::Pid => "pid",
            Kind::LagCompensated => "lag_compensated",
            Kind::LagCompensatedYaw => "lag_compensated_yaw",
        }
    }

    /// The kind with that name.
    pub fn from_name(name: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// Hysteresis switch: starts to shift above `on_m`, stops below `off_m`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnOff {
    /// Error at which shifting starts, m.
    pub on_m: f64,
    /// Error at which shifting stops, m, below `on_m`.
    pub off_m: f64,
}

/// PID gains in parallel form; error in m, output in m/s of shift speed:
/// `K_p [1 + T_f/(T_i (1 - z⁻¹)) + T_d (1 - z⁻¹)/((T_fd + T_f) - T_fd z⁻¹)]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pid {
    /// Gain K_p, 1/s.
    pub gain_1_s: f64,
    /// Integral time T_i, s (infinite: no integral part).
    pub integral_s: f64,
    /// Derivative time T_d, s.
    pub derivative_s: f64,
    /// Time constant T_fd of the derivative's filter, s.
    pub derivative_filter_s: f64,
}

impl Pid {
    /// SIMC gains for the plant `e^(-dead_time s)/(s (lag s + 1))`, shift speed in, shift out.
    ///
    /// `K_c = 1/(tau_c + th)`, `tau_I = 4 (tau_c + th)`, `tau_D = lag` in series form, converted to the parallel form; `tau_c_s`
    /// is the closed-loop time constant that is asked for (as long as the dead time: tight but robust), `dead_time_s` counts
    /// latency, valve and half a frame, all in s and at least 0, their sum above 0. The derivative's filter is a tenth of T_d
    /// (common practice, no source). Source: Skogestad, J. Process Control 13:291-309, 2003.
    pub fn simc(tau_c_s: f64, dead_time_s: f64, lag_s: f64) -> Pid {
        let sum_s = tau_c_s + dead_time_s;
        let series_integral_s = 4.0 * sum_s;
        let integral_s = series_integral_s + lag_s;
        let derivative_s = series_integral_s * lag_s / integral_s;
        Pid {
            gain_1_s: (1.0 + lag_s / series_integral_s) / sum_s,
            integral_s,
            derivative_s,
            derivative_filter_s: derivative_s / 10.0,
        }
    }
}

/// Lag compensation, both kinds.
///
/// `dead_time_s`, `spool_lag_s` and `latency_s` are what the controller believes of the machine; the machine itself may
/// differ (cold oil).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LagCompensation {
    /// Inner-loop gain k_p, 1/s; below 1/T_f, and unstable from 2/T_f.
    pub gain_1_s: f64,
    /// Share f of the wanted shift's rate that is fed forward, 0 to 1.
    pub feed_forward: f64,
    /// Valve dead time that the controller believes, s.
    pub dead_time_s: f64,
    /// Spool lag that the controller believes, s.
    pub spool_lag_s: f64,
}

impl LagCompensation {
    /// The row seen now is wanted at the tools `T_a = T_v + T_s + (1 - f)/k_p` after the command, s.
    pub fn actuation_delay_s(&self) -> f64 {
        self.dead_time_s + self.spool_lag_s + (1.0 - self.feed_forward) / self.gain_1_s
    }
}

/// What the scenario gives each controller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Controllers {
    /// Switch, if the machine has a directional valve.
    pub on_off: Option<OnOff>,
    /// PID, if it has a proportional valve.
    pub pid: Option<Pid>,
    /// Lag compensation, if it has a proportional valve and a position sensor.
    pub lag: Option<LagCompensation>,
}

/// Memory of a [`Pid`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PidState {
    integral_m_s: f64,
    derivative_m_s: f64,
    last_error_m: Option<f64>,
}

impl Pid {
    /// Wanted shift speed, m/s, one frame later; what the valve cannot give (`least_m_s` to `most_m_s`) is cut off and the
    /// integral then only runs back.
    pub fn update(
        &self,
        state: &mut PidState,
        error_m: f64,
        frame_s: f64,
        least_m_s: f64,
        most_m_s: f64,
    ) -> f64 {
        let change_m = error_m - state.last_error_m.unwrap_or(error_m);
        state.last_error_m = Some(error_m);
        let filter_s = self.derivative_filter_s;
        state.derivative_m_s = (filter_s * state.derivative_m_s
            + self.gain_1_s * self.derivative_s * change_m)
            / (filter_s + frame_s);
        let integral_m_s = state.integral_m_s + self.gain_1_s * frame_s / self.integral_s * error_m;
        let wanted_m_s = self.gain_1_s * error_m + integral_m_s + state.derivative_m_s;
        let winds_up =
            (wanted_m_s > most_m_s && error_m > 0.0) || (wanted_m_s < least_m_s && error_m < 0.0);
        if !winds_up {
            state.integral_m_s = integral_m_s;
        }
        wanted_m_s
    }

    /// The camera found no row: the frame holds, the next error starts the derivative anew.
    pub fn coast(&self, state: &mut PidState) {
        state.derivative_m_s = 0.0;
        state.last_error_m = None;
    }
}

impl OnOff {
    /// Next state of the switch: -1 shifts right, 0 holds, 1 shifts left.
    pub fn update(&self, now: i8, error_m: f64) -> i8 {
        if error_m > self.on_m {
            1
        } else if error_m < -self.on_m {
            -1
        } else if error_m * f64::from(now) < self.off_m {
            0
        } else {
            now
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Skogestad 2003, second-order half-rule example: dead time 0.77, lag to cancel 1.2. The rule's series form
    /// `K_c (1 + 1/(tau_I s)) (1 + tau_D s)` and ours are the same polynomial, checked at an arbitrary real s
    /// (rounding only: 1e-12).
    #[test]
    fn analytic_simc_parallel_form_is_the_series_form() {
        let pid = Pid::simc(0.77, 0.77, 1.2);
        let s: f64 = 0.9;
        let series = 1.0 / 1.54 * (1.0 + 1.0 / (4.0 * 1.54 * s)) * (1.0 + 1.2 * s);
        let parallel = pid.gain_1_s * (1.0 + 1.0 / (pid.integral_s * s) + pid.derivative_s * s);
        assert!((parallel / series - 1.0).abs() < 1e-12);
    }

    /// Without a lag SIMC is a PI controller: K_c = 1/(tau_c + th), tau_I = 4 (tau_c + th).
    #[test]
    fn analytic_simc_without_lag_is_pi() {
        let pid = Pid::simc(0.2, 0.3, 0.0);
        assert!((pid.gain_1_s - 2.0).abs() < 1e-15 && (pid.integral_s - 2.0).abs() < 1e-15);
        assert_eq!((pid.derivative_s, pid.derivative_filter_s), (0.0, 0.0));
    }
}
