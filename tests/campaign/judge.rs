//! What must hold of every run. Each check tells the faults that it finds, none if all is well.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use rowroom::montecarlo::fields::whole_fields;
use rowroom::quote::escaped;
use rowroom::report::json::read_results;
use rowroom::results::Rate;
use rowroom::scenario::keys::TABLES;
use serde_json::Value;

use crate::run::Ran;

/// The exit codes that there are.
const CODES: [i32; 5] = [0, 1, 2, 3, 130];

/// Files by their path within a folder.
pub type Files = BTreeMap<String, Vec<u8>>;

/// Faults, in words.
pub type Faults = Vec<String>;

/// A run ends by itself, in time, with a known code and clean words; a failure says something, success says nothing on
/// standard error.
pub fn ended(ran: &Ran) -> Faults {
    let mut faults = Vec::new();
    if ran.hung {
        faults.push("hangs".to_owned());
        return faults;
    }
    match (ran.code, ran.signal) {
        (Some(code), _) if CODES.contains(&code) => {}
        (Some(code), _) => faults.push(format!("exit code {code}")),
        (None, signal) => faults.push(format!("ended by signal {}", signal.unwrap_or(0))),
    }
    for (stream, bytes) in [("standard output", &ran.out), ("standard error", &ran.err)] {
        let Ok(text) = str::from_utf8(bytes) else {
            faults.push(format!("{stream} is no UTF-8"));
            continue;
        };
        if let Some(at) = text.find("panicked") {
            let told: String = text[at..].chars().take(160).collect();
            faults.push(told.replace('\n', " "));
        }
        if let Some(control) = text.chars().find(|c| c.is_control() && *c != '\n') {
            faults.push(format!("{stream} has the control character {control:?}"));
        }
    }
    if ran.code.is_some_and(|code| code != 0) && ran.told().trim().is_empty() {
        faults.push("fails without a word".to_owned());
    }
    faults
}

/// A quiet run that does what was asked says nothing.
pub fn quiet(ran: &Ran) -> Faults {
    let silent = ran.code != Some(0) || (ran.out.is_empty() && ran.err.is_empty());
    fault(silent, || format!("is not quiet: {}", first_line(ran)))
}

/// A failure names one of these.
pub fn names(ran: &Ran, names: &[&str]) -> Faults {
    let told = ran.told();
    // What a terminal would obey stands there as a number.
    let named = !matches!(ran.code, Some(1..=3))
        || names
            .iter()
            .any(|name| told.contains(name) || told.contains(&escaped(name)));
    fault(named, || {
        format!(
            "names none of {}: {}",
            names.join(", ").escape_debug(),
            first_line(ran)
        )
    })
}

/// Bad input has a place: every line begins with one of the files, and with a line and column that the file has. After very many
/// mistakes the rest may be counted, and what the simulation alone can find names its table.
pub fn places(ran: &Ran, folder: &Path, files: &[&str]) -> Faults {
    if ran.code != Some(2) {
        return names(ran, files);
    }
    let told = ran.told();
    let mut complaints = told.lines().filter(|line| !line.starts_with("Studying "));
    let placeless = complaints.find_map(|line| {
        let placed = files.iter().any(|file| {
            let text = fs::read(folder.join(file)).unwrap_or_default();
            placed(line, file, &String::from_utf8_lossy(&text))
        });
        let rest = line
            .strip_prefix("and ")
            .and_then(|rest| rest.strip_suffix(" more"));
        let counted = rest.is_some_and(|rest| rest.parse::<u64>().is_ok());
        let by_simulation = line.starts_with("error: ") && names_a_table(line);
        (!placed && !counted && !by_simulation).then(|| line.to_owned())
    });
    fault(placeless.is_none(), || {
        format!("without a place: {}", placeless.unwrap_or_default())
    })
}

