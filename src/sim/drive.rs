//! The drive of passes side by side: tractor, driver and unshifted implement over time at one speed. It does not depend on the controller,
//! so all controllers share it.
//!
//! It takes longer steps than the ticks of the side-shift ([`Run::drive_ticks`](crate::model::setup::Run)). Each step, in this order, by
//! the midpoint rule (second order in the step):
//!
//! ```text
//! note     where tractor and implement stand
//! command  what the driver saw a reaction time ago, for the middle of the step
//! steer    lag, limits
//! move     station, offset, heading with the mean steering angle; then the drawn implement
//! ```
//!
//! At step 0 the offset and heading jump by what the headland turn left (not for a replay).

use super::deviates::Deviates;
use super::ground::{Ground, warm_up_m};
use super::hands::{Hands, Person, Satellite};
use super::streams::Source;
use crate::model::driver::{Driver, LoggedPath};
use crate::model::hitch::Hitch;
use crate::model::setup::Setup;
use crate::model::tractor::{LOST_HEADING_RAD, LOST_OFFSET_M};
use crate::model::vector::{Lanes, at, sin, sin_cos, tan};

/// State at every step, lane by lane. Step 0, which is tick 0 of the side-shift, is the exposure of the last camera frame before the
/// approach begins (without an approach: before the tools are lowered), so that frames and ticks keep time in every pass; that moment
/// falls at random between two frames.
#[derive(Clone, Debug, Default)]
pub struct Drive<const N: usize> {
    /// Speed of the rear axle, m/s.
    pub speed_m_s: f64,
    /// Moment of lowering after tick 0, s.
    pub lowered_s: Lanes<N>,
    /// Distance of the rear axle along the line, m.
    pub station_m: Vec<Lanes<N>>,
    /// Offset of the rear axle from the line, m.
    pub axle_m: Vec<Lanes<N>>,
    /// Sine of the tractor's heading.
    pub sin: Vec<Lanes<N>>,
    /// Sine of the drawn implement's heading; empty if the hitch is rigid.
    pub towed_sin: Vec<Lanes<N>>,
    /// Absolute heading of the frame, rad; empty without a yaw-rate sensor.
    pub turn_rad: Vec<Lanes<N>>,
    /// Number of steps before the tractor loses the row; all of them if it never does.
    pub kept_steps: Lanes<N>,
    /// Ticks of the side-shift along it.
    ticks: usize,
    /// Step, s, and ticks to it.
    step: (f64, usize),
    /// 1 as long as it has not.
    keeps: Lanes<N>,
}

/// What of the drives the side-shift needs to know.
#[derive(Clone, Copy, Debug)]
pub struct Driven<const N: usize> {
    /// Speed of the rear axle, m/s.
    pub speed_m_s: f64,
    /// Moment of lowering after tick 0, s.
    pub lowered_s: Lanes<N>,
    /// Number of ticks of the side-shift.
    pub ticks: usize,
}

impl<const N: usize> Driven<N> {
    /// That of one pass alone.
    pub fn lane(self, lane: usize) -> Driven<1> {
        Driven {
            speed_m_s: self.speed_m_s,
            lowered_s: self.lowered_s.lane(lane),
            ticks: self.ticks,
        }
    }
}

/// What differs between passes that run side by side.
#[derive(Clone, Copy, Debug)]
pub struct Own<const N: usize> {
    /// Numbers of the passes.
    pub passes: [u64; N],
    /// Entry jump of the offset, m.
    pub entry_offset_m: Lanes<N>,
    /// Entry jump of the heading, rad.
    pub entry_heading_rad: Lanes<N>,
    /// Shift at which the frame was held while lifted, m.
    pub entry_shift_m: Lanes<N>,
    /// Alignment bias of the camera less its trim, m.
    pub alignment_m: Lanes<N>,
    /// Bias of the yaw-rate sensor, rad/s.
    pub yaw_bias_rad_s: Lanes<N>,
}

