//! The drive: tractor, driver and unshifted implement over time at one speed. It does not depend on the controller, so
//! all controllers share it.

use super::ground::{Ground, warm_up_m};
use super::streams::{Draws, Reference, Source, Streams};
use crate::model::driver::{Driver, HandDriver, SatelliteLine};
use crate::model::hitch::Hitch;
use crate::model::noise::GaussMarkovStep;
use crate::model::setup::Setup;
use crate::model::tractor::TractorState;

/// What one speed makes of the ground: a value at every tick. Tick 0 is the exposure of the last camera frame before the approach
/// begins (without an approach: before the tools are lowered), so that frames and ticks keep the same step in every pass; that moment falls
/// at random between two frames.
#[derive(Clone, Debug)]
pub struct Path {
    /// Speed of the rear axle, m/s.
    pub speed_m_s: f64,
    /// Tick, s.
    pub step_s: f64,
    /// Moment of lowering after tick 0, s: the tool line stands at distance 0.
    pub lowered_s: f64,
    /// Distance of the rear axle along the line, m.
    pub station_m: Vec<f64>,
    /// Offset of the rear axle from the planned line, m.
    pub axle_m: Vec<f64>,
    /// Heading of the tractor relative to the line, rad.
    pub heading_rad: Vec<f64>,
    /// Sine of the heading of the frame (tractor's if rigid, implement's if drawn) relative to the line.
    pub frame_sin: Vec<f64>,
    /// Absolute heading of the frame from the beginning of the line, rad: what a yaw-rate sensor on it integrates.
    pub frame_turn_rad: Vec<f64>,
    /// Tool line of the unshifted frame from the planned line, m.
    pub frame_m: Vec<f64>,
    /// Guided rows at the tool line from the planned line, m.
    pub row_m: Vec<f64>,
    /// Guided rows at the rear axle from the planned line, m.
    pub axle_row_m: Vec<f64>,
    /// Number of ticks before the tractor loses the row; all of them if it never does.
    pub kept_ticks: usize,
}

impl Path {
    /// Shift that would put the tools on the row at a tick, m.
    pub fn wanted_m(&self, tick: usize) -> f64 {
        self.row_m[tick] - self.frame_m[tick]
    }

    /// True if the tractor loses the row on its way.
    pub fn loses_the_row(&self) -> bool {
        self.kept_ticks < self.station_m.len()
    }

    /// A point `x_m` behind the rear axle of the unshifted frame from the planned line, at a tick, m.
    pub fn frame_at_m(&self, setup: &Setup, tick: usize, x_m: f64) -> f64 {
        let tool_m = setup.tools.tool_line_m;
        let s_m = self.station_m[tick];
        let bend = setup.line.bend_behind_m(s_m, x_m) - setup.line.bend_behind_m(s_m, tool_m);
        self.frame_m[tick] - (x_m - tool_m) * self.frame_sin[tick] - bend
    }

    /// Linear interpolation of a series of this path at a time from tick 0, s; held beyond the ends.
    pub fn at(&self, series: &[f64], time_s: f64) -> f64 {
        let x = (time_s / self.step_s).clamp(0.0, (series.len() - 1) as f64);
        let i = (x as usize).min(series.len() - 2);
        series[i] + (x - i as f64) * (series[i + 1] - series[i])
    }
}

/// Drives one pass.
///
/// Each tick, in this order, by the midpoint rule (second order in the tick):
///
/// ```text
/// command  driver looks (a reaction time ago) at the middle of the tick
/// steer    lag, limits
/// move     station, offset, heading with the mean steering angle; then the drawn implement
/// look     error at the preview point, kept for the reaction time
/// ```
///
/// At tick 0 the offset and heading jump by what the headland turn left (not for a replay).
pub fn drive(setup: &Setup, ground: &Ground, seed: u64, pass: u64, speed_m_s: f64) -> Path {
    drive_from(setup, ground, &Reference { seed, pass }, speed_m_s)
}

/// Ticks of a path: from the last frame before the approach until the last edge has passed the last plant.
pub(crate) fn ticks(setup: &Setup, speed_m_s: f64) -> usize {
    let driven_m = setup.run.approach_m + setup.driven_length_m();
    let driven_s = driven_m / speed_m_s + setup.camera.frame_s;
    (driven_s / setup.run.step_s).ceil() as usize + 2
}

