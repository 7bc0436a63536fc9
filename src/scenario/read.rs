//! Text to entries: every key is looked up in the language and its value read in SI. Nothing is filled in here.

use core::ops::Range;

use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

use super::error::{MOST_TOLD, Problem};
use super::given::{Given, Joined};
use super::keys::{self, Id, KEYS, Key, Shape, TABLES};
use super::nearest::nearest;
use super::notes;
use super::offers::{self, Offer};
use super::spread::Spread;
use super::units::{self, Quantity, QuantityError, Unit};
use crate::quote::{escaped, is_control, quoted};
use crate::unknowns::law::Law;

/// A value, in SI.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// Number or distribution.
    Number(Spread),
    /// Rising numbers.
    Numbers(Vec<f64>),
    /// Whole number.
    Count(u64),
    /// Rising whole numbers.
    Counts(Vec<u64>),
    /// Text or word.
    Text(String),
    /// Words.
    Texts(Vec<String>),
}

/// A value with its place in the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The value.
    pub value: Value,
    /// As written.
    pub written: String,
    /// Where, in bytes from the beginning.
    pub span: Range<usize>,
}

/// What stands in a file, before anything is known about what is missing or contradicts.
#[derive(Clone, Debug)]
pub struct Read {
    file: String,
    /// The file's text, and behind it what was given beside it.
    text: String,
    /// Where each given value begins in `text`, and what messages call the place.
    given: Vec<(usize, String)>,
    /// Values by key; a key that is there with a wrong value is in `spoilt`.
    pub entries: Vec<Option<Entry>>,
    /// Keys that are there, or look meant, but have no good value.
    pub spoilt: Vec<bool>,
    /// Places of the tables, by their order in the language.
    pub tables: Vec<Option<Range<usize>>>,
    /// Groups in which an unknown table stands.
    pub spoilt_groups: Vec<String>,
    /// What was found in the field.
    pub notes: Vec<notes::Written>,
    /// What could be bought or set.
    pub offers: Vec<Offer>,
    /// What was wrong so far.
    pub found: Vec<Found>,
}

/// Something wrong at a place, in bytes from the beginning.
#[derive(Clone, Debug)]
pub struct Found {
    at: usize,
    key: String,
    message: String,
}

impl Read {
    /// Notes a problem at a place.
    pub fn problem(&mut self, at: usize, key: &str, message: String) {
        self.found.push(Found {
            at,
            key: key.to_string(),
            message,
        });
    }

    /// Everything that was wrong, in order of place.
    pub fn problems(mut self) -> Vec<Problem> {
        // Found by subject, read from above; and the walk for lines and columns cannot go back.
        self.found.sort_by_key(|found| found.at);
        let mut walk = Walk::new(&self.file, &self.text, &self.given);
        let found = self.found.into_iter();
        found.map(|found| walk.problem(found)).collect()
    }

    /// The text that was read: the file's, and behind it what was given beside it.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// A place in words: the line of the file, from 1, or what gave the value.
    pub fn place(&self, at: usize) -> String {
        match given_at(&self.given, at) {
            Some(place) => place.to_string(),
            None => format!(
                "line {}",
                self.text[..boundary(&self.text, at)].matches('\n').count() + 1
            ),
        }
    }

    /// True if a value does not stand in the file but was given beside it.
    pub fn is_given(&self, at: usize) -> bool {
        given_at(&self.given, at).is_some()
    }

    /// How to keep a given value instead of one of the file; empty if the place is in the file.
    pub fn instead(&self, at: usize, other: &str) -> String {
        if self.is_given(at) {
            format!("; --set {other}= takes the other one out")
        } else {
            String::new()
        }
    }

    /// The entry of a key, if it is there and good.
    pub fn entry(&self, id: Id) -> Option<&Entry> {
        self.entries[id as usize].as_ref()
    }

    /// Place of a table, if it is there.
    pub fn table(&self, name: &str) -> Option<Range<usize>> {
        let at = TABLES.iter().position(|table| table.name == name)?;
        self.tables[at].clone()
    }
}

/// The place, or the beginning of the character that it lies in.
fn boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// What gave the value at a place, unless it stands in the file.
fn given_at(given: &[(usize, String)], at: usize) -> Option<&str> {
    let found = given.iter().rev().find(|(begin, _)| *begin <= at);
    found.map(|(_, place)| place.as_str())
}

