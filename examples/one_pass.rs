//! One pass over the demo's field: which plants are cut, and where the tools are furthest off the row.
//!
//!     cargo run --release --example one_pass

use rowroom::model::controller::Kind;
use rowroom::montecarlo::study::one_pass;
use rowroom::scenario::Scenario;
use rowroom::sim::trace::{Fate, View};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let scenario = Scenario::demo()?;
    let pass = one_pass(
        &scenario,
        View {
            kind: Kind::LagCompensated,
            speed_m_s: 8.0 / 3.6,
            clearance_m: 0.045,
            seed: 1,
            pass: 0,
        },
    )?;

    let cut = pass.plants.iter().filter(|plant| plant.fate == Fate::Cut);
    println!(
        "At 8 km/h with the tools 45 mm from the row, {} of {} plants are cut.",
        cut.count(),
        pass.plants.len()
    );
    let off = pass
        .samples
        .iter()
        .max_by(|a, b| a.tool_error_m.abs().total_cmp(&b.tool_error_m.abs()))
        .ok_or("the tractor lost the row at once")?;
    println!(
        "The tools are furthest off the row at {:.1} m: {:.0} mm to the {}.",
        off.station_m,
        1e3 * off.tool_error_m.abs(),
        if off.tool_error_m > 0.0 {
            "left"
        } else {
            "right"
        }
    );
    Ok(())
}
