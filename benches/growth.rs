//! How cost grows: `cargo bench --bench growth`.
//!
//! Twice the passes, rows, speeds or length must cost twice at most. Base and doubled case are timed in turns; the median of the
//! ratios is printed.

use std::time::Instant;

use rowroom::model::controller::Kind;
use rowroom::model::setup::Setup;
use rowroom::montecarlo::tally::TRADE_ROOM_M;
use rowroom::sim::{self, Request};

const ROUNDS: usize = 15;
const CLEARANCES_M: [f64; 4] = [0.038, 0.05, 0.06, 0.07];

/// Seconds for so many passes of a setup at these speeds under a PID.
fn time(setup: &Setup, passes: u64, speeds_m_s: &[f64]) -> f64 {
    let request = Request {
        seed: 1,
        speeds_m_s,
        clearances_m: &CLEARANCES_M,
        rows_apart_at_m_s: None,
        room_m: TRADE_ROOM_M,
    };
    let setups = vec![setup.clone(); passes as usize];
    let numbers: Vec<u64> = (0..passes).collect();
    let start = Instant::now();
    std::hint::black_box(sim::run(&request, &[Kind::Pid], &setups, &numbers));
    start.elapsed().as_secs_f64()
}

fn main() {
    let base = Setup::plausible();
    let mut rows = base.clone();
    let shifted = rows.rows.offset_m.iter().map(|offset_m| offset_m - 2.0);
    rows.rows.offset_m = base.rows.offset_m.iter().copied().chain(shifted).collect();
    rows.rows.planter_pass = vec![0; rows.rows.offset_m.len()];
    let mut length = base.clone();
    length.run.length_m *= 2.0;
    let (one, two) = ([8.0 / 3.6], [8.0 / 3.6, 8.1 / 3.6]);
    println!(
        "{:10}{:>8}   median of {ROUNDS} ratios",
        "twice the", "cost"
    );
    for (what, setup, passes, speeds) in [
        ("passes", &base, 32, &one[..]),
        ("rows", &rows, 16, &one[..]),
        ("speeds", &base, 16, &two[..]),
        ("length", &length, 16, &one[..]),
    ] {
        let mut ratios: Vec<f64> = (0..ROUNDS)
            .map(|_| {
                let before = time(&base, 16, &one);
                time(setup, passes, speeds) / before
            })
            .collect();
        ratios.sort_by(f64::total_cmp);
        println!("{what:10}{:>8.2}", ratios[ROUNDS / 2]);
    }
}
