//! Planned lines taken off the fixes of a pass: straight, an arc, or given.

use super::log::Fix;

/// A line and the fixes along it.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Distances along the line, m.
    pub along_m: Vec<f64>,
    /// Offsets, left positive, m.
    pub offsets_m: Vec<f64>,
    /// Columns of the trend that the fit of the line may have taken off: height, slope, bend.
    pub columns: usize,
    /// How far the middle stands off the chord, left positive, m.
    pub sagitta_m: f64,
    /// Radius, m, left bends positive.
    pub radius_m: Option<f64>,
}

/// A straight line by least squares.
pub fn straight(fixes: &[Fix]) -> Line {
    let n = fixes.len() as f64;
    let [mx, my] = [
        fixes.iter().map(|fix| fix.x_m).sum::<f64>() / n,
        fixes.iter().map(|fix| fix.y_m).sum::<f64>() / n,
    ];
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for fix in fixes {
        let (x, y) = (fix.x_m - mx, fix.y_m - my);
        xx += x * x;
        xy += x * y;
        yy += y * y;
    }
    let mut axis = libm::atan2(2.0 * xy, xx - yy) / 2.0;
    let (first, last) = (&fixes[0], &fixes[fixes.len() - 1]);
    if (last.x_m - first.x_m) * libm::cos(axis) + (last.y_m - first.y_m) * libm::sin(axis) < 0.0 {
        axis += core::f64::consts::PI;
    }
    let (cos, sin) = (libm::cos(axis), libm::sin(axis));
    let along_m: Vec<f64> = fixes
        .iter()
        .map(|fix| (fix.x_m - mx) * cos + (fix.y_m - my) * sin)
        .collect();
    let offsets_m: Vec<f64> = fixes
        .iter()
        .map(|fix| (fix.y_m - my) * cos - (fix.x_m - mx) * sin)
        .collect();
    let sagitta_m = sagitta_m(&along_m, &offsets_m);
    Line {
        along_m,
        offsets_m,
        columns: 2,
        sagitta_m,
        radius_m: None,
    }
}

/// Middle of the least-squares parabola over its ends.
fn sagitta_m(along_m: &[f64], offsets_m: &[f64]) -> f64 {
    let half = along_m.iter().fold(1e-9_f64, |most, at| most.max(at.abs()));
    // About the mean of u², which is all but orthogonal to height and slope on even points.
    let squares: Vec<f64> = along_m.iter().map(|at| (at / half) * (at / half)).collect();
    let mean = squares.iter().sum::<f64>() / squares.len() as f64;
    let top: f64 = squares
        .iter()
        .zip(offsets_m)
        .map(|(square, offset)| (square - mean) * offset)
        .sum();
    let bottom: f64 = squares
        .iter()
        .map(|square| (square - mean) * (square - mean))
        .sum();
    -top / bottom.max(1e-12)
}

/// An arc: a circle by Kåsa's least squares about the straight line; what its bias leaves is a parabola, which the trend takes off.
pub fn arc(fixes: &[Fix]) -> Line {
    let line = straight(fixes);
    let scale = line
        .along_m
        .iter()
        .fold(1e-9_f64, |most, at| most.max(at.abs()));
    // u² + v² = 2 a u + 2 b v + c, in units of half the length.
    let mut matrix = [[0.0; 4]; 3];
    for (along, offset) in line.along_m.iter().zip(&line.offsets_m) {
        let (u, v) = (along / scale, offset / scale);
        let row = [2.0 * u, 2.0 * v, 1.0];
        for i in 0..3 {
            for j in 0..3 {
                matrix[i][j] += row[i] * row[j];
            }
            matrix[i][3] += row[i] * (u * u + v * v);
        }
    }
    let Some([a, b, c]) = solved(matrix) else {
        return Line { columns: 3, ..line };
    };
    let radius = (c + a * a + b * b).max(0.0).sqrt();
    // So flat that the centre is a guess: the parabola of the trend does as well.
    if !(radius.is_finite() && radius < 1e4) {
        return Line { columns: 3, ..line };
    }
    let side = if b > 0.0 { 1.0 } else { -1.0 };
    let (mut along_m, mut offsets_m) = (Vec::new(), Vec::new());
    for (along, offset) in line.along_m.iter().zip(&line.offsets_m) {
        let (u, v) = (along / scale - a, side * (b - offset / scale));
        along_m.push(scale * radius * libm::atan2(u, v));
        offsets_m.push(scale * side * (radius - libm::hypot(u, v)));
    }
    Line {
        along_m,
        offsets_m,
        columns: 3,
        radius_m: Some(side * radius * scale),
        ..line
    }
}

