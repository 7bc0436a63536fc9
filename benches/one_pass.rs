//! Nanoseconds per tick of one pass of the demo at its working speed: `cargo bench`.
//!
//! The ground of a pass is drawn once; the drive over it is shared by all controllers. The whole pass of a controller is
//! drive, sensors and side-shift together. Median and fastest of the repeats are printed; the machine is not compared.

use std::time::Instant;

use rowroom::model::controller::Kind;
use rowroom::scenario::{Scenario, ScenarioError};
use rowroom::sim::frames::Frames;
use rowroom::sim::ground::Ground;
use rowroom::sim::path::drive;
use rowroom::sim::shift::{Shift, run};

const REPEATS: usize = 21;

fn main() -> Result<(), ScenarioError> {
    let scenario = Scenario::demo()?;
    let (seed, pass) = (scenario.study().seed, 0);
    let speed_m_s = scenario.study().working_speed_m_s;
    let setup = scenario.draw(seed, pass);
    let ground = Ground::draw(&setup, seed, pass);
    let path = drive(&setup, &ground, seed, pass, speed_m_s);
    let sensors = Frames::observe(&setup, &ground, &path, seed, pass);
    let ticks = path.station_m.len();
    println!(
        "{:24}{:>12}{:>12}   ns per tick, {ticks} ticks of {} ms, {REPEATS} repeats",
        "part",
        "median",
        "fastest",
        1e3 * path.step_s
    );
    time("ground (once a pass)", ticks, || {
        Ground::draw(&setup, seed, pass)
    });
    time("drive", ticks, || {
        drive(&setup, &ground, seed, pass, speed_m_s)
    });
    time("sensors", ticks, || {
        Frames::observe(&setup, &ground, &path, seed, pass)
    });
    let mut shift = Shift::default();
    for kind in Kind::ALL {
        if kind.lacks(&setup).is_none() {
            time(kind.name(), ticks, || {
                run(&setup, &path, &sensors, kind, &mut shift)
            });
        }
    }
    Ok(())
}

fn time<T>(part: &str, ticks: usize, mut work: impl FnMut() -> T) {
    let mut ns: Vec<f64> = (0..REPEATS)
        .map(|_| {
            let start = Instant::now();
            std::hint::black_box(work());
            start.elapsed().as_nanos() as f64 / ticks as f64
        })
        .collect();
    ns.sort_by(f64::total_cmp);
    println!("{part:24}{:>12.1}{:>12.1}", ns[REPEATS / 2], ns[0]);
}
