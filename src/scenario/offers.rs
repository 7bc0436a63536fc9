//! What could be bought or set in place of what is there, kept in the scenario as `[[offers]]`: the parts among which `rowroom design`
//! searches for machines that nobody beats on both price and speed.
//!
//! ```toml
//! [[offers]]
//! part = "camera"                                                 # offers for the same part exclude one another
//! name = "50 frames a second"
//! price = 1800                                                    # all included, in the currency of [prices]
//! set = { camera.frames = "50 Hz", camera.latency = "50 ms" }     # what the scenario then says, as --set would
//! ```

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::given::{Given, unknown};
use super::keys::KEYS;
use super::read::Read;
use crate::quote::{is_control, quoted};

/// Most offers (our choice: nobody collects more quotes).
pub const MOST_OFFERS: usize = 64;

/// Most letters of a part's or an offer's name: it stands in tables and pictures (our choice).
const LONGEST_NAME: usize = 40;

/// Highest price, as for every change that has one.
const HIGHEST_PRICE: f64 = 1e7;

/// Tables that say what is asked rather than which machine works: an offer that set them would be held against other questions.
const NO_PART: [&str; 5] = ["study.", "farm.", "prices.", "change_prices.", "weeds."];

/// The one key of these tables that belongs to the machine.
const CONTROLLERS: &str = "study.controllers";

/// One thing that could be bought or set.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
    /// The part whose place it takes.
    pub part: String,
    /// What people call it.
    pub name: String,
    /// What it costs, all included, in the scenario's currency; `None` if that is not said.
    pub price: Option<f64>,
    /// What the scenario says with it.
    pub set: Vec<Given>,
}

/// What messages call the place of a value that an offer sets.
const SET: &str = "[[offers]] set";

const NAMES: [&str; 4] = ["part", "name", "price", "set"];

/// Reads `[[offers]]`; what is wrong is told in `read`.
pub(super) fn take(read: &mut Read, value: &Spanned<DeValue<'_>>) {
    let all: Vec<&Spanned<DeValue<'_>>> = match value.get_ref() {
        DeValue::Array(all) => all.iter().collect(),
        // A single [offers] says the same.
        DeValue::Table(_) => vec![value],
        _ => Vec::new(),
    };
    if all.is_empty() || all.len() > MOST_OFFERS {
        let message = format!(
            "offers is a list of 1 to {MOST_OFFERS} tables; write [[offers]] on a line of its own above each"
        );
        return read.problem(value.span().start, "offers", message);
    }
    for one in all {
        let at = one.span().start;
        let DeValue::Table(table) = one.get_ref() else {
            let message = "offers is a list of tables; write [[offers]] on a line of its own";
            read.problem(at, "offers", message.into());
            continue;
        };
        if let Some(offer) = offer(read, at, table) {
            let twice = read
                .offers
                .iter()
                .any(|before| before.part == offer.part && before.name == offer.name);
            if twice {
                let message = format!(
                    "the part {} has two offers with the name {}",
                    quoted(&offer.part),
                    quoted(&offer.name)
                );
                read.problem(at, "offers.name", message);
            }
            read.offers.push(offer);
        }
    }
    conflicts(read, value.span().start);
}

fn offer(read: &mut Read, at: usize, table: &DeTable<'_>) -> Option<Offer> {
    let (mut part, mut name, mut price, mut set) = (None, None, None, Vec::new());
    let faults = read.found.len();
    for (word, value) in table {
        let place = value.span().start;
        let key = format!("offers.{}", quoted(word.get_ref()));
        match (word.get_ref().as_ref(), value.get_ref()) {
            (called @ ("part" | "name"), DeValue::String(text)) => {
                let letters = text.chars().count();
                let short = !text.trim().is_empty() && letters <= LONGEST_NAME;
                if short && !text.contains(is_control) {
                    let slot = if called == "part" {
                        &mut part
                    } else {
                        &mut name
                    };
                    *slot = Some(text.trim().to_string());
                } else {
                    let message = format!("{key} is one line of 1 to {LONGEST_NAME} letters");
                    read.problem(place, &key, message);
                }
            }
            ("price", value) => match number(value) {
                Some(found) if (0.0..=HIGHEST_PRICE).contains(&found) => price = Some(found),
                _ => {
                    let message = format!(
                        "{key} is a plain number from 0 to {HIGHEST_PRICE}, in the currency of [prices]"
                    );
                    read.problem(place, &key, message);
                }
            },
            ("set", DeValue::Table(inner)) => settings(read, "", inner, &mut set),
            (known, _) if NAMES.contains(&known) => {
                let message = format!(
                    "{key} is of another kind: part and name are texts, price is a number, set is a table such as {{ camera.frames = \"50 Hz\" }}"
                );
                read.problem(place, &key, message);
            }
            (other, _) => {
                let near = super::nearest::nearest(other, NAMES.into_iter());
                let near = near.map_or(String::new(), |near| format!("; did you mean {near}?"));
                read.problem(word.span().start, &key, format!("{key} is unknown{near}"));
            }
        }
    }
    if read.found.len() == faults && (part.is_none() || name.is_none() || set.is_empty()) {
        let message = "an offer needs part, name and set, such as part = \"camera\", name = \"50 frames a second\", set = { camera.frames = \"50 Hz\" }";
        read.problem(at, "offers", message.into());
    }
    Some(Offer {
        part: part?,
        name: name?,
        price,
        set,
    })
}

fn number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(number) => u64::from_str_radix(number.as_str(), number.radix())
            .ok()
            .map(|whole| whole as f64),
        DeValue::Float(number) => number.as_str().parse().ok(),
        _ => None,
    }
}

/// The keys of a table with their values as they are written.
fn settings(read: &mut Read, path: &str, table: &DeTable<'_>, set: &mut Vec<Given>) {
    for (word, value) in table {
        let name = word.get_ref();
        let full = match path {
            "" => name.to_string(),
            _ => format!("{path}.{name}"),
        };
        let place = word.span().start;
        let key = format!("offers.set.{}", quoted(&full));
        let is_key = KEYS.iter().any(|key| key.path() == full);
        match value.get_ref() {
            _ if is_key && full != CONTROLLERS && NO_PART.iter().any(|no| full.starts_with(no)) => {
                let message = format!(
                    "{full} is no part of a machine; an offer may set {CONTROLLERS} and the tables that describe the machine"
                );
                read.problem(place, &key, message);
            }
            _ if is_key => {
                let written = read.text().get(value.span()).unwrap_or("").to_string();
                set.push(Given {
                    key: full,
                    value: written,
                    option: SET,
                });
            }
            DeValue::Table(inner) => settings(read, &full, inner, set),
            _ => read.problem(place, &key, unknown(&full)),
        }
    }
}

/// A key that offers of two parts set would have two values in a machine with both.
fn conflicts(read: &mut Read, at: usize) {
    let mut told = Vec::new();
    for (place, one) in read.offers.iter().enumerate() {
        for given in &one.set {
            let mut others = read.offers[..place].iter();
            let other = others.find(|other| {
                other.part != one.part && other.set.iter().any(|before| before.key == given.key)
            });
            if let Some(other) = other {
                let message = format!(
                    "{} is set by offers for {} and for {}: give both the same part",
                    given.key,
                    quoted(&other.part),
                    quoted(&one.part)
                );
                if !told.contains(&message) {
                    told.push(message);
                }
            }
        }
    }
    for message in told {
        read.problem(at, "offers.set", message);
    }
}
