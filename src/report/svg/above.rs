//! A stretch of a pass from above, travelling up the page: plants, tool edges, strikes. The ground between rows is cut out
//! and sideways everything is enlarged; the picture says by how much.

use super::axes::{Scale, closed, left, path, px};
use super::{Picture, trace_title};
use crate::report::display::{Units, trimmed};
use crate::sim::trace::{Fate, Plant, Sample, Trace};
use maud::html;

const WIDTH_PX: f64 = 400.0;
const HEIGHT_PX: f64 = 490.0;
const TOP_PX: f64 = 56.0;
const BOTTOM_PX: f64 = 436.0;

/// Length of the stretch that is drawn, m.
const STRETCH_M: f64 = 14.0;

/// Rows that are drawn at most.
const ROWS: usize = 3;

/// Points along a line at most.
const POINTS: usize = 240;

/// What part of a pass is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// First station, m.
    pub from_m: f64,
    /// Last station, m.
    pub to_m: f64,
    /// Furthest that anything lies from the row's mean line, m.
    pub reach_m: f64,
}

impl Window {
    fn holds(&self, station_m: f64) -> bool {
        (self.from_m..=self.to_m).contains(&station_m)
    }

    fn samples(self, trace: &Trace) -> impl Iterator<Item = &Sample> {
        trace
            .samples
            .iter()
            .filter(move |sample| self.holds(sample.station_m))
    }

    fn plants(self, trace: &Trace) -> impl Iterator<Item = &Plant> {
        trace
            .plants
            .iter()
            .filter(move |plant| self.holds(plant.station_m))
    }
}

/// One window for all pictures of passes over the same ground, so that they compare.
pub fn window(traces: &[&Trace]) -> Window {
    let (from_m, to_m) = stretch(traces);
    let mut window = Window {
        from_m,
        to_m,
        reach_m: 0.0,
    };
    for trace in traces {
        let middle_m = middle(trace, window);
        let tools = window
            .samples(trace)
            .map(|sample| (sample.frame_m + sample.shift_m - middle_m).abs() + trace.clearance_m);
        let plants = window
            .plants(trace)
            .map(|plant| (plant.lateral_m - middle_m).abs());
        window.reach_m = tools
            .chain(plants)
            .fold(window.reach_m.max(2.0 * trace.clearance_m), f64::max);
    }
    window
}

/// Mean of the guided rows over the window, m.
fn middle(trace: &Trace, window: Window) -> f64 {
    let (sum, count) = window
        .samples(trace)
        .fold((0.0, 0u32), |(sum, count), sample| {
            (sum + sample.row_m, count + 1)
        });
    sum / f64::from(count.max(1))
}

/// The stretch to draw for passes over the same ground, as first and last station, m: the one with strikes under the most
/// controllers, guided ones first; without any, the one with the nearest miss.
fn stretch(traces: &[&Trace]) -> (f64, f64) {
    let Some(first) = traces.first() else {
        return (0.0, STRETCH_M);
    };
    let from = first.entry_length_m;
    let to = traces
        .iter()
        .filter_map(|trace| trace.samples.last())
        .map(|sample| sample.station_m)
        .fold(f64::INFINITY, f64::min)
        .max(from + 1.0);
    let length = STRETCH_M.min(to - from);
    let around = |station_m: f64| {
        let start = (station_m - 0.5 * length).clamp(from, to - length);
        (start, start + length)
    };
    let weight = |trace: &Trace| {
        if trace.kind.name() == "locked" {
            1.0
        } else {
            10.0
        }
    };
    let score = |(start, end): (f64, f64)| -> f64 {
        traces
            .iter()
            .map(|trace| {
                let inside = || {
                    trace
                        .plants
                        .iter()
                        .filter(|p| (start..=end).contains(&p.station_m))
                };
                let struck = inside().filter(|p| p.fate != Fate::Spared).count().min(5);
                let nearest = inside()
                    .filter_map(|p| p.needed_clearance_m)
                    .fold(0.0, f64::max)
                    .min(1.0);
                weight(trace) * (if struck > 0 { 10.0 } else { 0.0 } + struck as f64 + nearest)
            })
            .sum()
    };
    let starts = (0..).map(|i| from + 0.25 * length * f64::from(i));
    starts
        .take_while(|start| *start < to)
        .map(|start| around(start + 0.5 * length))
        .max_by(|a, b| score(*a).total_cmp(&score(*b)).then(b.0.total_cmp(&a.0)))
        .unwrap_or((from, from + length))
}