/// Drives one pass from its streams, as [`drive`].
pub fn drive_from(setup: &Setup, ground: &Ground, streams: &impl Streams, speed_m_s: f64) -> Path {
    let step_s = setup.run.step_s;
    let tool_m = setup.tools.tool_line_m;
    let phase = streams.of(Source::FramePhase, 0).uniform();
    let lowered_s = setup.camera.frame_s * phase + setup.run.approach_m / speed_m_s;
    let ticks = ticks(setup, speed_m_s);
    let mut path = Path {
        speed_m_s,
        step_s,
        lowered_s,
        station_m: Vec::with_capacity(ticks),
        axle_m: Vec::with_capacity(ticks),
        heading_rad: Vec::with_capacity(ticks),
        frame_sin: Vec::with_capacity(ticks),
        frame_turn_rad: Vec::with_capacity(ticks),
        frame_m: Vec::with_capacity(ticks),
        row_m: Vec::with_capacity(ticks),
        axle_row_m: Vec::with_capacity(ticks),
        kept_ticks: 0,
    };
    let mut towed = Towed::new(setup, speed_m_s);
    match &setup.driver {
        Driver::Replay(log) => {
            let mut heading_rad = log.at(0.0).1;
            for tick in 0..ticks {
                let driven_m = (tick as f64 * step_s - lowered_s) * speed_m_s;
                let (offset_m, slope) = log.at(driven_m);
                let next_rad = libm::atan(log.at(driven_m + step_s * speed_m_s).1);
                let state = TractorState {
                    station_m: tool_m + driven_m,
                    offset_m,
                    heading_rad,
                    steer_rad: 0.0,
                };
                let curvature = setup.line.curvature_1_m(state.station_m);
                // Heading is counted from the line, a yaw rate from the ground: the line's own turning comes on top.
                let yaw = (next_rad - libm::atan(slope)) / step_s + curvature * speed_m_s;
                path.push(setup, ground, &state, &towed);
                towed.step(
                    setup,
                    &state,
                    heading_rad,
                    yaw,
                    curvature * speed_m_s,
                    step_s,
                );
                heading_rad = next_rad;
            }
        }
        driver => {
            let mut hands = Hands::new(driver, setup, speed_m_s, streams);
            let warm_up_ticks = (warm_up_m(setup, speed_m_s) / (speed_m_s * step_s)).ceil();
            let mut state = TractorState {
                station_m: tool_m - speed_m_s * (lowered_s + warm_up_ticks * step_s),
                offset_m: 0.0,
                heading_rad: 0.0,
                steer_rad: 0.0,
            };
            // No driver ever stands at y = psi = 0: the loop first has to forget that it was begun there.
            for _ in 0..warm_up_ticks as usize {
                advance(setup, ground, &mut state, &mut hands, &mut towed, speed_m_s);
            }
            // After the warm-up, in which it would have been steered away; the implement turns with the tractor, or the hitch would be
            // bent.
            state.offset_m += setup.run.entry_offset_m;
            state.heading_rad += setup.run.entry_heading_rad;
            towed.heading_rad += setup.run.entry_heading_rad;
            for _ in 0..ticks {
                path.push(setup, ground, &state, &towed);
                advance(setup, ground, &mut state, &mut hands, &mut towed, speed_m_s);
            }
        }
    }
    path
}

/// Moves tractor and implement by one tick.
fn advance(
    setup: &Setup,
    ground: &Ground,
    state: &mut TractorState,
    hands: &mut Hands<impl Draws>,
    towed: &mut Towed,
    speed_m_s: f64,
) {
    let dt = setup.run.step_s;
    let tractor = &setup.tractor;
    let slip = libm::tan(tractor.crab_rad);
    let command_rad = hands.command_rad(setup, ground, state);
    let steer_rad = tractor.steer(state.steer_rad, command_rad, dt);
    let yaw = tractor.yaw_rate_rad_s(0.5 * (state.steer_rad + steer_rad), speed_m_s);

    let (sin0, cos0) = libm::sincos(state.heading_rad);
    let curvature = setup
        .line
        .curvature_1_m(state.station_m + 0.5 * dt * speed_m_s);
    // On the inner side of a bend the same way covers more of the line, hence 1 - k y.
    let first_m_s = speed_m_s * (cos0 - slip * sin0) / (1.0 - curvature * state.offset_m);
    let middle_rad = state.heading_rad + 0.5 * dt * (yaw - curvature * first_m_s);
    let middle_m = state.offset_m + 0.5 * dt * speed_m_s * (sin0 + slip * cos0);
    let (sin, cos) = libm::sincos(middle_rad);
    let pace_m_s = speed_m_s * (cos - slip * sin) / (1.0 - curvature * middle_m);

    // The implement's own midpoint step begins where the tractor began; with the new state it would be drawn a tick ahead.
    let before = *state;
    state.station_m += dt * pace_m_s;
    state.offset_m += dt * speed_m_s * (sin + slip * cos);
    state.heading_rad += dt * (yaw - curvature * pace_m_s);
    state.steer_rad = steer_rad;
    towed.step(setup, &before, middle_rad, yaw, curvature * pace_m_s, dt);
}

