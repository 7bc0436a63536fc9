//! `report.html`: the whole study on one page, without network, fonts or scripts. The answer comes first.

use super::display::{
    Units, chosen_percent, controller_title, difference, fixed, grouped, limit_in_words, percent,
    plants_in_words, strikes_in_words, trimmed,
};
use super::parts::{self, scroll, wide};
use super::svg::{Picture, Pictures, budget};
use super::text::{ran, sentence, setting, undecided_line};
use super::{answers, cautions, sentences};
use crate::results::answers::Status;
use crate::results::{Assumption, LoopMargins, Results, StrikeRate, Tracking};
use maud::{Markup, html};

/// The page.
pub fn page(results: &Results, pictures: &Pictures) -> String {
    let units = Units::from_name(&results.scenario.units);
    let page = Page { results, units };
    let title = format!("{} - strike rates", results.scenario.name);
    let body = html! {
        main {
            h1 { (results.scenario.name) }
            p.soft { (results.scenario.description) }
            @if !results.complete {
                p.warn { "This study was cut short. Its numbers stand for the passes that were done." }
            }
            (page.answers())
            (page.rates_now())
            (page.differences())
            (page.warnings())
            (page.pictures(pictures))
            (answers::sections(results, units, pictures))
            (page.tracking())
            (page.error_budget(pictures))
            (page.margins())
            (page.rows())
            (page.entry())
            (page.assumptions())
            (method(results, units))
            (cautions())
        }
        (page.origin())
    };
    parts::page(&title, body)
}

struct Page<'a> {
    results: &'a Results,
    units: Units,
}

