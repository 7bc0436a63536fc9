//! The ground of passes side by side: everything that lies in the field or is set before the pass, the same for every speed and controller.

use super::deviates::{AT_A_TIME, Deviates};
use super::streams::Source;
use crate::model::camera::Camera;
use crate::model::damped::Damped;
use crate::model::driver::Driver;
use crate::model::hitch::Hitch;
use crate::model::noise::{GaussMarkov, points};
use crate::model::setup::Setup;
use crate::model::vector::{Lanes, WHOLE, neighbours};

/// Speed up to which the ground is laid out for warm-up and preview, m/s (25.2 km/h).
pub const TOP_SPEED_M_S: f64 = 7.0;

/// Preview distances that the tractor drives before the tools are lowered.
const WARM_UP_PREVIEWS: f64 = 10.0;
/// Correlation lengths and times that it drives at least.
const WARM_UP_REACHES: f64 = 3.0;
/// Coefficient of variation of a blind stretch's length is that of an exponential law; none is shorter, m.
const SHORTEST_STRETCH_M: f64 = 1e-6;

/// A noise of the ground on its distance grid, lane by lane.
#[derive(Clone, Debug, Default)]
pub struct Track<const N: usize> {
    start_m: f64,
    per_m: f64,
    values: Vec<Lanes<N>>,
}

impl<const N: usize> Track<N> {
    fn nothing() -> Self {
        Self::default()
    }

    /// Draws a Gauss-Markov noise from the first to at least the second distance, m, on so many points per correlation length, in
    /// the room that earlier values took.
    #[inline(always)]
    pub fn gauss_markov(
        noise: &GaussMarkov,
        (start_m, end_m): (f64, f64),
        per_reach: f64,
        deviates: &mut Deviates<N>,
        mut values: Vec<Lanes<N>>,
    ) -> Self {
        if noise.sd == 0.0 {
            return Self::nothing();
        }
        let grid_m = noise.reach / per_reach;
        let step = noise.through_points(grid_m).step(grid_m);
        let count = points(start_m, end_m, grid_m);
        values.resize(count, Lanes::default());
        let mut value = step.start(deviates.normal());
        values[0] = value;
        for some in values[1..].chunks_mut(AT_A_TIME) {
            deviates.fill(some);
            for one in some {
                value = step.next(value, *one);
                *one = value;
            }
        }
        Self {
            start_m,
            per_m: 1.0 / grid_m,
            values,
        }
    }

    /// Draws a damped noise, likewise.
    #[inline(always)]
    pub fn damped(
        noise: &Damped,
        (start_m, end_m): (f64, f64),
        per_reach: f64,
        deviates: &mut Deviates<N>,
        mut values: Vec<Lanes<N>>,
    ) -> Self {
        if noise.sd == 0.0 {
            return Self::nothing();
        }
        let grid_m = noise.reach / per_reach;
        let step = noise.through_points(grid_m).step(grid_m);
        let count = points(start_m, end_m, grid_m);
        values.resize(count, Lanes::default());
        let mut state = step.start([deviates.normal(), deviates.normal()]);
        values[0] = state[0];
        let mut normal = [Lanes::default(); AT_A_TIME];
        for some in values[1..].chunks_mut(AT_A_TIME / 2) {
            // Two for every point.
            deviates.fill(&mut normal[..2 * some.len()]);
            for (one, normal) in some.iter_mut().zip(normal.chunks_exact(2)) {
                state = step.next(state, [normal[0], normal[1]]);
                *one = state[0];
            }
        }
        Self {
            start_m,
            per_m: 1.0 / grid_m,
            values,
        }
    }

    fn limited(mut self, limit: f64) -> Self {
        for value in &mut self.values {
            *value = value.map(|value| value.clamp(-limit, limit));
        }
        self
    }

    /// The values at a distance of every lane; beyond the ends the nearest point's.
    #[inline(always)]
    pub fn at(&self, s_m: Lanes<N>) -> Lanes<N> {
        if self.values.is_empty() {
            return Lanes::default();
        }
        let last = self.values.len() - 2;
        let (first, end) = (Lanes::default(), Lanes::all(last as f64));
        let x = ((s_m - self.start_m) * self.per_m).clamp(first, Lanes::all(last as f64 + 1.0));
        // Half a step down, the sum with 2^52 rounds to the whole number below and holds it in its lowest bits: no conversion in sight.
        let rounded = (x.min(end) - 0.5).max(first) + WHOLE;
        let whole = rounded - WHOLE;
        let (a, b) = neighbours(&self.values, rounded, last);
        a + (x - whole) * (b - a)
    }
}

