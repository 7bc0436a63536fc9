//! Values given beside a scenario file, such as by `--set` on the command line. They take the place of the file's before anything
//! is checked, so that they meet the same limits and messages.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::keys::{self, KEYS, Key, Shape, TABLES};
use super::nearest::nearest;
use crate::quote::quoted;

/// The option that most are given by.
const SET: &str = "--set";

fn set() -> &'static str {
    SET
}

/// A value for one key of the language.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Given {
    /// Key with its table, as in `camera.latency`; where `value` is empty also a table.
    pub key: String,
    /// TOML, or the bare words of a text: `"80 ms"` and `80 ms` are the same. Empty: what stands in the file is taken out.
    pub value: String,
    /// Option of the command line that messages name.
    #[serde(skip, default = "set")]
    pub option: &'static str,
}

impl Given {
    /// From `KEY=VALUE`.
    ///
    /// # Errors
    ///
    /// No key or no sign of equality: what would be right.
    pub fn parse(text: &str) -> Result<Given, String> {
        let (key, value) = text
            .split_once('=')
            .map(|(key, value)| (key.trim(), value.trim()))
            .filter(|(key, _)| !key.is_empty())
            .ok_or("a key and a value are wanted, such as camera.latency=\"80 ms\"")?;
        Ok(Given {
            key: key.into(),
            value: value.into(),
            option: SET,
        })
    }

    /// As people would write it: `camera.latency = "80 ms"`.
    pub fn words(&self) -> String {
        match self.value.as_str() {
            "" => format!("{} taken out", quoted(&self.key)),
            value => format!("{} = {}", quoted(&self.key), quoted(value)),
        }
    }

    fn place(&self) -> String {
        format!("{} {}", self.option, quoted(&self.key))
    }

    /// The key, if it is one of the language, and what is wrong otherwise.
    pub(super) fn known(&self) -> Result<Option<&'static Key>, String> {
        let is_table = TABLES.iter().any(|table| {
            !table.name.is_empty() && (table.name == self.key || table.group() == Some(&self.key))
        });
        match KEYS.iter().find(|key| key.path() == self.key) {
            Some(key) => Ok(Some(key)),
            None if is_table && self.value.is_empty() => Ok(None),
            None if is_table => {
                let first = KEYS.iter().find(|key| {
                    key.table == self.key || key.table.starts_with(&format!("{}.", self.key))
                });
                let such_as =
                    first.map_or(String::new(), |key| format!(", such as {}", key.path()));
                Err(format!(
                    "{} is a table; name a key of it{such_as}",
                    self.key
                ))
            }
            None => Err(unknown(&self.key)),
        }
    }

    /// The value as TOML.
    pub(super) fn toml(&self, key: &Key) -> Result<String, String> {
        let begins = |marks: &[char]| self.value.starts_with(marks);
        if let Shape::Quantities { .. } | Shape::Counts { .. } | Shape::Choices(_) = key.shape
            && !begins(&['['])
        {
            let items = self.value.split(',').map(|item| one(key, item.trim()));
            return Ok(format!("[{}]", items.collect::<Vec<_>>().join(", ")));
        }
        let toml = one(key, &self.value);
        match DeValue::parse(&toml) {
            Ok(_) => Ok(toml),
            Err(error) => Err(format!(
                "{} = {} is no TOML: {}",
                self.key,
                quoted(&self.value),
                error.message()
            )),
        }
    }
}

/// One value: as it is where that is TOML, else as a text.
fn one(key: &Key, value: &str) -> String {
    let is_marked = value.starts_with(['"', '\'', '[', '{']);
    // A text may look like a number (a field called 12) and is a text all the same.
    let is_plain = || key.shape != Shape::Text && DeValue::parse(value).is_ok();
    if is_marked || is_plain() {
        value.to_string()
    } else {
        // The escapes of JSON are among those of TOML.
        serde_json::Value::from(value).to_string()
    }
}

/// What to write instead of a key that the language does not have.
pub(super) fn unknown(word: &str) -> String {
    let shown = quoted(word);
    let (table, name) = word.rsplit_once('.').unwrap_or(("", word));
    let told = |path: &str| format!("{shown} is unknown; did you mean {path}?");
    if !table.is_empty() && keys::table(table).is_some() {
        let names: Vec<&str> = keys::keys_of(table).map(|key| key.name).collect();
        return match nearest(name, names.iter().copied()) {
            Some(near) => told(&format!("{table}.{near}")),
            None if names.is_empty() => format!("{shown} is unknown; [{table}] has no keys"),
            None => format!("{shown} is unknown; [{table}] has {}", names.join(", ")),
        };
    }
    let elsewhere: Vec<String> = KEYS
        .iter()
        .filter(|key| key.name == name)
        .map(Key::path)
        .take(5)
        .collect();
    if table.is_empty() && !elsewhere.is_empty() {
        return told(&elsewhere.join(" or "));
    }
    let paths: Vec<String> = KEYS.iter().map(Key::path).collect();
    match nearest(word, paths.iter().map(String::as_str)) {
        Some(near) => told(near),
        None => format!("{shown} is unknown; \"rowroom starter --full\" writes every key"),
    }
}