/// True if a table, or a group of them, stands in brackets.
fn names_a_table(line: &str) -> bool {
    TABLES
        .iter()
        .flat_map(|table| [Some(table.name), table.group()])
        .flatten()
        .any(|name| !name.is_empty() && line.contains(&format!("[{name}]")))
}

/// True for `file:line:column: …`, `file:line: …` and `file: …` with a place that the text has.
fn placed(told: &str, file: &str, text: &str) -> bool {
    let told = told.strip_prefix("error: ").unwrap_or(told);
    let Some(rest) = told.strip_prefix(file).and_then(|r| r.strip_prefix(':')) else {
        return false;
    };
    let numbers: Vec<usize> = rest
        .split(':')
        .map_while(|number| number.parse().ok())
        .collect();
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let lines: Vec<&str> = text.split('\n').collect();
    match numbers[..] {
        [] => rest.starts_with(' '),
        [line, ..] if !(1..=lines.len()).contains(&line) => false,
        [_] => true,
        [line, column, ..] => (1..=lines[line - 1].chars().count() + 1).contains(&column),
    }
}

/// A refusal changes nothing in the folder.
pub fn untouched(ran: &Ran, before: &Files, after: &Files) -> Faults {
    let same = ran.code == Some(0) || before == after;
    fault(same, || {
        let differs = differing(before, after);
        format!("failed, and yet {differs} changed")
    })
}

/// The same files with the same bytes.
pub fn same(wanted: &Files, found: &Files) -> Faults {
    fault(wanted == found, || {
        format!("other bytes: {}", differing(wanted, found))
    })
}

fn differing(one: &Files, other: &Files) -> String {
    one.keys()
        .chain(other.keys())
        .find(|name| one.get(*name) != other.get(*name))
        .cloned()
        .unwrap_or_default()
}

/// Every file is whole and inert, and none is a temporary one.
pub fn whole(files: &Files) -> Faults {
    let mut faults = Vec::new();
    for (name, bytes) in files {
        if is_temporary(name) {
            faults.push(format!("{name} was left behind"));
            continue;
        }
        let text = String::from_utf8_lossy(bytes);
        let ends = text.trim_end();
        let whole = match name.rsplit_once('.').map(|(_, kind)| kind) {
            Some("html") => ends.ends_with("</html>"),
            Some("svg") => ends.ends_with("</svg>"),
            Some("json") => serde_json::from_slice::<Value>(bytes).is_ok(),
            Some("csv") => text.ends_with('\n'),
            _ => !text.is_empty(),
        };
        if !whole {
            faults.push(format!("{name} is not whole"));
        }
        if name.ends_with(".html") || name.ends_with(".svg") {
            faults.extend(
                MARKUP
                    .iter()
                    .filter(|markup| text.contains(**markup))
                    .map(|markup| format!("{name} has {markup} as markup")),
            );
        }
        if name.ends_with(".svg") {
            if let Some(c) = text.chars().find(|c| !is_xml(*c)) {
                faults.push(format!("{name} has {c:?}, which XML forbids"));
            }
            if [" d=\"", " x=\"", " y=\"", " points=\""]
                .iter()
                .any(|key| attribute_has(&text, key, &["NaN", "inf"]))
            {
                faults.push(format!("{name} draws a number that is none"));
            }
        }
        if name.ends_with(".csv") && text.split([',', '\n']).any(|f| f == "NaN" || f == "inf") {
            faults.push(format!("{name} has a number that is none"));
        }
    }
    faults
}

/// True for files that a run writes aside.
pub fn is_temporary(name: &str) -> bool {
    name.rsplit('/')
        .next()
        .is_some_and(|name| name.starts_with(".rowroom-"))
}

/// What the hostile words of the campaign would be as markup, see [`crate::texts::WORDS`].
const MARKUP: [&str; 3] = ["<img src=x", "<script>alert(", "<svg onload"];

fn attribute_has(text: &str, key: &str, words: &[&str]) -> bool {
    text.split(key).skip(1).any(|after| {
        let value = after.split('"').next().unwrap_or_default();
        words.iter().any(|word| value.contains(word))
    })
}

