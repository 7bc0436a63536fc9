//! JSON Schema of scenario files, for editors that complete and check TOML with one.

use serde_json::{Map, Value, json};

use super::keys::{self, Id, Key, Need, Presence, Shape, TABLES};
use super::offers::MOST_OFFERS;
use super::units::Quantity;
use crate::model::controller::Kind;

/// JSON Schema (draft 2020-12) of scenario files.
pub fn schema() -> Value {
    let mut root = table_schema("");
    root.insert(
        "$schema".into(),
        json!("https://json-schema.org/draft/2020-12/schema"),
    );
    root.insert("title".into(), json!("rowroom scenario"));
    let mut properties = match root.remove("properties") {
        Some(Value::Object(properties)) => properties,
        _ => Map::new(),
    };
    let mut required = match root.remove("required") {
        Some(Value::Array(required)) => required,
        _ => Vec::new(),
    };
    for table in TABLES.iter().filter(|table| !table.name.is_empty()) {
        let Some((group, member)) = table.name.split_once('.') else {
            let schema = table_schema(table.name);
            if table.presence == Presence::Always && schema.contains_key("required") {
                required.push(json!(table.name));
            }
            properties.insert(table.name.into(), Value::Object(schema));
            continue;
        };
        if !properties.contains_key(group) {
            let mut schema = json!({
                "type": "object",
                "additionalProperties": false,
                "properties": {},
            });
            if table.presence == Presence::OneOfGroup {
                // Exactly one member, said by their number: a oneOf reports the faults of every member at once.
                schema["minProperties"] = json!(1);
                schema["maxProperties"] = json!(1);
                required.push(json!(group));
            }
            properties.insert(group.into(), schema);
        }
        properties[group]["properties"][member] = Value::Object(table_schema(table.name));
    }
    properties.insert("notes".into(), notes_schema());
    properties.insert("offers".into(), offers_schema());
    root.insert("properties".into(), Value::Object(properties));
    root.insert("required".into(), Value::Array(required));
    Value::Object(root)
}

/// `[[offers]]`, likewise.
fn offers_schema() -> Value {
    json!({
        "type": "array",
        "description": "what could be bought or set, for rowroom design; offers for the same part exclude one another",
        "minItems": 1,
        "maxItems": MOST_OFFERS,
        "items": {
            "type": "object",
            "additionalProperties": false,
            "properties": {
                "part": { "type": "string", "description": "the part whose place it takes, such as camera" },
                "name": { "type": "string", "description": "what people call it" },
                "price": { "type": "number", "minimum": 0, "description": "all included, in the currency of [prices]; left out: not known" },
                "set": { "type": "object", "description": "what the scenario then says: keys with their tables and values" },
            },
            "required": ["part", "name", "set"],
        },
    })
}

/// `[[notes]]`, which is no table of keys but a list of what was found.
fn notes_schema() -> Value {
    let pairs = |item: Value, what: &str| {
        json!({
            "type": "array",
            "description": what,
            "items": { "type": "array", "prefixItems": [item.clone(), item], "items": false, "minItems": 2 },
        })
    };
    json!({
        "type": "array",
        "description": "what was found in the field, one for each setting of the machine that was looked at",
        "items": {
            "type": "object",
            "additionalProperties": false,
            "properties": {
                "speed": key_schema(keys::key(Id::WorkingSpeed)),
                "clearance": key_schema(keys::key(Id::WorkingClearance)),
                "controller": { "enum": Kind::NAMES },
                "gaps": pairs(
                    json!({ "type": "string" }),
                    "gaps from a row to the edges left and right of it, place by place",
                ),
                "counts": pairs(
                    json!({ "type": "integer", "minimum": 0 }),
                    "plants looked at and those of them that are cut, place by place",
                ),
            },
        },
    })
}

