//! What pays: one thing changed at a time, ranked by the speed and the room that it gains.
//!
//! Base and change meet the same passes. The highest speed is where the upper limit of the rate reaches the allowed rate, on straight
//! lines through its logarithm between the study's speeds; the smallest clearance likewise. Limits of a gain: delete-a-group
//! jackknife over 16 groups of passes (Kott, J. Official Statistics 17:521-526, 2001), Student's t.

use super::changes::Change;
use super::speed::is_stable_with;
use super::trial::{Ask, Cell, Sample, Stopped, Trials, as_it_is};
use super::words::{self, Words};
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::quantile::student_factor;
use crate::results::LEVEL;
use crate::results::answers::{Limited, Pays, Status};
use crate::scenario::{Scenario, Units};

/// Groups of passes of the jackknife.
const GROUPS: usize = 16;

/// Everything that is compared with one base: changes of the machine, and other controllers on the same machine.
///
/// # Errors
///
/// The watch stopped it.
pub fn answer(
    trials: &Trials,
    setup: &Setup,
    kinds: &[Kind],
    chosen: Option<Kind>,
    design: Option<(f64, f64)>,
    changes: &[Change],
    passes: u64,
) -> Result<Vec<Pays>, Stopped> {
    let Some(chosen) = chosen else {
        return Ok(Vec::new());
    };
    let frame = Frame::of(trials.scenario(), design);
    let ask = Ask {
        passes,
        speeds_m_s: &frame.speeds_m_s,
        kinds,
        clearances_m: &frame.clearances_m,
    };
    let as_they_are = trials.run(&ask, &as_it_is)?;
    let curves = |sample: &Sample, kind: usize| Curves::of(&frame, sample, kind);
    let mut all = Vec::new();
    for (place, &kind) in kinds.iter().enumerate() {
        let base = curves(&as_they_are, place);
        for &(other, words) in upgrades(kind) {
            if let Some(other) = kinds.iter().position(|&kind| kind == other) {
                all.push(frame.gain(kind, words, &base, &curves(&as_they_are, other)));
            }
        }
    }
    let base = kinds
        .iter()
        .position(|&kind| kind == chosen)
        .map(|place| curves(&as_they_are, place));
    if let Some(base) = base {
        for change in changes {
            let steady = frame
                .speeds_m_s
                .iter()
                .all(|&speed_m_s| is_stable_with(setup, change, chosen, speed_m_s));
            if !steady {
                all.push(frame.unstable(chosen, &change.words));
                continue;
            }
            // No step depends on the speed.
            let ask = Ask {
                kinds: &[chosen],
                ..ask
            };
            let changed = trials.run(&ask, &|setup| (change.apply)(setup, 0.0))?;
            all.push(frame.gain(chosen, &change.words, &base, &curves(&changed, 0)));
        }
    }
    rank(&mut all);
    Ok(all)
}

/// Best first: by the speed gained, then by the room gained; what has no answer comes last.
fn rank(all: &mut [Pays]) {
    let key = |pays: &Pays| {
        (
            pays.speed_gain_m_s.unwrap_or(f64::NEG_INFINITY),
            pays.clearance_gain_m.unwrap_or(f64::NEG_INFINITY),
        )
    };
    all.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1))
    });
}

/// Controllers that can be bought in the place of one.
fn upgrades(kind: Kind) -> &'static [(Kind, &'static str)] {
    match kind {
        Kind::Locked => &[
            (
                Kind::OnOff,
                "camera and on-off valve instead of a locked frame",
            ),
            (
                Kind::Pid,
                "camera and proportional valve with a PID instead of a locked frame",
            ),
        ],
        Kind::OnOff => &[(
            Kind::Pid,
            "proportional valve with a PID instead of the on-off valve",
        )],
        Kind::Pid => &[(Kind::LagCompensated, "lag compensation instead of the PID")],
        Kind::LagCompensated => &[(
            Kind::LagCompensatedYaw,
            "yaw-rate sensor with lag compensation",
        )],
        Kind::LagCompensatedYaw => &[],
    }
}

