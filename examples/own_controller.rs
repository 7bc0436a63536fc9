//! A controller of one's own on the demo's side-shift, against the PID on the same passes.
//!
//!     cargo run --release --example own_controller
//!
//! One that is to be studied like the others takes a file in `src/model/controller/`: see DEVELOPERS.md.

use rowroom::model::controller::law::{Arrival, Asked, Law, Reach};
use rowroom::model::controller::{Kind, ValveKind};
use rowroom::model::setup::Setup;
use rowroom::model::tracker::Tracked;
use rowroom::model::vector::Lanes;
use rowroom::scenario::Scenario;
use rowroom::sim::pass::{Pass, Shifted};

/// Shifts in proportion to the error, but leaves small ones alone.
struct Calm {
    gain_1_s: f64,
    band_m: f64,
    tracked: Tracked<1>,
    reach: Reach,
}

impl Law<1> for Calm {
    fn command(&mut self, arrival: &Arrival<'_, 1>) -> Asked<1> {
        let (error_m, told) = self.tracked.error(arrival);
        let band_m = self.band_m;
        let beyond_m = error_m.map(|m| m - m.clamp(-band_m, band_m));
        self.reach.ask(beyond_m * self.gain_1_s).only_where(told)
    }

    fn applied(&mut self, _: f64, _: Lanes<1>) {}
}

const SPEED_M_S: f64 = 8.0 / 3.6;
const PASSES: u64 = 20;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let setup = Scenario::demo()?.nominal();
    let mut sums = [Vec::new(), Vec::new()];
    for pass in 0..PASSES {
        let drive = Pass::drive(&setup, 1, pass, SPEED_M_S);
        let shift = drive.shift(&setup, Kind::Pid);
        sums[0].push(mean_square_m2(&setup, &drive, &shift));
        let calm = Calm {
            gain_1_s: 4.0,
            band_m: 0.005,
            tracked: Tracked::new(&setup, SPEED_M_S),
            reach: Reach::of(&setup).ok_or("the machine has no proportional valve")?,
        };
        let shift = drive.shift_under(&setup, ValveKind::Proportional, calm);
        sums[1].push(mean_square_m2(&setup, &drive, &shift));
    }
    for (name, squares_m2) in ["the PID", "leaving 5 mm alone"].iter().zip(&sums) {
        let n = squares_m2.len() as f64;
        let mean_m2 = squares_m2.iter().sum::<f64>() / n;
        let spread = squares_m2
            .iter()
            .map(|x| (x - mean_m2).powi(2))
            .sum::<f64>()
            / (n - 1.0);
        let error_mm = 1e3 * (spread / n).sqrt() / (2.0 * mean_m2.sqrt());
        println!(
            "{name}: the tools are {:.1} mm off the row (root mean square; standard error {error_mm:.1} mm over {PASSES} passes)",
            1e3 * mean_m2.sqrt()
        );
    }
    Ok(())
}

/// Mean square of the tool error after the entry stretch, m².
fn mean_square_m2(setup: &Setup, drive: &Pass, shift: &Shifted) -> f64 {
    let path = &drive.path;
    let from_m = setup.run.entry_length_m + setup.tools.tool_line_m;
    let ticks = (0..path.station_m.len()).filter(|&k| path.station_m[k] > from_m);
    let errors = ticks.map(|k| shift.shift_m[k] - path.wanted_m(k));
    let (sum, count) = errors.fold((0.0, 0.0), |(sum, count), m| (sum + m * m, count + 1.0));
    sum / count
}
