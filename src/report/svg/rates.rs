//! Share of plants cut on whole rows against clearance with its limits, one picture per speed, the controllers together.

use super::lines::named;
use super::sheet::{Anchor, Chart, Frame, Sheet, at, drawn, px, range};
use super::{Picture, Trouble, controller_class};
use crate::report::display::{Units, chosen_percent, controller_title, trimmed};
use crate::report::text::ran;
use crate::results::{Rate, Results};
use plotters::coord::combinators::LogCoord;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;

const WIDTH_PX: f64 = 448.0;
const HEIGHT_PX: f64 = 360.0;
const FRAME: Frame = Frame {
    left: 70.0,
    right: WIDTH_PX - 112.0,
    top: 34.0,
    bottom: 305.0,
};

/// Clearance to the right, rate upwards by decades.
type Rates<'a> = Chart<'a, RangedCoordf64, LogCoord<f64>>;

/// One picture per simulated speed.
pub fn pictures(results: &Results, units: Units) -> Vec<Picture> {
    let floor = floor(results);
    results
        .speeds_m_s
        .iter()
        .enumerate()
        .map(|(i, speed_m_s)| picture(results, units, i, *speed_m_s, floor))
        .collect()
}

/// The decade below the smallest number that is to be seen.
fn floor(results: &Results) -> f64 {
    let smallest = results
        .whole_rows()
        .map(|cell| {
            if cell.cut.rate > 0.0 {
                cell.cut.rate
            } else {
                cell.cut.upper
            }
        })
        .filter(|shown| *shown > 0.0)
        .fold(0.1, f64::min);
    10f64.powf((smallest.log10() + 1e-9).floor().max(-6.0))
}

fn picture(results: &Results, units: Units, index: usize, speed_m_s: f64, floor: f64) -> Picture {
    let lines: Vec<(&str, Vec<&Rate>)> = ran(results)
        .map(|name| {
            let line = results
                .whole_rows()
                .filter(|cell| cell.controller == name && cell.speed_m_s == speed_m_s)
                .collect();
            (name, line)
        })
        .collect();
    let clearances: Vec<f64> = results
        .clearances_m
        .iter()
        .map(|c| units.small(*c))
        .collect();
    let first = clearances.first().copied().unwrap_or(0.0);
    let last = clearances.last().copied().unwrap_or(1.0);
    let title = format!("Plants cut at {}", units.speed_text(speed_m_s));
    let body = drawn(WIDTH_PX, HEIGHT_PX, |sheet| {
        // A hair more at both ends keeps the decades there inside.
        let decades = floor * (1.0 - 1e-9)..1.0 + 1e-9;
        let across = range(first, last);
        let mut chart = sheet.chart(FRAME, across.clone(), decades.log_scale())?;
        sheet
            .axes(&mut chart)
            .x_labels(8)
            .y_labels(9)
            .x_label_formatter(&|clearance| trimmed(*clearance, 2))
            .y_label_formatter(&|rate| chosen_percent(*rate))
            .x_desc(format!("clearance, {}", units.small_unit()))
            .draw()?;
        sheet.text("head", Anchor::Start, (FRAME.left, 13.0), &title)?;
        let working = units.small(results.working_clearance_m);
        let working = [(working, floor), (working, 1.0)];
        chart.draw_series(LineSeries::new(working, sheet.stroke("thin")))?;
        let allowed = results.allowed_cut_rate.clamp(floor, 1.0);
        let allowed = [(across.start, allowed), (across.end, allowed)];
        chart.draw_series(LineSeries::new(allowed, sheet.stroke("rule")))?;
        for (name, line) in &lines {
            draw(sheet, &mut chart, name, line, units, floor)?;
        }
        labels(sheet, &chart, results, &lines, floor)
    });
    Picture {
        name: format!(
            "cut_rate_{}_{}_{}",
            index + 1,
            units.speed_number(speed_m_s),
            units.speed_unit().replace('/', "_")
        ),
        title,
        note: String::new(),
        reading: format!(
            "Share of plants cut on the whole row, against clearance, with {} limits as bands. Dots: simulated settings, hollow where \
             the rate hangs on few passes. Where no plant was cut, a triangle marks the upper limit alone. Dashed: the allowed {}. \
             Dotted: the working clearance.",
            chosen_percent(results.level),
            chosen_percent(results.allowed_cut_rate)
        ),
        width: WIDTH_PX,
        height: HEIGHT_PX,
        body,
    }
}

