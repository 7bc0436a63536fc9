//! Our side of the comparison with other ways to write the same simulation: `python benches/peers/run.py` runs it.
//!
//! Times passes of `benches/peers/reduced.toml` inside one process after a warm-up, start-up left out, over ticks driven, warm-up of the
//! pass included. Prints JSON lines: with one thread its processor time, on each of the registers that the processor has; with two the
//! clock's for both together, beside that of one.

use std::path::Path;
use std::time::{Duration, Instant};

use cpu_time::ThreadTime;
use rowroom::model::controller::Kind;
use rowroom::montecarlo::tally::TRADE_ROOM_M;
use rowroom::scenario::{Scenario, ScenarioError};
use rowroom::sim::ground::warm_up_m;
use rowroom::sim::pass::Pass;
use rowroom::sim::{LANES, Registers, Request, run_on};

/// Time that one figure takes at least.
const LEAST: Duration = Duration::from_millis(400);

fn main() -> Result<(), ScenarioError> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/peers/reduced.toml");
    let scenario = Scenario::read(&file, None)?;
    let study = scenario.study();
    let (seed, speed_m_s) = (study.seed, study.speeds_m_s[0]);
    let setup = scenario.draw(seed, 0);
    let driven = Pass::drive(&setup, seed, 0, speed_m_s);
    // Whole steps of the drive, as the engine takes them; the last one lies beyond the last tick.
    let timing = &setup.run;
    let warm_up = (warm_up_m(&setup, speed_m_s) / (speed_m_s * timing.drive_step_s())).ceil();
    let steps = warm_up as usize + driven.path.station_m.len() / timing.drive_ticks + 2;
    let ticks = (steps * timing.drive_ticks) as u64;

    let request = Request {
        seed,
        speeds_m_s: &study.speeds_m_s,
        clearances_m: &study.clearances_m,
        rows_apart_at_m_s: None,
        room_m: TRADE_ROOM_M,
    };
    let simulate = |registers: Registers, passes: std::ops::Range<u64>| {
        for first in passes.step_by(LANES) {
            let passes: [u64; LANES] = std::array::from_fn(|lane| first + lane as u64);
            let setups = passes.map(|pass| scenario.draw(seed, pass));
            std::hint::black_box(run_on(registers, &request, &[Kind::Pid], &setups, passes));
        }
    };
    let block = 4 * LANES as u64;
    let per_tick = |time: Duration, passes: u64| time.as_nanos() as f64 / (passes * ticks) as f64;
    let print = |registers: Registers, threads: usize, time: &str, ns: f64| {
        println!(
            "{{\"engine\": \"{registers:?}\", \"threads\": {threads}, \"time\": \"{time}\", \"ns_per_tick\": {ns:.3}, \"ticks_per_pass\": {ticks}}}"
        );
    };
    for registers in Registers::here() {
        let simulate = |passes| simulate(registers, passes);
        simulate(0..block);
        let (clock, processor, passes) = timed(&simulate, block);
        let two: Vec<u64> = std::thread::scope(|scope| {
            let each = [0, 1].map(|_| scope.spawn(|| timed(&simulate, block).2));
            each.into_iter()
                .filter_map(|thread| thread.join().ok())
                .collect()
        });
        print(registers, 1, "processor", per_tick(processor, passes));
        print(registers, 1, "clock", per_tick(clock, passes));
        print(registers, 2, "clock", per_tick(LEAST, two.iter().sum()));
    }
    Ok(())
}

/// Works for [`LEAST`], then says how long that took by the clock and by the processor, and how many passes were done.
fn timed(work: &impl Fn(std::ops::Range<u64>), block: u64) -> (Duration, Duration, u64) {
    let (clock, processor, mut passes) = (Instant::now(), ThreadTime::now(), 0);
    while clock.elapsed() < LEAST {
        work(passes..passes + block);
        passes += block;
    }
    (clock.elapsed(), processor.elapsed(), passes)
}
