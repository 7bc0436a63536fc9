//! A short scenario file to start from: what matters for a crop, a driver and a system of units, all else by default.

use super::Units;

/// A crop of the short starter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Crop {
    /// Leeks, planted in beds.
    Leeks,
    /// Carrots, drilled in beds.
    Carrots,
    /// Cabbage, planted.
    Cabbage,
    /// Sugar beet, drilled.
    SugarBeet,
}

/// Who steers in the short starter, by the table of the language.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Steering {
    /// `[driver.hand]`.
    Hand,
    /// `[driver.satellite_line]`.
    SatelliteLine,
}

impl Crop {
    /// All of them.
    pub const ALL: [Crop; 4] = [Crop::Leeks, Crop::Carrots, Crop::Cabbage, Crop::SugarBeet];

    /// Its name on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Crop::Leeks => "leeks",
            Crop::Carrots => "carrots",
            Crop::Cabbage => "cabbage",
            Crop::SugarBeet => "sugar_beet",
        }
    }

    /// Rows, how the crop came into the ground, and row spacing, plant spacing, track, speed and clearance in the units, as in the shipped
    /// scenarios or the next whole number of the other system.
    fn values(self, units: Units) -> (usize, &'static str, [&'static str; 5]) {
        let (rows, established, metric, us) = match self {
            Crop::Leeks => (
                4,
                "modules",
                ["375 mm", "200 mm", "1800 mm", "8 km/h", "60 mm"],
                ["15 in", "8 in", "72 in", "5 mph", "2.5 in"],
            ),
            Crop::Carrots => (
                3,
                "drilled",
                ["450 mm", "30 mm", "1800 mm", "5 km/h", "65 mm"],
                ["18 in", "1.2 in", "72 in", "3 mph", "2.5 in"],
            ),
            Crop::Cabbage => (
                4,
                "modules",
                ["700 mm", "450 mm", "1400 mm", "5 km/h", "80 mm"],
                ["28 in", "18 in", "56 in", "3 mph", "3 in"],
            ),
            Crop::SugarBeet => (
                6,
                "drilled",
                ["500 mm", "180 mm", "2000 mm", "8 km/h", "80 mm"],
                ["20 in", "7 in", "80 in", "5 mph", "3 in"],
            ),
        };
        match units {
            Units::Metric => (rows, established, metric),
            Units::Us => (rows, established, us),
        }
    }
}

impl Steering {
    /// Both.
    pub const ALL: [Steering; 2] = [Steering::Hand, Steering::SatelliteLine];

    /// Its name in the language.
    pub fn name(self) -> &'static str {
        match self {
            Steering::Hand => "hand",
            Steering::SatelliteLine => "satellite_line",
        }
    }

    fn table(self, units: Units) -> String {
        let (hand, line) = match units {
            Units::Metric => (["45 mm", "8 km/h"], "25 mm"),
            Units::Us => (["1.8 in", "5 mph"], "1 in"),
        };
        match self {
            Steering::Hand => format!(
                "# A person steers, sighting along the row. Measured wander of the rear axle, if you have it, at what speed:\n\
                 [driver.hand]\n# observed_wander = \"{}\"\n# observed_at = \"{}\"\n",
                hand[0], hand[1]
            ),
            Steering::SatelliteLine => format!(
                "# Steering by satellite follows the planned line. Measured wander of the rear axle about it, if you have it:\n\
                 [driver.satellite_line]\n# observed_wander = \"{line}\"\n"
            ),
        }
    }
}

/// A short commented scenario file that runs as it stands. Lines behind `#` may be switched on; they state the default where there is one.
pub fn short_starter(crop: Crop, steering: Steering, units: Units) -> String {
    let (rows, established, [row, plant, track, speed, clearance]) = crop.values(units);
    let beds = match (crop, units) {
        (Crop::Cabbage | Crop::SugarBeet, _) => "",
        (_, Units::Metric) => {
            "# From the middle of one bed to the next.\nbed_spacing = \"1800 mm\"\n"
        }
        (_, Units::Us) => "# From the middle of one bed to the next.\nbed_spacing = \"72 in\"\n",
    };
    let seen: Vec<String> = (1..=rows).map(|row| row.to_string()).collect();
    let seen = seen.join(", ");
    let [wheelbase, behind, ahead] = match units {
        Units::Metric => ["2.5 m", "2.2 m", "0.8 m"],
        Units::Us => ["8 ft", "7 ft", "2.5 ft"],
    };
    let name = capital(&crop.name().replace('_', " "));
    let units_line = match units {
        Units::Metric => "",
        Units::Us => "units = \"us\"\n",
    };
    format!(
        "# A scenario for rowroom: an invented farm, put in your own numbers. A line behind # may be switched on by taking the # away.\n\
         # What is left out and nobody knows unless he measured it may lie anywhere in a plausible range. All else that is not here has a\n\
         # default; \"rowroom starter --full all.toml\" writes every key with its default and where that is from.\n\
         name = \"{name}\"\n\
         \n\
         [study]\n\
         {units_line}working_speed = \"{speed}\"\n\
         # From the row to the cutting edge, on either side.\n\
         working_clearance = \"{clearance}\"\n\
         # Share of the plants that may be cut in one pass.\n\
         allowed_cut_rate = \"0.5 %\"\n\
         \n\
         [line.straight]\n\
         \n\
         [rows]\n\
         rows_per_bed = {rows}\n\
         row_spacing = \"{row}\"\n\
         {beds}\
         # The rows that driver and camera follow, 1 at the left.\n\
         seen_rows = [{seen}]\n\
         \n\
         [plants]\n\
         spacing = \"{plant}\"\n\
         # drilled, modules or bare_root; seedling, young or knee_high.\n\
         established = \"{established}\"\n\
         stage = \"young\"\n\
         \n\
         [tractor]\n\
         wheelbase = \"{wheelbase}\"\n\
         track_width = \"{track}\"\n\
         \n\
         {driver}\n\
         [hitch.rear]\n\
         tools_behind_axle = \"{behind}\"\n\
         \n\
         [camera]\n\
         lookahead = \"{ahead}\"\n\
         # shifted: on the frame that moves; fixed: on the one that does not.\n\
         mount = \"shifted\"\n\
         # simple, usual or fine.\n\
         grade = \"usual\"\n\
         # Where the time from exposure to number was measured:\n\
         # latency = {{ measured = \"80 ms\", error = \"10 ms\" }}\n\
         \n\
         [tracker.none]\n\
         \n\
         [sensors.position]\n\
         \n\
         # Add [sensors.yaw_rate] if the machine has one.\n\
         [controller.pid]\n\
         simc_closed_loop_time = \"0.13 s\"\n\
         \n\
         [controller.lag]\n\
         \n\
         {machine}{farm}",
        driver = steering.table(units),
        machine = machine(units),
        farm = farm(units),
    )
}