fn draw<'a>(
    sheet: &Sheet<'a>,
    chart: &mut Rates<'a>,
    name: &str,
    line: &[&Rate],
    units: Units,
    floor: f64,
) -> Result<(), Trouble> {
    let class = controller_class(name);
    let at_rate = |cell: &Rate, rate: f64| {
        let clearance = units.small(cell.clearance_m);
        (clearance, rate.clamp(floor, 1.0))
    };
    let (some, spared): (Vec<&Rate>, Vec<&Rate>) =
        line.iter().copied().partition(|cell| cell.cut.rate > 0.0);
    if some.len() > 1 {
        let band: Vec<(f64, f64)> = some
            .iter()
            .map(|cell| at_rate(cell, cell.cut.upper))
            .chain(some.iter().rev().map(|cell| at_rate(cell, cell.cut.lower)))
            .collect();
        let fill = sheet.fill(&format!("band {class}"));
        chart.draw_series([Polygon::new(band, fill)])?;
    }
    chart.draw_series(LineSeries::new(
        some.iter().map(|cell| at_rate(cell, cell.cut.rate)),
        sheet.stroke(&format!("line {class}")),
    ))?;
    let (dot, open) = (format!("dot {class}"), format!("dot {class} open"));
    chart.draw_series(some.iter().map(|cell| {
        let fill = sheet.fill(if cell.resolved { &dot } else { &open });
        Circle::new(at_rate(cell, cell.cut.rate), at((2.6, 0.0)).0, fill)
    }))?;
    for cell in spared {
        let (x, y) = px(chart.backend_coord(&at_rate(cell, cell.cut.upper)));
        let corners = [(x - 4.0, y - 3.5), (x + 4.0, y - 3.5), (x, y + 3.5)];
        sheet.draw(Polygon::new(corners.map(at), sheet.fill(&open)))?;
    }
    Ok(())
}

/// Names at the right end of the lines, moved apart.
fn labels(
    sheet: &Sheet,
    chart: &Rates,
    results: &Results,
    lines: &[(&str, Vec<&Rate>)],
    floor: f64,
) -> Result<(), Trouble> {
    let height = |rate: f64| px(chart.backend_coord(&(0.0, rate.clamp(floor, 1.0)))).1;
    let mut ends: Vec<(f64, &str, String)> = lines
        .iter()
        .filter_map(|(name, line)| {
            let cell = line.last()?;
            let shown = if cell.cut.rate > 0.0 {
                cell.cut.rate
            } else {
                cell.cut.upper
            };
            Some((
                height(shown),
                controller_class(name),
                short(name).to_owned(),
            ))
        })
        .collect();
    ends.push((
        height(results.allowed_cut_rate),
        "",
        format!("allowed {}", chosen_percent(results.allowed_cut_rate)),
    ));
    named(sheet, FRAME, ends)
}

/// A name that fits beside a line.
pub fn short(name: &str) -> &str {
    match name {
        "locked" => "locked",
        "on_off" => "on-off",
        "lag_compensated" => "lag-comp.",
        "lag_compensated_yaw" => "lag + yaw rate",
        _ => controller_title(name),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    /// Numbers of an attribute of every element that starts with `element`.
    fn attributes(svg: &str, element: &str, name: &str) -> Vec<f64> {
        svg.split(element)
            .skip(1)
            .map(|rest| {
                let rest = rest.split(&format!(" {name}=\"")).nth(1).unwrap();
                rest.split('"').next().unwrap().parse().unwrap()
            })
            .collect()
    }

    /// Px of the tick with that text.
    fn tick(svg: &str, text: &str) -> f64 {
        let before = svg.split(&format!(">{text}</text>")).next().unwrap();
        let y = before.rsplit(" y=\"").next().unwrap();
        y.split('"').next().unwrap().parse::<f64>().unwrap()
    }

    #[test]
    fn prop_the_dots_stand_at_the_rates_of_the_results() {
        let results = synthetic::results();
        for (i, picture) in pictures(&results, Units::Metric).iter().enumerate() {
            let svg = picture.standalone();
            let per_decade = tick(&svg, "1 %") - tick(&svg, "10 %");
            for name in ran(&results) {
                let element = format!("<circle class=\"dot {}", controller_class(name));
                let mut dots = attributes(&svg, &element, "cy");
                dots.pop();
                let rates: Vec<f64> = results
                    .whole_rows()
                    .filter(|cell| {
                        cell.controller == name
                            && cell.speed_m_s == results.speeds_m_s[i]
                            && cell.cut.rate > 0.0
                    })
                    .map(|cell| cell.cut.rate)
                    .collect();
                assert_eq!(dots.len(), rates.len());
                for (dot, rate) in dots.iter().zip(rates) {
                    let shown = 0.01 * 10f64.powf((tick(&svg, "1 %") - dot) / per_decade);
                    // Dots and ticks are kept to a tenth of a px, so a decade is known to a tenth as well.
                    let decades = (rate / 0.01).log10().abs();
                    let tolerance = 10f64.powf((0.1 * decades + 0.1) / per_decade) - 1.0;
                    assert!((shown / rate - 1.0).abs() < tolerance, "{shown} {rate}");
                }
            }
        }
    }

    #[test]
    fn prop_a_rate_of_zero_is_shown_by_its_upper_limit_alone() {
        let mut results = synthetic::results();
        results.rates.retain(|cell| cell.controller == "pid");
        results.controllers.retain(|note| note.controller == "pid");
        for cell in &mut results.rates {
            cell.cut.rate = 0.0;
            cell.cut.lower = 0.0;
        }
        let svg = pictures(&results, Units::Metric)[0].standalone();
        let triangles = svg
            .split("<path class=\"dot k2 open\" d=\"")
            .nth(1)
            .unwrap();
        let triangles = triangles.split('"').next().unwrap();
        assert_eq!(triangles.matches('Z').count(), results.clearances_m.len());
        assert_eq!(svg.matches("<circle").count(), 1, "the one beside the name");
    }
}
