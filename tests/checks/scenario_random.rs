//! Random scenarios, made from the list of keys: every one that the list allows can be read, and says what was written.

use crate::common::generator;
use crate::common::generator::Made;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use rowroom::model::hitch::Hitch;
use rowroom::scenario::Scenario;
use rowroom::scenario::keys::{KEYS, Shape};

fn runner(cases: u32) -> TestRunner {
    let config = Config {
        cases,
        failure_persistence: None,
        ..Config::default()
    };
    TestRunner::new_with_rng(config, TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32]))
}

fn read(made: &Made) -> Result<Scenario, TestCaseError> {
    Scenario::parse(&made.text, "random.toml", &generator::files, made.replay())
        .map_err(|error| TestCaseError::fail(format!("{error}\n{}", made.text)))
}

#[test]
fn prop_whatever_the_keys_allow_is_a_scenario() {
    runner(256)
        .run(&generator::scenarios(), |made| {
            let scenario = read(&made)?;
            let study = scenario.study();
            prop_assert!(study.speeds_m_s.contains(&study.working_speed_m_s));
            prop_assert!(study.clearances_m.contains(&study.working_clearance_m));
            prop_assert!(study.speeds_m_s.windows(2).all(|pair| pair[0] < pair[1]));
            // Round trip: the values told are the values written.
            let told = scenario.assumptions();
            for (path, value) in &made.written {
                let found = told.iter().find(|a| a.key == *path);
                let found = found.map(|a| (a.value.as_str(), a.origin.as_str()));
                prop_assert_eq!(
                    found,
                    Some((value.trim_matches('"'), "scenario")),
                    "{}",
                    path
                );
            }
            Ok(())
        })
        .unwrap();
}

#[test]
fn prop_every_draw_keeps_the_ranges_of_its_keys() {
    let range = |path: &str| {
        let key = KEYS.iter().find(|key| key.path() == path).unwrap();
        key.range().unwrap()
    };
    runner(128)
        .run(&generator::scenarios(), |made| {
            let scenario = read(&made)?;
            let setups = (0..5).map(|pass| scenario.draw(3, pass));
            for setup in setups.chain([scenario.nominal()]) {
                let hydraulics = &setup.hydraulics;
                let checks = [
                    ("pass.entry_offset", setup.run.entry_offset_m),
                    ("pass.entry_heading", setup.run.entry_heading_rad),
                    ("rows.wander", setup.rows.wander.sd),
                    ("plants.spacing", setup.plants.spacing_m),
                    ("plants.spacing_cv", setup.plants.spacing_cv),
                    ("plants.emergence", setup.plants.emergence),
                    ("plants.scatter_sd", setup.plants.scatter_sd_m),
                    ("plants.stem_radius", setup.plants.stem_radius_m),
                    ("tractor.wheelbase", setup.tractor.wheelbase_m),
                    ("tractor.steering_lag", setup.tractor.steer_lag_s),
                    ("camera.frames", setup.camera.frame_s),
                    ("camera.latency", setup.camera.latency_s),
                    ("camera.alignment", setup.camera.alignment_m),
                    ("camera.outlier_share", setup.camera.outlier_share),
                    ("hydraulics.supply_pressure", hydraulics.supply_pa),
                    ("hydraulics.pump_flow", hydraulics.pump_m3_s),
                    ("hydraulics.friction", hydraulics.friction_n),
                    (
                        "cold_oil.dead_time_factor",
                        hydraulics.cold_dead_time_factor,
                    ),
                    ("cold_oil.flow_factor", hydraulics.cold_flow_factor),
                ];
                for (path, value) in checks {
                    let (low, high) = range(path);
                    prop_assert!((low..=high).contains(&value), "{path} = {value}");
                }
                let crab_most = 0.6 * 0.4_f64.atan();
                prop_assert!(setup.tractor.crab_rad.abs() <= crab_most);
                prop_assert!((0.0..0.9).contains(&setup.camera.blind_share));
                prop_assert!(setup.plants.protected_radius_m >= setup.plants.stem_radius_m);
                prop_assert!(setup.run.entry_shift_m.abs() <= hydraulics.stroke_m / 2.0);
                prop_assert!(hydraulics.rod_m < hydraulics.bore_m);
                prop_assert!(hydraulics.return_pa < hydraulics.supply_pa);
                prop_assert!(!setup.rows.guided.is_empty());
                let offsets = &setup.rows.offset_m;
                prop_assert!(offsets.windows(2).all(|pair| pair[0] > pair[1]));
                prop_assert!(offsets.iter().sum::<f64>().abs() < 1e-9);
                prop_assert_eq!(offsets.len(), setup.rows.planter_pass.len());
                let pass_of = |row: usize| setup.rows.planter_pass[row];
                let guided = &setup.rows.guided;
                prop_assert!(guided.iter().all(|&row| pass_of(row) == pass_of(guided[0])));
                let front =
                    matches!(setup.hitch, Hitch::Rigid { .. }) && setup.tools.tool_line_m < 0.0;
                prop_assert_eq!(front, made.text.contains("[hitch.front]"));
                let shown = format!("{setup:?}");
                prop_assert!(all_finite(&shown));
            }
            Ok(())
        })
        .unwrap();
}

/// No NaN anywhere; infinite only where a PID has no integral part.
fn all_finite(shown: &str) -> bool {
    !shown.contains("NaN") && !shown.replace("integral_s: inf", "").contains("inf")
}

/// A value just beyond either end of its range is refused, wherever a key has one.
#[test]
fn prop_values_beyond_the_range_are_refused() {
    for key in KEYS {
        let Shape::Quantity { quantity, .. } = key.shape else {
            continue;
        };
        let (low, high) = key.range().unwrap();
        let room = 0.01 * (high - low);
        let unit = generator::plain_unit(quantity);
        for (beyond, refused) in [(low - room, true), (high + room, true), (low + room, false)] {
            let number = unit.from_si(beyond);
            let value = if unit.name.is_empty() {
                format!("{number:?}")
            } else {
                format!("\"{number:?} {}\"", unit.name)
            };
            let text = format!("[{}]\n{} = {value}\n", key.table, key.name);
            let message = Scenario::parse(&text, "x.toml", &generator::files, None)
                .unwrap_err()
                .to_string();
            let told = format!("{} = {value} is out of range: allowed ", key.path());
            assert_eq!(message.contains(&told), refused, "{text}{message}");
        }
    }
}
