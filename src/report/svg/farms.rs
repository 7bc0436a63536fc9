//! What farms like this one may see: on how many a speed keeps the allowed share of plants cut, and how wide plants cut lie apart over the
//! clearance, before and after learning from notes.

use super::sheet::{Anchor, Frame, HALF, HALF_PX, Sheet, drawn, px, range};
use super::{Picture, Trouble, controller_class};
use crate::report::display::{Units, limit_in_words, trimmed};
use crate::report::words::capital;
use crate::report::words::farms::{farms, plain};
use crate::results::lesson::{Band, Lesson};
use crate::results::{FarmShare, RAREST, Results};
use plotters::prelude::*;

/// Share of the farms over speed; `None` where all is known or one speed is simulated.
pub fn keeping(results: &Results, units: Units) -> Option<Picture> {
    let keeping = &results.answers.keeping;
    let (first, last) = (keeping.first()?, keeping.last()?);
    let assured = results.answers.assured.first()?;
    if last.speed_m_s <= first.speed_m_s {
        return None;
    }
    let title = format!(
        "Farms that keep {}, tools {} from the row",
        limit_in_words(results.allowed_cut_rate),
        units.clearance(assured.at_clearance_m)
    );
    let class = controller_class(assured.controller);
    let body = drawn(HALF_PX.0, HALF_PX.1, |sheet| {
        let across = range(units.speed(first.speed_m_s), units.speed(last.speed_m_s));
        let mut chart = sheet.chart(HALF, across, range(0.0, 100.0))?;
        sheet
            .axes(&mut chart)
            .x_labels(8)
            .y_labels(6)
            .x_label_formatter(&|speed| trimmed(*speed, 1))
            .y_label_formatter(&|share| trimmed(*share, 0))
            .x_desc(units.speed_unit())
            .y_desc("of 100 farms like this one")
            .draw()?;
        sheet.text("head", Anchor::Start, (HALF.left, 13.0), &title)?;
        let ends = [first, last].map(|one| (units.speed(one.speed_m_s), 100.0 * results.assurance));
        chart.draw_series(LineSeries::new(ends, sheet.stroke("rule")))?;
        let places = keeping
            .iter()
            .map(|one| (units.speed(one.speed_m_s), 100.0 * one.farms));
        chart.draw_series(LineSeries::new(
            places.clone(),
            sheet.stroke(&format!("line {class}")),
        ))?;
        for place in places {
            let at = px(chart.backend_coord(&place));
            sheet.dot(&format!("dot {class}"), at, 3.2)?;
        }
        Ok(())
    });
    Some(Picture {
        name: "farms_over_speed".into(),
        title,
        note: format!("Dashed: {}, for which the answers hold.", farms(results.assurance)),
        reading: "On how many farms like this one each simulated speed keeps the allowed share of plants cut. Farms differ in what the scenario \
                  says is not known."
            .to_owned(),
        width: HALF_PX.0,
        height: HALF_PX.1,
        body,
    })
}

/// Unknowns that the picture of the doubt shows at most.
const SHOWN: usize = 8;

const ROW_PX: f64 = 34.0;
const BAR_PX: f64 = 12.0;
const NAMES_PX: f64 = 250.0;

/// What carries the doubt: for each unknown its share in plants cut and in the highest speed; `None` where all is known.
pub fn doubt(results: &Results) -> Option<Picture> {
    let share = |share: Option<f64>| share.unwrap_or(0.0).max(0.0);
    let mut unknowns: Vec<(&str, f64, f64)> = (results.unknowns.iter())
        .filter(|unknown| unknown.share_of_rate.is_some() || unknown.share_of_speed.is_some())
        .map(|unknown| {
            let (rate, speed) = (unknown.share_of_rate, unknown.share_of_speed);
            (unknown.key.as_str(), share(rate), share(speed))
        })
        .collect();
    unknowns.sort_by(|a, b| b.1.total_cmp(&a.1));
    unknowns.truncate(SHOWN);
    let most = unknowns
        .iter()
        .map(|one| one.1.max(one.2))
        .fold(0.0, f64::max);
    if most <= 0.0 {
        return None;
    }
    let title = "What carries the doubt".to_owned();
    let height_px = 56.0 + ROW_PX * unknowns.len() as f64;
    let body = drawn(HALF_PX.0, height_px, |sheet| {
        sheet.text("head", Anchor::Start, (16.0, 13.0), &title)?;
        let looks = [("k6", "plants cut"), ("k1", "highest speed")];
        for (place, (look, words)) in looks.iter().enumerate() {
            let x = NAMES_PX + 90.0 * place as f64;
            sheet.rect(&format!("bar {look}"), [(x, 26.0), (x + 12.0, 35.0)])?;
            sheet.text("small", Anchor::Start, (x + 17.0, 31.0), words)?;
        }
        for (row, (key, rate, speed)) in unknowns.iter().enumerate() {
            let top = 48.0 + ROW_PX * row as f64;
            let name = capital(&plain(key));
            sheet.text("small", Anchor::End, (NAMES_PX - 8.0, top + BAR_PX), &name)?;
            for (place, share) in [*rate, *speed].into_iter().enumerate() {
                let y = top + BAR_PX * place as f64;
                let width = (HALF_PX.0 - NAMES_PX - 48.0) * share / most;
                let look = looks[place].0;
                sheet.rect(
                    &format!("bar {look}"),
                    [(NAMES_PX, y), (NAMES_PX + width.max(0.5), y + BAR_PX - 1.0)],
                )?;
                let at = (NAMES_PX + width + 5.0, y + 0.5 * BAR_PX);
                sheet.text(
                    "small",
                    Anchor::Start,
                    at,
                    &format!("{:.0} %", 100.0 * share),
                )?;
            }
        }
        Ok(())
    });
    Some(Picture {
        name: "doubt".into(),
        title,
        note: String::new(),
        reading: "How much of the doubt each unknown carries at the setting that the answers speak of: shares of the variance after Shapley."
            .to_owned(),
        width: HALF_PX.0,
        height: height_px,
        body,
    })
}