impl Page<'_> {
    fn clearance(&self) -> String {
        self.units.clearance(self.results.working_clearance_m)
    }

    fn rate(&self, controller: &str) -> Option<&StrikeRate> {
        super::text::cell(self.results, controller, self.results.working_speed_m_s)
    }

    /// Three answers: for the field, for the sale, for the drawing office.
    fn answers(&self) -> Markup {
        let results = self.results;
        let (units, answer) = (self.units, &results.answer);
        let speed = units.speed_text(results.working_speed_m_s);
        let guided = answer
            .fastest
            .as_ref()
            .or(answer.fewest.as_ref())
            .map(|choice| choice.controller.as_str());
        let shown = guided.and_then(|name| self.rate(name));
        let locked = self.rate("locked").filter(|_| guided != Some("locked"));
        let tracking = guided.and_then(|name| {
            results
                .tracking
                .iter()
                .find(|row| row.controller == name && row.speed_m_s == results.working_speed_m_s)
        });
        html! {
            div.answers {
                section {
                    h2 { "In the field" }
                    (self.grower())
                    @if let Some(cell) = shown {
                        p { (strikes_in_words(cell.rate, cell.upper)) " by the " (named(&cell.controller)) " at " (speed) " with the tools "
                            (self.clearance()) " from the row"
                            @if let Some(cell) = locked { "; with the frame locked it would be " (plants_in_words(cell.rate)) }
                            "." }
                    } @else {
                        p { "No setting was simulated." }
                    }
                    p.soft { "\u{201c}At worst\u{201d} is the upper " (chosen_percent(results.level)) " limit of the simulated rate." }
                }
                section {
                    h2 { "How fast" }
                    (self.dealer())
                    @if let Some(line) = undecided_line(results, units) { p { (line) } }
                    p.soft { "A simulated speed is not a permission." }
                }
                section {
                    h2 { "At the machine" }
                    (self.engineer())
                    @if let Some(row) = tracking {
                        p { "The tools stray " (units.small_text(row.tool_error_sd_m)) " from the row, as a standard deviation, with the "
                            (named(&row.controller)) " at " (speed) ". It wants " (units.small_text(row.demand_p999_m))
                            " of shift or less to either side over 99.9 % of the way, stands at an end stop over " (percent(row.end_stop_share))
                            " of it and has the valve fully open in " (percent(row.valve_saturated_share)) " of the camera's frames." }
                    }
                }
            }
        }
    }

    /// The best spacing and what it costs.
    fn grower(&self) -> Markup {
        let (results, units) = (self.results, self.units);
        let answer = &results.answers.spacing;
        let cell = answer
            .best
            .as_ref()
            .and_then(|best| sentences::cell_of(results, best));
        html! {
            @if let (Status::Ok, Some(best)) = (answer.status, &answer.best) {
                p.big { "Least cost at " (sentences::place(best, units)) ": " (sentences::price(best.cost_per_ha, results, units)) "." }
                p {
                    @if let Some(cell) = cell {
                        (percent(cell.weeds_left_share)) " of the weeds are left; one round takes " (fixed(cell.days, 1)) " days"
                        @if !cell.in_time { ", more than soil and weather allow" }
                        ". "
                    }
                    @match &answer.best_allowed {
                        Some(allowed) if allowed == best => "That keeps the allowed strikes.",
                        Some(allowed) => { "Keeping the allowed strikes: " (sentences::place(allowed, units)) ", "
                            (sentences::price(allowed.cost_per_ha, results, units)) "." }
                        None => "No priced setting keeps the allowed strikes.",
                    }
                }
            } @else {
                (self.unanswered(answer.status, answer.reason.as_deref(), "Which spacing is best"))
            }
        }
    }

    /// The highest simulated speed, what binds and what pays.
    fn dealer(&self) -> Markup {
        let (results, units) = (self.results, self.units);
        let answer = &results.answer;
        let allowed = limit_in_words(results.allowed_rate);
        let work = sentences::speed_at_work(results);
        let refined = work.and_then(|work| Some((work, sentences::highest(work, units)?)));
        html! {
            @match (&refined, &answer.fastest) {
                (Some((work, highest)), _) => p.big { (sentences::capital(&sentences::kept(highest, work))) " the allowed " (allowed)
                    " with the tools " (self.clearance()) " from the row." },
                (None, Some(choice)) if work.is_none() => {
                    p.big { (units.speed_text(choice.speed_m_s)) " is the fastest simulated speed that keeps the allowed " (allowed) "." }
                    p { "With the tools " (self.clearance()) " from the row: " (setting(choice, units, false)) "." }
                }
                _ => {
                    p.big { "No simulated speed keeps the allowed " (allowed) " with the tools " (self.clearance()) " from the row." }
                    @if let Some(work) = work { (self.unanswered(work.status, work.reason.as_deref(), "")) }
                }
            }
            @if let Some((work, _)) = &refined {
                p { (sentences::capital(named(&work.controller).as_str()))
                    @if let (Some(rate), Some(upper)) = (work.rate, work.rate_upper) {
                        ": " (plants_in_words(rate)) " struck, at worst " (limit_in_words(upper))
                    }
                    "." }
            }
            @match refined.as_ref().and_then(|(work, _)| work.binding.as_deref()) {
                Some(binding) => p { "What limits it: " (sentence(binding)) },
                None => p { "What limits it: " (sentence(&answer.limit)) },
            }
            @if let Some(best) = sentences::gains(results).next() {
                p { "What pays most: " (best.change) ", " (sentences::gain(best, units)) "." }
            }
        }
    }

    /// Stroke, shift speed and cylinder.
    fn engineer(&self) -> Markup {
        let (results, units) = (self.results, self.units);
        let (stroke, hydraulics) = (&results.answers.stroke, &results.answers.hydraulics);
        let serving = hydraulics.combinations.iter().find(|one| one.serves);
        html! {
            @match stroke.recommended_m {
                Some(stroke_m) if stroke.status == Status::Ok => p.big { (units.clearance(stroke_m)) " of total travel is enough; the machine has "
                    (units.clearance(stroke.fitted_m)) "." },
                _ => (self.unanswered(stroke.status, stroke.reason.as_deref(), "How much travel is enough")),
            }
            @if hydraulics.status == Status::Ok {
                p { "The rows ask for " (units.shift_speed_number(hydraulics.wanted_speed_m_s)) " " (units.shift_speed_unit()) " of shift speed. "
                    @match serving {
                        Some(one) => { "The cylinder that serves with the least oil: " (sentences::cylinder_name(one, units)) "." }
                        None => "No cylinder of the series serves.",
                    } }
            }
        }
    }

    /// Why a box has no answer; after a study that was cut short what it would have told.
    fn unanswered(&self, status: Status, reason: Option<&str>, question: &str) -> Markup {
        html! {
            @if !sentences::answered(self.results) {
                @if !question.is_empty() { p { (question) ": only a complete study tells." } }
            } @else if let Some(lack) = sentences::lacking(status, reason) {
                p { (lack) }
            }
        }
    }

    /// Rates at the working clearance.
    fn rates_now(&self) -> Markup {
        html! {
            h2 { "Plants struck, tools " (self.clearance()) " from the row" }
            (self.rate_table(&self.results.strike_rates, &format!(
                "Share of plants struck by speed and controller, below it the {} limits. The shaded line is the working speed. \
                 The first {} after lowering are left out here and told below.",
                chosen_percent(self.results.level),
                self.units.distance_text(self.results.entry_length_m)
            )))
        }
    }

    fn rate_table(&self, cells: &[StrikeRate], caption: &str) -> Markup {
        let results = self.results;
        let controllers: Vec<&str> = ran(results).collect();
        let find = |controller: &str, speed_m_s: f64| {
            cells.iter().find(|cell| {
                cell.controller == controller
                    && cell.speed_m_s == speed_m_s
                    && cell.clearance_m == results.working_clearance_m
            })
        };
        let open = controllers.iter().any(|name| {
            results
                .speeds_m_s
                .iter()
                .any(|v| find(name, *v).is_some_and(|cell| !cell.resolved))
        });
        html! {
            (scroll("Strike rates", html! { (caption) }, html! {
                table {
                    thead { tr {
                        th scope="col" { "Speed, " (self.units.speed_unit()) }
                        @for name in &controllers { th scope="col" { (controller_title(name)) } }
                    } }
                    tbody { @for speed_m_s in &results.speeds_m_s {
                        tr.now[*speed_m_s == results.working_speed_m_s] {
                            th scope="row" { (self.units.speed_number(*speed_m_s)) }
                            @for name in &controllers {
                                @match find(name, *speed_m_s) {
                                    Some(cell) => (rate_cell(cell.rate, cell.lower, cell.upper, cell.resolved)),
                                    None => td {},
                                }
                            }
                        }
                    } }
                }
            }))
            @if open {
                p.soft { "* Hangs on few passes (the worst 1 % of them carry more than a quarter of the rate): not resolved. More passes would tell." }
            }
            @for note in &results.controllers {
                @if let Some(reason) = &note.left_out {
                    p.soft { "Left out: " (controller_title(&note.controller)) ", because " (sentence(reason)) }
                }
            }
        }
    }

    /// Controllers against one another at the working speed.
    fn differences(&self) -> Markup {
        let at_work = self.results.working_speed_m_s;
        let rows = || {
            let differences = self.results.differences.iter();
            differences
                .filter(move |row| row.speed_m_s == at_work && row.against_speed_m_s == at_work)
        };
        html! {
            @if rows().next().is_some() {
                h3 { "Controllers against one another at " (self.units.speed_text(at_work)) }
                (scroll("Differences between controllers", html! { "Share of plants struck by the first less that by the second, with its "
                        (chosen_percent(self.results.level)) " limits. Both meet the same ground, driver and plants, so the difference is known "
                        "better than either rate. Where both limits lie below zero, the first strikes less." }, html! {
                    table {
                        thead { tr {
                            th.text scope="col" { "Controller" }
                            th.text scope="col" { "Against" }
                            th scope="col" { "Difference" }
                            th scope="col" { "Lower limit" }
                            th scope="col" { "Upper limit" }
                        } }
                        tbody { @for row in rows() { tr {
                            th.text scope="row" { (controller_title(&row.controller)) }
                            td.text { (controller_title(&row.against)) }
                            td.rate { (difference(row.difference)) }
                            td { (difference(row.lower)) }
                            td { (difference(row.upper)) }
                        } } }
                    }
                }))
            }
        }
    }

    fn warnings(&self) -> Markup {
        html! {
            @if !self.results.warnings.is_empty() {
                h2 { "Warnings" }
                @for warning in &self.results.warnings { p.warn { (sentence(warning)) } }
            }
        }
    }

    fn pictures(&self, pictures: &Pictures) -> Markup {
        html! {
            @if !pictures.maps.is_empty() {
                h2 { "Speed against clearance" }
                (gallery(&pictures.maps))
            }
            h2 { "Clearance, speed by speed" }
            (gallery(&pictures.rates))
            @if !pictures.above.is_empty() {
                h2 { "One pass from above" }
                (gallery(&pictures.above))
                h2 { "Shift and demand" }
                @if let Some(picture) = pictures.shift.first() { p.soft { (picture.note) " " (picture.reading) } }
                @for picture in &pictures.shift { (wide(picture)) }
            }
        }
    }

    fn tracking(&self) -> Markup {
        let units = self.units;
        let unit = units.small_unit();
        html! {
            h2 { "How well the tools follow the row" }
            (scroll("Tracking", html! { "Tool error is the offset of the tools from the guided rows, left positive; its standard deviation is about the "
                        "mean over all passes and is given with its standard error. Where a limit binds, the linear value misses it: "
                        "believe the simulated one." }, html! {
                table {
                    thead { tr {
                        th scope="col" { "Speed, " (units.speed_unit()) }
                        th scope="col" { "Tool error, mean, " (unit) }
                        th scope="col" { "Tool error, sd, simulated, " (unit) }
                        th scope="col" { "sd, linear, " (unit) }
                        th.text scope="col" { "Believe" }
                        th scope="col" { "Axle wander, sd, " (unit) }
                        th scope="col" { "Wanted shift, half the way under, " (unit) }
                        th scope="col" { "95 % under, " (unit) }
                        th scope="col" { "99.9 % under, " (unit) }
                        th scope="col" { "At end stop" }
                        th scope="col" { "Valve fully open" }
                        th scope="col" { "Within " (units.clearance(0.038)) " of the row" }
                        th scope="col" { "Longest miss, " (units.distance_unit()) }
                    } }
                    @for group in self.results.tracking.chunk_by(|a, b| a.controller == b.controller) {
                        tbody {
                            (group_line(&group[0].controller, 13))
                            @for row in group { (self.tracking_row(row)) }
                        }
                    }
                }
            }))
        }
    }

    fn tracking_row(&self, row: &Tracking) -> Markup {
        let units = self.units;
        let optional = |value: Option<f64>| value.map(|m| units.small_number(m));
        html! {
            tr.now[row.speed_m_s == self.results.working_speed_m_s] {
                th scope="row" { (units.speed_number(row.speed_m_s)) }
                td { (units.small_number(row.tool_error_mean_m)) }
                td.rate { (units.small_number(row.tool_error_sd_m)) " \u{b1} " (units.small_number(row.tool_error_sd_se_m)) }
                td { @if let Some(sd) = optional(row.linear_tool_error_sd_m) { (sd) } }
                td.text { (row.believe) }
                td { (units.small_number(row.axle_wander_sd_m)) }
                td { (units.small_number(row.demand_p50_m)) }
                td { (units.small_number(row.demand_p95_m)) }
                td { (units.small_number(row.demand_p999_m)) }
                td { (percent(row.end_stop_share)) }
                td { (percent(row.valve_saturated_share)) }
                td { (percent(row.within_38mm_share)) }
                td { (fixed(units.distance(row.longest_miss_m), 1)) }
            }
        }
    }

    fn error_budget(&self, pictures: &Pictures) -> Markup {
        let results = self.results;
        let (sources, controllers) = budget::table(results);
        html! {
            @if let Some(picture) = &pictures.budget {
                h2 { "Where the error comes from" }
                p.soft { (picture.reading) }
                (wide(picture))
                (scroll("Error budget", html! { "Share of each source in the variance of the tool error at "
                            (self.units.speed_text(results.working_speed_m_s)) ", linear check." }, html! {
                    table {
                        thead { tr {
                            th.text scope="col" { "Source" }
                            @for name in &controllers { th scope="col" { (controller_title(name)) } }
                        } }
                        tbody { @for source in &sources { tr {
                            th.text scope="row" { (source) }
                            @for name in &controllers {
                                td { @if let Some(variance_m2) = budget::variance_m2(results, name, source) {
                                    (percent(variance_m2 / budget::total_m2(results, name)))
                                } }
                            }
                        } } }
                    }
                }))
            }
        }
    }

    fn margins(&self) -> Markup {
        let optional = |value: Option<f64>, decimals| value.map(|value| trimmed(value, decimals));
        html! {
            @if !self.results.loops.is_empty() {
                h2 { "Stability margins" }
                (scroll("Stability margins", html! { "Gain margin: the factor on the loop's gain at which it turns unstable; empty if none does. Modulus margin: smallest "
                            "distance from the critical point. Critical speed: above it the camera sees the row too late for its lookahead." }, html! {
                    table {
                        thead { tr {
                            th scope="col" { "Speed, " (self.units.speed_unit()) }
                            th scope="col" { "Gain margin, times" }
                            th scope="col" { "Phase margin, degrees" }
                            th scope="col" { "Modulus margin" }
                            th scope="col" { "Critical speed, " (self.units.speed_unit()) }
                        } }
                        @for group in self.results.loops.chunk_by(|a, b| a.controller == b.controller) {
                            tbody {
                                (group_line(&group[0].controller, 5))
                                @for same in group.chunk_by(same_margins) { tr {
                                    th scope="row" { (self.speed_span(same)) }
                                    td { @if let Some(text) = optional(same[0].gain_margin, 2) { (text) } }
                                    td { @if let Some(text) = optional(same[0].phase_margin_rad.map(f64::to_degrees), 0) { (text) } }
                                    td { (trimmed(same[0].modulus_margin, 2)) }
                                    td { @if let Some(v) = same[0].critical_speed_m_s { (trimmed(self.units.speed(v), 1)) } }
                                } }
                            }
                        }
                    }
                }))
            }
        }
    }

    /// "8" or "4 to 16".
    fn speed_span(&self, loops: &[LoopMargins]) -> String {
        let first = self.units.speed_number(loops[0].speed_m_s);
        match loops {
            [_] => first,
            _ => format!(
                "{first} to {}",
                self.units.speed_number(loops[loops.len() - 1].speed_m_s)
            ),
        }
    }

    fn rows(&self) -> Markup {
        let results = self.results;
        let controllers: Vec<&str> = ran(results).collect();
        let mut rows: Vec<(u32, f64)> = Vec::new();
        for row in &results.rows {
            if !rows.iter().any(|(number, _)| *number == row.row) {
                rows.push((row.row, row.offset_m));
            }
        }
        html! {
            @if !rows.is_empty() {
                h2 { "Row by row" }
                (scroll("Strike rates by row", html! { "Share of plants struck at " (self.units.speed_text(results.working_speed_m_s)) " and "
                            (self.clearance()) ", row 1 at the left." }, html! {
                    table {
                        thead { tr {
                            th scope="col" { "Row" }
                            th scope="col" { "From the centre, " (self.units.small_unit()) ", left positive" }
                            @for name in &controllers { th scope="col" { (controller_title(name)) } }
                        } }
                        tbody { @for (number, offset_m) in &rows { tr {
                            th scope="row" { (number) }
                            td { (trimmed(self.units.small(*offset_m), 1)) }
                            @for name in &controllers {
                                @match results.rows.iter().find(|row| row.row == *number && row.controller == **name) {
                                    Some(row) => (rate_cell(row.rate, row.lower, row.upper, row.resolved)),
                                    None => td {},
                                }
                            }
                        } } }
                    }
                }))
            }
        }
    }

    fn entry(&self) -> Markup {
        html! {
            @if !self.results.entry.is_empty() {
                h2 { "The entry stretch" }
                (self.rate_table(&self.results.entry, &format!(
                    "The first {} after lowering, where the frame still has to find the row: share of plants struck at {}, with {} limits.",
                    self.units.distance_text(self.results.entry_length_m),
                    self.clearance(),
                    chosen_percent(self.results.level)
                )))
            }
        }
    }

    /// Assumed values come first.
    fn assumptions(&self) -> Markup {
        let assumed = |assumption: &&Assumption| assumption.origin.starts_with("assumed");
        let all = &self.results.assumptions;
        let ordered = all
            .iter()
            .filter(assumed)
            .chain(all.iter().filter(|a| !assumed(a)));
        html! {
            h2 { "What this rests on" }
            (scroll("Assumptions", html! { "Every value of the scenario with its origin. A value marked as assumed has no source: measure it on your machine "
                        "and in your field before you lean on the result." }, html! {
                table {
                    thead { tr {
                        th.text scope="col" { "What" }
                        th.text scope="col" { "Value" }
                        th.text scope="col" { "Origin" }
                        th.text scope="col" { "Key in the scenario" }
                    } }
                    tbody { @for assumption in ordered { tr {
                        td.text { (assumption.meaning) }
                        td.text { (assumption.value) }
                        td.text { @if assumed(&assumption) { span.tag { (assumption.origin) } } @else { (assumption.origin) } }
                        td.text { code { (assumption.key) } }
                    } } }
                }
            }))
        }
    }

    /// Where the numbers come from.
    fn origin(&self) -> Markup {
        let results = self.results;
        html! {
            footer {
                p { (results.tool.name) " " (results.tool.version) ", scenario " code { (results.scenario.file) } ", seed " (results.seed) ", "
                    (grouped(results.passes)) " passes of " (self.units.distance_text(results.length_m)) " at each speed, ticks of at most "
                    (trimmed(1000.0 * results.step_s, 3)) " ms. SHA-256 of the scenario: " code { (results.scenario.sha256) } "." }
            }
        }
    }
}

