//! The planned row line: its curvature and the bends that points ahead and behind see.

use std::sync::Arc;

/// One stretch of the line over which the curvature is linear in distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bend {
    /// Distance along the line where the stretch begins, m.
    pub start_m: f64,
    /// Length, m, at least 0.
    pub length_m: f64,
    /// Curvature at the beginning, 1/m, left bend positive.
    pub curvature_start_1_m: f64,
    /// Curvature at the end, 1/m, left bend positive.
    pub curvature_end_1_m: f64,
}

/// The planned row line as a chain of bends; straight before, between and after them.
///
/// Leaves out: torsion, height. The offset of a point that is carried a distance x from the axle is small against the
/// radius, so that the lateral distance of the line from its tangent is the double integral of the curvature.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    pieces: Arc<[Piece]>,
}

/// A stretch with its first and second integral of curvature at the start.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Piece {
    start_m: f64,
    curvature_1_m: f64,
    slope_1_m2: f64,
    heading_rad: f64,
    bend_m: f64,
}

impl Piece {
    fn curvature(&self, s_m: f64) -> f64 {
        self.curvature_1_m + self.slope_1_m2 * (s_m - self.start_m)
    }

    fn heading(&self, s_m: f64) -> f64 {
        // Closed form of a curvature linear in distance: small steps added up would drift over a long pass.
        let d = s_m - self.start_m;
        self.heading_rad + d * (self.curvature_1_m + d * self.slope_1_m2 / 2.0)
    }

    fn bend(&self, s_m: f64) -> f64 {
        let d = s_m - self.start_m;
        self.bend_m
            + d * (self.heading_rad + d * (self.curvature_1_m / 2.0 + d * self.slope_1_m2 / 6.0))
    }
}

impl Line {
    /// A straight line.
    pub fn straight() -> Self {
        Self::new(&[])
    }

    /// A line with these bends, in order of distance. A bend that starts before the one ahead of it ends is taken to start
    /// where that one ends.
    pub fn new(bends: &[Bend]) -> Self {
        let mut pieces = vec![Piece {
            start_m: 0.0,
            curvature_1_m: 0.0,
            slope_1_m2: 0.0,
            heading_rad: 0.0,
            bend_m: 0.0,
        }];
        for bend in bends.iter().filter(|bend| bend.length_m > 0.0) {
            let last = pieces[pieces.len() - 1];
            // The first bend may begin before 0, under warm-up and approach: the straight that stands at 0 must not push it there.
            let start_m = if pieces.len() == 1 {
                bend.start_m
            } else {
                bend.start_m.max(last.start_m)
            };
            let slope_1_m2 = (bend.curvature_end_1_m - bend.curvature_start_1_m) / bend.length_m;
            let begin = Piece {
                start_m,
                curvature_1_m: bend.curvature_start_1_m,
                slope_1_m2,
                heading_rad: last.heading(start_m),
                bend_m: last.bend(start_m),
            };
            let end_m = start_m + bend.length_m;
            let end = Piece {
                start_m: end_m,
                curvature_1_m: 0.0,
                slope_1_m2: 0.0,
                heading_rad: begin.heading(end_m),
                bend_m: begin.bend(end_m),
            };
            // A straight of no length between two bends would pass for a change of curvature.
            if last.start_m == start_m {
                pieces.pop();
            }
            pieces.push(begin);
            pieces.push(end);
        }
        Self {
            pieces: pieces.into(),
        }
    }

    /// The same line with every curvature times a factor.
    pub fn bent_by(&self, factor: f64) -> Self {
        let pieces = self.pieces.iter().map(|piece| Piece {
            start_m: piece.start_m,
            curvature_1_m: factor * piece.curvature_1_m,
            slope_1_m2: factor * piece.slope_1_m2,
            heading_rad: factor * piece.heading_rad,
            bend_m: factor * piece.bend_m,
        });
        Self {
            pieces: pieces.collect(),
        }
    }

    /// True if the line has no bend at all.
    pub fn is_straight(&self) -> bool {
        self.pieces.len() == 1
    }

    /// The one curvature that the line has all the way between two distances, 1/m, if it has only one (0 if straight).
    pub fn constant_curvature_1_m(&self, from_m: f64, to_m: f64) -> Option<f64> {
        let curvature_1_m = self.curvature_1_m(from_m);
        let changes = self
            .pieces
            .iter()
            .filter(|piece| piece.start_m > from_m && piece.start_m < to_m)
            .any(|piece| piece.curvature_1_m != curvature_1_m || piece.slope_1_m2 != 0.0);
        // Equal curvatures at both ends do not make an arc: it may rise and fall between them.
        let bent = !self.is_straight() && self.piece(from_m).slope_1_m2 != 0.0;
        (!changes && !bent).then_some(curvature_1_m)
    }

    fn piece(&self, s_m: f64) -> &Piece {
        let after = self.pieces.partition_point(|piece| piece.start_m <= s_m);
        &self.pieces[after.saturating_sub(1)]
    }

    /// Curvature at a distance along the line, 1/m, left bend positive.
    pub fn curvature_1_m(&self, s_m: f64) -> f64 {
        if self.is_straight() {
            0.0
        } else {
            self.piece(s_m).curvature(s_m)
        }
    }

    /// How far the line at `x_m` behind stands to the left of its tangent at `s_m`:
    /// the integral of `(x - u) k(s - u)` over u from 0 to x; on an arc `k x²/2`. Negative `x_m` looks ahead.
    pub fn bend_behind_m(&self, s_m: f64, x_m: f64) -> f64 {
        if self.is_straight() {
            return 0.0;
        }
        let here = self.piece(s_m);
        let there = self.piece(s_m - x_m);
        // Counted from the line's beginning; taken from the tangent at s_m, its place and heading there go off.
        there.bend(s_m - x_m) - here.bend(s_m) + x_m * here.heading(s_m)
    }

    /// How far the line at `d_m` ahead stands to the left of its tangent at `s_m`.
    pub fn bend_ahead_m(&self, s_m: f64, d_m: f64) -> f64 {
        self.bend_behind_m(s_m, -d_m)
    }

    /// Heading of the line relative to its beginning, rad.
    pub fn heading_rad(&self, s_m: f64) -> f64 {
        if self.is_straight() {
            0.0
        } else {
            self.piece(s_m).heading(s_m)
        }
    }

    /// Sharpest curvature of the line, 1/m, unsigned.
    pub fn sharpest_1_m(&self) -> f64 {
        // Linear in every stretch, so that the sharpest place is an end of one.
        let ends = self
            .pieces
            .windows(2)
            .map(|pair| pair[0].curvature(pair[1].start_m).abs());
        self.pieces
            .iter()
            .map(|piece| piece.curvature_1_m.abs())
            .chain(ends)
            .fold(0.0, f64::max)
    }
}
