//! Files with measured or planned paths: comma-separated values, one point per line.
//!
//! Common to all: UTF-8; a line that begins with `#` is a comment, an empty line nothing; the first other line names the
//! columns. Columns may stand in any order and further ones are passed over. Numbers have a decimal point and no unit;
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
//! the other end and turn the signs of the offsets. Points at most 2 m apart; the log is resampled, never extrapolated, so
//! that it must be as long as the simulated pass. Over that length the offset may not get farther than 3 m from the line, nor
//! wander about its straight trend with a standard deviation above 0.5 m; from 0.5 m and 0.15 m on it is doubted aloud.
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

mod plausible;

pub use plausible::{Wander, wander};

use crate::model::driver::LoggedPath;
use crate::model::line::Bend;
use crate::quote::quoted;

/// Points of a logged pass may be this far apart, m.
pub const WIDEST_GAP_M: f64 = 2.0;

/// Most points of a file (assumed: a millimetre apart they cover the longest pass).
pub const MOST_POINTS: usize = 2_500_000;

/// No number of a file is larger, m (assumed: places in any map projection are smaller).
pub const FARTHEST_M: f64 = 1e8;

/// What is wrong with a file of points.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FieldlogError {
    /// A column is missing.
    #[error(
        "{file}:{line}: the column {column} is missing; this line must name the columns, as in \"{wanted}\""
    )]
    Column {
        /// File as the caller named it.
        file: String,
        /// Line, from 1.
        line: usize,
        /// The column.
        column: &'static str,
        /// A line that would do.
        wanted: String,
    },
    /// A field is no number.
    #[error("{file}:{line}: {column} = \"{found}\" is no number")]
    Number {
        /// File as the caller named it.
        file: String,
        /// Line, from 1.
        line: usize,
        /// The column.
        column: &'static str,
        /// What stands there.
        found: String,
    },
    /// A number that no place on Earth has.
    #[error("{file}:{line}: {column} = {found} is beyond anything in a field; metres are wanted")]
    Far {
        /// File as the caller named it.
        file: String,
        /// Line, from 1.
        line: usize,
        /// The column.
        column: &'static str,
        /// What stands there.
        found: String,
    },
    /// The distances do not rise, or two points coincide.
    #[error("{file}:{line}: {what}")]
    Order {
        /// File as the caller named it.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong and what would be right.
        what: String,
    },
    /// Too few points.
    #[error("{file}: {found} points; at least {least} are needed")]
    TooFew {
        /// File as the caller named it.
        file: String,
        /// Points found.
        found: usize,
        /// Least number of points.
        least: usize,
    },
    /// Too many points.
    #[error("{file}:{line}: more than {MOST_POINTS} points; keep every second one, or fewer")]
    TooMany {
        /// File as the caller named it.
        file: String,
        /// Line of the first one that is too many, from 1.
        line: usize,
    },
}

/// A point and the line it stands on.
struct Point {
    line: usize,
    first: f64,
    second: f64,
}

fn points(
    text: &str,
    file: &str,
    columns: [&'static str; 2],
    least: usize,
) -> Result<Vec<Point>, FieldlogError> {
    let mut at: Option<[usize; 2]> = None;
    let mut points = Vec::new();
    let mut last_line = 1;
    // Spreadsheets begin a file with a byte order mark: it would belong to the first column's name, which then is unknown.
    for (line, content) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let (line, content) = (line + 1, content.trim());
        last_line = line;
        if content.is_empty() || content.starts_with('#') {
            continue;
        }
        let fields = content.split(',').map(str::trim);
        let Some(at) = at else {
            let find = |column: &'static str| {
                fields
                    .clone()
                    .position(|field| field == column)
                    .ok_or_else(|| FieldlogError::Column {
                        file: file.to_string(),
                        line,
                        column,
                        wanted: columns.join(","),
                    })
            };
            at = Some([find(columns[0])?, find(columns[1])?]);
            continue;
        };
        if points.len() == MOST_POINTS {
            return Err(FieldlogError::TooMany {
                file: file.to_string(),
                line,
            });
        }
        let number = |which: usize| {
            let text = fields.clone().nth(at[which]).unwrap_or("");
            let number: f64 = text.parse().unwrap_or(f64::NAN);
            // NaN fails this too, whether it was written so or stands for what is no number.
            if number.abs() <= FARTHEST_M {
                return Ok(number);
            }
            let (file, column, found) = (file.to_string(), columns[which], quoted(text));
            Err(if number.is_finite() {
                FieldlogError::Far {
                    file,
                    line,
                    column,
                    found,
                }
            } else {
                FieldlogError::Number {
                    file,
                    line,
                    column,
                    found,
                }
            })
        };
        points.push(Point {
            line,
            first: number(0)?,
            second: number(1)?,
        });
    }
    if at.is_none() {
        return Err(FieldlogError::Column {
            file: file.to_string(),
            line: last_line,
            column: columns[0],
            wanted: columns.join(","),
        });
    }
    if points.len() < least {
        return Err(FieldlogError::TooFew {
            file: file.to_string(),
            found: points.len(),
            least,
        });
    }
    Ok(points)
}

/// Reads a logged pass; distances are counted from its first point.
pub fn logged_pass(text: &str, file: &str) -> Result<LoggedPath, FieldlogError> {
    let points = points(text, file, ["distance_m", "offset_m"], 3)?;
    let start_m = points[0].first;
    for pair in points.windows(2) {
        let step_m = pair[1].first - pair[0].first;
        let what = if step_m <= 0.0 {
            format!(
                "distance_m = {} does not rise above {} in the line before",
                quoted(&pair[1].first.to_string()),
                quoted(&pair[0].first.to_string())
            )
        } else if step_m > WIDEST_GAP_M {
            format!(
                "distance_m = {} lies {step_m:.1} m beyond the point before; at most {WIDEST_GAP_M} m are allowed{}",
                pair[1].first,
                plausible::question_of_step(usual_step_m(&points))
            )
        } else {
            continue;
        };
        return Err(FieldlogError::Order {
            file: file.to_string(),
            line: pair[1].line,
            what,
        });
    }
    Ok(LoggedPath::new(
        points.iter().map(|point| point.first - start_m).collect(),
        points.iter().map(|point| point.second).collect(),
    ))
}

/// Half of the steps from point to point are at most this long, m.
fn usual_step_m(points: &[Point]) -> f64 {
    let steps = points.windows(2).map(|pair| pair[1].first - pair[0].first);
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
pub fn polyline(text: &str, file: &str) -> Result<Polyline, FieldlogError> {
    let points = points(text, file, ["x_m", "y_m"], 2)?;
    let mut corners = Vec::new();
    let mut length_m = 0.0;
    let mut heading: Option<f64> = None;
    for pair in points.windows(2) {
        let (dx, dy) = (
            pair[1].first - pair[0].first,
            pair[1].second - pair[0].second,
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
            return Err(FieldlogError::Order {
                file: file.to_string(),
                line: pair[1].line,
                what,
            });
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
