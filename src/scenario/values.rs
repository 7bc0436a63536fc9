//! Checked values: every key that applies has one, defaults filled in, nothing contradicts.

use super::field;
use super::keys::{self, Id, KEYS, Key, Need};
use super::read::{Read, Value};
use super::spread::Spread;
use super::stamp::Known;

/// Origin of a value that was given beside the file.
const GIVEN: &str = "set on the command line";

/// A value and where it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Stated {
    /// The value.
    pub value: Value,
    /// As the scenario or the default states it.
    pub written: String,
    /// How it is known.
    pub known: Known,
    /// "scenario", "set on the command line", a source, or "assumed".
    pub origin: String,
    /// Range in which a default may plausibly lie, in words.
    pub range: Option<String>,
}

/// What holds for a key that is left out.
fn left_out(read: &Read, key: &'static Key) -> Option<Stated> {
    let (value, origin, plausible) = match key.need {
        Need::Default {
            value,
            origin,
            plausible,
        } => (value, origin.to_string(), plausible),
        Need::ByChoice { of, cases } => {
            let choice = keys::key(of);
            let word = match read.entry(of).map(|entry| &entry.value) {
                Some(Value::Text(word)) => word.as_str(),
                _ => choice.example().trim_matches('"'),
            };
            let case = cases.iter().find(|case| case.word == word)?;
            (
                case.value,
                format!(
                    "{}; default for {} = \"{word}\"",
                    case.origin,
                    choice.path()
                ),
                Some(case.plausible),
            )
        }
        Need::Required { .. } | Need::Optional { .. } => return None,
    };
    let range = plausible.map(|range| range.words(value));
    let ends = plausible.and_then(|range| range.si(key));
    let mut found = super::read::value_of(key, value).ok()?;
    let asked = read.entry(Id::Unknowns).map(|entry| &entry.value);
    if asked != Some(&Value::Text("stated".into()))
        && let Value::Number(Spread::Fixed(nominal)) = found
        && let Some(range) = ends
        && !field::is_scaled(key.id, |id| read.entry(id).is_some())
        && let Some(unknown) = field::left_out(key.id, range, nominal)
    {
        found = Value::Number(unknown);
    }
    Some(Stated {
        value: found,
        written: value.to_string(),
        known: if origin.starts_with(keys::ASSUMED) {
            Known::Assumed
        } else {
            Known::Source
        },
        origin,
        range,
    })
}

/// All values of a scenario, by key.
#[derive(Clone, Debug)]
pub struct Values {
    stated: Vec<Option<Stated>>,
    tables: Vec<&'static str>,
}

impl Values {
    /// Fills in the defaults. Keys of tables that are not there stay empty.
    pub fn new(read: &Read) -> Values {
        let tables: Vec<&'static str> = keys::TABLES
            .iter()
            .filter(|table| {
                table.presence == keys::Presence::Always || read.table(table.name).is_some()
            })
            .map(|table| table.name)
            .collect();
        let stated = KEYS
            .iter()
            .map(|key| match read.entry(key.id) {
                Some(entry) => Some(Stated {
                    value: entry.value.clone(),
                    written: entry.written.clone(),
                    known: match read.is_given(entry.span.start) {
                        true => Known::CommandLine,
                        false => Known::Scenario,
                    },
                    origin: match read.is_given(entry.span.start) {
                        true => GIVEN.to_string(),
                        false => "scenario".to_string(),
                    },
                    range: None,
                }),
                None if tables.contains(&key.table) => left_out(read, key),
                None => None,
            })
            .collect();
        Values { stated, tables }
    }

    /// True if the table applies.
    pub fn has_table(&self, name: &str) -> bool {
        self.tables.contains(&name)
    }

    /// The value of a key with its origin.
    pub fn stated(&self, id: Id) -> Option<&Stated> {
        self.stated[id as usize].as_ref()
    }

    /// Number or distribution.
    pub fn spread(&self, id: Id) -> Option<Spread> {
        match self.stated(id)?.value {
            Value::Number(spread) => Some(spread),
            _ => None,
        }
    }

    /// Number in the nominal pass.
    pub fn number(&self, id: Id) -> Option<f64> {
        self.spread(id).map(|spread| spread.mean())
    }

    /// Rising numbers.
    pub fn numbers(&self, id: Id) -> Option<&[f64]> {
        match &self.stated(id)?.value {
            Value::Numbers(numbers) => Some(numbers),
            _ => None,
        }
    }

    /// Whole number.
    pub fn count(&self, id: Id) -> Option<u64> {
        match self.stated(id)?.value {
            Value::Count(count) => Some(count),
            _ => None,
        }
    }

    /// Rising whole numbers.
    pub fn counts(&self, id: Id) -> Option<&[u64]> {
        match &self.stated(id)?.value {
            Value::Counts(counts) => Some(counts),
            _ => None,
        }
    }

    /// Text or word.
    pub fn text(&self, id: Id) -> Option<&str> {
        match &self.stated(id)?.value {
            Value::Text(text) => Some(text),
            _ => None,
        }
    }

    /// Words.
    pub fn texts(&self, id: Id) -> Option<&[String]> {
        match &self.stated(id)?.value {
            Value::Texts(texts) => Some(texts),
            _ => None,
        }
    }
}
