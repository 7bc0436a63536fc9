//! Numbers and missing tables in the sentences of the answers.

use crate::model::controller::Kind;
use crate::results::Results;
use crate::scenario::Units;
use crate::scenario::keys::{Need, keys_of};

/// Quantities in the units of the scenario.
#[derive(Clone, Copy, Debug)]
pub struct Words(pub Units);

impl Words {
    /// Those of the study's scenario.
    pub fn of(results: &Results) -> Words {
        Words(if results.scenario.units == Units::Us.name() {
            Units::Us
        } else {
            Units::Metric
        })
    }

    /// "8 km/h", "5 mph".
    pub fn speed(self, speed_m_s: f64) -> String {
        match self.0 {
            Units::Metric => format!("{} km/h", trimmed(3.6 * speed_m_s, 1)),
            Units::Us => format!("{} mph", trimmed(speed_m_s / 0.44704, 1)),
        }
    }

    /// "38 mm", "1.5 in".
    pub fn length(self, length_m: f64) -> String {
        match self.0 {
            Units::Metric => format!("{} mm", trimmed(1000.0 * length_m, 1)),
            Units::Us => format!("{} in", trimmed(length_m / 0.0254, 2)),
        }
    }

    /// "55 kW", "74 hp".
    pub fn power(self, power_w: f64) -> String {
        match self.0 {
            Units::Metric => format!("{} kW", trimmed(power_w / 1000.0, 1)),
            Units::Us => format!("{} hp", trimmed(power_w / 745.6998715822702, 1)),
        }
    }

    /// An amount per hectare as one per hectare or acre, without its currency: "306".
    pub fn per_land(self, per_ha: f64) -> String {
        let amount = match self.0 {
            Units::Metric => per_ha,
            Units::Us => per_ha * 0.40468564224,
        };
        // Whole ones from ten on.
        trimmed(amount, if amount.abs() < 10.0 { 2 } else { 0 })
    }

    /// "hectare" or "acre" with its article.
    pub fn land(self) -> &'static str {
        match self.0 {
            Units::Metric => "a hectare",
            Units::Us => "an acre",
        }
    }
}

/// A controller in the middle of a sentence.
pub fn controller(kind: Kind) -> &'static str {
    match kind {
        Kind::Locked => "a locked frame",
        Kind::OnOff => "an on-off valve",
        Kind::Pid => "a PID",
        Kind::LagCompensated => "lag compensation",
        Kind::LagCompensatedYaw => "lag compensation with yaw rate",
    }
}

/// At most so many decimals, no zeros behind.
pub fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let text = match text.split_once('.') {
        Some(_) => text.trim_end_matches('0').trim_end_matches('.'),
        None => &text,
    };
    if text == "-0" { "0" } else { text }.to_string()
}

/// "a", "a and b", "a, b and c".
pub fn listed(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// "Add the table `[weeds]` with density.": the tables with the keys that they cannot do without.
pub fn add_tables(tables: &[&str]) -> String {
    let with_keys: Vec<String> = tables
        .iter()
        .map(|table| {
            let needed: Vec<String> = keys_of(table)
                .filter(|key| matches!(key.need, Need::Required { .. }))
                .map(|key| key.name.to_string())
                .collect();
            format!("[{table}] with {}", listed(&needed))
        })
        .collect();
    let table = if tables.len() > 1 { "tables" } else { "table" };
    format!("Add the {table} {}.", with_keys.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_quantities_in_either_units() {
        let (metric, us) = (Words(Units::Metric), Words(Units::Us));
        assert_eq!(metric.speed(8.0 / 3.6), "8 km/h");
        assert_eq!(us.speed(5.0 * 0.44704), "5 mph");
        assert_eq!(metric.length(0.0385), "38.5 mm");
        assert_eq!(us.length(0.0381), "1.5 in");
        assert_eq!(metric.length(-1e-9), "0 mm");
        assert_eq!(metric.power(75_000.0), "75 kW");
        assert_eq!(metric.per_land(306.4), "306");
        assert_eq!(metric.per_land(3.064), "3.06");
        // 1 ha = 2.471 054 acres.
        assert_eq!(us.per_land(2471.054), "1000");
    }

    #[test]
    fn regress_missing_tables_name_their_keys() {
        assert_eq!(
            add_tables(&["soil"]),
            "Add the table [soil] with thrown, thrown_at and tractor_power."
        );
        assert_eq!(
            add_tables(&["weeds", "workshop"]),
            "Add the tables [weeds] with density; [workshop] with tool_widths."
        );
    }
}