impl<const N: usize> Own<N> {
    /// That of one pass alone.
    pub fn lane(&self, lane: usize) -> Own<1> {
        Own {
            passes: [self.passes[lane]],
            entry_offset_m: self.entry_offset_m.lane(lane),
            entry_heading_rad: self.entry_heading_rad.lane(lane),
            entry_shift_m: self.entry_shift_m.lane(lane),
            alignment_m: self.alignment_m.lane(lane),
            yaw_bias_rad_s: self.yaw_bias_rad_s.lane(lane),
        }
    }

    /// From the setups of the passes.
    pub fn of(setups: &[Setup; N], passes: [u64; N]) -> Self {
        Self {
            passes,
            entry_offset_m: Lanes::from_fn(|i| setups[i].run.entry_offset_m),
            entry_heading_rad: Lanes::from_fn(|i| setups[i].run.entry_heading_rad),
            entry_shift_m: Lanes::from_fn(|i| setups[i].run.entry_shift_m),
            alignment_m: Lanes::from_fn(|i| setups[i].camera.alignment_m - setups[i].camera.trim_m),
            yaw_bias_rad_s: Lanes::from_fn(|i| {
                setups[i].yaw_sensor.map_or(0.0, |sensor| sensor.bias_rad_s)
            }),
        }
    }
}

/// Gives a machine what [`Own`] keeps apart from another one.
pub(super) fn take_own(of: &Setup, machine: &mut Setup) {
    machine.run.entry_offset_m = of.run.entry_offset_m;
    machine.run.entry_heading_rad = of.run.entry_heading_rad;
    machine.run.entry_shift_m = of.run.entry_shift_m;
    machine.camera.alignment_m = of.camera.alignment_m;
    machine.camera.trim_m = of.camera.trim_m;
    if let (Some(of), Some(own)) = (&of.yaw_sensor, &mut machine.yaw_sensor) {
        own.bias_rad_s = of.bias_rad_s;
    }
}

/// Whether these passes may run side by side: their setups differ in nothing but what [`Own`] keeps apart and, in the side-shift, where
/// each pass may move alone, the hydraulics.
pub fn side_by_side(a: &Setup, b: &Setup) -> bool {
    let mut b = b.clone();
    take_own(a, &mut b);
    b.hydraulics = a.hydraulics;
    *a == b
}

/// Where the tractors stand, relative to the line at their station, with the heading of the drawn implement.
#[derive(Clone, Copy)]
pub(super) struct State<const N: usize> {
    pub(super) station_m: Lanes<N>,
    pub(super) offset_m: Lanes<N>,
    pub(super) heading_rad: Lanes<N>,
    pub(super) steer_rad: Lanes<N>,
    pub(super) towed_rad: Lanes<N>,
}

impl<const N: usize> Drive<N> {
    /// Drives all passes at one speed.
    #[inline(always)]
    pub fn new(setup: &Setup, ground: &Ground<N>, seed: u64, own: &Own<N>, speed_m_s: f64) -> Self {
        let mut drive = Self::default();
        drive.again(setup, ground, seed, own, speed_m_s);
        drive
    }

    /// The same in the room that an earlier drive took.
    #[inline(always)]
    pub fn again(
        &mut self,
        setup: &Setup,
        ground: &Ground<N>,
        seed: u64,
        own: &Own<N>,
        speed_m_s: f64,
    ) {
        let tool_m = setup.tools.tool_line_m;
        // Frames keep step with the ticks, so what is drawn is not their phase but the moment of lowering between two of them.
        let lowered_s = Deviates::new(seed, own.passes, Source::FramePhase, 0).uniform()
            * setup.camera.frame_s
            + setup.run.approach_m / speed_m_s;
        let ticks = ticks(setup, speed_m_s);
        // One beyond the last tick, so that every tick lies between two of them.
        let count = ticks / setup.run.drive_ticks + 2;
        self.ticks = ticks;
        self.step = (setup.run.drive_step_s(), setup.run.drive_ticks);
        self.speed_m_s = speed_m_s;
        self.lowered_s = lowered_s;
        for series in [
            &mut self.station_m,
            &mut self.axle_m,
            &mut self.sin,
            &mut self.towed_sin,
            &mut self.turn_rad,
        ] {
            series.clear();
        }
        self.kept_steps = Lanes::default();
        self.keeps = Lanes::all(1.0);
        let mut state = State {
            station_m: tool_m - lowered_s * speed_m_s,
            offset_m: Lanes::default(),
            heading_rad: Lanes::default(),
            steer_rad: Lanes::default(),
            towed_rad: Lanes::all(steady_towed_rad(setup)),
        };
        match &setup.driver {
            Driver::Replay(log) => self.replay(setup, log, state, count),
            Driver::Hand(hand) => {
                let hands = Person::new(hand, setup, speed_m_s, seed, own.passes);
                self.steered(setup, ground, own, &mut state, count, hands);
            }
            Driver::SatelliteLine(line) => {
                let hands = Satellite::new(line, setup, speed_m_s, seed, own.passes);
                self.steered(setup, ground, own, &mut state, count, hands);
            }
        }
    }

