//! Row lines and logged passes from files.

use rowroom::fieldlog::{Polyline, logged_pass, polyline, wander};
use rowroom::model::damped::Damped;
use rowroom::model::line::Line;
use rowroom::sim::deviates::Deviates;
use rowroom::sim::streams::Source;

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
    let log = logged_pass(text, "log.csv", 1).unwrap();
    assert_eq!(log.station_m(), [0.0, 0.5, 2.0]);
    assert_eq!(log.offset_m(), [0.01, -0.02, 0.03]);
}

#[test]
fn regress_faults_in_files_name_file_and_line() {
    let log = |text: &str| logged_pass(text, "log.csv", 1).unwrap_err().to_string();
    let row = |text: &str| polyline(text, "rows.csv").unwrap_err().to_string();
    for (found, wanted) in [
        (
            log("# none\nway,offset_m\n"),
            "log.csv:2: no columns with a place are known in \"way,offset_m\"; wanted are latitude and longitude (degrees), x_m and y_m, or distance_m and offset_m; others are told with --columns latitude=NAME,longitude=NAME",
        ),
        (
            log(""),
            "log.csv:1: the file is empty; a line that names the columns is wanted",
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
            "log.csv:3: 2 points; at least 3 are needed",
        ),
        (
            log("distance_m,offset_m\n0,0\n1,0\n1,0\n"),
            "log.csv:4: distance_m = 1 does not rise above 1 in the line before",
        ),
        (
            log("distance_m,offset_m\n0,0\n1,0\n9,0\n"),
            "log.csv:4: distance_m = 9 lies 8.0 m beyond the point before; at most 6 m are allowed",
        ),
        (
            log("distance_m,offset_m\n0,0\n1,0\n5,0\n"),
            "log.csv:2: points up to 4.0 m apart, and too few of them to tell how the tractor wanders between them; 2 m apart they need not",
        ),
        (
            row("lat,lon\n52,8\n"),
            "rows.csv:1: the columns x_m and y_m are wanted",
        ),
        (
            log("distance_m,offset_m\n0,0\n500,0\n1000,0\n"),
            "log.csv:3: distance_m = 500 lies 500.0 m beyond the point before; at most 6 m are allowed; are these millimetres?",
        ),
        (
            log("distance_m,offset_m\n0,0\n50,0\n100,0\n"),
            "log.csv:3: distance_m = 50 lies 50.0 m beyond the point before; at most 6 m are allowed; are these centimetres or inches?",
        ),
        (
            log("distance_m,offset_m\n0,0\n1,1e300\n"),
            "log.csv:3: offset_m = 1e300 is beyond anything in a field; metres are wanted",
        ),
        (
            log("distance_m,offset_m\n1e-300,0\n1e-300,0\n1,1\n"),
            "log.csv:3: distance_m = 0.0000000000000000000000000000000000000000000000000000000000... does not rise above 0.0000000000000000000000000000000000000000000000000000000000... in the line before",
        ),
        (
            log("distance_m,offset_m\n0,\u{1b}[31mred\n"),
            "log.csv:2: offset_m = \"\\u{1b}[31mred\" is no number",
        ),
        (
            log(&format!("distance_m,offset_m\n0,{}\n", "ü".repeat(1 << 10))),
            &format!(
                "log.csv:2: offset_m = \"{}...\" is no number",
                "ü".repeat(60)
            ),
        ),
        (
            log(&format!("distance_m,offset_m\n0,{}\n", "ü".repeat(1 << 20))),
            "log.csv:2: more than 65536 bytes in one line or tag; a log with short lines is wanted",
        ),
        (
            row("x_m,y_m\n0,0\n-1e9,0\n"),
            "rows.csv:3: x_m = -1e9 is beyond anything in a field; metres are wanted",
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

/// Turns that cancel leave no rest of rounding: 0.1 + 0.2 - 0.1 - 0.2 is 2.8e-17 in floats.
#[test]
fn analytic_turns_that_cancel_leave_the_line_straight() {
    let chain = Polyline {
        corners: vec![(40.0, 0.1), (41.0, 0.2), (42.0, -0.1), (43.0, -0.2)],
        length_m: 100.0,
    };
    let line = Line::new(&chain.bends(12.0));
    assert!(line.curvature_1_m(35.5) > 0.0);
    assert_eq!(line.curvature_1_m(42.0), 0.0);
    assert_eq!(line.curvature_1_m(60.0), 0.0);
}

/// Half a million corners 10 mm apart under a rounding of 500 m: added up corner by corner for each stretch this would take 5e10
/// steps.
#[test]
fn analytic_a_dense_polyline_is_rounded_over_a_long_way() {
    let (radius, step) = (1000.0, 1e-5);
    let chain = Polyline {
        corners: (1..500_000).map(|i| (0.01 * f64::from(i), step)).collect(),
        length_m: 5000.0,
    };
    let line = Line::new(&chain.bends(500.0));
    for s in [300.0, 1234.567, 4700.0] {
        // One corner more or less within the rounding: 2e-5.
        assert!((line.curvature_1_m(s) * radius - 1.0).abs() < 2.1e-5, "{s}");
    }
    assert_eq!(line.curvature_1_m(5251.0), 0.0);
}

#[test]
fn regress_no_more_points_are_read_than_a_pass_can_use() {
    let mut text = String::from("distance_m,offset_m\n");
    for i in 0..=2_500_000 {
        text.push_str(&format!("{i}e-3,0\n"));
    }
    assert_eq!(
        logged_pass(&text, "log.csv", 1).unwrap_err().to_string(),
        "log.csv:2500002: more than 2500000 points; keep every second one, or fewer"
    );
}

/// A line of nothing but commas is no table.
#[test]
fn regress_a_line_of_many_fields_is_too_long() {
    let text = format!("{}distance_m,offset_m\n", ",".repeat(1 << 24));
    assert_eq!(
        logged_pass(&(text + "0,0\n"), "log.csv", 1)
            .unwrap_err()
            .to_string(),
        "log.csv:1: more than 65536 bytes in one line or tag; a log with short lines is wanted"
    );
}

/// A log with a fix every 2.2 m, as a receiver gives once a second at 8 km/h, of a tractor that wanders by 4 cm over 1.2 m. What is driven
/// again wanders as far, within the 10 % that a pass of 600 m (500 reaches) leaves open thrice over; straight lines would wander by a
/// fifth less. The same seed drives the same way, another one another.
#[test]
fn prop_a_coarse_log_is_driven_through_its_wander() {
    let truth = Damped {
        sd: 0.04,
        reach: 1.2,
        damping: 0.8,
    };
    let mut deviates = Deviates::<1>::new(7, [0], Source::Sway, 0);
    let step = truth.step(0.1);
    let mut state = step.start([deviates.normal(), deviates.normal()]);
    let (mut coarse, mut square, mut count) = (String::from("distance_m;offset_m\n"), 0.0, 0.0);
    for i in 0..6000 {
        if i % 22 == 0 {
            let seen_m = state[0].0[0] + 0.005 * deviates.normal().0[0];
            let line = format!("{:.1};{seen_m:.4}\n", 0.1 * f64::from(i)).replace('.', ",");
            coarse.push_str(&line);
        }
        square += state[0].0[0].powi(2);
        count += 1.0;
        state = step.next(state, [deviates.normal(), deviates.normal()]);
    }
    let driven_m = (square / count).sqrt();
    let log = logged_pass(&coarse, "log.csv", 1).unwrap();
    let found_m = wander(&log, 590.0).sd_m;
    assert!(
        (found_m / driven_m - 1.0).abs() < 0.1,
        "{found_m} {driven_m}"
    );
    let again = logged_pass(&coarse, "log.csv", 1).unwrap();
    assert_eq!(log.offset_m(), again.offset_m());
    let other = logged_pass(&coarse, "log.csv", 2).unwrap();
    assert_ne!(log.offset_m(), other.offset_m());
    // Both go through the fixes, within what the receiver's noise leaves open.
    let apart = log.offset_m().iter().zip(other.offset_m()).step_by(88);
    assert!(apart.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max) < 0.05);
}

/// The wander is that about the straight trend, of the stretch that is driven: 0.04 m of a full sine are 0.04/sqrt(2) m, on a trend
/// and with a turn behind the pass.
#[test]
fn analytic_the_wander_of_a_log_leaves_out_trend_and_what_is_not_driven() {
    let mut text = String::from("distance_m,offset_m\n");
    for i in 0..=1200 {
        let s = 0.1 * f64::from(i);
        let wave = 0.04 * (2.0 * std::f64::consts::PI * s / 10.0).sin();
        let turn = if s > 100.0 { s - 100.0 } else { 0.0 };
        text.push_str(&format!("{s},{}\n", 0.1 + 0.001 * s + wave + turn));
    }
    let log = logged_pass(&text, "log.csv", 1).unwrap();
    let found = wander(&log, 100.0);
    // Sum over whole waves; the trend takes up to 1/10 of a wave's own slope, (6/(pi 10))² / 2 of its variance.
    assert!((found.sd_m / (0.04 / 2.0_f64.sqrt()) - 1.0).abs() < 0.02);
    assert!((found.farthest_m - 0.2325).abs() < 1e-4 && (found.at_m - 92.5).abs() < 0.11);
    assert_eq!((found.refusal(), found.doubt()), (None, None));
    assert!(wander(&log, 120.0).refusal().is_some());
}
