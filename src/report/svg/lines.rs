//! Share of plants cut over one number or a few words, a line with its limits for each machine, controller or value.

use super::sheet::{Anchor, Chart, Frame, Sheet, at, drawn, px};
use super::{Picture, Trouble};
use crate::report::display::{chosen_percent, trimmed};
use crate::results::answers::Limited;
use plotters::coord::combinators::LogCoord;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;

const WIDTH_PX: f64 = 560.0;
const HEIGHT_PX: f64 = 380.0;
const LABEL_GAP_PX: f64 = 16.0;
const FRAME: Frame = Frame {
    left: 70.0,
    right: WIDTH_PX - 160.0,
    top: 44.0,
    bottom: 325.0,
};

/// Lowest decade that is shown.
const LEAST_DECADE: f64 = -6.0;

type Plot<'a> = Chart<'a, RangedCoordf64, LogCoord<f64>>;

/// One line.
#[derive(Clone, Debug)]
pub struct Line {
    /// What stands at its end.
    pub name: String,
    /// Class of its marks in `chart.css`: `k0` to `k4`.
    pub class: &'static str,
    /// Places to the right and shares.
    pub points: Vec<(f64, Limited)>,
}

/// What runs to the right.
#[derive(Clone, Debug)]
pub enum Across {
    /// Numbers.
    Numbers,
    /// Words, at 0, 1, 2 and so on.
    Words(Vec<String>),
}

/// Lines over what runs to the right.
#[derive(Clone, Debug)]
pub struct Lines {
    /// File name without its ending.
    pub name: String,
    /// Title.
    pub title: String,
    /// A small line under the title; may be empty.
    pub subtitle: String,
    /// Title of what runs to the right.
    pub across_title: String,
    /// What runs to the right.
    pub across: Across,
    /// The lines.
    pub lines: Vec<Line>,
    /// Share that may be cut.
    pub allowed_cut_rate: f64,
    /// Confidence level of the limits.
    pub level: f64,
}

/// Class of the line with that number: five colours in turn, the names at the ends tell them apart.
pub fn class(number: usize) -> &'static str {
    ["k3", "k1", "k2", "k4", "k0"][number % 5]
}

impl Lines {
    /// The picture.
    pub fn picture(&self) -> Picture {
        let (floor, top, across) = (self.floor(), self.top(), self.range());
        let body = drawn(WIDTH_PX, HEIGHT_PX, |sheet| {
            // A hair more at both ends keeps the decades there inside.
            let decades = floor * (1.0 - 1e-9)..top * (1.0 + 1e-9);
            let mut chart = sheet.chart(FRAME, across.clone(), decades.log_scale())?;
            let word = |x: &f64| self.word(*x);
            sheet
                .axes(&mut chart)
                .x_labels(self.ticks())
                .y_labels(9)
                .x_label_formatter(&word)
                .y_label_formatter(&|rate| chosen_percent(*rate))
                .x_desc(self.across_title.clone())
                .draw()?;
            sheet.text("head", Anchor::Start, (FRAME.left, 13.0), &self.title)?;
            sheet.text("small", Anchor::Start, (FRAME.left, 28.0), &self.subtitle)?;
            let allowed = self.allowed_cut_rate.clamp(floor, top);
            let rule = [(across.start, allowed), (across.end, allowed)];
            chart.draw_series(LineSeries::new(rule, sheet.stroke("rule")))?;
            for line in &self.lines {
                draw(sheet, &mut chart, line, floor)?;
            }
            let height = |rate: f64| px(chart.backend_coord(&(0.0, rate.clamp(floor, top)))).1;
            named(sheet, FRAME, self.ends(&height))
        });
        Picture {
            name: self.name.clone(),
            title: self.title.clone(),
            note: String::new(),
            reading: format!(
                "Share of plants cut on the whole row, with {} limits as bands. Dots: simulated. Where no plant was cut, a triangle marks the \
                 upper limit alone. Dashed: the allowed {}.",
                chosen_percent(self.level),
                chosen_percent(self.allowed_cut_rate)
            ),
            width: WIDTH_PX,
            height: HEIGHT_PX,
            body,
        }
    }

    fn points(&self) -> impl Iterator<Item = &(f64, Limited)> {
        self.lines.iter().flat_map(|line| &line.points)
    }

    /// The decade below the smallest number that is to be seen.
    fn floor(&self) -> f64 {
        let smallest = self
            .points()
            .map(|(_, cut)| shown(cut))
            .filter(|shown| *shown > 0.0)
            .fold(0.1, f64::min);
        // The logarithm of a whole decade may come out a hair below it.
        10f64.powf((smallest.log10() + 1e-9).floor().max(LEAST_DECADE))
    }

    /// The decade above the largest number that is to be seen.
    fn top(&self) -> f64 {
        let largest = self.points().map(|(_, cut)| cut.upper);
        let largest = largest.fold(self.allowed_cut_rate, f64::max);
        10f64.powf((largest.max(1e-6).log10() - 1e-9).ceil().min(0.0))
    }

