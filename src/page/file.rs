//! `rowroom.html`: module, scripts, styles and scenarios in one file.

use std::collections::BTreeMap;

use base64::{Engine, prelude::BASE64_STANDARD};
use maud::{DOCTYPE, PreEscaped, html};
use serde_json::json;
use sha2::{Digest, Sha256};

use crate::report::live;
use crate::report::parts::styles_of_pages;
use crate::scenario::Texts;

/// Its name, unless somebody asks for another.
pub const FILE: &str = "rowroom.html";

/// The library as a WebAssembly module, packed by gzip, in two files: none of the repository may be larger than 1 MiB. `.ci/page_module`
/// builds it.
const MODULE: [&[u8]; 2] = [
    include_bytes!("module.wasm.gz.1"),
    include_bytes!("module.wasm.gz.2"),
];

const BODY: &str = include_str!("page.html");
const STYLE: &str = include_str!("page.css");
const WORKER: &str = include_str!("worker.js");

/// Files of the script in the order in which they stand in the page. All of them share one scope.
const SCRIPT: [&str; 9] = [
    live::NUMBERS,
    live::UNITS,
    include_str!("desks.js"),
    include_str!("form.js"),
    include_str!("curves.js"),
    include_str!("live.js"),
    include_str!("answer.js"),
    include_str!("out.js"),
    include_str!("start.js"),
];

/// A file beside a scenario, by name and text.
type Beside = (&'static str, &'static str);

/// Scenarios to begin with: a word for each, its file, and the files that it names. The one that drives a log again is not among them: it
/// wants a log.
const SCENARIOS: [(&str, Beside, &[Beside]); 5] = [
    (
        "Leeks in beds",
        ("leeks.toml", include_str!("../../scenarios/leeks.toml")),
        &[],
    ),
    (
        "Sugar beet",
        (
            "sugar_beet.toml",
            include_str!("../../scenarios/sugar_beet.toml"),
        ),
        &[],
    ),
    (
        "Wide rows in US units",
        (
            "wide_rows_us.toml",
            include_str!("../../scenarios/wide_rows_us.toml"),
        ),
        &[],
    ),
    (
        "Drawn, on-off valve",
        (
            "drawn_on_off.toml",
            include_str!("../../scenarios/drawn_on_off.toml"),
        ),
        &[],
    ),
    (
        "Carrots on a slope",
        (
            "carrots_slope.toml",
            include_str!("../../scenarios/carrots_slope.toml"),
        ),
        &[(
            "carrots_slope_rows.csv",
            include_str!("../../scenarios/carrots_slope_rows.csv"),
        )],
    ),
];

/// The page.
pub fn page() -> String {
    let script = format!("(() => {{\n\"use strict\";\n{}}})();\n", SCRIPT.concat());
    let pages_style = styles_of_pages();
    let style = format!("{}{STYLE}", crate::report::parts::PAGE_CSS);
    let hash = |text: &str| format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text)));
    // The film in its frame lives under this policy too. A module and threads are made of what the page itself holds.
    let policy = format!(
        "default-src 'none'; style-src {} {}; script-src {} {} 'wasm-unsafe-eval'; worker-src blob:; frame-src 'self'",
        hash(&style),
        hash(&pages_style),
        hash(&script),
        hash(&live::code()),
    );
    let page = html! {
        (DOCTYPE)
        html lang="en" data-units="metric" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Rowroom" }
                style { (PreEscaped(&style)) }
            }
            body {
                (PreEscaped(BODY))
                footer { p { (env!("CARGO_PKG_NAME")) " " (env!("CARGO_PKG_VERSION")) } }
                script #scenarios type="application/json" { (PreEscaped(scenarios())) }
                script #worker type="text/plain" { (PreEscaped(WORKER)) }
                script #module type="text/plain" { (BASE64_STANDARD.encode(MODULE.concat())) }
                script { (PreEscaped(&script)) }
            }
        }
    };
    page.into_string()
}

/// As JSON that cannot end the element it stands in.
fn scenarios() -> String {
    let all = SCENARIOS.map(|(title, (file, text), files)| {
        let owned = |&(name, text): &Beside| (name.to_owned(), text.to_owned());
        let texts = Texts {
            file: file.into(),
            text: text.into(),
            files: files.iter().map(owned).collect::<BTreeMap<_, _>>(),
            replay: None,
            given: Vec::new(),
        };
        json!({ "title": title, "texts": texts })
    });
    json!(all).to_string().replace('<', "\\u003c")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Scenario;

    #[test]
    fn prop_every_scenario_of_the_page_is_sound() {
        let told: serde_json::Value = serde_json::from_str(&scenarios()).unwrap();
        for one in told.as_array().unwrap() {
            let texts: Texts = serde_json::from_value(one["texts"].clone()).unwrap();
            Scenario::from_texts(&texts).unwrap_or_else(|error| panic!("{error}"));
        }
    }

    #[test]
    fn prop_nothing_of_the_page_lies_elsewhere() {
        let page = page();
        for outward in ["src=", "http:", "https:", "@import", "url("] {
            let allowed = page
                .matches(outward)
                .count()
                .saturating_sub(page.matches("http://www.w3.org/2000/svg").count());
            assert_eq!(allowed, 0, "{outward}");
        }
        assert!(page.contains("'wasm-unsafe-eval'; worker-src blob:"));
    }
}
