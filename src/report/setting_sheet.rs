//! `setting_sheet.html`: where every tool goes, what to check and what can hurt. One page of paper for the workshop.

use super::bounds;
use super::cautions;
use super::display::{Tape, Units, cut_in_words, limit_in_words};
use super::parts::{bare_scroll, list, paper, wide};
use super::sentences::lacking;
use super::svg::Pictures;
use super::three_answers::broken_at_work;
use crate::report::svg::tools::tape;
use crate::report::words::warnings;
use crate::report::words::{sentence, uncapital};
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
    let units = results.scenario.units;
    let answer = &results.answers.sheet;
    let mm = tape(answer);
    let body = html! {
        main.paper.setting.dense[answer.tools.len() > MANY] {
            h1 { "Setting sheet: " (results.scenario.name) }
            @match for_speed(results, units) {
                Some(Ok(told)) => p { (told) },
                Some(Err(broken)) => p.warn { b { (broken) } },
                None => {},
            }
            @match lacking(answer.status, answer.reason.as_ref(), units) {
                Some(lack) => p.warn { (lack) },
                None => p { b { "Tools " (clearance(answer, mm, units)) " from the middle of every row, on either side." } },
            }
            @for warning in &answer.warnings { p.warn { (sentence(&warnings::sheet(warning, units))) } }
            @if let Some(picture) = &pictures.tools {
                (wide(picture))
                p.soft { (picture.reading) }
            }
            @if !answer.tools.is_empty() {
                h2 { "Where every edge goes" }
                p { "Measured from the centre of the implement, the frame in the middle of its travel. L is left, R is right, in the direction of travel. Inches to the nearest 1/16: "
                    "measure in one unit, do not mix them. Widths, overlaps and bands are those between the edges as printed; a tool's own width may differ from them by up to 1/16 in." }
                div.tables {
                    @for (first, part) in parts(&answer.tools, TOOLS) { (tools(part, first, answer, mm)) }
                    @for (first, part) in parts(&answer.rows_m, ROWS) { (rows(part, first, answer, mm)) }
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
        results.scenario.units,
        body,
    )
}

/// "50 mm (1 15/16 in)", "2 in (51 mm)".
fn clearance(answer: &SheetAnswer, mm: Tape, units: Units) -> String {
    let (mm, inches) = (
        mm.length(answer.clearance_m),
        INCHES.length(answer.clearance_m),
    );
    match units {
        Units::Metric => format!("{mm} mm ({inches} in)"),
        Units::Us => format!("{} ({mm} mm)", units.size(answer.clearance_m)),
    }
}

/// The speed that the sheet is for; where no setting is recommended, the bounds that the setting worked now breaks. `None` without tools.
pub fn for_speed(results: &Results, units: Units) -> Option<Result<String, String>> {
    if results.answers.sheet.tools.is_empty() {
        return None;
    }
    let (speed, cut) = match &results.answers.recommended {
        Some(setting) => (units.speed_limit(setting.speed_m_s), setting.cut),
        None => {
            let broken = bounds::all_broken(&broken_at_work(results));
            let now = units.speed_text(results.working_speed_m_s);
            return Some(Err(format!(
                "No simulated setting keeps every limit. This sheet is for the setting worked now, {now}: {broken}. Drive slower, or set the tools further from the row."
            )));
        }
    };
    Some(Ok(format!(
        "For up to {speed} {}: {}, allowed is {}.",
        units.speed_unit(),
        uncapital(&cut_in_words(&cut)),
        limit_in_words(results.allowed_cut_rate)
    )))
}

/// Parts of even length, none longer than `most`, with how many stand before each.
fn parts<T>(all: &[T], most: usize) -> impl Iterator<Item = (usize, &[T])> {
    // Even parts: cut at the most, nineteen lines would leave one alone.
    let length = all.len().div_ceil(all.len().div_ceil(most).max(1)).max(1);
    let parts = all.chunks(length).enumerate();
    parts.map(move |(i, part)| (i * length, part))
}

/// The tape on which inches are read.
const INCHES: Tape = Tape::Sixteenths;

/// "L 900 to L 863; R 12 to R 30".
fn gaps(answer: &SheetAnswer, units: Units) -> String {
    let tape = match units {
        Units::Metric => tape(answer),
        Units::Us => INCHES,
    };
    let gaps: Vec<String> = answer
        .gaps_m
        .iter()
        .map(|[left_m, right_m]| {
            format!(
                "{} to {}",
                side(tape, left_m.max(*right_m)),
                side(tape, left_m.min(*right_m))
            )
        })
        .collect();
    gaps.join("; ")
}

/// "L" or "R" before a distance from the centre; the centre has neither.
fn side(tape: Tape, lateral_m: f64) -> String {
    // By the mark: what is printed as 0 lies on no side.
    let marks = tape.marks(lateral_m);
    let text = tape.text(marks.abs());
    match marks {
        0 => text,
        1.. => format!("L {text}"),
        _ => format!("R {text}"),
    }
}

/// From one edge to another as both are printed.
fn across(tape: Tape, left_m: f64, right_m: f64) -> String {
    // The difference of what is printed: the length itself, rounded, may be a mark off, and the sheet would not add up.
    tape.text(tape.marks(left_m) - tape.marks(right_m))
}

fn tools(tools: &[ToolPlace], first: usize, answer: &SheetAnswer, mm: Tape) -> Markup {
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
                        th scope="colgroup" colspan="2" { "Overlap" }
                        th.text scope="col" rowspan="2" { "Rows" }
                    }
                    tr {
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                        th scope="col" { "mm" }
                        th scope="col" { "in" }
                    }
                }
                tbody { @for (i, tool) in tools.iter().enumerate() { tr {
                    th.text scope="row" { (first + i + 1) }
                    @for edge_m in [tool.left_edge_m, tool.right_edge_m] {
                        @for tape in [mm, INCHES] { td { (side(tape, edge_m)) } }
                    }
                    @for tape in [mm, INCHES] { td { (across(tape, tool.left_edge_m, tool.right_edge_m)) } }
                    @for tape in [mm, INCHES] { td {
                        @if let Some(next) = answer.tools.get(first + i + 1).filter(|_| tool.overlap_m.is_some()) {
                            (across(tape, next.left_edge_m, tool.right_edge_m))
                        }
                    } }
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

fn rows(rows_m: &[f64], first: usize, answer: &SheetAnswer, mm: Tape) -> Markup {
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
                    @for tape in [mm, INCHES] { td { (side(tape, *row_m)) } }
                    @let band_m = band(first + i, answer);
                    @for tape in [mm, INCHES] { td {
                        @if let Some([left_m, right_m]) = band_m { (across(tape, left_m, right_m)) }
                    } }
                } } }
            }
        },
    )
}

