use super::*;
use crate::report::words::warnings;
use crate::scenario::Units;
use proptest::prelude::*;

/// Rows of a bed of 1.8 m, 0.375 m apart, with those tools at hand.
fn bed(tool_widths_m: &[f64], overlap_m: f64, outer_reach_m: Option<f64>) -> (Setup, Farm) {
    let mut setup = Setup::plausible();
    setup.rows.offset_m = vec![0.5625, 0.1875, -0.1875, -0.5625];
    let farm = Farm {
        workshop: Some(Workshop {
            tool_widths_m: tool_widths_m.to_vec(),
            overlap_m,
            outer_reach_m,
        }),
        ..Farm::bare()
    };
    (setup, farm)
}

fn sheet(setup: &Setup, farm: &Farm, clearance_m: f64) -> SheetAnswer {
    answer(setup, farm, clearance_m)
}

/// Its warnings as they are printed.
fn warned(sheet: &SheetAnswer) -> Vec<String> {
    let said = |warning| warnings::sheet(warning, Units::Metric);
    sheet.warnings.iter().map(said).collect()
}

/// Widths and edges in whole tenths of a millimetre, from the left.
fn tenths(sheet: &SheetAnswer) -> Vec<(i64, i64)> {
    let round = |m: f64| (10_000.0 * m).round() as i64;
    let tools = sheet.tools.iter();
    tools
        .map(|t| (round(t.left_edge_m), round(t.right_edge_m)))
        .collect()
}

/// Own arithmetic. Rows 375 mm apart at 70 mm leave 235 mm: 125 + 125 would overlap by 15 mm only, so 125 + 150 with 40 mm.
/// Beyond the outermost rows 337.5 mm (half of 675 mm) less 70 mm make 267.5 mm: 125 + 150 overlap by 7.5 mm only, 150 + 150 do
/// with 25 mm and reach 7.5 mm further, to 345 mm; 100 + 200 would too, less evenly.
#[test]
fn analytic_four_rows_of_a_bed() {
    let (setup, farm) = bed(&[0.1, 0.125, 0.15, 0.2, 0.25], 0.025, None);
    let sheet = sheet(&setup, &farm, 0.07);
    assert_eq!(sheet.status, Status::Ok);
    assert_eq!(
        tenths(&sheet),
        [
            (9075, 7575),
            (7825, 6325),
            // Row at 562.5.
            (4925, 3675),
            (4075, 2575),
            // Row at 187.5.
            (1175, -75),
            (325, -1175),
            // Row at -187.5.
            (-2575, -4075),
            (-3675, -4925),
            // Row at -562.5.
            (-6325, -7825),
            (-7575, -9075),
        ]
    );
    let overlaps: Vec<Option<i64>> = sheet
        .tools
        .iter()
        .map(|tool| tool.overlap_m.map(|m| (10_000.0 * m).round() as i64))
        .collect();
    let (outer, inner) = ([Some(250), None], [Some(400), None]);
    assert_eq!(overlaps, [outer, inner, inner, inner, outer].concat());
    let rows: Vec<_> = sheet
        .tools
        .iter()
        .map(|t| (t.row_left, t.row_right))
        .collect();
    assert_eq!(rows[0], (None, Some(0)));
    assert_eq!(rows[2], (Some(0), Some(1)));
    assert_eq!(rows[9], (Some(3), None));
    assert!(
        sheet.gaps_m.is_empty() && sheet.warnings.is_empty(),
        "{:?}",
        sheet.warnings
    );
}

/// Own arithmetic: 375 mm less twice 62.5 mm are just one tool of 250 mm; beyond the rows 187.5 mm of reach less 62.5 mm are 125 mm.
/// 675 mm to the next pass less twice 187.5 mm leave 300 mm.
#[test]
fn analytic_one_tool_a_space() {
    let (setup, farm) = bed(&[0.125, 0.25], 0.025, Some(0.1875));
    let sheet = sheet(&setup, &farm, 0.0625);
    assert_eq!(
        tenths(&sheet),
        [
            (7500, 6250),
            (5000, 2500),
            (1250, -1250),
            (-2500, -5000),
            (-6250, -7500)
        ]
    );
    assert_eq!(
        warned(&sheet),
        ["Between neighbouring passes 300 mm stay unworked beyond the outermost tools."]
    );
}

