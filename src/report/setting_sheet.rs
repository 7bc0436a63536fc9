//! `setting_sheet.html`: where every tool goes, what to check and what can hurt. One page of paper for the workshop.

use super::cautions;
use super::display::{Units, sixteenths, trimmed};
use super::parts::{bare_scroll, list, paper, wide};
use super::sentences::lacking;
use super::svg::Pictures;
use super::text::sentence;
use crate::results::Results;
use crate::results::answers::{SheetAnswer, ToolPlace};
use maud::{Markup, html};

/// Most lines of a table of tools and of rows; a longer one is cut and goes on beside itself.
const TOOLS: usize = 18;
const ROWS: usize = 8;

/// With more tools everything is printed smaller.
const MANY: usize = 12;

/// The page.
pub fn page(results: &Results, pictures: &Pictures) -> String {
    let units = Units::from_name(&results.scenario.units);
    let answer = &results.answers.sheet;
    let body = html! {
        main.paper.setting.dense[answer.tools.len() > MANY] {
            h1 { "Setting sheet: " (results.scenario.name) }
            @match lacking(answer.status, answer.reason.as_deref()) {
                Some(lack) => p.warn { (lack) },
                None => p { b { "Tools " (units.clearance(answer.clearance_m)) " (" (mm(answer.clearance_m)) " mm, " (sixteenths(answer.clearance_m))
                    " in) from the middle of every row, on either side." } },
            }
            @for warning in &answer.warnings { p.warn { (sentence(warning)) } }
            @if let Some(picture) = &pictures.tools {
                (wide(picture))
                p.soft { (picture.reading) }
            }
            @if !answer.tools.is_empty() {
                h2 { "Where every edge goes" }
                p { "Measured from the centre of the implement, the frame in the middle of its travel. L is left, R is right, in the direction of travel. Inches to the nearest 1/16: "
                    "measure in one unit, do not mix them." }
                div.tables {
                    @for (first, part) in parts(&answer.tools, TOOLS) { (tools(part, first, units)) }
                    @for (first, part) in parts(&answer.rows_m, ROWS) { (rows(part, first, answer)) }
                }
                @if !answer.gaps_m.is_empty() {
                    p { "Strips that no tool works beside those bands, " (units.small_unit()) ": " (gaps(answer, units)) "." }
                }
            }
            div.columns {
                div {
                    h2 { "Check, and tick" }
                    (list("ticks", &checks(answer, units)))
                }
                div {
                    h2 { "What can hurt" }
                    ul { @for caution in cautions::WORKSHOP { li { (caution) } } }
                    div.byhand {
                        p { "Set by" }
                        p { "Date" }
                        p.note { "Note" }
                    }
                }
            }
        }
        footer { p { (results.tool.name) " " (results.tool.version) ", scenario " (results.scenario.file) ", seed " (results.seed)
            ". Positions follow from the scenario; the tape on the machine decides." } }
    };
    paper(
        &format!("{} - setting sheet", results.scenario.name),
        Units::from_name(&results.scenario.units),
        body,
    )
}

/// Parts of even length, none longer than `most`, with how many stand before each.
fn parts<T>(all: &[T], most: usize) -> impl Iterator<Item = (usize, &[T])> {
    let length = all.len().div_ceil(all.len().div_ceil(most).max(1)).max(1);
    let parts = all.chunks(length).enumerate();
    parts.map(move |(i, part)| (i * length, part))
}

/// "L 900 to L 863; R 12 to R 30".
fn gaps(answer: &SheetAnswer, units: Units) -> String {
    let side = |lateral_m: f64| side(tape(lateral_m.abs(), units), lateral_m);
    let gaps: Vec<String> = answer
        .gaps_m
        .iter()
        .map(|[left_m, right_m]| {
            format!(
                "{} to {}",
                side(left_m.max(*right_m)),
                side(left_m.min(*right_m))
            )
        })
        .collect();
    gaps.join("; ")
}

fn mm(length_m: f64) -> String {
    trimmed(1000.0 * length_m, 0)
}

/// A length in the scenario's units as on a tape.
fn tape(length_m: f64, units: Units) -> String {
    match units {
        Units::Metric => mm(length_m),
        Units::Us => sixteenths(length_m),
    }
}