    #[inline(always)]
    fn steered(
        &mut self,
        setup: &Setup,
        ground: &Ground<N>,
        own: &Own<N>,
        state: &mut State<N>,
        count: usize,
        mut hands: impl Hands<N>,
    ) {
        let (dt, v) = (setup.run.drive_step_s(), self.speed_m_s);
        let warm_up_steps = (warm_up_m(setup, v) / (v * dt)).ceil();
        state.station_m = setup.tools.tool_line_m - v * (self.lowered_s + warm_up_steps * dt);
        let motion = Motion::new(setup, v);
        // No driver ever stands at y = psi = 0: the loop first has to forget that it was begun there.
        let mut heading = sin_cos(state.heading_rad);
        for _ in 0..warm_up_steps as usize {
            let command = hands.command_rad(setup, ground, state, heading);
            heading = motion.advance(setup, state, heading, command);
        }
        // The headland turn is not driven: what it leaves is put on at once, after the warm-up, in which it would have been steered away.
        // The implement turns with the tractor, or the hitch would be bent.
        state.offset_m += own.entry_offset_m;
        state.heading_rad += own.entry_heading_rad;
        state.towed_rad += own.entry_heading_rad;
        heading = sin_cos(state.heading_rad);
        for _ in 0..count {
            self.note(setup, state, heading.0);
            let command = hands.command_rad(setup, ground, state, heading);
            heading = motion.advance(setup, state, heading, command);
        }
    }

    #[inline(always)]
    fn note(&mut self, setup: &Setup, state: &State<N>, heading_sin: Lanes<N>) {
        let near = Lanes::all(LOST_OFFSET_M).above(state.offset_m.abs());
        let along = Lanes::all(LOST_HEADING_RAD).above(state.heading_rad.abs());
        // A product instead of a branch: a lane that lost the row stays lost, and all lanes take the same steps.
        self.keeps = self.keeps * near * along;
        self.kept_steps += self.keeps;
        self.station_m.push(state.station_m);
        self.axle_m.push(state.offset_m);
        self.sin.push(heading_sin);
        let frame_rad = if is_drawn(setup) {
            self.towed_sin.push(sin(state.towed_rad));
            state.towed_rad
        } else {
            state.heading_rad
        };
        if setup.yaw_sensor.is_some() {
            self.turn_rad.push(if setup.line.is_straight() {
                frame_rad
            } else {
                frame_rad + state.station_m.map(|s_m| setup.line.heading_rad(s_m))
            });
        }
    }