/// Lines and columns of places that do not fall, in one walk through the text.
struct Walk<'a> {
    file: &'a str,
    text: &'a str,
    given: &'a [(usize, String)],
    walked: usize,
    line: usize,
    column: usize,
}

impl<'a> Walk<'a> {
    fn new(file: &'a str, text: &'a str, given: &'a [(usize, String)]) -> Self {
        Self {
            file,
            text,
            given,
            walked: 0,
            line: 1,
            column: 1,
        }
    }

    fn problem(&mut self, found: Found) -> Problem {
        let at = boundary(self.text, found.at);
        if let Some(place) = given_at(self.given, at) {
            return Problem {
                file: format!("{}: {place}", self.file),
                line: 0,
                column: 0,
                key: found.key,
                message: escaped(&found.message),
            };
        }
        for letter in self.text[self.walked..at].chars() {
            if letter == '\n' {
                self.line += 1;
                self.column = 1;
            } else {
                self.column += 1;
            }
        }
        self.walked = at;
        Problem {
            file: self.file.to_string(),
            line: self.line,
            column: self.column,
            key: found.key,
            message: escaped(&found.message),
        }
    }
}

/// Reads a file with what was given beside it. `Err`: the text is no TOML.
pub fn read(text: &str, file: &str, given: &[Given]) -> Result<Read, Problem> {
    let joined = Joined::new(text, given);
    // The file's part alone: what was given beside it may repeat its keys, which no TOML may.
    let parsed = DeTable::parse(&joined.text[..text.len()]);
    let mut root = parsed.map_err(|error| {
        let found = Found {
            at: error.span().map_or(0, |span| span.start),
            key: String::new(),
            message: format!("this is no TOML: {}", error.message()),
        };
        Walk::new(file, text, &[]).problem(found)
    })?;
    joined.merge_into(root.get_mut());
    let mut read = Read {
        file: file.to_string(),
        text: joined.text.clone(),
        given: joined.places.clone(),
        entries: vec![None; KEYS.len()],
        spoilt: vec![false; KEYS.len()],
        tables: vec![None; TABLES.len()],
        spoilt_groups: Vec::new(),
        notes: Vec::new(),
        offers: Vec::new(),
        found: Vec::new(),
    };
    for (at, key, message) in &joined.faults {
        read.problem(*at, key, message.clone());
    }
    read.tables[0] = Some(0..0);
    walk(&mut read, "", root.get_ref());
    Ok(read)
}

/// Reads a value as TOML, for defaults and examples.
pub fn value_of(key: &Key, toml: &str) -> Result<Value, String> {
    let value = DeValue::parse(toml).map_err(|error| error.message().to_string())?;
    let mut faults = Vec::new();
    match value_at(key, &value, toml, &mut faults) {
        Some(value) if faults.is_empty() => Ok(value),
        _ => Err(faults.into_iter().map(|fault| fault.1).collect()),
    }
}

fn walk(read: &mut Read, path: &str, table: &DeTable<'_>) {
    let mut inside: Vec<_> = table.iter().collect();
    // The table comes by name, a person reads by line.
    inside.sort_by_key(|(name, _)| name.span().start);
    for (name, value) in inside {
        let known = keys::keys_of(path).find(|key| key.name == name.get_ref());
        let shown = shown_name(name.get_ref());
        let full = if path.is_empty() {
            shown
        } else {
            format!("{path}.{shown}")
        };
        let is_table = TABLES.iter().position(|table| table.name == full);
        let is_group = TABLES.iter().any(|table| table.group() == Some(&full));
        match (known, value.get_ref()) {
            (Some(key), _) => take(read, key, name.span(), value),
            (None, _) if full == "notes" => notes::take(read, value),
            (None, _) if full == "offers" => offers::take(read, value),
            (None, DeValue::Table(inner)) if is_table.is_some() || is_group => {
                if let Some(at) = is_table {
                    read.tables[at] = Some(value.span());
                }
                walk(read, &full, inner);
            }
            (None, DeValue::Table(_)) => unknown(read, path, &full, name, true),
            (None, _) if is_table.is_some() || is_group => {
                let message = format!("{full} is a table; write [{full}] on a line of its own");
                read.problem(name.span().start, &full, message);
            }
            (None, _) => unknown(read, path, &full, name, false),
        }
    }
}

/// A name as TOML has it: between quotation marks unless it is plain.
fn shown_name(name: &str) -> String {
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || matches!(letter, '_' | '-');
    if !name.is_empty() && name.chars().all(is_plain) {
        quoted(name)
    } else {
        format!("\"{}\"", quoted(name))
    }
}

