//! The answer on a terminal: plain words first, at most 100 columns, no colour.

use super::display::{
    Units, chosen_percent, controller_title, grouped, limit_in_words, percent, plants_in_words,
};
use super::sentences;
use super::three_answers::three;
use crate::model::controller::Kind;
use crate::report::words::{farms, reasons::left_out, warnings};
use crate::results::{Choice, Rate, Results, Stretch};

pub(super) const WIDTH: usize = 100;

/// What the study found, in plain language, in the order of the page; then the shares of plants cut at the working clearance.
pub fn answer_text(results: &Results) -> String {
    let units = results.scenario.units;
    let mut out = String::new();
    let mut paragraph = |text: &str| out.push_str(&wrapped(text, WIDTH));

    paragraph(&results.scenario.name);
    if !results.complete {
        paragraph("This study was cut short: the numbers stand for the passes that were done.");
    }
    for said in three(results, units) {
        paragraph("");
        paragraph(&format!("{}: {}", said.heading, said.lead));
        for more in &said.more {
            paragraph(more);
        }
    }
    let of_farms = farms::further(results, units).join(" ");
    if !of_farms.is_empty() {
        paragraph("");
        paragraph(&format!("Farms like this one: {of_farms}"));
    }
    for line in further_lines(results, units) {
        paragraph("");
        paragraph(&line);
    }
    paragraph("");
    paragraph(&format!(
        "Plants cut in % on the whole row with the tools {} from it, and in brackets the upper {} limit:",
        units.clearance(results.working_clearance_m),
        chosen_percent(results.level),
    ));
    paragraph("");
    out.push_str(&rate_table(results, units));

    let mut paragraph = |text: &str| out.push_str(&wrapped(text, WIDTH));
    for note in &results.controllers {
        if let Some(reason) = &note.left_out {
            paragraph(&format!(
                "Left out: {}, because {}.",
                controller_title(note.controller),
                left_out(*reason)
            ));
        }
    }
    if !results.warnings.is_empty() {
        paragraph("");
        for warning in warnings::of_study(results, units) {
            paragraph(&format!("Warning: {warning}"));
        }
    }
    paragraph("");
    paragraph(&format!(
        "Seed {}, {} passes of {} at each speed. A simulated speed is not a permission: makers' manuals, \
         local rules and what you see in the field come first.",
        results.seed,
        grouped(results.passes),
        units.distance_text(results.length_m),
    ));
    out
}

/// What is open, and the setting that is kindest to the plants.
fn further_lines(results: &Results, units: Units) -> Vec<String> {
    let cut_short = (!sentences::answered(results)).then(|| sentences::NOT_COMPLETE.to_owned());
    let fewest = results.answer.fewest.as_ref().map(|choice| {
        format!(
            "Fewest plants cut of all simulated settings: {}.",
            setting(choice, units)
        )
    });
    cut_short
        .into_iter()
        .chain(undecided_line(results, units))
        .chain(fewest)
        .collect()
}

/// Which settings are not decided and what that would take.
pub fn undecided_line(results: &Results, units: Units) -> Option<String> {
    let most = results
        .undecided
        .iter()
        .map(|open| open.passes_needed)
        .max()?;
    let by_controller: Vec<String> = results
        .undecided
        .chunk_by(|a, b| a.controller == b.controller)
        .map(|open| {
            let speeds: Vec<String> = open
                .iter()
                .map(|open| units.speed_number(open.speed_m_s))
                .collect();
            format!(
                "{} at {}",
                controller_title(open[0].controller),
                speeds.join(", ")
            )
        })
        .collect();
    Some(format!(
        "Not decided yet is whether the allowed rate is kept by: {} {}. About {} passes would tell (--passes).",
        by_controller.join("; "),
        units.speed_unit(),
        grouped(most)
    ))
}

/// A setting and how many plants it cuts, in words.
fn setting(choice: &Choice, units: Units) -> String {
    format!(
        "{} at {} and {}, {} cut, at most {} by these passes",
        controller_title(choice.controller),
        units.speed_text(choice.speed_m_s),
        units.clearance(choice.clearance_m),
        plants_in_words(choice.cut.rate),
        limit_in_words(choice.cut.upper)
    )
}

fn rate_table(results: &Results, units: Units) -> String {
    let controllers: Vec<Kind> = results.ran().collect();
    let mut rows = vec![
        std::iter::once(units.speed_unit().to_owned())
            .chain(
                controllers
                    .iter()
                    .map(|name| controller_title(*name).to_owned()),
            )
            .collect::<Vec<_>>(),
    ];
    let mut unresolved = false;
    for speed_m_s in &results.speeds_m_s {
        let mut row = vec![units.speed_number(*speed_m_s)];
        for &controller in &controllers {
            row.push(match cell(results, controller, *speed_m_s) {
                Some(cell) => {
                    unresolved |= !cell.resolved;
                    let mark = if cell.resolved { " " } else { "*" };
                    format!("{} ({}){mark}", bare(cell.cut.rate), bare(cell.cut.upper))
                }
                None => String::new(),
            });
        }
        rows.push(row);
    }
    let mut out = aligned(&rows);
    if unresolved {
        out.push_str(&wrapped(
            "* hangs on few passes (the worst 1 % carry over a quarter of it, or it is too rare for so few): not resolved, more passes would tell.",
            WIDTH,
        ));
    }
    out
}

