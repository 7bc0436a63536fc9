//! The language of scenarios for a form: every table and key from its declaration, and what holds of a scenario.

use serde_json::{Value, json};

use crate::model::controller::Kind;
use crate::report::words::capital;
use crate::report::{cautions, display};
use crate::scenario::keys::{self, KEYS, Key, Need, Presence, Shape, TABLES};
use crate::scenario::units::{self, Quantity};
use crate::scenario::{Crop, Scenario, Steering, Units};

/// Tables, keys, controllers and cautions.
pub fn language() -> Value {
    let tables = TABLES.iter().map(|table| {
        json!({
            "name": table.name,
            "presence": match table.presence {
                Presence::Always => "always",
                Presence::OneOfGroup => "one_of",
                Presence::IfFitted => "if_fitted",
            },
            "group": table.group(),
            "meaning": capital(table.meaning),
        })
    });
    let controllers = Kind::ALL.map(|kind| {
        json!({
            "name": kind.name(),
            "title": capital(display::plain_title(kind)),
            "moves": kind.moves(),
        })
    });
    json!({
        "tables": tables.collect::<Vec<_>>(),
        "keys": KEYS.iter().map(of_key).collect::<Vec<_>>(),
        "controllers": controllers,
        "crops": Crop::ALL.map(Crop::name),
        "steerings": Steering::ALL.map(Steering::name),
        "cautions": cautions::STUDY,
        "left_out": cautions::LEFT_OUT,
    })
}

fn of_key(key: &Key) -> Value {
    let (kind, words) = match key.shape {
        Shape::Quantity { .. } => ("quantity", &[][..]),
        Shape::Quantities { .. } => ("quantities", &[][..]),
        Shape::Count { .. } => ("count", &[][..]),
        Shape::Counts { .. } => ("counts", &[][..]),
        Shape::Text => ("text", &[][..]),
        Shape::Choice(words) => ("choice", words),
        Shape::Choices(words) => ("choices", words),
    };
    let quantity = quantity(key);
    let ends = key.range().zip(quantity).map(|((low, high), quantity)| {
        let of = |units| {
            let end = |si| said(quantity, si, units);
            json!([end(low), end(high)])
        };
        json!({ "metric": of(Units::Metric), "us": of(Units::Us) })
    });
    json!({
        "path": key.path(),
        "table": key.table,
        "name": key.name,
        "kind": kind,
        "words": words,
        "units": quantity.map(Quantity::unit_names),
        "allowed": key.allowed(),
        "ends": ends,
        "may_vary": key.may_vary(),
        "required": matches!(key.need, Need::Required { .. }),
        "example": key.example().trim_matches('"'),
        "default": key.default_words(),
        "meaning": capital(key.meaning),
    })
}

fn quantity(key: &Key) -> Option<Quantity> {
    match key.shape {
        Shape::Quantity { quantity, .. } | Shape::Quantities { quantity, .. } => Some(quantity),
        _ => None,
    }
}

/// What holds of a sound scenario: every value with its origin, how it would be written in either system of units, and what the page shows
/// first.
pub fn facts(scenario: &Scenario) -> Value {
    let values = scenario.assumptions().into_iter().map(|value| {
        let si = scenario.value(&value.key).and_then(|(_, si)| si);
        let key = KEYS.iter().find(|key| key.path() == value.key);
        let both = key.and_then(quantity).zip(si).map(|(quantity, si)| {
            let of = |units| said(quantity, si, units);
            json!({ "metric": of(Units::Metric), "us": of(Units::Us) })
        });
        json!({
            "key": value.key,
            "value": value.value,
            "known": value.known,
            "origin": value.origin,
            "range": value.range,
            "both": both,
        })
    });
    let study = scenario.study();
    let unknowns = scenario.unknowns().iter().map(|unknown| unknown.key());
    json!({
        "name": scenario.name(),
        "description": scenario.description(),
        "units": scenario.units(),
        "working_speed_m_s": study.working_speed_m_s,
        "working_clearance_m": study.working_clearance_m,
        "speeds_m_s": study.speeds_m_s,
        "clearances_m": study.clearances_m,
        "open_grid": scenario.open_grid(),
        "allowed_cut_rate": study.allowed_cut_rate,
        "assurance": study.assurance,
        "seed": study.seed,
        "unknowns": unknowns.collect::<Vec<_>>(),
        "notes": scenario.notes().len(),
        "values": values.collect::<Vec<_>>(),
    })
}

