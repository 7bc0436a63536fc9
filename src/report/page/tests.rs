//! Tests of the page as a whole.

use super::*;
use crate::report::text::undecided_line;
use crate::report::{both::seen, svg::study_pictures, synthetic};
use crate::results::Assumption;
use crate::results::Known;
use crate::results::answers::{Answers, Status};
use crate::results::reasons::{Reason, Warning};

/// The page less the data and the one script that it may hold, which itself must not ask a network for anything.
fn without_its_scripts(page: &str) -> String {
    let code = crate::report::live::code();
    for needle in [
        "fetch(",
        "XMLHttpRequest",
        "import(",
        "https:",
        "WebSocket",
        "eval(",
    ] {
        assert!(!code.contains(needle), "{needle}");
    }
    let mut page = page.replacen(&format!("<script>{code}</script>"), "", 1);
    let start = "<script id=\"rowroom-data\" type=\"application/json\">";
    if let Some(from) = page.find(start) {
        let length = page[from..].find("</script>").unwrap() + "</script>".len();
        let data = page[from + start.len()..from + length - "</script>".len()].to_owned();
        assert!(!data.contains('<'));
        serde_json::from_str::<serde_json::Value>(&data).unwrap();
        page.replace_range(from..from + length, "");
    }
    page
}

/// The ids of a page, which has some and none twice.
pub fn unique_ids(page: &str) -> Vec<&str> {
    let mut ids: Vec<&str> = page
        .split(" id=\"")
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap())
        .collect();
    let all = ids.len();
    assert!(all > 0);
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), all);
    ids
}

fn page_of(results: &Results) -> String {
    page(results, &synthetic::traces(), &synthetic::traces())
}

#[test]
fn prop_the_table_of_differences_is_for_the_working_speed_with_its_limits() {
    let results = synthetic::results();
    let page = page_of(&results);
    let (_, table) = page.split_once("Controllers against one another").unwrap();
    let (table, _) = table.split_once("</table>").unwrap();
    assert_eq!(results.differences.len(), 2);
    assert_eq!(table.matches("<tr>").count(), 2, "the head and one pair");
    for text in [
        "Lag-compensated",
        "PID",
        "percentage points",
        ">-0.11<",
        ">-0.13<",
        ">-0.09<",
    ] {
        assert!(table.contains(text), "{text}");
    }
    let (_, body) = table.split_once("<tbody>").unwrap();
    assert!(
        !body.contains('%'),
        "a difference of shares is not a share: {body}"
    );
}

/// The critical speed is a limit: wherever it stands it is the same number, rounded down. 2.16 m/s are 7.776 km/h and 4.832 mph, which
/// rounding to the nearest would print as 7.8 beside 7.7, 2.21 m/s are 7.956 km/h and 4.944 mph.
#[test]
fn prop_one_critical_speed_is_one_number_in_all_places() {
    let mut results = synthetic::results();
    for (critical_m_s, km_h, mph) in [(2.16, "7.7", "4.8"), (2.21, "7.9", "4.9")] {
        for margins in &mut results.loops {
            margins.critical_speed_m_s = margins.critical_speed_m_s.map(|_| critical_m_s);
        }
        let page = page_of(&results);
        for (units, wanted) in [(Units::Metric, km_h), (Units::Us, mph)] {
            let page = seen(&page, units);
            let (before, _) = page
                .split_once(" the camera sees the row too late for its lookahead.</p>")
                .unwrap();
            let (_, said) = before.rsplit_once("Above ").unwrap();
            assert_eq!(said, format!("{wanted} {}", units.speed_unit()));
            let (_, table) = page.split_once("Critical speed, ").unwrap();
            let (table, _) = table.split_once("</table>").unwrap();
            let lines = table.split("</tr>").filter_map(|line| {
                let (_, last) = line.strip_suffix("</td>")?.rsplit_once("<td>")?;
                Some(last)
            });
            let told: Vec<&str> = lines.filter(|last| !last.is_empty()).collect();
            assert!(!told.is_empty());
            assert!(told.iter().all(|last| *last == wanted), "{told:?} {wanted}");
        }
    }
}

#[test]
fn prop_what_is_not_decided_is_named_with_the_passes_it_takes() {
    let mut results = synthetic::results();
    let told = "About 2600 passes would tell";
    let text = |results: &Results| page_of(results).replace('\u{a0}', " ");
    assert!(
        text(&results).contains(told),
        "{}",
        undecided_line(&results, Units::Metric).unwrap()
    );
    results.undecided.clear();
    assert!(!text(&results).contains("Not decided"));
}

