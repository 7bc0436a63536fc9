//! A machine of your own, changed in code, against the demo's as it is: both meet the same ground, driver and plants, so that few passes
//! tell them apart.
//!
//!     cargo run --release --example own_machine

use rowroom::answers::trial::{Ask, Cell, Trials, as_it_is};
use rowroom::model::controller::Kind;
use rowroom::model::setup::Setup;
use rowroom::scenario::Scenario;
use rowroom::study::Unwatched;

/// A camera that looks further ahead and answers sooner.
fn own(machine: &mut Setup) {
    machine.camera.lookahead_m += 0.3;
    machine.camera.latency_s *= 0.5;
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let scenario = Scenario::demo()?;
    let trials = Trials::new(&scenario, 1, None, &Unwatched)?;
    let ask = Ask {
        passes: 64,
        speeds_m_s: &[12.0 / 3.6],
        clearances_m: &[0.045],
    };
    let kinds: &[Kind] = &[Kind::LagCompensated];
    let samples = trials.run_each(&ask, &[(kinds, &as_it_is), (kinds, &own)])?;
    let [shipped, changed] = [&samples[0], &samples[1]];

    let (shipped, changed) = (shipped.cell(0, 0), changed.cell(0, 0));
    let cut = |cell: &Cell| 100.0 * cell.estimates()[0].rate;
    let less = shipped.less(changed, 0);
    println!("At 12 km/h with the tools 45 mm from the row, under lag compensation:");
    println!(
        "  the demo's machine cuts {:.2} % of the plants",
        cut(shipped)
    );
    println!("  your machine cuts       {:.2} %", cut(changed));
    println!(
        "  that is {:.2} points fewer (95 % limits {:.2} to {:.2}).",
        100.0 * less.value,
        100.0 * less.lower,
        100.0 * less.upper
    );
    Ok(())
}