/// A share as a power of ten.
fn lg(share: f64) -> f64 {
    share.max(RAREST).log10()
}

/// Bands of plants cut over the clearance, before and after the notes.
pub fn lesson(lesson: &Lesson) -> Option<Picture> {
    let units = lesson.units;
    let bands = &lesson.over_clearance;
    let (first, last) = (bands.first()?, bands.last()?);
    if last.clearance_m <= first.clearance_m {
        return None;
    }
    let title = format!(
        "Plants cut at {}, before and after",
        units.speed_text(lesson.speed_m_s)
    );
    let class = controller_class(lesson.controller);
    let body = drawn(HALF_PX.0, HALF_PX.1, |sheet| {
        let across = range(
            units.small(first.clearance_m),
            units.small(last.clearance_m),
        );
        let mut chart = sheet.chart(WORDED, across, range(lg(RAREST), 0.0))?;
        sheet
            .axes(&mut chart)
            .x_labels(8)
            .y_labels(5)
            .x_label_formatter(&|clearance| trimmed(*clearance, 2))
            .y_label_formatter(&|power| limit_in_words(10_f64.powf(*power)))
            .x_desc(format!("tools from the row, {}", units.small_unit()))
            .draw()?;
        sheet.text("head", Anchor::Start, (WORDED.left, 13.0), &title)?;
        let of = |share: fn(&Band) -> FarmShare, end: fn(&FarmShare) -> f64| {
            let place = move |band: &Band| (units.small(band.clearance_m), lg(end(&share(band))));
            bands.iter().map(place).collect::<Vec<(f64, f64)>>()
        };
        for (look, share) in [
            ("band k0", (|band| band.before) as fn(&Band) -> FarmShare),
            ("band own", |band| band.after),
        ] {
            let look = look.replace("own", class);
            let mut outline = of(share, |share| share.p05);
            outline.extend(of(share, |share| share.p95).into_iter().rev());
            chart.draw_series([Polygon::new(outline, sheet.fill(&look))])?;
        }
        for (look, share) in [
            ("line k0", (|band| band.before) as fn(&Band) -> FarmShare),
            ("line own", |band| band.after),
        ] {
            let line = of(share, |share| share.p50);
            chart.draw_series(LineSeries::new(
                line,
                sheet.stroke(&look.replace("own", class)),
            ))?;
        }
        let allowed = lg(lesson.allowed_cut_rate);
        let ends = [first, last].map(|band| (units.small(band.clearance_m), allowed));
        chart.draw_series(LineSeries::new(ends, sheet.stroke("rule")))?;
        named(sheet, class)
    });
    Some(Picture {
        name: "learned".into(),
        title,
        note: format!("Dashed: the allowed {}.", limit_in_words(lesson.allowed_cut_rate)),
        reading: "Of ten farms like this one nine lie in the band; the line is every second one. Grey: before the notes. Coloured: with them."
            .to_owned(),
        width: HALF_PX.0,
        height: HALF_PX.1,
        body,
    })
}

/// Rates in words take more room than numbers.
const WORDED: Frame = Frame { left: 92.0, ..HALF };

/// What the colours are.
fn named(sheet: &Sheet, class: &str) -> Result<(), Trouble> {
    for (row, (look, words)) in [("k0", "before the notes"), (class, "with them")]
        .iter()
        .enumerate()
    {
        let y = HALF.top + 14.0 + 17.0 * row as f64;
        sheet.line(
            &format!("line {look}"),
            [(HALF.right - 150.0, y), (HALF.right - 126.0, y)],
        )?;
        sheet.text("small", Anchor::Start, (HALF.right - 120.0, y), words)?;
    }
    Ok(())
}