/// Solves three equations by elimination with the largest pivot.
fn solved(mut m: [[f64; 4]; 3]) -> Option<[f64; 3]> {
    for i in 0..3 {
        let pivot = (i..3).max_by(|a, b| m[*a][i].abs().total_cmp(&m[*b][i].abs()))?;
        m.swap(i, pivot);
        if m[i][i].abs() < 1e-12 {
            return None;
        }
        for j in 0..3 {
            if j != i {
                let share = m[j][i] / m[i][i];
                let pivot = m[i];
                for (x, over) in m[j].iter_mut().zip(pivot).skip(i) {
                    *x -= share * over;
                }
            }
        }
    }
    Some([m[0][3] / m[0][0], m[1][3] / m[1][1], m[2][3] / m[2][2]])
}

/// The nearest of some given chains of points.
pub fn given(fixes: &[Fix], lines: &[Vec<[f64; 2]>]) -> Line {
    let middle = &fixes[fixes.len() / 2];
    let distance = |line: &&Vec<[f64; 2]>| {
        nearest(line, [middle.x_m, middle.y_m]).map_or(f64::INFINITY, |near| near[1].abs())
    };
    let Some(line) = lines
        .iter()
        .min_by(|a, b| distance(a).total_cmp(&distance(b)))
    else {
        return straight(fixes);
    };
    let placed: Option<Vec<[f64; 2]>> = fixes
        .iter()
        .map(|fix| nearest(line, [fix.x_m, fix.y_m]))
        .collect();
    let Some(mut placed) = placed else {
        return straight(fixes);
    };
    // Driven against the line: distances and sides turn round.
    if placed[placed.len() - 1][0] < placed[0][0] {
        placed
            .iter_mut()
            .for_each(|place| *place = [-place[0], -place[1]]);
    }
    Line {
        along_m: placed.iter().map(|place| place[0]).collect(),
        offsets_m: placed.iter().map(|place| place[1]).collect(),
        columns: 1,
        sagitta_m: 0.0,
        radius_m: None,
    }
}

/// Distance along a chain of points and offset from it, left positive, at the nearest place; its ends are straight on.
fn nearest(line: &[[f64; 2]], [x, y]: [f64; 2]) -> Option<[f64; 2]> {
    let mut best: Option<(f64, [f64; 2])> = None;
    let mut start_m = 0.0;
    let last = line.len().checked_sub(2)?;
    for (i, pair) in line.windows(2).enumerate() {
        let (dx, dy) = (pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]);
        let length_m = libm::hypot(dx, dy);
        if length_m < 1e-9 {
            continue;
        }
        let (px, py) = (x - pair[0][0], y - pair[0][1]);
        let free_m = (px * dx + py * dy) / length_m;
        let low = if i == 0 { f64::NEG_INFINITY } else { 0.0 };
        let high = if i == last { f64::INFINITY } else { length_m };
        let along_m = free_m.clamp(low, high);
        let left_m = (py * dx - px * dy) / length_m;
        let away_m = libm::hypot(left_m, free_m - along_m);
        if best.is_none_or(|(least, _)| away_m < least) {
            best = Some((
                away_m,
                [
                    start_m + along_m,
                    if left_m < 0.0 { -away_m } else { away_m },
                ],
            ));
        }
        start_m += length_m;
    }
    best.map(|(_, place)| place)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fix(x_m: f64, y_m: f64) -> Fix {
        Fix {
            x_m,
            y_m,
            time_s: None,
            quality: None,
            roll_rad: None,
            part: Some(1),
        }
    }

    /// Points of an arc of 100 m, 0.1 m to its left: a left bend stands nearer to the centre there.
    #[test]
    fn analytic_an_arc_and_a_given_line_keep_their_offsets() {
        for side in [1.0, -1.0] {
            let on = |radius: f64, angle: f64| {
                [
                    radius * libm::sin(angle),
                    side * (100.0 - radius * libm::cos(angle)),
                ]
            };
            let wavy: Vec<Fix> = (0..200)
                .map(|i| {
                    let angle = 0.005 * f64::from(i);
                    let [x, y] = on(100.0 - 0.1 * side * libm::sin(20.0 * angle), angle);
                    fix(x, y)
                })
                .collect();
            let line = arc(&wavy);
            assert!(
                (line.radius_m.unwrap() / side / 100.0 - 1.0).abs() < 0.01,
                "{:?}",
                line.radius_m
            );
            let planned: Vec<[f64; 2]> = (-10..1100)
                .map(|i| on(100.0, 0.001 * f64::from(i)))
                .collect();
            let told = given(&wavy, &[planned]);
            for (i, offset_m) in told.offsets_m.iter().enumerate() {
                let want = 0.1 * libm::sin(0.1 * i as f64);
                // Chords of 0.1 m stand 0.01 mm inside the arc.
                assert!((offset_m - want).abs() < 5e-5, "{i} {offset_m} {want}");
            }
        }
    }
}
