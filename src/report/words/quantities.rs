//! Numbers and missing tables in sentences: the units of `display`, and no zeros that say nothing.

use crate::report::display::{Units, trimmed};
use crate::scenario::keys::{Need, keys_of};

/// Quantities in sentences, in one system of units.
#[derive(Clone, Copy, Debug)]
pub struct Words(pub Units);

impl Words {
    /// "8 km/h", "5 mph".
    pub fn speed(self, speed_m_s: f64) -> String {
        said(self.0.speed(speed_m_s), 1, self.0.speed_unit())
    }

    /// "38 mm", "1.5 in".
    pub fn length(self, length_m: f64) -> String {
        let decimals = match self.0 {
            Units::Metric => 1,
            Units::Us => 2,
        };
        said(self.0.small(length_m), decimals, self.0.small_unit())
    }

    /// A bore, rod, hose or stroke as it is bought: "40 mm", "1-1/8 in".
    pub fn size(self, length_m: f64) -> String {
        self.0.size(length_m)
    }

    /// A size at least as large: to 1 mm or to a sixteenth of an inch, upwards.
    pub fn size_at_least(self, length_m: f64) -> String {
        self.size(self.on_the_tape(length_m, libm::ceil))
    }

    /// A size at most as large: to 1 mm or to a sixteenth of an inch, downwards.
    pub fn size_at_most(self, length_m: f64) -> String {
        self.size(self.on_the_tape(length_m, libm::floor))
    }

    fn on_the_tape(self, length_m: f64, round: fn(f64) -> f64) -> f64 {
        let (steps, step) = match self.0 {
            Units::Metric => (1000.0, 1.0),
            Units::Us => (16.0, 0.0254),
        };
        round(length_m / step * steps) / steps * step
    }

    /// "53 mm/s", "2.1 in/s": the speed of the frame.
    pub fn shift_speed(self, speed_m_s: f64) -> String {
        let (speed, decimals) = self.0.shift_speed(speed_m_s);
        said(speed, decimals, self.0.shift_speed_unit())
    }

    /// "5.7 kN", "1281 lbf".
    pub fn force(self, force_n: f64) -> String {
        let decimals = match self.0 {
            Units::Metric => 2,
            Units::Us => 0,
        };
        said(self.0.force(force_n), decimals, self.0.force_unit())
    }

    /// "23.6 L/min", "6.2 gal/min", to one decimal.
    pub fn flow(self, flow_m3_s: f64) -> String {
        said(self.0.flow(flow_m3_s), 1, self.0.flow_unit())
    }

    /// The same, never less than it is.
    pub fn flow_at_least(self, flow_m3_s: f64) -> String {
        let number = rounded_up(self.0.flow(flow_m3_s), 1);
        format!("{number} {}", self.0.flow_unit())
    }

    /// "180 bar", "2600 psi".
    pub fn pressure(self, pressure_pa: f64) -> String {
        let (unit, a_unit_pa) = match self.0 {
            Units::Metric => ("bar", 1e5),
            Units::Us => ("psi", 6894.757293168361),
        };
        said(pressure_pa / a_unit_pa, 0, unit)
    }

    /// "55 kW", "74 hp".
    pub fn power(self, power_w: f64) -> String {
        said(self.0.power(power_w), 1, self.0.power_unit())
    }

    /// An amount per hectare as one per hectare or acre, without its currency: "306".
    pub fn per_land(self, per_ha: f64) -> String {
        let amount = self.0.per_land(per_ha);
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

/// A number with at most so many decimals, and its unit.
fn said(number: f64, decimals: usize, unit: &str) -> String {
    format!("{} {unit}", trimmed(number, decimals))
}

/// A number to `decimals`, never less than it is.
fn rounded_up(value: f64, decimals: usize) -> String {
    let unit = libm::pow(10.0, decimals as f64);
    format!("{:.decimals$}", libm::ceil(value * unit - 1e-9) / unit)
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
pub fn add_tables(tables: &[String]) -> String {
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

    /// Conversions as in the US units of the scenario: 1 gal is 231 in³, 1 lbf 4.448 N, 100 psi 6.895 bar (NIST SP 811).
    #[test]
    fn analytic_hydraulics_in_either_units() {
        let (metric, us) = (Words(Units::Metric), Words(Units::Us));
        assert_eq!(metric.size(0.04), "40 mm");
        assert_eq!(us.size(1.125 * 0.0254), "1-1/8 in");
        assert_eq!(us.size(0.5 * 0.0254), "1/2 in");
        assert_eq!(us.size(0.1016), "4 in");
        assert_eq!(us.size(0.04), "1.57 in");
        assert_eq!(metric.size_at_least(0.0101), "11 mm");
        assert_eq!(us.size_at_least(0.0101), "7/16 in");
        assert_eq!(metric.size_at_most(0.2999), "299 mm");
        assert_eq!(us.size_at_most(0.2999), "11-3/4 in");
        assert_eq!(metric.shift_speed(0.0533), "53 mm/s");
        assert_eq!(us.shift_speed(0.0533), "2.1 in/s");
        assert_eq!(metric.force(5700.0), "5.7 kN");
        assert_eq!(us.force(5700.0), "1281 lbf");
        assert_eq!(metric.flow(23.56 / 60e3), "23.6 L/min");
        assert_eq!(us.flow(23.56 / 60e3), "6.2 gal/min");
        assert_eq!(us.flow_at_least(23.56 / 60e3), "6.3 gal/min");
        assert_eq!(metric.pressure(180e5), "180 bar");
        assert_eq!(us.pressure(180e5), "2611 psi");
    }

    #[test]
    fn regress_missing_tables_name_their_keys() {
        assert_eq!(
            add_tables(&["soil".to_owned()]),
            "Add the table [soil] with thrown, thrown_at and tractor_power."
        );
        assert_eq!(
            add_tables(&["weeds".to_owned(), "workshop".to_owned()]),
            "Add the tables [weeds] with density; [workshop] with tool_widths."
        );
    }
}