#[test]
fn prop_the_rate_table_shows_the_results() {
    let results = synthetic::results();
    let page = page_of(&results);
    let (_, page) = page.split_once("Plants cut, tools").unwrap();
    let body = page
        .split("<tbody>")
        .nth(1)
        .unwrap()
        .split("</tbody>")
        .next()
        .unwrap();
    let shown: Vec<&str> = body.split("<td class=\"rate\">").skip(1).collect();
    let number = |text: &str| -> (f64, f64) {
        let text = text.trim();
        let decimals = text.split('.').nth(1).map_or(0, str::len) as i32;
        // Half of the last shown digit, with room for the rounding of the decimal text itself.
        (
            text.parse().unwrap(),
            0.5 * 10f64.powi(-decimals) * (1.0 + 1e-9),
        )
    };
    let mut cells = shown.iter();
    for speed_m_s in &results.speeds_m_s {
        for name in results.ran() {
            let expected = crate::report::text::cell(&results, name, *speed_m_s).unwrap();
            let text = cells
                .next()
                .unwrap()
                .replace("<small>", " ")
                .replace('*', "");
            let text = text.split("</small>").next().unwrap().to_owned();
            let parts: Vec<&str> = text.split('%').collect();
            for (part, share) in [
                (parts[0], expected.cut.rate),
                (parts[1], expected.cut.lower),
                (parts[2].trim_start_matches(" to"), expected.cut.upper),
            ] {
                let (value, half_digit) = number(part);
                assert!(
                    (value - 100.0 * share).abs() <= half_digit,
                    "{text} {share}"
                );
            }
        }
    }
    assert!(cells.next().is_none());
}

/// The mark stands on the one word, so that a long origin breaks into lines; the range is beside the value.
#[test]
fn prop_what_is_assumed_is_marked_with_its_range_and_its_reason() {
    let mut results = synthetic::results();
    results.assumptions[0].origin = "assumed; others found 10 mm".into();
    results.assumptions[0].known = Known::Assumed;
    results.assumptions[0].range = Some("8 mm to 18 mm".into());
    let page = page_of(&results).replace('\u{a0}', " ");
    for text in [
        "<td class=\"text\">8 mm to 18 mm</td>",
        "<span class=\"tag\">assumed</span>; others found 10 mm</td>",
    ] {
        assert!(page.contains(text), "{text}");
    }
}

#[test]
fn prop_text_from_files_is_escaped_everywhere() {
    let mut results = synthetic::results();
    let bad = "<script>alert('x')</script>&\"";
    results.scenario.name = bad.into();
    results.scenario.description = bad.into();
    results.scenario.file = bad.into();
    results.warnings = vec![Warning::WideWander {
        sd_m: 0.3,
        likely: vec![bad.into()],
    }];
    results.assumptions[0] = Assumption {
        key: bad.into(),
        value: bad.into(),
        known: Known::Scenario,
        origin: bad.into(),
        range: Some(bad.into()),
        meaning: bad.into(),
    };
    spoil(&mut results.answers, bad);
    let pictures = study_pictures(&results, &synthetic::traces(), Units::Metric);
    let pages = [
        (page_of(&results), 10),
        (crate::report::customer::page(&results, &pictures), 3),
        (crate::report::setting_sheet::page(&results, &pictures), 3),
    ];
    for (page, least) in pages {
        assert!(!without_its_scripts(&page).contains("<script"));
        let told = page.matches("&lt;script&gt;").count();
        assert!(told >= least, "{told} of {least}");
    }
    for picture in pictures.all() {
        assert!(!picture.standalone().contains("<script"));
    }
}

/// Puts a text wherever answers hold one that a scenario or another room may have written.
fn spoil(answers: &mut Answers, bad: &str) {
    let told = || Some(Reason::NotFinite { key: bad.into() });
    for answer in &mut answers.speed {
        answer.reason = told();
    }
    for line in &mut answers.pays {
        line.reason = told();
    }
    answers.not_recommended = told();
    answers.spacing.currency = Some(bad.into());
    answers.stages.status = Status::NoData;
    answers.stages.reason = told();
}

