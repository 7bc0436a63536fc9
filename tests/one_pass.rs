//! Passes in the simulation, held against probabilities integrated by SciPy.
#![allow(missing_docs)]

mod common;

use common::{assert_near, cases, driven_at, number, quiet, references};
use rowroom::model::controller::Kind;
use rowroom::model::hitch::Hitch;
use rowroom::model::noise::GaussMarkov;
use rowroom::montecarlo::estimate::RatioSums;
use rowroom::sim::Drive;
use rowroom::sim::ground::Ground;
use rowroom::sim::shift::Shift;

/// Share of plants struck for a Gaussian tool error. A locked frame that only sways has exactly that error; an off-centre drive
/// gives it a mean. The sway is drawn on a grid that loses 0.17 % of its variance (0.5 mm in a thousand: far below what
/// follows). Tolerance: 3.5 standard errors over passes at a fixed seed, for 20 comparisons.
#[test]
fn val_hit_probability_of_a_gaussian_error() {
    let file = references("strikes");
    let passes = 60;
    for case in cases(&file, "gaussian") {
        let mut setup = quiet();
        setup.run.length_m = 200.0;
        setup.driver = driven_at(number(case, "tool_error_mean_m"));
        setup.hitch = Hitch::Rigid {
            sway: GaussMarkov {
                sd: number(case, "tool_error_sd_m"),
                reach: 1.0,
            },
            free_play_m: 1.0,
        };
        setup.plants.scatter_sd_m = number(case, "scatter_sd_m");
        setup.plants.protected_radius_m = number(case, "protected_radius_m");
        let clearance_m = number(case, "clearance_m");
        let mut sums = RatioSums::default();
        let mut shift = Shift::default();
        for pass in 0..passes {
            let ground = Ground::draw(&setup, 7, pass);
            let drive = Drive::new(&setup, &ground, 7, pass, 2.0);
            drive.shift(&setup, Kind::Locked, &mut shift);
            let struck = drive.meetings.iter().filter(|meeting| {
                meeting.needed_m(&shift.shift_m) + setup.plants.protected_radius_m > clearance_m
            });
            sums.add(struck.count() as f64, drive.meetings.len() as f64);
        }
        let expected = number(case, "probability");
        let standard_error = sums.variance().unwrap().sqrt();
        // Where hardly a plant is struck the observed spread says little; independent plants give the least it can be.
        let least = (expected * (1.0 - expected) / sums.plants).sqrt();
        assert_near(
            sums.rate(),
            expected,
            0.0,
            3.5 * standard_error.max(least),
            case,
        );
        if expected > 0.01 {
            assert!(
                3.5 * standard_error < 0.1 * expected,
                "says too little: {case}"
            );
        }
    }
}
