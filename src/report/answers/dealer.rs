//! How fast, here, and what pays.

use super::{difference_cell, said};
use crate::model::controller::Kind;
use crate::report::both::Both;
use crate::report::bounds;
use crate::report::changes;
use crate::report::display::{Units, chosen_percent, controller_title, fixed, grouped};
use crate::report::parts::scroll;
use crate::report::sentences::{self, lacking, speed_answer};
use crate::report::words::reasons::reason;
use crate::report::words::{capital, sentence};
use crate::results::Results;
use crate::results::answers::Limited;
use crate::results::answers::{Pays, SpeedAnswer, Status};
use maud::{Markup, html};

/// The highest speed for every clearance and controller, with what binds it, and the bounds of the answer one by one.
pub fn how_fast(results: &Results, both: Both) -> Markup {
    let work = speed_answer(results);
    let (status, reason) = work.map_or((Status::Ok, None), |answer| {
        (answer.status, answer.reason.as_ref())
    });
    html! {
        h3 { "How fast, clearance by clearance" }
        (said(both, status, reason, |units| sentences::speed(results, units)))
        @if !results.answers.speed.is_empty() { (speeds(results, both)) }
        @if let Some(answer) = work { (limits(answer, both)) }
        @if let Some(answer) = work.filter(|answer| !answer.causes.is_empty()) { (causes(answer, results, both)) }
    }
}

fn speeds(results: &Results, both: Both) -> Markup {
    let controllers: Vec<Kind> = results.ran().collect();
    let find = |name: Kind, clearance_m: f64| {
        results
            .answers
            .speed
            .iter()
            .find(|answer| answer.controller == name && answer.clearance_m == clearance_m)
    };
    let speed = |answer: &SpeedAnswer, units: Units| match answer.highest_speed_m_s {
        Some(v) if answer.at_least => format!("\u{2265} {}", units.speed_limit(v)),
        Some(v) => units.speed_limit(v),
        None => "none".to_owned(),
    };
    html! {
        (scroll("Highest speeds", both.say(|units| format!(
                "Highest speed in {} that keeps every limit, and the limit that is met there. Plants cut stay within the allowed {} with their upper {} \
                 limit, as at every slower speed; between simulated speeds that rests on {} passes. \u{2265}: the list of speeds ends there. The shaded \
                 line is the working clearance.",
                units.speed_unit(), chosen_percent(results.allowed_cut_rate), chosen_percent(results.level), results.passes
            )), html! {
            table {
                thead { tr {
                    th scope="col" { (both.say(|units| format!("Clearance, {}", units.small_unit()))) }
                    @for &name in &controllers { th scope="col" { (controller_title(name)) } }
                } }
                tbody { @for clearance_m in &results.clearances_m {
                    tr.now[*clearance_m == results.working_clearance_m] {
                        th scope="row" { (both.say(|units| units.small_chosen(*clearance_m))) }
                        @for &name in &controllers {
                            td.rate { @if let Some(answer) = find(name, *clearance_m) {
                                (both.say(|units| speed(answer, units)))
                                @if let Some(binding) = answer.binding { small { (bounds::name(binding)) } }
                            } }
                        }
                    }
                } }
            }
        }))
    }
}

/// The bounds of one answer.
fn limits(answer: &SpeedAnswer, both: Both) -> Markup {
    html! {
        (scroll("Limits of the speed", both.say(|units| format!(
                "What limits the speed with the tools {} from the row ({}), one by one.",
                units.clearance(answer.clearance_m), controller_title(answer.controller)
            )), html! {
            table {
                thead { tr {
                    th.text scope="col" { "Limit" }
                    th.text scope="col" { "Kept" }
                } }
                tbody { @for limit in &answer.limits {
                    tr.now[Some(limit.cause) == answer.binding] {
                        th.text scope="row" { (capital(bounds::name(limit.cause))) }
                        td.text { (both.say(|units| bounds::holds(limit, units))) }
                    }
                } }
            }
        }))
    }
}

/// What each cause costs.
fn causes(answer: &SpeedAnswer, results: &Results, both: Both) -> Markup {
    html! {
        h4 { "What is behind the plants cut" }
        (scroll("Causes of cut plants", both.say(|units| format!(
                "Each cause taken away by itself, on the same passes: {} at {} with the tools {} from the row. Below zero: fewer plants are cut without it. \
                 With {} limits.",
                controller_title(answer.controller), units.speed_text(answer.causes[0].speed_m_s), units.clearance(answer.clearance_m),
                chosen_percent(results.level)
            )), html! {
            table {
                thead { tr {
                    th.text scope="col" { "Without this" }
                    th scope="col" { "Plants cut, difference in percentage points" }
                } }
                tbody { @for cause in &answer.causes { tr {
                    th.text scope="row" { (capital(changes::why(cause.cause))) }
                    (difference_cell(&cause.difference))
                } } }
            }
        }))
    }
}

