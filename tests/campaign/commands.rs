//! Command lines that nobody should type.

use std::ffi::OsString;
use std::fs;

use crate::case::{Case, Verdict};
use crate::judge;
use crate::texts;

/// A command with one or two odd arguments.
pub fn case(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    case.write("field.toml", prepared.field.as_bytes());
    case.write("log.csv", prepared.log.as_bytes());
    case.write_all("whole", &prepared.whole);
    case.write_all("parts", &prepared.parts);
    fs::create_dir_all(case.folder.join("directory")).expect("a folder of the case");
    let number = case.dice.of(&texts::NUMBERS);
    let file = odd_file(case);
    let passes = case.dice.of(&["2", "8", "9"]);
    let quantity = format!(
        "{number} {}",
        case.dice
            .of(&["km/h", "mph", "mm", "in", "bar", "", "\u{7}"])
    );
    let part = match case.dice.below(4) {
        0 => format!("{number}/{number}"),
        1 => format!("1/{number}"),
        2 => format!("{number}/2"),
        _ => texts::word(&mut case.dice)
            .replace('\0', "")
            .chars()
            .take(1000)
            .collect(),
    };
    let set = odd_value(case, number, &quantity);
    let over = format!("{set}, {}", odd_value(case, number, &quantity));
    let study: Vec<OsString> = words(&["study", "field.toml", "--quiet"]);
    let with = |more: &[&str]| [study.clone(), words(more)].concat();
    let command: Vec<OsString> = match case.dice.below(27) {
        // So many passes never end: the time does.
        0 => with(&["--passes", number, "--minutes", "0.005"]),
        1 => with(&["--most-passes", number, "--minutes", "0.005"]),
        2 => with(&["--passes", number, "--part", &part, "--minutes", "0.005"]),
        3 => with(&["--passes", "16", "--part", &part]),
        4 => with(&["--passes", passes, "--minutes", number]),
        5 => with(&["--passes", passes, "--seed", number]),
        6 => with(&["--passes", passes, "--threads", number]),
        7 => words(&["pass", "field.toml", "--speed", &quantity]),
        8 => words(&["pass", "field.toml", "--clearance", &quantity]),
        9 => words(&["pass", "field.toml", "--number", number]),
        10 => words(&[
            "compare",
            "field.toml",
            "field.toml",
            "--passes",
            passes,
            "--seed",
            number,
        ]),
        11 | 12 => [
            words(&["study"]),
            vec![file],
            words(&["--passes", passes, "--quiet", "--out", "out"]),
        ]
        .concat(),
        13 | 14 => [with(&["--passes", passes, "--out"]), vec![file]].concat(),
        15 => [
            words(&["study", "field.toml", "--passes", passes, "--replay"]),
            vec![file],
        ]
        .concat(),
        16 => [words(&["merge", "parts/part_1_of_2.json"]), vec![file]].concat(),
        17 => [words(&["compare", "whole"]), vec![file]].concat(),
        18 => [
            words(&["compare", "field.toml"]),
            vec![file],
            words(&["--passes", passes]),
        ]
        .concat(),
        19 => [words(&["starter"]), vec![file]].concat(),
        20 => [words(&["pass"]), vec![file]].concat(),
        21 => with(&["--passes", passes, "--set", &set]),
        22 => words(&["pass", "field.toml", "--set", &set]),
        23 | 24 => words(&[
            "sweep",
            "field.toml",
            "--over",
            &over,
            "--passes",
            passes,
            "--out",
            "out",
        ]),
        25 => [words(&["design"]), vec![file], words(&["--passes", passes])].concat(),
        _ => {
            let one = case.dice.of(&[
                "study", "design", "merge", "pass", "--help", "schema", "", "-", "--", "--out",
                "harrow", "results",
            ]);
            [words(&[one]), vec![file]].concat()
        }
    };
    let ran = case.run(&command);
    let mut faults = judge::ended(&ran);
    // Control characters of an argument cannot be told as they are.
    let told = |word: &OsString| {
        let word = word.to_string_lossy();
        let longest = word
            .split(|c: char| c.is_control() || c == '\u{fffd}')
            .max_by_key(|part| part.len());
        longest
            .unwrap_or_default()
            .chars()
            .take(40)
            .collect::<String>()
    };
    let names: Vec<String> = command
        .iter()
        .skip(1)
        .map(told)
        .filter(|word| word.len() > 1)
        .collect();
    let mut names: Vec<&str> = names.iter().map(String::as_str).collect();
    names.extend(["Usage", "<FILE>", "--out", "--minutes", "time", "\" \""]);
    faults.extend(judge::names(&ran, &names));
    for folder in ["out", "reports", "directory", "parts", "whole"] {
        faults.extend(judge::whole(&case.files(folder)));
    }
    Verdict::new(&ran, faults)
}

