//! Error budget of the linear check at the working speed: what each source alone would leave, controller beside controller.

use super::sheet::{Anchor, Frame, drawn, px, range};
use super::{Picture, controller_class};
use crate::linear::Source;
use crate::model::controller::Kind;
use crate::report::display::{Units, controller_title};
use crate::report::words::reasons::error_source;
use crate::results::{BudgetShare, Results};
use plotters::prelude::*;

/// Room for one character of a source's name, a little more than a sans-serif font takes on average.
const CHARACTER_PX: f64 = 7.0;
const PANEL_PX: f64 = 150.0;
const ROW_PX: f64 = 22.0;
const TOP_PX: f64 = 48.0;

/// Room for the numbers beside the bars of a panel.
const NUMBERS_PX: f64 = 62.0;

/// Shares at the working speed as (sources, controllers), the largest source over all guided controllers first.
pub fn table(results: &Results) -> (Vec<Option<Source>>, Vec<Kind>) {
    let shares: Vec<&BudgetShare> = results
        .error_budget
        .iter()
        .filter(|share| share.speed_m_s == results.working_speed_m_s)
        .collect();
    let mut controllers: Vec<Kind> = Vec::new();
    let mut sources: Vec<(Option<Source>, f64)> = Vec::new();
    for share in &shares {
        if !controllers.contains(&share.controller) {
            controllers.push(share.controller);
        }
        let weight = if !share.controller.moves() {
            0.0
        } else {
            share.variance_m2
        };
        match sources.iter_mut().find(|(name, _)| *name == share.source) {
            Some((_, most)) => *most = most.max(weight),
            None => sources.push((share.source, weight)),
        }
    }
    sources.sort_by(|a, b| b.1.total_cmp(&a.1));
    (
        sources.into_iter().map(|(name, _)| name).collect(),
        controllers,
    )
}

/// The variance of one source, m².
pub fn variance_m2(results: &Results, controller: Kind, source: Option<Source>) -> Option<f64> {
    results
        .error_budget
        .iter()
        .find(|share| {
            share.controller == controller
                && share.source == source
                && share.speed_m_s == results.working_speed_m_s
        })
        .map(|share| share.variance_m2)
}

/// The sum of a controller's shares, m².
pub fn total_m2(results: &Results, controller: Kind) -> f64 {
    results
        .error_budget
        .iter()
        .filter(|share| {
            share.controller == controller && share.speed_m_s == results.working_speed_m_s
        })
        .map(|share| share.variance_m2)
        .sum()
}

