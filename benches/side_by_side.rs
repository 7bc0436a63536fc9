//! Our side of the comparison with other ways to write the same simulation: `python benches/peers/run.py` runs it.
//!
//! Times passes of `benches/peers/reduced.toml` inside one process after a warm-up, start-up left out, over ticks driven, warm-up of the
//! pass included. Prints JSON lines: with one thread its processor time, with two the clock's for both together, beside that of one.

use std::path::Path;
use std::time::{Duration, Instant};

use cpu_time::ThreadTime;
use rowroom::model::controller::Kind;
use rowroom::montecarlo::tally::TRADE_ROOM_M;
use rowroom::scenario::{Scenario, ScenarioError};
use rowroom::sim::ground::warm_up_m;
use rowroom::sim::pass::Pass;
use rowroom::sim::{LANES, Request, run};

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
    let simulate = |passes: std::ops::Range<u64>| {
        let numbers: Vec<u64> = passes.collect();
        for passes in numbers.chunks(LANES) {
            let setups: Vec<_> = passes
                .iter()
                .map(|&pass| scenario.draw(seed, pass))
                .collect();
            std::hint::black_box(run(&request, &[Kind::Pid], &setups, passes));
        }
    };
    let block = 4 * LANES as u64;
    simulate(0..block);
    let (clock, processor, passes) = timed(&simulate, block);
    let two: Vec<u64> = std::thread::scope(|scope| {
        let each = [0, 1].map(|_| scope.spawn(|| timed(&simulate, block).2));
        each.into_iter()
            .filter_map(|thread| thread.join().ok())
            .collect()
    });
    let per_tick = |time: Duration, passes: u64| time.as_nanos() as f64 / (passes * ticks) as f64;
    for (threads, what, ns) in [
        (1, "processor", per_tick(processor, passes)),
        (1, "clock", per_tick(clock, passes)),
        (2, "clock", per_tick(LEAST, two.iter().sum())),
    ] {
        println!(
            "{{\"engine\": \"ours\", \"threads\": {threads}, \"time\": \"{what}\", \"ns_per_tick\": {ns:.3}, \"ticks_per_pass\": {ticks}}}"
        );
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