/// One draw of the ground for every lane.
#[derive(Clone, Debug, Default)]
pub struct Ground<const N: usize> {
    /// Planter wander with joining error, by planter pass.
    wander: Vec<(Track<N>, Lanes<N>)>,
    guided_pass: usize,
    guided_offset_m: Lanes<N>,
    /// Setting error of every planter row unit, m.
    pub unit_m: Vec<Lanes<N>>,
    /// Setting errors of the left and right edge of every row, m.
    pub edge_error_m: Vec<[Lanes<N>; 2]>,
    /// The driver's seeing error along the row, m.
    pub seeing: Track<N>,
    /// Sway of the implement, m.
    pub sway: Track<N>,
    /// Row-appearance noise averaged over the rows seen, m.
    pub appearance: Track<N>,
    /// Stretches in which the camera finds no row, by lane.
    pub blind: Vec<Vec<(f64, f64)>>,
}

impl<const N: usize> Ground<N> {
    /// Draws the ground.
    #[inline(always)]
    pub fn draw(setup: &Setup, seed: u64, passes: [u64; N]) -> Self {
        let mut ground = Self::default();
        ground.draw_again(setup, seed, passes);
        ground
    }

    /// The same in the room that an earlier draw took.
    #[inline(always)]
    pub fn draw_again(&mut self, setup: &Setup, seed: u64, passes: [u64; N]) {
        let mut rooms = std::mem::take(self).into_rooms();
        let mut room = || rooms.next().unwrap_or_default();
        let (span_m, tools_span_m) = (span_m(setup), tools_span_m(setup));
        let (rows, per_reach) = (&setup.rows, setup.run.ground_points);
        let planter_passes = rows.planter_pass.iter().max().map_or(1, |last| last + 1);
        let guided_pass = rows.guided.first().map_or(0, |&row| rows.planter_pass[row]);
        let stream = |source, part| Deviates::new(seed, passes, source, part);
        // What was set once stays for the field.
        let fields = setup.field.map_or(passes, |field| [field; N]);
        let of_field = |source| Deviates::new(seed, fields, source, 0);

        let mut planter = of_field(Source::PlanterErrors);
        let mut wander = Vec::with_capacity(planter_passes);
        for pass in 0..planter_passes {
            let mut deviates = stream(Source::RowWander, pass as u64 % 8);
            // Drawn for the guided pass too and dropped: which pass is guided must not change the numbers of the others.
            let join_m = planter.normal() * rows.join_sd_m;
            let join_m = if pass == guided_pass {
                Lanes::default()
            } else {
                join_m
            };
            wander.push((
                Track::damped(&rows.wander, span_m, per_reach, &mut deviates, room()),
                join_m,
            ));
        }
        let unit_m: Vec<Lanes<N>> = rows
            .offset_m
            .iter()
            .map(|_| planter.normal() * rows.unit_sd_m)
            .collect();
        let mut guided_offset_m = Lanes::default();
        for &row in &rows.guided {
            guided_offset_m += unit_m[row];
        }
        guided_offset_m = guided_offset_m / rows.guided.len().max(1) as f64;

        let mut tools = of_field(Source::ToolErrors);
        let setting_sd_m = setup.tools.setting_sd_m;
        let edge_error_m = rows
            .offset_m
            .iter()
            .map(|_| [tools.normal() * setting_sd_m, tools.normal() * setting_sd_m])
            .collect();

        let seeing = match &setup.driver {
            Driver::Hand(hand) => {
                let mut noise = hand.seeing;
                noise.sd *= hand.wander_factor;
                let mut deviates = stream(Source::Seeing, 0);
                Track::gauss_markov(&noise, span_m, per_reach, &mut deviates, room())
            }
            _ => Track::nothing(),
        };
        let sway = match setup.hitch {
            Hitch::Rigid { sway, free_play_m } => {
                let mut deviates = stream(Source::Sway, 0);
                Track::gauss_markov(&sway, tools_span_m, per_reach, &mut deviates, room())
                    .limited(free_play_m)
            }
            Hitch::Drawn { .. } => Track::nothing(),
        };
        let mut noise = setup.camera.appearance;
        // Every row looks uneven in its own way: the mean of those in view is quieter by the root of their number.
        noise.sd /= (rows.guided.len().max(1) as f64).sqrt();
        let appearance = Track::gauss_markov(
            &noise,
            tools_span_m,
            per_reach,
            &mut stream(Source::Appearance, 0),
            room(),
        );
        let blind = passes
            .into_iter()
            .map(|pass| {
                // How many stretches there are differs from lane to lane, so each of them draws alone.
                let mut deviates = Deviates::new(seed, [pass], Source::Blind, 0);
                blind_stretches(&setup.camera, tools_span_m, || deviates.uniform().0[0])
            })
            .collect();
        *self = Self {
            wander,
            guided_pass,
            guided_offset_m,
            unit_m,
            edge_error_m,
            seeing,
            sway,
            appearance,
            blind,
        };
    }

