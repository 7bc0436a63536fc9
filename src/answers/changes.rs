//! What can be changed about a machine: causes taken away, and steps that can be bought or set.

use crate::model::controller::Kind;
use crate::model::driver::Driver;
use crate::model::hitch::Hitch;
use crate::model::line::Line;
use crate::model::noise::GaussMarkov;
use crate::model::setup::Setup;
use crate::scenario::Units;

/// What a change does to a machine at a speed, m/s.
type Apply = dyn Fn(&mut Setup, f64) + Sync;

/// A change of every machine of a study.
pub struct Change {
    /// In plain words.
    pub words: String,
    /// The change at a speed, m/s.
    pub apply: Box<Apply>,
}

fn change(words: impl Into<String>, apply: impl Fn(&mut Setup, f64) + Sync + 'static) -> Change {
    Change {
        words: words.into(),
        apply: Box::new(apply),
    }
}

/// How many times the oil flows where flow is taken away as a cause: more would hand the leftover of the deadband to the frame.
const AMPLE_FLOW: f64 = 3.0;

/// Travel that no row asks for, m.
pub const UNLIMITED_STROKE_M: f64 = 10.0;

/// The causes that can be taken away from a machine on its field.
pub fn causes(setup: &Setup) -> Vec<Change> {
    let mut all = vec![
        change("lag of camera and valve", without_lag),
        change("stroke", |setup, _| {
            setup.hydraulics.stroke_m = UNLIMITED_STROKE_M;
        }),
        change("oil flow", |setup, _| more_flow(setup, AMPLE_FLOW)),
        change("camera noise", |setup, _| {
            camera_noise(setup, 0.0);
            setup.camera.blind_share = 0.0;
            setup.camera.outlier_share = 0.0;
        }),
        change("alignment of camera and tools", |setup, _| {
            setup.camera.alignment_m = 0.0;
            setup.camera.trim_m = 0.0;
            setup.tools.setting_sd_m = 0.0;
        }),
        change("plants off their row", |setup, _| {
            setup.plants.scatter_sd_m = 0.0;
        }),
        change("the driver's wander", |setup, _| wander(setup, 0.0)),
        change("the planter's wander", |setup, _| planting(setup, 0.0)),
    ];
    if !setup.line.is_straight() {
        all.push(change("bends of the rows", |setup, _| {
            setup.line = Line::straight();
        }));
    }
    if setup.tractor.crab_rad != 0.0 || setup.hydraulics.side_force_n != 0.0 {
        all.push(change("side slope and side force", |setup, _| {
            setup.tractor.crab_rad = 0.0;
            setup.hydraulics.side_force_n = 0.0;
            if let Hitch::Drawn {
                implement_crab_rad, ..
            } = &mut setup.hitch
            {
                *implement_crab_rad = 0.0;
            }
        }));
    }
    all
}

/// Steps that can be bought or set, one at a time; `best_lookahead_m` is what the linear check found. Sizes are round ones in `units`.
pub fn steps(setup: &Setup, best_lookahead_m: Option<f64>, units: Units) -> Vec<Change> {
    let (stroke_words, more_stroke_m) = match units {
        Units::Metric => ("100 mm more stroke", 0.1),
        Units::Us => ("4 in more stroke", 0.1016),
    };
    let mut all = vec![
        change("camera with twice the frames", |setup, _| {
            setup.camera.frame_s *= 0.5;
        }),
        change("camera latency halved", |setup, _| {
            setup.camera.latency_s *= 0.5;
        }),
        change("camera noise halved", |setup, _| camera_noise(setup, 0.5)),
        change(stroke_words, move |setup, _| {
            setup.hydraulics.stroke_m += more_stroke_m;
        }),
        change("half as much oil flow again, pump and valve", |setup, _| {
            more_flow(setup, 1.5);
        }),
        change("valve twice as quick", |setup, _| valve_lag(setup, 0.5)),
        change("camera aligned and tools set twice as well", |setup, _| {
            setup.camera.alignment_m *= 0.5;
            setup.camera.trim_m *= 0.5;
            setup.tools.setting_sd_m *= 0.5;
        }),
        change("straighter planting: half the wander", |setup, _| {
            planting(setup, 0.5);
        }),
        change("a steadier driver: half the wander", |setup, _| {
            wander(setup, 0.5);
        }),
    ];
    all.extend(best_lookahead(setup, best_lookahead_m));
    if matches!(setup.hitch, Hitch::Rigid { sway, .. } if sway.sd > 0.0) {
        all.push(change("lower links without play", |setup, _| {
            if let Hitch::Rigid { sway, free_play_m } = &mut setup.hitch {
                sway.sd = 0.0;
                *free_play_m = 0.0;
            }
        }));
    }
    all
}

