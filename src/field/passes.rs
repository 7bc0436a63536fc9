//! A log split into passes along rows, each with its planned line taken off.

use serde::Serialize;

use super::kalman::Stretch;
use super::line::{Line, arc, given, straight};
use super::log::{Fix, Frame, Logs, Quality};
use super::wander::sd_about_trend_m;

/// Fixes nearer to the one before are left out, m: a tractor that stands would be a cloud of headings.
const NEAREST_M: f64 = 0.2;

/// Farther apart, the log has a hole, m.
const HOLE_M: f64 = 10.0;

/// Headings are taken over so much either way, m.
const CHORD_M: f64 = 6.0;

/// More turn from one chord to the next is a turn, rad (assumed: a row with a radius of 14 m).
const TURN_RAD: f64 = 0.44;

/// Cut off at either end, m: where a turn ends is known to 6 to 9 m.
const TRIMMED_M: f64 = 10.0;

/// Shorter passes are no passes, m.
const SHORTEST_M: f64 = 30.0;

/// Straight stretches farther off the main direction are ways across, rad.
const ACROSS_RAD: f64 = 0.52;

/// A line whose middle stands farther off its chord is an arc, m (assumed: ten times what a tractor wanders).
const SAGITTA_M: f64 = 0.5;

/// A step sideways of more than this many usual ones, and more than the next number, cuts a pass.
const JUMP_USUAL: f64 = 12.0;

/// See [`JUMP_USUAL`], m.
const JUMP_M: f64 = 0.15;

/// Where the antenna stands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Antenna {
    /// So far ahead of the rear axle, m.
    pub ahead_m: f64,
    /// Height above the ground, m; `None` where it was not told.
    pub height_m: Option<f64>,
}

/// What line a pass was planned on.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Planned {
    /// Straight, or an arc where it clearly bends.
    #[default]
    Found,
    /// Straight.
    Straight,
    /// An arc.
    Arc,
    /// The nearest of these.
    Given(Vec<Vec<[f64; 2]>>),
}

/// One pass.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// Distances, times and offsets; left of the driving direction positive.
    pub stretch: Stretch,
    /// Middle of the pass, m, and heading there, rad.
    pub middle_m: [f64; 2],
    /// Heading at the middle, rad.
    pub heading_rad: f64,
    /// Radius of the planned line, m, left bends positive; `None` for a straight one.
    pub radius_m: Option<f64>,
}

/// Numbers of a pass.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PassNumbers {
    /// Points.
    pub points: usize,
    /// Length, m.
    pub length_m: f64,
    /// Standard deviation about its own planned line, m.
    pub sd_m: f64,
    /// Radius of the planned line, m; none for a straight one.
    pub radius_m: Option<f64>,
}

impl Pass {
    /// Its numbers.
    pub fn numbers(&self) -> PassNumbers {
        PassNumbers {
            points: self.stretch.along_m.len(),
            length_m: length_m(&self.stretch.along_m),
            sd_m: sd_about_trend_m(&self.stretch).unwrap_or(0.0),
            radius_m: self.radius_m,
        }
    }
}

/// Speed over all passes, m/s; `None` where the log has no times.
pub fn usual_speed_m_s(passes: &[Pass]) -> Option<f64> {
    let (mut way_m, mut time_s) = (0.0, 0.0);
    for pass in passes {
        let times_s = &pass.stretch.times_s;
        time_s += (times_s.last()? - times_s.first()?).abs();
        way_m += length_m(&pass.stretch.along_m);
    }
    (time_s > 0.0).then(|| way_m / time_s)
}

fn length_m(along_m: &[f64]) -> f64 {
    along_m
        .last()
        .zip(along_m.first())
        .map_or(0.0, |(last, first)| last - first)
}

/// Splits logs into passes: at turns, lifts, holes and jumps, ends trimmed, ways across left out. Fixes below `least` quality count as
/// holes.
pub fn split(
    logs: &Logs,
    least: Option<Quality>,
    antenna: Antenna,
    planned: &Planned,
) -> Vec<Pass> {
    if logs.frame == Some(Frame::Track) {
        return tracks(&logs.fixes, antenna);
    }
    let mut runs: Vec<Vec<Fix>> = Vec::new();
    for chain in chains(&logs.fixes, least) {
        runs.extend(without_turns(&chain));
    }
    let runs = along_the_rows(runs);
    runs.iter()
        .flat_map(|run| lined_up(run, antenna, planned))
        .collect()
}

