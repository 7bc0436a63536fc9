//! A whole study of the demo with its answers, on few passes: which setting it recommends, and what would help most.
//!
//!     cargo run --release --example a_study

use rowroom::scenario::Scenario;
use rowroom::study::{Plan, Until, Unwatched, study};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let scenario = Scenario::demo()?;
    let plan = Plan {
        scenario: &scenario,
        seed: 1,
        until: Until::Passes(16),
        threads: None,
    };
    let results = study(&plan, None, &Unwatched)?.results;

    println!(
        "{}: {} passes at each of {} speeds.",
        results.scenario.name,
        results.passes,
        results.speeds_m_s.len()
    );
    match &results.answers.recommended {
        Some(setting) => println!(
            "Drive {:.1} km/h with the tools {:.0} mm from the row: {:.2} % of the plants are cut (95 % limits {:.2} to {:.2} %).",
            3.6 * setting.speed_m_s,
            1e3 * setting.clearance_m,
            100.0 * setting.cut.rate,
            100.0 * setting.cut.lower,
            100.0 * setting.cut.upper
        ),
        None => println!("No simulated setting keeps every limit."),
    }
    Ok(())
}