    fn replay(&mut self, setup: &Setup, log: &LoggedPath, mut state: State<N>, count: usize) {
        let (dt, v) = (setup.run.drive_step_s(), self.speed_m_s);
        let tool_m = setup.tools.tool_line_m;
        let motion = Motion::new(setup, v);
        state.heading_rad = Lanes::all(log.at(0.0).1);
        for step in 0..count {
            let driven_m = (step as f64 * dt - self.lowered_s) * v;
            let here: [(f64, f64); N] = std::array::from_fn(|i| log.at(driven_m.0[i]));
            state.station_m = tool_m + driven_m;
            state.offset_m = Lanes::from_fn(|i| here[i].0);
            // Heading is counted from the line, a yaw rate from the ground: the line's own turning comes on top.
            // The log gives the path; the yaw rate is what takes the heading from this slope of it to the next within the step.
            let next_rad = Lanes::from_fn(|i| libm::atan(log.at(driven_m.0[i] + dt * v).1));
            let curvature = motion.curvature_1_m(setup, state.station_m);
            let yaw = (next_rad - Lanes::from_fn(|i| libm::atan(here[i].1))) / dt + curvature * v;
            self.note(setup, &state, sin(state.heading_rad));
            if is_drawn(setup) {
                let middle_rad = state.heading_rad;
                motion.tow(setup, &mut state, middle_rad, yaw, curvature * v);
            }
            state.heading_rad = next_rad;
        }
    }

    /// What of it the side-shift needs to know.
    #[inline(always)]
    pub fn driven(&self) -> Driven<N> {
        Driven {
            speed_m_s: self.speed_m_s,
            lowered_s: self.lowered_s,
            ticks: self.ticks,
        }
    }

    /// Where tractor and frame stand at a time from tick 0, s: straight between two steps, held beyond the ends.
    #[inline(always)]
    pub fn at(&self, time_s: f64) -> Stand<N> {
        let steps = time_s / self.step.0;
        let sin = at(&self.sin, steps);
        Stand {
            station_m: at(&self.station_m, steps),
            axle_m: at(&self.axle_m, steps),
            sin,
            frame_sin: if self.towed_sin.is_empty() {
                sin
            } else {
                at(&self.towed_sin, steps)
            },
        }
    }

    /// Where tractor and frame stand at a step.
    #[inline(always)]
    pub fn at_step(&self, step: usize) -> Stand<N> {
        Stand {
            station_m: self.station_m[step],
            axle_m: self.axle_m[step],
            sin: self.sin[step],
            frame_sin: *self.towed_sin.get(step).unwrap_or(&self.sin[step]),
        }
    }

    /// Last time from tick 0 of which everything is known, s.
    #[inline(always)]
    pub fn end_s(&self) -> f64 {
        (self.station_m.len() - 1) as f64 * self.step.0
    }

    /// 1 in the lanes that have not lost the row at a step, else 0.
    #[inline(always)]
    pub fn on_row(&self, step: usize) -> Lanes<N> {
        self.kept_steps.above(Lanes::all(step as f64))
    }

    /// Number of ticks of the side-shift before a lane loses the row; all of them if it never does.
    pub fn kept_ticks(&self, lane: usize) -> usize {
        (self.kept_steps.0[lane] as usize * self.step.1).min(self.ticks)
    }

    /// 1 in the lanes that lose the row on their way, else 0.
    #[inline(always)]
    pub fn loses_the_row(&self) -> Lanes<N> {
        Lanes::all(self.station_m.len() as f64).above(self.kept_steps)
    }
}

/// Where the tractors and their unshifted frames stand at a moment.
#[derive(Clone, Copy, Debug)]
pub struct Stand<const N: usize> {
    /// Distance of the rear axle along the line, m.
    pub station_m: Lanes<N>,
    /// Offset of the rear axle from the line, m.
    pub axle_m: Lanes<N>,
    /// Sine of the tractor's heading.
    pub sin: Lanes<N>,
    /// Sine of the frame's heading: the tractor's if the hitch is rigid, else the implement's.
    pub frame_sin: Lanes<N>,
}

impl<const N: usize> Stand<N> {
    /// A point `x_m` behind the rear axle of the unshifted frame from the planned line, m.
    #[inline(always)]
    pub fn frame_m(&self, setup: &Setup, ground: &Ground<N>, x_m: f64) -> Lanes<N> {
        let s_m = self.station_m;
        let mut frame_m = match setup.hitch {
            Hitch::Rigid { .. } => self.axle_m - self.sin * x_m + ground.sway.at(s_m),
            Hitch::Drawn { hitch_m, .. } => {
                self.axle_m - self.sin * hitch_m - self.frame_sin * (x_m - hitch_m)
            }
        };
        if !setup.line.is_straight() {
            frame_m -= s_m.map(|s_m| setup.line.bend_behind_m(s_m, x_m));
        }
        frame_m
    }
}

