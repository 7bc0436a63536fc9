//! What a controller gets when a camera frame's number arrives, and what it asks of its valve.
//!
//! Everything here works on several passes side by side, one in each lane; `N` is 1 for a pass alone.

use crate::model::recent::Recent;
use crate::model::setup::Setup;
use crate::model::vector::{Lanes, at, at_each, one_if};

/// A controller's law with its memory, for passes side by side.
pub trait Law<const N: usize> {
    /// The new command when a number arrives; called for every camera frame, also before the controller starts.
    fn command(&mut self, arrival: &Arrival<'_, N>) -> Asked<N>;

    /// Tells what went to the valve at `now_s`, as wanted speed, m/s: nothing before the controller starts.
    fn applied(&mut self, now_s: f64, speed_m_s: Lanes<N>);
}

impl<const N: usize, L: Law<N> + ?Sized> Law<N> for Box<L> {
    #[inline(always)]
    fn command(&mut self, arrival: &Arrival<'_, N>) -> Asked<N> {
        (**self).command(arrival)
    }

    #[inline(always)]
    fn applied(&mut self, now_s: f64, speed_m_s: Lanes<N>) {
        (**self).applied(now_s, speed_m_s);
    }
}

/// A number that reaches the controller.
#[derive(Clone, Copy, Debug)]
pub struct Arrival<'a, const N: usize> {
    /// When the camera frame was exposed, s.
    pub exposed_s: f64,
    /// When its number arrives, s.
    pub now_s: f64,
    /// Row as the unshifted frame would see it, noise included, m, left positive.
    pub number_m: Lanes<N>,
    /// 1 where the camera found the row, else 0.
    pub found: Lanes<N>,
    /// Shift of the frame at the exposure, m: what a camera on the shifted frame sees less.
    pub frame_exposed_m: Lanes<N>,
    /// Reading of the position sensor at the exposure, m.
    pub reading_exposed_m: Lanes<N>,
    /// Reading of the position sensor now, m.
    pub reading_m: Lanes<N>,
    /// Mean measured yaw rate since the frame before, rad/s; 0 without such a sensor.
    pub yaw_rad_s: Lanes<N>,
    /// 1 where the command reaches the valve, 0 while the frame is held: a memory of errors that nothing is done about must not grow.
    pub acts: Lanes<N>,
    /// What the yaw-rate sensor measured so far.
    pub turns: Turns<'a, N>,
}

/// The measured yaw rate, integrated: from the first step of the drive to the last; a law looks back only.
#[derive(Clone, Copy, Debug)]
pub struct Turns<'a, const N: usize> {
    /// Its integral at every step of the drive, rad; empty without such a sensor.
    pub turn_rad: &'a [Lanes<N>],
    /// Integral of `turn_rad` at every step, rad s.
    pub turn_integral_rad_s: &'a [Lanes<N>],
    /// Step of the drive, s.
    pub step_s: f64,
}

impl<const N: usize> Turns<'_, N> {
    /// Angle turned from `from_s` to `now_s`, rad, its integral over that time, rad s, and the rate now, rad/s.
    #[inline(always)]
    pub fn since(&self, from_s: Lanes<N>, now_s: f64) -> (Lanes<N>, Lanes<N>, Lanes<N>) {
        let (turn, integral, dt) = (self.turn_rad, self.turn_integral_rad_s, self.step_s);
        let step = ((now_s / dt) as usize).min(turn.len() - 2);
        // Slope of the running step alone: a mean over more of them is an older rate, and the prediction starts from it.
        let rate_rad_s = (turn[step + 1] - turn[step]) / dt;
        let from = from_s / dt;
        let turn_from = at_each(turn, from);
        let turned_rad = at(turn, now_s / dt) - turn_from;
        let swept_rad_s =
            // The integral runs since the first step: the angle that stood at from_s already goes off as a rectangle.
            at(integral, now_s / dt) - at_each(integral, from) - turn_from * (now_s - from_s);
        (turned_rad, swept_rad_s, rate_rad_s)
    }
}

/// What a controller asks of its valve until the next number arrives.
#[derive(Clone, Copy, Debug, Default)]
pub struct Asked<const N: usize> {
    /// Opening of the valve, -1 (right) to 1 (left).
    pub command: Lanes<N>,
    /// The shift speed that the controller reckons with, m/s, left positive.
    pub speed_m_s: Lanes<N>,
    /// 1 where the valve is asked for all it has, else 0.
    pub saturated: Lanes<N>,
}

impl<const N: usize> Asked<N> {
    /// Nothing where the mask is 0.
    #[inline(always)]
    pub fn only_where(self, mask: Lanes<N>) -> Self {
        let nothing = Lanes::default();
        Self {
            command: Lanes::select(mask, self.command, nothing),
            speed_m_s: Lanes::select(mask, self.speed_m_s, nothing),
            saturated: self.saturated * mask,
        }
    }
}

/// No-load speeds of a proportional side-shift that its controller reckons with, m/s: warm oil, no load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// To the left.
    pub left_m_s: f64,
    /// To the right.
    pub right_m_s: f64,
}