/// "L" or "R" before a distance from the centre; the centre has neither.
fn side(text: String, lateral_m: f64) -> String {
    match text.as_str() {
        "0" => text,
        _ if lateral_m > 0.0 => format!("L {text}"),
        _ => format!("R {text}"),
    }
}

fn side_mm(lateral_m: f64) -> String {
    side(mm(lateral_m.abs()), lateral_m)
}

fn side_inches(lateral_m: f64) -> String {
    side(sixteenths(lateral_m.abs()), lateral_m)
}

fn tools(tools: &[ToolPlace], first: usize, units: Units) -> Markup {
    bare_scroll(
        "Tools",
        html! {
            table.places {
                thead {
                    tr {
                        th.text scope="col" rowspan="2" { "Tool" }
                        th scope="colgroup" colspan="2" { "Left edge" }
                        th scope="colgroup" colspan="2" { "Right edge" }
                        th scope="colgroup" colspan="2" { "Width" }
                        th scope="col" { "Overlap" }
                        th.text scope="col" rowspan="2" { "Rows" }
                    }
                    tr {
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                        th scope="col" { (units.small_unit()) }
                    }
                }
                tbody { @for (i, tool) in tools.iter().enumerate() { tr {
                    th.text scope="row" { (first + i + 1) }
                    td { (side_mm(tool.left_edge_m)) }
                    td { (side_inches(tool.left_edge_m)) }
                    td { (side_mm(tool.right_edge_m)) }
                    td { (side_inches(tool.right_edge_m)) }
                    td { (mm(tool.width_m)) }
                    td { (sixteenths(tool.width_m)) }
                    td { @if let Some(overlap_m) = tool.overlap_m { (tape(overlap_m, units)) } }
                    td.text { (between(tool)) }
                } } }
            }
        },
    )
}

/// The rows at a tool's sides, 1 at the left.
fn between(tool: &ToolPlace) -> String {
    match (tool.row_left, tool.row_right) {
        (Some(left), Some(right)) => format!("{} - {}", left + 1, right + 1),
        (None, Some(right)) => format!("left of {}", right + 1),
        (Some(left), None) => format!("right of {}", left + 1),
        (None, None) => String::new(),
    }
}

fn rows(rows_m: &[f64], first: usize, answer: &SheetAnswer) -> Markup {
    bare_scroll(
        "Rows",
        html! {
            table.bands {
                thead {
                    tr {
                        th.text scope="col" rowspan="2" { "Row" }
                        th scope="colgroup" colspan="2" { "Middle" }
                        th scope="colgroup" colspan="2" { "Band left alone" }
                    }
                    tr {
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                    }
                }
                tbody { @for (i, row_m) in rows_m.iter().enumerate() { tr {
                    th.text scope="row" { (first + i + 1) }
                    td { (side_mm(*row_m)) }
                    td { (side_inches(*row_m)) }
                    @let band_m = band(first + i, answer);
                    td { @if let Some(m) = band_m { (mm(m)) } }
                    td { @if let Some(m) = band_m { (sixteenths(m)) } }
                } } }
            }
        },
    )
}

/// Width of the strip that the tools beside a row leave, m.
fn band(row: usize, answer: &SheetAnswer) -> Option<f64> {
    let row = u32::try_from(row).ok()?;
    let tools = || answer.tools.iter();
    let left_m = tools()
        .filter(|tool| tool.row_right == Some(row))
        .map(|tool| tool.right_edge_m)
        .reduce(f64::min)?;
    let right_m = tools()
        .filter(|tool| tool.row_left == Some(row))
        .map(|tool| tool.left_edge_m)
        .reduce(f64::max)?;
    Some(left_m - right_m)
}

