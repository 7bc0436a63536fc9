//! Scenario files made worse.

use rowroom::scenario::keys::{self, Id, KEYS, Key, Need, Shape, TABLES};

use crate::case::{Case, Verdict};
use crate::dice::Dice;
use crate::judge;
use crate::texts;

/// A shipped scenario cut down to a short study: few settings, a short pass.
pub fn short(text: &str) -> Vec<String> {
    let mut table = String::new();
    let mut lines = Vec::new();
    for line in text.lines() {
        if line.starts_with('[') {
            table = line.to_owned();
        }
        let key = line.split(' ').next().unwrap_or_default();
        let value = match (table.as_str(), key) {
            ("[study]", "speeds") => "[\"4 km/h\", \"8 km/h\"]",
            ("[study]", "working_speed") => "\"8 km/h\"",
            ("[study]", "clearances") => "[\"25 mm\", \"38 mm\", \"60 mm\"]",
            ("[study]", "working_clearance") => "\"38 mm\"",
            ("[pass]", "length") => "\"40 m\"",
            ("[pass]", "entry_length") => "\"5 m\"",
            _ => {
                lines.push(line.to_owned());
                continue;
            }
        };
        lines.push(format!("{key} = {value}"));
    }
    lines
}

/// Studies one, and at times runs one pass of it or compares it with what it was.
pub fn case(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    let (_, shipped) = &prepared.scenarios[case.dice.below(prepared.scenarios.len())];
    let original = short(shipped);
    let bytes = worse(&mut case.dice, original.clone());
    let text = String::from_utf8_lossy(&bytes).into_owned();
    case.write("field.toml", &bytes);
    case.write("original.toml", original.join("\n").as_bytes());
    case.write("log.csv", prepared.log.as_bytes());
    case.write("carrots_slope_rows.csv", prepared.rows.as_bytes());
    case.write("rows.csv", prepared.rows.as_bytes());
    let passes = case.dice.of(&[8, 9, 16]);
    let number = case.dice.of(&[0, 7, u64::MAX]);
    let quiet = case.dice.of(&[" --quiet", ""]);
    let way = case.dice.below(20);
    let command = match way {
        0 => "compare field.toml original.toml --passes 8 --threads 1 --json".to_owned(),
        1 | 2 => format!("pass field.toml --number {number} --out out"),
        _ => format!("study field.toml --passes {passes} --threads 1 --out out{quiet}"),
    };
    let mut arguments: Vec<&str> = command.split(' ').collect();
    if way > 0 && text.lines().any(|line| line.trim() == "[driver.replay]") {
        arguments.extend(["--replay", "log.csv"]);
    }
    let ran = case.run(&arguments);
    let mut faults = judge::ended(&ran);
    if ran.code == Some(3) {
        faults.extend(judge::names(&ran, &["is unstable"]));
    } else {
        let files = [
            "field.toml",
            "original.toml",
            "log.csv",
            "carrots_slope_rows.csv",
            "rows.csv",
        ];
        faults.extend(judge::places(&ran, &case.folder, &files));
    }
    let out = case.files("out");
    if ran.code == Some(0) && way > 0 {
        faults.extend(judge::whole(&out));
        if way > 2 {
            faults.extend(judge::study(&out, Some(passes)));
        }
        if command.ends_with("--quiet") {
            faults.extend(judge::quiet(&ran));
        }
    }
    faults.extend(judge::untouched(&ran, &judge::Files::new(), &out));
    Verdict::new(&ran, faults)
}

/// One to three changes.
fn worse(dice: &mut Dice, mut lines: Vec<String>) -> Vec<u8> {
    for _ in 0..dice.of(&[1, 1, 1, 2, 3]) {
        match dice.below(16) {
            0 if dice.once_in(3) => deep(dice, &mut lines),
            0 => texts::lines_about(dice, &mut lines),
            1 | 2 => texts::number_somewhere(dice, &mut lines),
            3 => other_unit(dice, &mut lines),
            4 | 5 => other_table(dice, &mut lines),
            6..=9 => end_of_range(dice, &mut lines),
            10 | 13 => bend(dice, &mut lines),
            11 | 12 => name(dice, &mut lines),
            14 if dice.once_in(4) => strangers(dice, &mut lines),
            15 => {
                let at = dice.below(lines.len());
                lines.insert(at, format!("# {}", texts::word(dice).replace('\n', " ")));
            }
            _ => texts::number_somewhere(dice, &mut lines),
        }
    }
    let mut bytes = (lines.join("\n") + "\n").into_bytes();
    if dice.once_in(6) {
        texts::bytes_about(dice, &mut bytes);
    }
    bytes
}