/// Where the curves run.
pub(super) struct Frame {
    pub(super) speeds_m_s: Vec<f64>,
    pub(super) clearances_m: Vec<f64>,
    pub(super) working_speed: usize,
    pub(super) working_clearance: usize,
    allowed_cut_rate: f64,
    units: Units,
}

/// Upper limits over speed at the working clearance and over clearance at the working speed; first of all passes, then without each
/// group of them.
pub(super) struct Curves {
    over_speed: Vec<Vec<f64>>,
    over_clearance: Vec<Vec<f64>>,
}

impl Curves {
    pub(super) fn of(frame: &Frame, sample: &Sample, kind: usize) -> Self {
        let clearance = frame.working_clearance;
        let by_speed: Vec<Vec<f64>> = (0..frame.speeds_m_s.len())
            .map(|speed| upper_limits(sample.cell(speed, kind), clearance))
            .collect();
        let cell = sample.cell(frame.working_speed, kind);
        let by_clearance: Vec<Vec<f64>> = (0..frame.clearances_m.len())
            .map(|clearance| upper_limits(cell, clearance))
            .collect();
        let turned = |by: &[Vec<f64>]| -> Vec<Vec<f64>> {
            (0..=GROUPS)
                .map(|group| by.iter().map(|limits| limits[group]).collect())
                .collect()
        };
        Self {
            over_speed: turned(&by_speed),
            over_clearance: turned(&by_clearance),
        }
    }
}

/// Sums over passes that can be taken away from one another.
#[derive(Clone, Copy, Default)]
struct Moments {
    m: f64,
    h: f64,
    n: f64,
    hh: f64,
    hn: f64,
    nn: f64,
}

impl Moments {
    fn add(&mut self, struck: f64, plants: f64) {
        self.m += 1.0;
        self.h += struck;
        self.n += plants;
        self.hh += struck * struck;
        self.hn += struck * plants;
        self.nn += plants * plants;
    }

    fn without(self, other: Self) -> Self {
        Self {
            m: self.m - other.m,
            h: self.h - other.h,
            n: self.n - other.n,
            hh: self.hh - other.hh,
            hn: self.hn - other.hn,
            nn: self.nn - other.nn,
        }
    }

    /// Upper Student limit of the ratio over passes (Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6).
    fn upper(self) -> f64 {
        if self.m < 2.0 || self.n <= 0.0 {
            return 1.0;
        }
        let r = self.h / self.n;
        let squares = (self.hh - 2.0 * r * self.hn + r * r * self.nn).max(0.0);
        let variance = self.m / (self.m - 1.0) * squares / (self.n * self.n);
        r + student_factor(self.m - 1.0, LEVEL) * variance.sqrt()
    }
}

/// Upper limits of all passes, then without each group of them.
fn upper_limits(cell: &Cell, clearance: usize) -> Vec<f64> {
    let mut groups = [Moments::default(); GROUPS];
    let mut all = Moments::default();
    for (pass, (struck, plants)) in cell.passes(clearance).enumerate() {
        groups[pass % GROUPS].add(struck, plants);
        all.add(struck, plants);
    }
    let without = groups.iter().map(|&group| all.without(group).upper());
    std::iter::once(all.upper()).chain(without).collect()
}

/// Where something that was asked for lies: in the range, or at least at its end.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Reached {
    At(f64),
    /// The range ends before.
    Beyond(f64),
    /// Not even its beginning will do.
    Nowhere,
}

impl Reached {
    fn value(self) -> Option<f64> {
        match self {
            Reached::At(value) | Reached::Beyond(value) => Some(value),
            Reached::Nowhere => None,
        }
    }
}

