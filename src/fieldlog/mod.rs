//! Files with measured or planned paths, one point per line, read by the reader of tables that all logs have ([`crate::field`]).
//!
//! Common to all: UTF-8; a line that begins with `#` is a comment, an empty line nothing; the first other line names the
//! columns, between commas, semicolons or tabs. Columns may stand in any order and further ones are passed over. Numbers have no unit;
//! lengths are metres. Every fault is told with file and line. At most 2.5 million points are read.
//!
//! # Logged pass (`--replay FILE`)
//!
//! ```text
//! # rear axle of the tractor, second pass of the morning
//! distance_m,offset_m
//! 0.00,0.012
//! 0.50,0.015
//! ```
//!
//! - `distance_m`: distance along the planned line in driving order, m, rising from line to line. The first point counts
//!   as the place where the tools are lowered, whatever its number.
//! - `offset_m`: cross-track distance of the rear axle's centre from the planned line, m, left of the driving direction
//!   positive.
//!
//! A pass that was driven the other way than its distances run: reverse the order of the lines, count the distances from
//! the other end and turn the signs of the offsets. Points at most 6 m apart: up to 2 m the tractor is taken straight from one to the next,
//! beyond that through the wander that is fitted to the points (a fix a second is enough). The log is never extrapolated, so
//! that it must be as long as the simulated pass. Over that length the offset may not get farther than 3 m from the line, nor
//! wander about its straight trend with a standard deviation above 0.5 m; from 0.5 m and 0.15 m on it is doubted aloud.
//!
//! Any log that `rowroom field` reads will do as well (NMEA 0183, GPX, GeoJSON, CSV with places): its longest pass is driven, about its own
//! straight line or arc, through the wander that is fitted to all its passes. The receiver's noise is taken off; its drift cannot be, so
//! that a log that says its receiver had no fixed carrier phase is refused.
//!
//! # Polyline of the planned row line (`[line.polyline]`)
//!
//! ```text
//! # corners of the row line
//! x_m,y_m
//! 0,0
//! 80,0
//! 160,6
//! ```
//!
//! - `x_m`, `y_m`: place in any level frame with equal axes, x to the east and y to the north or turned alike
//!   (counter-clockwise from x to y), m, in driving order. The pass begins at the first point.

mod coarse;
mod plausible;

pub use plausible::{Wander, wander};

use crate::field::FieldError;
use crate::field::kalman::Stretch;
use crate::field::log::Frame;
use crate::field::table::{Point, frame, points};
use crate::model::driver::LoggedPath;
use crate::model::line::Bend;
use crate::quote::quoted;

/// Between points of a logged pass that are this far apart the tractor goes straight or nearly so, m.
pub const WIDEST_GAP_M: f64 = 2.0;

/// They may be this far apart where the wander between them can be fitted, m (our choice: a fix a second at 21 km/h).
pub const COARSEST_GAP_M: f64 = 6.0;

/// Most points of a file (assumed: a millimetre apart they cover the longest pass).
pub const MOST_POINTS: usize = 2_500_000;

/// The places of a table with their lines, at least so many.
fn places(text: &str, file: &str, frame: Frame, least: usize) -> Result<Vec<Point>, FieldError> {
    let points = points(text, file, frame, MOST_POINTS)?;
    if points.len() < least {
        let found = points.len();
        let line = points.last().map_or(1, |point| point.line);
        return Err(wrong(
            file,
            line,
            format!("{found} points; at least {least} are needed"),
        ));
    }
    Ok(points)
}

fn wrong(file: &str, line: usize, what: String) -> FieldError {
    FieldError::Line {
        file: file.to_string(),
        line,
        what,
    }
}

/// Reads a logged pass; distances are counted from its first point. What lies between points that are far apart, or in a log of places,
/// is drawn by `seed`.
pub fn logged_pass(text: &str, file: &str, seed: u64) -> Result<LoggedPath, FieldError> {
    // What no table begins with begins the other kinds of logs.
    let first = text
        .trim_start_matches('\u{feff}')
        .trim_start()
        .chars()
        .next();
    if matches!(first, Some('$' | '!' | '<' | '{')) || frame(text, file)? != Frame::Track {
        return coarse::longest_pass(text, file, seed);
    }
    let points = places(text, file, Frame::Track, 3)?;
    let start_m = points[0].at_m[0];
    let mut widest_m = 0.0_f64;
    for pair in points.windows(2) {
        let [before_m, here_m] = [pair[0].at_m[0], pair[1].at_m[0]];
        let step_m = here_m - before_m;
        widest_m = widest_m.max(step_m);
        let what = if step_m <= 0.0 {
            format!(
                "distance_m = {} does not rise above {} in the line before",
                quoted(&here_m.to_string()),
                quoted(&before_m.to_string())
            )
        } else if step_m > COARSEST_GAP_M {
            format!(
                "distance_m = {here_m} lies {step_m:.1} m beyond the point before; at most {COARSEST_GAP_M} m are allowed{}",
                plausible::question_of_step(usual_step_m(&points))
            )
        } else {
            continue;
        };
        return Err(wrong(file, pair[1].line, what));
    }
    let along_m: Vec<f64> = points.iter().map(|point| point.at_m[0] - start_m).collect();
    let offsets_m: Vec<f64> = points.iter().map(|point| point.at_m[1]).collect();
    if widest_m <= WIDEST_GAP_M {
        return Ok(LoggedPath::new(along_m, offsets_m));
    }
    let pass = Stretch {
        along_m,
        offsets_m,
        columns: 2,
        ..Stretch::default()
    };
    coarse::through(core::slice::from_ref(&pass), &pass, seed).ok_or_else(|| {
        let what = format!(
            "points up to {widest_m:.1} m apart, and too few of them to tell how the tractor wanders between them; {WIDEST_GAP_M} m apart they need not"
        );
        wrong(file, points[0].line, what)
    })
}