    /// The room of its tracks, in the order in which they are drawn.
    fn into_rooms(self) -> impl Iterator<Item = Vec<Lanes<N>>> {
        let wander = self.wander.into_iter().map(|(track, _)| track);
        let others = [self.seeing, self.sway, self.appearance];
        wander.chain(others).map(|track| track.values)
    }

    /// Rows of one planter pass from the planned line, setting errors of the units left out, m.
    #[inline(always)]
    pub fn planter_m(&self, pass: usize, station_m: Lanes<N>) -> Lanes<N> {
        let (track, join_m) = &self.wander[pass];
        track.at(station_m) + *join_m
    }

    /// Guided rows (the mean over the rows in view) from the planned line, m.
    #[inline(always)]
    pub fn guided_row_m(&self, station_m: Lanes<N>) -> Lanes<N> {
        self.wander[self.guided_pass].0.at(station_m) + self.guided_offset_m
    }
}

/// Distance that the tractor drives before the tools are lowered, m.
pub fn warm_up_m(setup: &Setup, speed_m_s: f64) -> f64 {
    let previews = WARM_UP_PREVIEWS * preview_m(&setup.driver, speed_m_s);
    let noise_m = match &setup.driver {
        Driver::Hand(hand) => hand
            .seeing
            .reach
            .max(hand.steering.reach * speed_m_s)
            .max(setup.rows.wander.memory()),
        // The drift is left out: it may take an hour, and it starts in its stationary law anyway.
        Driver::SatelliteLine(line) => line.receiver.reach * speed_m_s,
        Driver::Replay(_) => return 0.0,
    };
    previews.max(WARM_UP_REACHES * noise_m)
}

/// Distance ahead of the rear axle at which the driver looks, m; satellite steering: the distance of one radian of its
/// natural frequency.
pub fn preview_m(driver: &Driver, speed_m_s: f64) -> f64 {
    match driver {
        Driver::Hand(hand) => hand.preview_m(speed_m_s),
        Driver::SatelliteLine(line) => speed_m_s / line.frequency_rad_s,
        Driver::Replay(_) => 0.0,
    }
}

/// Furthest point of the machine from the rear axle, m.
fn reach_of_machine_m(setup: &Setup) -> f64 {
    let tools = &setup.tools;
    let edge_m = tools
        .left_edge_behind_m
        .abs()
        .max(tools.right_edge_behind_m.abs());
    tools.tool_line_m.abs() + edge_m + setup.camera.lookahead_m.abs()
}

/// Distance along the line over which tools and camera meet the ground, m: no warm-up.
fn tools_span_m(setup: &Setup) -> (f64, f64) {
    let machine_m = reach_of_machine_m(setup);
    (
        setup.tools.tool_line_m.min(0.0) - setup.run.approach_m - 5.0 - machine_m,
        span_m(setup).1,
    )
}

/// Distance along the line that the ground of a pass must cover, m.
fn span_m(setup: &Setup) -> (f64, f64) {
    let machine_m = reach_of_machine_m(setup);
    let before_m = warm_up_m(setup, TOP_SPEED_M_S) + setup.run.approach_m;
    let from_m = setup.tools.tool_line_m - before_m - 5.0 - machine_m;
    let to_m = setup.run.length_m + preview_m(&setup.driver, TOP_SPEED_M_S) + 5.0 + 2.0 * machine_m;
    (from_m, to_m)
}

/// Two-state Markov chain over distance: seeing and blind stretches of exponential length, started in its stationary law.
fn blind_stretches(
    camera: &Camera,
    (from_m, to_m): (f64, f64),
    mut uniform: impl FnMut() -> f64,
) -> Vec<(f64, f64)> {
    let share = camera.blind_share;
    if share <= 0.0 {
        return Vec::new();
    }
    // The shares of two states are as their mean lengths.
    let seeing_length_m = camera.blind_length_m * (1.0 - share) / share;
    let mut stretches = Vec::new();
    // An exponential stretch that is cut by the beginning is exponential again, so no phase has to be drawn.
    let mut is_blind = uniform() < share;
    let mut s_m = from_m;
    while s_m < to_m {
        let mean_m = if is_blind {
            camera.blind_length_m
        } else {
            seeing_length_m
        };
        // 1 - u, as u may be 0 and never is 1.
        let length_m = (-mean_m * libm::log(1.0 - uniform())).max(SHORTEST_STRETCH_M);
        if is_blind {
            stretches.push((s_m, s_m + length_m));
        }
        s_m += length_m;
        is_blind = !is_blind;
    }
    stretches
}