/// A file's text with the given values behind it.
pub(super) struct Joined {
    /// Both. The first part alone is TOML, and so are the lines of the second.
    pub text: String,
    /// Where each given value begins and what messages call the place.
    pub places: Vec<(usize, String)>,
    /// What is wrong with them, by place.
    pub faults: Vec<(usize, String, String)>,
    /// Keys and tables to take out.
    taken_out: Vec<String>,
    /// The second part under as many spaces as the first has bytes, so that places in it are places in `text`.
    below: String,
}

impl Joined {
    pub fn new(file_text: &str, given: &[Given]) -> Joined {
        let mut joined = Joined {
            text: file_text.to_string(),
            places: Vec::new(),
            faults: Vec::new(),
            taken_out: Vec::new(),
            below: " ".repeat(file_text.len()),
        };
        for (number, one) in given.iter().enumerate() {
            joined.line("\n");
            let at = joined.text.len();
            joined.places.push((at, one.place()));
            // The same key a second time would make the whole of the given part no TOML.
            let twice = given[..number].iter().any(|before| before.key == one.key);
            let found = match one.known() {
                _ if twice => Err(format!("{} is given twice", quoted(&one.key))),
                Ok(Some(key)) if !one.value.is_empty() => one.toml(key).map(Some),
                Ok(_) => Ok(None),
                Err(why) => Err(why),
            };
            match found {
                Ok(Some(toml)) => joined.line(&format!("{} = {toml}\n", one.key)),
                Ok(None) => {
                    joined.taken_out.push(one.key.clone());
                    // A line that is no key, for messages to point at.
                    joined.line(&format!("# {} =\n", one.key));
                }
                Err(why) => joined.faults.push((at, one.key.clone(), why)),
            }
        }
        joined
    }

    fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.below.push_str(line);
    }

    /// Puts the given values into what the file says.
    pub fn merge_into<'a>(&'a self, root: &mut DeTable<'a>) {
        for path in &self.taken_out {
            take_out(root, path);
        }
        // Each value was parsed by itself, so that together they are TOML.
        if let Ok(given) = DeTable::parse(&self.below) {
            put(root, "", given.into_inner());
        }
    }
}

fn take_out(table: &mut DeTable<'_>, path: &str) {
    match path.split_once('.') {
        None => {
            table.remove(path);
        }
        Some((first, rest)) => {
            if let Some(DeValue::Table(inner)) = table.get_mut(first).map(Spanned::get_mut) {
                take_out(inner, rest);
            }
        }
    }
}

fn put<'a>(table: &mut DeTable<'a>, path: &str, given: DeTable<'a>) {
    for (name, value) in given {
        let full = match path {
            "" => name.get_ref().to_string(),
            _ => format!("{path}.{}", name.get_ref()),
        };
        // A distribution looks like a table and is one value: replaced whole, never mixed with the file's.
        let is_key = KEYS.iter().any(|key| key.path() == full);
        let word: &str = name.get_ref().as_ref();
        match (table.get_mut(word).map(Spanned::get_mut), value.get_ref()) {
            (Some(DeValue::Table(own)), DeValue::Table(_)) if !is_key => {
                if let DeValue::Table(inner) = value.into_inner() {
                    put(own, &full, inner);
                }
            }
            // The file has a value where a table belongs: it is told.
            (Some(_), _) if !is_key => {}
            _ => {
                let word = Cow::clone(name.get_ref());
                // An insert over it would keep the old name and with it the place in the file.
                table.remove(word.as_ref());
                table.insert(name, value);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_a_value_needs_no_quotation_marks() {
        let toml = |text: &str| {
            let given = Given::parse(text).unwrap();
            given.toml(given.known().unwrap().unwrap())
        };
        for (text, wanted) in [
            ("camera.latency=80 ms", "\"80 ms\""),
            ("camera.latency = \"80 ms\"", "\"80 ms\""),
            ("camera.latency=80", "80"),
            ("name=12", "\"12\""),
            ("hydraulics.force_reserve=2", "2"),
            ("study.controllers=locked,pid", "[\"locked\", \"pid\"]"),
            ("rows.seen_rows=[1, 2]", "[1, 2]"),
            ("rows.seen_rows=1,2", "[1, 2]"),
            ("study.speeds=4 km/h, 8 km/h", "[\"4 km/h\", \"8 km/h\"]"),
        ] {
            assert_eq!(toml(text).unwrap(), wanted, "{text}");
        }
        assert!(
            toml("camera.latency=\"80 ms")
                .unwrap_err()
                .contains("no TOML")
        );
        assert!(
            toml("camera.latency={ from = ")
                .unwrap_err()
                .contains("no TOML")
        );
        for wrong in ["camera.latency", "=5", ""] {
            assert!(Given::parse(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn regress_unknown_keys_name_the_nearest() {
        for (word, near) in [
            ("camera.latncy", "did you mean camera.latency?"),
            ("camra.latency", "did you mean camera.latency?"),
            ("latency", "did you mean camera.latency?"),
            (
                "controller.pid.kp",
                "[controller.pid] has simc_closed_loop_time, gain",
            ),
            ("colour", "rowroom starter --full"),
        ] {
            assert!(unknown(word).contains(near), "{}", unknown(word));
        }
    }
}