/// How far along `x` the limits stay within what is allowed.
fn reach(x: &[f64], limits: &[f64], allowed: f64) -> Reached {
    let Some(first) = limits.iter().position(|&limit| limit > allowed) else {
        return x
            .last()
            .map_or(Reached::Nowhere, |&last| Reached::Beyond(last));
    };
    if first == 0 {
        return Reached::Nowhere;
    }
    let ln = |limit: f64| libm::log(limit.max(allowed * 1e-6));
    let (low, high) = (ln(limits[first - 1]), ln(limits[first]));
    let part = (libm::log(allowed) - low) / (high - low);
    Reached::At(x[first - 1] + part.clamp(0.0, 1.0) * (x[first] - x[first - 1]))
}

impl Frame {
    /// The speeds and clearances of a scenario and what it allows, about a setting: speed, m/s, and one of the clearances, m; without one
    /// the working setting.
    pub(super) fn of(scenario: &Scenario, setting: Option<(f64, f64)>) -> Self {
        let study = scenario.study();
        let place = |all: &[f64], one: f64| all.iter().position(|&x| x == one).unwrap_or(0);
        let working = (study.working_speed_m_s, study.working_clearance_m);
        let (speed_m_s, clearance_m) = setting.unwrap_or(working);
        let mut speeds_m_s = study.speeds_m_s.clone();
        if !speeds_m_s.contains(&speed_m_s) {
            speeds_m_s.push(speed_m_s);
            speeds_m_s.sort_by(f64::total_cmp);
        }
        Self {
            working_speed: place(&speeds_m_s, speed_m_s),
            working_clearance: place(&study.clearances_m, clearance_m),
            speeds_m_s,
            clearances_m: study.clearances_m.clone(),
            allowed_cut_rate: study.allowed_cut_rate,
            units: scenario.units(),
        }
    }

    fn unstable(&self, kind: Kind, words: &str) -> Pays {
        Pays {
            reason: Some(format!(
                "with the gains of the scenario the loop of {} would be unstable: it must be tuned anew",
                words::controller(kind)
            )),
            change: words.into(),
            controller: kind.name().into(),
            clearance_m: self.clearances_m[self.working_clearance],
            ..Pays::no_answer()
        }
    }

    fn speed(&self, limits: &[f64]) -> Reached {
        reach(&self.speeds_m_s, limits, self.allowed_cut_rate)
    }

    /// Clearances from the widest on, as lengths by which the tools come closer.
    fn closer(&self, limits: &[f64]) -> Reached {
        let x: Vec<f64> = self.clearances_m.iter().rev().map(|c| -c).collect();
        let limits: Vec<f64> = limits.iter().rev().copied().collect();
        reach(&x, &limits, self.allowed_cut_rate)
    }

    pub(super) fn gain(&self, kind: Kind, words: &str, base: &Curves, changed: &Curves) -> Pays {
        let speed = |curves: &Curves| -> Vec<Reached> {
            curves
                .over_speed
                .iter()
                .map(|limits| self.speed(limits))
                .collect()
        };
        let closer = |curves: &Curves| -> Vec<Reached> {
            curves
                .over_clearance
                .iter()
                .map(|limits| self.closer(limits))
                .collect()
        };
        let words_of = Words(self.units);
        let clearance = words_of.length(self.clearances_m[self.working_clearance]);
        let (base_speed, new_speed) = (speed(base), speed(changed));
        let (base_room, new_room) = (closer(base), closer(changed));
        let by_speed = difference(&base_speed, &new_speed);
        let by_room = difference(&base_room, &new_room);
        let beyond = |reached: Reached| matches!(reached, Reached::Beyond(_));
        let reason = match (by_speed, new_speed[0]) {
            (Some(_), _) => None,
            (None, Reached::Nowhere) => Some(format!(
                "no simulated speed keeps the allowed rate with the tools {} from the row, with the change or without",
                clearance
            )),
            (None, reached) => reached.value().map(|new_m_s| {
                format!(
                    "without it no simulated speed keeps the allowed rate with the tools {} from the row; with it {} does",
                    clearance,
                    words_of.speed(new_m_s)
                )
            }),
        };
        Pays {
            status: if by_speed.is_some() || by_room.is_some() {
                Status::Ok
            } else {
                Status::NoAnswer
            },
            reason,
            change: words.into(),
            controller: kind.name().into(),
            clearance_m: self.clearances_m[self.working_clearance],
            base_speed_m_s: base_speed[0].value(),
            speed_gain_m_s: by_speed.map(|gain| gain.value),
            lower: by_speed.map(|gain| gain.lower),
            upper: by_speed.map(|gain| gain.upper),
            clearance_gain_m: by_room.map(|gain| gain.value),
            clearance_lower_m: by_room.map(|gain| gain.lower),
            clearance_upper_m: by_room.map(|gain| gain.upper),
            at_least: [base_speed[0], new_speed[0], base_room[0], new_room[0]]
                .into_iter()
                .any(beyond),
        }
    }
}

