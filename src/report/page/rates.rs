//! How many plants are cut: by speed, row by row, on the entry stretch, and controllers against one another.

use super::Page;
use crate::model::controller::Kind;
use crate::report::changes::change;
use crate::report::display::Units;
use crate::report::display::{chosen_percent, controller_title, percent, points, trimmed};
use crate::report::parts::scroll;
use crate::report::sentences::price;
use crate::report::words::reasons::left_out;
use crate::report::words::sentence;
use crate::results::answers::Why;
use crate::results::{Results, Share, Stretch};
use maud::{Markup, html};

impl Page<'_> {
    /// Rates at the working clearance.
    pub(super) fn rates_now(&self) -> Markup {
        html! {
            h3 { (self.both.say(|units| format!("Plants cut, tools {} from the row", self.clearance(units)))) }
            (self.rate_table(Stretch::Whole, &|units| format!(
                "Share of plants cut on the whole row of {}, by speed and controller, below it the {} limits. The shaded line is the working \
                 speed. Entry and rest are told apart below.",
                units.distance_text(self.results.row_length_m),
                chosen_percent(self.results.level)
            )))
        }
    }

    fn rate_table(&self, stretch: Stretch, caption: &dyn Fn(Units) -> String) -> Markup {
        let results = self.results;
        let controllers: Vec<Kind> = results.ran().collect();
        let find = |controller: Kind, speed_m_s: f64| {
            let clearance_m = results.working_clearance_m;
            results.rate(stretch, controller, speed_m_s, clearance_m)
        };
        let open = controllers.iter().any(|name| {
            results
                .speeds_m_s
                .iter()
                .any(|v| find(*name, *v).is_some_and(|cell| !cell.resolved))
        });
        html! {
            (scroll("Plants cut", self.both.say(caption), html! {
                table {
                    thead { tr {
                        th scope="col" { (self.both.say(|units| format!("Speed, {}", units.speed_unit()))) }
                        @for &name in &controllers { th scope="col" { (controller_title(name)) } }
                    } }
                    tbody { @for speed_m_s in &results.speeds_m_s {
                        tr.now[*speed_m_s == results.working_speed_m_s] {
                            th scope="row" { (self.both.say(|units| units.speed_number(*speed_m_s))) }
                            @for &name in &controllers {
                                @match find(name, *speed_m_s) {
                                    Some(cell) => (rate_cell(&cell.cut, cell.resolved)),
                                    None => td {},
                                }
                            }
                        }
                    } }
                }
            }))
            @if open {
                p.soft { "* Hangs on few passes (the worst 1 % of them carry more than a quarter of the rate, or it is too rare for so few passes): not resolved. More passes would tell." }
            }
            @for note in &results.controllers {
                @if let Some(reason) = &note.left_out {
                    p.soft { "Left out: " (controller_title(note.controller)) ", because " (sentence(&left_out(*reason))) }
                }
            }
        }
    }

    /// Controllers against one another at the working speed.
    pub(super) fn differences(&self) -> Markup {
        let at_work = self.results.working_speed_m_s;
        let rows = || {
            let differences = self.results.differences.iter();
            differences
                .filter(move |row| row.speed_m_s == at_work && row.against_speed_m_s == at_work)
        };
        html! {
            @if rows().next().is_some() {
                h4 { (self.both.say(|units| format!("Controllers against one another at {}", units.speed_text(at_work)))) }
                (scroll("Differences between controllers", html! { "Share of plants cut by the first less that by the second, on whole rows, in percentage points (one point is 1 plant in 100), with its "
                        (chosen_percent(self.results.level)) " limits. Both meet the same ground, driver and plants, so the difference is known "
                        "better than either rate. Where both limits lie below zero, the first cuts fewer." }, html! {
                    table {
                        thead { tr {
                            th.text scope="col" { "Controller" }
                            th.text scope="col" { "Against" }
                            th scope="col" { "Difference, points" }
                            th scope="col" { "Lower limit" }
                            th scope="col" { "Upper limit" }
                        } }
                        tbody { @for row in rows() { tr {
                            th.text scope="row" { (controller_title(row.controller)) }
                            td.text { (controller_title(row.against)) }
                            @let [apart, lower, upper] = points(row.difference, row.lower, row.upper);
                            td.rate { (apart) }
                            td { (lower) }
                            td { (upper) }
                        } } }
                    }
                }))
            }
        }
    }

    /// Rates row by row.
    pub(super) fn rows(&self) -> Markup {
        let results = self.results;
        let controllers: Vec<Kind> = results.ran().collect();
        let mut rows: Vec<(u32, f64)> = Vec::new();
        for row in &results.rows {
            if !rows.iter().any(|(number, _)| *number == row.row) {
                rows.push((row.row, row.offset_m));
            }
        }
        html! {
            @if !rows.is_empty() {
                h3 { "Row by row" }
                (scroll("Plants cut by row", self.both.say(|units| format!(
                    "Share of plants cut on whole rows at {} and {}, row 1 at the left.",
                    units.speed_text(results.working_speed_m_s), self.clearance(units)
                )), html! {
                    table {
                        thead { tr {
                            th scope="col" { "Row" }
                            th scope="col" { (self.both.say(|units| format!("From the centre, {}, left positive", units.small_unit()))) }
                            @for &name in &controllers { th scope="col" { (controller_title(name)) } }
                        } }
                        tbody { @for (number, offset_m) in &rows { tr {
                            th scope="row" { (number) }
                            td { (self.both.say(|units| trimmed(units.small(*offset_m), 1))) }
                            @for &name in &controllers {
                                @match results.rows.iter().find(|row| row.row == *number && row.controller == name) {
                                    Some(row) => (rate_cell(&row.cut, row.resolved)),
                                    None => td {},
                                }
                            }
                        } } }
                    }
                }))
            }
        }
    }

    /// Rates of the entry stretch and of the rest.
    pub(super) fn entry(&self) -> Markup {
        let told = |words: &str, units: Units| {
            format!(
                "{words}: share of plants cut at {}, with {} limits.",
                self.clearance(units),
                chosen_percent(self.results.level)
            )
        };
        let entry = |units: Units| units.distance_text(self.results.entry_length_m);
        html! {
            @if self.results.entry_length_m > 0.0 {
                h3 { "The entry stretch, and what comes after it" }
                @if entry_costs(self.results, self.both.own()).is_some() {
                    p.said { (self.both.say(|units| entry_costs(self.results, units).unwrap_or_default())) }
                }
                (self.rate_table(Stretch::Entry, &|units| told(&format!(
                    "The first {} after lowering, where the frame still has to find the row", entry(units)
                ), units)))
                (self.rate_table(Stretch::Rest, &|units| told(&format!("What comes after the first {}", entry(units)), units)))
            }
        }
    }
}

