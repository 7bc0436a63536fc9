//! Stroke, cylinder, camera and control.

use super::{difference_cell, effects, rate_cell, said};
use crate::report::both::Both;
use crate::report::display::{Units, chosen_percent, percent, trimmed};
use crate::report::parts::scroll;
use crate::report::sentences;
use crate::report::svg::{Pictures, control_loop, twin::Twin};
use crate::report::words::capital;
use crate::report::words::reasons::{cylinder_limit, slope};
use crate::results::Results;
use crate::results::answers::{Combination, Demand, Limited, Status};
use crate::results::reasons::Slope;
use maud::{Markup, html};

/// Strokes of the series and what the rows ask for.
pub fn stroke(results: &Results, both: Both) -> Markup {
    let answer = &results.answers.stroke;
    html! {
        h3 { "How much side-shift" }
        (said(both, answer.status, answer.reason.as_ref(), |units| sentences::stroke(results, units)))
        @if !answer.candidates.is_empty() {
            (scroll("Strokes", both.say(|units| format!(
                    "Total travel, half of it either way, in the standard series, at {} with the tools {} from the row, on the first {} passes of the \
                     study. The difference is to unlimited travel on the same passes; good enough is a travel whose upper limit of the difference \
                     stays below a tenth of the allowed rate. With {} limits.",
                    units.speed_text(answer.design_speed_m_s), units.clearance(answer.clearance_m), answer.passes, chosen_percent(results.level)
                )), html! {
                table {
                    thead { tr {
                        th scope="col" { (both.say(|units| format!("Travel, {}", units.small_unit()))) }
                        th scope="col" { "At an end stop" }
                        th scope="col" { "Plants cut" }
                        th scope="col" { "Difference, percentage points" }
                        th scope="col" { "Good enough" }
                    } }
                    tbody { @for line in &answer.candidates {
                        tr.now[Some(line.stroke_m) == answer.recommended_m] {
                            th scope="row" { (both.say(|units| units.small_chosen(line.stroke_m))) }
                            td { (percent(line.end_stop_share)) }
                            (rate_cell(&line.cut))
                            (difference_cell(&line.difference))
                            td { (if line.good_enough { "yes" } else { "no" }) }
                        }
                    } }
                }
            }))
        }
        @if !answer.demand.is_empty() { (demand(results, both)) }
    }
}

fn demand(results: &Results, both: Both) -> Markup {
    let small = |limited: Limited| cell(limited, both, &|m, units| units.small_number(m));
    let speed = |limited: Limited| cell(limited, both, &|v, units| units.shift_speed_number(v));
    let places = {
        let mut places: Vec<Slope> = Vec::new();
        for line in &results.answers.stroke.demand {
            if !places.contains(&line.slope) {
                places.push(line.slope);
            }
        }
        places
    };
    // On slopes the working speed will do.
    let at = |place: Slope| -> Vec<&Demand> {
        let all = Some(&place) == places.first();
        let demand = results.answers.stroke.demand.iter();
        demand
            .filter(|line| line.slope == place)
            .filter(|line| all || line.speed_m_s == results.working_speed_m_s)
            .collect()
    };
    html! {
        h4 { "What the rows ask for" }
        (scroll("Demand", html! { "Wanted shift to either side and its speed that this share of the distance stays under, with "
                (chosen_percent(results.level)) " limits. On a slope: the steepest one of the scenario held all the way, at the working speed." }, html! {
            table {
                thead { tr {
                    th scope="col" { (both.say(|units| format!("Speed, {}", units.speed_unit()))) }
                    th scope="col" { (both.say(|units| format!("Shift, 50 %, {}", units.small_unit()))) }
                    th scope="col" { "95 %" }
                    th scope="col" { "99.9 %" }
                    th scope="col" { (both.say(|units| format!("Shift speed, 95 %, {}", units.shift_speed_unit()))) }
                    th scope="col" { "99.9 %" }
                } }
                @for &place in &places { tbody {
                    tr { th.text.group colspan="6" scope="rowgroup" { (capital(slope(place))) } }
                    @for line in at(place) { tr.now[line.speed_m_s == results.working_speed_m_s] {
                        th scope="row" { (both.say(|units| units.speed_number(line.speed_m_s))) }
                        (small(line.shift_p50_m))
                        (small(line.shift_p95_m))
                        (small(line.shift_p999_m))
                        (speed(line.shift_speed_p95_m_s))
                        (speed(line.shift_speed_p999_m_s))
                    } }
                } }
            }
        }))
    }
}

fn cell(limited: Limited, both: Both, number: &dyn Fn(f64, Units) -> String) -> Markup {
    html! { td.rate {
        (both.say(|units| number(limited.value, units)))
        small { (both.say(|units| format!("{} to {}", number(limited.lower, units), number(limited.upper, units)))) }
    } }
}