/// A key that may be none, with a value that may be none of its.
fn odd_value(case: &mut Case, number: &str, quantity: &str) -> String {
    let key = case.dice.of(&[
        "camera.latency",
        "camera.latency.more",
        "controller.pid",
        "controller.pid.gain",
        "hydraulics.stroke",
        "rows.row_spacing",
        "study.speeds",
        "[camera]",
        "",
    ]);
    let word: String = texts::word(&mut case.dice).replace('\0', "");
    let word: String = word.chars().take(300).collect();
    let value = match case.dice.below(6) {
        0 => number,
        1 => quantity,
        2 => "",
        3 => "\"80 ms",
        4 => "{ mean = \"80 ms\", sd = \"5 ms\" }",
        _ => &word,
    };
    format!("{key}={value}")
}

fn words(words: &[&str]) -> Vec<OsString> {
    words.iter().map(OsString::from).collect()
}

/// A name of no file, or of one that is none of ours.
fn odd_file(case: &mut Case) -> OsString {
    let word: String = texts::word(&mut case.dice)
        .replace('\0', "")
        .chars()
        .take(2000)
        .collect();
    let named = case.dice.of(&[
        "field.toml",
        "whole/results.json",
        "parts/part_2_of_2.json",
        "log.csv",
    ]);
    match case.dice.below(12) {
        0 => "directory".into(),
        1 => "missing/file.toml".into(),
        2 => special(case, "pipe"),
        3 => special(case, "/dev/zero"),
        4 => special(case, "/dev/null"),
        5 => special(case, "loop"),
        6 => special(case, "/dev/full"),
        7 => "n".repeat(300).into(),
        8 => {
            // A sound file under an odd name.
            let name = word
                .replace(['/', '\\'], "_")
                .chars()
                .take(60)
                .collect::<String>();
            let copied = fs::copy(case.folder.join(named), case.folder.join(&name));
            if copied.is_ok() {
                name.into()
            } else {
                named.into()
            }
        }
        9 => named.into(),
        10 => not_utf8(case),
        _ => word.into(),
    }
}

/// Files that are no files; plain ones elsewhere than on Unix.
fn special(case: &Case, name: &str) -> OsString {
    #[cfg(unix)]
    match name {
        "pipe" => {
            let made = std::process::Command::new("mkfifo")
                .arg(case.folder.join(name))
                .status();
            assert!(
                made.is_ok_and(|status| status.success()),
                "mkfifo makes a pipe"
            );
        }
        "loop" => {
            let _ = std::os::unix::fs::symlink(name, case.folder.join(name));
        }
        _ => {}
    }
    let _ = case;
    name.into()
}

#[cfg(unix)]
fn not_utf8(case: &Case) -> OsString {
    let name: OsString = std::os::unix::ffi::OsStringExt::from_vec(b"field_\xff\xfe.toml".to_vec());
    // Not every file system takes such a name.
    let _ = fs::copy(case.folder.join("field.toml"), case.folder.join(&name));
    name
}

#[cfg(not(unix))]
fn not_utf8(_: &Case) -> OsString {
    "field_\u{fffd}.toml".into()
}