fn other_unit(dice: &mut Dice, lines: &mut [String]) {
    const UNITS: [&str; 24] = [
        "mm", "cm", "m", "in", "ft", "km/h", "m/s", "mph", "bar", "psi", "MPa", "L/min", "gpm",
        "deg", "rad", "%", "s", "ms", "Hz", "N", "kN", "1/s", "", "furlongs",
    ];
    let united: Vec<usize> = (0..lines.len())
        .filter(|&at| lines[at].contains(" \"") || lines[at].contains("[\""))
        .collect();
    let at = united.get(dice.below(united.len())).copied().unwrap_or(0);
    let from = dice.of(&UNITS);
    let to = dice.of(&UNITS);
    // The unit of the first quantity, or one of all.
    if let Some(line) = lines.get_mut(at) {
        let end = line.find(|c: char| c.is_ascii_digit()).and_then(|digit| {
            let space = digit + line[digit..].find(' ')?;
            Some((space + 1, space + line[space..].find('"')?))
        });
        match end {
            Some((start, end)) if start <= end => line.replace_range(start..end, to),
            _ => *line = line.replace(from, to),
        }
    }
}

/// Where a table begins and ends; the top of the file has no name.
fn section(lines: &[String], table: &str) -> Option<(usize, usize)> {
    let start = match table {
        "" => 0,
        _ => {
            lines
                .iter()
                .position(|line| line.trim() == format!("[{table}]"))?
                + 1
        }
    };
    let rest = lines[start..].iter().position(|line| line.starts_with('['));
    Some((start, rest.map_or(lines.len(), |length| start + length)))
}

/// Takes a table away, adds one, or exchanges it for another of its kind.
fn other_table(dice: &mut Dice, lines: &mut Vec<String>) {
    let table = TABLES[dice.from(1, TABLES.len() - 1)];
    let there = TABLES
        .iter()
        .filter(|other| {
            other.name == table.name || (table.group().is_some() && table.group() == other.group())
        })
        .filter(|other| other.name != table.name || dice.once_in(3))
        .find_map(|other| section(lines, other.name));
    if let Some((start, end)) = there {
        lines.drain(start - 1..end);
    }
    if there.is_none() || !dice.once_in(3) {
        lines.push(format!("[{}]", table.name));
        let all = dice.once_in(2);
        for key in keys::keys_of(table.name) {
            if matches!(key.need, Need::Required { .. })
                || (all && matches!(key.need, Need::Default { .. } | Need::ByChoice { .. }))
            {
                lines.push(format!("{} = {}", key.name, key.example()));
            }
        }
    }
}

/// Sets a key to an end of its range, or just beyond.
fn end_of_range(dice: &mut Dice, lines: &mut Vec<String>) {
    let there: Vec<&Key> = KEYS
        .iter()
        .filter(|key| section(lines, key.table).is_some() && !TAKES_LONG.contains(&key.id))
        .collect();
    let key = there[dice.below(there.len())];
    let value = end_value(dice, key);
    set(lines, key, &value);
}

/// Keys that at one end of their range make a run of minutes: the step, the length of a pass.
const TAKES_LONG: [Id; 2] = [Id::Step, Id::PassLength];

fn set(lines: &mut Vec<String>, key: &Key, value: &str) {
    let Some((start, end)) = section(lines, key.table) else {
        return;
    };
    lines.retain({
        let mut at = 0;
        let name = format!("{} =", key.name);
        move |line| {
            at += 1;
            !((start..end).contains(&(at - 1)) && line.starts_with(&name))
        }
    });
    lines.insert(start, format!("{} = {value}", key.name));
}

