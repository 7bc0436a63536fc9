//! What follows from the tape: what to move, what to leave, how many places more would settle it.

use serde::Serialize;

use super::tape::TwoWay;
use super::wander::Estimate;
use crate::montecarlo::quantile::student_factor;

/// Less is not worth a spanner, m (assumed: a clamp sits no finer).
pub const LEAST_MOVE_M: f64 = 0.003;

/// So near an error should be known, m, either way.
pub const WANTED_M: f64 = 0.005;

/// More places than this nobody walks to.
const MOST_PLACES: usize = 500;

/// What is moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// The alignment common to all rows: camera or frame.
    Alignment,
    /// The tools of one row.
    Row(u32),
}

/// What to do about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Move it.
    Move,
    /// Not worth moving.
    Leave,
    /// Not known well enough.
    Open,
}

/// An error of the setting and what to do.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Move {
    /// What.
    pub what: What,
    /// To be moved by so much, left positive, m.
    pub by_m: f64,
    /// Least of it.
    pub lower_m: Option<f64>,
    /// Most of it.
    pub upper_m: Option<f64>,
    /// What to do.
    pub verdict: Verdict,
    /// So many more places would tell it within 5 mm; none if it is known so well already, if the readings cannot say, or if it takes more
    /// than 500.
    pub places_more: Option<usize>,
}

/// Moves for the alignment and for every row; `rows` are their numbers.
pub fn moves(found: &TwoWay, rows: &[u32]) -> Vec<Move> {
    let one_place = found.mean_se * (found.places as f64).sqrt();
    let mut moves = vec![one(
        What::Alignment,
        &found.mean,
        Some(one_place),
        found.places,
        1,
    )];
    // A single row has no others to stand apart from.
    if rows.len() > 1 {
        let others = rows.len() - 1;
        moves.extend(rows.iter().zip(&found.rows).map(|(row, offset)| {
            one(
                What::Row(*row),
                offset,
                found.scatter_sd.value,
                found.places,
                others,
            )
        }));
    }
    moves
}

/// `one_place` is the standard deviation of what a single place tells, if that is known; each place brings `freedom` degrees of freedom.
fn one(
    what: What,
    error: &Estimate,
    one_place: Option<f64>,
    places: usize,
    freedom: usize,
) -> Move {
    let value = error.value.unwrap_or(0.0);
    let ends = error.lower.zip(error.upper);
    let known = ends.is_some_and(|(low, high)| (high - low) / 2.0 <= WANTED_M);
    let sure = ends.is_some_and(|(low, high)| low > 0.0 || high < 0.0);
    let verdict = match (sure, known) {
        (true, _) if value.abs() >= LEAST_MOVE_M => Verdict::Move,
        (_, true) => Verdict::Leave,
        _ => Verdict::Open,
    };
    let settles = |one_place: f64, n: usize| {
        student_factor((freedom * (n - 1)).max(1) as f64, 0.95) * one_place / (n as f64).sqrt()
            <= WANTED_M
    };
    let more = |one_place| ((places + 1).max(2)..=MOST_PLACES).find(|&n| settles(one_place, n));
    let wanted = one_place.and_then(more);
    Move {
        what,
        // Tools that stand to the left go to the right.
        by_m: -value,
        lower_m: error.upper.map(|upper| -upper),
        upper_m: error.lower.map(|lower| -lower),
        verdict,
        places_more: wanted
            .filter(|_| verdict == Verdict::Open)
            .map(|n| n - places),
    }
}