fn unknown(
    read: &mut Read,
    path: &str,
    full: &str,
    name: &Spanned<std::borrow::Cow<'_, str>>,
    is_table: bool,
) {
    let word = name.get_ref().as_ref();
    let mut message = if is_table {
        format!("the table [{full}] is unknown")
    } else {
        format!("{full} is unknown")
    };
    // Nobody will be told of this one: no search for what it may have meant.
    if read.found.len() >= MOST_TOLD {
        read.problem(name.span().start, full, message);
        return;
    }
    if is_table {
        let here = TABLES
            .iter()
            .filter(|table| table.group().unwrap_or("") == path)
            .map(|table| table.name);
        let groups = TABLES.iter().filter_map(|table| table.group());
        let near = nearest(full, here)
            .or_else(|| nearest(full, TABLES.iter().map(|table| table.name)))
            .or_else(|| nearest(full, groups));
        if let Some(near) = near {
            message.push_str(&format!("; did you mean [{near}]?"));
        }
        if !path.is_empty() {
            read.spoilt_groups.push(path.to_string());
        } else if let Some(near) = near {
            let group = near.split_once('.').map_or(near, |(group, _)| group);
            read.spoilt_groups.push(group.to_string());
        }
    } else if let Some(near) = nearest(word, keys::keys_of(path).map(|key| key.name)) {
        message.push_str(&format!("; did you mean {near}?"));
        // Taken for that key, so that it is not told a second time as missing.
        for key in keys::keys_of(path).filter(|key| key.name == near) {
            read.spoilt[key.id as usize] = true;
        }
    } else {
        let elsewhere: Vec<String> = KEYS
            .iter()
            .filter(|key| key.name == word)
            .map(|key| match key.table {
                "" => "the top of the file".to_string(),
                table => format!("[{table}]"),
            })
            .collect();
        if !elsewhere.is_empty() {
            message.push_str(&format!("; it belongs to {}", elsewhere.join(" or ")));
        }
    }
    read.problem(name.span().start, full, message);
}

/// A fault at a place inside a value.
struct Fault(usize, String);

fn take(read: &mut Read, key: &Key, name: Range<usize>, value: &Spanned<DeValue<'_>>) {
    let mut faults = Vec::new();
    let found = value_at(key, value, &read.text, &mut faults);
    let path = key.path();
    let at = key.id as usize;
    if faults.is_empty()
        && let Some(found) = found
    {
        read.entries[at] = Some(Entry {
            value: found,
            written: written(&read.text, value.span()),
            span: value.span(),
        });
        return;
    }
    read.spoilt[at] = true;
    for Fault(at, message) in faults {
        let at = if at == usize::MAX { name.start } else { at };
        read.problem(at, &path, message);
    }
}

/// A stretch of the text in one line.
fn written(text: &str, span: Range<usize>) -> String {
    let words: Vec<&str> = text.get(span).unwrap_or("").split_whitespace().collect();
    words.join(" ")
}

/// The same as messages show it.
fn shown_at(text: &str, span: Range<usize>) -> String {
    quoted(&written(text, span))
}