#[test]
fn prop_the_pages_ask_nothing_of_a_network_and_run_their_own_script_alone() {
    let results = synthetic::results();
    let pictures = study_pictures(&results, &[], Units::Metric);
    for page in [
        page_of(&results),
        crate::report::customer::page(&results, &pictures),
        crate::report::setting_sheet::page(&results, &pictures),
    ] {
        let without_namespace =
            without_its_scripts(&page).replace("http://www.w3.org/2000/svg", "");
        for needle in [
            "http:",
            "https:",
            "<script",
            "<link",
            "@import",
            "url(",
            "@font-face",
            "src=",
        ] {
            assert!(!without_namespace.contains(needle), "{needle}");
        }
        assert!(page.contains("@page{size:auto"));
        assert!(page.contains("@media screen and (prefers-color-scheme:dark)"));
    }
}

#[test]
fn prop_ids_are_unique_and_every_picture_has_a_name() {
    let page = page_of(&synthetic::results());
    let ids = unique_ids(&page);
    let names: Vec<&str> = page
        .split("aria-labelledby=\"")
        .skip(1)
        .flat_map(|rest| rest.split('"').next().unwrap().split(' '))
        .collect();
    assert_eq!(names.len(), 2 * page.matches("<svg").count());
    assert!(names.iter().all(|name| ids.contains(name)));
}

#[test]
fn prop_every_element_of_the_pictures_is_closed() {
    for picture in study_pictures(&synthetic::results(), &synthetic::traces(), Units::Metric).all()
    {
        well_formed(&picture.standalone());
    }
}

/// Tags open and close in order, attributes are quoted and different, and no bare `&` or `<` stands in text (XML 1.0, 2.1).
fn well_formed(xml: &str) {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = xml
        .strip_prefix("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")
        .unwrap();
    let mut roots = 0;
    while let Some(start) = rest.find('<') {
        let text = &rest[..start];
        for entity in text.split('&').skip(1) {
            let name = entity.split(';').next().unwrap();
            assert!(
                ["amp", "lt", "gt", "quot", "apos"].contains(&name),
                "&{name}"
            );
        }
        assert!(!open.is_empty() || text.trim().is_empty());
        let end = start + rest[start..].find('>').unwrap();
        let tag = &rest[start + 1..end];
        rest = &rest[end + 1..];
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop(), Some(name));
        } else {
            let empty = tag.strip_suffix('/');
            let tag = empty.unwrap_or(tag);
            let (name, mut attributes) = tag.split_once(' ').unwrap_or((tag, ""));
            assert!(name.chars().all(|c| c.is_ascii_alphanumeric()), "{name}");
            roots += usize::from(open.is_empty());
            if empty.is_none() {
                open.push(name);
            }
            let mut seen = Vec::new();
            while let Some((key, value)) = attributes.split_once("=\"") {
                assert!(!seen.contains(&key.trim()), "{tag}");
                seen.push(key.trim());
                let (value, after) = value.split_once('"').unwrap();
                assert!(!value.contains('<'));
                attributes = after;
            }
            assert!(attributes.trim().is_empty(), "{tag}");
            // Without a class of chart.css a shape would be black on any page.
            let shape = ["path", "circle", "rect"].contains(&name);
            assert!(!shape || seen.contains(&"class"), "{tag}");
        }
    }
    assert!(open.is_empty() && roots == 1 && rest.trim().is_empty());
}

#[test]
fn prop_the_policy_lets_this_script_and_this_style_alone() {
    use base64::{Engine, prelude::BASE64_STANDARD};
    use sha2::{Digest, Sha256};
    let page = page_of(&synthetic::results());
    let style = page
        .split("<style>")
        .nth(1)
        .unwrap()
        .split("</style>")
        .next()
        .unwrap();
    for text in [style.to_owned(), crate::report::live::code()] {
        let hash = BASE64_STANDARD.encode(Sha256::digest(text));
        assert!(
            page.contains(&format!("&#39;sha256-{hash}&#39;"))
                || page.contains(&format!("'sha256-{hash}'"))
        );
    }
    assert!(page.contains("default-src"));
}

#[test]
fn prop_both_systems_of_units_have_the_same_elements() {
    for units in [Units::Metric, Units::Us] {
        for change in [
            |results: Results| results,
            synthetic::unanswered,
            synthetic::without_data,
            |mut results: Results| {
                results.answers = Answers::default();
                results.complete = false;
                results
            },
        ] {
            let mut results = change(synthetic::results());
            results.scenario.units = units;
            let page = page_of(&results);
            assert!(page.contains(&format!("data-units=\"{}\"", units.name())));
            assert!(page.matches("class=\"us\"").count() > 50);
        }
    }
}