/// One thing changed at a time.
pub fn what_pays(results: &Results, both: Both) -> Markup {
    let lines = &results.answers.pays;
    let money = Money::of(results);
    html! {
        h3 { "What pays" }
        p.said { (both.say(|units| sentences::pays(results, units))) }
        @if !lines.is_empty() {
            (scroll("What pays", html! { "One thing changed at a time, best first, on the same passes, with " (chosen_percent(results.level))
                    " limits: by how much faster the machine may go at the recommended clearance, and by how much closer the tools may run at the "
                    "recommended speed, both within every limit, on " (results.answers.passes) " passes. Against: the cause that it works on. \u{2265}: the simulated range ends there."
                    @if money.earned { " Earns: the least cost of a setting that keeps every limit, without it less with it, over land and rounds." } }, html! {
                table {
                    thead { tr {
                        th.text scope="col" { "Change" }
                        th.text scope="col" { "Against" }
                        th.text scope="col" { "Controller" }
                        th scope="col" { (both.say(|units| format!("Speed gained, {}", units.speed_unit()))) }
                        th scope="col" { (both.say(|units| format!("Room gained, {}", units.small_unit()))) }
                        @if money.earned { th scope="col" { "Earns a year, " (money.currency) } }
                        @if money.priced {
                            th scope="col" { "Costs, " (money.currency) }
                            th scope="col" { "Paid after, years" }
                        }
                    } }
                    tbody { @for line in lines { (pays_line(line, both, &money)) } }
                }
            }))
        }
    }
}

/// What of money the lines tell.
struct Money<'a> {
    currency: &'a str,
    earned: bool,
    priced: bool,
}

impl Money<'_> {
    fn of(results: &Results) -> Money<'_> {
        let lines = &results.answers.pays;
        Money {
            currency: results.answers.spacing.currency.as_deref().unwrap_or(""),
            earned: lines.iter().any(|line| line.earns_a_year.is_some()),
            priced: lines.iter().any(|line| line.price.is_some()),
        }
    }
}

fn pays_line(line: &Pays, both: Both, money: &Money) -> Markup {
    let lack = |units: Units| match &line.reason {
        Some(why) => sentence(&reason(why, units)),
        None => lacking(line.status, None, units).unwrap_or_default(),
    };
    html! {
        tr {
            th.text scope="row" { (both.say(|units| capital(changes::change(line.change, units)))) }
            td.text { @if let Some(why) = line.against { (changes::why(why)) } }
            td.text { (controller_title(line.controller)) }
            @if line.status != Status::Ok {
                td.text colspan="2" { (both.say(lack)) }
            } @else {
                (gain_cell(line.speed_gain_m_s, line.at_least, both, &|v, units| units.speed_gain(v)))
                (gain_cell(line.clearance_gain_m, line.at_least, both, &|m, units| units.small_gain(m)))
            }
            @if money.earned { td { @if let Some(earned) = line.earns_a_year { (whole(earned)) } } }
            @if money.priced {
                td { @if let Some(price) = line.price { (whole(price)) } }
                td { @if let Some(years) = line.paid_after_years { (fixed(years, 1)) } }
            }
        }
    }
}

/// Money without cents.
fn whole(amount: f64) -> String {
    let digits = grouped(amount.abs().round() as u64);
    if amount <= -0.5 {
        format!("-{digits}")
    } else {
        digits
    }
}

fn gain_cell(
    gain: Option<Limited>,
    at_least: bool,
    both: Both,
    number: &dyn Fn(f64, Units) -> String,
) -> Markup {
    html! {
        td.rate {
            @if let Some(gain) = gain {
                @let least = if at_least { "\u{2265} " } else { "" };
                (both.say(|units| format!("{least}{}", number(gain.value, units))))
                small { (both.say(|units| format!("{} to {}", number(gain.lower, units), number(gain.upper, units)))) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{both::seen, synthetic};

    fn metric(part: fn(&Results, Both) -> Markup, results: &Results) -> String {
        seen(
            &part(results, Both::new(Units::Metric)).into_string(),
            Units::Metric,
        )
    }

    #[test]
    fn prop_the_table_of_speeds_shows_every_answer() {
        let results = synthetic::results();
        let page = metric(how_fast, &results);
        let body = page.split("<tbody>").nth(1).unwrap();
        let body = body.split("</tbody>").next().unwrap();
        let cells: Vec<&str> = body
            .split("<td class=\"rate\">")
            .skip(1)
            .map(|rest| rest.split('<').next().unwrap())
            .collect();
        let mut cells = cells.into_iter();
        for clearance_m in &results.clearances_m {
            for name in results.ran() {
                let answer = results
                    .answers
                    .speed
                    .iter()
                    .find(|answer| answer.controller == name && answer.clearance_m == *clearance_m)
                    .unwrap();
                let cell = cells.next().unwrap();
                match answer.highest_speed_m_s {
                    None => assert_eq!(cell, "none"),
                    Some(v) => {
                        assert_eq!(cell.starts_with('\u{2265}'), answer.at_least);
                        let shown: f64 = cell.trim_start_matches("\u{2265} ").parse().unwrap();
                        // To 0.1 km/h, downwards.
                        let off = 3.6 * v - shown;
                        assert!((-1e-6..0.1).contains(&off), "{cell} {off}");
                    }
                }
            }
        }
        assert!(cells.next().is_none());
    }

    #[test]
    fn prop_a_change_without_a_gain_says_why() {
        let results = synthetic::results();
        let page = metric(what_pays, &results);
        assert!(page.contains("would be unstable: it must be tuned anew."));
        assert!(page.contains("+2.4<small>+2.1 to +2.8</small>"));
    }
}
