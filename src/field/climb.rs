//! The highest point of a smooth function in a box, and how far one coordinate may go before it falls by so much.

/// Largest step of a coordinate in one go.
const LONGEST_STEP: f64 = 1.0;

/// Step of the differences that stand for slopes.
const SLOPE_STEP: f64 = 1e-4;

/// Rounds at most.
const ROUNDS: usize = 60;

/// A function of a few coordinates, to be made large.
pub struct Hill<'a> {
    /// The function.
    pub height: &'a dyn Fn(&[f64]) -> f64,
    /// Least and greatest value of each coordinate.
    pub bounds: &'a [[f64; 2]],
}

/// A place on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Top {
    /// Coordinates.
    pub at: Vec<f64>,
    /// The function there.
    pub height: f64,
}

impl Hill<'_> {
    /// The top near `start`, by the quasi-Newton steps of Broyden, Fletcher, Goldfarb and Shanno kept inside the box. The coordinate
    /// `held` stays.
    pub fn top(&self, start: &[f64], held: Option<usize>) -> Top {
        let free: Vec<usize> = (0..start.len()).filter(|&i| Some(i) != held).collect();
        let mut at = start.to_vec();
        self.clamp(&mut at);
        let mut height = (self.height)(&at);
        let n = free.len();
        let mut inverse = identity(n, 0.1);
        let mut slope = self.slope(&at, &free);
        for round in 0..ROUNDS {
            let way = self.way(&at, &free, &inverse, &slope);
            let rise: f64 = way.iter().zip(&slope).map(|(w, s)| w * s).sum();
            if !rise.is_finite() || rise < 1e-7 {
                break;
            }
            let Some((next, reached)) = self.along(&at, height, &free, &way, rise) else {
                // The curvature was wrong: once more from the plain slope, and that is it.
                if round > 0 && inverse != identity(n, 0.01) {
                    inverse = identity(n, 0.01);
                    continue;
                }
                break;
            };
            let next_slope = self.slope(&next, &free);
            let gained = reached - height;
            let moved: Vec<f64> = free.iter().map(|&i| next[i] - at[i]).collect();
            let turned: Vec<f64> = slope.iter().zip(&next_slope).map(|(a, b)| a - b).collect();
            bend(&mut inverse, &moved, &turned);
            (at, height, slope) = (next, reached, next_slope);
            if gained < 1e-7 {
                break;
            }
        }
        Top { at, height }
    }

    fn clamp(&self, at: &mut [f64]) {
        for (x, [least, most]) in at.iter_mut().zip(self.bounds) {
            *x = x.clamp(*least, *most);
        }
    }

    fn slope(&self, at: &[f64], free: &[usize]) -> Vec<f64> {
        let mut beside = at.to_vec();
        let mut slopes = Vec::with_capacity(free.len());
        for &i in free {
            beside[i] = at[i] + SLOPE_STEP;
            let up = (self.height)(&beside);
            beside[i] = at[i] - SLOPE_STEP;
            let down = (self.height)(&beside);
            beside[i] = at[i];
            let slope = (up - down) / (2.0 * SLOPE_STEP);
            // At the border what leads out of the box is no way up.
            let [least, most] = self.bounds[i];
            let out = (at[i] >= most && slope > 0.0) || (at[i] <= least && slope < 0.0);
            slopes.push(if out || !slope.is_finite() {
                0.0
            } else {
                slope
            });
        }
        slopes
    }

    fn way(&self, at: &[f64], free: &[usize], inverse: &[Vec<f64>], slope: &[f64]) -> Vec<f64> {
        let mut way: Vec<f64> = inverse
            .iter()
            .map(|row| row.iter().zip(slope).map(|(a, b)| a * b).sum())
            .collect();
        for (way, &i) in way.iter_mut().zip(free) {
            let [least, most] = self.bounds[i];
            if (at[i] >= most && *way > 0.0) || (at[i] <= least && *way < 0.0) {
                *way = 0.0;
            }
        }
        let longest = way.iter().fold(0.0_f64, |m, w| m.max(w.abs()));
        if longest > LONGEST_STEP {
            way.iter_mut().for_each(|w| *w *= LONGEST_STEP / longest);
        }
        way
    }

    /// Halves the step until the function rises.
    fn along(
        &self,
        at: &[f64],
        height: f64,
        free: &[usize],
        way: &[f64],
        rise: f64,
    ) -> Option<(Vec<f64>, f64)> {
        let mut share = 1.0;
        for _ in 0..14 {
            let mut next = at.to_vec();
            for (way, &i) in way.iter().zip(free) {
                next[i] += share * way;
            }
            self.clamp(&mut next);
            let reached = (self.height)(&next);
            if reached > height + 1e-4 * share * rise {
                return Some((next, reached));
            }
            share *= 0.4;
        }
        None
    }

    /// How far coordinate `which` may go either way from the top, all others following, until the function has fallen by `fall`; `None`
    /// where the border of the box comes first.
    pub fn limits(&self, top: &Top, which: usize, fall: f64) -> [Option<f64>; 2] {
        [-1.0, 1.0].map(|side| self.limit(top, which, fall, side))
    }

    fn limit(&self, top: &Top, which: usize, fall: f64, side: f64) -> Option<f64> {
        let border = self.bounds[which][usize::from(side > 0.0)];
        let (mut near, mut near_at) = (0.0, top.clone());
        let mut step: f64 = 0.2;
        let mut far = None;
        // Outwards until it has fallen too far.
        for _ in 0..12 {
            let wanted = top.at[which] + side * (near + step);
            let x = if side * (wanted - border) >= 0.0 {
                border
            } else {
                wanted
            };
            let there = self.held_at(&near_at, which, x);
            let fallen = (top.height - there.height).max(0.0);
            if fallen >= fall {
                far = Some((side * (x - top.at[which]), fallen));
                break;
            }
            if x == border {
                return None;
            }
            near = side * (x - top.at[which]);
            // A bell falls with the square of the way: aim a little beyond.
            let aim = if fallen > 0.01 * fall {
                near * ((fall / fallen).sqrt() * 1.1 - 1.0)
            } else {
                2.0 * step
            };
            step = aim.clamp(0.02, 2.0 * step.max(0.1));
            near_at = there;
        }
        let (mut far, mut far_fallen) = far?;
        let mut near_fallen = (top.height - near_at.height).max(0.0);
        for _ in 0..8 {
            // The root of the fall runs straight.
            let (low, high) = (near_fallen.sqrt(), far_fallen.sqrt());
            let share = ((fall.sqrt() - low) / (high - low).max(1e-12)).clamp(0.05, 0.95);
            let way = near + share * (far - near);
            let there = self.held_at(&near_at, which, top.at[which] + side * way);
            let fallen = (top.height - there.height).max(0.0);
            if (fallen - fall).abs() < 0.01 * fall {
                return Some(top.at[which] + side * way);
            }
            if fallen > fall {
                (far, far_fallen) = (way, fallen);
            } else {
                (near, near_fallen, near_at) = (way, fallen, there);
            }
            if far - near < 1e-3 {
                break;
            }
        }
        Some(top.at[which] + side * (near + far) / 2.0)
    }

    /// The top where one coordinate is held at `x`.
    pub fn held_at(&self, from: &Top, which: usize, x: f64) -> Top {
        let mut start = from.at.clone();
        start[which] = x;
        self.top(&start, Some(which))
    }
}