    fn range(&self) -> std::ops::Range<f64> {
        if let Across::Words(words) = &self.across {
            return -0.4..words.len().max(1) as f64 - 0.6;
        }
        let low = self.points().map(|(x, _)| *x).fold(f64::INFINITY, f64::min);
        let high = self
            .points()
            .map(|(x, _)| *x)
            .fold(f64::NEG_INFINITY, f64::max);
        if !low.is_finite() || !high.is_finite() {
            return 0.0..1.0;
        }
        let room = if high > low { 0.04 * (high - low) } else { 0.5 };
        low - room..high + room
    }

    fn ticks(&self) -> usize {
        match &self.across {
            Across::Numbers => 8,
            Across::Words(words) => words.len().max(2),
        }
    }

    fn word(&self, x: f64) -> String {
        match &self.across {
            Across::Numbers => trimmed(x, 3),
            Across::Words(words) => {
                let place = x.round();
                let whole = (x - place).abs() < 1e-6 && place >= 0.0;
                let word = whole.then(|| words.get(place as usize)).flatten();
                word.cloned().unwrap_or_default()
            }
        }
    }

    fn ends(&self, height: &dyn Fn(f64) -> f64) -> Vec<(f64, &'static str, String)> {
        let of_line = |line: &Line| {
            let (_, cut) = line.points.last()?;
            Some((height(shown(cut)), line.class, line.name.clone()))
        };
        let mut ends: Vec<_> = self.lines.iter().filter_map(of_line).collect();
        let allowed = format!("allowed {}", chosen_percent(self.allowed_cut_rate));
        ends.push((height(self.allowed_cut_rate), "", allowed));
        ends
    }
}

/// What stands for a share: itself, or its upper limit where it is nothing.
fn shown(cut: &Limited) -> f64 {
    if cut.value > 0.0 {
        cut.value
    } else {
        cut.upper
    }
}

fn draw<'a>(
    sheet: &Sheet<'a>,
    chart: &mut Plot<'a>,
    line: &Line,
    floor: f64,
) -> Result<(), Trouble> {
    let class = line.class;
    let place = |x: f64, rate: f64| (x, rate.clamp(floor, 1.0));
    let (some, spared): (Vec<_>, Vec<_>) = line
        .points
        .iter()
        .copied()
        .partition(|(_, cut)| cut.value > 0.0);
    if some.len() > 1 {
        let up = some.iter().map(|(x, cut)| place(*x, cut.upper));
        let down = some.iter().rev().map(|(x, cut)| place(*x, cut.lower));
        let fill = sheet.fill(&format!("band {class}"));
        chart.draw_series([Polygon::new(up.chain(down).collect::<Vec<_>>(), fill)])?;
    }
    let middle = some.iter().map(|(x, cut)| place(*x, cut.value));
    chart.draw_series(LineSeries::new(
        middle,
        sheet.stroke(&format!("line {class}")),
    ))?;
    let (dot, open) = (format!("dot {class}"), format!("dot {class} open"));
    for (x, cut) in &some {
        let whisker = [place(*x, cut.lower), place(*x, cut.upper)];
        chart.draw_series(LineSeries::new(
            whisker,
            sheet.stroke(&format!("line {class}")),
        ))?;
        let circle = Circle::new(place(*x, cut.value), at((3.0, 0.0)).0, sheet.fill(&dot));
        chart.draw_series([circle])?;
    }
    for (x, cut) in spared {
        let (x, y) = px(chart.backend_coord(&place(x, cut.upper)));
        let corners = [(x - 4.0, y - 3.5), (x + 4.0, y - 3.5), (x, y + 3.5)];
        sheet.draw(Polygon::new(corners.map(at), sheet.fill(&open)))?;
    }
    Ok(())
}

/// Names at the right end of lines, at their heights in px, moved apart.
pub fn named(
    sheet: &Sheet,
    frame: Frame,
    mut ends: Vec<(f64, &'static str, String)>,
) -> Result<(), Trouble> {
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut places: Vec<f64> = ends.iter().map(|end| end.0).collect();
    // Names that were moved apart push the next ones: one walk does not settle it.
    for _ in 0..50 {
        for i in 1..places.len() {
            let lack = LABEL_GAP_PX - (places[i] - places[i - 1]);
            if lack > 0.0 {
                places[i - 1] -= 0.5 * lack;
                places[i] += 0.5 * lack;
            }
        }
        if let Some(last) = places.last_mut() {
            *last = last.min(frame.bottom);
        }
    }
    for ((end, class, text), place) in ends.iter().zip(places) {
        let right = frame.right;
        sheet.line("lead", [(right + 3.0, *end), (right + 12.0, place)])?;
        if !class.is_empty() {
            sheet.dot(&format!("dot {class}"), (right + 16.0, place), 3.2)?;
        }
        sheet.text("small", Anchor::Start, (right + 23.0, place), text)?;
    }
    Ok(())
}
