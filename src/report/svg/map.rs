//! Map of the share of plants cut on whole rows over speed and clearance, one per controller.
//!
//! Between simulated settings the logarithm of the rate is interpolated linearly along the sides of a cell. A setting
//! without a cut plant stands for half a plant among those counted.

use super::sheet::{Anchor, Frame, Sheet, drawn, px, range};
use super::{Picture, Trouble};
use crate::model::controller::Kind;
use crate::report::display::{Units, chosen_percent, plain_title, trimmed};
use crate::results::{Rate, Results, Stretch};
use plotters::prelude::*;

const WIDTH_PX: f64 = 400.0;
const HEIGHT_PX: f64 = 400.0;
/// Where the axes of every map stand.
pub const FRAME: Frame = Frame {
    left: 52.0,
    right: WIDTH_PX - 20.0,
    top: 40.0,
    bottom: 300.0,
};

/// Rates at which the colour changes.
const LEVELS: [f64; 8] = [1e-4, 3e-4, 1e-3, 3e-3, 1e-2, 3e-2, 1e-1, 3e-1];

/// Classes of the colours below, between and above the levels: the nine steps of the scale BuPu of ColorBrewer (Brewer 2003), from nearly
/// white for few plants cut to dark violet, which also those tell apart who do not see red or green.
const COLOURS: [&str; LEVELS.len() + 1] = ["c0", "c1", "c2", "c3", "c4", "c5", "c6", "c7", "c8"];

/// A table of rates over speed (columns) and clearance (rows).
struct Grid {
    x: Vec<f64>,
    y: Vec<f64>,
    log_rate: Vec<Vec<f64>>,
}

/// One map for each controller that ran, if there are at least two speeds and two clearances.
pub fn pictures(results: &Results, units: Units) -> Vec<Picture> {
    if results.speeds_m_s.len() < 2 || results.clearances_m.len() < 2 {
        return Vec::new();
    }
    results
        .ran()
        .filter_map(|controller| picture(results, units, controller))
        .collect()
}

fn picture(results: &Results, units: Units, controller: Kind) -> Option<Picture> {
    let mut cells: Vec<Vec<&Rate>> = Vec::new();
    for clearance_m in &results.clearances_m {
        let row: Option<Vec<&Rate>> = results
            .speeds_m_s
            .iter()
            .map(|speed_m_s| results.rate(Stretch::Whole, controller, *speed_m_s, *clearance_m))
            .collect();
        cells.push(row?);
    }
    let speeds: Vec<f64> = results.speeds_m_s.iter().map(|v| units.speed(*v)).collect();
    let clearances: Vec<f64> = results
        .clearances_m
        .iter()
        .map(|c| units.small(*c))
        .collect();
    let grid = |value: &dyn Fn(&Rate) -> f64| Grid {
        x: speeds.clone(),
        y: clearances.clone(),
        log_rate: cells
            .iter()
            .map(|row| {
                row.iter()
                    .map(|cell| value(cell).max(0.5 / cell.plants.max(1) as f64).ln())
                    .collect()
            })
            .collect(),
    };
    let rates = grid(&|cell| cell.cut.rate);
    let uppers = grid(&|cell| cell.cut.upper);
    let allowed = results.allowed_cut_rate;
    let across = range(speeds[0], *speeds.last()?);
    let up = range(clearances[0], *clearances.last()?);
    let working = (
        units
            .speed(results.working_speed_m_s)
            .clamp(across.start, across.end),
        units
            .small(results.working_clearance_m)
            .clamp(up.start, up.end),
    );
    let title = format!("{}: plants cut", plain_title(controller));
    let body = drawn(WIDTH_PX, HEIGHT_PX, |sheet| {
        let mut chart = sheet.chart(FRAME, across.clone(), up.clone())?;
        sheet.text("head", Anchor::Start, (FRAME.left, 15.0), &title)?;
        let all = [(across.start, up.start), (across.end, up.end)];
        chart.draw_series([Rectangle::new(all, sheet.fill(COLOURS[0]))])?;
        // Each class lies over all lower ones: areas side by side would show a seam.
        for (level, colour) in LEVELS.iter().zip(&COLOURS[1..]) {
            let fill = sheet.fill(colour);
            let areas = rates.above(level.ln());
            chart.draw_series(areas.into_iter().map(|area| Polygon::new(area, fill)))?;
        }
        for level in LEVELS {
            for line in rates.lines(level.ln()) {
                chart.draw_series(LineSeries::new(line, sheet.stroke("level")))?;
            }
        }
        sheet
            .axes(&mut chart)
            .disable_y_mesh()
            .x_labels(8)
            .y_labels(8)
            .x_label_formatter(&|speed| trimmed(*speed, 2))
            .y_label_formatter(&|clearance| trimmed(*clearance, 2))
            .x_desc(format!("speed, {}", units.speed_unit()))
            .y_desc(format!("tools from the row, {}", units.small_unit()))
            .draw()?;
        // The line of the rate itself comes last, so that it stays whole where the limit runs along it.
        for (class, grid) in [
            ("halo slim", &uppers),
            ("halo", &rates),
            ("allowed upper", &uppers),
            ("allowed", &rates),
        ] {
            for line in grid.lines(allowed.ln()) {
                chart.draw_series(LineSeries::new(line, sheet.stroke(class)))?;
            }
        }
        for (row, clearance) in cells.iter().zip(&clearances) {
            for (cell, speed) in row.iter().zip(&speeds) {
                let class = if cell.resolved { "spot" } else { "spot open" };
                let place = px(chart.backend_coord(&(*speed, *clearance)));
                sheet.dot(class, place, 1.8)?;
            }
        }
        let working = px(chart.backend_coord(&working));
        sheet.dot("halo", working, 7.0)?;
        sheet.dot("ring", working, 7.0)?;
        labels(sheet, |level| {
            let lines = rates.line(level.ln()).into_iter();
            let middle = |(a, b): (Point, Point)| (0.5 * (a.0 + b.0), 0.5 * (a.1 + b.1));
            lines
                .map(|line| px(chart.backend_coord(&middle(line))))
                .collect()
        })?;
        key(sheet, FRAME.bottom + 62.0)
    });
    Some(Picture {
        name: format!("cut_map_{}", controller.name()),
        title,
        note: String::new(),
        reading: format!(
            "Share of plants cut on the whole row: the darker, the more. Thick line: the allowed {}; above the dashed line it is surely kept, as far \
             as these passes tell. Ring: as worked now. Dots: what was simulated, hollow where few passes decide.",
            chosen_percent(allowed)
        ),
        width: WIDTH_PX,
        height: HEIGHT_PX,
        body,
    })
}

