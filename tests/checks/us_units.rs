//! What a study of a scenario in US units says is in US units: sentences of the answers, pictures and the sheets.

use rowroom::model::series::Series;
use rowroom::report::changes::change;
use rowroom::report::display::Units;
use rowroom::report::svg::study_pictures;
use rowroom::report::{answer_text, customer, setting_sheet};
use rowroom::results::Results;
use rowroom::scenario::Scenario;
use rowroom::study::{Plan, Until, Unwatched, study};
use serde_json::Value;

const TEXT: &str = include_str!("../../scenarios/wide_rows_us.toml");

fn parsed(text: &str) -> Result<Scenario, String> {
    let found = Scenario::parse(text, "wide_rows_us.toml", &|_| unreachable!(), None);
    found.map_err(|error| error.to_string())
}

fn studied() -> Results {
    let scenario = parsed(TEXT).unwrap();
    let plan = Plan {
        scenario: &scenario,
        seed: 1,
        until: Until::Passes(8),
        threads: None,
    };
    study(&plan, None, &Unwatched).unwrap().results
}

/// Units that no sentence of a US scenario may have behind a number.
const METRIC: [&str; 19] = [
    "mm", "cm", "m", "km", "metre", "metres", "mm/s", "m/s", "km/h", "L/min", "L/h", "bar", "kPa",
    "MPa", "kN", "N", "kW", "ha", "hectare",
];

/// A number with a metric unit behind it, or a hectare.
fn metric(text: &str) -> Option<String> {
    let words: Vec<&str> = text
        .split([' ', '\u{a0}', ',', ';', ':', '(', ')', '<', '>', '"'])
        .map(|word| word.trim_end_matches('.'))
        .filter(|word| !word.is_empty())
        .collect();
    let number = |word: &str| word.starts_with(|c: char| c.is_ascii_digit());
    let hit = words
        .windows(2)
        .find(|pair| number(pair[0]) && METRIC.contains(&pair[1]));
    hit.map(|pair| pair.join(" "))
        .or_else(|| text.contains("hectare").then(|| "hectare".into()))
}

/// Every text below `value` with the key it stands at.
fn texts(value: &Value, at: &str, found: &mut Vec<(String, String)>) {
    match value {
        Value::String(text) => found.push((at.to_owned(), text.clone())),
        Value::Array(all) => all.iter().for_each(|one| texts(one, at, found)),
        Value::Object(all) => {
            for (key, one) in all {
                texts(one, &format!("{at}.{key}"), found);
            }
        }
        _ => {}
    }
}

#[test]
fn prop_a_us_study_says_nothing_in_metric_units() {
    assert_eq!(metric("a stroke of 250 mm at most").unwrap(), "250 mm");
    assert_eq!(metric("1 in 240, 3.5 in"), None);
    let results = studied();
    let value = serde_json::to_value(&results).unwrap();
    let mut found = Vec::new();
    texts(&value, "", &mut found);
    assert!(found.len() > 100);
    for (at, text) in found {
        // Defaults are quoted as the language of scenarios declares them.
        if !at.starts_with(".assumptions") && !at.ends_with("unknowns.source") {
            assert_eq!(metric(&text), None, "{at}: {text}");
        }
    }
    assert_eq!(metric(&answer_text(&results)), None);
    let pictures = study_pictures(&results, &[], Units::Us);
    for picture in pictures.all() {
        let drawn = picture.standalone();
        assert_eq!(metric(&drawn), None, "{}", picture.name);
    }
    assert_eq!(metric(&pictures.tools.as_ref().unwrap().reading), None);
    // The sheet of the workshop gives both systems; its words beside the tables are in inches first.
    let sheet = setting_sheet::page(&results, &pictures);
    let inches = Units::Us.size(results.answers.sheet.clearance_m);
    assert!(sheet.contains(&format!("Tools {inches} (")), "{inches}");
    let page = customer::page(&results, &pictures);
    let (_, body) = page.split_once("<body").unwrap();
    assert_eq!(metric(body), None);
}

/// Inch sizes of the trade, and none that only a metric cylinder has.
#[test]
fn prop_a_us_study_recommends_inch_cylinders_and_strokes() {
    let answers = studied().answers;
    let inch = Series::Inch;
    let strokes_m: Vec<f64> = answers
        .stroke
        .candidates
        .iter()
        .map(|c| c.stroke_m)
        .collect();
    assert_eq!(strokes_m, inch.strokes_m());
    assert!(!answers.hydraulics.combinations.is_empty());
    for one in &answers.hydraulics.combinations {
        assert!(inch.bores_m().contains(&one.bore_m));
        assert!(inch.rods_m().contains(&one.rod_m));
        assert!(!one.serves || one.buckling_reserve.unwrap() >= 3.5);
    }
    let mut steps = answers
        .pays
        .iter()
        .map(|pays| change(pays.change, Units::Us));
    assert!(steps.any(|told| told == "4 in more stroke"));
}

/// What the check of a scenario says about its lengths.
#[test]
fn prop_problems_of_a_us_scenario_are_told_in_inches() {
    let with = |from: &str, to: &str| parsed(&TEXT.replacen(from, to, 1)).unwrap_err();
    let wide = with("\"4 in\", \"5 in\"]", "\"4 in\", \"20 in\"]");
    assert!(
        wide.contains("goes up to 20 in on either side") && wide.contains("allowed up to 15 in"),
        "{wide}"
    );
    // A row of 4 in wander asks more of the tractor than 0.2 in.
    let bent = TEXT.replacen(
        "\nwander = { about = \"1.2 in\" }",
        "\nwander = \"4 in\"",
        1,
    );
    let steady = bent.replacen(
        "observed_wander = \"2 in\"",
        "observed_wander = \"0.2 in\"",
        1,
    );
    let steady = parsed(&steady).unwrap_err();
    let (_, least) = steady.split_once("it must exceed ").unwrap();
    assert!(least.ends_with(" in"), "{steady}");
    for told in [wide, steady] {
        assert_eq!(metric(&told), None, "{told}");
    }
}
