//! What was predicted of a farm's findings, as bars, and what was found, as dots.

use super::Picture;
use super::sheet::{Anchor, HALF_PX, drawn};
use crate::report::display::Units;
use crate::report::lesson::{name, said};
use crate::report::words::capital;
use crate::results::lesson::Predicted;

const ROW_PX: f64 = 46.0;
const TOP_PX: f64 = 34.0;
const NAMES_PX: f64 = 16.0;
const BAR_PX: f64 = 10.0;

/// Each finding on its own scale: the bar is what 9 farms in 10 lie between, the stroke every second one. `None` without findings.
pub fn predicted(all: &[Predicted], units: Units) -> Option<Picture> {
    if all.is_empty() {
        return None;
    }
    let title = "Predicted against found".to_owned();
    let height_px = TOP_PX + ROW_PX * all.len() as f64 + 8.0;
    let body = drawn(HALF_PX.0, height_px, |sheet| {
        sheet.text("head", Anchor::Start, (NAMES_PX, 13.0), &title)?;
        for (row, one) in all.iter().enumerate() {
            let top = TOP_PX + ROW_PX * row as f64;
            let ends = one.predicted;
            let (least, most) = (ends.p05.min(one.found), ends.p95.max(one.found));
            let (from, to) = (NAMES_PX + 60.0, HALF_PX.0 - 90.0);
            let scale = if most > least {
                (to - from) / (most - least)
            } else {
                0.0
            };
            let x = |value: f64| from + scale * (value - least);
            let found = format!(
                "{}: found {}",
                capital(&name(one)),
                said(one, one.found, units)
            );
            sheet.text("small", Anchor::Start, (NAMES_PX, top), &found)?;
            let y = top + 20.0;
            let bar = [
                (x(ends.p05), y - BAR_PX / 2.0),
                (x(ends.p95) + 0.5, y + BAR_PX / 2.0),
            ];
            sheet.rect("bar k1", bar)?;
            sheet.line(
                "line k6",
                [(x(ends.p50), y - BAR_PX), (x(ends.p50), y + BAR_PX)],
            )?;
            sheet.dot(
                if one.agrees { "dot k2" } else { "dot k6" },
                (x(one.found), y),
                4.0,
            )?;
            let (low, high) = (said(one, ends.p05, units), said(one, ends.p95, units));
            sheet.text("small", Anchor::End, (x(ends.p05) - 8.0, y), &low)?;
            sheet.text(
                "small",
                Anchor::Start,
                (x(ends.p95).max(x(one.found)) + 8.0, y),
                &high,
            )?;
        }
        Ok(())
    });
    Some(Picture {
        name: "predicted".into(),
        title,
        note: String::new(),
        reading: "Bar: what 9 farms in 10 like this one lie between, by the scenario as it was. Stroke: every second farm. Dot: what was found."
            .to_owned(),
        width: HALF_PX.0,
        height: height_px,
        body,
    })
}
