//! A stretch of a pass from above, travelling up the page: plants, tool edges, and what became of the plants. The ground between rows is
//! cut out and sideways everything is enlarged; the picture says by how much.

use super::sheet::{Anchor, Frame, Sheet, at, drawn, px, range};
use super::{Picture, Trouble, trace_title};
use crate::report::display::{Units, trimmed};
use crate::sim::trace::{Fate, Plant, Sample, Trace};
use plotters::prelude::*;

const WIDTH_PX: f64 = 400.0;
const HEIGHT_PX: f64 = 490.0;
const FRAME: Frame = Frame {
    left: 52.0,
    right: WIDTH_PX - 20.0,
    top: 56.0,
    bottom: 436.0,
};

/// Room at either side of a row's lane.
const LANE_GAP_PX: f64 = 4.0;

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
    /// Leftmost row that is drawn, 0 at the left.
    pub first_row: usize,
    /// Neighbouring rows that are drawn.
    pub rows: usize,
}

impl Window {
    fn holds(&self, station_m: f64) -> bool {
        (self.from_m..=self.to_m).contains(&station_m)
    }

    fn rows(self) -> std::ops::Range<usize> {
        self.first_row..self.first_row + self.rows
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
        first_row: 0,
        rows: 0,
    };
    let rows = shown_rows(traces, window);
    (window.first_row, window.rows) = (rows.start, rows.len());
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
            // Where nothing moves, the edges would stand on the borders of the lane.
            .fold(window.reach_m.max(2.0 * trace.clearance_m), f64::max);
    }
    window
}