fn value_at(
    key: &Key,
    value: &Spanned<DeValue<'_>>,
    text: &str,
    faults: &mut Vec<Fault>,
) -> Option<Value> {
    let path = key.path();
    let shown = shown_at(text, value.span());
    let mut fault = |message: String| faults.push(Fault(value.span().start, message));
    // Before any entry is looked at: a list of a million faults is one fault.
    if let (Some(most), DeValue::Array(items)) = (key.most_entries(), value.get_ref())
        && items.len() > most
    {
        fault(format!(
            "{path} has {} entries; allowed 1 to {most}",
            items.len()
        ));
        return None;
    }
    match (key.shape, value.get_ref()) {
        (Shape::Quantity { quantity, .. }, DeValue::Table(table)) => {
            if key.may_vary() {
                spread(key, quantity, table, value.span(), text, faults).map(Value::Number)
            } else {
                fault(format!(
                    "{path} cannot vary from pass to pass; write one value, for example {}",
                    key.example()
                ));
                None
            }
        }
        (Shape::Quantity { quantity, .. }, _) => {
            let (si, unit) = number(key, &path, quantity, value, text, faults)?;
            in_range(key, si, unit, &path, &shown, value.span().start, faults)
                .map(|si| Value::Number(Spread::Fixed(si)))
        }
        (Shape::Quantities { quantity, .. }, DeValue::Array(items)) => {
            let mut numbers = Vec::new();
            for item in items.iter() {
                let item_shown = shown_at(text, item.span());
                if let Some((si, unit)) = number(key, &path, quantity, item, text, faults)
                    && let Some(si) =
                        in_range(key, si, unit, &path, &item_shown, item.span().start, faults)
                {
                    numbers.push(si);
                }
            }
            rising(&path, &numbers, items, text, faults);
            Some(Value::Numbers(numbers))
        }
        (Shape::Count { low, high }, _) => {
            count(&path, low, high, value, text, faults).map(Value::Count)
        }
        (Shape::Counts { low, high }, DeValue::Array(items)) => {
            let counts: Vec<u64> = items
                .iter()
                .filter_map(|item| count(&path, low, high, item, text, faults))
                .collect();
            rising(&path, &counts, items, text, faults);
            Some(Value::Counts(counts))
        }
        (Shape::Text, DeValue::String(word)) => {
            // A terminal would obey these wherever the text is printed.
            let obeyed = |letter: &char| is_control(*letter) && !matches!(letter, '\n' | '\t');
            let Some(letter) = word.chars().find(obeyed) else {
                return Some(Value::Text(word.to_string()));
            };
            let raw = text.get(value.span()).and_then(|raw| raw.find(letter));
            faults.push(Fault(
                value.span().start + raw.unwrap_or(0),
                format!(
                    "{path} has the control character U+{:04X} in it; leave it out",
                    u32::from(letter)
                ),
            ));
            None
        }
        (Shape::Choice(words), _) => {
            word(&path, words, value, text, faults).map(|word| Value::Text(word.to_string()))
        }
        (Shape::Choices(words), DeValue::Array(items)) => {
            let mut found: Vec<String> = Vec::new();
            for item in items.iter() {
                if let Some(word) = word(&path, words, item, text, faults) {
                    if found.iter().any(|known| known == word) {
                        faults.push(Fault(
                            item.span().start,
                            format!("{path} names \"{word}\" twice"),
                        ));
                    }
                    found.push(word.to_string());
                }
            }
            if items.is_empty() {
                faults.push(Fault(value.span().start, format!("{path} is empty")));
            }
            Some(Value::Texts(found))
        }
        (Shape::Text, _) => {
            fault(format!(
                "{path} = {shown} is no text; write it between quotation marks"
            ));
            None
        }
        (Shape::Quantities { .. } | Shape::Counts { .. } | Shape::Choices(_), _) => {
            fault(format!(
                "{path} = {shown} is no list; write for example {}",
                key.example()
            ));
            None
        }
    }
}

/// A number in SI and the unit in which it was written; `None` for a bare number.
fn number(
    key: &Key,
    path: &str,
    quantity: Quantity,
    value: &Spanned<DeValue<'_>>,
    text: &str,
    faults: &mut Vec<Fault>,
) -> Option<(f64, Option<&'static Unit>)> {
    let shown = shown_at(text, value.span());
    let at = value.span().start;
    let bare = match value.get_ref() {
        DeValue::String(words) => {
            return match units::parse(words, quantity) {
                Ok(written) => Some((written.si, Some(written.unit))),
                Err(error) => {
                    faults.push(Fault(at, format!("{path} = {shown} {error}")));
                    None
                }
            };
        }
        DeValue::Integer(digits) if digits.radix() == 10 => digits.as_str().parse::<f64>().ok(),
        DeValue::Float(digits) => digits.as_str().parse::<f64>().ok(),
        _ => None,
    };
    match bare {
        Some(number) if quantity.is_bare() && number.is_finite() => Some((number, None)),
        Some(number) if number.is_finite() => {
            let error = QuantityError::NoUnit {
                wanted: quantity.words(),
                units: quantity.unit_names(),
            };
            let example = format!("{shown} {}", usual_unit(key, quantity).name);
            faults.push(Fault(
                at,
                format!("{path} = {shown} {error}; write for example \"{example}\""),
            ));
            None
        }
        _ => {
            faults.push(Fault(
                at,
                format!("{path} = {shown} is not {}", quantity.words()),
            ));
            None
        }
    }
}

/// The unit in which such a value is usually written: that of the key's example.
fn usual_unit(key: &Key, quantity: Quantity) -> &'static Unit {
    let mut texts = key.example().split('"');
    let written = texts.find_map(|text| units::parse(text, quantity).ok());
    written.map_or(&quantity.units()[0], |written| written.unit)
}