/// Left and right edge of the strip that the tools beside a row leave, m.
fn band(row: usize, answer: &SheetAnswer) -> Option<[f64; 2]> {
    let row = u32::try_from(row).ok()?;
    let tools = || answer.tools.iter();
    let left_m = tools()
        .filter(|tool| tool.row_right == Some(row))
        .map(|tool| tool.right_edge_m)
        // Of several tools beside a row the edge nearest to it bounds the band.
        .reduce(f64::min)?;
    let right_m = tools()
        .filter(|tool| tool.row_left == Some(row))
        .map(|tool| tool.left_edge_m)
        .reduce(f64::max)?;
    Some([left_m, right_m])
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
    use crate::results::answers::{Bound, Holds, SpeedLimit};

    fn page_of(results: &Results) -> String {
        page(
            results,
            &study_pictures(results, &[], results.scenario.units),
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

    /// Shown to a millimetre or finer and to a sixteenth of an inch: half of either, with what the middle between two marks is lowered by
    /// and adding in binary costs. From edge to edge it is twice that.
    const HALF_MM: f64 = 0.0005 + 1e-6;
    const HALF_SIXTEENTH: f64 = INCH_M / 32.0 + 1e-6;

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
            for (at, halves, length_m) in [
                (1, 1.0, Some(tool.left_edge_m)),
                (3, 1.0, Some(tool.right_edge_m)),
                (5, 2.0, Some(tool.width_m)),
                (7, 2.0, tool.overlap_m),
            ] {
                let Some(length_m) = length_m else {
                    assert_eq!((&*line[at], &*line[at + 1]), ("", ""));
                    continue;
                };
                let off_m = (read(&line[at], 1e-3) - length_m).abs();
                assert!(off_m <= halves * HALF_MM, "{line:?}");
                let off_m = (read(&line[at + 1], INCH_M) - length_m).abs();
                assert!(off_m <= halves * HALF_SIXTEENTH, "{line:?}");
            }
            assert_eq!(line[9], between(tool));
        }
        let shown = lines(&page, "bands");
        assert_eq!(shown.len(), answer.rows_m.len());
        for (i, (line, row_m)) in shown.iter().zip(&answer.rows_m).enumerate() {
            assert_eq!(line[0], (i + 1).to_string());
            assert!((read(&line[1], 1e-3) - row_m).abs() <= HALF_MM);
            assert!((read(&line[2], INCH_M) - row_m).abs() <= HALF_SIXTEENTH);
        }
    }

    /// What is printed mirrors left and right where the sheet does, and adds up to the last mark of the tape: on every scenario that
    /// ships, in mm and in inches.
    #[test]
    fn prop_what_is_printed_mirrors_and_adds_up() {
        let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
        let log = root.join("tests/data/synthetic_pass.csv");
        let mut seen = 0;
        for entry in std::fs::read_dir(root.join("scenarios")).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_none_or(|extension| extension != "toml") {
                continue;
            }
            let log = path.ends_with("replayed_pass.toml").then_some(&*log);
            let scenario = crate::scenario::Scenario::read(&path, log).unwrap();
            for clearance_m in &scenario.study().clearances_m {
                let sheet = crate::answers::sheet::answer(
                    &scenario.nominal(),
                    &scenario.farm(),
                    *clearance_m,
                );
                let mut results = synthetic::results();
                results.answers.sheet = sheet;
                mirrors_and_adds_up(&results);
                seen += 1;
            }
        }
        assert!(seen >= 6, "{seen}");
    }

    fn mirrors_and_adds_up(results: &Results) {
        let (page, answer) = (page_of(results), &results.answers.sheet);
        let picture = page.split("</svg>").next().unwrap();
        let (places, bands) = (lines(&page, "places"), lines(&page, "bands"));
        // Marks: tenths of a millimetre, sixteenths of an inch.
        for (column, mark_m) in [(0, 1e-4), (1, INCH_M / 16.0)] {
            let marks = |text: &str| {
                let unit_m = if column == 0 { 1e-3 } else { INCH_M };
                let marks = read(text, unit_m) / mark_m;
                assert!((marks - marks.round()).abs() < 1e-6, "{text}");
                marks.round() as i64
            };
            let mut printed: Vec<(f64, i64)> = Vec::new();
            for (i, (line, tool)) in places.iter().zip(&answer.tools).enumerate() {
                let [left, right, width] = [1, 3, 5].map(|at| marks(&line[at + column]));
                assert_eq!(left - right, width, "{line:?}");
                if tool.overlap_m.is_some() {
                    let next_left = marks(&places[i + 1][1 + column]);
                    assert_eq!(next_left - right, marks(&line[7 + column]), "{line:?}");
                }
                printed.extend([(tool.left_edge_m, left), (tool.right_edge_m, right)]);
                for at in [1, 3].into_iter().filter(|_| column == 0) {
                    let edge = line[at].trim_start_matches(['L', 'R', ' ']);
                    assert!(picture.contains(&format!(">{edge}</text>")), "{edge}");
                }
            }
            for (row, (line, row_m)) in bands.iter().zip(&answer.rows_m).enumerate() {
                printed.push((*row_m, marks(&line[1 + column])));
                let row = Some(row as u32);
                let beside = |at: usize, is: &dyn Fn(&ToolPlace) -> bool| {
                    let tools = places.iter().zip(&answer.tools);
                    let edges: Vec<i64> = tools
                        .filter(|(_, tool)| is(tool))
                        .map(|(line, _)| marks(&line[at + column]))
                        .collect();
                    edges
                };
                let left = beside(3, &|tool| tool.row_right == row);
                let right = beside(1, &|tool| tool.row_left == row);
                if let (Some(left), Some(right)) = (left.iter().min(), right.iter().max()) {
                    assert_eq!(left - right, marks(&line[3 + column]), "{line:?}");
                }
            }
            for (place_m, at) in &printed {
                for (other_m, other_at) in &printed {
                    if (place_m + other_m).abs() < 1e-8 {
                        assert_eq!(*at, -other_at, "{place_m} {other_m}");
                    }
                }
            }
        }
    }

    #[test]
    fn analytic_the_band_of_a_row_is_twice_the_clearance() {
        let answer = synthetic::results().answers.sheet;
        for row in 0..answer.rows_m.len() {
            let [left_m, right_m] = band(row, &answer).unwrap();
            assert!((left_m - right_m - 2.0 * answer.clearance_m).abs() < 1e-12);
        }
        assert!(band(answer.rows_m.len(), &answer).is_none());
    }

    #[test]
    fn analytic_sides_are_named_and_the_centre_is_not() {
        assert_eq!(side(Tape::Millimetres, 0.225), "L 225");
        assert_eq!(side(INCHES, -0.225), "R 8 7/8");
        assert_eq!(side(Tape::Millimetres, -0.0001), "0");
        assert_eq!(side(INCHES, 0.0), "0");
    }

    /// What stands in one unit only stands in the scenario's. 900 mm are 35 7/16 in, 863 mm 34 in to the sixteenth.
    #[test]
    fn analytic_a_us_sheet_has_inches_where_it_has_one_unit() {
        let mut results = synthetic::results();
        results.scenario.units = Units::Us;
        let page = page_of(&results);
        assert!(page.contains("beside those bands, in: L 35 7/16 to L 34"));
        assert!(page.contains("First yards slowly"));
        let shown = lines(&page, "places");
        let mut any = false;
        for (line, tool) in shown.iter().zip(&results.answers.sheet.tools) {
            if let Some(overlap_m) = tool.overlap_m {
                any = true;
                // Between two edges as they are printed.
                assert!((read(&line[8], INCH_M) - overlap_m).abs() <= 2.0 * HALF_SIXTEENTH);
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
            assert!(page.contains(&sentence(&warnings::sheet(warning, Units::Metric))));
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
    fn prop_the_sheet_says_for_which_speed_it_is_and_what_a_setting_breaks() {
        let mut results = synthetic::results();
        let page = page_of(&results);
        assert!(page.contains(
            "For up to 7.3 km/h: about 1 plant in 140 is cut, at most 1 in 110 by these passes, allowed is 1 in 100."
        ));
        results.answers.recommended = None;
        for answer in &mut results.answers.speed {
            answer.limits = vec![SpeedLimit {
                cause: Bound::ThrownSoil,
                holds: Holds::UpTo,
                speed_m_s: Some(0.5),
            }];
        }
        let page = page_of(&results);
        let told =
            "This sheet is for the setting worked now, 7.5 km/h: soil flies as far as the plants";
        let (before, _) = page.split_once(told).expect(&page);
        assert!(!before.contains("Tools <"), "the warning comes first");
    }

    #[test]
    fn prop_without_data_the_sheet_says_what_to_add() {
        let page = page_of(&synthetic::without_data(synthetic::results()));
        assert!(page.contains("add the table [workshop] with tool_widths."));
        assert!(!page.contains("<table"));
        let page = page_of(&synthetic::unanswered(synthetic::results()));
        assert!(page.contains("No answer within what was simulated: no tool on hand fits"));
    }
}
