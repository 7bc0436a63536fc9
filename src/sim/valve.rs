//! The valves of the side-shift with their memory: commands to speeds of the frame.

use super::shift::Rod;
use crate::model::controller::law::Held;
use crate::model::setup::Setup;
use crate::model::vector::Lanes;

/// A valve on the machine's cylinder.
pub trait Valve<const N: usize> {
    /// Holds a command from now on.
    fn take(&mut self, now_s: f64, command: Lanes<N>);
    /// Mean speed of the frame over a tick before end stops, m/s.
    fn speed_over(&mut self, t0: f64, t1: f64) -> Lanes<N>;
    /// Up to when nothing new reaches it after `from_s`, s: ticks between both may be taken [`Valve::steadily`] instead.
    fn steady_until(&mut self, from_s: f64) -> f64;
    /// Takes the rod through so many ticks of this length, s, in which nothing new reaches the valve.
    fn steadily(&mut self, ticks: usize, dt: f64, rod: &mut Rod<N>);
}

fn both_ways(mut speed: impl FnMut(bool) -> f64) -> [f64; 2] {
    [speed(true), speed(false)]
}

/// Proportional valve with spool.
pub struct Proportional<const N: usize> {
    commands: Held<N>,
    cursor: usize,
    dead_s: f64,
    /// Decay and mean of the spool's lag over one tick; `None`: no lag.
    lag: Option<(f64, f64)>,
    spool: Lanes<N>,
    /// What reaches the spool as long as nothing new does.
    steady: Lanes<N>,
    per_step: f64,
    deadband: f64,
    per_open: f64,
    jump: f64,
    open_m_s: [f64; 2],
    pump_m_s: [f64; 2],
}

impl<const N: usize> Proportional<N> {
    /// The machine's; `None` if it has none.
    pub fn of(setup: &Setup) -> Option<Self> {
        let hydraulics = &setup.hydraulics;
        let valve = hydraulics.proportional.as_ref()?;
        let step_s = setup.run.step_s;
        let lag_s = valve.spool_lag_s * hydraulics.cold_lag_factor;
        let dead_s = valve.dead_time_s * hydraulics.cold_dead_time_factor;
        Some(Self {
            commands: Held::for_commands(setup, dead_s),
            cursor: 0,
            dead_s,
            lag: (lag_s > 0.0).then(|| {
                let decay = libm::exp(-step_s / lag_s);
                // Mean of the decay over the tick, exact for any tick; the spool's place at its end would run ahead.
                (decay, (1.0 - decay) * lag_s / step_s)
            }),
            spool: Lanes::default(),
            steady: Lanes::default(),
            per_step: 1.0 / step_s,
            deadband: valve.deadband,
            per_open: 1.0 / (1.0 - valve.deadband),
            jump: valve.deadband * valve.deadband_compensation,
            open_m_s: both_ways(|left| valve.open_speed_m_s(hydraulics, hydraulics.way(left))),
            pump_m_s: both_ways(|left| hydraulics.pump_speed_m_s(hydraulics.way(left))),
        })
    }
}

impl<const N: usize> Valve<N> for Proportional<N> {
    #[inline(always)]
    fn take(&mut self, now_s: f64, command: Lanes<N>) {
        let jump = self.jump;
        self.commands.push(
            now_s,
            command.map(|command| {
                // At 0 nothing is jumped over, or the valve would never close.
                if command == 0.0 {
                    0.0
                } else {
                    jump.copysign(command) + (1.0 - jump) * command
                }
            }),
        );
    }

    #[inline(always)]
    fn speed_over(&mut self, t0: f64, t1: f64) -> Lanes<N> {
        let mut sum = Lanes::default();
        let mut pieces = 0;
        let mut held = Lanes::default();
        self.cursor = self.commands.pieces(
            self.cursor,
            t0 - self.dead_s,
            t1 - self.dead_s,
            |value, duration| {
                // Most ticks see one command only.
                pieces += 1;
                held = value;
                sum += value * duration;
            },
        );
        let input = if pieces == 1 {
            held
        } else {
            sum * self.per_step
        };
        let speed_m_s;
        (self.spool, speed_m_s) = self.moved(self.spool, input);
        speed_m_s
    }

    #[inline(always)]
    fn steady_until(&mut self, from_s: f64) -> f64 {
        self.cursor = self.commands.after(self.cursor, from_s - self.dead_s);
        self.steady = self.commands.before(self.cursor);
        let next_s = self.commands.time_s(self.cursor);
        next_s.map_or(f64::INFINITY, |next_s| next_s + self.dead_s)
    }