/// The value if it keeps the limits of its key.
fn in_range(
    key: &Key,
    si: f64,
    unit: Option<&'static Unit>,
    label: &str,
    shown: &str,
    at: usize,
    faults: &mut Vec<Fault>,
) -> Option<f64> {
    let (low, high) = key.range()?;
    if (low..=high).contains(&si) {
        return Some(si);
    }
    faults.push(Fault(
        at,
        format!(
            "{label} = {shown} is out of range: allowed {}",
            allowed_in(key, unit)
        ),
    ));
    None
}

/// The limits of a key: in the unit that the person used, and as the language states them.
pub fn allowed_in(key: &Key, unit: Option<&'static Unit>) -> String {
    let stated = key.allowed();
    let (Some(unit), Some((low, high))) = (unit, key.range()) else {
        return stated;
    };
    if unit.name.is_empty()
        || stated
            .split(" to ")
            .all(|limit| limit.ends_with(&format!(" {}", unit.name)))
    {
        return stated;
    }
    let (mut low, mut high) = (unit.from_si(low), unit.from_si(high));
    // In an inverse unit the greatest in SI is the least.
    if unit.is_inverse() {
        (low, high) = (high, low);
    }
    format!(
        "{} {unit} to {} {unit} ({stated})",
        units::short(low),
        units::short(high),
        unit = unit.name
    )
}

/// Names in a value that is a distribution or not known, by form.
const FORMS: [&[&str]; 5] = [
    &["mean", "sd", "low", "high"],
    &["from", "to"],
    &["least", "most"],
    &["about"],
    &["measured", "error"],
];

fn spread(
    key: &Key,
    quantity: Quantity,
    table: &DeTable<'_>,
    span: Range<usize>,
    text: &str,
    faults: &mut Vec<Fault>,
) -> Option<Spread> {
    let path = key.path();
    let before = faults.len();
    let example = match key.need {
        keys::Need::Default { value, .. } if value.starts_with('{') => key.allowed(),
        _ => key.example().to_string(),
    };
    let how = format!(
        "write {{ mean = ..., sd = ... }} (normal, with low and high if wanted) or {{ from = ..., to = ... }} (uniform) for what differs from pass to pass, \
         {{ about = ... }}, {{ least = ..., most = ... }} or {{ measured = ..., error = ... }} for what is not known, or one value such as {example}"
    );
    let names = || FORMS.into_iter().flatten().copied();
    for name in table.keys() {
        let word = name.get_ref().as_ref();
        if !names().any(|known| known == word) {
            let near = nearest(word, names())
                .map_or(String::new(), |near| format!("; did you mean {near}?"));
            faults.push(Fault(
                name.span().start,
                format!(
                    "{path}.{} is unknown in a distribution{near}",
                    shown_name(word)
                ),
            ));
        }
    }
    // One form, not parts of two.
    let form = |form: usize| {
        let of_form = |name: &str| FORMS[form].contains(&name);
        table.keys().all(|name| of_form(name.get_ref()))
    };
    let mut part = |name: &str, ranged: bool| -> Option<f64> {
        let value = table.get(name)?;
        let label = format!("{path}.{name}");
        let shown = shown_at(text, value.span());
        let (si, unit) = number(key, &label, quantity, value, text, faults)?;
        if ranged {
            in_range(key, si, unit, &label, &shown, value.span().start, faults)
        } else {
            Some(si)
        }
    };
    let (from, to) = (part("from", true), part("to", true));
    let (mean, sd) = (part("mean", true), part("sd", false));
    let (low, high) = (part("low", true), part("high", true));
    let (first, last) = (part("least", true), part("most", true));
    let about = part("about", true);
    let (measured, error) = (part("measured", true), part("error", false));
    // Parts that are wrong by themselves say nothing about each other.
    if faults.len() > before {
        return None;
    }
    let (least, greatest) = key.range()?;
    let mut fault = |message: String| {
        faults.push(Fault(span.start, message));
        None
    };
    let bell = |mean: f64,
                sd: f64,
                names: [&str; 2],
                fault: &mut dyn FnMut(String) -> Option<Spread>| {
        // The key's own limits cut the tails: a normal law reaches every value, also those that no machine has.
        let (low, high) = (low.unwrap_or(least), high.unwrap_or(greatest));
        let [name, width] = names;
        if sd <= 0.0 {
            fault(format!(
                "{path}.{width} must be greater than 0; for a fixed value write it alone"
            ))
        } else if !(low <= mean && mean <= high) {
            fault(format!(
                "{path} contradicts itself: {name} must lie between low and high"
            ))
        // What falls outside is drawn again: that takes the longer, the narrower the window is.
        } else if high - low < sd / 2.0 {
            fault(format!(
                "{path} contradicts itself: low to high ({} allowed at most) is narrower than half of {width}, so nearly every draw falls outside; give a range instead",
                key.allowed()
            ))
        } else {
            Some(Spread::Normal {
                mean,
                sd,
                low,
                high,
            })
        }
    };
    if let (Some(from), Some(to), true) = (from, to, form(1)) {
        return if from < to {
            Some(Spread::Uniform { from, to })
        } else {
            fault(format!(
                "{path} contradicts itself: from must be less than to"
            ))
        };
    }
    if let (Some(mean), Some(sd), true) = (mean, sd, form(0)) {
        return bell(mean, sd, ["mean", "sd"], &mut fault);
    }
    if let (Some(from), Some(to), true) = (first, last, form(2)) {
        return if from < to {
            Some(Spread::unknown_as(Law::between(from, to)))
        } else {
            fault(format!(
                "{path} contradicts itself: least must be less than most"
            ))
        };
    }
    if let (Some(value), true) = (about, form(3)) {
        let Some(law) = Law::about(value) else {
            return fault(format!(
                "{path}.about must be greater than 0: \"about nothing\" says no range; write {{ least = ..., most = ... }}"
            ));
        };
        return Some(Spread::unknown_as(law.within(least, greatest)));
    }
    if let (Some(mean), Some(sd), true) = (measured, error, form(4)) {
        return match bell(mean, sd, ["measured", "error"], &mut fault) {
            Some(Spread::Normal {
                mean,
                sd,
                low,
                high,
            }) => Some(Spread::unknown_as(Law::Normal {
                mean,
                sd,
                low: Some(low),
                high: Some(high),
            })),
            other => other,
        };
    }
    fault(format!("{path} is no distribution: {how}"))
}

