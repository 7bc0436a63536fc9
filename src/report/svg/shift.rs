//! Shift and demand over distance.

use super::sheet::{Anchor, Frame, drawn, px, range};
use super::{Picture, controller_class, trace_title};
use crate::report::display::{Units, trimmed};
use crate::sim::trace::{Fate, Sample, Trace};
use plotters::prelude::*;

const WIDTH_PX: f64 = 860.0;
const HEIGHT_PX: f64 = 300.0;
const FRAME: Frame = Frame {
    left: 64.0,
    right: WIDTH_PX - 84.0,
    top: 34.0,
    bottom: 252.0,
};

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
    let reach = units.small(reach);
    let along = |station_m: f64| units.distance(station_m);
    let line = |value: fn(&Sample) -> f64| -> Vec<(f64, f64)> {
        thinned(samples, value)
            .into_iter()
            .map(|(station_m, shift_m)| (along(station_m), units.small(shift_m)))
            .collect()
    };
    let title = format!("{}: shift and demand", trace_title(units, trace));
    let body = drawn(WIDTH_PX, HEIGHT_PX, |sheet| {
        let stretch = range(along(from), along(to));
        let mut chart = sheet.chart(FRAME, stretch.clone(), range(-reach, reach))?;
        sheet
            .axes(&mut chart)
            .x_labels(11)
            .y_labels(7)
            .x_label_formatter(&|station| trimmed(*station, 1))
            .y_label_formatter(&|shift| trimmed(*shift, 2))
            .x_desc(format!("distance along the row, {}", units.distance_unit()))
            .y_desc(format!("to the left, {}", units.small_unit()))
            .draw()?;
        sheet.text("head", Anchor::Start, (FRAME.left, 13.0), &title)?;
        let half_stroke = units.small(trace.half_stroke_m);
        for limit in [-half_stroke, half_stroke] {
            let rule = [(stretch.start, limit), (stretch.end, limit)];
            chart.draw_series(LineSeries::new(rule, sheet.stroke("rule")))?;
        }
        chart.draw_series(blind(samples).into_iter().map(|(start, end)| {
            let corners = [(along(start), -reach), (along(end), reach)];
            Rectangle::new(corners, sheet.fill("blind"))
        }))?;
        let entry = along(trace.entry_length_m);
        let entry = [(entry, -reach), (entry, reach)];
        chart.draw_series(LineSeries::new(entry, sheet.stroke("thin")))?;
        let shift = sheet.stroke(&format!("line {}", controller_class(trace.kind)));
        chart.draw_series(LineSeries::new(line(|sample| sample.shift_m), shift))?;
        let wanted = sheet.stroke("wanted");
        chart.draw_series(LineSeries::new(
            line(|sample| sample.wanted_shift_m),
            wanted,
        ))?;
        let met = trace
            .plants
            .iter()
            .filter(|plant| plant.fate != Fate::Spared)
            .map(|plant| px(chart.backend_coord(&(along(plant.station_m), 0.0))).0);
        for x in apart(met) {
            let feet = FRAME.bottom - 1.0;
            sheet.line("touched", [(x, feet), (x, feet - 8.0)])?;
        }
        let beside = FRAME.right + 6.0;
        let height = |shift_m: f64| px(chart.backend_coord(&(0.0, units.small(shift_m)))).1;
        for side in [-1.0, 1.0] {
            let place = (beside, height(side * trace.half_stroke_m));
            sheet.text("small", Anchor::Start, place, "stroke ends")?;
        }
        if let Some(last) = samples.last() {
            let (wanted, shift) = (height(last.wanted_shift_m), height(last.shift_m));
            let apart = 0.5 * (15.0 - (wanted - shift).abs()).max(0.0);
            let up = if wanted <= shift { -apart } else { apart };
            sheet.text("small", Anchor::Start, (beside, wanted + up), "wanted")?;
            sheet.text("small", Anchor::Start, (beside, shift - up), "shift")?;
        }
        Ok(())
    });
    Picture {
        name: name.to_owned(),
        title,
        note: format!("Pass {} of seed {}.", trace.pass, trace.seed),
        reading: format!(
            "Thin line: the shift that would put the tools on the row. Thick line: the shift of the frame. Dashed: the ends of the \
             stroke. Grey: the camera finds no row. Orange ticks: plants cut or touched, one tick for those that stand close. What lies left of the dotted line, {} long, is the \
             entry stretch.",
            units.distance_text(trace.entry_length_m)
        ),
        width: WIDTH_PX,
        height: HEIGHT_PX,
        body,
    }
}

/// Places of ticks, px: of those that nobody could tell from one another, one.
fn apart(places: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut places: Vec<f64> = places.map(|x| x.round()).collect();
    places.sort_by(f64::total_cmp);
    places.dedup();
    places
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
    fn analytic_ticks_on_one_another_are_one() {
        let places = [7.2, 3.4, 3.1, 6.8, 9.0];
        assert_eq!(apart(places.into_iter()), [3.0, 7.0, 9.0]);
    }

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
