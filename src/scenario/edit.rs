//! Changes to the text of a scenario, one key or table at a time. All else stays as it was written, comments and order too.

use serde::Deserialize;
use toml_edit::{DocumentMut, Item, Table, TableLike, Value};

use super::check::member;
use super::error::{Problem, ScenarioError};
use super::given::Given;
use super::keys::{self, KEYS, Key, Need, Shape, TABLES};
use super::units;

/// One change.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(tag = "change", rename_all = "snake_case")]
pub enum Edit {
    /// A key gets a value, as TOML or in the bare words of a text ([`Given`]); an empty one takes the key out, so that its default holds.
    Set {
        /// The key with its table, such as `camera.latency`.
        key: String,
        /// The value.
        value: String,
    },
    /// A table comes in with the keys that it cannot be without; others of its group go.
    Add {
        /// Its name, such as `driver.hand`.
        table: String,
    },
    /// A table goes with all its keys.
    Remove {
        /// Its name.
        table: String,
    },
}

/// The text with a change in it.
///
/// # Errors
///
/// The text is no TOML, or the language has no such key or table.
pub fn edited(text: &str, edit: &Edit) -> Result<String, ScenarioError> {
    let mut document: DocumentMut = text
        .parse()
        .map_err(|error: toml_edit::TomlError| problem("", error.message()))?;
    match edit {
        Edit::Set { key, value } => set(&mut document, key, value)?,
        Edit::Add { table } => add(&mut document, table)?,
        Edit::Remove { table } => {
            known(table)?;
            take_out(document.as_table_mut(), table);
        }
    }
    Ok(document.to_string())
}

fn problem(key: &str, message: &str) -> ScenarioError {
    ScenarioError::Problems(vec![Problem {
        file: "the change".into(),
        line: 0,
        column: 0,
        key: key.into(),
        message: message.into(),
    }])
}

fn known(table: &str) -> Result<(), ScenarioError> {
    match TABLES.iter().any(|one| one.name == table) && !table.is_empty() {
        true => Ok(()),
        false => Err(problem(table, &format!("there is no table [{table}]"))),
    }
}

fn set(document: &mut DocumentMut, path: &str, value: &str) -> Result<(), ScenarioError> {
    let given = Given {
        key: path.into(),
        value: value.trim().into(),
        option: "",
    };
    let key = given.known().map_err(|why| problem(path, &why))?;
    let Some(key) = key.or_else(|| KEYS.iter().find(|key| key.path() == path)) else {
        return Err(problem(path, &format!("{path} is no key")));
    };
    if given.value.is_empty() {
        take_out(document.as_table_mut(), path);
        return Ok(());
    }
    let toml = given.toml(key).map_err(|why| problem(path, &why))?;
    let parsed: Value = toml
        .parse()
        .map_err(|_| problem(path, &format!("{path} = {toml} is no TOML")))?;
    put(document, key, parsed);
    match key.id {
        keys::Id::WorkingSpeed => list(document, keys::Id::Speeds, &given.value),
        keys::Id::WorkingClearance => list(document, keys::Id::Clearances, &given.value),
        _ => {}
    }
    Ok(())
}

/// What is worked with is simulated: a list of quantities that does not have it gets it, in its place. A list that is left out stays so.
fn list(document: &mut DocumentMut, id: keys::Id, value: &str) {
    let key = keys::key(id);
    let Shape::Quantities { quantity, .. } = key.shape else {
        return;
    };
    let si = |text: &str| Some(units::parse(text, quantity).ok()?.si);
    let value = value.trim_matches('"');
    let array = reached(document.as_table_mut(), key.table)
        .and_then(|table| table.get_mut(key.name))
        .and_then(Item::as_array_mut);
    let (Some(array), Some(new)) = (array, si(value)) else {
        return;
    };
    let Some(all) = array
        .iter()
        .map(|one| one.as_str().and_then(si))
        .collect::<Option<Vec<f64>>>()
    else {
        return;
    };
    if member(&all, new).is_none() {
        let place = all.iter().position(|&one| one > new).unwrap_or(all.len());
        array.insert(place, value);
    }
}

/// Puts a value in the place of the old one, with the spaces and the comment around that one.
fn put(document: &mut DocumentMut, key: &Key, mut value: Value) {
    let Some(table) = reached(document.as_table_mut(), key.table) else {
        return;
    };
    match table.get_mut(key.name).and_then(Item::as_value_mut) {
        Some(old) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        None => {
            table.insert(key.name, Item::Value(value));
        }
    }
}

/// The table of that name, made where it is missing.
fn reached<'a>(root: &'a mut dyn TableLike, name: &str) -> Option<&'a mut dyn TableLike> {
    let mut table = root;
    let mut names = name.split('.').filter(|name| !name.is_empty()).peekable();
    while let Some(name) = names.next() {
        let mut fresh = Table::new();
        // A header of its own only where keys stand under it.
        fresh.set_implicit(names.peek().is_some());
        table = table
            .entry(name)
            .or_insert(Item::Table(fresh))
            .as_table_like_mut()?;
    }
    Some(table)
}

