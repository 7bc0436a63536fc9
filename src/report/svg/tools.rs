//! Rows, bands, tools and tyres to scale, seen from behind: left is left.

use super::sheet::{Anchor, Sheet, drawn};
use super::{Picture, Trouble};
use crate::report::display::{Tape, Units, trimmed};
use crate::results::answers::SheetAnswer;

const LEFT_PX: f64 = 24.0;
const WIDTH_PX: f64 = 1000.0;

/// Least distance of edge labels beside one another.
const LABEL_PX: f64 = 13.0;

/// Heights of what is drawn, from above.
const UPPER_LABELS_PX: f64 = 40.0;
const NUMBERS_PX: f64 = 51.0;
const ROWS_PX: [f64; 2] = [58.0, 154.0];
const LANES_PX: [[f64; 2]; 2] = [[68.0, 101.0], [111.0, 144.0]];
const LOWER_LABELS_PX: f64 = 172.0;
const TYRES_PX: [f64; 2] = [210.0, 232.0];
const SCALE_PX: f64 = 250.0;
const HEIGHT_PX: f64 = 258.0;

/// The picture, if there are tools.
pub fn picture(answer: &SheetAnswer, units: Units) -> Option<Picture> {
    let ends = outermost(answer)?;
    let lanes = lanes(answer);
    let most = [0, 1].map(|lane| 2 * lanes.iter().filter(|one| **one == lane).count());
    let labels_px = LABEL_PX * most[0].max(most[1]) as f64;
    let width = WIDTH_PX.max(labels_px + 2.0 * LEFT_PX);
    let per_m = (width - 2.0 * LEFT_PX) / (ends.0 - ends.1);
    // Left is positive.
    let across = |lateral_m: f64| LEFT_PX + (ends.0 - lateral_m) * per_m;
    let body = drawn(width, HEIGHT_PX, |sheet| {
        for row_m in &answer.rows_m {
            let [left, right] = [1.0, -1.0].map(|side| across(row_m + side * answer.clearance_m));
            sheet.rect("protect", [(left, ROWS_PX[0]), (right, ROWS_PX[1])])?;
        }
        for [left_m, right_m] in &answer.gaps_m {
            sheet.rect(
                "gapped",
                [
                    (across(*left_m), ROWS_PX[0]),
                    (across(*right_m), ROWS_PX[1]),
                ],
            )?;
        }
        let centre = across(0.0);
        // It leaves room for the label of an edge close by.
        for ends in [
            [NUMBERS_PX + 6.0, LOWER_LABELS_PX],
            [TYRES_PX[0] - 4.0, TYRES_PX[1]],
        ] {
            sheet.line("rule", ends.map(|y| (centre, y)))?;
        }
        for (i, row_m) in answer.rows_m.iter().enumerate() {
            let x = across(*row_m);
            sheet.line("axis", [(x, ROWS_PX[0]), (x, ROWS_PX[1])])?;
            sheet.dot("plant", (x, 0.5 * (ROWS_PX[0] + ROWS_PX[1])), 4.0)?;
            let number = format!("{}", i + 1);
            sheet.text("head", Anchor::Middle, (x, NUMBERS_PX), &number)?;
        }
        for (i, (tool, lane)) in answer.tools.iter().zip(&lanes).enumerate() {
            let [top, bottom] = LANES_PX[*lane];
            let (left, right) = (across(tool.left_edge_m), across(tool.right_edge_m));
            sheet.rect("tool", [(left, top), (right, bottom)])?;
            let corners = [
                (left, top),
                (right, top),
                (right, bottom),
                (left, bottom),
                (left, top),
            ];
            sheet.line("edge", corners)?;
            let place = (0.5 * (left + right), 0.5 * (top + bottom));
            sheet.text("small", Anchor::Middle, place, &format!("{}", i + 1))?;
        }
        for lane in [0, 1] {
            edges(sheet, answer, &lanes, lane, &across, (width, units))?;
        }
        for [left_m, right_m] in &answer.tyres_m {
            let (left, right) = (across(*left_m), across(*right_m));
            sheet.rect("tyre", [(left, TYRES_PX[0]), (right, TYRES_PX[1])])?;
            let place = (0.5 * (left + right), 0.5 * (TYRES_PX[0] + TYRES_PX[1]));
            sheet.text("small", Anchor::Middle, place, "tyre")?;
        }
        scale(sheet, per_m, width, units)
    });
    Some(Picture {
        name: "tools".into(),
        title: "Rows, tools and tyres to scale".into(),
        note: String::new(),
        reading: format!(
            "To scale across, seen from behind in the direction of travel. Rows are numbered above, tools inside; the number at an edge is its \
             distance from the centre in {}. Green: the bands of {} to either side of a row that no tool enters. {}Grey: tyres. \
             Tools side by side are drawn one behind the other. Dashed: the centre.",
            match units {
                Units::Metric => "mm",
                Units::Us => "inches, to the tenth",
            },
            match units {
                Units::Metric => format!("{} mm", tape(answer).length(answer.clearance_m)),
                Units::Us => units.clearance(answer.clearance_m),
            },
            if answer.gaps_m.is_empty() {
                ""
            } else {
                "Red: strips that no tool works. "
            }
        ),
        width,
        height: HEIGHT_PX,
        body,
    })
}