/// Lookahead steps shorter than this are not worth a spanner, m (our choice, no source).
const LEAST_STEP_M: f64 = 0.05;

/// The best lookahead, unless the camera stands there already.
pub fn best_lookahead(setup: &Setup, best_m: Option<f64>) -> Option<Change> {
    let own_m = setup.camera.lookahead_m;
    let best_m = best_m.filter(|best_m| (best_m - own_m).abs() >= LEAST_STEP_M)?;
    let words = if best_m > own_m {
        "camera looks further ahead: the best lookahead"
    } else {
        "camera looks less far ahead: the best lookahead"
    };
    Some(change(words, move |setup, _| {
        setup.camera.lookahead_m = best_m;
    }))
}

/// What another valve or cold oil is worth to be asked about.
pub fn valves(setup: &Setup, kind: Kind) -> Vec<Change> {
    let mut all = vec![
        change("valve twice as quick", |setup, _| valve_lag(setup, 0.5)),
        change("valve half as quick", |setup, _| valve_lag(setup, 2.0)),
    ];
    if kind != Kind::OnOff && setup.hydraulics.proportional.is_some() {
        all.push(change("valve without deadband", |setup, _| {
            if let Some(valve) = &mut setup.hydraulics.proportional {
                valve.deadband = 0.0;
            }
        }));
        all.push(change("deadband not jumped over", |setup, _| {
            if let Some(valve) = &mut setup.hydraulics.proportional {
                valve.deadband_compensation = 0.0;
            }
        }));
    }
    all.push(change(
        "cold oil: twice the dead time and lag, 30 % less flow",
        |setup, _| {
            setup.hydraulics.cold_dead_time_factor *= 2.0;
            setup.hydraulics.cold_lag_factor *= 2.0;
            setup.hydraulics.cold_flow_factor *= 0.7;
        },
    ));
    all
}

/// Work under lights: camera noise times a factor.
pub fn under_lights(factor: f64) -> Change {
    change("work under lights", move |setup, _| {
        setup.camera.white_sd_m *= factor;
        setup.camera.appearance.sd *= factor;
    })
}

/// The tools see the row without delay: what the lag took is taken off the lookahead.
fn without_lag(setup: &mut Setup, speed_m_s: f64) {
    let mut lag_s = setup.camera.latency_s;
    setup.camera.latency_s = 0.0;
    if let Some(valve) = &mut setup.hydraulics.proportional {
        lag_s += valve.dead_time_s + valve.spool_lag_s;
        valve.dead_time_s = 0.0;
        valve.spool_lag_s = 0.0;
    }
    if let Some(valve) = &mut setup.hydraulics.directional {
        valve.open_s = 0.0;
        valve.close_s = 0.0;
    }
    if let Some(lag) = &mut setup.controllers.lag {
        lag.dead_time_s = 0.0;
        lag.spool_lag_s = 0.0;
    }
    let lookahead_m = &mut setup.camera.lookahead_m;
    *lookahead_m = (*lookahead_m - speed_m_s * lag_s).max(0.0);
}

fn more_flow(setup: &mut Setup, factor: f64) {
    setup.hydraulics.pump_m3_s *= factor;
    if let Some(valve) = &mut setup.hydraulics.proportional {
        valve.rated_flow_m3_s *= factor;
    }
    if let Some(valve) = &mut setup.hydraulics.directional {
        valve.rated_flow_m3_s *= factor;
    }
}

