//! The ground of a pass: everything that lies in the field or is set before the pass, the same for every speed and
//! controller.

use super::streams::{Draws, Reference, Source, Streams};
use crate::model::camera::Camera;
use crate::model::driver::Driver;
use crate::model::hitch::Hitch;
use crate::model::noise::Track;
use crate::model::rows::Plants;
use crate::model::setup::Setup;

/// Speed up to which the ground is laid out for warm-up and preview, m/s (25.2 km/h).
pub const TOP_SPEED_M_S: f64 = 7.0;

/// Preview distances that the tractor drives before the tools are lowered.
const WARM_UP_PREVIEWS: f64 = 10.0;
/// Correlation lengths and times that it drives at least.
const WARM_UP_REACHES: f64 = 3.0;
/// Coefficient of variation of a blind stretch's length is that of an exponential law; none is shorter, m.
const SHORTEST_STRETCH_M: f64 = 1e-6;

/// A plant where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlantPlace {
    /// Distance along the row line, m.
    pub station_m: f64,
    /// Lateral position from the nominal line of its row, m, left positive: wander, joining, setting and scatter.
    pub lateral_m: f64,
}

/// One draw of the ground.
#[derive(Clone, Debug)]
pub struct Ground {
    wander: Vec<Track>,
    guided_pass: usize,
    guided_offset_m: f64,
    /// The driver's seeing error along the row, m.
    pub seeing: Track,
    /// Sway of the implement, clipped to the free play, m.
    pub sway: Track,
    /// Row-appearance noise averaged over the rows seen, m.
    pub appearance: Track,
    /// Stretches (from, to) in which the camera finds no row, m, rising.
    pub blind: Vec<(f64, f64)>,
    /// Setting errors of the left and right cutting edge of every row, m, positive away from the row.
    pub edge_error_m: Vec<[f64; 2]>,
    /// Plants of every row, rising stations.
    pub plants: Vec<Vec<PlantPlace>>,
}

impl Ground {
    /// Draws the ground of one pass of the reference.
    pub fn draw(setup: &Setup, seed: u64, pass: u64) -> Self {
        Self::draw_from(setup, &Reference { seed, pass })
    }

    /// Draws the ground of one pass from its streams.
    pub fn draw_from(setup: &Setup, streams: &impl Streams) -> Self {
        let (from_m, to_m) = span_m(setup);
        let tools_span_m = tools_span_m(setup);
        let rows = &setup.rows;
        let passes = rows.planter_pass.iter().max().map_or(1, |last| last + 1);
        let guided_pass = rows.guided.first().map_or(0, |&row| rows.planter_pass[row]);

        let wander: Vec<Track> = (0..passes)
            .map(|planter| {
                // Streams are kept for as many planter passes as an implement may span.
                let mut rng = streams.of(Source::RowWander, planter as u64 % 8);
                Track::smooth(&rows.wander, from_m, to_m, || rng.normal())
            })
            .collect();
        let mut rng = streams.of(Source::PlanterErrors, 0);
        let join_m: Vec<f64> = (0..passes)
            .map(|planter| {
                // Drawn for the guided pass too, so that which one is guided moves no other draw. All is measured from that one, hence 0.
                let error = rows.join_sd_m * rng.normal();
                if planter == guided_pass { 0.0 } else { error }
            })
            .collect();
        let unit_m: Vec<f64> = rows
            .offset_m
            .iter()
            .map(|_| rows.unit_sd_m * rng.normal())
            .collect();
        // Driver and camera cannot tell the units' setting errors from the row: they follow the mean of what they see.
        let guided_offset_m = rows.guided.iter().map(|&row| unit_m[row]).sum::<f64>()
            / rows.guided.len().max(1) as f64;

        let mut rng = streams.of(Source::ToolErrors, 0);
        let edge_error_m = rows
            .offset_m
            .iter()
            .map(|_| {
                [
                    setup.tools.setting_sd_m * rng.normal(),
                    setup.tools.setting_sd_m * rng.normal(),
                ]
            })
            .collect();

        let mut rng = streams.of(Source::Plants, 0);
        let plants = (0..rows.offset_m.len())
            .map(|row| {
                let planter = rows.planter_pass[row];
                plant_row(&setup.plants, setup.run.length_m, &mut rng, |station_m| {
                    wander[planter].at(station_m) + join_m[planter] + unit_m[row]
                })
            })
            .collect();

        let mut rng = streams.of(Source::Seeing, 0);
        let seeing = match &setup.driver {
            Driver::Hand(hand) => {
                let mut noise = hand.seeing;
                noise.sd *= hand.wander_factor;
                Track::gauss_markov(&noise, from_m, to_m, || rng.normal())
            }
            _ => Track::constant(0.0),
        };
        let mut rng = streams.of(Source::Sway, 0);
        let sway = match setup.hitch {
            Hitch::Rigid { sway, free_play_m } => {
                Track::gauss_markov(&sway, tools_span_m.0, tools_span_m.1, || rng.normal())
                    .shifted_and_limited(0.0, free_play_m)
            }
            Hitch::Drawn { .. } => Track::constant(0.0),
        };
        let mut rng = streams.of(Source::Appearance, 0);
        let mut noise = setup.camera.appearance;
        // Independent from row to row: over the rows in view the sd falls by their root.
        noise.sd /= (rows.guided.len().max(1) as f64).sqrt();
        let appearance =
            Track::gauss_markov(&noise, tools_span_m.0, tools_span_m.1, || rng.normal());
        let mut rng = streams.of(Source::Blind, 0);
        let blind = blind_stretches(&setup.camera, tools_span_m, || rng.uniform());

        Self {
            wander,
            guided_pass,
            guided_offset_m,
            seeing,
            sway,
            appearance,
            blind,
            edge_error_m,
            plants,
        }
    }

