//! What farms like this one may see: how sure a setting is, rates over farms, and what carries the doubt.

use super::Page;
use crate::report::display::{fixed, money, percent};
use crate::report::parts::{key, scroll};
use crate::report::svg::Pictures;
use crate::report::svg::twin::Twin;
use crate::report::three_answers::guided;
use crate::report::words::capital;
use crate::report::words::farms::{clearance, farms, instruction, no_farms, plain, rate, speed};
use crate::results::UnknownValue;
use crate::results::answers::AssuredCost;
use maud::{Markup, html};

impl Page<'_> {
    /// `None` where all is known.
    pub(super) fn farms(&self, pictures: &Pictures<Twin>) -> Option<Markup> {
        if self.results.unknowns.is_empty() {
            return None;
        }
        Some(html! {
            p { "Nobody knows every number of a farm. This study tried many farms that fit what the scenario says of them, eight passes over \
                 each, and tells what holds on most of them. How well the model itself fits a field, and unknowns that hang together, are in no \
                 number here." }
            @if let Some(why) = self.results.no_farms {
                p.warn { (no_farms(why)) }
            } @else {
                (self.how_sure())
                @if let Some(picture) = &pictures.farms {
                    div.pictures { figure {
                        (picture.inline())
                        figcaption { (picture.say(|picture| format!("{} {}", picture.note, picture.reading))) }
                    } }
                }
                (self.rates_over_farms())
            }
            (self.what_carries(pictures))
            (self.measure_first())
        })
    }

    fn how_sure(&self) -> Markup {
        let assured = &self.results.answers.assured;
        let caption = format!(
            "Up to where the allowed share of plants cut is kept, on so many farms like this one. The answers above hold for {} (study.assurance). \
             Stroke: what eight passes over such a field do not ask more of, on 99.9 % of the way. Cheapest: of the simulated settings that keep \
             every limit on so many farms, with plants cut as only the other farms exceed them.",
            farms(self.results.assurance)
        );
        let strokes = assured.iter().any(|one| one.stroke_m.is_some());
        let costs = assured.iter().any(|one| one.cheapest.is_some());
        let both = self.both;
        let cheapest = |one: &AssuredCost| {
            both.say(|units| {
                format!(
                    "{} with the tools {} from the row, {} {} a {}",
                    units.speed_text(one.speed_m_s),
                    units.clearance(one.clearance_m),
                    money(units.per_land(one.cost_per_ha)),
                    self.results
                        .answers
                        .spacing
                        .currency
                        .as_deref()
                        .unwrap_or(""),
                    units.land_unit()
                )
            })
        };
        html! {
            h3 { "How sure" }
            (scroll("How sure", html! { (caption) }, html! {
                table {
                    thead { tr { th.text scope="col" { "On" } th.text scope="col" { "Either" } th.text scope="col" { "Or" }
                        @if strokes { th scope="col" { (both.say(|units| format!("Stroke asked, {}", units.small_unit()))) } }
                        @if costs { th.text scope="col" { "Cheapest" } }
                    } }
                    tbody { @for assured in assured { tr {
                        th.text scope="row" { (farms(assured.assurance)) }
                        td.text { (self.both.say(|units| speed(assured, units))) }
                        td.text { (self.both.say(|units| clearance(assured, units))) }
                        @if strokes { td { @if let Some(stroke_m) = assured.stroke_m {
                            (both.say(|units| units.small_number(stroke_m)))
                        } } }
                        @if costs { td.text {
                            @if let Some(one) = &assured.cheapest { (cheapest(one)) } @else { "no simulated setting" }
                        } }
                    } } }
                }
            }))
        }
    }

    fn rates_over_farms(&self) -> Markup {
        let at_work: Vec<_> = guided(self.results).map_or_else(Vec::new, |kind| {
            let rates = self
                .results
                .over_clearance(kind, self.results.working_speed_m_s);
            rates
                .filter_map(|rate| Some((rate.clearance_m, rate.known?)))
                .collect()
        });
        let caption = self.both.say(|units| {
            format!(
                "At {}, as worked now; those of other speeds and controllers are in results.json. A star: straight from the simulated farms, with \
                 the scatter of their eight passes, because the law of plants and tools does not fit them well enough.",
                units.speed_text(self.results.working_speed_m_s)
            )
        });
        html! {
            h3 { "Plants cut on farms like this one" }
            (scroll("Plants cut on farms like this one", caption, html! {
                table {
                    thead { tr {
                        th scope="col" { "Tools from the row" }
                        th scope="col" { "Cut, on 1 farm in 20 at most" }
                        th scope="col" { "on every second farm" }
                        th scope="col" { "on 19 farms in 20" }
                        th scope="col" { "Touched, on 19 farms in 20" }
                    } }
                    tbody { @for (clearance_m, known) in &at_work { tr {
                        th scope="row" { (self.both.say(|units| units.clearance(*clearance_m))) }
                        td { (rate(known.cut.p05)) }
                        td { (rate(known.cut.p50)) }
                        td.rate { (rate(known.cut.p95)) @if !known.fitted { "*" } }
                        td { (rate(known.touched.p95)) @if !known.fitted { "*" } }
                    } } }
                }
            }))
        }
    }

    fn measure_first(&self) -> Markup {
        let measures = &self.results.answers.measure;
        let both = self.both;
        let priced = measures.iter().any(|one| one.saves_per_ha.is_some());
        let currency = self
            .results
            .answers
            .spacing
            .currency
            .as_deref()
            .unwrap_or("");
        let caption = both.say(|units| {
            format!(
                "What each is expected to be worth at the setting that the answers speak of, held to the same assurance: {} closer to the row, or {} \
                 faster. What the better of both saves is weeding by hand or hours in the field. The most for each minute of work first. Minutes and exactness are common practice, no source.",
                units.small_unit(),
                units.speed_unit()
            )
        });
        html! {
            @if !measures.is_empty() {
                h3 { "What to measure first" }
                (scroll("What to measure first", caption, html! {
                    table {
                        thead { tr {
                            th.text scope="col" { "What to do, and what to write down" }
                            th scope="col" { "Minutes" }
                            th scope="col" { (both.say(|units| format!("Closer by, {}", units.small_unit()))) }
                            th scope="col" { (both.say(|units| format!("Faster by, {}", units.speed_unit()))) }
                            @if priced { th scope="col" { (both.say(|units| format!("Saves, {currency} a {}", units.land_unit()))) } }
                        } }
                        tbody { @for measure in measures { tr {
                            th.text scope="row" { (both.say(|units| capital(&instruction(measure, units)))) }
                            td { (fixed(measure.minutes, 0)) }
                            td { (both.say(|units| fixed(units.small(measure.clearance_gain_m), 1))) }
                            td { (both.say(|units| fixed(units.speed(measure.speed_gain_m_s), 1))) }
                            @if priced { td { @if let Some(saves) = measure.saves_per_ha {
                                (both.say(|units| money(units.per_land(saves))))
                            } } }
                        } } }
                    }
                }))
            }
        }
    }

    fn what_carries(&self, pictures: &Pictures<Twin>) -> Markup {
        let mut unknowns: Vec<&UnknownValue> = self.results.unknowns.iter().collect();
        let share = |unknown: &UnknownValue| unknown.share_of_rate.unwrap_or(0.0);
        unknowns.sort_by(|a, b| share(b).total_cmp(&share(a)));
        let written = |name: &str| {
            let stated = self.results.assumptions.iter().find(|one| one.key == name);
            stated.map_or("", |stated| stated.value.trim_matches(['{', '}', ' ']))
        };
        let shown =
            |share: Option<f64>| share.map_or("-".to_owned(), |share| percent(share.max(0.0)));
        let unexplained = self.results.farm_scatter.map_or(String::new(), |scatter| {
            format!(
                " What none of them explains makes plants cut differ by {} (one standard deviation) from farm to farm.",
                percent(scatter)
            )
        });
        let caption = format!(
            "Shares of the variance between farms (Shapley), of the logarithm of the plants cut, of the highest speed that keeps the allowed \
             share and of the cost, at the setting that the answers speak of.{unexplained}"
        );
        html! {
            h3 { "What is not known, and how much of the doubt it carries" }
            @if let Some(picture) = &pictures.doubt {
                div.pictures { figure { (picture.inline()) figcaption { (picture.reading()) } } }
            }
            (scroll("What is not known", html! { (caption) }, html! {
                table.own-units {
                    thead { tr {
                        th.text scope="col" { "What" }
                        th.text scope="col" { "Key" }
                        th.text scope="col" { "Known of it" }
                        th.text scope="col" { "From" }
                        th scope="col" { "Doubt in plants cut" }
                        th scope="col" { "Doubt in the speed" }
                        th scope="col" { "Doubt in the cost" }
                    } }
                    tbody { @for unknown in unknowns { tr {
                        th.text scope="row" { (capital(&plain(&unknown.key))) }
                        td.text { (key(&unknown.key)) }
                        td.text { (written(&unknown.key)) }
                        td.text { (unknown.source) }
                        td { (shown(unknown.share_of_rate)) }
                        td { (shown(unknown.share_of_speed)) }
                        td { (shown(unknown.share_of_cost)) }
                    } } }
                }
            }))
        }
    }
}