/// The picture of one pass.
pub fn picture(name: &str, units: Units, trace: &Trace, window: Window) -> Picture {
    let (from, to) = (window.from_m, window.to_m);
    let samples: Vec<&Sample> = window.samples(trace).collect();
    let step = samples.len().div_ceil(POINTS).max(1);
    let samples: Vec<&Sample> = samples.into_iter().step_by(step).collect();
    let plants: Vec<&Plant> = window.plants(trace).collect();
    let rows = shown_rows(trace.row_offset_m.len(), &plants);
    let middle = middle(trace, window);
    let tool = |sample: &Sample| sample.frame_m + sample.shift_m - middle;
    let half_m = 1.08 * window.reach_m;
    let y = Scale::linear(units.distance(from), units.distance(to), BOTTOM_PX, TOP_PX);
    let along = |station_m: f64| y.px(units.distance(station_m));
    let (left_px, right_px) = (52.0, WIDTH_PX - 20.0);
    let lane_px = (right_px - left_px) / rows.len().max(1) as f64;
    let half_px = 0.5 * lane_px - 4.0;
    let px_per_m = half_px / half_m;
    let enlarged = px_per_m / ((BOTTOM_PX - TOP_PX) / (to - from));
    let across = move |lane: usize, lateral_m: f64| {
        left_px + (lane as f64 + 0.5) * lane_px - (lateral_m * px_per_m).clamp(-half_px, half_px)
    };
    let edge = |lane: usize, side: f64| -> Vec<(f64, f64)> {
        samples
            .iter()
            .map(|sample| {
                (
                    across(lane, tool(sample) + side * trace.clearance_m),
                    along(sample.station_m),
                )
            })
            .collect()
    };
    let soil = |lane: usize, side: f64| {
        let border = across(lane, side * half_m);
        let ends = samples
            .last()
            .into_iter()
            .chain(samples.first())
            .map(|sample| (border, along(sample.station_m)));
        closed(edge(lane, side).into_iter().chain(ends))
    };
    let bar_m = round_length(0.6 * half_m, units);
    let (hit, gone) = (count(&plants, Fate::Struck), count(&plants, Fate::Cut));
    let title = trace_title(units, trace);
    let body = html! {
        text class="head" x="8" y="18" { (title) }
        (left(&y, left_px, left_px, &y.ticks(8), |s| trimmed(s, 1)))
        text class="mid" transform=(format!("translate(14 {}) rotate(-90)", px(0.5 * (TOP_PX + BOTTOM_PX)))) {
            "distance, " (units.distance_unit()) " \u{2192} travel"
        }
        @for (lane, row) in rows.iter().enumerate() {
            text class="small mid" x=(px(across(lane, 0.0))) y="44" { "row " (row + 1) " of " (trace.row_offset_m.len()) }
            @for side in [-1.0, 1.0] {
                path class="soil" d=(soil(lane, side)) {}
                path class="edge" d=(path(edge(lane, side))) {}
            }
            @for (fate, class) in [(Fate::Spared, "plant"), (Fate::Struck, "struck"), (Fate::Cut, "cut")] {
                path class=(class) d=(marks(&plants, *row, fate, |plant| {
                    (across(lane, plant.lateral_m - middle), along(plant.station_m))
                })) {}
            }
        }
        @let key = BOTTOM_PX + 20.0;
        path class="plant" d=(mark(Fate::Spared, 58.0, key - 4.0)) {}
        text class="small" x="66" y=(px(key)) { "plant" }
        path class="struck" d=(mark(Fate::Struck, 116.0, key - 4.0)) {}
        text class="small" x="126" y=(px(key)) { "struck" }
        path class="cut" d=(mark(Fate::Cut, 184.0, key - 4.0)) {}
        text class="small" x="193" y=(px(key)) { "cut" }
        rect class="soil" x="226" y=(px(key - 10.0)) width="14" height="12" {}
        text class="small" x="245" y=(px(key)) { "hoed" }
        @let end = right_px - bar_m * px_per_m;
        path class="axis" d=(format!("M{0} {1}v-5v5H{2}v-5", px(end), px(key - 2.0), px(right_px))) {}
        text class="small mid" x=(px(0.5 * (end + right_px))) y=(px(key + 13.0)) { (units.clearance(bar_m)) }
        text class="small" x="52" y=(px(key + 24.0)) { "sideways enlarged " (trimmed(enlarged, 0)) " times" }
    };
    Picture {
        name: name.to_owned(),
        title: format!("{title}: one pass from above"),
        note: format!(
            "Pass {} of seed {}. {}",
            trace.pass,
            trace.seed,
            match hit + gone {
                0 => "No plant of any row is struck here.".to_owned(),
                all => format!("Struck here, over all rows: {all}, of which cut: {gone}."),
            },
        ),
        reading: format!(
            "From {} to {} along the row, travelling up. The edges run {} from the row's line where the tools are centred; the small \
             setting errors of single edges are counted but not drawn. A plant is struck once an edge enters its protected radius, which is wider than its dot. The ground between rows is cut out and sideways everything \
             is enlarged {} times.",
            units.distance_text(from),
            units.distance_text(to),
            units.clearance(trace.clearance_m),
            trimmed(enlarged, 0),
        ),
        width: WIDTH_PX,
        height: HEIGHT_PX,
        body,
    }
}

