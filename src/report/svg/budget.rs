//! Error budget of the linear check at the working speed: what each source alone would leave, controller beside controller.

use super::axes::px;
use super::{Picture, controller_class};
use crate::report::display::{Units, controller_title};
use crate::results::{BudgetShare, Results};
use maud::html;

/// Room for one character of a source's name, a little more than a sans-serif font takes on average.
const CHARACTER_PX: f64 = 7.0;
const PANEL_PX: f64 = 150.0;
const ROW_PX: f64 = 22.0;

/// Shares at the working speed as (sources, controllers), the largest source over all guided controllers first.
pub fn table(results: &Results) -> (Vec<&str>, Vec<&str>) {
    let shares: Vec<&BudgetShare> = results
        .error_budget
        .iter()
        .filter(|share| share.speed_m_s == results.working_speed_m_s)
        .collect();
    let mut controllers: Vec<&str> = Vec::new();
    let mut sources: Vec<(&str, f64)> = Vec::new();
    for share in &shares {
        if !controllers.contains(&share.controller.as_str()) {
            controllers.push(&share.controller);
        }
        let weight = if share.controller == "locked" {
            0.0
        } else {
            share.variance_m2
        };
        match sources.iter_mut().find(|(name, _)| *name == share.source) {
            Some((_, most)) => *most = most.max(weight),
            None => sources.push((&share.source, weight)),
        }
    }
    sources.sort_by(|a, b| b.1.total_cmp(&a.1));
    (
        sources.into_iter().map(|(name, _)| name).collect(),
        controllers,
    )
}

/// The variance of one source, m².
pub fn variance_m2(results: &Results, controller: &str, source: &str) -> Option<f64> {
    results
        .error_budget
        .iter()
        .find(|share| {
            share.controller == controller
                && share.source == source
                && share.speed_m_s == results.working_speed_m_s
        })
        .map(|share| share.variance_m2)
}

/// The sum of a controller's shares, m².
pub fn total_m2(results: &Results, controller: &str) -> f64 {
    results
        .error_budget
        .iter()
        .filter(|share| {
            share.controller == controller && share.speed_m_s == results.working_speed_m_s
        })
        .map(|share| share.variance_m2)
        .sum()
}

/// The picture, if any controller has a linear form.
pub fn picture(results: &Results, units: Units) -> Option<Picture> {
    let (sources, controllers) = table(results);
    if controllers.is_empty() {
        return None;
    }
    let longest = sources
        .iter()
        .flat_map(|source| controllers.iter().map(move |name| (*name, *source)))
        .filter_map(|(name, source)| variance_m2(results, name, source))
        .fold(0.0, f64::max)
        .sqrt();
    let bar = |variance_m2: f64| {
        if longest > 0.0 {
            (PANEL_PX - 62.0) * variance_m2.sqrt() / longest
        } else {
            0.0
        }
    };
    let names_px = sources
        .iter()
        .map(|source| source.chars().count())
        .max()
        .unwrap_or(0) as f64
        * CHARACTER_PX
        + 24.0;
    let bottom_px = 48.0 + ROW_PX * sources.len() as f64;
    let title = format!(
        "What keeps the tools off the row at {}",
        units.speed_text(results.working_speed_m_s)
    );
    let body = html! {
        text class="head" x="8" y="18" { (title) ", " (units.small_unit()) }
        @for (i, source) in sources.iter().enumerate() {
            @let y = 62.0 + ROW_PX * i as f64;
            text class="end" x=(px(names_px - 10.0)) y=(px(y)) { (source) }
        }
        text class="end head" x=(px(names_px - 10.0)) y=(px(bottom_px + 20.0)) { "all together" }
        path class="grid" d=(format!("M8 {0}H{1}", px(bottom_px + 3.0), px(names_px + PANEL_PX * controllers.len() as f64 - 8.0))) {}
        @for (panel, name) in controllers.iter().enumerate() {
            @let left = names_px + PANEL_PX * panel as f64;
            @let class = controller_class(name);
            text class="small head" x=(px(left)) y="40" { (controller_title(name)) }
            path class="axis" d=(format!("M{} 48V{}", px(left), px(bottom_px))) {}
            @for (i, source) in sources.iter().enumerate() {
                @let y = 62.0 + ROW_PX * i as f64;
                @if let Some(variance) = variance_m2(results, name, source) {
                    rect class={ "bar " (class) } x=(px(left)) y=(px(y - 11.0)) width=(px(bar(variance))) height="14" {}
                    text class="small" x=(px(left + bar(variance) + 5.0)) y=(px(y)) { (units.small_number(variance.sqrt())) }
                }
            }
            text class="head" x=(px(left)) y=(px(bottom_px + 20.0)) { (units.small_text(total_m2(results, name).sqrt())) }
        }
    };
    Some(Picture {
        name: "error_budget".into(),
        title,
        note: String::new(),
        reading: "Standard deviation that each source alone would leave at the tools, by the linear check. Their squares add up \
                  to the square of the total in the last line, so halving the largest helps most and halving a small one hardly."
            .into(),
        width: names_px + PANEL_PX * controllers.len() as f64,
        height: bottom_px + 34.0,
        body,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_the_numbers_beside_the_bars_are_roots_of_the_variances() {
        let results = synthetic::results();
        let svg = picture(&results, Units::Metric).unwrap().standalone();
        let shown: Vec<f64> = svg
            .split("<text class=\"small\"")
            .skip(1)
            .map(|rest| {
                let text = rest.split('>').nth(1).unwrap().split('<').next().unwrap();
                text.parse().unwrap()
            })
            .collect();
        let (sources, controllers) = table(&results);
        assert_eq!(shown.len(), sources.len() * controllers.len());
        let expected = controllers.iter().flat_map(|name| {
            sources
                .iter()
                .map(|source| variance_m2(&results, name, source).unwrap())
        });
        for (shown_mm, variance_m2) in shown.iter().zip(expected) {
            // Shown to a tenth of a millimetre.
            assert!((shown_mm - 1000.0 * variance_m2.sqrt()).abs() <= 0.05 + 1e-9);
        }
    }
}