fn identity(n: usize, size: f64) -> Vec<Vec<f64>> {
    let row = |i| (0..n).map(|j| if i == j { size } else { 0.0 }).collect();
    (0..n).map(row).collect()
}

/// What a step tells of the curvature.
fn bend(inverse: &mut [Vec<f64>], moved: &[f64], turned: &[f64]) {
    let n = moved.len();
    let along: f64 = moved.iter().zip(turned).map(|(a, b)| a * b).sum();
    if along <= 1e-12 {
        return;
    }
    let times: Vec<f64> = (0..n)
        .map(|i| (0..n).map(|j| inverse[i][j] * turned[j]).sum())
        .collect();
    let again: f64 = times.iter().zip(turned).map(|(a, b)| a * b).sum();
    for i in 0..n {
        for j in 0..n {
            inverse[i][j] += (1.0 + again / along) * moved[i] * moved[j] / along
                - (times[i] * moved[j] + moved[i] * times[j]) / along;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A bell with correlated coordinates: top and profile limits in closed form.
    #[test]
    fn analytic_top_and_limits_of_a_bell() {
        let height = |x: &[f64]| {
            let (a, b) = (x[0] - 1.0, x[1] + 0.5);
            -0.5 * (a * a - 1.2 * a * b + b * b) / (1.0 - 0.36)
        };
        let hill = Hill {
            height: &height,
            bounds: &[[-5.0, 5.0], [-5.0, 0.8]],
        };
        let top = hill.top(&[-2.0, 0.5], None);
        assert!((top.at[0] - 1.0).abs() < 1e-3 && (top.at[1] + 0.5).abs() < 1e-3);
        let [low, high] = hill.limits(&top, 0, 0.5 * 1.96 * 1.96);
        assert!((low.unwrap() + 0.96).abs() < 0.02, "{low:?}");
        // The other coordinate meets its border at 0.8 only beyond this limit.
        assert!((high.unwrap() - 2.96).abs() < 0.02, "{high:?}");
        assert_eq!(hill.limits(&top, 1, 0.5 * 1.96 * 1.96)[1], None);
    }
}