/// A quantity in a system of units, with its unit: in the one of its units that people of that system use and that leaves a handy number.
fn said(quantity: Quantity, si: f64, units: Units) -> String {
    let names: &[&str] = match (quantity, units) {
        (Quantity::Length, Units::Metric) => &["mm", "m"],
        (Quantity::Length, Units::Us) => &["in", "ft"],
        (Quantity::Speed, Units::Metric) => &["km/h"],
        (Quantity::Speed, Units::Us) => &["mph"],
        (Quantity::Pressure, Units::Metric) => &["bar"],
        (Quantity::Pressure, Units::Us) => &["psi"],
        (Quantity::Flow, Units::Metric) => &["L/min"],
        (Quantity::Flow, Units::Us) => &["gpm"],
        (Quantity::Force, Units::Metric) => &["N"],
        (Quantity::Force, Units::Us) => &["lbf"],
        (Quantity::Area, Units::Metric) => &["ha"],
        (Quantity::Area, Units::Us) => &["ac"],
        (Quantity::Density, Units::Metric) => &["/m2"],
        (Quantity::Density, Units::Us) => &["/ft2"],
        (Quantity::Power, Units::Metric) => &["kW"],
        (Quantity::Power, Units::Us) => &["hp"],
        _ => &[],
    };
    let all = quantity.units();
    let named = |name: &&str| all.iter().find(|unit| unit.name == *name);
    let small = names.first().and_then(named).unwrap_or(&all[0]);
    // From a metre and a yard on, lengths are told in the larger unit.
    let large = names.get(1).and_then(named).filter(|_| si.abs() >= 1.0);
    let unit = large.unwrap_or(small);
    let number = units::short(display_round(unit.from_si(si)));
    match unit.name {
        "" => number,
        name => format!("{number} {name}"),
    }
}

/// To four digits: what a form shows beside the value as it is written.
fn display_round(number: f64) -> f64 {
    if number == 0.0 || !number.is_finite() {
        return number;
    }
    let digits = 3 - libm::floor(libm::log10(number.abs())) as i32;
    let scale = libm::pow(10.0, f64::from(digits));
    libm::round(number * scale) / scale
}

/// The table that a group's keys stand in now.
pub fn tables_of(scenario: &Scenario) -> Vec<&'static str> {
    let has = |table: &&keys::Table| {
        let stands = |key: &Key| scenario.value(&key.path()).is_some();
        keys::keys_of(table.name).any(stands)
    };
    TABLES.iter().filter(has).map(|table| table.name).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prop_every_key_is_told_with_meaning_and_range() {
        let told = language();
        let keys = told["keys"].as_array().unwrap();
        assert_eq!(keys.len(), KEYS.len());
        for key in keys {
            let has = |name: &str| key[name].as_str().is_some_and(|text| !text.is_empty());
            assert!(has("path") && has("meaning") && has("allowed"), "{key}");
        }
    }

    /// NIST SP 811: 25.4 mm an inch, 1609.344 m a mile, 6894.757 Pa a psi.
    #[test]
    fn val_both_systems() {
        let both = |quantity, si| [Units::Metric, Units::Us].map(|units| said(quantity, si, units));
        assert_eq!(both(Quantity::Length, 0.0508), ["50.8 mm", "2 in"]);
        assert_eq!(both(Quantity::Length, 200.0), ["200 m", "656 ft"]);
        assert_eq!(both(Quantity::Speed, 8.0 / 3.6), ["8 km/h", "4.97 mph"]);
        assert_eq!(both(Quantity::Pressure, 18e6), ["180 bar", "2611 psi"]);
        assert_eq!(both(Quantity::Time, 0.08)[0], both(Quantity::Time, 0.08)[1]);
    }
}
