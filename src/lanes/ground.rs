//! The ground of passes side by side: see [`crate::sim::ground`], whose laws it follows with its own deviates.

use super::deviates::Deviates;
use crate::model::driver::Driver;
use crate::model::hitch::Hitch;
use crate::model::noise::{GaussMarkov, Smooth, grid_m, points};
use crate::model::setup::Setup;
use crate::model::vector::Lanes;
use crate::sim::ground::{blind_stretches, span_m, tools_span_m};
use crate::sim::streams::Source;

/// A noise of the ground on its distance grid, lane by lane.
#[derive(Clone, Debug)]
pub struct Track<const N: usize> {
    start_m: f64,
    per_m: f64,
    values: Vec<Lanes<N>>,
}

impl<const N: usize> Track<N> {
    fn nothing() -> Self {
        Self {
            start_m: 0.0,
            per_m: 0.0,
            values: Vec::new(),
        }
    }

    #[inline(always)]
    fn gauss_markov(
        noise: &GaussMarkov,
        (start_m, end_m): (f64, f64),
        deviates: &mut Deviates<N>,
    ) -> Self {
        if noise.sd == 0.0 {
            return Self::nothing();
        }
        let grid_m = grid_m(noise.reach);
        let step = noise.step(grid_m);
        let count = points(start_m, end_m, grid_m);
        let mut values = Vec::with_capacity(count);
        let mut value = deviates.normal() * step.sd;
        values.push(value);
        for _ in 1..count {
            value = value * step.decay + deviates.normal() * step.spread;
            values.push(value);
        }
        Self {
            start_m,
            per_m: 1.0 / grid_m,
            values,
        }
    }

    #[inline(always)]
    fn smooth(noise: &Smooth, (start_m, end_m): (f64, f64), deviates: &mut Deviates<N>) -> Self {
        if noise.sd == 0.0 {
            return Self::nothing();
        }
        let grid_m = grid_m(noise.reach);
        let step = noise.step(grid_m);
        let count = points(start_m, end_m, grid_m);
        let mut values = Vec::with_capacity(count);
        let mut state = [
            deviates.normal() * step.sd,
            deviates.normal() * step.slope_sd,
        ];
        values.push(state[0]);
        for _ in 1..count {
            let normal = [deviates.normal(), deviates.normal()];
            state = [
                state[0] * step.phi[0][0] + state[1] * step.phi[0][1] + normal[0] * step.factor[0],
                state[0] * step.phi[1][0]
                    + state[1] * step.phi[1][1]
                    + normal[0] * step.factor[1]
                    + normal[1] * step.factor[2],
            ];
            values.push(state[0]);
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
        let x = ((s_m - self.start_m) * self.per_m).max(Lanes::default());
        // Far below 2^31, and the signed conversion is the one that processors have.
        let whole = x.map(|x| f64::from(x as i32)).min(Lanes::all(last as f64));
        let (mut a, mut b) = (Lanes::default(), Lanes::default());
        for lane in 0..N {
            let i = (x.0[lane] as i32 as usize).min(last);
            a.0[lane] = self.values[i].0[lane];
            b.0[lane] = self.values[i + 1].0[lane];
        }
        a + (x - whole).min(Lanes::all(1.0)) * (b - a)
    }
}

/// One draw of the ground for every lane.
#[derive(Clone, Debug)]
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
        let (span_m, tools_span_m) = (span_m(setup), tools_span_m(setup));
        let rows = &setup.rows;
        let planter_passes = rows.planter_pass.iter().max().map_or(1, |last| last + 1);
        let guided_pass = rows.guided.first().map_or(0, |&row| rows.planter_pass[row]);
        let stream = |source, part| Deviates::new(seed, passes, source, part);

        let mut planter = stream(Source::PlanterErrors, 0);
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
            wander.push((Track::smooth(&rows.wander, span_m, &mut deviates), join_m));
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

        let mut tools = stream(Source::ToolErrors, 0);
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
                Track::gauss_markov(&noise, span_m, &mut stream(Source::Seeing, 0))
            }
            _ => Track::nothing(),
        };
        let sway = match setup.hitch {
            Hitch::Rigid { sway, free_play_m } => {
                Track::gauss_markov(&sway, tools_span_m, &mut stream(Source::Sway, 0))
                    .limited(free_play_m)
            }
            Hitch::Drawn { .. } => Track::nothing(),
        };
        let mut noise = setup.camera.appearance;
        // Every row looks uneven in its own way: the mean of those in view is quieter by the root of their number.
        noise.sd /= (rows.guided.len().max(1) as f64).sqrt();
        let appearance =
            Track::gauss_markov(&noise, tools_span_m, &mut stream(Source::Appearance, 0));
        let blind = passes
            .into_iter()
            .map(|pass| {
                // How many stretches there are differs from lane to lane, so each of them draws alone.
                let mut deviates = Deviates::new(seed, [pass], Source::Blind, 0);
                blind_stretches(&setup.camera, tools_span_m, || deviates.uniform().0[0])
            })
            .collect();
        Self {
            wander,
            guided_pass,
            guided_offset_m,
            unit_m,
            edge_error_m,
            seeing,
            sway,
            appearance,
            blind,
        }
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
