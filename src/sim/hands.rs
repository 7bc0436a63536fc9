//! Whoever steers: a person who sees and acts late, or satellite steering along the planned line.

use super::deviates::{AT_A_TIME, Deviates};
use super::drive::{State, yaw_rate};
use super::ground::Ground;
use super::streams::Source;
use crate::model::driver::{HandDriver, SatelliteLine};
use crate::model::noise::{GaussMarkov, GaussMarkovStep};
use crate::model::recent::Recent;
use crate::model::setup::Setup;
use crate::model::vector::Lanes;

/// Whoever steers.
pub(super) trait Hands<const N: usize> {
    /// Steering command for the coming step, rad; `heading` is its sine and cosine.
    fn command_rad(
        &mut self,
        setup: &Setup,
        ground: &Ground<N>,
        state: &State<N>,
        heading: (Lanes<N>, Lanes<N>),
    ) -> Lanes<N>;
}

/// A Gauss-Markov noise over time, by steps of the drive.
struct Wobble<const N: usize> {
    step: GaussMarkovStep,
    value: Lanes<N>,
    deviates: Deviates<N>,
    /// Means over coming steps, worked out together, and the next of them.
    means: [Lanes<N>; AT_A_TIME],
    next: usize,
}

impl<const N: usize> Wobble<N> {
    #[inline(always)]
    fn new(noise: &GaussMarkov, dt: f64, mut deviates: Deviates<N>) -> Self {
        let step = noise.step(dt);
        let value = step.start(deviates.normal());
        Self {
            step,
            value,
            deviates,
            means: [Lanes::default(); AT_A_TIME],
            next: AT_A_TIME,
        }
    }

    /// Moves on by one step and gives the mean over it, as the midpoint rule wants it; held from its beginning it would be half a
    /// step late.
    #[inline(always)]
    fn over_step(&mut self) -> Lanes<N> {
        if self.next == AT_A_TIME {
            self.next = 0;
            self.deviates.fill(&mut self.means);
            for mean in &mut self.means {
                let before = self.value;
                self.value = self.step.next(before, *mean);
                *mean = (before + self.value) * 0.5;
            }
        }
        let mean = self.means[self.next];
        self.next += 1;
        mean
    }
}

/// A person steering: sees the preview point, acts a reaction time later.
pub(super) struct Person<const N: usize> {
    preview_m: f64,
    gain: f64,
    /// How many steps ago the middle of the coming step was seen.
    reaction_steps: f64,
    crab_sin: f64,
    crab_cos: f64,
    /// What was seen in the last steps, as far back as the reaction goes.
    seen_m: Recent<Lanes<N>>,
    wobble: Wobble<N>,
}

impl<const N: usize> Person<N> {
    #[inline(always)]
    pub fn new(
        driver: &HandDriver,
        setup: &Setup,
        speed_m_s: f64,
        seed: u64,
        passes: [u64; N],
    ) -> Self {
        let dt = setup.run.drive_step_s();
        let mut noise = driver.steering;
        noise.sd *= driver.wander_factor;
        let d = driver.preview_m(speed_m_s);
        Self {
            preview_m: d,
            // Pure pursuit: the arc through the preview point bends by 2 e/d², and a small steering angle is L times that.
            gain: -2.0 * setup.tractor.wheelbase_m / (d * d),
            reaction_steps: driver.reaction_s / dt,
            crab_sin: libm::sin(setup.tractor.crab_rad),
            crab_cos: libm::cos(setup.tractor.crab_rad),
            seen_m: Recent::of((driver.reaction_s / dt) as usize + 3),
            wobble: Wobble::new(&noise, dt, Deviates::new(seed, passes, Source::Steering, 0)),
        }
    }
}

impl<const N: usize> Hands<N> for Person<N> {
    #[inline(always)]
    fn command_rad(
        &mut self,
        setup: &Setup,
        ground: &Ground<N>,
        state: &State<N>,
        heading: (Lanes<N>, Lanes<N>),
    ) -> Lanes<N> {
        let d = self.preview_m;
        let (sin, cos) = heading;
        // Where the tractor goes, not where it points: looking along its nose the driver would stand preview times crab off on a slope.
        let course = sin * self.crab_cos + cos * self.crab_sin;
        let mut ahead_m = state.offset_m + course * d;
        if !setup.line.is_straight() {
            ahead_m -= state.station_m.map(|s_m| setup.line.bend_ahead_m(s_m, d));
        }
        ahead_m =
            ahead_m - ground.guided_row_m(state.station_m + d) + ground.seeing.at(state.station_m);
        let last = self.seen_m.len();
        self.seen_m.push(ahead_m);
        let now = last as f64;
        // The command serves the coming step: looked at from its middle, or the reaction would be half a step longer than it is.
        let x = (now + 0.5 - self.reaction_steps).clamp(0.0, now);
        let i = (x as usize).min(last.saturating_sub(1));
        let (a, b) = (*self.seen_m.at(i), *self.seen_m.at((i + 1).min(last)));
        (a + (b - a) * (x - i as f64)) * self.gain + self.wobble.over_step()
    }
}

/// Satellite steering along the planned line.
pub(super) struct Satellite<const N: usize> {
    line: SatelliteLine,
    speed_m_s: f64,
    receiver: Wobble<N>,
    drift: Wobble<N>,
}

impl<const N: usize> Satellite<N> {
    #[inline(always)]
    pub fn new(
        line: &SatelliteLine,
        setup: &Setup,
        speed_m_s: f64,
        seed: u64,
        passes: [u64; N],
    ) -> Self {
        let dt = setup.run.drive_step_s();
        let [receiver, drift] = line.noises(speed_m_s);
        Self {
            line: *line,
            speed_m_s,
            receiver: Wobble::new(
                &receiver,
                dt,
                Deviates::new(seed, passes, Source::Receiver, 0),
            ),
            drift: Wobble::new(&drift, dt, Deviates::new(seed, passes, Source::Drift, 0)),
        }
    }
}

impl<const N: usize> Hands<N> for Satellite<N> {
    #[inline(always)]
    fn command_rad(
        &mut self,
        setup: &Setup,
        _: &Ground<N>,
        state: &State<N>,
        _: (Lanes<N>, Lanes<N>),
    ) -> Lanes<N> {
        let (dt, v) = (setup.run.drive_step_s(), self.speed_m_s);
        let wheelbase_m = setup.tractor.wheelbase_m;
        let noise_m = self.receiver.over_step() + self.drift.over_step();
        let course_rad = state.heading_rad + setup.tractor.crab_rad;
        let mut yaw = yaw_rate(setup, v, state.steer_rad);
        let mut ahead_rad = Lanes::default();
        if !setup.line.is_straight() {
            yaw -= state.station_m.map(|s_m| setup.line.curvature_1_m(s_m) * v);
            // The planned bend is fed forward: by its error alone the loop would stand off the line all along a curve.
            ahead_rad = (state.station_m + 0.5 * dt * v)
                .map(|s_m| libm::atan(wheelbase_m * setup.line.curvature_1_m(s_m)));
        }
        // For the middle of the step, over which the command holds.
        let middle_m = state.offset_m + course_rad * (0.5 * dt * v);
        let middle_rad = course_rad + yaw * (0.5 * dt);
        let w = self.line.frequency_rad_s;
        let back = (middle_m + noise_m) * (w * w) + middle_rad * (2.0 * self.line.damping * w * v);
        ahead_rad - back * (wheelbase_m / (v * v))
    }
}