/// A controller inside a sentence.
fn named(controller: &str) -> String {
    match controller {
        "locked" => "locked frame".to_owned(),
        "on_off" => "on-off valve".to_owned(),
        "lag_compensated" => "lag-compensated controller".to_owned(),
        "lag_compensated_yaw" => "lag-compensated controller with yaw rate".to_owned(),
        other => format!("{} controller", controller_title(other)),
    }
}

/// The name of a controller above its lines.
fn group_line(controller: &str, columns: usize) -> Markup {
    html! { tr { th.text.group colspan=(columns) scope="rowgroup" { (controller_title(controller)) } } }
}

/// Margins that do not change from one speed to the next share a line.
fn same_margins(a: &LoopMargins, b: &LoopMargins) -> bool {
    a.gain_margin == b.gain_margin
        && a.phase_margin_rad == b.phase_margin_rad
        && a.modulus_margin == b.modulus_margin
        && a.critical_speed_m_s == b.critical_speed_m_s
}

fn rate_cell(rate: f64, lower: f64, upper: f64, resolved: bool) -> Markup {
    html! {
        td.rate { (percent(rate)) @if !resolved { "*" } small { (percent(lower)) " to " (percent(upper)) } }
    }
}

/// Pictures beside one another; what they have in common is said once.
fn gallery(pictures: &[Picture]) -> Markup {
    html! {
        @if let Some(picture) = pictures.first() { p.soft { (picture.reading) } }
        div.pictures {
            @for picture in pictures {
                figure {
                    (picture.inline())
                    @if !picture.note.is_empty() { figcaption { (picture.note) } }
                }
            }
        }
    }
}