/// Own arithmetic: 235 mm between rows hold no tool of 240 mm; beyond the rows it may reach 675 - 140 = 535 mm at most, so there it
/// does. Then 235 mm with tools of 30 mm and 40 mm of overlap: two never fill more than one.
#[test]
fn analytic_tools_that_do_not_fit_leave_a_gap_and_say_so() {
    let (setup, farm) = bed(&[0.24], 0.025, Some(0.2));
    let wide = sheet(&setup, &farm, 0.07);
    assert_eq!(wide.status, Status::Ok);
    assert_eq!(tenths(&wide), [(8725, 6325), (-6325, -8725)]);
    assert_eq!(wide.gaps_m.len(), 3);
    assert!(
        (wide.gaps_m[0][0] - 0.4925).abs() < 1e-12 && (wide.gaps_m[0][1] - 0.2575).abs() < 1e-12
    );
    assert_eq!(
        warned(&wide)[0],
        "No tool on hand fits between rows 1 and 2, where 235 mm are free: the whole strip stays unworked."
    );

    let (setup, farm) = bed(&[0.03], 0.04, Some(0.2));
    let narrow = sheet(&setup, &farm, 0.07);
    // Middle of the first space: 375 mm.
    assert!(tenths(&narrow).contains(&(3900, 3600)));
    // Beside the rows outside.
    assert_eq!(tenths(&narrow)[0], (6625, 6325));
    assert!(warned(&narrow).contains(
        &"The tools on hand do not fill the 235 mm between rows 1 and 2: one of 30 mm stands there and 205 mm stay unworked.".to_string()
    ));

    let (setup, farm) = bed(&[0.6], 0.025, None);
    let none = sheet(&setup, &farm, 0.07);
    assert_eq!(none.status, Status::NoAnswer);
    assert_eq!(
        none.reason,
        Some(Reason::NoToolFits {
            clearance_m: 0.07,
            narrowest_m: 0.6
        })
    );
    assert_eq!(none.gaps_m.len(), 5);
}

/// Own arithmetic: 210 mm with two tools of 200 mm overlap by 190 mm.
#[test]
fn analytic_tools_that_hide_each_other_are_warned_of() {
    let (setup, farm) = bed(&[0.2], 0.025, Some(0.2825));
    let sheet = sheet(&setup, &farm, 0.0825);
    assert!(
        warned(&sheet)[0].starts_with("Tools overlap by 190 mm between rows 1 and 2"),
        "{:?}",
        sheet.warnings
    );
}

#[test]
fn analytic_tyres_guess_rows_and_planters_are_warned_of() {
    let (mut setup, mut farm) = bed(&[0.1, 0.125, 0.15], 0.025, None);
    // Inner edge of the tyre at 0.6 - 0.2 = 0.4 m, outer at 0.8 m: row 1 at 0.5625 m lies under it.
    farm.track_m = 1.2;
    farm.planter_rows = Some(3);
    setup.rows.planter_pass = vec![0, 0, 0, 1];
    let warned = warned(&sheet(&setup, &farm, 0.07));
    assert!(
        warned[0].contains("400 mm wide, 600 mm from the centre, runs on or beside rows 1 and 4")
    );
    assert!(warned[1].starts_with("Between rows 3 and 4"));
    assert!(warned[2].contains("has 4 rows, the planter 3"));
    assert_eq!(warned.len(), 3);
    let tyres_m = sheet(&setup, &farm, 0.07).tyres_m;
    for (edge_m, expected_m) in tyres_m.concat().iter().zip([0.8, 0.4, -0.4, -0.8]) {
        assert!((edge_m - expected_m).abs() < 1e-12);
    }
}

/// Own arithmetic: tyres 400 mm wide at 1100 mm cover 900 to 1300 mm; the next pass's nearest row stands at 1800 - 562.5 = 1237.5 mm.
#[test]
fn analytic_a_tyre_on_a_row_of_the_next_pass_is_warned_of() {
    let (setup, mut farm) = bed(&[0.1, 0.125, 0.15], 0.025, None);
    assert!(sheet(&setup, &farm, 0.07).warnings.is_empty());
    farm.track_m = 2.2;
    assert_eq!(
        warned(&sheet(&setup, &farm, 0.07)),
        [
            "A tyre 400 mm wide, 1100 mm from the centre, runs on or beside a row of the next pass, 1237.5 mm from the centre: change the \
             wheel track or fit narrower tyres."
        ]
    );
}

