//! Row lines and logged passes from files.

use rowroom::fieldlog::{logged_pass, polyline};
use rowroom::model::line::Line;

/// Two stretches at an angle: away from the rounded corner the line stands off its tangent as the chain does, and in the arc
/// the curvature is turn over length.
#[test]
fn analytic_a_rounded_corner_turns_by_the_angle_of_the_chain() {
    let turn: f64 = 0.05;
    let (x, y) = (100.0 + 100.0 * turn.cos(), 100.0 * turn.sin());
    let chain = polyline(&format!("x_m,y_m\n0,0\n100,0\n{x},{y}\n"), "rows.csv").unwrap();
    assert!((chain.length_m - 200.0).abs() < 1e-9);
    let line = Line::new(&chain.bends(20.0));
    for (s, wanted) in [
        (0.0, 0.0),
        (89.9, 0.0),
        (100.0, turn / 2.0),
        (110.1, turn),
        (199.0, turn),
    ] {
        assert!((line.heading_rad(s) - wanted).abs() < 1e-12, "{s}");
    }
    assert!((line.curvature_1_m(100.0) - turn / 20.0).abs() < 1e-12);
    // From 30 m before to 30 m behind the corner: offset 30 · turn, as for the sharp corner, by the symmetry of the arc.
    assert!((line.bend_ahead_m(70.0, 60.0) - 30.0 * turn).abs() < 1e-12);
}

/// Where arcs overlap their curvatures add up; the heading beyond is the sum of all turns.
#[test]
fn analytic_overlapping_arcs_add_up() {
    let turns: [f64; 3] = [0.02, 0.03, -0.04];
    let (mut x, mut y, mut heading) = (0.0_f64, 0.0_f64, 0.0_f64);
    let mut text = String::from("# corners 5 m apart\nx_m,y_m\n0,0\n");
    for (turn, length) in [0.0, turns[0], turns[1], turns[2]]
        .into_iter()
        .zip([50.0, 5.0, 5.0, 60.0])
    {
        heading += turn;
        x += length * heading.cos();
        y += length * heading.sin();
        text.push_str(&format!("{x},{y}\n"));
    }
    let line = Line::new(&polyline(&text, "rows.csv").unwrap().bends(12.0));
    // Arcs: 44 to 56, 49 to 61, 54 to 66 m.
    for (s, wanted) in [
        (46.0, turns[0]),
        (51.0, turns[0] + turns[1]),
        (55.0, turns[0] + turns[1] + turns[2]),
        (58.0, turns[1] + turns[2]),
        (63.0, turns[2]),
        (70.0, 0.0),
    ] {
        assert!((line.curvature_1_m(s) - wanted / 12.0).abs() < 1e-9, "{s}");
    }
    assert!((line.heading_rad(100.0) - turns.iter().sum::<f64>()).abs() < 1e-9);
}

/// A circle given by points 2 m apart keeps its curvature: chord turn over chord length is 2 asin(c/2R)/c, which is 1/R to
/// (c/R)²/24 = 7e-6.
#[test]
fn analytic_points_on_a_circle_give_its_curvature() {
    let radius = 150.0;
    let step = 2.0 / radius;
    let text: String = (0..200)
        .map(|i| f64::from(i) * step)
        .map(|a| format!("{},{}\n", radius * a.sin(), radius * (1.0 - a.cos())))
        .collect();
    let line = Line::new(
        &polyline(&format!("x_m,y_m\n{text}"), "rows.csv")
            .unwrap()
            .bends(10.0),
    );
    for s in [50.0, 123.4, 300.0] {
        assert!((line.curvature_1_m(s) * radius - 1.0).abs() < 1e-5, "{s}");
    }
}

#[test]
fn analytic_columns_stand_in_any_order_and_distances_count_from_the_first_point() {
    let text = "\u{feff}# comment\r\n\r\npass,offset_m , distance_m\r\n1,0.01,10.5\r\n1,-0.02,11\r\n1,0.03,12.5\r\n";
    let log = logged_pass(text, "log.csv").unwrap();
    assert_eq!(log.station_m, [0.0, 0.5, 2.0]);
    assert_eq!(log.offset_m, [0.01, -0.02, 0.03]);
}

#[test]
fn regress_faults_in_files_name_file_and_line() {
    let log = |text: &str| logged_pass(text, "log.csv").unwrap_err().to_string();
    let row = |text: &str| polyline(text, "rows.csv").unwrap_err().to_string();
    for (found, wanted) in [
        (
            log("# none\ndistance,offset_m\n"),
            "log.csv:2: the column distance_m is missing; this line must name the columns, as in \"distance_m,offset_m\"",
        ),
        (
            log(""),
            "log.csv:1: the column distance_m is missing; this line must name the columns, as in \"distance_m,offset_m\"",
        ),
        (
            log("distance_m,offset_m\n0,0\n1\n"),
            "log.csv:3: offset_m = \"\" is no number",
        ),
        (
            log("distance_m,offset_m\n0,0\n1,nan\n"),
            "log.csv:3: offset_m = \"nan\" is no number",
        ),
        (
            log("distance_m,offset_m\n0,0\n1,0\n"),
            "log.csv: 2 points; at least 3 are needed",
        ),
        (
            log("distance_m,offset_m\n0,0\n1,0\n1,0\n"),
            "log.csv:4: distance_m = 1 does not rise above 1 in the line before",
        ),
        (
            log("distance_m,offset_m\n0,0\n1,0\n5,0\n"),
            "log.csv:4: distance_m = 5 lies 4.0 m beyond the point before; at most 2 m are allowed",
        ),
        (
            row("x_m,y_m\n0,0\n0,0\n"),
            "rows.csv:3: this point coincides with the one before",
        ),
        (
            row("x_m,y_m\n0,0\n10,0\n0,1\n"),
            "rows.csv:4: the line turns back on itself: 174 deg at the point before; at most 90 deg are allowed",
        ),
    ] {
        assert_eq!(found, wanted);
    }
}