/// The picture, if any controller has a linear form.
pub fn picture(results: &Results, units: Units) -> Option<Picture> {
    let (sources, controllers) = table(results);
    if controllers.is_empty() {
        return None;
    }
    let longest = sources
        .iter()
        .flat_map(|source| controllers.iter().map(move |name| (*name, *source)))
        .filter_map(|(name, source)| variance_m2(results, name, source))
        .fold(0.0, f64::max)
        .sqrt();
    let names_px = sources
        .iter()
        .map(|source| error_source(*source).chars().count())
        .max()
        .unwrap_or(0) as f64
        * CHARACTER_PX
        + 24.0;
    let bottom_px = TOP_PX + ROW_PX * sources.len() as f64;
    let title = format!(
        "What keeps the tools off the row at {}",
        units.speed_text(results.working_speed_m_s)
    );
    let width = names_px + PANEL_PX * controllers.len() as f64;
    let height = bottom_px + 34.0;
    let names_end = names_px - 10.0;
    let body = drawn(width, height, |sheet| {
        let heading = format!("{title}, {}", units.small_unit());
        sheet.text("head", Anchor::Start, (8.0, 13.0), &heading)?;
        for (i, source) in sources.iter().enumerate() {
            let place = (names_end, TOP_PX + ROW_PX * (i as f64 + 0.5));
            sheet.text("", Anchor::End, place, error_source(*source))?;
        }
        let (rule, totals) = (bottom_px + 3.0, bottom_px + 16.0);
        sheet.line("grid", [(8.0, rule), (width - 8.0, rule)])?;
        sheet.text("head", Anchor::End, (names_end, totals), "all together")?;
        for (panel, &name) in controllers.iter().enumerate() {
            let left = names_px + PANEL_PX * panel as f64;
            let frame = Frame {
                left,
                right: left + PANEL_PX - NUMBERS_PX,
                top: TOP_PX,
                bottom: bottom_px,
            };
            // Rows are counted downwards.
            let rows = sources.len() as f64..0.0;
            let mut chart = sheet.chart(frame, range(0.0, longest), rows)?;
            let bars: Vec<(f64, f64)> = sources
                .iter()
                .enumerate()
                .filter_map(|(i, source)| {
                    let variance_m2 = variance_m2(results, name, *source)?;
                    Some((i as f64 + 0.5, variance_m2.sqrt()))
                })
                .collect();
            let colour = sheet.fill(&format!("bar {}", controller_class(name)));
            chart.draw_series(bars.iter().map(|(row, sd_m)| {
                Rectangle::new([(0.0, row - 0.32), (*sd_m, row + 0.32)], colour)
            }))?;
            for (row, sd_m) in bars {
                let (end, y) = px(chart.backend_coord(&(sd_m, row)));
                let number = units.small_number(sd_m);
                sheet.text("small", Anchor::Start, (end + 5.0, y), &number)?;
            }
            sheet.axes(&mut chart).disable_x_axis().y_labels(0).draw()?;
            let total = units.small_text(total_m2(results, name).sqrt());
            let heading = controller_title(name);
            sheet.text("small head", Anchor::Start, (left, 36.0), heading)?;
            sheet.text("head", Anchor::Start, (left, totals), &total)?;
        }
        Ok(())
    });
    Some(Picture {
        name: "error_budget".into(),
        title,
        note: String::new(),
        reading: "Standard deviation that each source alone would leave at the tools, by the linear check. Their squares add up \
                  to the square of the total in the last line, so halving the largest helps most and halving a small one hardly."
            .into(),
        width,
        height,
        body,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_the_numbers_beside_the_bars_are_roots_of_the_variances() {
        let results = synthetic::results();
        let svg = picture(&results, Units::Metric).unwrap().standalone();
        let shown: Vec<f64> = svg
            .split("<text class=\"small\"")
            .skip(1)
            .map(|rest| {
                let text = rest.split('>').nth(1).unwrap().split('<').next().unwrap();
                text.parse().unwrap()
            })
            .collect();
        let bars_px: Vec<f64> = svg
            .split("<rect class=\"bar")
            .skip(1)
            .map(|rest| {
                let width = rest.split("width=\"").nth(1).unwrap();
                width.split('"').next().unwrap().parse().unwrap()
            })
            .collect();
        let (sources, controllers) = table(&results);
        assert_eq!(shown.len(), sources.len() * controllers.len());
        let expected: Vec<f64> = controllers
            .iter()
            .flat_map(|&name| sources.iter().map(move |source| (name, source)))
            .map(|(name, source)| variance_m2(&results, name, *source).unwrap().sqrt())
            .collect();
        assert_eq!(bars_px.len(), expected.len());
        let longest_m = expected.iter().copied().fold(0.0, f64::max);
        for ((shown_mm, bar_px), sd_m) in shown.iter().zip(bars_px).zip(expected) {
            // Shown to a tenth of a millimetre.
            assert!((shown_mm - 1000.0 * sd_m).abs() <= 0.05 + 1e-9);
            // Both ends of a bar and the panel's border are kept to a tenth of a px.
            let px = (PANEL_PX - NUMBERS_PX) * sd_m / longest_m;
            assert!((bar_px - px).abs() < 0.3, "{bar_px} {px}");
        }
    }
}