type Point = (f64, f64);

impl Grid {
    /// Corners of every cell in turn with their values.
    fn cells(&self) -> impl Iterator<Item = [(Point, f64); 4]> {
        (1..self.y.len()).flat_map(move |j| {
            (1..self.x.len()).map(move |i| {
                [(i - 1, j - 1), (i, j - 1), (i, j), (i - 1, j)]
                    .map(|(i, j)| ((self.x[i], self.y[j]), self.log_rate[j][i]))
            })
        })
    }

    /// What of every cell lies at or above a level.
    fn above(&self, level: f64) -> Vec<Vec<Point>> {
        self.cells()
            .map(|corners| {
                let mut polygon = Vec::new();
                for (side, (point, value)) in corners.iter().enumerate() {
                    let (next, next_value) = corners[(side + 1) % 4];
                    if *value >= level {
                        polygon.push(*point);
                    }
                    if (*value >= level) != (next_value >= level) {
                        polygon.push(crossing(*point, *value, next, next_value, level));
                    }
                }
                polygon
            })
            .filter(|polygon| !polygon.is_empty())
            .collect()
    }

    /// The line at a level, its pieces joined end to end.
    fn lines(&self, level: f64) -> Vec<Vec<Point>> {
        chained(self.line(level))
    }

    /// The line at a level, cell by cell. A saddle keeps the high corners joined, as `above` does.
    fn line(&self, level: f64) -> Vec<(Point, Point)> {
        let mut out = Vec::new();
        for corners in self.cells() {
            let mut leaving = Vec::new();
            let mut entering = Vec::new();
            for (side, (point, value)) in corners.iter().enumerate() {
                let (next, next_value) = corners[(side + 1) % 4];
                let here = *value >= level;
                if here != (next_value >= level) {
                    let at = crossing(*point, *value, next, next_value, level);
                    if here {
                        leaving.push((side, at));
                    } else {
                        entering.push((side, at));
                    }
                }
            }
            for (side, from) in &leaving {
                // The next entry after this exit bounds the same low corner.
                let to = (1..4).find_map(|step| {
                    entering
                        .iter()
                        .find(|(other, _)| *other == (side + step) % 4)
                });
                if let Some((_, to)) = to {
                    out.push((*from, *to));
                }
            }
        }
        out
    }
}

fn crossing(a: Point, value_a: f64, b: Point, value_b: f64, level: f64) -> Point {
    let share = (level - value_a) / (value_b - value_a);
    (a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1))
}

/// Segments joined end to end, so that a dash pattern runs on.
fn chained(mut line: Vec<(Point, Point)>) -> Vec<Vec<Point>> {
    // Two cells find the end on their common side from opposite directions: equal but for rounding.
    let near = |a: Point, b: Point| (a.0 - b.0).abs() + (a.1 - b.1).abs() < 1e-6;
    let mut out = Vec::new();
    while let Some((a, b)) = line.pop() {
        let mut chain = std::collections::VecDeque::from([a, b]);
        while let Some(at) = line.iter().position(|(p, q)| {
            [*p, *q]
                .iter()
                .any(|end| near(*end, chain[0]) || near(*end, chain[chain.len() - 1]))
        }) {
            let (p, q) = line.swap_remove(at);
            let last = chain[chain.len() - 1];
            if near(p, last) {
                chain.push_back(q);
            } else if near(q, last) {
                chain.push_back(p);
            } else if near(p, chain[0]) {
                chain.push_front(q);
            } else {
                chain.push_front(p);
            }
        }
        out.push(chain.into());
    }
    out
}