/// What the entry stretch takes of the plants that the recommended setting cuts, and what it costs; what helps stands in "what pays".
pub(crate) fn entry_costs(results: &Results, units: Units) -> Option<String> {
    let setting = results.answers.recommended.as_ref()?;
    let of_row = results.entry_length_m / results.row_length_m;
    // Shares are over whole rows; a row shorter than the entry stretch is all entry.
    let lost = of_row.min(1.0) * setting.cut_entry.rate;
    if setting.cut.rate <= 0.0 {
        return None;
    }
    let mut told = format!(
        "The first {} are {} of the row, and take {} of the plants that the recommended setting cuts",
        units.distance_text(results.entry_length_m),
        percent(of_row.min(1.0)),
        percent((lost / setting.cut.rate).min(1.0))
    );
    if let Some(plants) = &results.answers.spacing.plants {
        let cost = price(lost * plants.value_per_ha, results, units);
        told += &format!(": {cost} each round");
    }
    let helps = results.answers.pays.iter().filter(|line| {
        line.against == Some(Why::Entry)
            && line.clearance_gain_m.is_some_and(|gain| gain.lower > 0.0)
    });
    let helps: Vec<&str> = helps.map(|line| change(line.change, units)).collect();
    if !helps.is_empty() {
        told += &format!(". What helps: {}", helps.join("; "));
    }
    Some(told + ".")
}

fn rate_cell(share: &Share, resolved: bool) -> Markup {
    html! {
        td.rate { (percent(share.rate)) @if !resolved { "*" } small { (percent(share.lower)) " to " (percent(share.upper)) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    /// Own arithmetic: 15 m of 200 m are 7.5 %; of them 4 % are cut, 0.3 % of all plants, of the 0.71 % that are cut 42 %; of plants for
    /// 4000 crowns a hectare they take 12.
    #[test]
    fn analytic_what_the_entry_takes() {
        let mut results = synthetic::results();
        let told = entry_costs(&results, Units::Metric).unwrap();
        assert_eq!(
            told,
            "The first 15 m are 7.5 % of the row, and take 42 % of the plants that the recommended setting cuts: 12.0 crowns a hectare each round."
        );
        results.answers.recommended = None;
        assert_eq!(entry_costs(&results, Units::Metric), None);
    }
}