/// Passes of a log of distances and offsets: by its parts.
fn tracks(fixes: &[Fix], antenna: Antenna) -> Vec<Pass> {
    let groups = fixes.chunk_by(|a, b| a.part == b.part && a.part.is_some());
    let mut passes = Vec::new();
    for group in groups.filter(|group| group.len() > 4 && group[0].part.is_some()) {
        let backwards = group[group.len() - 1].x_m < group[0].x_m;
        let mut run: Vec<Fix> = group.to_vec();
        if backwards {
            run.reverse();
        }
        let mut stretch = Stretch {
            columns: 2,
            lever_m: antenna.ahead_m,
            ..Stretch::default()
        };
        for fix in &run {
            if stretch.along_m.last().is_none_or(|last| fix.x_m > *last) {
                stretch.along_m.push(fix.x_m);
                stretch.offsets_m.push(fix.y_m);
                stretch.times_s.extend(fix.time_s);
            }
        }
        passes.extend(finished(stretch, [0.0; 2], 0.0, None));
    }
    passes
}

/// Fixes thinned, in chains without holes.
fn chains(fixes: &[Fix], least: Option<Quality>) -> Vec<Vec<Fix>> {
    let mut chains: Vec<Vec<Fix>> = Vec::new();
    let mut open: Vec<Fix> = Vec::new();
    for fix in fixes {
        let bad = fix.part.is_none()
            || least.is_some_and(|least| fix.quality.is_none_or(|quality| quality < least));
        if bad {
            continue;
        }
        if let Some(last) = open.last() {
            let step_m = libm::hypot(fix.x_m - last.x_m, fix.y_m - last.y_m);
            let late = matches!((last.time_s, fix.time_s), (Some(a), Some(b)) if b < a);
            if step_m > HOLE_M || fix.part != last.part || late {
                chains.push(core::mem::take(&mut open));
            } else if step_m < NEAREST_M {
                continue;
            }
        }
        open.push(*fix);
    }
    chains.push(open);
    chains
}

/// Stretches in which the heading stays.
fn without_turns(chain: &[Fix]) -> Vec<Vec<Fix>> {
    let way_m = ways_m(chain);
    let (mut behind, mut ahead) = (0, 0);
    let mut runs: Vec<Vec<Fix>> = Vec::new();
    let mut open: Vec<Fix> = Vec::new();
    for i in 0..chain.len() {
        while behind + 1 < i && way_m[i] - way_m[behind + 1] >= CHORD_M {
            behind += 1;
        }
        while ahead + 1 < chain.len() && way_m[ahead] - way_m[i] < CHORD_M {
            ahead += 1;
        }
        let from = heading(&chain[behind], &chain[i]);
        let to = heading(&chain[i], &chain[ahead]);
        // At the ends of a chain there is but one chord.
        let turn = if behind == i || ahead == i {
            0.0
        } else {
            wrapped(to - from)
        };
        if turn.abs() > TURN_RAD {
            runs.push(core::mem::take(&mut open));
        } else {
            open.push(chain[i]);
        }
    }
    runs.push(open);
    runs.retain(|run| length_m(&ways_m(run)) >= SHORTEST_M + 2.0 * TRIMMED_M);
    runs
}

fn ways_m(chain: &[Fix]) -> Vec<f64> {
    let mut way_m = 0.0;
    let mut last: Option<&Fix> = None;
    chain
        .iter()
        .map(|fix| {
            way_m += last.map_or(0.0, |last| {
                libm::hypot(fix.x_m - last.x_m, fix.y_m - last.y_m)
            });
            last = Some(fix);
            way_m
        })
        .collect()
}

fn heading(from: &Fix, to: &Fix) -> f64 {
    libm::atan2(to.y_m - from.y_m, to.x_m - from.x_m)
}

fn wrapped(angle_rad: f64) -> f64 {
    let turn = core::f64::consts::TAU;
    angle_rad - turn * libm::round(angle_rad / turn)
}

/// Leaves out straight runs across the main direction; that is the mean of the doubled headings, in which both ways along a row are one.
fn along_the_rows(mut runs: Vec<Vec<Fix>>) -> Vec<Vec<Fix>> {
    let (mut cos, mut sin) = (0.0, 0.0);
    for run in &runs {
        let (first, last) = (&run[0], &run[run.len() - 1]);
        let doubled = 2.0 * heading(first, last);
        let weight = libm::hypot(last.x_m - first.x_m, last.y_m - first.y_m);
        cos += weight * libm::cos(doubled);
        sin += weight * libm::sin(doubled);
    }
    let axis = libm::atan2(sin, cos) / 2.0;
    runs.retain(|run| {
        let third = run.len() / 3;
        let bend = wrapped(
            heading(&run[0], &run[third])
                - heading(&run[run.len() - 1 - third], &run[run.len() - 1]),
        );
        let off = wrapped(2.0 * (heading(&run[0], &run[run.len() - 1]) - axis)) / 2.0;
        off.abs() <= ACROSS_RAD || bend.abs() > 0.35
    });
    runs
}