fn is_drawn(setup: &Setup) -> bool {
    matches!(setup.hitch, Hitch::Drawn { .. })
}

fn steady_towed_rad(setup: &Setup) -> f64 {
    match setup.hitch {
        Hitch::Rigid { .. } => 0.0,
        Hitch::Drawn {
            implement_crab_rad, ..
        } => setup.tractor.crab_rad - implement_crab_rad,
    }
}

/// What the motion needs at every step, computed once.
struct Motion {
    speed_m_s: f64,
    step_s: f64,
    slip: f64,
    own_slip: f64,
    lag_share: f64,
    steer_most_rad: f64,
    is_straight: bool,
}

impl Motion {
    fn new(setup: &Setup, speed_m_s: f64) -> Self {
        let tractor = &setup.tractor;
        let step_s = setup.run.drive_step_s();
        let lag_s = tractor.steer_lag_s;
        Self {
            speed_m_s,
            step_s,
            slip: libm::tan(tractor.crab_rad),
            own_slip: match setup.hitch {
                Hitch::Rigid { .. } => 0.0,
                Hitch::Drawn {
                    implement_crab_rad, ..
                } => libm::tan(implement_crab_rad),
            },
            lag_share: if lag_s > 0.0 {
                -libm::expm1(-step_s / lag_s)
            } else {
                1.0
            },
            steer_most_rad: tractor.steer_rate_rad_s * step_s,
            is_straight: setup.line.is_straight(),
        }
    }

    #[inline(always)]
    fn curvature_1_m<const N: usize>(&self, setup: &Setup, s_m: Lanes<N>) -> Lanes<N> {
        if self.is_straight {
            Lanes::default()
        } else {
            s_m.map(|s_m| setup.line.curvature_1_m(s_m))
        }
    }

    /// Moves tractor and implement by one step; takes sine and cosine of the heading before it and gives those after it.
    #[inline(always)]
    fn advance<const N: usize>(
        &self,
        setup: &Setup,
        state: &mut State<N>,
        heading: (Lanes<N>, Lanes<N>),
        command_rad: Lanes<N>,
    ) -> (Lanes<N>, Lanes<N>) {
        let (dt, v, slip) = (self.step_s, self.speed_m_s, self.slip);
        let limit = Lanes::all(setup.tractor.steer_limit_rad);
        let most = Lanes::all(self.steer_most_rad);
        // The exact step of a first-order lag, cut to the rate that the steering has.
        let wanted = (command_rad.clamp(-limit, limit) - state.steer_rad) * self.lag_share;
        let steer_rad = state.steer_rad + wanted.clamp(-most, most);
        let yaw = yaw_rate(setup, v, (state.steer_rad + steer_rad) * 0.5);

        let (sin0, cos0) = heading;
        let before = *state;
        let (middle_rad, line_rad_s, next);
        if self.is_straight {
            // Without a bend the heading turns evenly through the step: its sine is carried along by two half steps instead of worked out
            // anew. What the rounding adds over a pass is a random walk of some 1e-14.
            middle_rad = state.heading_rad + yaw * (0.5 * dt);
            let half = small(yaw * (0.5 * dt));
            let (sin, cos) = turned(heading, half);
            next = turned((sin, cos), half);
            line_rad_s = Lanes::default();
            state.station_m += (cos - sin * slip) * v * dt;
            state.offset_m += (sin + cos * slip) * v * dt;
            state.heading_rad += yaw * dt;
        } else {
            // On the inner side of a bend the same way covers more of the line, hence 1 - k y. All hang together: half a
            // step ahead, then the whole step with what holds there.
            let curvature = self.curvature_1_m(setup, state.station_m + 0.5 * dt * v);
            let first_m_s = (cos0 - sin0 * slip) * v / (1.0 - curvature * state.offset_m);
            middle_rad = state.heading_rad + (yaw - curvature * first_m_s) * (0.5 * dt);
            let middle_m = state.offset_m + (sin0 + cos0 * slip) * (0.5 * dt * v);
            let (sin, cos) = sin_cos(middle_rad);
            let pace_m_s = (cos - sin * slip) * v / (1.0 - curvature * middle_m);
            line_rad_s = curvature * pace_m_s;
            state.station_m += pace_m_s * dt;
            state.offset_m += (sin + cos * slip) * v * dt;
            state.heading_rad += (yaw - line_rad_s) * dt;
            next = sin_cos(state.heading_rad);
        }
        state.steer_rad = steer_rad;
        if is_drawn(setup) {
            // The implement's own midpoint step begins where the tractor began; with the new state it would be drawn a step ahead.
            let mut towed = before;
            self.tow(setup, &mut towed, middle_rad, yaw, line_rad_s);
            state.towed_rad = towed.towed_rad;
        }
        next
    }

