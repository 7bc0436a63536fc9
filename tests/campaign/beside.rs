//! Results that contradict themselves, are cut or hostile, put on a page.

use serde_json::Value;

use crate::case::{Case, Verdict};
use crate::judge;
use crate::texts;

/// Puts changed results beside sound ones.
pub fn case(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    let sound = &prepared.whole["results.json"];
    let mut bytes = sound.clone();
    if let Ok(mut value) = serde_json::from_slice::<Value>(sound) {
        for _ in 0..case.dice.from(1, 3) {
            texts::json_about(&mut case.dice, &mut value);
        }
        if case.dice.once_in(3) {
            every_text(&mut value, &texts::word(&mut case.dice));
        }
        bytes = value.to_string().into_bytes();
    }
    if case.dice.once_in(5) {
        texts::bytes_about(&mut case.dice, &mut bytes);
    }
    case.write("changed/results.json", &bytes);
    case.write("sound/results.json", sound);
    let (one, other) = case.dice.of(&[
        ("changed", "sound"),
        ("sound", "changed"),
        ("changed", "changed"),
    ]);
    let ran = case.run(&["compare", one, other, "--out", "out"]);
    let out = case.files("out");
    let mut faults = judge::ended(&ran);
    faults.extend(judge::names(&ran, &["changed/results.json"]));
    if !matches!(ran.code, Some(0..=2)) {
        faults.push(format!("exit code {:?}", ran.code));
    }
    if ran.code == Some(0) {
        faults.extend(judge::whole(&out));
    }
    faults.extend(judge::untouched(&ran, &judge::Files::new(), &out));
    Verdict::new(&ran, faults)
}

/// Puts a word in place of names, descriptions and sentences.
fn every_text(value: &mut Value, word: &str) {
    match value {
        Value::Array(items) => items.iter_mut().for_each(|item| every_text(item, word)),
        Value::Object(items) => {
            for (key, item) in items {
                let named = [
                    "name",
                    "description",
                    "file",
                    "warnings",
                    "reason",
                    "left_out",
                    "value",
                    "origin",
                ];
                if item.is_string() && named.contains(&key.as_str()) {
                    *item = Value::from(word);
                } else {
                    every_text(item, word);
                }
            }
        }
        _ => {}
    }
}