/// Half of the steps from point to point are at most this long, m.
fn usual_step_m(points: &[Point]) -> f64 {
    let steps = points
        .windows(2)
        .map(|pair| pair[1].at_m[0] - pair[0].at_m[0]);
    let mut steps: Vec<f64> = steps.collect();
    let middle = steps.len().saturating_sub(1) / 2;
    // The median: one gap where the receiver lost its position says nothing about the unit.
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// A chain of straight stretches.
#[derive(Clone, Debug, PartialEq)]
pub struct Polyline {
    /// Corners, as distance along the chain (m) and the turn there (rad, left positive), in order.
    pub corners: Vec<(f64, f64)>,
    /// Length of the chain, m.
    pub length_m: f64,
}

/// Reads the polyline of a row line.
pub fn polyline(text: &str, file: &str) -> Result<Polyline, FieldError> {
    let points = places(text, file, Frame::Local, 2)?;
    let mut corners = Vec::new();
    let mut length_m = 0.0;
    let mut heading: Option<f64> = None;
    for pair in points.windows(2) {
        let (dx, dy) = (
            pair[1].at_m[0] - pair[0].at_m[0],
            pair[1].at_m[1] - pair[0].at_m[1],
        );
        let stretch_m = libm::hypot(dx, dy);
        let now = libm::atan2(dy, dx);
        let mut what = String::new();
        // So close together the heading would be that of the last digits.
        if stretch_m < 1e-3 {
            what = "this point coincides with the one before".to_string();
        }
        if let Some(before) = heading {
            // atan2 jumps by a full turn where the line runs along -x.
            let turn = wrapped(now - before);
            if turn.abs() > core::f64::consts::FRAC_PI_2 {
                what = format!(
                    "the line turns back on itself: {:.0} deg at the point before; at most 90 deg are allowed",
                    turn.to_degrees()
                );
            }
            if turn != 0.0 {
                corners.push((length_m, turn));
            }
        }
        if !what.is_empty() {
            return Err(wrong(file, pair[1].line, what));
        }
        heading = Some(now);
        length_m += stretch_m;
    }
    Ok(Polyline { corners, length_m })
}

fn wrapped(angle_rad: f64) -> f64 {
    let turn = 2.0 * core::f64::consts::PI;
    angle_rad - turn * libm::round(angle_rad / turn)
}

/// Parts of a radian in which turns add up: a power of two, so that turns of more than 1e-14 rad are whole numbers of them, and
/// far from overflow: 2^27 rad.
const TURN_PARTS: f64 = (1_u128 << 100) as f64;

impl Polyline {
    /// The line with each corner rounded by an arc of this length, half of it on either side of the corner: a moving
    /// average of the heading over that length, so that the curvature is constant from one end of an arc to the next.
    /// Arcs that overlap add up. Distances are those along the chain; a rounded corner is shorter than the chain by less
    /// than `turn² rounding / 24`, which is left out.
    pub fn bends(&self, rounding_m: f64) -> Vec<Bend> {
        let mut ends: Vec<f64> = self
            .corners
            .iter()
            .flat_map(|(at, _)| [at - rounding_m / 2.0, at + rounding_m / 2.0])
            .collect();
        ends.sort_by(f64::total_cmp);
        ends.dedup();
        let turned = self.turned();
        let mut bends = Vec::new();
        let (mut first, mut last) = (0, 0);
        for pair in ends.windows(2) {
            // Asked in the middle: at the ends rounding would decide which arcs have begun and which are over.
            let middle_m = pair[0] + (pair[1] - pair[0]) / 2.0;
            let begun = |(at, _): &(f64, f64)| at - rounding_m / 2.0 <= middle_m;
            let over = |(at, _): &(f64, f64)| at + rounding_m / 2.0 < middle_m;
            while self.corners.get(first).is_some_and(over) {
                first += 1;
            }
            while self.corners.get(last).is_some_and(begun) {
                last += 1;
            }
            let turn = turned[last.max(first)].saturating_sub(turned[first]);
            if turn != 0 {
                let curvature_1_m = turn as f64 / TURN_PARTS / rounding_m;
                bends.push(Bend {
                    start_m: pair[0],
                    length_m: pair[1] - pair[0],
                    curvature_start_1_m: curvature_1_m,
                    curvature_end_1_m: curvature_1_m,
                });
            }
        }
        bends
    }

    /// The turns up to each corner and after the last one, added up in whole parts, so that they cancel without a rest and
    /// the turns between any two corners are one difference.
    fn turned(&self) -> Vec<i128> {
        let mut sum = 0_i128;
        let mut turned = vec![sum];
        for (_, turn) in &self.corners {
            sum = sum.saturating_add((turn * TURN_PARTS) as i128);
            turned.push(sum);
        }
        turned
    }
}
