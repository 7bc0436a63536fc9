//! Logs of driven passes and row lines made worse.

use std::fmt::Write;

use crate::case::{Case, Verdict};
use crate::dice::Dice;
use crate::judge;
use crate::scenarios::short;
use crate::texts;

/// Replays a log.
pub fn log(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    let bytes = worse(&mut case.dice, &prepared.log);
    study(
        case,
        "replayed_pass.toml",
        "log.csv",
        &bytes,
        &["--replay", "log.csv"],
    )
}

/// Follows a row line.
pub fn polyline(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    let bytes = worse(&mut case.dice, &prepared.rows);
    study(
        case,
        "carrots_slope.toml",
        "carrots_slope_rows.csv",
        &bytes,
        &[],
    )
}

/// What a walk through the field found, as a table or in the scenario language.
const WALK: [(&str, &str); 2] = [
    (
        "notes.csv",
        "place,row,left_mm,right_mm,plants,cut,touched\n1,1,36.5,41,200,3,1\n2,3,44,31,200,0,0\n3,2,40,37,200,1,0\n4,2,33,45,,,\n",
    ),
    (
        "notes.toml",
        "[[notes]]\nspeed = \"7 km/h\"\ngaps = [\n[\"36 mm\", \"41 mm\"],\n[\"44 mm\", \"31 mm\"],\n]\ncounts = [\n[200, 3],\n[200, 0],\n]\n[camera]\n\
         latency = { measured = \"95 ms\", error = \"10 ms\" }\n",
    ),
];

/// Learns from notes: the scenario stays as it is, and what is written beside it is a scenario again.
pub fn notes(case: &mut Case) -> Verdict {
    let (file, text) = case.dice.of(&WALK);
    let bytes = worse(&mut case.dice, text);
    let scenario = case.prepared.scenario("leeks.toml").to_owned();
    let short = short(&scenario).join("\n");
    case.write("field.toml", short.as_bytes());
    case.write(file, &bytes);
    let ran = case.run(&["learn", "field.toml", file]);
    let mut faults = judge::ended(&ran);
    if ran.code == Some(3) {
        faults.extend(judge::names(&ran, &["is unstable"]));
    } else {
        faults.extend(judge::places(&ran, &case.folder, &[file, "field.toml"]));
    }
    let written = std::fs::read_to_string(case.folder.join("field_learned.toml"));
    match (ran.code, &written) {
        (Some(0), Ok(text)) if text.contains("Transplanted leeks") => {}
        (Some(0), _) => faults.push("no scenario was written".into()),
        (_, Ok(_)) => faults.push("a scenario was written in spite of a failure".into()),
        _ => {}
    }
    if std::fs::read_to_string(case.folder.join("field.toml")).ok() != Some(short) {
        faults.push("the scenario itself was changed".into());
    }
    Verdict::new(&ran, faults)
}

/// Looks at a log of any kind and puts it into a scenario: JSON comes out, or a message with a place, and the scenario stays as it is.
pub fn field(case: &mut Case) -> Verdict {
    let (file, text) = driven(case.dice.below(4));
    let bytes = worse(&mut case.dice, &text);
    let scenario = case.prepared.scenario("leeks.toml").to_owned();
    let short = short(&scenario).join("\n");
    case.write("field.toml", short.as_bytes());
    case.write(file, &bytes);
    let asked = [
        "field",
        file,
        "--json",
        "--quality",
        "fixed",
        "--scenario",
        "field.toml",
    ];
    let ran = case.run(&asked);
    let mut faults = judge::ended(&ran);
    faults.extend(judge::places(&ran, &case.folder, &[file, "field.toml"]));
    if ran.code == Some(0) && serde_json::from_slice::<serde_json::Value>(&ran.out).is_err() {
        faults.push("what was found is no JSON".into());
    }
    let written = std::fs::read_to_string(case.folder.join("field_learned.toml"));
    match (ran.code, &written) {
        (Some(0), Ok(text)) if !text.contains("Transplanted leeks") => {
            faults.push("another scenario was written".into());
        }
        (code, Ok(_)) if code != Some(0) => {
            faults.push("a scenario was written in spite of a failure".into());
        }
        _ => {}
    }
    if std::fs::read_to_string(case.folder.join("field.toml")).ok() != Some(short) {
        faults.push("the scenario itself was changed".into());
    }
    Verdict::new(&ran, faults)
}

