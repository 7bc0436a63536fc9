//! How well the tools follow the row, where the error comes from, and how far the loops are from trouble.

use super::Page;
use crate::montecarlo::tally::TRADE_ROOM_M;
use crate::report::display::{Units, controller_title, fixed, percent, trimmed};
use crate::report::parts::{scroll, wide_twin};
use crate::report::svg::{Pictures, budget, twin::Twin};
use crate::results::{LoopMargins, Tracking};
use maud::{Markup, html};

impl Page<'_> {
    /// Tool error, wander, demand and stops.
    pub(super) fn tracking(&self) -> Markup {
        let both = self.both;
        let small = |name: &str| both.say(|units| format!("{name}, {}", units.small_unit()));
        html! {
            h2 { "How well the tools follow the row" }
            (scroll("Tracking", both.say(|units| format!(
                "Tool error is the offset of the tools from the guided rows, left positive; its standard deviation is about the mean over all passes and \
                 is given with its standard error. Where a limit binds, the linear value misses it: believe the simulated one. Within {} is the \
                 trade's yardstick for guided machines (common practice, no source), whatever the tools are set to; the longest miss is the longest \
                 stretch beyond it.",
                units.clearance(TRADE_ROOM_M)
            )), html! {
                table {
                    thead { tr {
                        th scope="col" { (both.say(|units| format!("Speed, {}", units.speed_unit()))) }
                        th scope="col" { (small("Tool error, mean")) }
                        th scope="col" { (small("Tool error, sd, simulated")) }
                        th scope="col" { (small("sd, linear")) }
                        th.text scope="col" { "Believe" }
                        th scope="col" { (small("Axle wander, sd")) }
                        th scope="col" { (small("Wanted shift, half the way under")) }
                        th scope="col" { (small("95 % under")) }
                        th scope="col" { (small("99.9 % under")) }
                        th scope="col" { "At end stop" }
                        th scope="col" { "Valve fully open" }
                        th scope="col" { (both.say(|units| format!("Within {} of the row", units.clearance(TRADE_ROOM_M)))) }
                        th scope="col" { (both.say(|units| format!("Longest miss, {}", units.distance_unit()))) }
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
        let both = self.both;
        let small = |length_m: f64| both.say(|units| units.small_number(length_m));
        html! {
            tr.now[row.speed_m_s == self.results.working_speed_m_s] {
                th scope="row" { (both.say(|units| units.speed_number(row.speed_m_s))) }
                td { (small(row.tool_error_mean_m)) }
                td.rate { (both.say(|units| units.small_uncertain(row.tool_error_sd_m, row.tool_error_sd_se_m))) }
                td { @if let Some(sd_m) = row.linear_tool_error_sd_m { (small(sd_m)) } }
                td.text { (both.stored(&row.believe)) }
                td { (small(row.axle_wander_sd_m)) }
                td { (small(row.demand_p50_m)) }
                td { (small(row.demand_p95_m)) }
                td { (small(row.demand_p999_m)) }
                td { (percent(row.end_stop_share)) }
                td { (percent(row.valve_saturated_share)) }
                td { (percent(row.within_38mm_share)) }
                td { (both.say(|units| fixed(units.distance(row.longest_miss_m), 1))) }
            }
        }
    }

    /// Sources of the error by the linear check.
    pub(super) fn error_budget(&self, pictures: &Pictures<Twin>) -> Markup {
        let results = self.results;
        let (sources, controllers) = budget::table(results);
        html! {
            @if let Some(picture) = &pictures.budget {
                h2 { "Where the error comes from" }
                p.soft { (picture.reading()) }
                (wide_twin(picture))
                (scroll("Error budget", self.both.say(|units| format!(
                    "Share of each source in the variance of the tool error at {}, linear check.",
                    units.speed_text(results.working_speed_m_s)
                )), html! {
                    table {
                        thead { tr {
                            th.text scope="col" { "Source" }
                            @for name in &controllers { th scope="col" { (controller_title(name)) } }
                        } }
                        tbody { @for source in &sources { tr {
                            th.text scope="row" { (self.both.stored(source)) }
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
                            th scope="col" { (self.both.say(|units| format!("Speed, {}", units.speed_unit()))) }
                            th scope="col" { "Gain margin, times" }
                            th scope="col" { "Phase margin, degrees" }
                            th scope="col" { "Modulus margin" }
                            th scope="col" { (self.both.say(|units| format!("Critical speed, {}", units.speed_unit()))) }
                        } }
                        @for group in self.results.loops.chunk_by(|a, b| a.controller == b.controller) {
                            tbody {
                                (group_line(&group[0].controller, 5))
                                @for same in group.chunk_by(same_margins) { tr {
                                    th scope="row" { (self.both.say(|units| speed_span(same, units))) }
                                    td { @if let Some(text) = optional(same[0].gain_margin, 2) { (text) } }
                                    td { @if let Some(text) = optional(same[0].phase_margin_rad.map(f64::to_degrees), 0) { (text) } }
                                    td { (trimmed(same[0].modulus_margin, 2)) }
                                    td { @if let Some(v) = same[0].critical_speed_m_s { (self.both.say(|units| units.speed_limit(v))) } }
                                } }
                            }
                        }
                    }
                }))
            }
        }
    }
}

/// "8" or "4 to 16".
fn speed_span(loops: &[LoopMargins], units: Units) -> String {
    let first = units.speed_number(loops[0].speed_m_s);
    match loops {
        [_] => first,
        _ => format!(
            "{first} to {}",
            units.speed_number(loops[loops.len() - 1].speed_m_s)
        ),
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