impl Path {
    fn push(&mut self, setup: &Setup, ground: &Ground, state: &TractorState, towed: &Towed) {
        let tool_m = setup.tools.tool_line_m;
        let s_m = state.station_m;
        let bend_m = setup.line.bend_behind_m(s_m, tool_m);
        let sin = libm::sin(state.heading_rad);
        let (frame_rad, frame_sin, frame_m) = match setup.hitch {
            Hitch::Rigid { .. } => (
                state.heading_rad,
                sin,
                state.offset_m - tool_m * sin - bend_m + ground.sway.at(s_m),
            ),
            Hitch::Drawn { hitch_m, .. } => {
                let towed_sin = libm::sin(towed.heading_rad);
                let frame_m =
                    state.offset_m - hitch_m * sin - (tool_m - hitch_m) * towed_sin - bend_m;
                (towed.heading_rad, towed_sin, frame_m)
            }
        };
        // Lost once is lost for good, also where the tractor happens to cross the row again.
        if !self.loses_the_row() && !state.has_lost_the_row() {
            self.kept_ticks += 1;
        }
        self.station_m.push(s_m);
        self.axle_m.push(state.offset_m);
        self.heading_rad.push(state.heading_rad);
        self.frame_sin.push(frame_sin);
        self.frame_turn_rad
            .push(frame_rad + setup.line.heading_rad(s_m));
        self.frame_m.push(frame_m);
        self.row_m.push(ground.guided_row_m(s_m - tool_m));
        self.axle_row_m.push(ground.guided_row_m(s_m));
    }
}

/// The drawn implement; stays straight if the hitch is rigid.
#[derive(Clone, Copy, Debug)]
struct Towed {
    speed_m_s: f64,
    heading_rad: f64,
}

impl Towed {
    /// Starts at the heading at which the implement would run steadily behind a tractor that crabs straight along the line.
    fn new(setup: &Setup, speed_m_s: f64) -> Self {
        let heading_rad = match setup.hitch {
            Hitch::Rigid { .. } => 0.0,
            Hitch::Drawn {
                implement_crab_rad, ..
            } => setup.tractor.crab_rad - implement_crab_rad,
        };
        Self {
            speed_m_s,
            heading_rad,
        }
    }

    /// Absolute yaw rate of the implement, rad/s; 0 if the hitch is rigid.
    fn yaw_at_rad_s(&self, setup: &Setup, heading_rad: f64, towed_rad: f64, yaw_rad_s: f64) -> f64 {
        let Hitch::Drawn {
            hitch_m,
            carrier_m,
            implement_crab_rad,
        } = setup.hitch
        else {
            return 0.0;
        };
        let (sin, cos) = libm::sincos(heading_rad - towed_rad);
        let (crab, own) = (
            libm::tan(setup.tractor.crab_rad),
            libm::tan(implement_crab_rad),
        );
        self.speed_m_s / carrier_m * (sin + crab * cos - own)
            - hitch_m / carrier_m * yaw_rad_s * cos
    }

    fn yaw_rad_s(&self, setup: &Setup, state: &TractorState, yaw_rad_s: f64) -> f64 {
        self.yaw_at_rad_s(setup, state.heading_rad, self.heading_rad, yaw_rad_s)
    }

    /// One tick by the midpoint rule; `line_rad_s` is the rate at which the line's tangent turns.
    fn step(
        &mut self,
        setup: &Setup,
        before: &TractorState,
        middle_rad: f64,
        yaw_rad_s: f64,
        line_rad_s: f64,
        dt_s: f64,
    ) {
        if let Hitch::Rigid { .. } = setup.hitch {
            return;
        }
        let first = self.yaw_rad_s(setup, before, yaw_rad_s) - line_rad_s;
        let half_rad = self.heading_rad + 0.5 * dt_s * first;
        self.heading_rad +=
            dt_s * (self.yaw_at_rad_s(setup, middle_rad, half_rad, yaw_rad_s) - line_rad_s);
    }
}

/// The driver's side of the loop: noises over time and, for a person, what was seen a reaction time ago.
struct Hands<D> {
    kind: HandsKind<D>,
    speed_m_s: f64,
}

enum HandsKind<D> {
    Person {
        driver: HandDriver,
        preview_m: f64,
        seen_m: Vec<f64>,
        wobble: Box<Wobble<D>>,
    },
    Satellite {
        line: SatelliteLine,
        receiver: Box<Wobble<D>>,
        drift: Box<Wobble<D>>,
    },
    Nobody,
}

