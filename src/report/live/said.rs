//! A setting between the simulated ones, in words and numbers.

use crate::answers::between::Between;
use crate::report::display::{Units, cut_in_words, fixed, limit_in_words, money, percent};
use crate::report::sentences::price;
use crate::results::Results;
use serde::Serialize;

/// What a page shows of one setting.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Shown {
    /// "About 1 plant in 240 is cut, at most 1 in 150 by these passes."
    pub words: String,
    /// "0.42 %"
    pub rate: String,
    /// "0.31 % to 0.67 %"
    pub limits: String,
    /// "1.20 %", of the plants, touched beside.
    pub touched: String,
    /// "1 in 200: kept", the allowed rate and whether it is surely kept.
    pub keeps: String,
    /// "12 %", of the weeds of the whole field.
    pub weeds: String,
    /// "2.10 hectares an hour"
    pub area: String,
    /// "4.2 days"
    pub days: String,
    /// "420 crowns a hectare (410 to 450)"
    pub cost: String,
}

/// Where a study priced no settings.
const NOT_PRICED: &str = "not priced: the study has no farm, weeds and prices to go by";

/// The texts of a setting.
pub fn shown(between: &Between, results: &Results, units: Units) -> Shown {
    let cut = &between.cut;
    let doubt = if between.resolved {
        ""
    } else {
        " Not sure: it hangs on few passes."
    };
    let allowed = limit_in_words(results.allowed_cut_rate);
    let keeps = if cut.upper <= results.allowed_cut_rate {
        format!("{allowed}: kept")
    } else {
        format!("{allowed}: may be more")
    };
    let farm = between.farm.as_ref();
    let of_farm = |text: Option<String>| text.unwrap_or_else(|| "not worked out".to_owned());
    Shown {
        words: format!("{}.{doubt}", cut_in_words(cut)),
        rate: percent(cut.rate),
        limits: format!("{} to {}", percent(cut.lower), percent(cut.upper)),
        touched: percent(between.touched.rate),
        keeps,
        weeds: of_farm(farm.map(|farm| percent(farm.weeds_left_share))),
        area: of_farm(farm.map(|farm| {
            let area = fixed(units.land(farm.hectares_per_hour), 2);
            format!("{area} {}s an hour", units.land_unit())
        })),
        days: of_farm(farm.map(|farm| format!("{} days", fixed(farm.days, 1)))),
        cost: farm.map_or_else(
            || NOT_PRICED.to_owned(),
            |farm| {
                let [lower, upper] =
                    [farm.cost_lower, farm.cost_upper].map(|cost| money(units.per_land(cost)));
                let cost = price(farm.cost_per_ha, results, units);
                format!("{cost} ({lower} to {upper})")
            },
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::between::between;
    use crate::model::controller::Kind;
    use crate::report::synthetic;
    use crate::results::Share;

    fn found(results: &Results) -> Between {
        let controller = Kind::LagCompensatedYaw;
        let (v, c) = (results.working_speed_m_s, results.working_clearance_m);
        between(results, controller, v, c).unwrap()
    }

    #[test]
    fn analytic_a_setting_in_both_units() {
        let results = synthetic::results();
        let mut between = found(&results);
        between.cut = Share {
            rate: 1.0 / 240.0,
            lower: 0.0031,
            upper: 0.0067,
        };
        between.touched.rate = 0.012;
        between.resolved = true;
        let farm = between.farm.as_mut().unwrap();
        (farm.cost_lower, farm.cost_per_ha, farm.cost_upper) = (410.0, 420.0, 450.0);
        farm.weeds_left_share = 0.12;
        (farm.hectares_per_hour, farm.days) = (2.1, 4.21);
        let metric = shown(&between, &results, Units::Metric);
        let expected = Shown {
            words: "About 1 plant in 240 is cut, at most 1 in 150 by these passes.".into(),
            rate: "0.42 %".into(),
            limits: "0.31 % to 0.67 %".into(),
            touched: "1.2 %".into(),
            keeps: "1 in 100: kept".into(),
            weeds: "12 %".into(),
            area: "2.10 hectares an hour".into(),
            days: "4.2 days".into(),
            cost: "420 crowns a hectare (410 to 450)".into(),
        };
        assert_eq!(metric, expected);
        // 1 acre = 0.404 685 642 24 ha.
        let us = shown(&between, &results, Units::Us);
        assert_eq!(us.area, "5.19 acres an hour");
        assert_eq!(us.cost, "170 crowns an acre (166 to 182)");
    }

    #[test]
    fn prop_doubt_cut_plants_and_missing_prices_are_told() {
        let mut results = synthetic::results();
        results.answers.spacing.cells.clear();
        let mut between = found(&results);
        between.resolved = false;
        between.cut.upper = 1.001 * results.allowed_cut_rate;
        let told = shown(&between, &results, Units::Metric);
        assert!(told.words.ends_with(". Not sure: it hangs on few passes."));
        assert_eq!(told.keeps, "1 in 100: may be more");
        assert_eq!(told.cost, NOT_PRICED);
        assert_eq!(told.weeds, "not worked out");
        between.cut.upper = results.allowed_cut_rate;
        let told = shown(&between, &results, Units::Metric);
        assert_eq!(told.keeps, "1 in 100: kept");
    }
}