/// New less base, with the limits of the jackknife; `None` where either is nowhere. A group without which either is nowhere counts with
/// the difference of all passes.
fn difference(base: &[Reached], new: &[Reached]) -> Option<Limited> {
    let value = new[0].value()? - base[0].value()?;
    let without: Vec<f64> = (1..base.len())
        .map(|group| {
            let both = new[group].value().zip(base[group].value());
            both.map_or(value, |(new, base)| new - base)
        })
        .collect();
    let groups = without.len() as f64;
    let mean = without.iter().sum::<f64>() / groups;
    let squares: f64 = without.iter().map(|x| (x - mean) * (x - mean)).sum();
    let se = ((groups - 1.0) / groups * squares).sqrt();
    let reach = student_factor(groups - 1.0, LEVEL) * se;
    Some(Limited {
        value,
        lower: value - reach,
        upper: value + reach,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Limits 0.001 at 2 m/s and 0.01 at 3 m/s: 0.00316 lies half way on the logarithm.
    #[test]
    fn analytic_the_limit_is_reached_on_its_logarithm() {
        let allowed = libm::sqrt(0.001 * 0.01);
        let Reached::At(speed) = reach(&[1.0, 2.0, 3.0], &[1e-4, 1e-3, 1e-2], allowed) else {
            panic!()
        };
        assert!((speed - 2.5).abs() < 1e-12);
        assert_eq!(reach(&[1.0, 2.0], &[0.1, 0.2], 0.05), Reached::Nowhere);
        assert_eq!(
            reach(&[1.0, 2.0], &[0.01, 0.02], 0.05),
            Reached::Beyond(2.0)
        );
    }

    /// The jackknife of a mean is its standard error: differences of group means about their own.
    #[test]
    fn analytic_the_jackknife_of_a_mean() {
        let groups: Vec<f64> = (0..GROUPS).map(|i| (i as f64 * 1.7).sin()).collect();
        let sum: f64 = groups.iter().sum();
        let all = sum / GROUPS as f64;
        let new: Vec<Reached> = std::iter::once(all)
            .chain(groups.iter().map(|x| (sum - x) / (GROUPS as f64 - 1.0)))
            .map(Reached::At)
            .collect();
        let base = vec![Reached::At(0.0); GROUPS + 1];
        let gain = difference(&base, &new).unwrap();
        let variance = groups.iter().map(|x| (x - all).powi(2)).sum::<f64>()
            / (GROUPS as f64 - 1.0)
            / GROUPS as f64;
        let reach = student_factor(GROUPS as f64 - 1.0, LEVEL) * variance.sqrt();
        assert!((gain.value - all).abs() < 1e-15);
        assert!((gain.upper - gain.value - reach).abs() < 1e-12);
    }

    /// Twice the pass, twice the rate: no change gains nothing, for certain.
    #[test]
    fn analytic_no_change_gains_nothing() {
        let reached: Vec<Reached> = (0..=GROUPS)
            .map(|i| Reached::At(2.0 + i as f64 * 0.01))
            .collect();
        let gain = difference(&reached, &reached).unwrap();
        assert_eq!((gain.value, gain.lower, gain.upper), (0.0, 0.0, 0.0));
    }
}
