//! Sweep spacing against speed, stages of growth, thrown soil.

use super::said;
use crate::report::both::Both;
use crate::report::display::{
    Units, chosen_percent, fixed, grouped, money, percent, plants_apart, points, trimmed,
};
use crate::report::parts::scroll;
use crate::report::sentences::{self, cell_of, place, price};
use crate::report::words::{capital, sentence};
use crate::report::words::{reasons::farm_number, warnings};
use crate::results::Results;
use crate::results::answers::{BestSetting, Mover, SpacingAnswer, SpacingCell, Status};
use maud::{Markup, html};

/// Costs over speed and clearance, and what would move the best setting.
pub fn spacing(results: &Results, both: Both) -> Markup {
    let answer = &results.answers.spacing;
    html! {
        h3 { "Sweep spacing against speed" }
        (said(both, answer.status, answer.reason.as_ref(), |units| sentences::spacing(results, units)))
        @if answer.status == Status::Ok {
            @if !answer.cells.is_empty() {
                (settings(results, both))
                (costs(results, both))
            }
            (movers(results, both))
            (night(answer))
        }
    }
}

/// The working setting beside the best ones.
fn settings(results: &Results, both: Both) -> Markup {
    let answer = &results.answers.spacing;
    let working = BestSetting {
        speed_m_s: results.working_speed_m_s,
        clearance_m: results.working_clearance_m,
        cost_per_ha: 0.0,
    };
    let simulated = |setting: &BestSetting| cell_of(results, setting);
    let named = [
        ("As worked now", simulated(&working)),
        ("Recommended", answer.recommended.as_ref()),
        (
            "Least simulated cost",
            answer.cheapest.as_ref().and_then(simulated),
        ),
    ];
    let columns: Vec<(&str, &SpacingCell)> = named
        .into_iter()
        .filter_map(|(name, cell)| Some((name, cell?)))
        .collect();
    let currency = answer.currency.as_deref().unwrap_or("");
    let cost = |per_ha: f64, units: Units| money(units.per_land(per_ha));
    let line = |name: &dyn Fn(Units) -> String, text: &dyn Fn(&SpacingCell, Units) -> String| {
        html! { tr {
            th.text scope="row" { (both.say(name)) }
            @for (_, cell) in &columns { td { (both.say(|units| text(cell, units))) } }
        } }
    };
    let named = |name: &'static str| move |_: Units| name.to_owned();
    html! {
        (scroll("Settings compared", html! { "For one round over the land; money in " (currency) ", from the scenario's prices." }, html! {
            table {
                thead { tr {
                    th.text scope="col" { "Setting" }
                    @for (name, _) in &columns { th scope="col" { (name) } }
                } }
                tbody {
                    (line(&|units| format!("Speed, {}", units.speed_unit()), &|cell, units| units.speed_number(cell.speed_m_s)))
                    (line(&|units| format!("Tools from the row, {}", units.small_unit()), &|cell, units| units.small_chosen(cell.clearance_m)))
                    tr.now {
                        th.text scope="row" { (both.say(|units| format!("Cost, {currency} per {}, with the limits of the plants lost", units.land_unit()))) }
                        @for (_, cell) in &columns { td.rate {
                            (both.say(|units| cost(cell.cost_per_ha, units)))
                            small { (both.say(|units| format!("{} to {}", cost(cell.cost_lower, units), cost(cell.cost_upper, units)))) }
                        } }
                    }
                    (line(&named("of which machine"), &|cell, units| cost(cell.machine_per_ha, units)))
                    (line(&named("weeding by hand"), &|cell, units| cost(cell.weeding_per_ha, units)))
                    (line(&named("lost plants"), &|cell, units| cost(cell.plants_per_ha, units)))
                    (line(&|units| format!("Weeding by hand, hours per {}", units.land_unit()), &|cell, units| fixed(units.per_land(cell.weeding_h_per_ha), 1)))
                    (line(&named("Ground not worked"), &|cell, _| percent(cell.unworked_share)))
                    (line(&named("Weeds left, of the whole field"), &|cell, _| percent(cell.weeds_left_share)))
                    (line(&named("Plants lost"), &|cell, _| percent(cell.plants_lost_share)))
                    (line(&|units| format!("{}s an hour", capital(units.land_unit())), &|cell, units| fixed(units.land(cell.hectares_per_hour), 2)))
                    (line(&named("Days for the land"), &|cell, _| fixed(cell.days, 1)))
                    (line(&named("Days enough"), &|cell, _| if cell.in_time { "yes" } else { "no" }.into()))
                }
            }
        }))
        @if let Some(by_hand) = answer.by_hand_per_ha {
            p { (both.say(|units| format!("Weeding by hand alone would cost {} each round.", price(by_hand, results, units)))) }
        }
    }
}