fn method(results: &Results, units: Units) -> Markup {
    html! {
        h2 { "How it was computed, and what it leaves out" }
        p { "A tractor with its driver, hitch, camera, controller, valve and cylinder is simulated on " (grouped(results.passes))
            " passes of " (units.distance_text(results.length_m)) " at each speed. Every pass draws everything anew: the row as planted, the driver, "
            "the ground, the camera, the settings. A rate is therefore the mean over many fields like this one, not a forecast for one field." }
        p { "A plant counts as struck when a cutting edge enters its protected radius, and as cut when the edge enters its stem. Of each pass "
            "the strikes to be expected are counted, given the path of its tools, over the scatter of the plants about their row. Limits are "
            "Korn-Graubard limits at " (chosen_percent(results.level)) " over passes: strikes come in bunches, so plants are never counted as "
            "independent. All speeds and controllers meet the same ground." }
        p { "The linear check is a second, independent computation in the frequency domain. It knows no limits of stroke, flow or valve, and no "
            "lost sight of the row." }
        p { "Left out: soil flow and soil thrown onto plants, tools that bend or ride out of the ground, leaves across the row, tyres that slip "
            "in a changing way, oil that warms during work, a driver who learns. The limits tell how sure the simulation is of its own rate; "
            "they do not cover wrong assumptions." }
    }
}

