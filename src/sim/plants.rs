//! Plants one by one, for a trace or a recount: where they stand, when the edges pass them, what becomes of them. Studies place none: see
//! [`super::count`].

use super::deviates::Deviates;
use super::drive::Drive;
use super::ground::Ground;
use super::pass::Path;
use super::streams::Source;
use crate::model::rows::Plants;
use crate::model::setup::Setup;
use crate::model::tractor::SHORT_SHARE;
use crate::model::vector::Lanes;

/// A plant where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlantPlace {
    /// Distance along the row line, m.
    pub station_m: f64,
    /// Lateral position from the nominal line of its row, m, left positive: wander, joining, setting and scatter.
    pub lateral_m: f64,
}

/// Places the plants of every row of one pass.
pub fn place(setup: &Setup, ground: &Ground<1>, seed: u64, pass: u64) -> Vec<Vec<PlantPlace>> {
    let mut deviates = Deviates::new(seed, [pass], Source::Plants, 0);
    (0..setup.rows.offset_m.len())
        .map(|row| {
            let planter = setup.rows.planter_pass[row];
            plant_row(
                &setup.plants,
                setup.run.length_m,
                &mut deviates,
                |station_m| {
                    (ground.planter_m(planter, Lanes([station_m])) + ground.unit_m[row]).0[0]
                },
            )
        })
        .collect()
}

/// Plants of one row whose middle lies `row_m` from its nominal line.
fn plant_row(
    plants: &Plants,
    length_m: f64,
    deviates: &mut Deviates<1>,
    row_m: impl Fn(f64) -> f64,
) -> Vec<PlantPlace> {
    let uniform = |deviates: &mut Deviates<1>| deviates.uniform().0[0];
    let normal = |deviates: &mut Deviates<1>| deviates.normal().0[0];
    let mut places = Vec::with_capacity((length_m / plants.spacing_m) as usize + 1);
    // Anywhere within a spacing: rows that begin in step would be met together.
    let mut station_m = plants.spacing_m * uniform(deviates);
    while station_m < length_m {
        if uniform(deviates) < plants.emergence {
            places.push(PlantPlace {
                station_m,
                lateral_m: row_m(station_m) + plants.scatter_sd_m * normal(deviates),
            });
        }
        // A planter never sets a plant behind the one before it.
        let mut gap = 1.0 + plants.spacing_cv * normal(deviates);
        while gap <= 0.05 {
            gap = 1.0 + plants.spacing_cv * normal(deviates);
        }
        station_m += plants.spacing_m * gap;
    }
    places
}

/// A plant with the moments at which the two edges of its row pass it. It does not depend on the controller.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meeting {
    /// Row, 0 at the left.
    pub row: usize,
    /// Plant of that row, rising station.
    pub plant: usize,
    /// True if the plant stands in the entry stretch.
    pub entry: bool,
    /// Left and right edge.
    edges: [Edge; 2],
}

/// How an edge meets a plant.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Edge {
    /// It was still up.
    Up,
    /// It passes it.
    Passes(EdgeMeeting),
    /// It never comes as far: the pass has lost the row.
    Never,
}

/// The moment at which an edge passes a plant.
#[derive(Clone, Copy, Debug, PartialEq)]
struct EdgeMeeting {
    tick: u32,
    part: f64,
    /// Clearance that the plant's centre needs with the frame unshifted, m.
    needed_m: f64,
}

/// Finds the meetings of all plants of a pass, row by row.
///
/// With p the plant's lateral position from the nominal line of its row, e the unshifted frame's offset from that line when the
/// edge passes (station `s - x_edge - Y sin(heading)`) and h the edge's setting error, the plant's centre needs the clearance
/// `p - e - h_L` of the left edge and `-p + e - h_R` of the right one; the shift is added by [`Meeting::needed_m`].
pub fn meetings(
    setup: &Setup,
    ground: &Ground<1>,
    drive: &Drive<1>,
    path: &Path,
    plants: &[Vec<PlantPlace>],
) -> Vec<Meeting> {
    let tools = &setup.tools;
    let edge_x_m = [
        tools.tool_line_m + tools.left_edge_behind_m,
        tools.tool_line_m + tools.right_edge_behind_m,
    ];
    let mut meetings = Vec::with_capacity(plants.iter().map(Vec::len).sum());
    for (row, plants) in plants.iter().enumerate() {
        let lateral_m = setup.rows.offset_m[row];
        for (plant, place) in plants.iter().enumerate() {
            let edge = |side: usize| {
                let x_m = edge_x_m[side];
                let target_m = place.station_m + x_m;
                // At lowering the axle stands at tool_line_m: what an edge should have met before that it passed in the air.
                if target_m < tools.tool_line_m {
                    return Edge::Up;
                }
                let (tick, part) = match passing(path, target_m, lateral_m, setup.run.length_m) {
                    Passing::Before => return Edge::Up,
                    Passing::At(tick, part) => (tick, part),
                    Passing::Never => return Edge::Never,
                };
                let frame_m = |tick: usize| {
                    let stand = drive.at(tick as f64 * setup.run.step_s);
                    stand.frame_m(setup, ground, x_m).0[0]
                };
                let a = frame_m(tick);
                let b = frame_m(tick + 1);
                let away_m = place.lateral_m - (a + part * (b - a));
                let needed_m =
                    if side == 0 { away_m } else { -away_m } - ground.edge_error_m[row][side].0[0];
                Edge::Passes(EdgeMeeting {
                    tick: tick as u32,
                    part,
                    needed_m,
                })
            };
            let edges = [edge(0), edge(1)];
            meetings.push(Meeting {
                row,
                plant,
                entry: place.station_m < setup.run.entry_length_m,
                edges,
            });
        }
    }
    meetings
}