/// Own arithmetic: a reach of 640 mm leaves 35 mm to the next pass's row, 675 mm away.
#[test]
fn analytic_a_reach_into_the_next_pass_is_warned_of() {
    let (setup, farm) = bed(&[0.1, 0.125, 0.15, 0.2, 0.25], 0.025, Some(0.64));
    let warned = warned(&sheet(&setup, &farm, 0.07));
    assert!(
        warned
            .last()
            .unwrap()
            .contains("within 35 mm of where the next pass's row stands"),
        "{warned:?}"
    );
    let (setup, farm) = bed(&[0.1], 0.025, Some(0.05));
    let warned = self::warned(&sheet(&setup, &farm, 0.07));
    assert!(
        warned[0].starts_with("No tool stands to the left of row 1"),
        "{warned:?}"
    );
}

#[test]
fn analytic_without_a_workshop_it_says_what_to_add() {
    let (setup, mut farm) = bed(&[0.1], 0.025, None);
    farm.workshop = None;
    let sheet = sheet(&setup, &farm, 0.07);
    assert_eq!(sheet.status, Status::NoData);
    assert_eq!(
        sheet.reason,
        Some(Reason::TablesMissing {
            tables: vec!["workshop".into()]
        })
    );
    assert_eq!(sheet.rows_m.len(), 4);
}

/// Own arithmetic: fewest first, then least sum; 700 mm with 20 mm of overlap from 100, 150, 180, 200, 280 mm: three tools need
/// 740 mm, 280 + 280 + 180; 770 mm need 810 mm, 280 + 280 + 280 (840) being the only three that reach it.
#[test]
fn analytic_the_fewest_then_the_least() {
    let on_hand = [0.1, 0.15, 0.18, 0.2, 0.28];
    let widths = |space_m: f64| {
        let mut widths = choose(&on_hand, space_m, space_m, 0.02).unwrap();
        widths.sort_by(f64::total_cmp);
        widths
    };
    assert_eq!(widths(0.7), [0.18, 0.28, 0.28]);
    assert_eq!(widths(0.77), [0.28, 0.28, 0.28]);
    assert_eq!(widths(0.28), [0.28]);
    assert_eq!(choose(&on_hand, 0.09, 0.09, 0.02), None);
    assert_eq!(choose(&[0.02], 0.7, 0.7, 0.02), None);
}

#[derive(Clone, Debug)]
struct Case {
    rows_m: Vec<f64>,
    widths_m: Vec<f64>,
    overlap_m: f64,
    clearance_m: f64,
    reach_m: f64,
    next_m: f64,
}

fn cases() -> impl Strategy<Value = Case> {
    let millimetres = |least: u32, most: u32| (least..most).prop_map(|mm| f64::from(mm) / 1000.0);
    (
        prop::collection::vec(millimetres(210, 900), 0..6),
        prop::collection::vec(millimetres(40, 400), 1..6),
        millimetres(0, 60),
        millimetres(20, 100),
        millimetres(0, 500),
        millimetres(400, 1200),
        millimetres(0, 300),
    )
        .prop_map(
            |(spaces_m, mut widths_m, overlap_m, clearance_m, reach_m, next_m, aside_m)| {
                widths_m.sort_by(f64::total_cmp);
                widths_m.dedup();
                let span_m: f64 = spaces_m.iter().sum();
                let mut rows_m = vec![span_m / 2.0 + aside_m];
                for space_m in spaces_m {
                    rows_m.push(rows_m[rows_m.len() - 1] - space_m);
                }
                Case {
                    rows_m,
                    widths_m,
                    overlap_m,
                    clearance_m,
                    reach_m: reach_m.min(next_m - clearance_m),
                    next_m,
                }
            },
        )
}