/// Dead time, lag and switching times times a factor; the controllers know of it.
fn valve_lag(setup: &mut Setup, factor: f64) {
    if let Some(valve) = &mut setup.hydraulics.proportional {
        valve.dead_time_s *= factor;
        valve.spool_lag_s *= factor;
    }
    if let Some(valve) = &mut setup.hydraulics.directional {
        valve.open_s *= factor;
        valve.close_s *= factor;
    }
    if let Some(lag) = &mut setup.controllers.lag {
        lag.dead_time_s *= factor;
        lag.spool_lag_s *= factor;
    }
}

fn camera_noise(setup: &mut Setup, factor: f64) {
    let camera = &mut setup.camera;
    camera.white_sd_m *= factor;
    camera.appearance.sd *= factor;
    camera.roll_still_sd_rad *= factor;
    camera.roll_ground_sd_rad *= factor;
}

fn planting(setup: &mut Setup, factor: f64) {
    setup.rows.wander.sd *= factor;
    setup.rows.join_sd_m *= factor;
    setup.rows.unit_sd_m *= factor;
}

fn wander(setup: &mut Setup, factor: f64) {
    match &mut setup.driver {
        Driver::Hand(hand) => hand.wander_factor *= factor,
        Driver::SatelliteLine(line) => {
            let scale = |noise: &mut GaussMarkov| noise.sd *= factor;
            scale(&mut line.receiver);
            scale(&mut line.drift);
        }
        Driver::Replay(log) => *log = log.scaled(factor),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// No change is empty on a machine that has everything, and none but the lag's depends on the speed.
    #[test]
    fn prop_every_change_changes_the_machine() {
        let mut setup = Setup::plausible();
        setup.camera.alignment_m = 0.01;
        setup.rows.unit_sd_m = 0.004;
        setup.tractor.crab_rad = 0.01;
        setup.camera.blind_share = 0.01;
        if let Hitch::Rigid { sway, .. } = &mut setup.hitch {
            sway.sd = 0.003;
        }
        if let Some(valve) = &mut setup.hydraulics.proportional {
            valve.deadband = 0.1;
            valve.deadband_compensation = 0.9;
        }
        let all = causes(&setup)
            .into_iter()
            .chain(steps(&setup, Some(1.2), Units::Metric))
            .chain(valves(&setup, Kind::Pid))
            .chain([under_lights(1.3)]);
        for change in all {
            let mut changed = setup.clone();
            (change.apply)(&mut changed, 2.0);
            assert_ne!(changed, setup, "{}", change.words);
        }
    }

    /// What the words say is what is done: 100 mm, and 4 in of 25.4 mm.
    #[test]
    fn analytic_more_stroke_in_the_scenarios_units() {
        let setup = Setup::plausible();
        for (units, words, more_m) in [
            (Units::Metric, "100 mm more stroke", 0.1),
            (Units::Us, "4 in more stroke", 0.1016),
        ] {
            let steps = steps(&setup, None, units);
            let step = steps.iter().find(|step| step.words == words).unwrap();
            let mut changed = setup.clone();
            (step.apply)(&mut changed, 2.0);
            assert!(
                (changed.hydraulics.stroke_m - setup.hydraulics.stroke_m - more_m).abs() < 1e-12
            );
            let others = steps
                .iter()
                .filter(|step| step.words.contains("more stroke"));
            assert_eq!(others.count(), 1);
        }
    }

    /// Latency 80 ms, dead time 30 ms and spool lag 60 ms at 2 m/s take 0.34 m of the lookahead (own arithmetic).
    #[test]
    fn analytic_without_lag_the_camera_looks_less_far_ahead() {
        let mut setup = Setup::plausible();
        without_lag(&mut setup, 2.0);
        assert!((setup.camera.lookahead_m - 0.46).abs() < 1e-12);
        let mut setup = Setup::plausible();
        without_lag(&mut setup, 10.0);
        assert_eq!(setup.camera.lookahead_m, 0.0);
    }
}
