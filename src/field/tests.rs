//! Logs of every kind, sound and spoiled, and what they are split into.

use super::log::{Frame, Logs, Quality};
use super::passes::{Antenna, Planned, split};
use super::receiver::{Verdict, judge};
use super::wander::fit;
use super::*;

fn read(text: &str) -> Result<Logs, FieldError> {
    let mut logs = Logs::default();
    logs.read(text.as_bytes(), "log").map(|()| logs)
}

fn refused(text: &str) -> String {
    read(text).unwrap_err().to_string()
}

/// A sentence with its checksum.
fn sentence(text: &str) -> String {
    format!(
        "${text}*{:02X}\r\n",
        text.bytes().fold(0, |sum, byte| sum ^ byte)
    )
}

fn gga(time: &str, latitude: &str, longitude: &str, quality: u8) -> String {
    sentence(&format!(
        "GPGGA,{time},{latitude},N,{longitude},E,{quality},12,0.8,80.0,M,45.0,M,,"
    ))
}

#[test]
fn regress_nmea_counts_what_is_spoiled_and_passes_midnight() {
    let mut text = gga("235959.00", "5200.00000", "00900.00000", 4);
    text += &sentence("GPRMC,235959.00,A,5200.00000,N,00900.00000,E,4.3,0.0,040526,,,R");
    text += &sentence("PXYZ,1,2,3");
    text += &sentence("GPGSV,1,1,00");
    text += "$GPGGA,000000.00,5200.0001,N,00900.0,E,4*00\r\n\u{1b}garbage\r\n";
    text += &gga("000001.00", "5200.00100", "00900.00000", 4);
    text += &gga("000002.00", "", "", 0);
    let logs = read(&text).unwrap();
    assert_eq!(
        (logs.fixes.len(), logs.spoiled, logs.without_position),
        (2, 2, 1)
    );
    assert_eq!(logs.first_spoiled, Some(("log".into(), 5)));
    assert_eq!(
        logs.fixes[1].time_s.unwrap() - logs.fixes[0].time_s.unwrap(),
        2.0
    );
    assert_eq!(logs.fixes[0].quality, Some(Quality::Fixed));
    // A thousandth of a minute of latitude at 52 degrees, WGS-84: 1.8543 m.
    assert!(
        (logs.fixes[1].y_m - 1.8543).abs() < 1e-3,
        "{}",
        logs.fixes[1].y_m
    );
    assert!((logs.step_m.unwrap() - 0.0185).abs() < 1e-4);
}

/// Last zeros are left out by many a log: the finest of a log is its step, and of two logs the coarser one's counts.
#[test]
fn regress_a_log_is_as_fine_as_its_finest_fix() {
    let gpx = |places: &[&str]| {
        let points: String = places
            .iter()
            .map(|at| format!("<trkpt lat=\"{at}\" lon=\"9.0\"/>"))
            .collect();
        format!("<gpx><trk><trkseg>{points}</trkseg></trk></gpx>")
    };
    let fine = gpx(&["52.1", "52.1000001", "52.100001"]);
    let coarse = gpx(&["52.10001", "52.10002"]);
    let step_m = |logs: &Logs| logs.step_m.unwrap();
    assert!((step_m(&read(&fine).unwrap()) / 0.01112 - 1.0).abs() < 1e-9);
    let mut both = Logs::default();
    for text in [fine, coarse] {
        both.read(text.as_bytes(), "log").unwrap();
    }
    assert!((step_m(&both) / 1.112 - 1.0).abs() < 1e-9);
}

#[test]
fn regress_gpx_geojson_and_every_kind_of_table_say_the_same() {
    let gpx = "<?xml version=\"1.0\"?>\n<gpx><!-- <trkpt lat=\"1\" lon=\"1\"/> --><trk><trkseg>\n<trkpt lat=\"52.0000000\" lon='9.0000000'><ele>3</ele><time>2026-05-04T08:00:00Z</time></trkpt>\n\
               <trkpt lon=\"9.0000100\" lat=\"52.0000200\"><time>2026-05-04T08:00:01Z</time></trkpt></trkseg></trk></gpx>";
    let json = "{\"type\":\"FeatureCollection\",\"features\":[{\"type\":\"Feature\",\"properties\":{},\"geometry\":{\"type\":\"LineString\",\
                \"coordinates\":[[9.0,52.0],[9.00001,52.00002,80.0]]}}]}";
    let comma = "\u{feff}time,lat,lon\n0,52.0,9.0\n1,52.00002,9.00001\n";
    let semicolon =
        "# export\nTime; Latitude (deg); Longitude (deg)\n0; 52,0; 9,0\n1; 52,00002; 9,00001\n";
    let tab = "lat\tlon\ttime\n\"52.0\"\t9.0\t08:00:00\n52.00002\t9.00001\t08:00:01\n";
    for text in [gpx, json, comma, semicolon, tab] {
        let logs = read(text).unwrap();
        assert_eq!(logs.fixes.len(), 2, "{text}");
        assert_eq!(logs.frame, Some(Frame::Earth));
        let last = logs.fixes[1];
        assert!(
            (last.x_m - 0.6865).abs() < 1e-3 && (last.y_m - 2.2253).abs() < 1e-3,
            "{last:?}"
        );
        if let (Some(first_s), Some(last_s)) = (logs.fixes[0].time_s, last.time_s) {
            assert_eq!(last_s - first_s, 1.0);
        }
    }
}