    #[inline(always)]
    fn steadily(&mut self, ticks: usize, dt: f64, rod: &mut Rod<N>) {
        let (input, mut spool) = (self.steady, self.spool);
        for _ in 0..ticks {
            let speed_m_s;
            (spool, speed_m_s) = self.moved(spool, input);
            rod.go(speed_m_s * dt);
        }
        self.spool = spool;
    }
}

impl<const N: usize> Proportional<N> {
    /// The spool a tick later with this mean of what reaches it, and the mean speed of the frame, m/s.
    #[inline(always)]
    fn moved(&self, spool: Lanes<N>, input: Lanes<N>) -> (Lanes<N>, Lanes<N>) {
        let (later, mean) = match self.lag {
            Some((decay, mean)) => {
                let off = spool - input;
                (input + off * decay, input + off * mean)
            }
            None => (spool, input),
        };
        let (deadband, per_open) = (self.deadband, self.per_open);
        let (open, pump) = (self.open_m_s, self.pump_m_s);
        let speed_m_s = mean.map(|spool| {
            let part = (spool.abs() - deadband).max(0.0) * per_open;
            let (open, pump) = if spool < 0.0 {
                (open[1], pump[1])
            } else {
                (open[0], pump[0])
            };
            let speed = open * part;
            (if speed < pump { speed } else { pump }).copysign(spool)
        });
        (later, speed_m_s)
    }
}

/// Directional valve with switching times.
pub struct Directional<const N: usize> {
    commands: Held<N>,
    cursor: [usize; 2],
    open_s: f64,
    close_s: f64,
    speed_m_s: [f64; 2],
    /// Speed as long as nothing new reaches it, m/s.
    steady_m_s: Lanes<N>,
}

impl<const N: usize> Directional<N> {
    /// The machine's; `None` if it has none.
    pub fn of(setup: &Setup) -> Option<Self> {
        let hydraulics = &setup.hydraulics;
        let valve = hydraulics.directional.as_ref()?;
        let [open_s, close_s] =
            [valve.open_s, valve.close_s].map(|time_s| time_s * hydraulics.cold_dead_time_factor);
        Some(Self {
            commands: Held::for_commands(setup, open_s.max(close_s)),
            cursor: [0; 2],
            open_s,
            close_s,
            speed_m_s: both_ways(|left| valve.open_speed_m_s(hydraulics, hydraulics.way(left))),
            steady_m_s: Lanes::default(),
        })
    }
}

impl<const N: usize> Valve<N> for Directional<N> {
    #[inline(always)]
    fn take(&mut self, now_s: f64, command: Lanes<N>) {
        self.commands.push(now_s, command);
    }

    #[inline(always)]
    fn speed_over(&mut self, t0: f64, t1: f64) -> Lanes<N> {
        let mut moved_m = Lanes::default();
        let mut t = t0;
        while t < t1 {
            // Either moment may fall inside the tick. Rounding must not leave a step of 0: the loop would not end.
            let next = self.steady_until(t).min(t1).max(t + 1e-12);
            moved_m += self.steady_m_s * (next - t);
            t = next;
        }
        moved_m / (t1 - t0)
    }

    #[inline(always)]
    fn steady_until(&mut self, from_s: f64) -> f64 {
        let slow_to_open = self.open_s >= self.close_s;
        let [left_m_s, right_m_s] = self.speed_m_s;
        // Opening and closing take different times: where the spool stands follows from two moments of the past.
        let mut next_s = f64::INFINITY;
        let mut asked = [Lanes::default(); 2];
        for (which, takes_s) in [self.open_s, self.close_s].into_iter().enumerate() {
            let cursor = self.commands.after(self.cursor[which], from_s - takes_s);
            self.cursor[which] = cursor;
            if let Some(time_s) = self.commands.time_s(cursor) {
                next_s = next_s.min(time_s + takes_s);
            }
            asked[which] = self.commands.before(cursor);
        }
        let [opening, closing] = asked;
        self.steady_m_s = opening.zip(closing, |opening, closing| {
            // Slow to open: both must ask for it. Slow to close: either does, and the opening wins.
            let position = if (opening == closing) | (!slow_to_open & (opening != 0.0)) {
                opening
            } else if slow_to_open {
                0.0
            } else {
                closing
            };
            position * if position > 0.0 { left_m_s } else { right_m_s }
        });
        next_s
    }

    #[inline(always)]
    fn steadily(&mut self, ticks: usize, dt: f64, rod: &mut Rod<N>) {
        for _ in 0..ticks {
            rod.go(self.steady_m_s * dt);
        }
    }
}