/// Takes the planned line off a run and trims its ends; a jump sideways cuts it in two.
fn lined_up(run: &[Fix], antenna: Antenna, planned: &Planned) -> Vec<Pass> {
    let way_m = ways_m(run);
    let whole_m = length_m(&way_m);
    let kept: Vec<Fix> = run
        .iter()
        .zip(&way_m)
        .filter(|(_, way)| (TRIMMED_M..=whole_m - TRIMMED_M).contains(*way))
        .map(|(fix, _)| *fix)
        .collect();
    if kept.len() < 6 {
        return Vec::new();
    }
    let line = line_of(&kept, planned);
    let mut passes = Vec::new();
    for piece in without_jumps(&kept, &line.offsets_m) {
        let piece = &kept[piece];
        if piece.len() >= 6 {
            passes.extend(pass_of(piece, antenna, planned));
        }
    }
    passes
}

fn line_of(kept: &[Fix], planned: &Planned) -> Line {
    match planned {
        Planned::Given(lines) => given(kept, lines),
        Planned::Straight => straight(kept),
        Planned::Arc => arc(kept),
        Planned::Found => {
            let line = straight(kept);
            if line.sagitta_m.abs() > SAGITTA_M {
                arc(kept)
            } else {
                line
            }
        }
    }
}

fn without_jumps(kept: &[Fix], offsets_m: &[f64]) -> Vec<core::ops::Range<usize>> {
    let mut steps_m: Vec<f64> = offsets_m
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .collect();
    let middle = steps_m.len() / 2;
    let usual_m = *steps_m.select_nth_unstable_by(middle, f64::total_cmp).1;
    let most_m = JUMP_M.max(JUMP_USUAL * usual_m);
    let mut pieces = Vec::new();
    let mut start = 0;
    for i in 1..kept.len() {
        if (offsets_m[i] - offsets_m[i - 1]).abs() > most_m {
            pieces.push(start..i);
            start = i;
        }
    }
    pieces.push(start..kept.len());
    pieces
}

fn pass_of(piece: &[Fix], antenna: Antenna, planned: &Planned) -> Option<Pass> {
    let line = line_of(piece, planned);
    let mut stretch = Stretch {
        columns: line.columns,
        lever_m: antenna.ahead_m,
        ..Stretch::default()
    };
    for ((fix, along_m), offset_m) in piece.iter().zip(&line.along_m).zip(&line.offsets_m) {
        // A fix that noise put behind the one before would be a step backwards.
        if stretch.along_m.last().is_some_and(|last| along_m <= last) {
            continue;
        }
        // Right side down moves an antenna on the roof to the right.
        let rolled_m = match (fix.roll_rad, antenna.height_m) {
            (Some(roll), Some(height_m)) => height_m * libm::sin(f64::from(roll)),
            _ => 0.0,
        };
        stretch.along_m.push(*along_m);
        stretch.offsets_m.push(offset_m + rolled_m);
        stretch.times_s.extend(fix.time_s);
    }
    let middle = &piece[piece.len() / 2];
    let heading_rad = heading(&piece[0], &piece[piece.len() - 1]);
    finished(
        stretch,
        [middle.x_m, middle.y_m],
        heading_rad,
        line.radius_m,
    )
}

fn finished(
    mut stretch: Stretch,
    middle_m: [f64; 2],
    heading_rad: f64,
    radius_m: Option<f64>,
) -> Option<Pass> {
    if stretch.times_s.len() != stretch.along_m.len() {
        stretch.times_s.clear();
    }
    let long_enough = stretch.along_m.len() >= 8 && length_m(&stretch.along_m) >= SHORTEST_M;
    long_enough.then_some(Pass {
        stretch,
        middle_m,
        heading_rad,
        radius_m,
    })
}

/// Passes that carry at most about `most` points together: every second or third one where they have more, and points not closer than
/// `nearest_m`.
pub fn thinned(passes: &[Pass], most: usize, nearest_m: f64) -> Vec<Stretch> {
    let thin = |pass: &Pass| {
        let from = &pass.stretch;
        let mut to = Stretch {
            columns: from.columns,
            lever_m: from.lever_m,
            ..Stretch::default()
        };
        for i in 0..from.along_m.len() {
            if to
                .along_m
                .last()
                .is_none_or(|last| from.along_m[i] - last >= nearest_m)
            {
                to.along_m.push(from.along_m[i]);
                to.offsets_m.push(from.offsets_m[i]);
                to.times_s.extend(from.times_s.get(i));
            }
        }
        to
    };
    let all: Vec<Stretch> = passes.iter().map(thin).collect();
    let points: usize = all.iter().map(|pass| pass.along_m.len()).sum();
    let every = points.div_ceil(most.max(1)).max(1);
    all.into_iter().step_by(every).collect()
}