#[test]
fn regress_every_fault_has_its_line_and_what_would_be_right() {
    for (text, want) in [
        ("", "log:1: the file is empty"),
        (
            "a,b\n1,2\n",
            "log:1: no columns with a place are known in \"a,b\"",
        ),
        (
            "lat,lon\n52.0,9.0\n52.0,nine\n",
            "log:3: lon = \"nine\" is no number",
        ),
        (
            "lat,lon\n52.0,900.0\n",
            "log:2: latitude 52 and longitude 900 are no place on the Earth",
        ),
        (
            "x_m,y_m\n1e9,0\n",
            "log:2: a place 1000000000 m away lies beyond any field",
        ),
        ("x_m,y_m\nNaN,0\n", "log:2: x_m = \"NaN\" is no number"),
        (
            "x_m,y_m,time\n1,0,noon\n",
            "log:2: the time \"noon\" is none",
        ),
        ("lat,lon\n", "log:1: no fix in this file"),
        (
            "<gpx><trkpt lat=\"52\" lon=\"9\"></trkpt>\n<trkpt lat=\"52\" lo",
            "log:2: the file ends within a tag",
        ),
        (
            "<gpx>\n<trkpt lat=\"x\" lon=\"9\"/>",
            "log:2: a point has lat = \"x\"",
        ),
        (
            "<!DOCTYPE gpx [<!ENTITY a \"b\">]><gpx/>",
            "log:1: a GPX file has no document type",
        ),
        (
            "{\"type\":\"LineString\",\"coordinates\":[[9]]}",
            "log:1: point 1 of a line is not [longitude, latitude]",
        ),
        ("{\"type\":", "log:1: no GeoJSON"),
        (
            "$GPGGA,truncated",
            "log:1: no fix in this file (1 spoiled lines",
        ),
    ] {
        let said = refused(text);
        assert!(said.starts_with(want), "{text:?}: {said}");
    }
    let long = format!("lat,lon\n{}", "9".repeat(70_000));
    assert!(refused(&long).starts_with("log:2: more than 65536 bytes in one line"));
    let mut deep = "[".repeat(30_000);
    deep.insert_str(0, "{\"type\":\"LineString\",\"coordinates\":");
    assert!(refused(&deep).starts_with("log:1: no GeoJSON"));
    let mut bytes = b"lat,lon\n52.0,9.0\n".to_vec();
    bytes.extend_from_slice(&[0xFF, 0xFE, b'\n']);
    let said = Logs::default()
        .read(&bytes[..], "log")
        .unwrap_err()
        .to_string();
    assert!(
        said.starts_with("log:3: this line is no UTF-8 text"),
        "{said}"
    );
}

/// Any beginning of a sound log, and any byte of it changed, is read or refused with a line, and never more.
#[test]
fn prop_cut_and_changed_logs_end_in_a_place() {
    let sound = [
        gga("080000.00", "5200.00000", "00900.00000", 4) + &gga("080001.00", "5200.00100", "00900.00000", 4),
        "<gpx><trkseg><trkpt lat=\"52.0\" lon=\"9.0\"><time>2026-05-04T08:00:00Z</time></trkpt></trkseg></gpx>".to_owned(),
        "time;lat;lon\n0;52,0;9,0\n1;52,1;\"9,1\"\n".to_owned(),
        "{\"type\":\"LineString\",\"coordinates\":[[9.0,52.0],[9.1,52.1]]}".to_owned(),
    ];
    for text in sound {
        for i in 0..text.len() {
            for byte in [0, b'"', b'<', b'9', b'-', 0xFF] {
                let mut bytes = text.as_bytes().to_vec();
                bytes[i] = byte;
                for bytes in [&bytes[..], &text.as_bytes()[..i]] {
                    if let Err(error) = Logs::default().read(bytes, "log") {
                        assert!(error.to_string().starts_with("log:"), "{error}");
                    }
                }
            }
        }
    }
}

