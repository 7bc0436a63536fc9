//! Parts of a study and the progress of a stopped one, tampered with: refused by name, or without any consequence.

use serde_json::Value;

use crate::case::{Case, Verdict};
use crate::dice::Dice;
use crate::judge::{self, Files};
use crate::prepared::PASSES;
use crate::texts;

/// Merges two parts, or goes on with one, after a change to the first.
pub fn part(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    let name = "part_1_of_2.json";
    let mut files = prepared.parts.clone();
    let tampered = worse(&mut case.dice, &prepared.parts[name]);
    files.insert(name.to_owned(), tampered);
    case.write("field.toml", prepared.field.as_bytes());
    case.write_all("parts", &files);
    if case.dice.once_in(4) {
        let again = [
            "study",
            "field.toml",
            "--passes",
            PASSES,
            "--part",
            "1/2",
            "--quiet",
            "--out",
            "parts",
        ];
        return judged(case, &again, "parts", &files, &prepared.parts, name);
    }
    let merge = [
        "merge",
        "parts/part_1_of_2.json",
        "parts/part_2_of_2.json",
        "--quiet",
        "--out",
        "out",
    ];
    judged(case, &merge, "out", &Files::new(), &prepared.whole, name)
}

/// Goes on with a stopped study after a change to its progress.
pub fn so_far(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    let name = "so_far.json";
    let mut files = prepared.stopped.clone();
    let tampered = worse(&mut case.dice, &prepared.stopped[name]);
    files.insert(name.to_owned(), tampered);
    case.write("field.toml", prepared.field.as_bytes());
    case.write_all("out", &files);
    let go_on = [
        "study",
        "field.toml",
        "--passes",
        PASSES,
        "--quiet",
        "--out",
        "out",
    ];
    judged(case, &go_on, "out", &files, &prepared.whole, name)
}

fn judged(
    case: &mut Case,
    command: &[&str],
    out: &str,
    before: &Files,
    wanted: &Files,
    name: &str,
) -> Verdict {
    let ran = case.run(command);
    let after = case.files(out);
    let mut faults = judge::ended(&ran);
    faults.extend(judge::names(&ran, &[name]));
    if !matches!(ran.code, Some(0..=2)) {
        faults.push(format!(
            "exit code {:?}: a changed file is refused with 1 or 2",
            ran.code
        ));
    }
    if ran.code == Some(0) {
        faults.extend(judge::same(wanted, &after));
    }
    faults.extend(judge::untouched(&ran, before, &after));
    Verdict::new(&ran, faults)
}

/// One change: to a digit, a byte, a value, a name, the order, the space between.
fn worse(dice: &mut Dice, original: &[u8]) -> Vec<u8> {
    let mut text = String::from_utf8_lossy(original).into_owned();
    match dice.below(12) {
        0..=2 => {
            let digits: Vec<usize> = text
                .bytes()
                .enumerate()
                .filter(|(_, b)| b.is_ascii_digit())
                .map(|(at, _)| at)
                .collect();
            for _ in 0..dice.from(1, 3) {
                let at = digits[dice.below(digits.len())];
                text.replace_range(at..=at, dice.of(&["0", "1", "2", "5", "9"]));
            }
        }
        3 => {
            let claim = dice.of(&[
                "\"number\":",
                "\"of\":",
                "\"passes\":",
                "\"format\":",
                "\"seed\":",
                "\"share\":",
            ]);
            let number = dice.of(&texts::NUMBERS);
            let places: Vec<usize> = text
                .match_indices(claim)
                .map(|(at, _)| at + claim.len())
                .collect();
            if let Some(&start) = places.get(dice.below(places.len())) {
                let end = text[start..]
                    .find([',', '}', ']'])
                    .map_or(text.len(), |length| start + length);
                text.replace_range(start..end, number);
            }
        }
        4 | 5 => {
            if let Ok(mut value) = serde_json::from_str::<Value>(&text) {
                // At times the values stay and only their order and digits are written anew.
                if !dice.once_in(8) {
                    texts::json_about(dice, &mut value);
                }
                text = value.to_string();
            }
        }
        6 => {
            let key = dice.of(&[
                "\"passes\":8,",
                "\"seed\":1,",
                "\"undecided\":false,",
                "\"share\":null,",
                "\"stranger\":1,",
            ]);
            text.insert_str(1, key);
        }
        7 => {
            let place = dice.of(&["field.toml", "My field", "rowroom", "0.1.0", "leeks"]);
            text = text.replace(place, texts::quoted(&texts::word(dice)).trim_matches('"'));
        }
        8 => {
            text = text.replace(
                dice.of(&[",\"", "{\"", "],[", "},{"]),
                dice.of(&[" , \"", "{\n\"", "],\t[", "}\n,{"]),
            )
        }
        9 => text += dice.of(&["\n", " \n\n", "}", "{}", "\0", "garbage", "[]"]),
        10 => {
            let places: Vec<usize> = text.match_indices('[').map(|(at, _)| at).collect();
            let at = places.get(dice.below(places.len())).copied().unwrap_or(0);
            text.insert_str(at, &"[".repeat(dice.of(&[1, 100, 100_000])));
        }
        _ => {
            let mut bytes = text.into_bytes();
            texts::bytes_about(dice, &mut bytes);
            return bytes;
        }
    }
    text.into_bytes()
}