/// The cost of every setting.
fn costs(results: &Results, both: Both) -> Markup {
    let answer = &results.answers.spacing;
    let cell = |speed_m_s: f64, clearance_m: f64| {
        answer
            .cells
            .iter()
            .find(|cell| cell.speed_m_s == speed_m_s && cell.clearance_m == clearance_m)
    };
    let best = |cell: &SpacingCell| {
        answer.cheapest_kept.as_ref().is_some_and(|best| {
            best.speed_m_s == cell.speed_m_s && best.clearance_m == cell.clearance_m
        })
    };
    html! {
        (scroll("Cost by speed and clearance", both.say(|units| format!(
                "Cost in {} per {} for each round: speed across in {}, clearance down in {}. Framed: the least of these that keeps every limit. \
                 Shaded: within 5 % of it. In brackets: breaks a limit (plants cut, soil, power, oil, sight or days). With a cross: the days do not \
                 suffice.",
                answer.currency.as_deref().unwrap_or(""), units.land_unit(), units.speed_unit(), units.small_unit()
            )), html! {
            table.costs {
                thead { tr {
                    th scope="col" { "" }
                    @for v in &results.speeds_m_s { th scope="col" { (both.say(|units| units.speed_number(*v))) } }
                } }
                tbody { @for clearance_m in &results.clearances_m { tr {
                    th scope="row" { (both.say(|units| units.small_chosen(*clearance_m))) }
                    @for v in &results.speeds_m_s {
                        @match cell(*v, *clearance_m) {
                            Some(cell) => td.near[cell.near_best].best[best(cell)] {
                                (both.say(|units| cost(cell, units)))
                            }
                            None => td {},
                        }
                    }
                } } }
            }
        }))
    }
}

/// The cost with its marks.
fn cost(cell: &SpacingCell, units: Units) -> String {
    let cost = money(units.per_land(cell.cost_per_ha));
    let late = if cell.in_time { "" } else { " \u{d7}" };
    if cell.breaks.is_empty() {
        cost + late
    } else {
        format!("({cost}){late}")
    }
}

/// What would move the best setting.
fn movers(results: &Results, both: Both) -> Markup {
    let movers = &results.answers.spacing.movers;
    let line = |mover: &Mover| format!("{} {}", farm_number(mover.what), trimmed(mover.set_to, 4));
    let (moving, still): (Vec<&Mover>, Vec<&Mover>) = movers.iter().partition(|mover| mover.moves);
    html! {
        @if !movers.is_empty() {
            h4 { "Which price would move it" }
            @if moving.is_empty() {
                p { "None within its range." }
            } @else {
                ul { @for mover in moving {
                    li { (both.say(|units| format!(
                        "{}: then least cost at {}, {}.",
                        capital(&line(mover)), place(&mover.best, units), price(mover.best.cost_per_ha, results, units)
                    ))) }
                } }
            }
            @if !still.is_empty() {
                @let still: Vec<String> = still.iter().map(|mover| line(mover)).collect();
                p.soft { "These leave it where it is: " (still.join("; ")) "." }
            }
        }
    }
}

fn night(answer: &SpacingAnswer) -> Markup {
    html! {
        @if let Some(night) = &answer.night {
            h4 { "Under lights" }
            // Ten plants in 1000 make a percentage point.
            @let [_, lower, upper] = points(10.0 * night.difference.value, 10.0 * night.difference.lower, 10.0 * night.difference.upper);
            p { "With the camera's noise under lights " (percent(night.cut.rate)) " of the plants are cut at the recommended setting, on " (night.passes) " passes ("
                (percent(night.cut.lower)) " to " (percent(night.cut.upper)) "), against the day "
                (plants_apart(night.difference.value)) " (limits " (lower) " to " (upper) "). One round takes " (fixed(night.days_with, 1)) " days with work under lights and "
                @match night.days_without {
                    Some(days) => { (fixed(days, 1)) " without." }
                    None => "none without." }
            }
        }
    }
}

/// A clearance for each stage of growth.
pub fn stages(results: &Results, both: Both) -> Markup {
    let answer = &results.answers.stages;
    html! {
        h3 { "As the crop grows" }
        (said(both, answer.status, answer.reason.as_ref(), |units| sentences::stages(results, units)))
        @if answer.status == Status::Ok && !answer.stages.is_empty() {
            (scroll("Stages of growth", both.say(|units| format!(
                    "Smallest simulated clearance that keeps the allowed {} at {}, as every wider one does, on {} passes. Lengths in {}.",
                    chosen_percent(results.allowed_cut_rate), units.speed_text(answer.speed_m_s), answer.passes, units.small_unit()
                )), html! {
                table {
                    thead { tr {
                        th scope="col" { "Plants high" }
                        th scope="col" { "Radius of the stem" }
                        th scope="col" { "Radius to spare" }
                        th scope="col" { "Tools from the row" }
                        th scope="col" { "Plants cut" }
                        th scope="col" { "Upper limit" }
                    } }
                    tbody { @for stage in &answer.stages { tr {
                        th scope="row" { (both.say(|units| units.small_chosen(stage.height_m))) }
                        td { (both.say(|units| units.small_chosen(stage.stem_radius_m))) }
                        td { (both.say(|units| units.small_chosen(stage.protected_radius_m))) }
                        td { @match stage.clearance_m { Some(m) => (both.say(|units| units.small_chosen(m))), None => "none simulated" } }
                        td { @if let Some(rate) = stage.rate { (percent(rate)) } }
                        td { @if let Some(upper) = stage.rate_upper { (percent(upper)) } }
                    } } }
                }
            }))
        }
    }
}

