//! Whether results agree with themselves: files may have been changed since they were written.

use super::finite::first_not_finite;
use super::{Rate, Results, Share, Stretch};
use crate::model::controller::Kind;
use crate::quote::is_control;

impl Results {
    /// What contradicts itself in them, if anything: the key and why.
    ///
    /// No control characters in the scenario's texts; every number is finite; speeds and clearances rise and hold the working ones; every
    /// controller that ran has one rate at each of them on each stretch, between its limits, over the same plants and passes.
    pub fn contradiction(&self) -> Option<String> {
        if let Some(key) = first_not_finite(self) {
            return Some(format!("{key} is not finite"));
        }
        let scenario = &self.scenario;
        for (key, text) in [
            ("name", &scenario.name),
            ("description", &scenario.description),
            ("file", &scenario.file),
        ] {
            // Files come from others, and a terminal obeys what is printed.
            if text.contains(|c| c != '\n' && is_control(c)) {
                return Some(format!("scenario.{key} holds control characters"));
            }
        }
        let rising =
            |list: &[f64]| !list.is_empty() && list.windows(2).all(|pair| pair[0] < pair[1]);
        for (key, list, one) in [
            ("speed", &self.speeds_m_s, self.working_speed_m_s),
            ("clearance", &self.clearances_m, self.working_clearance_m),
        ] {
            if !rising(list) || list[0] <= 0.0 && key == "speed" {
                return Some(format!("the {key}s do not rise"));
            }
            if !list.contains(&one) {
                return Some(format!("the working {key} is not among the {key}s"));
            }
        }
        for (key, share) in [
            ("level", self.level),
            ("allowed_cut_rate", self.allowed_cut_rate),
        ] {
            if !(share > 0.0 && share < 1.0) {
                return Some(format!("{key} is no share"));
            }
        }
        if !(0.0 <= self.entry_length_m && self.entry_length_m < self.length_m) {
            return Some("the entry stretch is not a part of the pass".into());
        }
        self.grid(&self.rates)
    }

    fn grid(&self, rates: &[Rate]) -> Option<String> {
        let ran = self
            .controllers
            .iter()
            .filter(|note| note.left_out.is_none());
        let places: Vec<(Kind, f64, Stretch, f64)> = ran
            .flat_map(|note| {
                self.speeds_m_s.iter().flat_map(move |&speed_m_s| {
                    Stretch::ALL.into_iter().flat_map(move |stretch| {
                        let at = move |&clearance_m: &f64| {
                            (note.controller, speed_m_s, stretch, clearance_m)
                        };
                        self.clearances_m.iter().map(at)
                    })
                })
            })
            .collect();
        // The walk through both ends with the shorter one and would pass over the rest.
        if places.len() != rates.len() {
            let (found, wanted) = (rates.len(), places.len());
            return Some(format!(
                "rates has {found} settings where {wanted} are simulated"
            ));
        }
        let plants_on = |stretch| rates.iter().find(|rate| rate.stretch == stretch);
        let plants = Stretch::ALL.map(|stretch| plants_on(stretch).map_or(0, |rate| rate.plants));
        let no_share = |share: &Share| {
            let all = 0.0..=1.0;
            let between = share.lower <= share.rate && share.rate <= share.upper;
            !(all.contains(&share.lower) && all.contains(&share.upper) && between)
        };
        for (i, (rate, place)) in rates.iter().zip(places).enumerate() {
            let of = (
                rate.controller,
                rate.speed_m_s,
                rate.stretch,
                rate.clearance_m,
            );
            if of != place {
                return Some(format!("rates[{i}] is another setting than the lists say"));
            }
            for (key, share) in [("cut", &rate.cut), ("touched", &rate.touched)] {
                if no_share(share) {
                    return Some(format!("rates[{i}].{key} is no share between its limits"));
                }
            }
            // Each is a quotient of its own: together they may be above 1 by rounding.
            if rate.cut.rate + rate.touched.rate > 1.0 + 1e-9 {
                return Some(format!(
                    "rates[{i}] cuts and touches more plants than there are"
                ));
            }
            if rate.plants != plants[rate.stretch as usize] || rate.passes != self.passes {
                return Some(format!(
                    "rates[{i}] counts other plants or passes than the rest"
                ));
            }
        }
        None
    }
}

#[cfg(all(test, feature = "report"))]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn regress_results_that_contradict_themselves_are_told_by_their_key() {
        let results = synthetic::results();
        assert_eq!(results.contradiction(), None);
        type Spoil = (fn(&mut Results), &'static str);
        let spoil: [Spoil; 14] = [
            (|r| r.rates[3].cut.upper = f64::NAN, "rates[3].cut.upper"),
            (|r| r.speeds_m_s.swap(0, 1), "speeds do not rise"),
            (|r| r.speeds_m_s[0] = -1.0, "speeds do not rise"),
            (|r| r.clearances_m.clear(), "clearances do not rise"),
            (|r| r.working_clearance_m += 1e-6, "working clearance"),
            (|r| r.scenario.name.push('\u{1b}'), "scenario.name"),
            (|r| r.level = 1.5, "level"),
            (|r| r.allowed_cut_rate = -0.01, "allowed_cut_rate"),
            (|r| r.entry_length_m = r.length_m, "entry stretch"),
            (|r| r.rates.truncate(r.rates.len() - 1), "settings"),
            (|r| r.rates.swap(2, 3), "rates[2]"),
            (
                |r| r.rates[4].cut.lower = r.rates[4].cut.rate + 1e-9,
                "rates[4].cut",
            ),
            (|r| r.rates[5].touched.upper = 2.0, "rates[5].touched"),
            (|r| r.rates[6].plants += 1, "rates[6]"),
        ];
        for (spoil, key) in spoil {
            let mut spoilt = results.clone();
            spoil(&mut spoilt);
            let told = spoilt.contradiction().unwrap();
            assert!(told.contains(key), "{told}");
        }
    }
}