/// A field of straight passes or arcs with turns between them, and a wander of known sd; metres.
fn field(passes: u32, bent: bool) -> String {
    let mut text = "time,x_m,y_m,quality\n".to_owned();
    let mut time_s = 0.0;
    let mut push = |x: f64, y: f64| {
        time_s += 0.2;
        text += &format!("{time_s:.1},{x:.4},{y:.4},4\n");
    };
    for pass in 0..passes {
        let there = pass % 2 == 0;
        let y0 = 3.0 * f64::from(pass);
        for i in 0..500 {
            let along = 0.4 * f64::from(i);
            let x = if there { along } else { 200.0 - along };
            let wander =
                0.04 * core::f64::consts::SQRT_2 * libm::sin(along / 2.0 + f64::from(pass));
            let bow = if bent {
                (x - 100.0) * (x - 100.0) / 800.0
            } else {
                0.0
            };
            push(x, y0 + bow + if there { wander } else { -wander });
        }
        // A wide turn with its swing, at the headland.
        for i in 0..60 {
            let angle = core::f64::consts::PI * f64::from(i) / 60.0;
            let (x, y) = (8.0 * libm::sin(angle), 1.5 - 1.5 * libm::cos(angle));
            let bow = if bent { 12.5 } else { 0.0 };
            push(if there { 200.0 + x } else { -x }, y0 + bow + y);
        }
    }
    text
}

#[test]
fn prop_fields_are_split_into_their_passes() {
    for bent in [false, true] {
        let logs = read(&field(9, bent)).unwrap();
        let passes = split(
            &logs,
            Some(Quality::Fixed),
            Antenna::default(),
            &Planned::Found,
        );
        assert_eq!(passes.len(), 9, "bent: {bent}");
        for pass in &passes {
            let numbers = pass.numbers();
            assert!((160.0..195.0).contains(&numbers.length_m), "{numbers:?}");
            // A sine of 12.6 m: its sd, less what a line or an arc takes off it.
            assert!((numbers.sd_m / 0.04 - 1.0).abs() < 0.05, "{numbers:?}");
            assert_eq!(numbers.radius_m.is_some(), bent, "{numbers:?}");
        }
    }
}

#[test]
fn regress_a_jump_sideways_and_a_lift_cut_a_pass() {
    let mut text = "x_m,y_m,lifted\n".to_owned();
    for i in 0..1000 {
        let x = 0.4 * f64::from(i);
        let jump = if i > 300 { 0.5 } else { 0.0 };
        text += &format!(
            "{x},{},{}\n",
            jump + 0.03 * libm::sin(x / 2.0),
            u8::from((600..650).contains(&i))
        );
    }
    let passes = split(
        &read(&text).unwrap(),
        None,
        Antenna::default(),
        &Planned::Straight,
    );
    assert_eq!(passes.len(), 3);
    assert!(passes.iter().all(|pass| pass.numbers().sd_m < 0.03));
}

#[test]
fn regress_a_phone_is_refused_and_an_unknown_receiver_gets_an_upper_limit() {
    let alone = field(4, false).replace(",4\n", ",1\n");
    let unknown = field(4, false).replace(",4\n", ",\n");
    for (text, told, want) in [
        (&field(4, false), None, Verdict::Wander),
        (&alone, None, Verdict::SatellitesAlone),
        (&unknown, None, Verdict::UpperLimit),
        (&unknown, Some(Quality::Fixed), Verdict::Wander),
    ] {
        let logs = read(text).unwrap();
        let how = How {
            quality: told,
            ..How::default()
        };
        let found = tracks(&logs, &how);
        assert_eq!(found.receiver.verdict, want);
        assert_eq!(found.wander.is_some(), want != Verdict::SatellitesAlone);
        if want == Verdict::UpperLimit {
            let wander = found.wander.unwrap();
            assert_eq!((wander.sd_m.value, wander.sd_m.lower), (None, None));
            assert!(wander.sd_m.upper.unwrap() > 0.03);
        }
        assert!((found.receiver.rate_hz.unwrap() - 5.0).abs() < 1e-6);
    }
    assert_eq!(
        judge(&read("x_m,y_m\n0,0\n").unwrap(), None, None, &[]).verdict,
        Verdict::NoPass
    );
    assert!(fit(&[], None).is_none());
}