/// When a point of the frame passes a place.
enum Passing {
    /// Before lowering.
    Before,
    /// At this tick and part of a tick.
    At(usize, f64),
    /// The pass loses the row, or falls short of its end, before.
    Never,
}

/// Tick and part of a tick at which a point on the frame, `lateral_m` to the left, has come as far as a point straight on the
/// centre line would be at `target_m` of the axle.
fn passing(path: &Path, target_m: f64, lateral_m: f64, length_m: f64) -> Passing {
    if path.kept_ticks < 2 {
        return Passing::Never;
    }
    let last = path.kept_ticks - 1;
    let per_tick_m = path.speed_m_s * path.step_s;
    // On a frame that points left its left half hangs back: those edges come later.
    let reached = |tick: usize| path.station_m[tick] - lateral_m * path.frame_sin[tick];
    let mut tick = (((target_m - path.station_m[0]) / per_tick_m).max(0.0) as usize).min(last - 1);
    // The axle runs at its speed but for a cosine and a bend: a few corrections land on the tick.
    for _ in 0..4 {
        let off = (target_m - reached(tick)) / per_tick_m;
        if (0.0..1.0).contains(&off) {
            break;
        }
        tick = (tick as f64 + off.floor()).clamp(0.0, (last - 1) as f64) as usize;
    }
    while tick > 0 && reached(tick) > target_m {
        tick -= 1;
    }
    while tick < last - 1 && reached(tick + 1) <= target_m {
        tick += 1;
    }
    let (a, b) = (reached(tick), reached(tick + 1));
    // A pass that weaves comes less far than its speed says: its last plants are met at the end, they are not those of a lost row.
    let short_m = if path.loses_the_row() {
        0.0
    } else {
        SHORT_SHARE * length_m
    };
    if target_m < a {
        Passing::Before
    } else if target_m > b + short_m {
        Passing::Never
    } else {
        Passing::At(tick, ((target_m - a) / (b - a)).min(1.0))
    }
}

impl Meeting {
    /// Clearance that the plant's centre needs under a shift (one value per tick), m: minus infinity if the edges were still up, plus
    /// infinity if they never come as far, so that a plant of a lost row counts as cut.
    pub fn needed_m(&self, shift_m: &[f64]) -> f64 {
        let side = |index: usize, sign: f64| match self.edges[index] {
            Edge::Up => f64::NEG_INFINITY,
            Edge::Never => f64::INFINITY,
            Edge::Passes(edge) => {
                let (a, b) = (shift_m[edge.tick as usize], shift_m[edge.tick as usize + 1]);
                edge.needed_m + sign * (a + edge.part * (b - a))
            }
        };
        // A shift to the left brings the right edge nearer and takes the left one away; the worse of both decides.
        side(0, -1.0).max(side(1, 1.0))
    }
}

/// What became of a plant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// No edge came near.
    Spared,
    /// An edge came within the protected radius and spared the stem.
    Touched,
    /// An edge passed through the stem.
    Cut,
}

impl Fate {
    /// Its name in outputs.
    pub fn name(self) -> &'static str {
        match self {
            Fate::Spared => "spared",
            Fate::Touched => "touched",
            Fate::Cut => "cut",
        }
    }
}

/// What becomes of a plant whose centre needs `needed_m` at a clearance.
pub fn fate(setup: &Setup, needed_m: f64, clearance_m: f64) -> Fate {
    // Cut is asked first: a cut plant is within the protected radius as well and must count once.
    if needed_m + setup.plants.stem_radius_m > clearance_m {
        Fate::Cut
    } else if needed_m + setup.plants.protected_radius_m > clearance_m {
        Fate::Touched
    } else {
        Fate::Spared
    }
}