fn count(
    path: &str,
    low: u64,
    high: u64,
    value: &Spanned<DeValue<'_>>,
    text: &str,
    faults: &mut Vec<Fault>,
) -> Option<u64> {
    let shown = shown_at(text, value.span());
    let number = match value.get_ref() {
        // Wider than u64: a negative or a huge number is out of range, not no number.
        DeValue::Integer(digits) => i128::from_str_radix(digits.as_str(), digits.radix()).ok(),
        _ => None,
    };
    let message = match number {
        Some(number) if (i128::from(low)..=i128::from(high)).contains(&number) => {
            return u64::try_from(number).ok();
        }
        Some(_) => format!("{path} = {shown} is out of range: allowed {low} to {high}"),
        None => format!(
            "{path} = {shown} is no whole number; write it without quotation marks, {low} to {high}"
        ),
    };
    faults.push(Fault(value.span().start, message));
    None
}

fn word(
    path: &str,
    words: &'static [&'static str],
    value: &Spanned<DeValue<'_>>,
    text: &str,
    faults: &mut Vec<Fault>,
) -> Option<&'static str> {
    let shown = shown_at(text, value.span());
    let found = match value.get_ref() {
        DeValue::String(found) => found.as_ref(),
        _ => "",
    };
    if let Some(word) = words.iter().find(|word| **word == found) {
        return Some(word);
    }
    let near = nearest(found, words.iter().copied())
        .map_or(String::new(), |near| format!("; did you mean \"{near}\"?"));
    let allowed: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
    faults.push(Fault(
        value.span().start,
        format!("{path} = {shown} is not among {}{near}", allowed.join(", ")),
    ));
    None
}

fn rising<T: PartialOrd>(
    path: &str,
    numbers: &[T],
    items: &DeArray<'_>,
    text: &str,
    faults: &mut Vec<Fault>,
) {
    if items.is_empty() {
        // There is no entry to point at: the place is that of the key.
        faults.push(Fault(usize::MAX, format!("{path} is empty")));
    }
    // An entry that is no number has been told, and its neighbours do not adjoin.
    if numbers.len() != items.len() {
        return;
    }
    for (pair, item) in numbers.windows(2).zip(items.iter().skip(1)) {
        if pair[0] >= pair[1] {
            faults.push(Fault(
                item.span().start,
                format!(
                    "{path} must rise: {} is not more than the value before it",
                    shown_at(text, item.span())
                ),
            ));
        }
    }
}