/// Leftmost and rightmost of all that is drawn, m.
fn outermost(answer: &SheetAnswer) -> Option<(f64, f64)> {
    if answer.tools.is_empty() {
        return None;
    }
    let tools = answer
        .tools
        .iter()
        .flat_map(|tool| [tool.left_edge_m, tool.right_edge_m]);
    let tyres = answer.tyres_m.iter().flatten().copied();
    let bands = answer
        .rows_m
        .iter()
        .flat_map(|row_m| [row_m + answer.clearance_m, row_m - answer.clearance_m]);
    let (left, right) = tools
        .chain(tyres)
        .chain(bands)
        .fold((0.0, 0.0), |(left, right), m| {
            (f64::max(left, m), f64::min(right, m))
        });
    (left > right).then_some((left, right))
}

/// Front or rear, so that neighbours in a space between rows do not cover one another.
fn lanes(answer: &SheetAnswer) -> Vec<usize> {
    let mut lanes: Vec<usize> = Vec::new();
    for (i, tool) in answer.tools.iter().enumerate() {
        let beside = i.checked_sub(1).is_some_and(|before| {
            answer.tools[before].row_left == tool.row_left
                && answer.tools[before].row_right == tool.row_right
        });
        lanes.push(match lanes.last() {
            Some(last) if beside => 1 - last,
            _ => 0,
        });
    }
    lanes
}

/// The edges of one lane with their distances from the centre.
fn edges(
    sheet: &Sheet,
    answer: &SheetAnswer,
    lanes: &[usize],
    lane: usize,
    across: &dyn Fn(f64) -> f64,
    (width, units): (f64, Units),
) -> Result<(), Trouble> {
    let edges: Vec<f64> = answer
        .tools
        .iter()
        .zip(lanes)
        .filter(|(_, one)| **one == lane)
        .flat_map(|(tool, _)| [tool.left_edge_m, tool.right_edge_m])
        .collect();
    let mm = tape(answer);
    let places = spread(edges.iter().map(|m| across(*m)).collect(), width);
    for (edge_m, place) in edges.iter().zip(places) {
        let x = across(*edge_m);
        let text = match units {
            Units::Metric => mm.length(edge_m.abs()),
            Units::Us => edge_text(*edge_m, units),
        };
        if lane == 0 {
            let top = LANES_PX[0][0];
            let ends = [
                (x, top),
                (x, ROWS_PX[0] - 1.0),
                (place, UPPER_LABELS_PX + 1.0),
            ];
            sheet.line("lead", ends)?;
            sheet.upward(
                "small",
                Anchor::Start,
                (place, UPPER_LABELS_PX - 2.0),
                &text,
            )?;
        } else {
            let bottom = LANES_PX[1][1];
            let ends = [(x, bottom), (x, ROWS_PX[1] + 1.0), (place, LOWER_LABELS_PX)];
            sheet.line("lead", ends)?;
            sheet.upward("small", Anchor::End, (place, LOWER_LABELS_PX + 3.0), &text)?;
        }
    }
    Ok(())
}

/// A distance from the centre without its unit and side.
fn edge_text(edge_m: f64, units: Units) -> String {
    let decimals = match units {
        Units::Metric => 0,
        Units::Us => 1,
    };
    trimmed(units.small(edge_m.abs()), decimals)
}

/// Places in their order, moved apart until no two are nearer than a label.
fn spread(mut places: Vec<f64>, width: f64) -> Vec<f64> {
    for _ in 0..200 {
        for i in 1..places.len() {
            let lack = LABEL_PX - (places[i] - places[i - 1]);
            if lack > 0.0 {
                places[i - 1] -= 0.5 * lack;
                places[i] += 0.5 * lack;
            }
        }
        if let Some(first) = places.first_mut() {
            *first = first.max(0.5 * LABEL_PX);
        }
        if let Some(last) = places.last_mut() {
            *last = last.min(width - 0.5 * LABEL_PX);
        }
    }
    places
}