fn add(document: &mut DocumentMut, name: &str) -> Result<(), ScenarioError> {
    known(name)?;
    if let Some(group) = keys::table(name)
        .filter(|table| table.presence == keys::Presence::OneOfGroup)
        .and_then(keys::Table::group)
    {
        let others = TABLES
            .iter()
            .filter(|other| other.group() == Some(group) && other.name != name);
        others.for_each(|other| take_out(document.as_table_mut(), other.name));
    }
    reached(document.as_table_mut(), name);
    for key in keys::keys_of(name) {
        let is_there = reached(document.as_table_mut(), name)
            .is_some_and(|table| table.contains_key(key.name));
        // One way to set the PID stands for its required keys.
        let is_needed = matches!(key.need, Need::Required { .. }) || key.id == keys::Id::SimcTime;
        if is_needed
            && !is_there
            && let Ok(value) = key.example().parse()
        {
            put(document, key, value);
        }
    }
    Ok(())
}

fn take_out(table: &mut dyn TableLike, path: &str) {
    match path.split_once('.') {
        None => {
            table.remove(path);
        }
        Some((first, rest)) => {
            if let Some(inner) = table.get_mut(first).and_then(Item::as_table_like_mut) {
                take_out(inner, rest);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Scenario;

    const LEEKS: &str = include_str!("../../scenarios/leeks.toml");

    fn parsed(text: &str) -> Result<Scenario, ScenarioError> {
        let none = |_: &str| Err(std::io::ErrorKind::NotFound.into());
        Scenario::parse(text, "leeks.toml", &none, None)
    }

    fn set(text: &str, key: &str, value: &str) -> String {
        let (key, value) = (key.to_owned(), value.to_owned());
        edited(text, &Edit::Set { key, value }).unwrap()
    }

    #[test]
    fn prop_a_change_touches_nothing_else() {
        let changed = set(LEEKS, "camera.frames", "50 Hz");
        let lines = |text: &str| text.lines().map(str::to_owned).collect::<Vec<_>>();
        let (before, after) = (lines(LEEKS), lines(&changed));
        assert_eq!(before.len(), after.len());
        let moved: Vec<_> = before.iter().zip(&after).filter(|(a, b)| a != b).collect();
        assert_eq!(moved.len(), 1);
        assert_eq!(moved[0].1, "frames = \"50 Hz\"");
        // And back again, byte for byte.
        assert_eq!(set(&changed, "camera.frames", "25 Hz"), LEEKS);
    }

    #[test]
    fn prop_every_value_can_be_written_again_over_itself() {
        let scenario = parsed(LEEKS).unwrap();
        for key in KEYS {
            let path = key.path();
            let Some((written, _)) = scenario.value(&path).filter(|_| !key.table.is_empty()) else {
                continue;
            };
            let again = parsed(&set(LEEKS, &path, &written));
            let again = again.unwrap_or_else(|error| panic!("{path} = {written}: {error}"));
            // A default that nobody knows counts as known once it is written.
            let (again, _) = again.value(&path).unwrap();
            assert_eq!(again, written, "{path}");
        }
    }

    #[test]
    fn regress_comments_stay_on_their_lines() {
        let text =
            "# top\nname = \"a\" # the name\n\n[camera] # eye\nframes   =  \"25 Hz\"  # quick\n";
        assert_eq!(
            set(text, "camera.frames", "30 Hz"),
            text.replace("25 Hz", "30 Hz")
        );
        assert!(set(text, "camera.latency", "90 ms").ends_with("latency = \"90 ms\"\n"));
        assert_eq!(
            set(text, "camera.frames", ""),
            "# top\nname = \"a\" # the name\n\n[camera] # eye\n"
        );
    }

    #[test]
    fn regress_what_is_worked_with_comes_into_its_list() {
        let text = set(LEEKS, "study.working_speed", "9 km/h");
        assert!(
            text.contains("\"8 km/h\", \"9 km/h\", \"10 km/h\""),
            "{text}"
        );
        let text = set(&text, "study.working_clearance", "\"2.5 in\"");
        assert!(text.contains("\"60 mm\", \"2.5 in\", \"70 mm\""), "{text}");
        let study = parsed(&text).unwrap().study().clone();
        assert_eq!(study.working_clearance_m, 0.0635);
        // One that is there already is not doubled, in whatever unit.
        let again = set(LEEKS, "study.working_clearance", "6 cm");
        assert_eq!(
            again,
            LEEKS.replace(
                "working_clearance = \"60 mm\"",
                "working_clearance = \"6 cm\""
            )
        );
        // A list that is left out stays so.
        let open = set(
            &set(LEEKS, "study.speeds", ""),
            "study.working_speed",
            "9 km/h",
        );
        assert!(!open.contains("\nspeeds") && parsed(&open).is_ok());
    }

    /// Every table that may be chosen or fitted: with it the scenario is sound, or says what else it wants.
    #[test]
    fn prop_tables_come_and_go() {
        let satellite = Edit::Add {
            table: "driver.satellite_line".into(),
        };
        let text = edited(LEEKS, &satellite).unwrap();
        assert!(!text.contains("[driver.hand]") && text.contains("[driver.satellite_line]"));
        parsed(&text).unwrap();
        let without = Edit::Remove {
            table: "sensors.yaw_rate".into(),
        };
        let text = edited(LEEKS, &without).unwrap();
        assert!(!text.contains("sensors.yaw_rate"));
        parsed(&text).unwrap();
        let unknown = Edit::Add {
            table: "wheels".into(),
        };
        assert!(edited(LEEKS, &unknown).is_err());
    }
}