/// How much the strikes of a pass say where to look: those of a guided one first.
fn weight(trace: &Trace) -> f64 {
    if trace.kind.name() == "locked" {
        1.0
    } else {
        10.0
    }
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

/// The stretch to draw for passes over the same ground, as first and last station, m: the one with plants cut or touched under the most
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
        .reduce(f64::min)
        .unwrap_or(from)
        .max(from + 1.0);
    let length = STRETCH_M.min(to - from);
    let around = |station_m: f64| {
        let start = (station_m - 0.5 * length).clamp(from, to - length);
        (start, start + length)
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
                // Capped: one bad place under one controller must not decide for all pictures.
                let met = inside().filter(|p| p.fate != Fate::Spared).count().min(5);
                let nearest = inside()
                    .filter_map(|p| p.needed_clearance_m)
                    .fold(0.0, f64::max)
                    .min(1.0);
                weight(trace) * (if met > 0 { 10.0 } else { 0.0 } + met as f64 + nearest)
            })
            .sum()
    };
    let starts = (0..).map(|i| from + 0.25 * length * f64::from(i));
    starts
        .take_while(|start| *start < to)
        .map(|start| around(start + 0.5 * length))
        // The first of equals; max_by alone takes the last.
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
    let rows = window.rows();
    let middle = middle(trace, window);
    let tool = |sample: &Sample| sample.frame_m + sample.shift_m - middle;
    let half_m = 1.08 * window.reach_m;
    let lane_px = (FRAME.right - FRAME.left) / rows.len().max(1) as f64;
    let px_per_m = (0.5 * lane_px - LANE_GAP_PX) / half_m;
    let enlarged = px_per_m / ((FRAME.bottom - FRAME.top) / (to - from));
    let along = range(units.distance(from), units.distance(to));
    let (hit, gone) = (count(&plants, Fate::Touched), count(&plants, Fate::Cut));
    let title = trace_title(units, trace);
    let body = drawn(WIDTH_PX, HEIGHT_PX, |sheet| {
        let mut chart = sheet.chart(FRAME, 0.0..1.0, along.clone())?;
        sheet
            .axes(&mut chart)
            .disable_y_mesh()
            .disable_x_axis()
            .y_labels(9)
            .y_label_formatter(&|distance| trimmed(*distance, 1))
            .y_desc(format!(
                "distance, {} \u{2192} travel",
                units.distance_unit()
            ))
            .draw()?;
        sheet.text("head", Anchor::Start, (8.0, 13.0), &title)?;
        for (lane, row) in rows.clone().enumerate() {
            let left = FRAME.left + lane as f64 * lane_px;
            let frame = Frame {
                left: left + LANE_GAP_PX,
                right: left + lane_px - LANE_GAP_PX,
                ..FRAME
            };
            // Left is positive.
            let mut chart = sheet.chart(frame, half_m..-half_m, along.clone())?;
            let heading = format!("row {} of {}", row + 1, trace.row_offset_m.len());
            let middle_px = left + 0.5 * lane_px;
            sheet.text("small", Anchor::Middle, (middle_px, 40.0), &heading)?;
            let place = |lateral_m: f64, station_m: f64| {
                let station = units.distance(station_m);
                (lateral_m.clamp(-half_m, half_m), station)
            };
            for side in [-1.0, 1.0] {
                let edge: Vec<(f64, f64)> = samples
                    .iter()
                    .map(|sample| {
                        let edge_m = tool(sample) + side * trace.clearance_m;
                        place(edge_m, sample.station_m)
                    })
                    .collect();
                let border = [samples.last(), samples.first()].into_iter().flatten();
                let border = border.map(|sample| place(side * half_m, sample.station_m));
                let soil: Vec<(f64, f64)> = edge.iter().copied().chain(border).collect();
                chart.draw_series([Polygon::new(soil, sheet.fill("soil"))])?;
                chart.draw_series(LineSeries::new(edge, sheet.stroke("edge")))?;
            }
            // The worst last: a cut plant must not lie under its neighbours.
            for fate in [Fate::Spared, Fate::Touched, Fate::Cut] {
                for plant in plants.iter().filter(|p| p.row == row && p.fate == fate) {
                    let plant = place(plant.lateral_m - middle, plant.station_m);
                    mark(sheet, fate, px(chart.backend_coord(&plant)))?;
                }
            }
        }
        key(sheet)?;
        let bar_m = round_length(0.6 * half_m, units);
        let (start, y) = (FRAME.right - bar_m * px_per_m, FRAME.bottom + 13.0);
        let bar = [
            (start, y),
            (start, y + 5.0),
            (FRAME.right, y + 5.0),
            (FRAME.right, y),
        ];
        sheet.line("axis", bar)?;
        let below = (0.5 * (start + FRAME.right), y + 16.0);
        sheet.text("small", Anchor::Middle, below, &units.clearance(bar_m))?;
        let note = format!("sideways enlarged {} times", trimmed(enlarged, 0));
        sheet.text("small", Anchor::Start, (FRAME.left, y + 27.0), &note)
    });
    Picture {
        name: name.to_owned(),
        title: format!("{title}: one pass from above"),
        note: format!(
            "Pass {} of seed {}. {}",
            trace.pass,
            trace.seed,
            match hit + gone {
                0 => "No plant of any row is cut or touched here.".to_owned(),
                _ => format!("Here, over all rows: {gone} cut, {hit} touched."),
            },
        ),
        reading: format!(
            "From {} to {} along the row, travelling up. The edges run {} from the row's line where the tools are centred; the small \
             setting errors of single edges are counted but not drawn. A plant is cut where an edge passes through its stem, and touched where one comes within the protected radius, which is wider than its dot. The ground between rows is cut out and sideways everything \
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

/// A dot, a cross or a diamond at a place, px.
fn mark(sheet: &Sheet, fate: Fate, (x, y): (f64, f64)) -> Result<(), Trouble> {
    match fate {
        Fate::Spared => sheet.dot("plant", (x, y), 2.3),
        Fate::Touched => {
            let size = at((4.5, 0.0)).0;
            sheet.draw(Cross::new(at((x, y)), size, sheet.stroke("touched")))
        }
        Fate::Cut => {
            let corners = [(x, y - 5.0), (x + 5.0, y), (x, y + 5.0), (x - 5.0, y)];
            sheet.draw(Polygon::new(corners.map(at), sheet.fill("cut")))
        }
    }
}

/// What the marks mean.
fn key(sheet: &Sheet) -> Result<(), Trouble> {
    let y = FRAME.bottom + 16.0;
    for (fate, x, name) in [
        (Fate::Spared, 58.0, "plant"),
        (Fate::Touched, 116.0, "touched"),
        (Fate::Cut, 190.0, "cut"),
    ] {
        mark(sheet, fate, (x, y))?;
        sheet.text("small", Anchor::Start, (x + 9.0, y), name)?;
    }
    sheet.rect("soil", [(226.0, y - 6.0), (240.0, y + 6.0)])?;
    sheet.text("small", Anchor::Start, (245.0, y), "hoed")
}

fn count(plants: &[&Plant], fate: Fate) -> usize {
    plants.iter().filter(|plant| plant.fate == fate).count()
}

/// Neighbouring rows around the one with the most plants cut or touched in the window, guided passes first; the same for all these passes.
fn shown_rows(traces: &[&Trace], window: Window) -> std::ops::Range<usize> {
    let rows = traces
        .iter()
        .map(|trace| trace.row_offset_m.len())
        .min()
        .unwrap_or(0);
    let met = |row: usize| -> f64 {
        let met_by = |trace: &Trace| {
            let here = window.plants(trace).filter(|plant| plant.row == row);
            here.filter(|plant| plant.fate != Fate::Spared)
                .count()
                .min(5)
        };
        traces
            .iter()
            .map(|trace| weight(trace) * met_by(trace) as f64)
            .sum()
    };
    let worst = (0..rows)
        .max_by(|a, b| met(*a).total_cmp(&met(*b)).then(b.cmp(a)))
        .unwrap_or(0);
    let shown = rows.min(ROWS);
    let first = worst.saturating_sub(shown / 2).min(rows - shown);
    first..first + shown
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
    fn prop_the_stretch_holds_a_met_plant_where_there_is_one() {
        let traces = synthetic::traces();
        for trace in &traces {
            let (from, to) = stretch(&[trace]);
            assert!(from >= trace.entry_length_m && to <= 200.0 && to - from > 13.9);
            let met = |plant: &&Plant| plant.fate != Fate::Spared;
            let any = trace
                .plants
                .iter()
                .filter(|plant| plant.station_m >= trace.entry_length_m)
                .any(|plant| met(&plant));
            let inside = trace
                .plants
                .iter()
                .filter(|plant| (from..=to).contains(&plant.station_m))
                .any(|plant| met(&plant));
            assert_eq!(any, inside);
        }
    }

    /// A tractor that never came onto the field leaves no sample.
    #[test]
    fn regress_a_pass_without_samples_is_drawn() {
        let mut traces = synthetic::traces();
        traces.iter_mut().for_each(|trace| trace.samples.clear());
        let all: Vec<&Trace> = traces.iter().collect();
        let (from, to) = stretch(&all);
        assert!(from == traces[0].entry_length_m && to == from + 1.0);
        let svg = picture("pass", Units::Metric, &traces[0], window(&all)).standalone();
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }

    /// Pictures that stand side by side compare only if they show the same rows over the same ground.
    #[test]
    fn prop_pictures_of_one_pass_under_every_controller_show_the_same_rows_and_ground() {
        let mut traces = synthetic::traces();
        // Each controller strikes in another row; the first one is the locked frame or a guided one alike.
        let count = traces[0].row_offset_m.len();
        for (i, trace) in traces.iter_mut().enumerate() {
            let row = (i * (count - 1)) % count;
            for plant in trace.plants.iter_mut() {
                plant.fate = if plant.row == row {
                    Fate::Touched
                } else {
                    Fate::Spared
                };
            }
        }
        let results = synthetic::results();
        let pictures = crate::report::svg::study_pictures(&results, &traces, Units::Metric);
        let shown = |picture: &Picture| {
            let svg = picture.standalone();
            let texts = svg
                .split("</text>")
                .filter_map(|text| text.rsplit('>').next());
            let named: Vec<String> = texts
                .filter(|text| text.starts_with("row ") && text.contains(" of "))
                .map(str::to_owned)
                .collect();
            let (from_to, _) = picture.reading.split_once(" along the row").unwrap();
            (named, from_to.to_owned())
        };
        let first = shown(&pictures.above[0]);
        assert_eq!(first.0.len(), count.min(ROWS));
        assert!(pictures.above.len() > 1);
        for picture in &pictures.above {
            assert_eq!(shown(picture), first, "{}", picture.name);
        }
    }

    #[test]
    fn prop_every_plant_of_the_drawn_rows_is_drawn_by_its_fate() {
        let traces = synthetic::traces();
        let trace = &traces[0];
        let window = window(&[trace]);
        let svg = picture("pass", Units::Metric, trace, window).standalone();
        let plants: Vec<&Plant> = window.plants(trace).collect();
        let rows = shown_rows(&[trace], window);
        let drawn: Vec<&Plant> = plants
            .into_iter()
            .filter(|plant| rows.contains(&plant.row))
            .collect();
        // One more of each stands in the key.
        let paths = |class: &str, step: char| -> usize {
            svg.split(&format!("<path class=\"{class}\" d=\""))
                .skip(1)
                .map(|rest| rest.split('"').next().unwrap().matches(step).count())
                .sum()
        };
        assert_eq!(
            svg.matches("<circle class=\"plant\"").count(),
            count(&drawn, Fate::Spared) + 1
        );
        assert_eq!(
            paths("touched", 'M'),
            2 * (count(&drawn, Fate::Touched) + 1)
        );
        assert_eq!(paths("cut", 'Z'), count(&drawn, Fate::Cut) + 1);
    }
}