/// Thrown soil, pull and fuel.
pub fn soil(results: &Results, both: Both) -> Markup {
    let answer = &results.answers.soil;
    html! {
        h3 { "Thrown soil, pull and fuel" }
        (said(both, answer.status, answer.reason.as_ref(), |units| sentences::soil(results, units)))
        @for warning in &answer.warnings { p.warn { (both.say(|units| sentence(&warnings::soil(warning, units)))) } }
        @if answer.status == Status::Ok && !answer.speeds.is_empty() {
            (scroll("Soil, pull and fuel", html! { "Soil flies further in proportion to speed, from what the scenario saw in the field. Pull by the published "
                    "equation for row-crop cultivators, good to about 15 %." }, html! {
                table {
                    thead { tr {
                        th scope="col" { (both.say(|units| format!("Speed, {}", units.speed_unit()))) }
                        th scope="col" { (both.say(|units| format!("Soil flies, {}", units.small_unit()))) }
                        th scope="col" { "Reaches plants" }
                        th scope="col" { (both.say(|units| format!("Pull, {}", units.force_unit()))) }
                        th scope="col" { (both.say(|units| format!("At the axle, {}", units.power_unit()))) }
                        th scope="col" { "Of the tractor's power" }
                        th scope="col" { (both.say(|units| format!("Fuel, {}", units.fuel_unit()))) }
                    } }
                    tbody { @for line in &answer.speeds {
                        tr.now[line.speed_m_s == results.working_speed_m_s] {
                            th scope="row" { (both.say(|units| units.speed_number(line.speed_m_s))) }
                            td { (both.say(|units| units.small_number(line.thrown_m))) }
                            td { (if line.reaches_plants { "yes" } else { "no" }) }
                            td { (both.say(|units| units.force_number(line.draft_n))) }
                            td { (both.say(|units| units.power_number(line.axle_w))) }
                            td { (percent_or_more(line.load_share)) }
                            td { @match line.fuel_l_per_h { Some(fuel) => (both.say(|units| units.fuel_number(fuel))), None => "too much" } }
                        }
                    } }
                }
            }))
        }
    }
}

/// A load, which may pass the whole.
fn percent_or_more(share: f64) -> String {
    format!("{} %", grouped((100.0 * share).round().max(0.0) as u64))
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
    fn prop_every_setting_is_shown_with_its_cost_and_marks() {
        let results = synthetic::results();
        let page = metric(spacing, &results);
        let table = page.split("<table class=\"costs\">").nth(1).unwrap();
        let table = table.split("</table>").next().unwrap();
        let mut shown = table.split("<td").skip(1).map(|rest| {
            let (head, rest) = rest.split_once('>').unwrap();
            (head.to_owned(), rest.split('<').next().unwrap().to_owned())
        });
        let cells = &results.answers.spacing.cells;
        for clearance_m in &results.clearances_m {
            for v in &results.speeds_m_s {
                let cell = cells
                    .iter()
                    .find(|cell| cell.speed_m_s == *v && cell.clearance_m == *clearance_m)
                    .unwrap();
                let (class, text) = shown.next().unwrap();
                assert!(text.contains(&money(cell.cost_per_ha)), "{text}");
                assert_eq!(text.contains('('), !cell.breaks.is_empty());
                assert_eq!(text.contains('\u{d7}'), !cell.in_time);
                assert_eq!(class.contains("near"), cell.near_best);
            }
        }
        assert!(shown.next().is_none());
        assert_eq!(table.matches("best\"").count(), 1);
    }

    #[test]
    fn prop_only_prices_that_move_the_best_setting_are_listed_as_such() {
        let page = metric(spacing, &synthetic::results());
        let (_, list) = page.split_once("Which price would move it").unwrap();
        let (moving, still) = list.split_once("These leave it").unwrap();
        assert_eq!(moving.matches("<li>").count(), 2);
        assert!(moving.contains("Value of a plant 0.08: then"));
        assert!(still.contains("price of an hour in the field 90"));
    }
}
