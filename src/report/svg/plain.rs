//! Plants cut at each speed, for somebody who reads no diagrams: one bar a speed, its rate in words above it.

use super::Picture;
use super::sheet::{Anchor, drawn};
use crate::report::display::{Units, limit_in_words};
use crate::results::{Rate, Results};

const WIDTH_PX: f64 = 540.0;
const HEIGHT_PX: f64 = 270.0;
const LEFT_PX: f64 = 16.0;
const RIGHT_PX: f64 = WIDTH_PX - 16.0;
const WORDS_PX: f64 = 42.0;
const TOP_PX: f64 = 76.0;
const GROUND_PX: f64 = 216.0;

/// Where bars stand nearer than this, words are smaller.
const NARROW_PX: f64 = 48.0;

/// Bars higher than this many times the allowed rate are cut off; the scale reaches at least to the lower of the two.
const TALLEST: f64 = 3.0;
const LEAST_TALL: f64 = 1.3;

/// The picture for the controller that the answers speak of, at the recommended clearance.
pub fn picture(results: &Results, units: Units) -> Option<Picture> {
    let controller = results.answers.controller?;
    let clearance_m = design_clearance_m(results);
    let cells: Vec<&Rate> = results
        .whole_rows()
        .filter(|cell| cell.controller == controller && cell.clearance_m == clearance_m)
        .collect();
    if cells.is_empty() {
        return None;
    }
    let allowed = results.allowed_cut_rate;
    let top = scale(&cells, allowed);
    let height = |rate: f64| GROUND_PX - (GROUND_PX - TOP_PX) * (rate / top).min(1.0);
    let step = (RIGHT_PX - LEFT_PX) / cells.len() as f64;
    let half = (0.32 * step).min(30.0);
    let title = format!(
        "How many plants are cut, tools {} from the row",
        units.clearance(clearance_m)
    );
    let body = drawn(WIDTH_PX, HEIGHT_PX, |sheet| {
        sheet.text("head", Anchor::Start, (LEFT_PX, 13.0), &title)?;
        for (i, cell) in cells.iter().enumerate() {
            let middle = LEFT_PX + (i as f64 + 0.5) * step;
            let end = height(cell.cut.rate);
            let keeps = cell.cut.upper <= allowed;
            let class = if keeps { "bar fine" } else { "bar many" };
            sheet.rect(class, [(middle - half, end), (middle + half, GROUND_PX)])?;
            if cell.cut.rate > top {
                // A gap through the bar: it goes on.
                let (low, high) = (TOP_PX + 22.0, TOP_PX + 14.0);
                sheet.line(
                    "gap",
                    [(middle - half - 3.0, low), (middle + half + 3.0, high)],
                )?;
            }
            let whisker = height(cell.cut.upper);
            sheet.line("axis", [(middle, end), (middle, whisker)])?;
            sheet.line("axis", [(middle - 5.0, whisker), (middle + 5.0, whisker)])?;
            let (first, second) = two_lines(cell.cut.rate);
            let (plain, bold) = if step < NARROW_PX {
                ("small", "small head")
            } else {
                ("", "head")
            };
            sheet.text(plain, Anchor::Middle, (middle, WORDS_PX), &first)?;
            sheet.text(bold, Anchor::Middle, (middle, WORDS_PX + 15.0), &second)?;
            let speed = units.speed_number(cell.speed_m_s);
            sheet.text("", Anchor::Middle, (middle, GROUND_PX + 14.0), &speed)?;
        }
        sheet.line("axis", [(LEFT_PX, GROUND_PX), (RIGHT_PX, GROUND_PX)])?;
        let line = height(allowed);
        sheet.line("rule", [(LEFT_PX, line), (RIGHT_PX, line)])?;
        let allowed = format!("dashed: the allowed {}", limit_in_words(allowed));
        sheet.text("small", Anchor::End, (RIGHT_PX, 13.0), &allowed)?;
        let unit = format!("speed, {}", units.speed_unit());
        sheet.text(
            "",
            Anchor::Middle,
            (0.5 * WIDTH_PX, GROUND_PX + 34.0),
            &unit,
        )
    });
    Some(Picture {
        name: "cut_by_speed".into(),
        title,
        note: String::new(),
        reading: format!(
            "One bar for each simulated speed, above it one plant in how many is cut. The thin line reaches up to the most \
             that the passes leave open: full bars keep the allowed {} even then, open bars do not.{}",
            limit_in_words(results.allowed_cut_rate),
            if cells.iter().any(|cell| cell.cut.rate > top) {
                " A bar that is cut through goes on."
            } else {
                ""
            }
        ),
        width: WIDTH_PX,
        height: HEIGHT_PX,
        body,
    })
}

/// The recommended clearance, else the one worked with now, m.
fn design_clearance_m(results: &Results) -> f64 {
    let recommended = results.answers.recommended.as_ref();
    recommended.map_or(results.working_clearance_m, |setting| setting.clearance_m)
}

/// The rate at the upper end of the bars.
fn scale(cells: &[&Rate], allowed: f64) -> f64 {
    let highest = cells.iter().map(|cell| cell.cut.upper).fold(0.0, f64::max);
    highest.clamp(LEAST_TALL * allowed, TALLEST * allowed)
}

/// "1 in" over "240".
fn two_lines(rate: f64) -> (String, String) {
    let words = limit_in_words(rate);
    match words.split_once(" in ").or(words.split_once(" of ")) {
        Some((count, whole)) => {
            let word = if words.contains(" in ") { "in" } else { "of" };
            (format!("{count} {word}"), whole.to_owned())
        }
        None => (String::new(), words),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_bars_stand_for_the_rates_and_say_which_keep_the_allowed() {
        let results = synthetic::results();
        let svg = picture(&results, Units::Metric).unwrap().standalone();
        let cells: Vec<&Rate> = results
            .whole_rows()
            .filter(|cell| {
                Some(cell.controller) == results.answers.controller
                    && cell.clearance_m == results.working_clearance_m
            })
            .collect();
        let bars: Vec<&str> = svg.split("<rect class=\"bar ").skip(1).collect();
        assert_eq!(bars.len(), cells.len());
        let top = scale(&cells, results.allowed_cut_rate);
        for (bar, cell) in bars.iter().zip(cells) {
            assert_eq!(
                bar.starts_with("fine"),
                cell.cut.upper <= results.allowed_cut_rate
            );
            let height = bar.split(" height=\"").nth(1).unwrap();
            let height: f64 = height.split('"').next().unwrap().parse().unwrap();
            let share = (cell.cut.rate / top).min(1.0);
            // Both ends of a bar are kept to a tenth of a px.
            assert!(
                (height - share * (GROUND_PX - TOP_PX)).abs() < 0.2,
                "{height}"
            );
            let (_, whole) = two_lines(cell.cut.rate);
            assert!(svg.contains(&format!(">{whole}</text>")));
        }
        // What no bar has is not explained.
        let mut rare = synthetic::results();
        for Rate { cut, .. } in &mut rare.rates {
            (cut.rate, cut.upper) = (0.1 * rare.allowed_cut_rate, 0.2 * rare.allowed_cut_rate);
        }
        for results in [results, rare] {
            let picture = picture(&results, Units::Metric).unwrap();
            let gap = picture.standalone().contains("class=\"gap\"");
            assert_eq!(picture.reading.contains("cut through"), gap);
        }
        assert_eq!(two_lines(1.0 / 240.0), ("1 in".into(), "240".into()));
        assert_eq!(two_lines(0.56), ("56 of".into(), "100".into()));
    }
}
