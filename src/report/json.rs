//! `results.json`: every digit, and never a null that hides a broken number.

use super::ReportError;
use crate::results::Results;
use crate::results::finite::first_not_finite;
use serde::Serialize;
use serde_json::ser::{PrettyFormatter, Serializer};

/// The results as pretty JSON with a line end, keys in the order of [`Results`].
pub fn results_json(results: &Results) -> Result<String, ReportError> {
    if let Some(key) = first_not_finite(results) {
        return Err(ReportError::NotFinite { key });
    }
    // One blank a level: a study has thousands of numbers.
    let mut text = Vec::new();
    let pretty = PrettyFormatter::with_indent(b" ");
    results.serialize(&mut Serializer::with_formatter(&mut text, pretty))?;
    let mut text = String::from_utf8(text).map_err(|_| ReportError::NotTheSame)?;
    text.push('\n');
    if read_results(&text)? != *results {
        return Err(ReportError::NotTheSame);
    }
    Ok(text)
}

/// Results from the text of a `results.json`.
pub fn read_results(text: &str) -> Result<Results, ReportError> {
    Ok(serde_json::from_str(text)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;
    use serde_json::Value;

    #[test]
    fn prop_every_bit_survives_writing_and_reading() {
        let results = synthetic::results();
        let text = results_json(&results).unwrap();
        assert_eq!(read_results(&text).unwrap(), results);
        assert!(text.ends_with("}\n"));
        assert!(text.find("\"schema_version\"") < text.find("\"tool\""));
        assert!(text.find("\"rates\"") < text.find("\"tracking\""));
    }

    #[test]
    fn prop_a_number_that_is_not_finite_is_refused_by_its_key() {
        let refused = |change: &dyn Fn(&mut Results)| {
            let mut results = synthetic::results();
            change(&mut results);
            match results_json(&results) {
                Err(ReportError::NotFinite { key }) => key,
                other => panic!("{other:?}"),
            }
        };
        assert_eq!(
            refused(&|r| r.rates[3].cut.upper = f64::NAN),
            "rates[3].cut.upper"
        );
        assert_eq!(refused(&|r| r.step_s = f64::INFINITY), "step_s");
        assert_eq!(
            refused(&|r| r.tracking[1].linear_tool_error_sd_m = Some(f64::NAN)),
            "tracking[1].linear_tool_error_sd_m"
        );
        assert_eq!(
            refused(&|r| r.speeds_m_s[2] = f64::NEG_INFINITY),
            "speeds_m_s[2]"
        );
        assert_eq!(
            refused(&|r| r.answer.fewest.as_mut().unwrap().cut.rate = f64::NAN),
            "answer.fewest.cut.rate"
        );
    }

    #[test]
    fn prop_an_absent_number_is_null() {
        let mut results = synthetic::results();
        results.tracking[0].linear_tool_error_sd_m = None;
        let text = results_json(&results).unwrap();
        assert!(text.contains("\"linear_tool_error_sd_m\": null"));
    }

    /// The few keywords that the schema uses; any other one fails the test.
    fn check(schema: &Value, root: &Value, value: &Value, at: &str) {
        for (keyword, rule) in schema.as_object().unwrap() {
            match keyword.as_str() {
                "$schema" | "$defs" | "title" | "description" | "format" => {}
                "$ref" => {
                    let pointer = rule.as_str().unwrap().trim_start_matches('#');
                    check(root.pointer(pointer).unwrap(), root, value, at);
                }
                "type" => {
                    let fits = |name: &Value| match name.as_str().unwrap() {
                        "object" => value.is_object(),
                        "array" => value.is_array(),
                        "string" => value.is_string(),
                        "boolean" => value.is_boolean(),
                        "integer" => value.is_u64() || value.is_i64(),
                        "number" => value.is_number(),
                        "null" => value.is_null(),
                        other => panic!("{other}"),
                    };
                    let any = match rule {
                        Value::Array(names) => names.iter().any(fits),
                        name => fits(name),
                    };
                    assert!(any, "{at}: {value} is no {rule}");
                }
                "required" => {
                    for key in rule.as_array().unwrap() {
                        assert!(
                            value.get(key.as_str().unwrap()).is_some(),
                            "{at} lacks {key}"
                        );
                    }
                }
                "properties" => {
                    for (key, inner) in value.as_object().unwrap() {
                        let known = &rule[key];
                        assert!(known.is_object(), "{at}.{key} is not in the schema");
                        assert!(
                            known["description"].is_string(),
                            "{at}.{key} has no meaning"
                        );
                        check(known, root, inner, &format!("{at}.{key}"));
                    }
                }
                "items" => {
                    for (i, inner) in value.as_array().unwrap().iter().enumerate() {
                        check(rule, root, inner, &format!("{at}[{i}]"));
                    }
                }
                "minimum" => assert!(value.is_null() || value.as_f64() >= rule.as_f64(), "{at}"),
                "maximum" => assert!(value.is_null() || value.as_f64() <= rule.as_f64(), "{at}"),
                "minItems" | "maxItems" => {
                    let length = value.as_array().map(Vec::len);
                    let bound = rule.as_u64().unwrap() as usize;
                    let least = keyword == "minItems";
                    assert!(
                        length.is_some_and(|n| if least { n >= bound } else { n <= bound }),
                        "{at}"
                    );
                }
                "enum" => assert!(rule.as_array().unwrap().contains(value), "{at}: {value}"),
                "oneOf" if rule[0]["const"].is_null() => variant(rule, root, value, at),
                "oneOf" => {
                    let names = rule.as_array().unwrap().iter().map(|name| {
                        assert!(
                            name["description"].is_string(),
                            "{at}: {name} has no meaning"
                        );
                        name["const"].as_str().unwrap()
                    });
                    let fits = names.filter(|name| value == name).count();
                    assert_eq!(fits, 1, "{at}: {value} is no {rule}");
                }
                "anyOf" => {
                    let rules = rule.as_array().unwrap();
                    let null = rules.iter().any(|r| r["type"] == "null");
                    assert!(null && rules.len() == 2, "only: this or null");
                    if !value.is_null() {
                        let other = rules.iter().find(|r| r["type"] != "null").unwrap();
                        check(other, root, value, at);
                    }
                }
                other => panic!("keyword {other} is not checked"),
            }
        }
    }

    /// A value that is one of several kinds of objects: the one whose constants it has.
    fn variant(rules: &Value, root: &Value, value: &Value, at: &str) {
        let kinds = rules.as_array().unwrap().iter().filter(|kind| {
            let properties = kind["properties"].as_object().unwrap();
            let constant = |(key, one): (&String, &Value)| {
                one["const"].is_null() || one["const"] == value[key.as_str()]
            };
            properties.iter().all(constant)
        });
        let kinds: Vec<&Value> = kinds.collect();
        assert_eq!(kinds.len(), 1, "{at}: {value}");
        let kind = kinds[0];
        assert!(kind["description"].is_string(), "{at} has no meaning");
        // What belongs to the kind may stand in a definition of its own.
        let more = kind["$ref"].as_str().map_or(&Value::Null, |place| {
            &root["$defs"][place.rsplit('/').next().unwrap()]
        });
        for required in [&kind["required"], &more["required"]] {
            for key in required.as_array().into_iter().flatten() {
                assert!(
                    value.get(key.as_str().unwrap()).is_some(),
                    "{at} lacks {key}"
                );
            }
        }
        for (key, inner) in value.as_object().unwrap() {
            let own = &kind["properties"][key];
            if !own["const"].is_null() {
                continue;
            }
            let known = if own.is_null() {
                &more["properties"][key]
            } else {
                own
            };
            assert!(known.is_object(), "{at}.{key} is not in the schema");
            assert!(
                known["description"].is_string(),
                "{at}.{key} has no meaning"
            );
            check(known, root, inner, &format!("{at}.{key}"));
        }
    }

    #[test]
    fn prop_results_json_fits_its_schema_key_by_key() {
        let schema = crate::results::schema();
        let results = results_json(&synthetic::results()).unwrap();
        check(
            &schema,
            &schema,
            &serde_json::from_str(&results).unwrap(),
            "results",
        );
    }

    #[test]
    #[should_panic(expected = "is not in the schema")]
    fn prop_an_unknown_key_fails_the_check() {
        let schema = crate::results::schema();
        let mut results: Value =
            serde_json::from_str(&results_json(&synthetic::results()).unwrap()).unwrap();
        results["rates"][0]["surprise"] = Value::from(1);
        check(&schema, &schema, &results, "results");
    }
}