fn end_value(dice: &mut Dice, key: &Key) -> String {
    match key.shape {
        Shape::Quantity {
            quantity,
            low,
            high,
            ..
        } => {
            let written = |value: &str| {
                if quantity.is_bare() {
                    value.to_owned()
                } else {
                    format!("\"{value}\"")
                }
            };
            let (low, high) = (written(low), written(high));
            let mut beyond = dice.of(&[&low, &high]).clone();
            texts::other_number(dice, &mut beyond);
            let (one, other) = (dice.of(&[&low, &high]), dice.of(&[&low, &high, &beyond]));
            match dice.below(8) {
                0 => beyond,
                1 => format!("{{ from = {low}, to = {high} }}"),
                2 => format!("{{ mean = {one}, sd = {other} }}"),
                3 => format!("{{ from = {one}, to = {other} }}"),
                _ => one.clone(),
            }
        }
        Shape::Quantities { low, high, .. } => match dice.below(3) {
            0 => format!("[\"{low}\", \"{high}\"]"),
            1 => format!("[\"{low}\"]"),
            _ => format!("[\"{high}\"]"),
        },
        Shape::Count { low, high } => {
            let ends = [low, high, low.saturating_sub(1), high.saturating_add(1)];
            dice.of(&ends).to_string()
        }
        Shape::Counts { low, high } => match dice.below(3) {
            0 => format!("[{low}, {high}]"),
            1 => format!("[{low}]"),
            _ => format!("{:?}", (low..=high).collect::<Vec<_>>()),
        },
        Shape::Text => texts::quoted(&texts::word(dice)),
        Shape::Choice(words) => texts::quoted(dice.of(words)),
        Shape::Choices(words) => {
            let (one, other) = (dice.of(words), dice.of(words));
            dice.of(&[
                &format!("[\"{one}\"]"),
                &format!("[\"{one}\", \"{other}\"]"),
                &"[]".to_owned(),
            ])
            .clone()
        }
    }
}

/// A line that bends about as sharply as the machine can.
fn bend(dice: &mut Dice, lines: &mut Vec<String>) {
    let there = TABLES
        .iter()
        .filter(|table| table.group() == Some("line"))
        .find_map(|table| section(lines, table.name));
    if let Some((start, end)) = there {
        lines.drain(start - 1..end);
    }
    // Radii from below what a tractor turns on to a gentle bend.
    let radius = 4.0 * 15f64.powf(dice.share());
    let side = dice.of(&["left", "right"]);
    let written = if dice.once_in(2) {
        format!("[line.arc]\nradius = \"{radius:.2} m\"\nside = \"{side}\"")
    } else {
        format!(
            "[line.s_bend]\nstart = \"{} m\"\nlength = \"{} m\"\nradius = \"{radius:.2} m\"\nfirst_side = \"{side}\"",
            dice.below(40),
            dice.from(4, 60),
        )
    };
    lines.extend(written.lines().map(str::to_owned));
}

fn name(dice: &mut Dice, lines: &mut Vec<String>) {
    let ids = [
        Id::Name,
        Id::Name,
        Id::Description,
        Id::PolylineFile,
        Id::Currency,
    ];
    let key = keys::key(dice.of(&ids));
    let word = texts::quoted(&texts::word(dice));
    set(lines, key, &word);
}

/// Thousands of keys, tables or entries that nobody asked for.
fn strangers(dice: &mut Dice, lines: &mut Vec<String>) {
    let many = dice.from(1000, 8000);
    let at = dice.below(lines.len());
    let way = dice.below(4);
    let new: Vec<String> = match way {
        0 => (0..many).map(|n| format!("stranger_{n} = {n}")).collect(),
        1 => (0..many).map(|n| format!("[stranger_{n}]")).collect(),
        2 => (0..many).map(|n| format!("# {n}")).collect(),
        _ => {
            let items: Vec<String> = (0..many).map(|n| format!("\"{n} km/h\"")).collect();
            vec![format!("list = [{}]", items.join(", "))]
        }
    };
    drop(lines.splice(at..at, new));
}

fn deep(dice: &mut Dice, lines: &mut Vec<String>) {
    let depth = dice.of(&[10, 100, 1000, 100_000]);
    let line = match dice.below(4) {
        0 => format!("deep = {}{}", "[".repeat(depth), "]".repeat(depth)),
        1 => format!("deep = {}1{}", "{a=".repeat(depth), "}".repeat(depth)),
        2 => format!("deep{} = 1", ".a".repeat(depth)),
        _ => format!("[deep{}]", ".a".repeat(depth)),
    };
    let at = dice.below(lines.len());
    lines.insert(at, line);
}
