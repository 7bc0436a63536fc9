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

#[cfg(test)]
mod tests {
    use crate::scenario::{Scenario, ScenarioError};
    use std::io;

    fn with(more: &str) -> Result<Scenario, ScenarioError> {
        let text = Scenario::demo().unwrap().texts().text.clone() + more;
        let no_files = |_: &str| Err(io::ErrorKind::NotFound.into());
        Scenario::parse(&text, "leeks.toml", &no_files, None)
    }

    #[test]
    fn regress_offers_are_read_as_they_are_written() {
        let read = with(
            "[[offers]]\npart = \"camera\"\nname = \"quick\"\nprice = 1200\nset = { camera.frames = \"50 Hz\", camera.latency = { measured = \"40 ms\", error = \"5 ms\" } }\n\
             [[offers]]\npart = \"side-shift\"\nname = \"long\"\nset.hydraulics.stroke = \"600 mm\"\n",
        )
        .unwrap();
        let [camera, shift] = read.offers() else {
            panic!("{:?}", read.offers())
        };
        assert_eq!((camera.price, shift.price), (Some(1200.0), None));
        let written: Vec<(&str, &str)> = camera
            .set
            .iter()
            .map(|given| (given.key.as_str(), given.value.as_str()))
            .collect();
        assert!(
            written.contains(&("camera.frames", "\"50 Hz\"")),
            "{written:?}"
        );
        let latency = "{ measured = \"40 ms\", error = \"5 ms\" }";
        assert!(
            written.contains(&("camera.latency", latency)),
            "{written:?}"
        );
        assert_eq!(shift.set[0].key, "hydraulics.stroke");
        let long = read.offered(&shift.set).unwrap();
        assert_eq!(long.nominal().hydraulics.stroke_m, 0.6);
    }

    #[test]
    fn regress_mistakes_in_offers_are_told_with_their_place() {
        let offer = |lines: &str| format!("[[offers]]\npart = \"a\"\nname = \"b\"\n{lines}\n");
        for (text, words) in [
            (offer(""), "needs part, name and set"),
            (
                offer("set = { camera.frams = \"50 Hz\" }"),
                "did you mean camera.frames?",
            ),
            (
                offer("set = { study.seed = 3 }"),
                "study.seed is no part of a machine",
            ),
            (
                offer("set = { camera.frames = \"50 Hz\" }\nprice = -1"),
                "a plain number from 0",
            ),
            (
                offer("set = { camera.frames = \"50 Hz\" }\ncost = 5"),
                "offers.cost is unknown",
            ),
            (offer("set = 5"), "offers.set is of another kind"),
            (
                "offers = 5\n".into(),
                "write [[offers]] on a line of its own",
            ),
            (
                offer("set.camera.frames = \"50 Hz\"") + &offer("set.camera.frames = \"60 Hz\""),
                "two offers with the name b",
            ),
            (
                offer("set.camera.frames = \"50 Hz\"")
                    + "[[offers]]\npart = \"c\"\nname = \"d\"\nset.camera.frames = \"60 Hz\"\n",
                "camera.frames is set by offers for a and for c",
            ),
        ] {
            // A key at the top has to stand before the tables.
            let found = match text.starts_with("offers") {
                true => {
                    let demo = Scenario::demo().unwrap().texts().text.clone();
                    let no_files = |_: &str| Err(io::ErrorKind::NotFound.into());
                    Scenario::parse(&(text.clone() + &demo), "leeks.toml", &no_files, None)
                }
                false => with(&text),
            };
            let told = found.unwrap_err().to_string();
            assert!(
                told.contains(words) && told.contains("leeks.toml:"),
                "{words}: {told}"
            );
        }
    }

    /// A machine whose latency is known meets the fields of one whose latency is not: everything else is drawn alike.
    #[test]
    fn prop_an_offer_leaves_the_field_as_it_is() {
        let base = Scenario::demo().unwrap();
        let known =
            "[[offers]]\npart = \"camera\"\nname = \"quick\"\nset.camera.latency = \"40 ms\"\n";
        let offered = with(known).unwrap();
        let other = base.offered(&offered.offers()[0].set).unwrap();
        assert_eq!(other.unknowns().len() + 1, base.unknowns().len());
        for pass in [0, 7, 8, 83] {
            let own = base.draw(3, pass);
            assert_eq!(base.draw_beside(&base, 3, pass), own);
            let mut drawn = other.draw_beside(&base, 3, pass);
            assert_eq!(drawn.camera.latency_s, 0.04);
            drawn.camera.latency_s = own.camera.latency_s;
            // The gains of the PID go with the camera's latency.
            drawn.controllers.pid = own.controllers.pid;
            assert_eq!(drawn, own, "{pass}");
            // Drawn by itself it would go over other fields.
            assert_ne!(other.draw(3, pass).hydraulics, own.hydraulics);
        }
    }
}