    /// One step of the drawn implement by the midpoint rule.
    #[inline(always)]
    fn tow<const N: usize>(
        &self,
        setup: &Setup,
        state: &mut State<N>,
        middle_rad: Lanes<N>,
        yaw: Lanes<N>,
        line_rad_s: Lanes<N>,
    ) {
        let Hitch::Drawn {
            hitch_m, carrier_m, ..
        } = setup.hitch
        else {
            return;
        };
        let (along, across) = (self.speed_m_s / carrier_m, hitch_m / carrier_m);
        let first = self.towed_yaw(state.heading_rad - state.towed_rad, yaw, along, across);
        let half_rad = state.towed_rad + (first - line_rad_s) * (0.5 * self.step_s);
        let middle = self.towed_yaw(middle_rad - half_rad, yaw, along, across);
        state.towed_rad += (middle - line_rad_s) * self.step_s;
    }

    /// Yaw rate of the drawn implement at an angle to the tractor, rad/s. No closure: it would be called in narrow registers.
    #[inline(always)]
    fn towed_yaw<const N: usize>(
        &self,
        angle_rad: Lanes<N>,
        yaw: Lanes<N>,
        along_1_s: f64,
        across: f64,
    ) -> Lanes<N> {
        let (sin, cos) = sin_cos(angle_rad);
        (sin + cos * self.slip - self.own_slip) * along_1_s - yaw * cos * across
    }
}

/// Yaw rate of the tractor from its steering angle, rad/s.
#[inline(always)]
pub(super) fn yaw_rate<const N: usize>(
    setup: &Setup,
    speed_m_s: f64,
    steer_rad: Lanes<N>,
) -> Lanes<N> {
    tan(steer_rad) * (speed_m_s / setup.tractor.wheelbase_m)
}

/// Sine and cosine of an angle of less than 0.05 rad, to 1e-14.
#[inline(always)]
fn small<const N: usize>(angle: Lanes<N>) -> (Lanes<N>, Lanes<N>) {
    let z = angle * angle;
    (
        angle + angle * z * (z * (1.0 / 120.0) - 1.0 / 6.0),
        1.0 + z * (z * (z * (-1.0 / 720.0) + 1.0 / 24.0) - 0.5),
    )
}

/// Sine and cosine of the sum of two angles.
#[inline(always)]
fn turned<const N: usize>(
    (sin, cos): (Lanes<N>, Lanes<N>),
    (more_sin, more_cos): (Lanes<N>, Lanes<N>),
) -> (Lanes<N>, Lanes<N>) {
    (
        sin * more_cos + cos * more_sin,
        cos * more_cos - sin * more_sin,
    )
}

/// Ticks of the side-shift along a drive: from the last frame before the approach until the last edge has passed the last plant.
fn ticks(setup: &Setup, speed_m_s: f64) -> usize {
    let driven_m = setup.run.approach_m + setup.driven_length_m();
    let driven_s = driven_m / speed_m_s + setup.camera.frame_s;
    (driven_s / setup.run.step_s).ceil() as usize + 2
}
