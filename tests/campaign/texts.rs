//! Texts made worse: what scenarios, logs, parts and results have in common.

use std::ops::Range;

use serde_json::Value;

use crate::dice::Dice;

/// Numbers at and beyond the ends of what machines count with.
pub const NUMBERS: [&str; 34] = [
    "0",
    "-0",
    "-1",
    "1",
    "2",
    "0.5",
    "1e300",
    "-1e300",
    "1e-300",
    "5e-324",
    "1.7976931348623157e308",
    "1e999",
    "nan",
    "-nan",
    "inf",
    "-inf",
    "18446744073709551615",
    "18446744073709551616",
    "18446744073709551608",
    "9223372036854775807",
    "9223372036854775808",
    "-9223372036854775808",
    "4294967296",
    "2147483648",
    "10000000000",
    "0x10",
    "1_000",
    "00",
    "1e",
    "--1",
    "1.",
    "1,5",
    "٣",
    "½",
];

/// Names that people have and names that harm: letters, directions, controls, markup, paths.
pub const WORDS: [&str; 24] = [
    "",
    " ",
    "Rüben am Bärenbühl, größte Fläche",
    "Свёкла на склоне",
    "甜菜 南側の畑",
    "حقل البنجر",
    "🌱🚜 field 👩‍🌾",
    "e\u{301}\u{302}\u{303}\u{304}\u{305}\u{306}\u{307}\u{308} combined",
    "left \u{202e}thgir\u{202c} \u{2066}isolated\u{2069} \u{200f}mark",
    "zero\u{200b}width\u{feff}joined\u{ad}soft",
    "bell \u{7} escape \u{1b}[31mred\u{1b}[0m back \u{8} null \u{0} delete \u{7f}",
    "next line \u{85} line \u{2028} paragraph \u{2029}",
    "line\nfeed\r\nand\ttab",
    "<img src=x onerror=alert(1)>",
    "</script><script>alert(2)</script>",
    "\"><svg onload=alert(3)>",
    "]]> --> ?> */ \\u003c &lt; &#60; &amp;",
    "{{7*7}} ${7*7} %s%n %00",
    "..",
    "../../../../outside",
    "/dev/null",
    "C:\\CON.txt",
    "=1+1",
    "\u{fffd}\u{ffff}\u{10ffff}",
];

/// A hostile word, at times a very long one.
pub fn word(dice: &mut Dice) -> String {
    let word = dice.of(&WORDS);
    match dice.below(8) {
        0 => word.repeat(dice.from(2, 40)),
        1 => "long ".repeat(dice.from(100, 20_000)),
        2 => "ü".repeat(dice.from(30, 3000)),
        3 => "unbroken".repeat(dice.from(10, 200)),
        4 => format!("{word}{}", dice.of(&WORDS)),
        _ => word.to_owned(),
    }
}

/// A text as TOML and JSON write it.
pub fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            c if c.is_control() => quoted.push_str(&format!("\\u{:04x}", u32::from(c))),
            c => quoted.push(c),
        }
    }
    quoted + "\""
}

/// Where numbers stand in a line.
fn numbers(line: &str) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = Vec::new();
    for (at, byte) in line.bytes().enumerate() {
        let digit = byte.is_ascii_digit();
        match found.last_mut() {
            Some(last) if last.end == at && (digit || byte == b'.') => last.end += 1,
            _ if digit => found.push(at..at + 1),
            _ => {}
        }
    }
    found
}

/// Puts another number in place of one of a line; false if it has none.
pub fn other_number(dice: &mut Dice, line: &mut String) -> bool {
    let found = numbers(line);
    if found.is_empty() {
        return false;
    }
    let at = found[dice.below(found.len())].clone();
    line.replace_range(at, dice.of(&NUMBERS));
    true
}

/// Puts another number into one of the lines that have any.
pub fn number_somewhere(dice: &mut Dice, lines: &mut [String]) {
    for _ in 0..20 {
        let at = dice.below(lines.len());
        if lines
            .get_mut(at)
            .is_some_and(|line| other_number(dice, line))
        {
            return;
        }
    }
}

