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
