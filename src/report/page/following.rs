//! How well the tools follow the row, where the error comes from, and how far the loops are from trouble.

use super::Page;
use crate::model::controller::Kind;
use crate::montecarlo::tally::TRADE_ROOM_M;
use crate::report::display::{controller_title, fixed, percent, trimmed};
use crate::report::parts::{scroll, wide};
use crate::report::svg::{Pictures, budget};
use crate::results::{LoopMargins, Tracking};
use maud::{Markup, html};

impl Page<'_> {
    /// Tool error, wander, demand and stops.
    pub(super) fn tracking(&self) -> Markup {
        let units = self.units;
        let unit = units.small_unit();
        html! {
            h2 { "How well the tools follow the row" }
            (scroll("Tracking", html! { "Tool error is the offset of the tools from the guided rows, left positive; its standard deviation is about the "
                        "mean over all passes and is given with its standard error. Where a limit binds, the linear value misses it: "
                        "believe the simulated one. Within " (units.clearance(TRADE_ROOM_M)) " is the trade's yardstick for guided machines (common practice, no source), "
                        "whatever the tools are set to; the longest miss is the longest stretch beyond it." }, html! {
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
                        th scope="col" { "Within " (units.clearance(TRADE_ROOM_M)) " of the row" }
                        th scope="col" { "Longest miss, " (units.distance_unit()) }
                    } }
                    @for group in self.results.tracking.chunk_by(|a, b| a.controller == b.controller) {
                        tbody {
                            (group_line(group[0].controller, 13))
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
                td.rate { (units.small_uncertain(row.tool_error_sd_m, row.tool_error_sd_se_m)) }
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

    /// Sources of the error by the linear check.
    pub(super) fn error_budget(&self, pictures: &Pictures) -> Markup {
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
                            @for &name in &controllers { th scope="col" { (controller_title(name)) } }
                        } }
                        tbody { @for source in &sources { tr {
                            th.text scope="row" { (source) }
                            @for &name in &controllers {
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

    /// Margins of the loops.
    pub(super) fn margins(&self) -> Markup {
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
                                (group_line(group[0].controller, 5))
                                @for same in group.chunk_by(same_margins) { tr {
                                    th scope="row" { (self.speed_span(same)) }
                                    td { @if let Some(text) = optional(same[0].gain_margin, 2) { (text) } }
                                    td { @if let Some(text) = optional(same[0].phase_margin_rad.map(f64::to_degrees), 0) { (text) } }
                                    td { (trimmed(same[0].modulus_margin, 2)) }
                                    td { @if let Some(v) = same[0].critical_speed_m_s { (self.units.speed_limit(v)) } }
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
}

/// The name of a controller above its lines.
fn group_line(controller: Kind, columns: usize) -> Markup {
    html! { tr { th.text.group colspan=(columns) scope="rowgroup" { (controller_title(controller)) } } }
}

/// Margins that do not change from one speed to the next share a line.
fn same_margins(a: &LoopMargins, b: &LoopMargins) -> bool {
    a.gain_margin == b.gain_margin
        && a.phase_margin_rad == b.phase_margin_rad
        && a.modulus_margin == b.modulus_margin
        && a.critical_speed_m_s == b.critical_speed_m_s
}