/// Deletes, doubles, exchanges or moves lines.
pub fn lines_about(dice: &mut Dice, lines: &mut Vec<String>) {
    if lines.is_empty() {
        return;
    }
    let (one, other) = (dice.below(lines.len()), dice.below(lines.len()));
    match dice.below(4) {
        0 => drop(lines.remove(one)),
        1 => lines.insert(other, lines[one].clone()),
        2 => lines.swap(one, other),
        _ => {
            let line = lines.remove(one);
            lines.insert(other.min(lines.len()), line);
        }
    }
}

/// Damage that knows nothing of the text: cut, flipped, foreign line ends and marks, bytes that are no UTF-8.
pub fn bytes_about(dice: &mut Dice, bytes: &mut Vec<u8>) {
    let at = dice.below(bytes.len());
    match dice.below(9) {
        0 => bytes.truncate(at),
        1 => {
            for _ in 0..dice.from(1, 8) {
                let at = dice.below(bytes.len());
                if let Some(byte) = bytes.get_mut(at) {
                    *byte ^= 1 << dice.below(8);
                }
            }
        }
        2 => *bytes = String::from_utf8_lossy(bytes).replace('\n', "\r\n").into(),
        3 => *bytes = String::from_utf8_lossy(bytes).replace('\n', "\r").into(),
        4 => drop(bytes.splice(0..0, *b"\xef\xbb\xbf")),
        5 => drop(
            bytes.splice(
                at..at,
                dice.of(&[&b"\xff"[..], b"\xc3", b"\xed\xa0\x80", b"\xf8\x88"])
                    .to_vec(),
            ),
        ),
        6 => drop(bytes.splice(at..at, [dice.below(32) as u8])),
        7 => {
            *bytes = String::from_utf8_lossy(bytes)
                .encode_utf16()
                .flat_map(u16::to_le_bytes)
                .collect()
        }
        _ => {
            let end = (at + dice.from(1, 200)).min(bytes.len());
            let piece = bytes[at..end].to_vec();
            let to = dice.below(bytes.len());
            drop(bytes.splice(to..to, piece));
        }
    }
}

/// Changes one value or list of a JSON text, or its structure.
pub fn json_about(dice: &mut Dice, value: &mut Value) {
    // Down to a leaf, at times only to a node on the way.
    let stays = dice.once_in(6);
    match value {
        Value::Array(items) if !stays && !items.is_empty() => {
            let at = dice.below(items.len());
            json_about(dice, &mut items[at]);
        }
        Value::Object(items) if !stays && !items.is_empty() => {
            let at = dice.below(items.len());
            items
                .values_mut()
                .skip(at)
                .take(1)
                .for_each(|item| json_about(dice, item));
        }
        _ => changed(dice, value),
    }
}

/// Mostly to another value of its type, so that it is not refused for that alone.
fn changed(dice: &mut Dice, value: &mut Value) {
    let foreign = dice.once_in(5);
    match value {
        Value::Array(items) if !foreign => match dice.below(4) {
            0 => items.clear(),
            1 => items.reverse(),
            2 => items.extend(items.clone()),
            _ => drop(items.pop()),
        },
        Value::Object(items) if !foreign => {
            let name = items.keys().nth(dice.below(items.len())).cloned();
            let taken = name.and_then(|name| items.remove(&name));
            if let Some(taken) = taken.filter(|_| dice.once_in(2)) {
                items.insert(word(dice), taken);
            }
        }
        Value::Number(number) if !foreign => {
            let number = number.as_f64().unwrap_or(0.0);
            let near = number * (1.0 + 1e-9);
            *value = match dice.below(3) {
                0 => serde_json::from_str(dice.of(&NUMBERS)).unwrap_or_else(|_| near.into()),
                _ => dice
                    .of(&[-number, number + 1.0, number * 1e10, near])
                    .into(),
            };
        }
        Value::Bool(yes) if !foreign => *yes = !*yes,
        Value::String(text) if !foreign => *text = word(dice),
        _ => {
            let texts = ["null", "[]", "{}", "true", "-1", "\"\"", "1e300"];
            *value = serde_json::from_str(dice.of(&texts)).unwrap_or_default();
        }
    }
}