/// A character that XML 1.0 allows.
fn is_xml(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{fffd}' | '\u{10000}'..)
}

/// What a finished study of so many passes must say in its `results.json`.
pub fn study(files: &Files, passes: Option<u64>) -> Faults {
    match files.get("results.json") {
        Some(text) => results(text, passes),
        None => vec!["there is no results.json".to_owned()],
    }
}

/// Numbers are finite, rates are shares within their limits, and no pass is lost.
pub fn results(text: &[u8], passes: Option<u64>) -> Faults {
    // A number that is not finite would be null, which the type refuses.
    let results = match read_results(&String::from_utf8_lossy(text)) {
        Ok(results) => results,
        Err(error) => return vec![format!("results.json: {error}")],
    };
    let mut faults = Vec::new();
    let mut note = |fine: bool, what: String| {
        if !fine {
            faults.push(format!("results.json: {what}"));
        }
    };
    if let Some(asked) = passes {
        // Where something is not known a study goes over whole fields.
        let passes = if results.unknowns.is_empty() {
            asked
        } else {
            whole_fields(asked)
        };
        let found = results.passes;
        note(found == passes, format!("{found} passes, not {passes}"));
        note(
            results.complete,
            "a study that ended is not complete".into(),
        );
    }
    for rate in &results.rates {
        let Rate {
            controller,
            speed_m_s,
            clearance_m,
            stretch,
            ..
        } = rate;
        let place = format!("{stretch:?} of {controller} at {speed_m_s} m/s and {clearance_m} m");
        for share in [&rate.cut, &rate.touched] {
            let limits = (share.lower, share.rate, share.upper);
            note(is_share(limits), format!("{place}: {limits:?}"));
        }
        let met = rate.cut.rate + rate.touched.rate;
        note(met <= 1.0 + 1e-9, format!("{place}: {met} cut or touched"));
        let first = results.rates.iter().find(|one| one.stretch == *stretch);
        let alike =
            first.is_none_or(|first| first.plants == rate.plants && first.passes == rate.passes);
        note(
            alike && rate.passes <= results.passes,
            format!(
                "{place}: {} plants and {} passes, elsewhere others",
                rate.plants, rate.passes
            ),
        );
    }
    for row in &results.rows {
        let limits = (row.cut.lower, row.cut.rate, row.cut.upper);
        let place = format!("row {} of {}", row.row, row.controller);
        note(is_share(limits), format!("{place}: {limits:?}"));
    }
    for difference in &results.differences {
        let (lower, upper) = (difference.lower, difference.upper);
        let held = (lower..=upper).contains(&difference.difference);
        note(
            held && difference.difference.abs() <= 1.0,
            format!(
                "a difference of {}: {lower} to {upper}",
                difference.difference
            ),
        );
    }
    faults
}

fn is_share((lower, rate, upper): (f64, f64, f64)) -> bool {
    0.0 <= lower && lower <= rate && rate <= upper && upper <= 1.0
}

/// All files in a folder and its folders; none if there is no folder.
pub fn files(folder: &Path) -> Files {
    let mut found = Files::new();
    gather(folder, "", &mut found);
    found
}

fn gather(folder: &Path, before: &str, found: &mut Files) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = format!("{before}{}", entry.file_name().to_string_lossy());
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => gather(&entry.path(), &format!("{name}/"), found),
            Ok(kind) if kind.is_file() => {
                found.insert(name, fs::read(entry.path()).unwrap_or_default());
            }
            _ => {}
        }
    }
}

fn fault(fine: bool, what: impl FnOnce() -> String) -> Faults {
    if fine { Vec::new() } else { vec![what()] }
}

fn first_line(ran: &Ran) -> String {
    let told = ran.told();
    told.lines()
        .next()
        .unwrap_or_default()
        .chars()
        .take(200)
        .collect()
}