fn checks(answer: &SheetAnswer, units: Units) -> Vec<String> {
    let depth = match answer.depth_m {
        Some(depth_m) => format!(
            "Depth {}: on a level floor every tool touches the ground together with blocks of that height under the gauge wheels.",
            units.clearance(depth_m)
        ),
        None => "Depth: on a level floor every tool touches the ground together, blocks as high as the depth under the gauge wheels.".to_owned(),
    };
    let first = match units {
        Units::Metric => "First metres",
        Units::Us => "First yards",
    };
    let mut checks = vec![
        "Implement level across and along; frame in the middle of its travel and held there while the tools are set.".to_owned(),
        "Every edge measured from the centre again after its clamp was tightened.".to_owned(),
        depth,
        "Gauge wheels turn freely, run between the rows and carry the same load.".to_owned(),
        "Tyres: pressure as the manual says, the same left and right; no tyre on a row.".to_owned(),
        "Lower links: free play the same on both sides and as the makers want it for steering.".to_owned(),
        "Free play of the frame on its guide, of pins and tool clamps: none that can be felt.".to_owned(),
        "Frame moves to both ends without touching tyre, hose or cable.".to_owned(),
        "Lift switch: implement up, the shifting stops; tried from the seat with nobody near.".to_owned(),
        "Camera: height and tilt as its manual says, in line with the middle of the rows it sees, lens clean, cable free.".to_owned(),
        format!(
            "{first} slowly: stop, secure, get down, measure from plants to both edges at three places. Unequal: align the camera."
        ),
    ];
    if answer.tools.iter().any(|tool| tool.overlap_m.is_some()) {
        checks.insert(
            2,
            "Tools that overlap stand one behind the other and do not touch.".to_owned(),
        );
    }
    checks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{svg::study_pictures, synthetic};

    fn page_of(results: &Results) -> String {
        page(
            results,
            &study_pictures(results, &[], Units::from_name(&results.scenario.units)),
        )
    }

    /// The texts of the cells of every table of a class, line by line.
    fn lines(page: &str, class: &str) -> Vec<Vec<String>> {
        let opening = format!("<table class=\"{class}\">");
        let tables = page.split(&opening).skip(1);
        tables
            .flat_map(|table| {
                let body = table.split("<tbody>").nth(1).unwrap();
                let body = body.split("</tbody>").next().unwrap();
                body.split("<tr>").skip(1)
            })
            .map(|line| {
                let cells = line.split('<').filter(|tag| tag.starts_with("t"));
                cells
                    .map(|cell| cell.split_once('>').unwrap().1.to_owned())
                    .collect()
            })
            .collect()
    }

    /// A distance from the centre in m, left positive, out of "R 26 9/16".
    fn read(text: &str, unit_m: f64) -> f64 {
        let (sign, digits) = match text.split_at_checked(2) {
            Some(("L ", digits)) => (1.0, digits),
            Some(("R ", digits)) => (-1.0, digits),
            _ => (1.0, text),
        };
        let parts = digits.split(' ').map(|part| match part.split_once('/') {
            Some((part, of)) => part.parse::<f64>().unwrap() / of.parse::<f64>().unwrap(),
            None => part.parse().unwrap(),
        });
        sign * unit_m * parts.sum::<f64>()
    }

    const INCH_M: f64 = 0.0254;

    /// Shown to a millimetre and to a sixteenth of an inch: half of either, and what adding in binary costs.
    const HALF_MM: f64 = 0.0005 + 1e-12;
    const HALF_SIXTEENTH: f64 = INCH_M / 32.0 + 1e-12;

    #[test]
    fn prop_every_number_of_the_tables_is_that_of_the_answer() {
        let mut results = synthetic::results();
        // More tools and rows than go into one table.
        let sheet = &mut results.answers.sheet;
        sheet.tools = (0..5).flat_map(|_| sheet.tools.clone()).collect();
        sheet.rows_m = (0..5).flat_map(|_| sheet.rows_m.clone()).collect();
        let (page, answer) = (page_of(&results), &results.answers.sheet);
        let shown = lines(&page, "places");
        assert_eq!(shown.len(), answer.tools.len());
        for (i, (line, tool)) in shown.iter().zip(&answer.tools).enumerate() {
            assert_eq!(line[0], (i + 1).to_string());
            for (at, length_m) in [
                (1, tool.left_edge_m),
                (3, tool.right_edge_m),
                (5, tool.width_m),
            ] {
                assert!(
                    (read(&line[at], 1e-3) - length_m).abs() <= HALF_MM,
                    "{line:?}"
                );
                let inches = read(&line[at + 1], INCH_M);
                assert!((inches - length_m).abs() <= HALF_SIXTEENTH, "{line:?}");
            }
            match tool.overlap_m {
                Some(overlap_m) => assert!((read(&line[7], 1e-3) - overlap_m).abs() <= HALF_MM),
                None => assert_eq!(line[7], ""),
            }
            assert_eq!(line[8], between(tool));
        }
        let shown = lines(&page, "bands");
        assert_eq!(shown.len(), answer.rows_m.len());
        for (i, (line, row_m)) in shown.iter().zip(&answer.rows_m).enumerate() {
            assert_eq!(line[0], (i + 1).to_string());
            assert!((read(&line[1], 1e-3) - row_m).abs() <= HALF_MM);
            assert!((read(&line[2], INCH_M) - row_m).abs() <= HALF_SIXTEENTH);
        }
    }

    #[test]
    fn analytic_the_band_of_a_row_is_twice_the_clearance() {
        let answer = synthetic::results().answers.sheet;
        for row in 0..answer.rows_m.len() {
            let band_m = band(row, &answer).unwrap();
            assert!((band_m - 2.0 * answer.clearance_m).abs() < 1e-12);
        }
        assert!(band(answer.rows_m.len(), &answer).is_none());
    }

    #[test]
    fn analytic_sides_are_named_and_the_centre_is_not() {
        assert_eq!(side_mm(0.225), "L 225");
        assert_eq!(side_inches(-0.225), "R 8 7/8");
        assert_eq!(side_mm(-0.0001), "0");
        assert_eq!(side_inches(0.0), "0");
    }

    /// What stands in one unit only stands in the scenario's. 900 mm are 35 7/16 in, 863 mm 34 in to the sixteenth.
    #[test]
    fn analytic_a_us_sheet_has_inches_where_it_has_one_unit() {
        let mut results = synthetic::results();
        results.scenario.units = "us".into();
        let page = page_of(&results);
        assert!(page.contains("beside those bands, in: L 35 7/16 to L 34"));
        assert!(page.contains("First yards slowly"));
        let shown = lines(&page, "places");
        let mut any = false;
        for (line, tool) in shown.iter().zip(&results.answers.sheet.tools) {
            if let Some(overlap_m) = tool.overlap_m {
                any = true;
                assert!((read(&line[7], INCH_M) - overlap_m).abs() <= HALF_SIXTEENTH);
            }
        }
        assert!(any);
    }

    #[test]
    fn prop_parts_are_even_and_keep_all_in_order() {
        for (count, most, lengths) in [
            (0, 8, vec![]),
            (8, 8, vec![8]),
            (9, 8, vec![5, 4]),
            (25, 18, vec![13, 12]),
        ] {
            let all: Vec<usize> = (0..count).collect();
            let cut: Vec<(usize, &[usize])> = parts(&all, most).collect();
            assert_eq!(
                cut.iter().map(|(_, part)| part.len()).collect::<Vec<_>>(),
                lengths
            );
            assert!(cut.iter().all(|(first, part)| part[0] == *first));
        }
    }

    #[test]
    fn prop_the_sheet_has_warnings_checks_and_cautions() {
        let results = synthetic::results();
        let page = page_of(&results);
        for warning in &results.answers.sheet.warnings {
            assert!(page.contains(&sentence(warning)));
        }
        for caution in cautions::WORKSHOP {
            assert!(page.contains(caution), "{caution}");
        }
        for check in [
            "Depth 40 mm",
            "Gauge wheels",
            "pressure",
            "Lift switch",
            "Camera",
            "Free play",
        ] {
            assert!(page.contains(check), "{check}");
        }
        assert!(
            page.contains("L 900 to L 863"),
            "the strip that is not worked"
        );
    }

    #[test]
    fn prop_without_data_the_sheet_says_what_to_add() {
        let page = page_of(&synthetic::without_data(synthetic::results()));
        assert!(page.contains("add the table [workshop] with all it needs."));
        assert!(!page.contains("<table"));
        let page = page_of(&synthetic::unanswered(synthetic::results()));
        assert!(page.contains("No answer within what was simulated: no tool serves"));
    }
}