/// What is to be seen of a page on which nothing is unfolded, in one system of units, less what its script draws and says. Of the maps the
/// script shows one.
fn farmers_part(page: &str, units: Units) -> String {
    let mut text = seen(page, units);
    text = text.split("<body>").nth(1).unwrap().to_owned();
    text = text.split("<script").next().unwrap().to_owned();
    let mut cut = |from: &str, to: &str| {
        while let Some(start) = text.find(from) {
            let end = start + text[start..].find(to).unwrap() + to.len();
            text.replace_range(start..end, " ");
        }
    };
    cut("</summary>", "</details>");
    cut("</figure><figure", "</svg>");
    cut("<title", "</title>");
    cut("<desc", "</desc>");
    cut("<", ">");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Words of statistics and control that nobody in a field would use: parts of words, and whole ones.
const NOT_A_FARMERS: [&str; 24] = [
    "deviation",
    "quantile",
    "percentile",
    "variance",
    "monte carlo",
    "median",
    "estimate",
    "interval",
    "korn",
    "jackknife",
    "saturat",
    "controller",
    "lag-comp",
    "yaw",
    "confidence",
    "logarithm",
    "interpolat",
    "lookahead",
    "clearance",
    "parameter",
    "linear",
    "stochastic",
    "at worst",
    "sha-256",
];
const NOT_HIS_WORDS: [&str; 5] = ["sd", "pid", "lag", "rms", "bode"];

/// A grower reads no more than 900 words of a page before anything is unfolded; these are what the script leaves of them.
const MOST_WORDS: usize = 900 - 70;

#[test]
fn prop_the_farmers_part_is_short_and_in_his_words() {
    for change in [
        |results: Results| results,
        synthetic::unanswered,
        synthetic::without_data,
    ] {
        let page = page_of(&change(synthetic::results()));
        for units in [Units::Metric, Units::Us] {
            let part = farmers_part(&page, units);
            let count = part
                .split(' ')
                .filter(|word| word.contains(char::is_alphanumeric))
                .count();
            assert!((200..=MOST_WORDS).contains(&count), "{count} words: {part}");
            let part = part.to_lowercase();
            for word in NOT_A_FARMERS {
                assert!(!part.contains(word), "{word}: {part}");
            }
            let words: Vec<&str> = part.split(|c: char| !c.is_alphanumeric()).collect();
            for word in NOT_HIS_WORDS {
                assert!(!words.contains(&word), "{word}: {part}");
            }
        }
    }
}

#[test]
fn prop_the_page_goes_from_film_and_answers_to_what_unfolds() {
    let page = page_of(&synthetic::results());
    let places: Vec<usize> = [
        "id=\"film\"",
        "class=\"answers\"",
        "id=\"try\"",
        "id=\"warnings\"",
        "id=\"cautions\"",
        "id=\"note-text\"",
        "id=\"speeds\"",
        "id=\"how-fast\"",
        "id=\"costs\"",
        "id=\"machine\"",
        "id=\"tools\"",
        "id=\"following\"",
        "id=\"rests-on\"",
        "id=\"method\"",
    ]
    .iter()
    .map(|id| page.find(id).unwrap_or_else(|| panic!("{id}")))
    .collect();
    assert!(places.is_sorted(), "{places:?}");
    let links = page.split("href=\"#").skip(1);
    for id in links.map(|rest| rest.split('"').next().unwrap()) {
        assert!(page.contains(&format!("id=\"{id}\"")), "{id}");
    }
}

/// What steers the frame in the answers is told in sight; that others are open changes nothing for the grower.
#[test]
fn prop_only_warnings_that_change_a_decision_are_in_sight() {
    let mut results = synthetic::results();
    results.warnings = vec![
        Warning::TyresOnRows { rows: vec![1] },
        Warning::FewPasses {
            hanging: 9,
            none: 0,
            of: 9,
        },
    ];
    let part = |results: &Results| farmers_part(&page_of(results), Units::Metric);
    let told = part(&results);
    assert!(told.contains("tyres run over or beside row 1"), "{told}");
    assert!(!told.contains("hang on few passes"), "{told}");
    let other = results.controllers[0].controller;
    assert_ne!(Some(&other), results.answers.controller.as_ref());
    for open in &mut results.undecided {
        open.controller = other;
    }
    assert!(!part(&results).contains("Not sure yet"));
    for open in &mut results.undecided {
        open.controller = results.answers.controller.unwrap();
    }
    assert!(part(&results).contains("Not sure yet"));
}