fn machine(units: Units) -> String {
    let [pump, bore, rod, stroke, flow, drop] = match units {
        Units::Metric => ["40 L/min", "50 mm", "25 mm", "400 mm", "9 L/min", "5 bar"],
        Units::Us => ["10 gpm", "2 in", "1 in", "16 in", "2.5 gpm", "75 psi"],
    };
    format!(
        "[hydraulics]\npump_flow = \"{pump}\"\nbore = \"{bore}\"\nrod = \"{rod}\"\n# Total travel, half of it either way.\nstroke = \"{stroke}\"\n\n\
         # Rated flow of an edge of the valve at its rated pressure drop.\n[valve.proportional]\nrated_flow = \"{flow}\"\nrated_drop = \"{drop}\"\n\n"
    )
}

/// Land, weeds and prices, all behind `#`.
fn farm(units: Units) -> String {
    let [area, density] = match units {
        Units::Metric => ["10 ha", "60 /m2"],
        Units::Us => ["25 ac", "5 /ft2"],
    };
    format!(
        "# For days, weeds left and costs, switch on these three tables; prices are plain numbers in one currency.\n\
         # [farm]\n# area = \"{area}\"\n# workable_days = 8\n\n\
         # [weeds]\n# density = \"{density}\"\n\n\
         # [prices]\n# currency = \"EUR\"\n# plant = 0.15\n# labour_hour = 16\n# machine_hour = 70\n"
    )
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::results::reasons::Warning;
    use crate::scenario::Scenario;

    fn parsed(text: &str) -> Scenario {
        let none = |_: &str| Err(std::io::ErrorKind::NotFound.into());
        Scenario::parse(text, "short.toml", &none, None)
            .unwrap_or_else(|why| panic!("{why}\n{text}"))
    }

    fn all() -> impl Iterator<Item = (Crop, Steering, Units)> {
        Crop::ALL.into_iter().flat_map(|crop| {
            Steering::ALL.into_iter().flat_map(move |steering| {
                [Units::Metric, Units::Us].map(|units| (crop, steering, units))
            })
        })
    }

    /// Lines behind `#` that are TOML, switched on.
    fn switched_on(text: &str) -> String {
        let line = |line: &str| match line.strip_prefix("# ") {
            Some(rest) if rest.starts_with('[') || rest.contains(" = ") => format!("{rest}\n"),
            _ => format!("{line}\n"),
        };
        text.lines().map(line).collect()
    }

    #[test]
    fn prop_every_short_starter_parses_in_the_units_asked_for() {
        let metric = [
            "mm\"", " m\"", "km/h\"", "L/min\"", "bar\"", "ha\"", "/m2\"",
        ];
        let us = ["in\"", "ft\"", "mph\"", "gpm\"", "psi\"", "ac\"", "/ft2\""];
        for (crop, steering, units) in all() {
            let text = short_starter(crop, steering, units);
            let lines = text
                .lines()
                .filter(|line| !line.is_empty() && !line.starts_with('#'));
            assert!((25..=45).contains(&lines.count()), "{text}");
            let (own, foreign) = match units {
                Units::Metric => (metric, us),
                Units::Us => (us, metric),
            };
            // "L/min" ends as inches do.
            let plain = text.replace("L/min\"", "L/m_n\"");
            assert!(
                own.iter().filter(|unit| text.contains(**unit)).count() >= 6,
                "{text}"
            );
            assert!(foreign.iter().all(|unit| !plain.contains(unit)), "{text}");
            for text in [text.clone(), switched_on(&text)] {
                let scenario = parsed(&text);
                assert_eq!(scenario.units(), units);
                assert!(
                    scenario.warnings().iter().all(|told| !matches!(
                        told,
                        Warning::TyresOnRows { .. } | Warning::TyresOnNextRows
                    )),
                    "{text}"
                );
                assert!(text.contains(&format!("[driver.{}]", steering.name())));
            }
            let farm = parsed(&switched_on(&text)).farm();
            assert!(farm.land.is_some(), "{text}");
        }
    }
}