impl Reach {
    /// Of a machine with a proportional valve.
    pub fn of(setup: &Setup) -> Option<Reach> {
        let hydraulics = &setup.hydraulics;
        hydraulics.proportional.map(|valve| Reach {
            left_m_s: valve.no_load_speed_m_s(hydraulics, hydraulics.way(true)),
            right_m_s: valve.no_load_speed_m_s(hydraulics, hydraulics.way(false)),
        })
    }

    /// The command for a wanted shift speed, cut to what the valve can give.
    #[inline(always)]
    pub fn ask<const N: usize>(&self, speed_m_s: Lanes<N>) -> Asked<N> {
        let (left, right) = (self.left_m_s, self.right_m_s);
        let cut_m_s = speed_m_s.clamp(Lanes::all(-right), Lanes::all(left));
        Asked {
            // The rod takes area on one side: the same opening moves the frame faster one way, so either way has its own full speed.
            command: cut_m_s.map(|cut| cut / if cut > 0.0 { left } else { right }),
            speed_m_s: cut_m_s,
            saturated: speed_m_s.map(|speed| one_if((speed >= left) | (speed <= -right))),
        }
    }
}

/// Values that are held from each time on until the next; 0 before the first.
#[derive(Clone, Debug)]
pub struct Held<const N: usize> {
    /// Times of change, s, rising, and the value from each of them on.
    changes: Recent<(f64, Lanes<N>)>,
}

impl<const N: usize> Held<N> {
    /// Commands of a machine, one for each camera frame, that are asked for until this long after they were given, s.
    pub fn for_commands(setup: &Setup, asked_for_s: f64) -> Self {
        // A tick may see several frames; some more, as either end may fall between two of them.
        let frames = (asked_for_s + setup.run.step_s) / setup.camera.frame_s;
        Self {
            changes: Recent::of(frames as usize + 4),
        }
    }

    /// Holds `value` from `time_s` on.
    #[inline(always)]
    pub fn push(&mut self, time_s: f64, value: Lanes<N>) {
        self.changes.push((time_s, value));
    }

    /// When the change of that index comes, s; `None` if it is not known yet.
    #[inline(always)]
    pub fn time_s(&self, next: usize) -> Option<f64> {
        (next < self.changes.len()).then(|| self.changes.at(next).0)
    }

    /// Index of the first change after `time_s`, searched from `cursor` on.
    #[inline(always)]
    pub fn after(&self, cursor: usize, time_s: f64) -> usize {
        let mut next = cursor;
        // A change is in force at its very moment; with < it would come one piece late.
        while self.time_s(next).is_some_and(|time| time <= time_s) {
            next += 1;
        }
        next
    }

    /// What was held before the change of that index.
    #[inline(always)]
    pub fn before(&self, next: usize) -> Lanes<N> {
        if next == 0 {
            Lanes::default()
        } else {
            self.changes.at(next - 1).1
        }
    }

    /// Calls `piece(value, duration)` for every constant piece from `from_s` to `to_s`; returns the new cursor for `from_s`.
    #[inline(always)]
    pub fn pieces(
        &self,
        cursor: usize,
        from_s: f64,
        to_s: f64,
        mut piece: impl FnMut(Lanes<N>, f64),
    ) -> usize {
        // The cursor stays with the beginning of the window: the next window may begin before this one ends.
        let cursor = self.after(cursor, from_s);
        let (mut next, mut at_s) = (cursor, from_s);
        while let Some(change_s) = self.time_s(next).filter(|&time| time < to_s) {
            piece(self.before(next), change_s - at_s);
            at_s = change_s;
            next += 1;
        }
        piece(self.before(next), to_s - at_s);
        cursor
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is kept of the commands is enough: the pieces of every tick are those of a list that keeps all (own arithmetic, same bits), for
    /// dead times between nothing and ten frames.
    #[test]
    fn prop_commands_are_kept_as_long_as_they_are_asked_for() {
        let mut setup = Setup::plausible();
        for (frame_s, dead_s) in [(0.04, 0.0), (0.04, 0.03), (0.005, 0.05), (0.033, 0.33)] {
            setup.camera.frame_s = frame_s;
            let mut kept = Held::<1>::for_commands(&setup, dead_s);
            let (mut all, mut cursor): (Vec<(f64, f64)>, usize) = (Vec::new(), 0);
            let step_s = setup.run.step_s;
            for tick in 0..4_000 {
                let (t0, t1) = (f64::from(tick) * step_s, f64::from(tick + 1) * step_s);
                while all.len() as f64 * frame_s < t1 {
                    let next = (all.len() as f64 * frame_s, 1.0 + all.len() as f64);
                    kept.push(next.0, Lanes([next.1]));
                    all.push(next);
                }
                let (mut found, mut wanted) = (Vec::new(), Vec::new());
                cursor = kept.pieces(cursor, t0 - dead_s, t1 - dead_s, |value, duration| {
                    found.push((value.0[0], duration));
                });
                let mut at_s = t0 - dead_s;
                let mut value = 0.0;
                for &(time_s, next) in &all {
                    if time_s > at_s && time_s < t1 - dead_s {
                        wanted.push((value, time_s - at_s));
                        at_s = time_s;
                    }
                    if time_s <= at_s {
                        value = next;
                    }
                }
                wanted.push((value, t1 - dead_s - at_s));
                assert_eq!(found, wanted, "{frame_s} {dead_s} {tick}");
            }
        }
    }
}