/// Cylinders of the series, and what valve and oil do.
pub fn cylinder(results: &Results, both: Both) -> Markup {
    let answer = &results.answers.hydraulics;
    let any = !answer.combinations.is_empty() || answer.fitted.is_some();
    html! {
        h3 { "Cylinder, oil and valve" }
        (said(both, answer.status, answer.reason.as_ref(), |units| sentences::cylinder(results, units)))
        @if any {
            (scroll("Cylinders", html! { "Bores and rods of the standard series at the tractor's flow and pressure, smallest flow first. Flow and oil "
                    "speed are those of the wanted shift speed; the push is the weaker way's. Rod: how many times the greatest push buckles it, with the full supply "
                    "pressure on the bore, the rod fully out, pins at both ends and the barrel no stiffer than the rod; at least 3.5 is wanted. What frame, mounts "
                    "and eyes stand is the maker's to say." }, html! {
                table {
                    thead { tr {
                        th.text scope="col" { "Cylinder" }
                        th scope="col" { (both.say(|units| format!("Extends, {}", units.shift_speed_unit()))) }
                        th scope="col" { (both.say(|units| format!("Retracts, {}", units.shift_speed_unit()))) }
                        th scope="col" { (both.say(|units| format!("Push, {}", units.force_unit()))) }
                        th scope="col" { (both.say(|units| format!("Flow, {}", units.flow_unit()))) }
                        th scope="col" { (both.say(|units| format!("Oil in the hose, {}", units.oil_speed_unit()))) }
                        th scope="col" { "Rod, times" }
                        th scope="col" { "Serves" }
                        th.text scope="col" { "What binds first" }
                    } }
                    tbody {
                        @for line in &answer.combinations { (combination(line, false, both)) }
                        @if let Some(line) = &answer.fitted { (combination(line, true, both)) }
                    }
                }
            }))
        }
        @if !answer.effects.is_empty() {
            h4 { "Another valve, cold oil" }
            (scroll("Valve and oil", html! { "At the recommended setting, against the machine as it is, on the first " (results.answers.passes) " passes of the study." }, effects(&answer.effects, both)))
        }
    }
}

fn combination(line: &Combination, fitted: bool, both: Both) -> Markup {
    html! {
        tr.now[fitted] {
            th.text scope="row" { (both.say(|units| {
                let name = capital(&sentences::cylinder_name(line, units));
                if fitted { name + " (fitted)" } else { name }
            })) }
            td { (both.say(|units| units.shift_speed_number(line.extend_m_s))) }
            td { (both.say(|units| units.shift_speed_number(line.retract_m_s))) }
            td { (both.say(|units| units.force_number(line.force_n))) }
            td { (both.say(|units| units.flow_number(line.flow_m3_s))) }
            td { (both.say(|units| units.oil_speed_number(line.hose_m_s))) }
            td { @if let Some(reserve) = line.buckling_reserve { (trimmed(reserve, 1)) } }
            td { (if line.serves { "yes" } else { "no" }) }
            td.text { (cylinder_limit(line.binding)) }
        }
    }
}

/// Lookahead and the loop.
pub fn control(results: &Results, both: Both, pictures: &Pictures<Twin>) -> Markup {
    let answer = &results.answers.control;
    let margins = control_loop(results);
    html! {
        h3 { "Camera and control" }
        (said(both, answer.status, answer.reason.as_ref(), |units| sentences::control(results, units)))
        @if let Some(critical) = margins.and_then(|margins| margins.critical_speed_m_s) {
            p { (both.say(|units| format!(
                "Above {} {} the camera sees the row too late for its lookahead.", units.speed_limit(critical), units.speed_unit()
            ))) }
        }
        @if answer.status != Status::NoData {
            @if let Some(effect) = &answer.effect {
                (scroll("Best lookahead", html! { "The best lookahead against the machine's own, on the first " (results.answers.passes) " passes of the study." }, effects(std::slice::from_ref(effect), both)))
            }
            div.pictures {
                @for picture in pictures.lookahead.iter().chain(&pictures.bode) {
                    figure { (picture.inline()) figcaption { (picture.say(|picture| format!("{} {}", picture.note, picture.reading))) } }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{both::seen, synthetic};

    fn in_units(part: fn(&Results, Both) -> Markup, units: Units) -> String {
        let page = part(&synthetic::results(), Both::new(Units::Metric));
        seen(&page.into_string(), units)
    }

    #[test]
    fn prop_the_recommended_travel_is_the_marked_line() {
        let results = synthetic::results();
        let page = in_units(stroke, Units::Metric);
        let body = page.split("<tbody>").nth(1).unwrap();
        let body = body.split("</tbody>").next().unwrap();
        let (_, marked) = body.split_once("<tr class=\"now\">").unwrap();
        assert!(marked.starts_with("<th scope=\"row\">250</th>"));
        let lines = body.matches("<tr").count();
        assert_eq!(lines, results.answers.stroke.candidates.len());
        let enough = |word: &str| body.matches(&format!("<td>{word}</td>")).count();
        let good = results.answers.stroke.candidates.iter();
        let good = good.filter(|line| line.good_enough).count();
        assert_eq!((enough("yes"), enough("no")), (good, lines - good));
    }

    #[test]
    fn prop_cylinders_are_shown_in_the_scenario_units() {
        let metric = in_units(cylinder, Units::Metric);
        let us = in_units(cylinder, Units::Us);
        // 32 mm bore: 2.5e-4 m3/s / 8.042e-4 m2 = 0.3108 m/s = 12.2 in/s.
        assert!(metric.contains("<td>311</td>") && us.contains("<td>12.2</td>"));
        assert_eq!(metric.matches("(fitted)").count(), 1);
        assert!(us.contains("gal/min") && !us.contains("L/min"));
    }
}
