//! Whether results agree with themselves: files may have been changed since they were written.

use super::finite::first_not_finite;
use super::{Results, StrikeRate};
use crate::quote::is_control;

impl Results {
    /// What contradicts itself in them, if anything: the key and why.
    ///
    /// No control characters in the scenario's texts; every number is finite; speeds and clearances rise and hold the working ones; every controller that ran has one rate at each of
    /// them, between its limits, over the same plants and passes.
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
        for (key, share) in [("level", self.level), ("allowed_rate", self.allowed_rate)] {
            if !(share > 0.0 && share < 1.0) {
                return Some(format!("{key} is no share"));
            }
        }
        if !(0.0 <= self.entry_length_m && self.entry_length_m < self.length_m) {
            return Some("the entry stretch is not a part of the pass".into());
        }
        self.grid("strike_rates", &self.strike_rates)
            .or_else(|| self.grid("entry", &self.entry))
    }

    fn grid(&self, key: &str, rates: &[StrikeRate]) -> Option<String> {
        let ran = self
            .controllers
            .iter()
            .filter(|note| note.left_out.is_none());
        let places: Vec<(&str, f64, f64)> = ran
            .flat_map(|note| {
                self.speeds_m_s.iter().flat_map(move |&speed_m_s| {
                    let at = move |&clearance_m: &f64| {
                        (note.controller.as_str(), speed_m_s, clearance_m)
                    };
                    self.clearances_m.iter().map(at)
                })
            })
            .collect();
        if places.len() != rates.len() {
            let (found, wanted) = (rates.len(), places.len());
            return Some(format!(
                "{key} has {found} settings where {wanted} are simulated"
            ));
        }
        let plants = rates.first().map_or(0, |rate| rate.plants);
        for (i, (rate, place)) in rates.iter().zip(places).enumerate() {
            let sound = (rate.controller.as_str(), rate.speed_m_s, rate.clearance_m) == place;
            if !sound {
                return Some(format!("{key}[{i}] is another setting than the lists say"));
            }
            let share = 0.0..=1.0;
            let between = rate.lower <= rate.rate && rate.rate <= rate.upper;
            if !(share.contains(&rate.lower) && share.contains(&rate.upper) && between) {
                return Some(format!("{key}[{i}].rate is no share between its limits"));
            }
            if rate.cut_rate < 0.0 || rate.cut_rate > rate.rate * (1.0 + 1e-9) {
                return Some(format!("{key}[{i}].cut_rate is more than are struck"));
            }
            if rate.plants != plants || rate.passes != self.passes {
                return Some(format!(
                    "{key}[{i}] counts other plants or passes than the rest"
                ));
            }
        }
        None
    }
}

#[cfg(all(test, feature = "program"))]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn regress_results_that_contradict_themselves_are_told_by_their_key() {
        let results = synthetic::results();
        assert_eq!(results.contradiction(), None);
        type Spoil = (fn(&mut Results), &'static str);
        let spoil: [Spoil; 14] = [
            (
                |r| r.strike_rates[3].upper = f64::NAN,
                "strike_rates[3].upper",
            ),
            (|r| r.speeds_m_s.swap(0, 1), "speeds do not rise"),
            (|r| r.speeds_m_s[0] = -1.0, "speeds do not rise"),
            (|r| r.clearances_m.clear(), "clearances do not rise"),
            (|r| r.working_clearance_m += 1e-6, "working clearance"),
            (|r| r.scenario.name.push('\u{1b}'), "scenario.name"),
            (|r| r.level = 1.5, "level"),
            (|r| r.allowed_rate = -0.01, "allowed_rate"),
            (|r| r.entry_length_m = r.length_m, "entry stretch"),
            (|r| drop(r.strike_rates.pop()), "settings"),
            (|r| r.strike_rates.swap(2, 3), "strike_rates[2]"),
            (
                |r| r.strike_rates[4].lower = r.strike_rates[4].rate + 1e-9,
                "strike_rates[4].rate",
            ),
            (|r| r.entry[5].cut_rate = 2.0, "entry[5].cut_rate"),
            (|r| r.strike_rates[6].plants += 1, "strike_rates[6]"),
        ];
        for (spoil, key) in spoil {
            let mut spoilt = results.clone();
            spoil(&mut spoilt);
            let told = spoilt.contradiction().unwrap();
            assert!(told.contains(key), "{told}");
        }
    }
}