impl Case {
    fn sheet(&self, mirrored: bool) -> SheetAnswer {
        let (mut setup, mut farm) = bed(&self.widths_m, self.overlap_m, Some(self.reach_m));
        setup.rows.offset_m = self.rows_m.clone();
        if mirrored {
            setup.rows.offset_m = self.rows_m.iter().rev().map(|row| -row).collect();
        }
        setup.rows.planter_pass = vec![0; self.rows_m.len()];
        farm.pass_width_m = self.rows_m[0] - self.rows_m[self.rows_m.len() - 1] + self.next_m;
        sheet(&setup, &farm, self.clearance_m)
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, rng_seed: proptest::test_runner::RngSeed::Fixed(1), failure_persistence: None, ..ProptestConfig::default() })]

    /// No tool inside the clearance of a row, its own pass's or the next one's; every overlap at least the least; tools from what is on
    /// hand; a filled space is filled from clearance to clearance, and what is not filled is listed as a gap.
    #[test]
    fn prop_tools_keep_the_clearance_and_fill_the_space(case in cases()) {
        let sheet = case.sheet(false);
        let (first_m, last_m) = (case.rows_m[0], case.rows_m[case.rows_m.len() - 1]);
        let mut all_rows_m = case.rows_m.clone();
        all_rows_m.extend([first_m + case.next_m, last_m - case.next_m]);
        for tool in &sheet.tools {
            prop_assert!(case.widths_m.iter().any(|w| (w - tool.width_m).abs() < 1e-9));
            prop_assert!((tool.left_edge_m - tool.right_edge_m - tool.width_m).abs() < 1e-12);
            for row_m in &all_rows_m {
                prop_assert!(
                    tool.right_edge_m >= row_m + case.clearance_m - 2.0 * SAME_M
                        || tool.left_edge_m <= row_m - case.clearance_m + 2.0 * SAME_M
                );
            }
            prop_assert!(tool.overlap_m.is_none_or(|m| m >= case.overlap_m - 2.0 * SAME_M));
        }
        // Worked, listed as gap, or band of a row: from the leftmost to the rightmost edge nothing else.
        let mut strips: Vec<[f64; 2]> = sheet.tools.iter().map(|t| [t.left_edge_m, t.right_edge_m]).collect();
        strips.extend(&sheet.gaps_m);
        strips.extend(case.rows_m.iter().map(|row| [row + case.clearance_m, row - case.clearance_m]));
        strips.sort_by(|a, b| b[0].total_cmp(&a[0]));
        prop_assert!(strips[0][0] >= first_m + case.reach_m - 2.0 * SAME_M);
        let mut edge_m = strips[0][0];
        for strip in &strips {
            prop_assert!(strip[0] >= edge_m - 3.0 * SAME_M, "a hole at {edge_m}");
            edge_m = edge_m.min(strip[1]);
        }
        prop_assert!(edge_m <= last_m - case.reach_m + 2.0 * SAME_M);
    }

    /// Rows and tools mirrored alike, but for tools of different widths in a space about the centre.
    #[test]
    fn prop_the_sheet_of_mirrored_rows_is_the_mirrored_sheet(case in cases()) {
        let (sheet, mirrored) = (case.sheet(false), case.sheet(true));
        prop_assert_eq!(sheet.status, mirrored.status);
        prop_assert_eq!(sheet.gaps_m.len(), mirrored.gaps_m.len());
        prop_assert_eq!(sheet.tools.len(), mirrored.tools.len());
        let rows = case.rows_m.len() as u32;
        let central = |tool: &ToolPlace| match (tool.row_left, tool.row_right) {
            (Some(left), Some(right)) => (case.rows_m[left as usize] + case.rows_m[right as usize]).abs() < 2e-6,
            _ => false,
        };
        for (tool, other) in sheet.tools.iter().zip(mirrored.tools.iter().rev()) {
            prop_assert_eq!(tool.row_left.map(|row| rows - 1 - row), other.row_right);
            if !central(tool) {
                prop_assert!((tool.left_edge_m + other.right_edge_m).abs() < 1e-9);
                prop_assert!((tool.right_edge_m + other.left_edge_m).abs() < 1e-9);
            }
        }
    }
}

/// Every scenario that ships has tools on hand that work all its ground between the rows.
#[cfg(feature = "program")]
#[test]
fn prop_every_shipped_scenario_gets_a_whole_sheet() {
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
        let (setup, farm) = (scenario.nominal(), scenario.farm());
        let clearance_m = scenario.study().working_clearance_m;
        let sheet = answer(&setup, &farm, clearance_m);
        assert_eq!(sheet.status, Status::Ok, "{path:?}");
        assert!(sheet.gaps_m.is_empty(), "{path:?}: {:?}", sheet.warnings);
        assert!(sheet.depth_m.is_some());
        assert!(
            farm.stages
                .iter()
                .all(|stage| stage.protected_radius_m >= setup.plants.stem_radius_m)
        );
        seen += 1;
    }
    assert_eq!(seen, 6);
}