/// The plants of a row with one fate as a path of marks.
fn marks(
    plants: &[&Plant],
    row: usize,
    fate: Fate,
    place: impl Fn(&Plant) -> (f64, f64),
) -> String {
    plants
        .iter()
        .filter(|plant| plant.row == row && plant.fate == fate)
        .map(|plant| {
            let (x, y) = place(plant);
            mark(fate, x, y)
        })
        .collect()
}

/// A dot, a cross or a diamond.
fn mark(fate: Fate, x: f64, y: f64) -> String {
    match fate {
        Fate::Spared => format!("M{} {}h.1", px(x), px(y)),
        Fate::Struck => format!(
            "M{left} {}l9 9M{left} {}l9-9",
            px(y - 4.5),
            px(y + 4.5),
            left = px(x - 4.5)
        ),
        Fate::Cut => format!("M{} {}l5 5l-5 5l-5-5Z", px(x), px(y - 5.0)),
    }
}

fn count(plants: &[&Plant], fate: Fate) -> usize {
    plants.iter().filter(|plant| plant.fate == fate).count()
}

/// Neighbouring rows around the one with the most strikes.
fn shown_rows(rows: usize, plants: &[&Plant]) -> Vec<usize> {
    let strikes = |row: usize| {
        plants
            .iter()
            .filter(|plant| plant.row == row && plant.fate != Fate::Spared)
            .count()
    };
    let worst = (0..rows)
        .max_by_key(|row| (strikes(*row), rows - row))
        .unwrap_or(0);
    let shown = rows.min(ROWS);
    let first = worst.saturating_sub(shown / 2).min(rows - shown);
    (first..first + shown).collect()
}

/// A round length at most as long as `length_m`.
fn round_length(length_m: f64, units: Units) -> f64 {
    let length = units.small(length_m);
    let decade = 10f64.powf(length.log10().floor());
    let round = [5.0, 2.0, 1.0]
        .into_iter()
        .map(|factor| factor * decade)
        .find(|round| *round <= length)
        .unwrap_or(decade);
    length_m * round / length
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_the_stretch_holds_a_strike_where_there_is_one() {
        let traces = synthetic::traces();
        for trace in &traces {
            let (from, to) = stretch(&[trace]);
            assert!(from >= trace.entry_length_m && to <= 200.0 && to - from > 13.9);
            let struck = |plant: &&Plant| plant.fate != Fate::Spared;
            let any = trace
                .plants
                .iter()
                .filter(|plant| plant.station_m >= trace.entry_length_m)
                .any(|plant| struck(&plant));
            let inside = trace
                .plants
                .iter()
                .filter(|plant| (from..=to).contains(&plant.station_m))
                .any(|plant| struck(&plant));
            assert_eq!(any, inside);
        }
    }

    #[test]
    fn prop_every_plant_of_the_drawn_rows_is_drawn_by_its_fate() {
        let traces = synthetic::traces();
        let trace = &traces[0];
        let window = window(&[trace]);
        let svg = picture("pass", Units::Metric, trace, window).standalone();
        let plants: Vec<&Plant> = window.plants(trace).collect();
        let rows = shown_rows(4, &plants);
        let drawn: Vec<&Plant> = plants
            .into_iter()
            .filter(|plant| rows.contains(&plant.row))
            .collect();
        // One more of each stands in the key.
        assert_eq!(svg.matches("h.1").count(), count(&drawn, Fate::Spared) + 1);
        assert_eq!(
            svg.matches("l9 9M").count(),
            count(&drawn, Fate::Struck) + 1
        );
        assert_eq!(
            svg.matches("l5 5l-5 5").count(),
            count(&drawn, Fate::Cut) + 1
        );
    }
}
