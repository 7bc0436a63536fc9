//! The judge is judged: each of its checks lets a sound run pass and finds the fault that it is there for.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::judge::{self, Faults, Files};
use crate::prepared::Prepared;
use crate::run::Ran;

/// Sound runs that were blamed and faults that were overlooked; with the number of trials.
pub fn mistakes(prepared: &Prepared, folder: &Path) -> (usize, Vec<String>) {
    let scenario = "name = \"ä\"\nspeed = 1\n";
    fs::write(folder.join("judged.toml"), scenario).expect("a file to judge by");
    let places = |told: &str| judge::places(&ran(2, told), folder, &["judged.toml"]);
    let changed = |path: &[&str], value: Value| {
        let mut results: Value =
            serde_json::from_slice(&prepared.whole["results.json"]).unwrap_or_default();
        let mut inside = &mut results;
        for step in path {
            inside = match step.parse::<usize>() {
                Ok(at) => &mut inside[at],
                Err(_) => &mut inside[*step],
            };
        }
        *inside = value;
        judge::results(results.to_string().as_bytes(), Some(16))
    };
    let with = |name: &str, text: &[u8]| {
        let mut files = prepared.whole.clone();
        files.insert(name.to_owned(), text.to_owned());
        judge::whole(&files)
    };
    let cut = |name: &str| {
        let bytes = &prepared.whole[name];
        with(name, &bytes[..bytes.len() / 2])
    };
    let one_svg = prepared
        .whole
        .keys()
        .find(|name| name.ends_with(".svg"))
        .map_or("", String::as_str);
    let none = Files::new();
    let sound: [(&str, Faults); 8] = [
        ("a silent success", judge::ended(&ran(0, ""))),
        ("a refusal", judge::ended(&ran(2, "field.toml:1:1: wrong"))),
        ("a study", judge::whole(&prepared.whole)),
        ("its results", judge::study(&prepared.whole, Some(16))),
        ("a stopped study", judge::whole(&prepared.stopped)),
        (
            "the same bytes",
            judge::same(&prepared.whole, &prepared.whole),
        ),
        (
            "two places",
            places("judged.toml:1:8: wrong\njudged.toml:2:10: wrong"),
        ),
        (
            "a place that is a file",
            places("judged.toml: cannot be used"),
        ),
    ];
    let faulty: [(&str, Faults); 32] = [
        (
            "a panic",
            judge::ended(&ran(1, "thread 'main' panicked at src/x.rs:1:1")),
        ),
        ("exit code 101", judge::ended(&ran(101, "error"))),
        (
            "a signal",
            judge::ended(&Ran {
                signal: Some(11),
                ..Ran::default()
            }),
        ),
        (
            "a hang",
            judge::ended(&Ran {
                hung: true,
                ..ran(0, "")
            }),
        ),
        (
            "a control character",
            judge::ended(&ran(2, "the name \u{1b}[31m is wrong")),
        ),
        (
            "bytes that are no text",
            judge::ended(&Ran {
                err: vec![0xff],
                ..ran(1, "")
            }),
        ),
        ("a failure without a word", judge::ended(&ran(1, " \n"))),
        ("words of a quiet run", judge::quiet(&ran(0, "hello"))),
        (
            "a message without a name",
            judge::names(&ran(1, "error: something"), &["field.toml"]),
        ),
        (
            "a mistake without a place",
            places("judged.toml:1:1: wrong\nand more"),
        ),
        (
            "a line that the file has not",
            places("judged.toml:9:1: wrong"),
        ),
        (
            "a column that the line has not",
            places("judged.toml:2:11: wrong"),
        ),
        (
            "a failure that left a file",
            judge::untouched(&ran(1, "error"), &none, &prepared.whole),
        ),
        (
            "a failure that took a file",
            judge::untouched(&ran(1, "error"), &prepared.whole, &none),
        ),
        ("another byte", {
            let mut other = prepared.whole.clone();
            other
                .entry("report.html".to_owned())
                .or_default()
                .push(b' ');
            judge::same(&prepared.whole, &other)
        }),
        ("half a page", cut("report.html")),
        ("half a picture", cut(one_svg)),
        ("half the results", cut("results.json")),
        ("half a table", cut("rates.csv")),
        ("a temporary file", with(".rowroom-1-report.html.part", b"")),
        (
            "markup of a scenario",
            with("report.html", b"<img src=x onerror=alert(1)></html>"),
        ),
        (
            "a picture that is no XML",
            with("a.svg", b"<svg>\x07</svg>"),
        ),
        (
            "a picture of no number",
            with("a.svg", b"<svg><path d=\"M0 NaN\"/></svg>"),
        ),
        ("a table of no number", with("a.csv", b"rate\nNaN\n")),
        ("no results", judge::study(&none, None)),
        (
            "a number that is none",
            changed(&["tracking", "0", "tool_error_sd_m"], Value::Null),
        ),
        (
            "a rate above 1",
            changed(&["rates", "0", "cut", "rate"], 1.5.into()),
        ),
        (
            "a rate beyond its limits",
            changed(&["rates", "0", "touched", "lower"], 0.999.into()),
        ),
        (
            "more plants met than there are",
            changed(&["rates", "0", "touched", "rate"], 0.9999.into()),
        ),
        ("a lost plant", changed(&["rates", "1", "plants"], 1.into())),
        ("a lost pass", changed(&["passes"], 15.into())),
        ("an end that is none", changed(&["complete"], false.into())),
    ];
    let tried = sound.len() + faulty.len();
    let blamed = sound
        .into_iter()
        .filter(|(_, faults)| !faults.is_empty())
        .map(|(what, faults)| format!("{what} was blamed: {}", faults.join("; ")));
    let overlooked = faulty
        .into_iter()
        .filter(|(_, faults)| faults.is_empty())
        .map(|(what, _)| format!("{what} was overlooked"));
    (tried, blamed.chain(overlooked).collect())
}

fn ran(code: i32, told: &str) -> Ran {
    Ran {
        code: Some(code),
        err: told.as_bytes().to_vec(),
        ..Ran::default()
    }
}