/// A share in percent without the sign.
pub(super) fn bare(share: f64) -> String {
    percent(share).trim_end_matches(" %").to_owned()
}

/// The rate at the working clearance, on the whole row.
pub fn cell(results: &Results, controller: Kind, speed_m_s: f64) -> Option<&Rate> {
    let clearance_m = results.working_clearance_m;
    results.rate(Stretch::Whole, controller, speed_m_s, clearance_m)
}

/// Right-aligned columns.
pub(super) fn aligned(rows: &[Vec<String>]) -> String {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns)
        .map(|column| {
            rows.iter()
                .filter_map(|row| row.get(column))
                .map(|text| text.chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    let mut out = String::new();
    for row in rows {
        let line: Vec<String> = row
            .iter()
            .zip(&widths)
            .map(|(text, width)| format!("{text:>width$}"))
            .collect();
        out.push_str(line.join("  ").trim_end());
        out.push('\n');
    }
    out
}

/// A paragraph broken at spaces; a word longer than the width stays whole.
pub(super) fn wrapped(text: &str, width: usize) -> String {
    let mut out = String::new();
    let mut column = 0;
    // The groups of a number stay on one line.
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let is_group = word.len() >= 3 && word.bytes().take(3).all(|byte| byte.is_ascii_digit());
        match words.last_mut() {
            Some(last) if is_group && last.ends_with(|c: char| c.is_ascii_digit()) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.into()),
        }
    }
    for word in &words {
        let length = word.chars().count();
        if column > 0 && column + 1 + length > width {
            out.push('\n');
            column = 0;
        }
        if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_the_answer_fits_a_terminal() {
        let text = answer_text(&synthetic::results());
        for line in text.lines() {
            assert!(line.chars().count() <= WIDTH, "{line}");
            assert!(line.is_ascii(), "{line}");
        }
    }

    /// Characters of two, three and four bytes around the place where a number's group would end.
    #[test]
    fn regress_words_of_any_script_are_wrapped() {
        for word in ["Grüne", "Près", "Grønkål", "Поле", "12€", "畑の", "🌱🌱"] {
            assert_eq!(wrapped(word, WIDTH), format!("{word}\n"));
            let mut results = synthetic::results();
            results.scenario.name = format!("{word} {word} 5");
            assert!(answer_text(&results).contains(word));
        }
        assert_eq!(wrapped("18 000 1é0", 6), "18 000\n1é0\n");
    }

    #[test]
    fn prop_the_table_shows_the_rates_of_the_results() {
        let results = synthetic::results();
        let units = Units::Metric;
        let text = answer_text(&results);
        let lines: Vec<&str> = text.lines().collect();
        let header = lines
            .iter()
            .position(|line| line.trim_start().starts_with("km/h"))
            .unwrap();
        for (i, speed_m_s) in results.speeds_m_s.iter().enumerate() {
            let words: Vec<&str> = lines[header + 1 + i].split_whitespace().collect();
            assert_eq!(words[0], units.speed_number(*speed_m_s));
            for (column, controller) in results.ran().enumerate() {
                let shown = words[1 + 2 * column];
                let decimals = shown.split('.').nth(1).map_or(0, str::len) as i32;
                let rate = 100.0 * cell(&results, controller, *speed_m_s).unwrap().cut.rate;
                // Half of the last shown digit, with room for the rounding of the decimal text itself.
                let half_digit = 0.5 * 10f64.powi(-decimals) * (1.0 + 1e-9);
                assert!((shown.parse::<f64>().unwrap() - rate).abs() <= half_digit);
            }
        }
    }

    #[test]
    fn prop_the_answers_come_first_in_the_order_of_the_page() {
        let results = synthetic::results();
        for results in [
            results.clone(),
            synthetic::unanswered(results.clone()),
            synthetic::without_data(results),
        ] {
            let text = answer_text(&results);
            let answers = text.split("Fewest plants cut").next().unwrap();
            assert!(answers.lines().count() <= 36, "{answers}");
            let places: Vec<usize> = three(&results, Units::Metric)
                .iter()
                .map(|said| text.find(&format!("\n{}: ", said.heading)).unwrap())
                .collect();
            assert!(places.is_sorted(), "{text}");
        }
    }

    #[test]
    fn prop_a_study_cut_short_says_that_answers_need_a_complete_one() {
        let mut results = synthetic::results();
        results.answers = Default::default();
        let lines = further_lines(&results, Units::Metric);
        assert_eq!(lines[0], sentences::NOT_COMPLETE);
    }

    #[test]
    fn prop_nothing_is_promised_where_no_speed_keeps_the_allowed_rate() {
        let mut results = synthetic::results();
        results.answer.fastest = None;
        results.answers = Default::default();
        results.complete = false;
        let text = answer_text(&results);
        assert!(text.contains("No simulated speed keeps the allowed 1 in 100 of plants cut"));
        assert!(text.contains("cut short"));
    }
}
