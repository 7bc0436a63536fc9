//! Scales, ticks and paths.

use super::super::display::trimmed;
use maud::{Markup, html};

/// Maps values onto px along one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Value at `from_px`.
    pub low: f64,
    /// Value at `to_px`.
    pub high: f64,
    /// Px of `low`.
    pub from_px: f64,
    /// Px of `high`.
    pub to_px: f64,
    /// Logarithmic.
    pub log: bool,
}

impl Scale {
    /// A linear scale; an empty range is widened.
    pub fn linear(low: f64, high: f64, from_px: f64, to_px: f64) -> Scale {
        let high = if high > low { high } else { low + 1.0 };
        Scale {
            low,
            high,
            from_px,
            to_px,
            log: false,
        }
    }

    /// A logarithmic scale over positive values.
    pub fn log(low: f64, high: f64, from_px: f64, to_px: f64) -> Scale {
        Scale {
            low,
            high,
            from_px,
            to_px,
            log: true,
        }
    }

    /// Where a value stands; values outside stand at the border.
    pub fn px(&self, value: f64) -> f64 {
        let share = if self.log {
            (value.max(self.low) / self.low).ln() / (self.high / self.low).ln()
        } else {
            (value - self.low) / (self.high - self.low)
        };
        self.from_px + share.clamp(0.0, 1.0) * (self.to_px - self.from_px)
    }

    /// Round values on a linear scale, at most `most` of them.
    pub fn ticks(&self, most: usize) -> Vec<f64> {
        let rough = (self.high - self.low) / most.max(1) as f64;
        let decade = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .map(|factor| factor * decade)
            .find(|step| *step >= rough * (1.0 - 1e-9))
            .unwrap_or(10.0 * decade);
        let first = (self.low / step - 1e-9).ceil() as i64;
        let last = (self.high / step + 1e-9).floor() as i64;
        (first..=last).map(|i| i as f64 * step).collect()
    }

    /// Powers of ten on a logarithmic scale.
    pub fn decades(&self) -> Vec<f64> {
        let first = (self.low.log10() - 1e-9).ceil() as i32;
        let last = (self.high.log10() + 1e-9).floor() as i32;
        (first..=last).map(|power| 10f64.powi(power)).collect()
    }
}

/// A coordinate to a tenth of a px.
pub fn px(value: f64) -> String {
    trimmed(value, 1)
}

/// An open path through points.
pub fn path(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut out = String::new();
    let mut last = None;
    for (x, y) in points {
        let point = (px(x), px(y));
        if last.as_ref() == Some(&point) {
            continue;
        }
        out.push(match last {
            None => 'M',
            Some(_) => 'L',
        });
        out.push_str(&point.0);
        out.push(' ');
        out.push_str(&point.1);
        last = Some(point);
    }
    out
}

/// A closed path through points.
pub fn closed(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    path(points) + "Z"
}

/// Bottom axis: ticks, their texts and the axis title below.
pub fn bottom(
    scale: &Scale,
    y_px: f64,
    ticks: &[f64],
    text: impl Fn(f64) -> String,
    title: &str,
) -> Markup {
    html! {
        path class="axis" d=(path([(scale.from_px, y_px), (scale.to_px, y_px)])) {}
        @for tick in ticks {
            @let x = scale.px(*tick);
            path class="axis" d=(path([(x, y_px), (x, y_px + 4.0)])) {}
            text class="mid" x=(px(x)) y=(px(y_px + 18.0)) { (text(*tick)) }
        }
        text class="mid" x=(px(0.5 * (scale.from_px + scale.to_px))) y=(px(y_px + 36.0)) { (title) }
    }
}

/// Left axis: grid lines to the right, tick texts to the left.
pub fn left(
    scale: &Scale,
    x_px: f64,
    right_px: f64,
    ticks: &[f64],
    text: impl Fn(f64) -> String,
) -> Markup {
    html! {
        @for tick in ticks {
            @let y = scale.px(*tick);
            path class="grid" d=(path([(x_px, y), (right_px, y)])) {}
            text class="end" x=(px(x_px - 6.0)) y=(px(y + 4.5)) { (text(*tick)) }
        }
        path class="axis" d=(path([(x_px, scale.from_px), (x_px, scale.to_px)])) {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_scales_map_their_ends_and_their_middle() {
        let linear = Scale::linear(2.0, 6.0, 100.0, 300.0);
        assert_eq!(
            [
                linear.px(2.0),
                linear.px(4.0),
                linear.px(6.0),
                linear.px(9.0)
            ],
            [100.0, 200.0, 300.0, 300.0]
        );
        let log = Scale::log(1e-4, 1.0, 400.0, 0.0);
        assert!((log.px(1e-2) - 200.0).abs() < 1e-9);
        assert_eq!(log.px(0.0), 400.0);
        assert_eq!(log.decades().len(), 5);
    }

    #[test]
    fn prop_ticks_are_round_few_and_inside() {
        for (low, high) in [(0.0, 1.0), (-103.0, 87.0), (2.9, 13.6), (0.02, 0.075)] {
            let scale = Scale::linear(low, high, 0.0, 1.0);
            let ticks = scale.ticks(6);
            assert!((2..=7).contains(&ticks.len()), "{ticks:?}");
            assert!(ticks.iter().all(|t| *t >= low - 1e-9 && *t <= high + 1e-9));
        }
    }

    #[test]
    fn analytic_paths_leave_out_points_that_fall_together() {
        assert_eq!(path([(0.0, 0.0), (0.01, 0.0), (1.26, 3.0)]), "M0 0L1.3 3");
    }
}