/// A roof antenna at 2.8 m: a degree of roll is 49 mm, and with the roll in the log it is taken off.
#[test]
fn analytic_roll_is_taken_off() {
    let mut text = "x_m,y_m,roll_deg\n".to_owned();
    for i in 0..400 {
        let x = 0.4 * f64::from(i);
        let roll = libm::sin(x / 3.0);
        text += &format!("{x},{:.6},{roll:.6}\n", -2.8 * libm::sin(roll.to_radians()));
    }
    let logs = read(&text).unwrap();
    let sd = |height_m| {
        let antenna = Antenna {
            height_m,
            ..Antenna::default()
        };
        split(&logs, None, antenna, &Planned::Straight)[0]
            .numbers()
            .sd_m
    };
    assert!((sd(None) / (0.0489 / core::f64::consts::SQRT_2) - 1.0).abs() < 0.05);
    assert!(sd(Some(2.8)) < 1e-4);
}

/// A published balanced case: four looms, four readings of strength each (Montgomery, Design and Analysis of Experiments, example on
/// random effects): mean squares 29.73 and 1.896, component 6.958, intraclass correlation 0.385 to 0.982, mean 95.437 with standard error
/// 1.363.
#[test]
fn val_published_looms() {
    let looms = [
        [98.0, 97.0, 99.0, 96.0],
        [91.0, 90.0, 93.0, 92.0],
        [96.0, 95.0, 97.0, 95.0],
        [95.0, 96.0, 99.0, 98.0],
    ];
    let values = looms.iter().enumerate().flat_map(|(place, readings)| {
        readings.map(|value| tape::Value {
            place,
            row: 0,
            value,
        })
    });
    let found = two_way(&values.collect::<Vec<_>>()).unwrap();
    // To the digits that are printed.
    assert!((found.mean.value.unwrap() - 95.4375).abs() < 1e-9);
    assert!((found.mean_se - 1.363).abs() < 1e-3);
    assert!(
        (found.place_sd.value.unwrap().powi(2) - 6.958).abs() < 2e-3,
        "{found:?}"
    );
    assert!((found.scatter_sd.value.unwrap().powi(2) - 1.896).abs() < 1e-3);
    let share = found.share_of_places;
    assert!(
        (share.lower.unwrap() - 0.385).abs() < 1e-3 && (share.upper.unwrap() - 0.982).abs() < 1e-3,
        "{share:?}"
    );
}

#[test]
fn regress_moves_say_which_way() {
    let mut text = "place,row,left mm,right mm\n".to_owned();
    for place in 0..12 {
        for row in 1..=4 {
            // Tools 8 mm to the left of the rows; those of row 3 6 mm further.
            let left = 8 + if row == 3 { 8 } else { 0 } + [1, -1, 0][(place + row) % 3];
            text += &format!("{place},{row},{},{}\n", 40 + left, 40 - left);
        }
    }
    let found = notes(&notebook::read(&text, "notes").unwrap());
    let by_mm = |i: usize| (1e3 * found.moves[i].by_m).round();
    assert_eq!(
        (found.moves[0].what, by_mm(0)),
        (moves::What::Alignment, -10.0)
    );
    assert_eq!((found.moves[3].what, by_mm(3)), (moves::What::Row(3), -6.0));
    assert_eq!(found.moves[3].verdict, moves::Verdict::Move);
    assert_eq!(found.moves[0].verdict, moves::Verdict::Move);
    // The three others stand 2 mm to the right of the mean row: less than a spanner is taken for.
    assert_eq!(found.moves[1].verdict, moves::Verdict::Leave);
    let few: Vec<notebook::Reading> = notebook::read(&text, "notes")
        .unwrap()
        .into_iter()
        .take(4)
        .collect();
    assert_eq!(notes(&few).found, None);
    // One row at each place but one: nothing tells the scatter, so that nothing is promised of more places.
    let lone =
        "place; row; left mm; right mm\n1; 1; 62; 57\n1; 2; 70; 48\n2; 3; 55; 66\n3; 1; 61; 60\n";
    let lone = notes(&notebook::read(lone, "notes").unwrap());
    assert_eq!(lone.found.unwrap().scatter_sd.value, None);
    let rows = &lone.moves[1..];
    assert_eq!(rows.len(), 3);
    assert!(
        rows.iter()
            .all(|one| one.verdict == moves::Verdict::Open && one.places_more.is_none())
    );
}