fn table_schema(name: &str) -> Map<String, Value> {
    let mut schema = Map::new();
    let mut properties = Map::new();
    let mut required = Vec::new();
    for key in keys::keys_of(name) {
        properties.insert(key.name.into(), key_schema(key));
        if matches!(key.need, Need::Required { .. }) {
            required.push(json!(key.name));
        }
    }
    schema.insert("type".into(), json!("object"));
    if let Some(table) = keys::table(name) {
        schema.insert("description".into(), json!(table.meaning));
    }
    schema.insert("additionalProperties".into(), json!(false));
    schema.insert("properties".into(), Value::Object(properties));
    if !required.is_empty() {
        schema.insert("required".into(), Value::Array(required));
    }
    schema
}

fn key_schema(key: &Key) -> Value {
    let mut schema = match key.shape {
        Shape::Quantity { quantity, .. } if key.may_vary() => {
            let one = quantity_schema(quantity);
            let part = |names: &[&str], also: &[&str]| {
                let mut properties = Map::new();
                for name in names.iter().chain(also) {
                    properties.insert((*name).into(), one.clone());
                }
                json!({
                    "type": "object",
                    "additionalProperties": false,
                    "properties": properties,
                    "required": names,
                })
            };
            json!({ "anyOf": [
                one,
                part(&["mean", "sd"], &["low", "high"]),
                part(&["from", "to"], &[]),
                part(&["least", "most"], &[]),
                part(&["about"], &[]),
                part(&["measured", "error"], &[]),
            ] })
        }
        Shape::Quantity { quantity, .. } => quantity_schema(quantity),
        Shape::Quantities { quantity, .. } => json!({
            "type": "array",
            "minItems": 1,
            // A schema cannot ask for a rising order; no value twice is as near as it comes.
            "uniqueItems": true,
            "items": quantity_schema(quantity),
        }),
        Shape::Count { low, high } => json!({ "type": "integer", "minimum": low, "maximum": high }),
        Shape::Counts { low, high } => json!({
            "type": "array",
            "minItems": 1,
            "uniqueItems": true,
            "items": { "type": "integer", "minimum": low, "maximum": high },
        }),
        Shape::Text => json!({ "type": "string" }),
        Shape::Choice(words) => json!({ "enum": words }),
        Shape::Choices(words) => json!({
            "type": "array",
            "minItems": 1,
            "uniqueItems": true,
            "items": { "enum": words },
        }),
    };
    if let Some(most) = key.most_entries() {
        schema["maxItems"] = json!(most);
    }
    let default = match key.default_words() {
        words if words.is_empty() => words,
        words => format!(" Default: {words}."),
    };
    let allowed = match key.shape {
        Shape::Text => String::new(),
        _ => format!(" Allowed: {}.", key.allowed()),
    };
    schema["description"] = json!(format!("{}.{allowed}{default}", key.meaning));
    schema
}

fn quantity_schema(quantity: Quantity) -> Value {
    if quantity == Quantity::Number {
        return json!({ "type": "number" });
    }
    let text = json!({ "type": "string", "pattern": pattern(quantity) });
    if quantity.is_bare() {
        json!({ "anyOf": [{ "type": "number" }, text] })
    } else {
        text
    }
}

/// A pattern for a number and one of the units, whatever the case.
fn pattern(quantity: Quantity) -> String {
    let mut names: Vec<String> = Vec::new();
    for unit in quantity.units() {
        for name in std::iter::once(&unit.name).chain(unit.aliases) {
            // Patterns of a schema have no flag for either case.
            names.push(name.chars().map(either_case).collect());
        }
    }
    format!(
        "^\\s*[-+\u{2212}]?(\\d+\\.?\\d*|\\.\\d+)([eE][-+]?\\d+)?\\s*({})\\s*$",
        names.join("|")
    )
}

fn either_case(letter: char) -> String {
    if letter.is_ascii_alphabetic() {
        format!(
            "[{}{}]",
            letter.to_ascii_lowercase(),
            letter.to_ascii_uppercase()
        )
    } else {
        letter.to_string()
    }
}