/// Two passes of 120 m as each kind of log has them.
fn driven(kind: usize) -> (&'static str, String) {
    let place = |pass: u32, fix: u32| {
        let x = 1.5 * f64::from(fix);
        let y =
            40.0 * f64::from(pass) + 0.04 * ((0.4 * x).sin() + (0.9 * x + f64::from(pass)).sin());
        [52.0 + y / 111_200.0, 8.0 + x / 68_500.0]
    };
    let fixes = || (0..2).flat_map(|pass| (0..80).map(move |fix| (pass, fix)));
    let mut text = String::new();
    match kind {
        0 => {
            text += "time_s,lat_deg,lon_deg,pass\n";
            for (pass, fix) in fixes() {
                let [lat, lon] = place(pass, fix);
                let _ = writeln!(
                    text,
                    "{}.5,{lat:.8},{lon:.8},{}",
                    100 * pass + fix,
                    pass + 1
                );
            }
            ("log.csv", text)
        }
        1 => {
            for (pass, fix) in fixes() {
                let [lat, lon] = place(pass, fix).map(|degrees| 60.0 * degrees.fract());
                let (minute, second) = ((100 * pass + fix) / 60, (100 * pass + fix) % 60);
                let said = format!(
                    "GPGGA,08{minute:02}{second:02}.00,52{lat:09.6},N,008{lon:09.6},E,4,12,0.8,60.0,M,46.0,M,1.0,0001"
                );
                let sum = said.bytes().fold(0, |sum, byte| sum ^ byte);
                let _ = writeln!(text, "${said}*{sum:02X}");
            }
            ("log.nmea", text)
        }
        2 => {
            text += "<gpx version=\"1.1\"><trk>\n";
            for pass in 0..2 {
                text += "<trkseg>\n";
                for fix in 0..80 {
                    let [lat, lon] = place(pass, fix);
                    let _ = writeln!(
                        text,
                        "<trkpt lat=\"{lat:.8}\" lon=\"{lon:.8}\"><ele>60.1</ele></trkpt>"
                    );
                }
                text += "</trkseg>\n";
            }
            text += "</trk></gpx>\n";
            ("log.gpx", text)
        }
        _ => {
            text += "{\"type\":\"FeatureCollection\",\"features\":[\n";
            for pass in 0..2 {
                let points: Vec<String> = (0..80)
                    .map(|fix| place(pass, fix))
                    .map(|[lat, lon]| format!("[{lon:.8},{lat:.8}]"))
                    .collect();
                let _ = writeln!(
                    text,
                    "{{\"type\":\"Feature\",\"properties\":{{}},\"geometry\":{{\"type\":\"LineString\",\"coordinates\":[\n{}\n]}}}}{}",
                    points.join(",\n"),
                    if pass == 0 { "," } else { "" }
                );
            }
            text += "]}\n";
            ("log.geojson", text)
        }
    }
}

fn study(case: &mut Case, scenario: &str, file: &str, bytes: &[u8], more: &[&str]) -> Verdict {
    let text = case.prepared.scenario(scenario);
    case.write("field.toml", short(text).join("\n").as_bytes());
    case.write(file, bytes);
    let study = [
        "study",
        "field.toml",
        "--passes",
        "8",
        "--threads",
        "1",
        "--quiet",
        "--out",
        "out",
    ];
    let ran = case.run(&[&study[..], more].concat());
    let out = case.files("out");
    let mut faults = judge::ended(&ran);
    if ran.code == Some(3) {
        faults.extend(judge::names(&ran, &["is unstable"]));
    } else {
        faults.extend(judge::places(&ran, &case.folder, &[file, "field.toml"]));
    }
    if ran.code == Some(0) {
        faults.extend(judge::whole(&out));
        faults.extend(judge::study(&out, Some(8)));
    }
    faults.extend(judge::untouched(&ran, &judge::Files::new(), &out));
    Verdict::new(&ran, faults)
}

/// Points made worse once or twice.
fn worse(dice: &mut Dice, text: &str) -> Vec<u8> {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let header = lines
        .iter()
        .position(|line| line.contains('_'))
        .unwrap_or(0);
    for _ in 0..dice.from(1, 2) {
        // Without points there is nothing left to make worse.
        if lines.len() <= header + 1 {
            break;
        }
        let points = header + 1..lines.len();
        match dice.below(18) {
            0 => scaled(&mut lines, 1000.0),
            1 => scaled(
                &mut lines,
                dice.of(&[1e-3, 1e-300, 1e300, 0.0, -1.0, 1e9, 30.0]),
            ),
            2 => lines = lines.iter().map(|line| line.replace(',', ";")).collect(),
            3 => lines = lines.iter().map(|line| line.replace('.', ",")).collect(),
            4 => {
                lines = lines
                    .iter()
                    .map(|line| line.split(',').next().unwrap_or("").to_owned())
                    .collect()
            }
            5 => drop(lines.drain(..points.start)),
            6 => lines.truncate(header + dice.from(0, 4)),
            7 => lines[points].reverse(),
            8 => {
                for _ in 0..dice.from(1, 100) {
                    let (one, other) = (dice.below(lines.len()), dice.below(lines.len()));
                    lines.swap(one, other);
                }
            }
            9 if dice.once_in(3) => many(dice, &mut lines),
            10 => {
                lines = lines
                    .iter()
                    .map(|line| format!("{line},{},", texts::WORDS[3]))
                    .collect()
            }
            11 => {
                let at = dice.below(lines.len());
                if let Some(line) = lines.get_mut(at) {
                    *line = texts::word(dice);
                }
            }
            12 => lines = lines.iter().map(|line| line.replace('_', " ")).collect(),
            13 => {
                lines = lines
                    .iter()
                    .map(|line| format!("\"{}\"", line.replace(',', "\",\"")))
                    .collect()
            }
            14 => lines.clear(),
            15 => texts::lines_about(dice, &mut lines),
            _ => texts::number_somewhere(dice, &mut lines),
        }
    }
    let mut bytes = (lines.join("\n") + "\n").into_bytes();
    if dice.once_in(4) {
        texts::bytes_about(dice, &mut bytes);
    }
    bytes
}

fn scaled(lines: &mut [String], by: f64) {
    for line in lines {
        let numbers: Option<Vec<f64>> = line.split(',').map(|field| field.parse().ok()).collect();
        if let Some(numbers) = numbers {
            let fields: Vec<String> = numbers
                .iter()
                .map(|number| format!("{:?}", number * by))
                .collect();
            *line = fields.join(",");
        }
    }
}

/// So many points as a receiver logs in a long day.
fn many(dice: &mut Dice, lines: &mut Vec<String>) {
    let step_m = dice.of(&[0.001, 0.01, 1.0]);
    let mut points = lines
        .iter()
        .find(|line| line.contains('_'))
        .cloned()
        .unwrap_or_default();
    for point in 0..dice.of(&[10_000, 100_000]) {
        let _ = write!(
            points,
            "\n{:.3},{:.4}",
            f64::from(point) * step_m,
            0.01 * dice.share()
        );
    }
    *lines = vec![points];
}