/// A Gauss-Markov noise over time, by ticks.
struct Wobble<D> {
    step: GaussMarkovStep,
    value: f64,
    rng: D,
}

impl<D: Draws> Wobble<D> {
    fn new(step: GaussMarkovStep, mut rng: D) -> Self {
        let value = step.start(rng.normal());
        Self { step, value, rng }
    }

    /// Moves on by one tick and gives the mean of both ends.
    fn over_tick(&mut self) -> f64 {
        let before = self.value;
        self.value = self.step.next(before, self.rng.normal());
        // Mean over the tick, as the midpoint rule wants it; held from its beginning it would be half a tick late.
        0.5 * (before + self.value)
    }
}

impl<D: Draws> Hands<D> {
    fn new(
        driver: &Driver,
        setup: &Setup,
        speed_m_s: f64,
        streams: &impl Streams<Stream = D>,
    ) -> Self {
        let dt = setup.run.step_s;
        let kind = match driver {
            Driver::Hand(hand) => {
                let mut noise = hand.steering;
                noise.sd *= hand.wander_factor;
                HandsKind::Person {
                    driver: *hand,
                    preview_m: hand.preview_m(speed_m_s),
                    seen_m: Vec::new(),
                    wobble: Box::new(Wobble::new(noise.step(dt), streams.of(Source::Steering, 0))),
                }
            }
            Driver::SatelliteLine(line) => {
                let [receiver, drift] = line.noises(speed_m_s).map(|noise| noise.step(dt));
                HandsKind::Satellite {
                    line: *line,
                    receiver: Box::new(Wobble::new(receiver, streams.of(Source::Receiver, 0))),
                    drift: Box::new(Wobble::new(drift, streams.of(Source::Drift, 0))),
                }
            }
            Driver::Replay(_) => HandsKind::Nobody,
        };
        Self { kind, speed_m_s }
    }

    /// Steering command for the coming tick, rad.
    fn command_rad(&mut self, setup: &Setup, ground: &Ground, state: &TractorState) -> f64 {
        let dt = setup.run.step_s;
        let (v, wheelbase_m) = (self.speed_m_s, setup.tractor.wheelbase_m);
        match &mut self.kind {
            HandsKind::Person {
                driver,
                preview_m,
                seen_m,
                wobble,
            } => {
                let d = *preview_m;
                // Course, not heading, or a side slope would leave him d crab beside the row; and the bend ahead, or d² k/2 beside it in
                // every curve.
                let course_rad = state.heading_rad + setup.tractor.crab_rad;
                let ahead_m = state.offset_m + d * libm::sin(course_rad)
                    - setup.line.bend_ahead_m(state.station_m, d)
                    - ground.guided_row_m(state.station_m + d)
                    + ground.seeing.at(state.station_m);
                seen_m.push(ahead_m);
                let now = (seen_m.len() - 1) as f64;
                // The command serves the coming tick: looked at from its middle, or the reaction would be half a tick longer than it is.
                let x = (now + 0.5 - driver.reaction_s / dt).clamp(0.0, now);
                let i = (x as usize).min(seen_m.len().saturating_sub(2));
                let next = seen_m[(i + 1).min(seen_m.len() - 1)];
                let error_m = seen_m[i] + (x - i as f64) * (next - seen_m[i]);
                // Pure pursuit: the arc through the preview point bends by 2 e/d², and a small steering angle is L times that.
                -2.0 * wheelbase_m / (d * d) * error_m + wobble.over_tick()
            }
            HandsKind::Satellite {
                line,
                receiver,
                drift,
            } => {
                let noise_m = receiver.over_tick() + drift.over_tick();
                let course_rad = state.heading_rad + setup.tractor.crab_rad;
                let curvature = setup.line.curvature_1_m(state.station_m);
                let yaw = setup.tractor.yaw_rate_rad_s(state.steer_rad, v) - curvature * v;
                // Steered by the middle of the tick, for the same reason as by hand.
                let middle_m = state.offset_m + 0.5 * dt * v * course_rad;
                let middle_rad = course_rad + 0.5 * dt * yaw;
                let w = line.frequency_rad_s;
                let ahead = setup.line.curvature_1_m(state.station_m + 0.5 * dt * v);
                // The planned bend is fed forward: by its error alone the loop would stand off the line all along a curve.
                libm::atan(wheelbase_m * ahead)
                    - wheelbase_m / (v * v)
                        * (w * w * (middle_m + noise_m) + 2.0 * line.damping * w * v * middle_rad)
            }
            HandsKind::Nobody => 0.0,
        }
    }
}
