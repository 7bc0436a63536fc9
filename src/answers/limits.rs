//! What bounds the speed beside the plants that are cut: soil, power, oil, the camera's sight and the days for a round.
//!
//! Each bound is a closed form of the machine and the farm, but for the oil's, which reads the simulated demand between speeds.

use crate::farm::fieldwork::{axle_w, draft_n, thrown_at_m_s};
use crate::farm::{Farm, Land, Soil};
use crate::linear;
use crate::model::controller::{Kind, ValveKind};
use crate::model::hydraulics::Stroke;
use crate::model::setup::Setup;
use crate::results::answers::{Bound, Demand, Holds, SpeedLimit};

/// The bounds of one machine on its field.
pub struct Limits<'a> {
    /// The machine.
    pub setup: &'a Setup,
    /// The same on the steepest slope of its field.
    pub on_slope: &'a Setup,
    /// The farm.
    pub farm: &'a Farm,
    /// What the rows ask of the side-shift, at every simulated speed.
    pub demand: &'a [Demand],
    /// Simulated speeds, m/s, rising.
    pub speeds_m_s: &'a [f64],
}

impl Limits<'_> {
    /// Every bound but that of cut plants, for a controller at a clearance, m; those whose numbers the scenario does not give are left
    /// out.
    pub fn of(&self, kind: Kind, clearance_m: f64) -> Vec<SpeedLimit> {
        let rows = self.setup.rows.offset_m.len();
        let soil = self.farm.soil.as_ref();
        [
            soil.and_then(|soil| thrown_soil(soil, clearance_m - self.setup.plants.stem_radius_m)),
            soil.and_then(|soil| tractor_power(soil, rows)),
            self.oil(kind),
            linear::critical_speed(self.setup, kind)
                .map(|speed_m_s| up_to(Bound::CameraSight, speed_m_s)),
            self.farm
                .land
                .as_ref()
                .and_then(|land| days_available(land, self.farm.pass_width_m)),
            self.speeds_m_s
                .last()
                .map(|&fastest_m_s| up_to(Bound::SimulatedSpeeds, fastest_m_s)),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// Up to the speed at which 99.9 % of the way asks for no faster shifting than the fully open valve, the pump and the load allow
    /// on the slower way, straight between simulated speeds.
    fn oil(&self, kind: Kind) -> Option<SpeedLimit> {
        let oil = &self.on_slope.hydraulics;
        let ways = [Stroke::Extending, Stroke::Retracting];
        let shift_m_s = match kind.valve()? {
            ValveKind::Directional => {
                ways.map(|way| Some(oil.directional?.open_speed_m_s(oil, way)))
            }
            ValveKind::Proportional => ways.map(|way| {
                let valve = oil.proportional?;
                Some(valve.open_speed_m_s(oil, way).min(oil.pump_speed_m_s(way)))
            }),
        };
        let [Some(out_m_s), Some(in_m_s)] = shift_m_s else {
            return None;
        };
        let asked: Vec<(f64, f64)> = self
            .speeds_m_s
            .iter()
            .map(|&speed_m_s| (speed_m_s, wanted_shift_speed_m_s(self.demand, speed_m_s)))
            .collect();
        Some(reached(Bound::Oil, &asked, out_m_s.min(in_m_s)))
    }
}

/// Speed of the wanted shift that 99.9 % of the distance stays under at a simulated speed, at the worst place, m/s.
pub fn wanted_shift_speed_m_s(demand: &[Demand], speed_m_s: f64) -> f64 {
    let at_speed = demand.iter().filter(|at| at.speed_m_s == speed_m_s);
    let asked = at_speed.map(|at| at.shift_speed_p999_m_s.value);
    asked.fold(0.0, f64::max)
}

fn up_to(cause: Bound, speed_m_s: f64) -> SpeedLimit {
    SpeedLimit {
        cause,
        holds: Holds::UpTo,
        speed_m_s: Some(speed_m_s),
    }
}

fn without_speed(cause: Bound, holds: Holds) -> SpeedLimit {
    SpeedLimit {
        cause,
        holds,
        speed_m_s: None,
    }
}

/// Where something that grows with speed reaches what there is, straight between the speeds at which it is known.
fn reached(cause: Bound, known: &[(f64, f64)], most: f64) -> SpeedLimit {
    let Some(first) = known.iter().position(|&(_, asked)| asked > most) else {
        return without_speed(cause, Holds::Always);
    };
    if first == 0 {
        return without_speed(cause, Holds::Never);
    }
    let ((slow_m_s, less), (fast_m_s, more)) = (known[first - 1], known[first]);
    let part = ((most - less) / (more - less)).clamp(0.0, 1.0);
    up_to(cause, slow_m_s + part * (fast_m_s - slow_m_s))
}

/// Soil that may not cover plants flies no further than to their stems, `room_m` from the tools.
fn thrown_soil(soil: &Soil, room_m: f64) -> Option<SpeedLimit> {
    if soil.may_cover {
        return None;
    }
    let speed_m_s = thrown_at_m_s(soil, room_m);
    Some(if speed_m_s.is_finite() {
        up_to(Bound::ThrownSoil, speed_m_s)
    } else {
        without_speed(Bound::ThrownSoil, Holds::Always)
    })
}

/// The pull takes no more than the tractor's rated power: `(D_0 + (D_1 - D_0) v) v = P tau`, the pull D being straight in speed.
fn tractor_power(soil: &Soil, rows: usize) -> Option<SpeedLimit> {
    let pull_n = |speed_m_s| draft_n(soil.texture, soil.shank, rows, soil.depth_m, speed_m_s);
    let (still_n, per_m_s) = (pull_n(0.0), pull_n(1.0) - pull_n(0.0));
    let axle_w = |speed_m_s| axle_w(pull_n(speed_m_s), speed_m_s, soil.traction);
    if axle_w(1.0) <= 0.0 {
        return None;
    }
    let most_w = soil.tractor_w * soil.traction;
    let root = (still_n * still_n + 4.0 * per_m_s * most_w).sqrt();
    // The form that holds for a pull that does not grow with speed, too.
    Some(up_to(Bound::TractorPower, 2.0 * most_w / (still_n + root)))
}

/// A round over the farm is finished in the days that there are: `L/v + t_turn = L w T (1 - idle)/A` with the working time T.
fn days_available(land: &Land, width_m: f64) -> Option<SpeedLimit> {
    let hours = land.day_hours + land.night_hours;
    if hours <= 0.0 {
        return None;
    }
    let time_s = land.workable_days * hours * 3600.0 * (1.0 - land.idle_share);
    let row_s = land.row_length_m * width_m * time_s / land.area_m2 - land.turn_s;
    Some(if row_s > 0.0 {
        SpeedLimit {
            cause: Bound::DaysAvailable,
            holds: Holds::From,
            speed_m_s: Some(land.row_length_m / row_s),
        }
    } else {
        without_speed(Bound::DaysAvailable, Holds::Never)
    })
}

/// The lowest speed of those up to which bounds hold, with the bound that is met there and the one that would be met next. Days are
/// no bound upwards. `None` for the speed where some bound holds at no speed.
pub fn lowest(limits: &[SpeedLimit]) -> (Option<f64>, Option<Bound>, Option<Bound>) {
    let mut ends: Vec<(f64, Bound)> = limits
        .iter()
        .filter(|limit| limit.cause != Bound::DaysAvailable)
        .filter_map(|limit| match (limit.holds, limit.speed_m_s) {
            (Holds::UpTo, Some(speed_m_s)) => Some((speed_m_s, limit.cause)),
            (Holds::Never, _) => Some((f64::NEG_INFINITY, limit.cause)),
            _ => None,
        })
        .collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut ends = ends.into_iter();
    let first = ends.next();
    let next = ends.next();
    (
        first.map(|end| end.0).filter(|end| end.is_finite()),
        first.map(|end| end.1),
        next.map(|end| end.1),
    )
}

/// In the order in which they are met: none at all first, then rising speeds, then what holds always.
pub fn sort(limits: &mut [SpeedLimit]) {
    let key = |limit: &SpeedLimit| match limit.holds {
        Holds::Never => f64::NEG_INFINITY,
        Holds::Always => f64::INFINITY,
        _ => limit.speed_m_s.unwrap_or(f64::INFINITY),
    };
    limits.sort_by(|a, b| key(a).total_cmp(&key(b)));
}

/// Whether a speed keeps a bound.
pub fn keeps(limit: &SpeedLimit, speed_m_s: f64) -> bool {
    // A speed that was set to a bound is within it, whatever the last bits.
    let near = 1.0 + 1e-9;
    match (limit.holds, limit.speed_m_s) {
        (Holds::Always, _) => true,
        (Holds::Never, _) => false,
        (Holds::UpTo, Some(most_m_s)) => speed_m_s <= most_m_s * near,
        (Holds::From, Some(least_m_s)) => speed_m_s * near >= least_m_s,
        (_, None) => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::farm::fieldwork::{capacity_m2_s, efficiency};
    use crate::farm::{Shank, Texture};
    use crate::results::answers::Limited;
    use crate::results::reasons::Slope;

    fn soil() -> Soil {
        Soil {
            thrown_m: 0.045,
            thrown_at_m_s: 6.0 / 3.6,
            may_cover: false,
            depth_m: 0.04,
            texture: Texture::Medium,
            shank: Shank::STine,
            traction: 0.65,
            tractor_w: 60_000.0,
        }
    }

    fn demand(speed_m_s: f64, asked_m_s: f64) -> Demand {
        let of = |value| Limited {
            value,
            lower: value,
            upper: value,
        };
        Demand {
            speed_m_s,
            slope: Slope::AsSimulated,
            shift_p50_m: of(0.01),
            shift_p95_m: of(0.02),
            shift_p999_m: of(0.05),
            shift_speed_p95_m_s: of(0.5 * asked_m_s),
            shift_speed_p999_m_s: of(asked_m_s),
        }
    }

    fn speed(limit: SpeedLimit) -> f64 {
        assert!(matches!(limit.holds, Holds::UpTo | Holds::From));
        limit.speed_m_s.unwrap()
    }

    /// Own arithmetic: 45 mm at 6 km/h in a straight line through the origin reach 60 - 5 = 55 mm at 7.333 km/h.
    #[test]
    fn analytic_thrown_soil_by_hand() {
        let limit = thrown_soil(&soil(), 0.060 - 0.005).unwrap();
        assert!((3.6 * speed(limit) - 22.0 / 3.0).abs() < 1e-12);
        let wanted = Soil {
            may_cover: true,
            ..soil()
        };
        assert_eq!(thrown_soil(&wanted, 0.055), None);
        let none = Soil {
            thrown_m: 0.0,
            ..soil()
        };
        assert_eq!(thrown_soil(&none, 0.055).unwrap().holds, Holds::Always);
    }

    /// Own arithmetic: four rows of S-tines 4 cm deep in loam pull 0.85 (140 + 7 S) 4 * 4 = 1904 + 95.2 S newton at S km/h. 60 kW
    /// times 65 % are 39 kW of pull: (1904 + 342.72 v) v = 39 000 at v = (-1904 + sqrt(1904² + 4 * 342.72 * 39 000))/685.44 = 8.2454 m/s.
    #[test]
    fn analytic_tractor_power_by_hand() {
        let v = speed(tractor_power(&soil(), 4).unwrap());
        assert!((v - 8.2454).abs() < 1e-4, "{v}");
        assert!(((1904.0 + 342.72 * v) * v / 39_000.0 - 1.0).abs() < 1e-12);
    }

    /// Own arithmetic: rows of 200 m, 1.8 m a pass, 12 ha in 5 days of 12 h, a tenth idle: 194 400 s for 333.3 rows are 583.2 s a row,
    /// less 20 s for the turn; 200 m in 563.2 s are 0.355 m/s. The law of capacity then takes the days that there are.
    #[test]
    fn analytic_days_available_by_hand() {
        let land = Land {
            area_m2: 120_000.0,
            row_length_m: 200.0,
            turn_s: 20.0,
            idle_share: 0.1,
            rounds: 3,
            workable_days: 5.0,
            day_hours: 8.0,
            night_hours: 4.0,
            night_noise: 1.3,
        };
        let least = days_available(&land, 1.8).unwrap();
        assert_eq!(least.holds, Holds::From);
        let v = speed(least);
        assert!((v - 200.0 / 563.2).abs() < 1e-12, "{v}");
        let m2_s = capacity_m2_s(v, 1.8, efficiency(v, 200.0, 20.0, 0.1));
        let days = land.area_m2 / (m2_s * 12.0 * 3600.0);
        assert!((days - 5.0).abs() < 1e-12, "{days}");
        let hopeless = Land {
            area_m2: 1e7,
            ..land
        };
        let never = days_available(&hopeless, 1.8).unwrap();
        assert_eq!(never.holds, Holds::Never);
    }

    /// The frame of the plausible machine moves at most s = 0.25 m/s or so; rows that ask for 0.8 s at 2 m/s and 1.2 s at 3 m/s ask for
    /// it at 2.5 m/s. The valve of the machine says how fast, so that the number is its own.
    #[test]
    fn analytic_oil_between_two_speeds_by_hand() {
        let setup = Setup::plausible();
        let valve = setup.hydraulics.proportional.unwrap();
        let oil = &setup.hydraulics;
        let most_m_s = [Stroke::Extending, Stroke::Retracting]
            .map(|way| valve.open_speed_m_s(oil, way).min(oil.pump_speed_m_s(way)))
            .into_iter()
            .fold(f64::INFINITY, f64::min);
        assert!((most_m_s - 0.25).abs() < 0.02);
        let farm = Farm::bare();
        let (speeds_m_s, asked) = ([2.0, 3.0], [0.8, 1.2]);
        let demand: Vec<Demand> = std::iter::zip(speeds_m_s, asked)
            .map(|(v, share)| demand(v, share * most_m_s))
            .collect();
        let limits = |demand: &[Demand], kind| {
            Limits {
                setup: &setup,
                on_slope: &setup,
                farm: &farm,
                demand,
                speeds_m_s: &speeds_m_s,
            }
            .oil(kind)
        };
        let found = limits(&demand, Kind::Pid).unwrap();
        assert!((speed(found) - 2.5).abs() < 1e-12);
        assert_eq!(limits(&demand, Kind::Locked), None);
        assert_eq!(
            limits(
                &[self::demand(2.0, 0.01), self::demand(3.0, 0.02)],
                Kind::Pid
            )
            .unwrap()
            .holds,
            Holds::Always
        );
        assert_eq!(
            limits(&[self::demand(2.0, 1.0), self::demand(3.0, 2.0)], Kind::Pid)
                .unwrap()
                .holds,
            Holds::Never
        );
    }

    /// Own arithmetic: 0.8 m ahead against 80 ms of latency, 30 ms and 60 ms of the valve and 200 ms of the loop of gain 5 1/s:
    /// 0.8/0.37 = 2.162 m/s.
    #[test]
    fn analytic_what_the_camera_sees_in_time_by_hand() {
        let setup = Setup::plausible();
        let v = linear::critical_speed(&setup, Kind::LagCompensated).unwrap();
        assert!((v - 0.8 / 0.37).abs() < 1e-12, "{v}");
        let limits = Limits {
            setup: &setup,
            on_slope: &setup,
            farm: &Farm::bare(),
            demand: &[],
            speeds_m_s: &[1.0, 2.0],
        };
        let of = |kind| {
            let limits = limits.of(kind, 0.05);
            limits.iter().any(|limit| limit.cause == Bound::CameraSight)
        };
        assert!(of(Kind::LagCompensatedYaw));
        // What comes late to a controller that answers errors costs plants, and is counted there.
        assert!(!of(Kind::Pid) && !of(Kind::Locked));
    }

    #[test]
    fn analytic_the_lowest_binds_and_the_next_is_told() {
        let limits = [
            up_to(Bound::SimulatedSpeeds, 4.0),
            up_to(Bound::ThrownSoil, 2.0),
            without_speed(Bound::Oil, Holds::Always),
            up_to(Bound::CutPlants, 3.0),
            SpeedLimit {
                cause: Bound::DaysAvailable,
                holds: Holds::From,
                speed_m_s: Some(1.0),
            },
        ];
        let found = lowest(&limits);
        assert_eq!(
            found,
            (Some(2.0), Some(Bound::ThrownSoil), Some(Bound::CutPlants))
        );
        let mut sorted = limits;
        sort(&mut sorted);
        let causes = sorted.map(|limit| limit.cause);
        assert_eq!(causes[0], Bound::DaysAvailable);
        assert_eq!(causes[4], Bound::Oil);
        let never = [
            up_to(Bound::ThrownSoil, 2.0),
            without_speed(Bound::CutPlants, Holds::Never),
        ];
        let found = lowest(&never);
        assert_eq!(
            found,
            (None, Some(Bound::CutPlants), Some(Bound::ThrownSoil))
        );
        assert!(keeps(&limits[1], 2.0) && !keeps(&limits[1], 2.001));
        assert!(keeps(&limits[4], 1.0) && !keeps(&limits[4], 0.99));
    }
}