/// A label on each line, at the one of its places, px, that is least crowded by those already placed.
fn labels(sheet: &Sheet, places: impl Fn(f64) -> Vec<Point>) -> Result<(), Trouble> {
    let mut placed: Vec<Point> = Vec::new();
    let (left, right) = (FRAME.left + 22.0, FRAME.right - 22.0);
    let (top, bottom) = (FRAME.top + 9.0, FRAME.bottom - 9.0);
    for level in LEVELS {
        let best = places(level)
            .into_iter()
            .filter(|p| p.0 > left && p.0 < right && p.1 < bottom && p.1 > top)
            .map(|p| {
                let room = placed
                    .iter()
                    // Labels are wider than high, so that less room is needed above one another.
                    .map(|q| (p.0 - q.0).abs().max(2.0 * (p.1 - q.1).abs()))
                    .fold(90.0, f64::min);
                (room, p)
            })
            .max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((room, p)) = best
            && room > 36.0
        {
            placed.push(p);
            sheet.text("onmap small", Anchor::Middle, p, &chosen_percent(level))?;
        }
    }
    Ok(())
}

/// What the colours mean.
fn key(sheet: &Sheet, top: f64) -> Result<(), Trouble> {
    let step = (FRAME.right - FRAME.left) / COLOURS.len() as f64;
    let border = |i: usize| FRAME.left + step * i as f64;
    for (i, colour) in COLOURS.iter().enumerate() {
        sheet.rect(colour, [(border(i), top), (border(i + 1), top + 12.0)])?;
    }
    for (i, level) in LEVELS.iter().enumerate() {
        let text = chosen_percent(*level).replace(" %", "");
        sheet.text("small", Anchor::Middle, (border(i + 1), top + 22.0), &text)?;
    }
    sheet.text("small", Anchor::End, (FRAME.right, top + 22.0), "%")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    /// Two columns by two rows.
    fn square(values: [f64; 4]) -> Grid {
        Grid {
            x: vec![0.0, 10.0],
            y: vec![0.0, 10.0],
            log_rate: vec![vec![values[0], values[1]], vec![values[3], values[2]]],
        }
    }

    #[test]
    fn analytic_level_lines_cut_the_sides_where_the_value_is_met() {
        let line = square([0.0, 4.0, 4.0, 0.0]).line(1.0);
        assert_eq!(line.len(), 1);
        let (a, b) = line[0];
        assert!((a.0 - 2.5).abs() < 1e-12 && (b.0 - 2.5).abs() < 1e-12);
        assert_eq!(square([1.0; 4]).line(2.0), []);
        assert_eq!(square([1.0; 4]).above(2.0), Vec::<Vec<Point>>::new());
        assert_eq!(
            square([3.0; 4]).above(2.0),
            [[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]]
        );
        assert_eq!(
            square([4.0, 0.0, 4.0, 0.0]).line(2.0).len(),
            2,
            "a saddle has two lines"
        );
    }

    #[test]
    fn prop_the_line_of_the_allowed_rate_lies_between_settings_below_and_above_it() {
        let results = synthetic::results();
        let picture = picture(&results, Units::Metric, Kind::Pid).unwrap();
        let svg = picture.standalone();
        let d = svg
            .split("class=\"allowed\" d=\"M")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap();
        let points: Vec<(f64, f64)> = d
            .split(['L', 'M'])
            .map(|p| {
                let mut xy = p.split(' ').map(|n| n.parse().unwrap());
                (xy.next().unwrap(), xy.next().unwrap())
            })
            .collect();
        assert!(points.len() >= results.speeds_m_s.len());
        let (first, last) = (
            results.clearances_m[0],
            *results.clearances_m.last().unwrap(),
        );
        for (i, speed_m_s) in results.speeds_m_s.iter().enumerate() {
            let x = 52.0 + (380.0 - 52.0) * i as f64 / 7.0;
            // A tenth of a px is what the path keeps.
            let (_, y) = *points
                .iter()
                .find(|(px, _)| (px - x).abs() <= 0.11)
                .unwrap();
            let clearance_m = first + (300.0 - y) / 260.0 * (last - first);
            let kept_m = 0.1 / 260.0 * (last - first);
            for cell in results.whole_rows() {
                if cell.controller == Kind::Pid && cell.speed_m_s == *speed_m_s {
                    if cell.clearance_m < clearance_m - kept_m {
                        assert!(cell.cut.rate > results.allowed_cut_rate);
                    } else if cell.clearance_m > clearance_m + kept_m {
                        assert!(cell.cut.rate < results.allowed_cut_rate);
                    }
                }
            }
        }
    }
}
