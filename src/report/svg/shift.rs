//! Shift and demand over distance.

use super::axes::{Scale, bottom, left, path, px};
use super::{Picture, controller_class, trace_title};
use crate::report::display::{Units, trimmed};
use crate::sim::trace::{Fate, Sample, Trace};
use maud::html;

const WIDTH_PX: f64 = 860.0;
const HEIGHT_PX: f64 = 300.0;

/// Slices across the picture; each keeps its least and its greatest value.
const SLICES: usize = 240;

/// The picture of one pass.
pub fn picture(name: &str, units: Units, trace: &Trace) -> Picture {
    let samples = &trace.samples;
    let from = samples.first().map_or(0.0, |sample| sample.station_m);
    let to = samples.last().map_or(1.0, |sample| sample.station_m);
    let reach = samples
        .iter()
        .map(|sample| sample.wanted_shift_m.abs())
        .fold(1.15 * trace.half_stroke_m, f64::max);
    let x = Scale::linear(
        units.distance(from),
        units.distance(to),
        64.0,
        WIDTH_PX - 84.0,
    );
    let y = Scale::linear(-units.small(reach), units.small(reach), 252.0, 34.0);
    let along = |station_m: f64| x.px(units.distance(station_m));
    let across = |shift_m: f64| y.px(units.small(shift_m));
    let line = |value: fn(&Sample) -> f64| {
        path(
            thinned(samples, value)
                .into_iter()
                .map(|(station_m, shift_m)| (along(station_m), across(shift_m))),
        )
    };
    let title = format!("{}: shift and demand", trace_title(units, trace));
    let struck: String = trace
        .plants
        .iter()
        .filter(|plant| plant.fate != Fate::Spared)
        .map(|plant| format!("M{} {}v-8", px(along(plant.station_m)), px(y.from_px - 1.0)))
        .collect();
    let entry = along(trace.entry_length_m);
    let body = html! {
        text class="head" x=(px(x.from_px)) y="18" { (title) }
        (left(&y, x.from_px, x.to_px, &y.ticks(6), |v| trimmed(v, 2)))
        @for (start, end) in blind(samples) {
            rect class="blind" x=(px(along(start))) y=(px(y.to_px)) width=(px((along(end) - along(start)).max(0.5))) height=(px(y.from_px - y.to_px)) {}
        }
        @for side in [-1.0, 1.0] {
            @let limit = across(side * trace.half_stroke_m);
            path class="rule" d=(path([(x.from_px, limit), (x.to_px, limit)])) {}
            text class="small" x=(px(x.to_px + 6.0)) y=(px(limit + 4.0)) { "stroke ends" }
        }
        path class="thin" d=(path([(entry, y.from_px), (entry, y.to_px)])) {}
        path class={ "line " (controller_class(trace.kind.name())) } d=(line(|sample| sample.shift_m)) {}
        path class="wanted" d=(line(|sample| sample.wanted_shift_m)) {}
        @if let Some(last) = samples.last() {
            @let (wanted, shift) = (across(last.wanted_shift_m), across(last.shift_m));
            @let apart = if (wanted - shift).abs() < 15.0 { 7.5 - 0.5 * (wanted - shift).abs() } else { 0.0 };
            @let up = if wanted <= shift { -apart } else { apart };
            text class="small" x=(px(x.to_px + 6.0)) y=(px(wanted + up + 4.0)) { "wanted" }
            text class="small" x=(px(x.to_px + 6.0)) y=(px(shift - up + 4.0)) { "shift" }
        }
        path class="struck" d=(struck) {}
        (bottom(&x, y.from_px, &x.ticks(10), |s| trimmed(s, 1), &format!("distance along the row, {}", units.distance_unit())))
        text class="mid" transform=(format!("translate(14 {}) rotate(-90)", px(0.5 * (y.from_px + y.to_px)))) {
            "to the left, " (units.small_unit())
        }
    };
    Picture {
        name: name.to_owned(),
        title,
        note: format!("Pass {} of seed {}.", trace.pass, trace.seed),
        reading: format!(
            "Thin line: the shift that would put the tools on the row. Thick line: the shift of the frame. Dashed: the ends of the \
             stroke. Grey: the camera finds no row. Orange ticks: struck plants. What lies left of the dotted line, {} long, is the \
             entry stretch, which is counted apart.",
            units.distance_text(trace.entry_length_m)
        ),
        width: WIDTH_PX,
        height: HEIGHT_PX,
        body,
    }
}

/// Least and greatest value of every slice, in the order in which they come.
fn thinned(samples: &[Sample], value: fn(&Sample) -> f64) -> Vec<(f64, f64)> {
    let size = samples.len().div_ceil(SLICES).max(1);
    samples
        .chunks(size)
        .flat_map(|slice| {
            let by_value = |a: &&Sample, b: &&Sample| value(a).total_cmp(&value(b));
            let least = slice.iter().min_by(by_value);
            let most = slice.iter().max_by(by_value);
            let mut ends: Vec<(f64, f64)> = least
                .into_iter()
                .chain(most)
                .map(|sample| (sample.station_m, value(sample)))
                .collect();
            ends.sort_by(|a, b| a.0.total_cmp(&b.0));
            ends
        })
        .collect()
}

/// Stretches in which the camera finds no row.
fn blind(samples: &[Sample]) -> Vec<(f64, f64)> {
    samples
        .chunk_by(|a, b| a.seen == b.seen)
        .filter(|stretch| !stretch[0].seen)
        .map(|stretch| (stretch[0].station_m, stretch[stretch.len() - 1].station_m))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_thinning_keeps_the_extremes() {
        let trace = &synthetic::traces()[2];
        let shift = |sample: &Sample| sample.shift_m;
        let thin = thinned(&trace.samples, shift);
        assert!(thin.len() <= 2 * SLICES);
        let most = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::MIN, f64::max);
        assert_eq!(
            most(&mut thin.iter().map(|point| point.1)),
            most(&mut trace.samples.iter().map(shift))
        );
        let blind = blind(&trace.samples);
        assert_eq!(blind.len(), 2);
        // One tick at 2.08 m/s and 5 ms is 10.4 mm.
        assert!((blind[0].0 - 60.0).abs() < 0.0105 && (blind[0].1 - 66.0).abs() < 0.0105);
    }
}
