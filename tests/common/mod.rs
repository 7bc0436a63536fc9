//! What the outside checks share: reference values and a quiet machine.

pub mod farm_simulator;
pub mod generator;
pub mod known;
pub mod machines;
pub mod recount;

use rowroom::model::damped::Damped;
use rowroom::model::driver::{Driver, LoggedPath};
use rowroom::model::noise::GaussMarkov;
use rowroom::model::setup::Setup;
use serde_json::Value;

/// The reference values of one file in `tests/references/`.
pub fn references(name: &str) -> Value {
    let path = format!(
        "{}/tests/references/{name}.json",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// The cases of one list, never empty.
pub fn cases<'a>(file: &'a Value, key: &str) -> &'a [Value] {
    let list = file[key].as_array().expect("a list");
    assert!(!list.is_empty(), "{key} is empty");
    list
}

/// A number of a case.
pub fn number(case: &Value, key: &str) -> f64 {
    case[key]
        .as_f64()
        .unwrap_or_else(|| panic!("no number {key} in {case}"))
}

/// A list of numbers.
pub fn numbers(value: &Value) -> Vec<f64> {
    let list = value.as_array().expect("a list of numbers");
    list.iter()
        .map(|item| item.as_f64().expect("a number"))
        .collect()
}

/// Fails unless `found` is within `relative` of `expected`, or within `absolute` of it.
#[track_caller]
pub fn assert_near(
    found: f64,
    expected: f64,
    relative: f64,
    absolute: f64,
    what: impl std::fmt::Display,
) {
    assert!(
        (found - expected).abs() <= relative * expected.abs() + absolute,
        "{what}: found {found:e}, expected {expected:e}"
    );
}

/// The plausible machine with every limit of steering, oil and stroke out of reach.
pub fn unlimited() -> Setup {
    let mut setup = Setup::plausible();
    setup.run.length_m = 400.0;
    setup.run.start_delay_s = 0.0;
    setup.plants.spacing_m = 50.0;
    setup.tractor.steer_limit_rad = 1.5;
    setup.tractor.steer_rate_rad_s = 100.0;
    setup.hydraulics.stroke_m = 20.0;
    setup.hydraulics.pump_m3_s *= 1000.0;
    if let Some(valve) = &mut setup.hydraulics.proportional {
        valve.rated_flow_m3_s *= 1000.0;
    }
    setup
}

/// Mean squares of passes; the pass is the sampling unit.
#[derive(Clone, Debug, Default)]
pub struct MeanSquares(pub Vec<f64>);

impl MeanSquares {
    /// The root of their mean, and its standard error.
    pub fn sd_and_error(&self) -> (f64, f64) {
        let n = self.0.len() as f64;
        let mean = self.0.iter().sum::<f64>() / n;
        let spread = self.0.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / (n - 1.0);
        let sd = mean.sqrt();
        (sd, (spread / n).sqrt() / (2.0 * sd))
    }
}

/// The mean of the squares of values.
pub fn mean_square(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = values.fold((0.0, 0_u32), |(sum, count), x| (sum + x * x, count + 1));
    sum / f64::from(count)
}

/// A machine without any noise on a straight level row, driven along the planned line. Invented.
pub fn quiet() -> Setup {
    let mut setup = Setup::plausible();
    setup.rows.wander = Damped::smooth(0.0, 12.5);
    setup.plants.scatter_sd_m = 0.0;
    setup.plants.spacing_cv = 0.0;
    setup.plants.emergence = 1.0;
    setup.camera.appearance.sd = 0.0;
    setup.camera.roll_ground_sd_rad = 0.0;
    setup.position_sensor = setup.position_sensor.map(|mut sensor| {
        sensor.noise_sd_m = 0.0;
        sensor
    });
    setup.yaw_sensor = setup.yaw_sensor.map(|mut sensor| {
        sensor.noise = GaussMarkov::OFF;
        sensor
    });
    if let Driver::Hand(hand) = &mut setup.driver {
        hand.seeing.sd = 0.0;
        hand.steering.sd = 0.0;
    }
    setup
}

/// A pass driven at a constant offset from the planned line.
pub fn driven_at(offset_m: f64) -> Driver {
    Driver::Replay(LoggedPath::new(vec![0.0, 500.0, 1000.0], vec![offset_m; 3]))
}
