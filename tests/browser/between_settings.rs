//! Prints what the page has to show for the places of its sliders: between_settings RESULTS.json
//!
//! A JSON list over all controllers: every simulated setting, and places between them, in both units.

use rowroom::answers::between::between;
use rowroom::report::display::Units;
use rowroom::report::json::read_results;
use rowroom::report::live::{Shown, shown};
use serde_json::json;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let file = std::env::args().nth(1).ok_or("name a results.json")?;
    let results = read_results(&std::fs::read_to_string(file)?)?;
    let mut told = Vec::new();
    for name in results.ran() {
        for speed_place in 0..places(&results.speeds_m_s) {
            for clearance_place in 0..places(&results.clearances_m) {
                // A sample: every place along the simulated speeds and clearances, and half way between these.
                if speed_place % 10 != 0 && clearance_place % 5 != 0 {
                    continue;
                }
                let speed_m_s = value(&results.speeds_m_s, speed_place);
                let clearance_m = value(&results.clearances_m, clearance_place);
                let found = between(&results, name, speed_m_s, clearance_m)
                    .ok_or_else(|| format!("{name} has nothing at {speed_m_s}, {clearance_m}"))?;
                let texts = |units: Units| {
                    let Shown {
                        words,
                        rate,
                        limits,
                        touched,
                        keeps,
                        weeds,
                        area,
                        days,
                        cost,
                    } = shown(&found, &results, units);
                    let (speed, clearance) =
                        (units.speed_text(speed_m_s), units.clearance(clearance_m));
                    json!({
                        "speed": speed, "clearance": clearance, "words": words, "rate": rate, "limits": limits, "touched": touched, "keeps": keeps,
                        "weeds": weeds, "area": area, "days": days, "cost": cost,
                    })
                };
                told.push(json!({
                    "controller": name,
                    "speed_place": speed_place,
                    "clearance_place": clearance_place,
                    "metric": texts(Units::Metric),
                    "us": texts(Units::Us),
                }));
            }
        }
    }
    println!("{}", serde_json::to_string(&told)?);
    Ok(())
}

/// A slider has ten steps from one simulated value to the next.
fn places(values: &[f64]) -> usize {
    10 * (values.len() - 1) + 1
}

/// The value at a place of the slider: a simulated one at every tenth, bit for bit.
fn value(values: &[f64], place: usize) -> f64 {
    let (from, tenths) = (place / 10, place % 10);
    if tenths == 0 {
        return values[from];
    }
    let (a, b) = (values[from], values[from + 1]);
    a + (b - a) * tenths as f64 / 10.0
}
