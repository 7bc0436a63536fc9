//! Tool error over the camera's lookahead, with the scenario's own and the best one.

use super::sheet::{Anchor, HALF, HALF_PX, drawn, px, range};
use super::{Picture, controller_class};
use crate::report::display::{Units, trimmed};
use crate::results::answers::{ControlAnswer, LookaheadError};
use plotters::prelude::*;

/// Room for the words beside a mark.
const WORDS_PX: f64 = 200.0;

/// The picture, if there are lookaheads to compare.
pub fn picture(control: &ControlAnswer, units: Units) -> Option<Picture> {
    let points = &control.lookaheads;
    let (first, last) = (points.first()?, points.last()?);
    if last.lookahead_m <= first.lookahead_m {
        return None;
    }
    let name = control.controller?;
    let title = format!(
        "Tool error over lookahead at {}",
        units.speed_text(control.speed_m_s)
    );
    let place = |point: &LookaheadError| {
        (
            units.distance(point.lookahead_m),
            units.small(point.tool_error_sd_m),
        )
    };
    let at = |lookahead_m: f64| points.iter().find(|p| p.lookahead_m == lookahead_m);
    let own = at(control.lookahead_m);
    let best = control.best_lookahead_m.and_then(at);
    let most = points.iter().map(|p| place(p).1).fold(0.0, f64::max);
    let words = |whose: &str, point: &LookaheadError| {
        format!(
            "{whose}: {} {}, error {}",
            trimmed(units.distance(point.lookahead_m), 2),
            units.distance_unit(),
            units.small_text(point.tool_error_sd_m)
        )
    };
    let body = drawn(HALF_PX.0, HALF_PX.1, |sheet| {
        let across = range(place(first).0, place(last).0);
        let mut chart = sheet.chart(HALF, across, range(0.0, 1.08 * most))?;
        sheet
            .axes(&mut chart)
            .x_labels(8)
            .y_labels(6)
            .x_label_formatter(&|lookahead| trimmed(*lookahead, 2))
            .y_label_formatter(&|error| trimmed(*error, 3))
            .x_desc(format!("lookahead, {}", units.distance_unit()))
            .y_desc(format!("tool error (sd), {}", units.small_unit()))
            .draw()?;
        sheet.text("head", Anchor::Start, (HALF.left, 13.0), &title)?;
        let class = controller_class(name);
        chart.draw_series(LineSeries::new(
            points.iter().map(place),
            sheet.stroke(&format!("line {class}")),
        ))?;
        let mut marks: Vec<(&LookaheadError, &str, bool)> = match (best, own) {
            (Some(best), Some(own)) if best.lookahead_m == own.lookahead_m => {
                vec![(best, "best, as set", true)]
            }
            _ => best
                .map(|point| (point, "best", true))
                .into_iter()
                .chain(own.map(|point| (point, "as set", false)))
                .collect(),
        };
        // The room under the curve is free: words stand there, a line each, so that no leader runs through them.
        let lowest = points
            .iter()
            .map(|p| place(p).1)
            .fold(f64::INFINITY, f64::min);
        let under = px(chart.backend_coord(&(0.0, lowest))).1;
        let across = |point: &LookaheadError| px(chart.backend_coord(&place(point)));
        marks.sort_by(|a, b| b.0.lookahead_m.total_cmp(&a.0.lookahead_m));
        let to_the_right = marks
            .iter()
            .all(|mark| across(mark.0).0 + WORDS_PX < HALF.right);
        if !to_the_right {
            marks.reverse();
        }
        for (line, (point, whose, filled)) in marks.into_iter().enumerate() {
            let (x, y) = across(point);
            let text_y = under + 0.3 * (HALF.bottom - under) * (1.0 + line as f64);
            sheet.line("thin", [(x, y), (x, text_y)])?;
            let (look, radius_px) = if filled {
                (format!("dot {class}"), 3.2)
            } else {
                (format!("dot {class} open"), 5.5)
            };
            sheet.dot(&look, (x, y), radius_px)?;
            let (anchor, text_x) = if to_the_right {
                (Anchor::Start, x + 6.0)
            } else {
                (Anchor::End, x - 6.0)
            };
            sheet.text("small", anchor, (text_x, text_y), &words(whose, point))?;
        }
        Ok(())
    });
    let note = match (best, own) {
        (Some(best), Some(own)) => format!("{}; {}.", words("Best", best), words("as set", own)),
        _ => String::new(),
    };
    Some(Picture {
        name: format!("lookahead_{}", name.name()),
        title,
        note,
        reading: "Standard deviation of the tool error by the linear check over how far ahead of the tools the camera looks, all else as the \
                  scenario sets it. Filled: the best. Hollow: the scenario's own. A constant error from slope or alignment has no say in it."
            .to_owned(),
        width: HALF_PX.0,
        height: HALF_PX.1,
        body,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::controller::Kind;
    use crate::results::answers::Status;

    /// A parabola with its lowest point at 1 m.
    fn control(own_m: f64) -> ControlAnswer {
        ControlAnswer {
            status: Status::Ok,
            controller: Some(Kind::Pid),
            speed_m_s: 2.0,
            lookahead_m: own_m,
            best_lookahead_m: Some(1.0),
            lookaheads: (0..=20)
                .map(|i| f64::from(i) / 10.0)
                .map(|lookahead_m| LookaheadError {
                    lookahead_m,
                    tool_error_sd_m: 0.008 + 0.004 * (lookahead_m - 1.0).powi(2),
                })
                .collect(),
            ..ControlAnswer::default()
        }
    }

    fn dots(svg: &str) -> Vec<(f64, f64)> {
        svg.split("<circle")
            .skip(1)
            .map(|rest| {
                let number = |name: &str| -> f64 {
                    let rest = rest.split(&format!(" {name}=\"")).nth(1).unwrap();
                    rest.split('"').next().unwrap().parse().unwrap()
                };
                (number("cx"), number("cy"))
            })
            .collect()
    }

    /// The scale ends at 108 % of 12 mm over the frame's height, 2 m over its width; places are kept to 0.1 px,
    /// and the library's own scale to another.
    #[test]
    fn analytic_dots_stand_at_their_lookahead_and_error() {
        for own_m in [0.2, 1.8] {
            let picture = picture(&control(own_m), Units::Metric).unwrap();
            let found = dots(&picture.standalone());
            assert_eq!(found.len(), 2);
            let place = |lookahead_m: f64| {
                let error_mm = 8.0 + 4.0 * (lookahead_m - 1.0).powi(2);
                let x = HALF.left + (HALF.right - HALF.left) * lookahead_m / 2.0;
                let y = HALF.bottom - (HALF.bottom - HALF.top) * error_mm / (1.08 * 12.0);
                (x, y)
            };
            for wanted in [place(1.0), place(own_m)] {
                assert!(
                    found
                        .iter()
                        .any(|dot| (dot.0 - wanted.0).abs() < 0.2 && (dot.1 - wanted.1).abs() < 0.2),
                    "{found:?} {wanted:?}"
                );
            }
            assert!(
                picture
                    .note
                    .starts_with("Best: 1 m, error 8.0 mm; as set: ")
            );
        }
    }

    #[test]
    fn regress_the_best_as_set_is_one_mark_and_nothing_to_compare_no_picture() {
        let mut control = control(1.0);
        let svg = picture(&control, Units::Us).unwrap().standalone();
        assert_eq!(dots(&svg).len(), 1);
        assert!(svg.contains("best, as set: "));
        control.lookaheads.truncate(1);
        assert!(picture(&control, Units::Us).is_none());
    }
}