    /// Lateral position of the guided rows (the mean over the rows in view) from the planned line, m.
    pub fn guided_row_m(&self, station_m: f64) -> f64 {
        self.wander[self.guided_pass].at(station_m) + self.guided_offset_m
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
            .max(setup.rows.wander.reach),
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
pub(crate) fn tools_span_m(setup: &Setup) -> (f64, f64) {
    let machine_m = reach_of_machine_m(setup);
    (
        setup.tools.tool_line_m.min(0.0) - setup.run.approach_m - 5.0 - machine_m,
        span_m(setup).1,
    )
}

/// Distance along the line that the ground of a pass must cover, m.
pub(crate) fn span_m(setup: &Setup) -> (f64, f64) {
    let machine_m = reach_of_machine_m(setup);
    let before_m = warm_up_m(setup, TOP_SPEED_M_S) + setup.run.approach_m;
    let from_m = setup.tools.tool_line_m - before_m - 5.0 - machine_m;
    let to_m = setup.run.length_m + preview_m(&setup.driver, TOP_SPEED_M_S) + 5.0 + 2.0 * machine_m;
    (from_m, to_m)
}

fn plant_row(
    plants: &Plants,
    length_m: f64,
    rng: &mut impl Draws,
    row_m: impl Fn(f64) -> f64,
) -> Vec<PlantPlace> {
    let mut places = Vec::with_capacity((length_m / plants.spacing_m) as usize + 1);
    // Anywhere within a spacing: rows that begin in step would be met together.
    let mut station_m = plants.spacing_m * rng.uniform();
    while station_m < length_m {
        if rng.uniform() < plants.emergence {
            places.push(PlantPlace {
                station_m,
                lateral_m: row_m(station_m) + plants.scatter_sd_m * rng.normal(),
            });
        }
        // A planter never sets a plant behind the one before it.
        let mut gap = 1.0 + plants.spacing_cv * rng.normal();
        while gap <= 0.05 {
            gap = 1.0 + plants.spacing_cv * rng.normal();
        }
        station_m += plants.spacing_m * gap;
    }
    places
}

/// Two-state Markov chain over distance: seeing and blind stretches of exponential length, started in its stationary law.
pub(crate) fn blind_stretches(
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