fn cautions() -> Markup {
    html! {
        h2 { "Before anybody goes near the machine" }
        ul { @for caution in cautions::STUDY { li { (caution) } } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{svg::study_pictures, synthetic};
    use crate::results::answers::Answers;

    fn page_of(results: &Results) -> String {
        page(results, &study_pictures(results, &synthetic::traces()))
    }

    #[test]
    fn prop_the_table_of_differences_is_for_the_working_speed_with_its_limits() {
        let results = synthetic::results();
        let page = page_of(&results);
        let (_, table) = page.split_once("Controllers against one another").unwrap();
        let (table, _) = table.split_once("</table>").unwrap();
        assert_eq!(results.differences.len(), 2);
        assert_eq!(table.matches("<tr>").count(), 2, "the head and one pair");
        for text in ["Lag-compensated", "PID", "-0.110 %", "-0.130 %", "-0.090 %"] {
            assert!(table.contains(text), "{text}");
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
            for name in ran(&results) {
                let expected = super::super::text::cell(&results, name, *speed_m_s).unwrap();
                let text = cells
                    .next()
                    .unwrap()
                    .replace("<small>", " ")
                    .replace('*', "");
                let text = text.split("</small>").next().unwrap().to_owned();
                let parts: Vec<&str> = text.split('%').collect();
                for (part, share) in [
                    (parts[0], expected.rate),
                    (parts[1], expected.lower),
                    (parts[2].trim_start_matches(" to"), expected.upper),
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

    #[test]
    fn prop_text_from_files_is_escaped_everywhere() {
        let mut results = synthetic::results();
        let bad = "<script>alert('x')</script>&\"";
        results.scenario.name = bad.into();
        results.scenario.description = bad.into();
        results.scenario.file = bad.into();
        results.answer.limit = bad.into();
        results.warnings = vec![bad.into()];
        results.assumptions[0] = Assumption {
            key: bad.into(),
            value: bad.into(),
            origin: bad.into(),
            meaning: bad.into(),
        };
        for share in &mut results.error_budget {
            if share.source == "camera noise" {
                share.source = bad.into();
            }
        }
        results.controllers[1].left_out = Some(bad.into());
        spoil(&mut results.answers, bad);
        let pictures = study_pictures(&results, &synthetic::traces());
        let pages = [
            (page(&results, &pictures), 40),
            (crate::report::customer::page(&results, &pictures), 4),
            (crate::report::setting_sheet::page(&results, &pictures), 4),
        ];
        for (page, least) in pages {
            assert!(!page.contains("<script"));
            assert!(page.matches("&lt;script&gt;").count() >= least);
        }
        for picture in pictures.all() {
            assert!(!picture.standalone().contains("<script"));
        }
    }

    /// Puts a text wherever answers hold one that a scenario or another room may have written.
    fn spoil(answers: &mut Answers, bad: &str) {
        answers.stroke.binding = Some(bad.into());
        for line in &mut answers.stroke.demand {
            line.place = bad.into();
        }
        let hydraulics = &mut answers.hydraulics;
        for line in hydraulics
            .combinations
            .iter_mut()
            .chain(&mut hydraulics.fitted)
        {
            line.binding = bad.into();
        }
        for line in hydraulics
            .effects
            .iter_mut()
            .chain(&mut answers.control.effect)
        {
            line.change = bad.into();
        }
        for answer in &mut answers.speed {
            answer.binding = Some(bad.into());
            for cause in &mut answer.causes {
                cause.cause = bad.into();
            }
        }
        for line in &mut answers.pays {
            line.change = bad.into();
            line.reason = Some(bad.into());
        }
        answers.spacing.currency = Some(bad.into());
        for mover in &mut answers.spacing.movers {
            mover.what = bad.into();
        }
        answers.soil.warnings = vec![bad.into()];
        answers.sheet.warnings = vec![bad.into()];
        answers.stages.status = Status::NoData;
        answers.stages.reason = Some(bad.into());
    }

    #[test]
    fn prop_the_pages_ask_nothing_of_a_network_or_a_script() {
        let results = synthetic::results();
        let pictures = study_pictures(&results, &[]);
        for page in [
            page_of(&results),
            crate::report::customer::page(&results, &pictures),
            crate::report::setting_sheet::page(&results, &pictures),
        ] {
            let without_namespace = page.replace("http://www.w3.org/2000/svg", "");
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
    fn prop_the_boxes_answer_grower_dealer_and_engineer() {
        let boxes = |results: &Results| {
            let page = page_of(results);
            let (_, rest) = page.split_once("<div class=\"answers\">").unwrap();
            rest.split_once("</div>").unwrap().0.to_owned()
        };
        let results = synthetic::results();
        let shown = boxes(&results);
        for told in [
            "Least cost at 10.5 km/h",
            "of the weeds are left",
            "7.3 km/h is the highest simulated speed",
            "What limits it: lag of camera and valve.",
            "What pays most: latency of the camera halved",
            "250 mm of total travel is enough; the machine has 200 mm.",
            "87 mm/s of shift speed",
            "bore 32 mm, rod 16 mm",
        ] {
            assert!(shown.contains(told), "{told}");
        }
        let shown = boxes(&synthetic::unanswered(results.clone()));
        assert!(shown.contains("No simulated speed keeps the allowed"));
        assert_eq!(
            shown.matches("No answer within what was simulated").count(),
            3
        );
        let mut results = results;
        results.answers = Answers::default();
        let shown = boxes(&results);
        assert!(shown.contains("6 km/h is the fastest simulated speed"));
        assert_eq!(shown.matches("only a complete study tells").count(), 2);
    }

    #[test]
    fn prop_ids_are_unique_and_every_picture_has_a_name() {
        let page = page_of(&synthetic::results());
        let mut ids: Vec<&str> = page
            .split(" id=\"")
            .skip(1)
            .map(|rest| rest.split('"').next().unwrap())
            .collect();
        let all = ids.len();
        ids.sort();
        ids.dedup();
        assert_eq!(ids.len(), all);
        assert_eq!(2 * page.matches("role=\"img\"").count(), all);
    }

    #[test]
    fn prop_every_element_of_the_pictures_is_closed() {
        for picture in study_pictures(&synthetic::results(), &synthetic::traces()).all() {
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
}