/// A bar of a round length.
fn scale(sheet: &Sheet, per_m: f64, width: f64, units: Units) -> Result<(), Trouble> {
    let longest_m = 0.25 * (width - 2.0 * LEFT_PX) / per_m;
    let round_m = match units {
        Units::Metric => [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0],
        // 2, 4, 10, 20, 40, 80 and 200 in.
        Units::Us => [0.0508, 0.1016, 0.254, 0.508, 1.016, 2.032, 5.08],
    };
    let length_m = round_m
        .into_iter()
        .filter(|length_m| *length_m <= longest_m)
        .fold(round_m[0], f64::max);
    let (start, end) = (
        0.5 * (width - length_m * per_m),
        0.5 * (width + length_m * per_m),
    );
    let bar = [
        (start, SCALE_PX - 4.0),
        (start, SCALE_PX),
        (end, SCALE_PX),
        (end, SCALE_PX - 4.0),
    ];
    sheet.line("axis", bar)?;
    let text = format!(
        "{} {}",
        trimmed(units.small(length_m), 0),
        units.small_unit()
    );
    let middle = SCALE_PX - 2.0;
    sheet.text("small", Anchor::Start, (end + 8.0, middle), &text)?;
    sheet.text("small", Anchor::Start, (LEFT_PX, middle), "left")?;
    sheet.text("small", Anchor::End, (width - LEFT_PX, middle), "right")
}

/// The tape on which the millimetres of a sheet are read: with tenths where its edges, rows or strips need them.
pub fn tape(answer: &SheetAnswer) -> Tape {
    let tools = answer.tools.iter();
    let edges = tools.flat_map(|tool| [tool.left_edge_m, tool.right_edge_m]);
    let strips = answer.gaps_m.iter().flatten().copied();
    Tape::metric(edges.chain(strips).chain(answer.rows_m.iter().copied()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_tools_stand_to_scale_at_their_edges() {
        let answer = synthetic::results().answers.sheet;
        let svg = picture(&answer, Units::Metric).unwrap().standalone();
        let ends = outermost(&answer).unwrap();
        let per_m = (WIDTH_PX - 2.0 * LEFT_PX) / (ends.0 - ends.1);
        let tools: Vec<&str> = svg.split("<rect class=\"tool\"").skip(1).collect();
        assert_eq!(tools.len(), answer.tools.len());
        for (shape, tool) in tools.iter().zip(&answer.tools) {
            let number = |name: &str| -> f64 {
                let rest = shape.split(&format!(" {name}=\"")).nth(1).unwrap();
                rest.split('"').next().unwrap().parse().unwrap()
            };
            // Places and widths are kept to a tenth of a px.
            assert!((number("width") - tool.width_m * per_m).abs() < 0.2);
            let left_m = ends.0 - (number("x") - LEFT_PX) / per_m;
            assert!((left_m - tool.left_edge_m).abs() * per_m < 0.2);
        }
        for tool in &answer.tools {
            for edge_m in [tool.left_edge_m, tool.right_edge_m] {
                assert!(svg.contains(&format!(">{:.0}</text>", 1000.0 * edge_m.abs())));
            }
        }
        assert_eq!(
            svg.matches("class=\"protect\"").count(),
            answer.rows_m.len()
        );
        assert_eq!(svg.matches(">tyre</text>").count(), answer.tyres_m.len());
    }

    /// Inches at every edge, in the scale and in the words; no millimetres.
    #[test]
    fn prop_in_us_units_all_is_inches() {
        let answer = synthetic::results().answers.sheet;
        let picture = picture(&answer, Units::Us).unwrap();
        let svg = picture.standalone();
        assert!(!svg.contains(" mm"), "{svg}");
        assert!(picture.reading.contains("from the centre in inches"));
        for tool in &answer.tools {
            for edge_m in [tool.left_edge_m, tool.right_edge_m] {
                let tenths = (10.0 * edge_m.abs() / 0.0254).round() / 10.0;
                assert!(svg.contains(&format!(">{tenths}</text>")), "{tenths}");
            }
        }
    }

    #[test]
    fn prop_labels_keep_apart_and_in_order() {
        let places = spread(vec![10.0, 11.0, 11.5, 40.0, 41.0, 95.0, 96.0], 120.0);
        for pair in places.windows(2) {
            assert!(pair[1] - pair[0] > LABEL_PX - 0.1, "{places:?}");
        }
        assert!(places[0] >= 0.5 * LABEL_PX - 0.1 && places[6] <= 120.0 - 0.5 * LABEL_PX + 0.1);
    }

    #[test]
    fn prop_without_tools_there_is_no_picture() {
        assert!(picture(&SheetAnswer::default(), Units::Us).is_none());
    }
}
