//! Our side of the comparison with other ways to write the same simulation: `python benches/peers/run.py` runs it.
//!
//! Times passes of `benches/peers/reduced.toml` inside one process after a warm-up, start-up left out, and prints a JSON line for
//! each engine: wall time over ticks driven, warm-up of the pass included, by all threads together.

use std::path::Path;
use std::time::{Duration, Instant};

use rowroom::lanes::{self, LANES, Request};
use rowroom::model::controller::Kind;
use rowroom::montecarlo::tally::{TRADE_ROOM_M, Tally};
use rowroom::scenario::{Scenario, ScenarioError};
use rowroom::sim::Drive;
use rowroom::sim::ground::{Ground, warm_up_m};
use rowroom::sim::shift::Shift;

/// Time that one figure takes at least.
const LEAST: Duration = Duration::from_millis(400);

fn main() -> Result<(), ScenarioError> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/peers/reduced.toml");
    let scenario = Scenario::read(&file, None)?;
    let study = scenario.study();
    let (seed, speed_m_s) = (study.seed, study.speeds_m_s[0]);
    let setup = scenario.draw(seed, 0);
    let driven = Drive::new(&setup, &Ground::draw(&setup, seed, 0), seed, 0, speed_m_s);
    let warm_up_ticks = (warm_up_m(&setup, speed_m_s) / (speed_m_s * setup.run.step_s)).ceil();
    let ticks = warm_up_ticks as u64 + driven.path.station_m.len() as u64;

    let mut shift = Shift::default();
    let mut tally = Tally::new(setup.rows.offset_m.len(), study.clearances_m.len());
    let mut reference = |passes: std::ops::Range<u64>| {
        for pass in passes {
            let setup = scenario.draw(seed, pass);
            let ground = Ground::draw(&setup, seed, pass);
            let drive = Drive::new(&setup, &ground, seed, pass, speed_m_s);
            drive.shift(&setup, Kind::Pid, &mut shift);
            tally.add(
                &setup,
                &drive.path,
                &drive.meetings,
                &shift,
                &study.clearances_m,
            );
        }
    };
    print("reference", 1, ticks, &mut reference);

    let request = Request {
        seed,
        speeds_m_s: &study.speeds_m_s,
        kinds: &[Kind::Pid],
        clearances_m: &study.clearances_m,
        rows_apart_at_m_s: None,
        room_m: TRADE_ROOM_M,
    };
    let side_by_side = |passes: std::ops::Range<u64>| {
        let numbers: Vec<u64> = passes.collect();
        for passes in numbers.chunks(LANES) {
            let setups: Vec<_> = passes
                .iter()
                .map(|&pass| scenario.draw(seed, pass))
                .collect();
            std::hint::black_box(lanes::run(&request, &setups, passes));
        }
    };
    for threads in [1, 2] {
        print("lanes", threads, ticks, &mut |passes| {
            let each = (passes.end - passes.start) / threads;
            std::thread::scope(|scope| {
                for thread in 0..threads {
                    let from = passes.start + thread * each;
                    scope.spawn(move || side_by_side(from..from + each));
                }
            });
        });
    }
    Ok(())
}

fn print(engine: &str, threads: u64, ticks: u64, work: &mut impl FnMut(std::ops::Range<u64>)) {
    let block = LANES as u64 * threads * 4;
    work(0..block);
    let (start, mut passes) = (Instant::now(), 0);
    while start.elapsed() < LEAST {
        work(passes..passes + block);
        passes += block;
    }
    let ns = start.elapsed().as_nanos() as f64 / (passes * ticks) as f64;
    println!(
        "{{\"engine\": \"{engine}\", \"threads\": {threads}, \"ns_per_tick\": {ns:.3}, \"ticks_per_pass\": {ticks}}}"
    );
}
