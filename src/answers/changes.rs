//! What can be changed about a machine: one list of causes of cut plants, each with what takes it away and what helps against it.

use crate::farm::Soil;
use crate::model::controller::{Kind, ValveKind};
use crate::model::driver::Driver;
use crate::model::hitch::Hitch;
use crate::model::line::Line;
use crate::model::noise::GaussMarkov;
use crate::model::setup::Setup;
use crate::results::answers::{Change, Why};
use crate::scenario::Units;

/// What a change does to a machine at a speed, m/s.
type Apply = dyn Fn(&mut Setup, f64) + Sync;

/// A cause of cut plants that a machine on its field has, with what helps against it.
pub struct Cause {
    /// Which.
    pub why: Why,
    /// Takes it away; `None` for what bounds the speed without cutting a plant.
    pub remove: Option<Box<Apply>>,
    /// What can be bought, set or done against it.
    pub steps: Vec<Step>,
}

/// Something that can be bought, set or done.
pub struct Step {
    /// What.
    pub change: Change,
    /// What it does.
    pub does: Does,
}

/// What a step does.
pub enum Does {
    /// It changes the machine or its field.
    Machine(Box<Apply>),
    /// It changes how far soil flies, by a factor.
    Soil(f64),
    /// The entry stretch is driven at the slowest simulated speed.
    EntersSlowly,
}

impl Step {
    /// The change of a machine; nothing where the step is none of a machine.
    pub fn apply(&self, setup: &mut Setup, speed_m_s: f64) {
        if let Does::Machine(apply) = &self.does {
            apply(setup, speed_m_s);
        }
    }
}

fn step(change: Change, apply: impl Fn(&mut Setup) + Sync + 'static) -> Step {
    Step {
        change,
        does: Does::Machine(Box::new(move |setup, _| apply(setup))),
    }
}

fn cause(why: Why, remove: impl Fn(&mut Setup) + Sync + 'static, steps: Vec<Step>) -> Cause {
    Cause {
        why,
        remove: Some(Box::new(move |setup, _| remove(setup))),
        steps,
    }
}

/// How many times the oil flows where flow is taken away as a cause: more would hand the leftover of the deadband to the frame.
const AMPLE_FLOW: f64 = 3.0;

/// Travel that no row asks for, m.
pub const UNLIMITED_STROKE_M: f64 = 10.0;

/// Way along the row over which a frame is set before lowering, m, where the scenario has none (assumed).
const SETTING_WAY_M: f64 = 3.0;

/// How much further back a pass may begin, m (assumed).
const FURTHER_BACK_M: f64 = 10.0;

/// Every cause that a machine on its field has, each with its steps; `best_lookahead_m` is what the linear check found. Sizes are round
/// ones in `units`.
pub fn causes(
    setup: &Setup,
    soil: Option<&Soil>,
    best_lookahead_m: Option<f64>,
    units: Units,
) -> Vec<Cause> {
    let mut all = vec![
        Cause {
            why: Why::Lag,
            remove: Some(Box::new(without_lag)),
            steps: lag_steps(setup, best_lookahead_m),
        },
        cause(
            Why::Stroke,
            |setup| setup.hydraulics.stroke_m = UNLIMITED_STROKE_M,
            vec![step(Change::MoreStroke, move |setup| {
                setup.hydraulics.stroke_m += more_stroke_m(units);
            })],
        ),
        cause(
            Why::OilFlow,
            |setup| more_flow(setup, AMPLE_FLOW),
            vec![step(Change::MoreOil, |setup| more_flow(setup, 1.5))],
        ),
        cause(
            Why::PlantScatter,
            |setup| setup.plants.scatter_sd_m = 0.0,
            vec![step(Change::ExactPlanting, |setup| {
                setup.plants.scatter_sd_m *= 0.5;
            })],
        ),
        cause(
            Why::DriverWander,
            |setup| wander(setup, 0.0),
            vec![step(Change::SteadyDriver, |setup| wander(setup, 0.5))],
        ),
        cause(
            Why::PlanterWander,
            |setup| planting(setup, 0.0),
            vec![step(Change::StraightPlanting, |setup| planting(setup, 0.5))],
        ),
        entry(),
    ];
    all.extend(sight(setup));
    all.extend(setting(setup));
    all.extend(field(setup));
    if soil.is_some_and(|soil| !soil.may_cover && soil.thrown_m > 0.0) {
        all.push(Cause {
            why: Why::ThrownSoil,
            remove: None,
            steps: vec![Step {
                change: Change::Shields,
                does: Does::Soil(0.5),
            }],
        });
    }
    all
}

/// What "more stroke" is, m: 100 mm or 4 in.
pub fn more_stroke_m(units: Units) -> f64 {
    match units {
        Units::Metric => 0.1,
        Units::Us => 0.1016,
    }
}

fn lag_steps(setup: &Setup, best_lookahead_m: Option<f64>) -> Vec<Step> {
    let mut steps = vec![
        step(Change::MoreFrames, |setup| setup.camera.frame_s *= 0.5),
        step(Change::LessLatency, |setup| setup.camera.latency_s *= 0.5),
        step(Change::QuickValve, |setup| valve_lag(setup, 0.5)),
    ];
    steps.extend(best_lookahead(setup, best_lookahead_m));
    steps
}

/// What the camera sees.
fn sight(setup: &Setup) -> Vec<Cause> {
    let camera = &setup.camera;
    let mut all = Vec::new();
    if camera.appearance.sd > 0.0 {
        all.push(cause(
            Why::RowsLook,
            |setup| setup.camera.appearance.sd = 0.0,
            vec![step(Change::CleanRows, |setup| {
                setup.camera.appearance.sd *= 0.5;
            })],
        ));
    }
    if camera.roll_still_sd_rad > 0.0 || camera.roll_ground_sd_rad > 0.0 {
        all.push(cause(
            Why::CameraRoll,
            |setup| roll(setup, 0.0),
            vec![step(Change::SteadyMount, |setup| roll(setup, 0.5))],
        ));
    }
    if camera.white_sd_m > 0.0 {
        all.push(cause(
            Why::CameraNoise,
            |setup| setup.camera.white_sd_m = 0.0,
            vec![step(Change::FinerCamera, |setup| {
                setup.camera.white_sd_m *= 0.5;
            })],
        ));
    }
    if camera.blind_share > 0.0 || camera.outlier_share > 0.0 {
        all.push(cause(
            Why::LostSight,
            |setup| lost_sight(setup, 0.0),
            vec![step(Change::FewerGaps, |setup| lost_sight(setup, 0.5))],
        ));
    }
    all
}

/// What a spanner sets.
fn setting(setup: &Setup) -> Vec<Cause> {
    let mut all = vec![cause(
        Why::CameraAlignment,
        |setup| alignment(setup, 0.0),
        vec![step(Change::AlignedCamera, |setup| alignment(setup, 0.5))],
    )];
    if setup.tools.setting_sd_m > 0.0 {
        all.push(cause(
            Why::ToolSetting,
            |setup| setup.tools.setting_sd_m = 0.0,
            vec![step(Change::ToolsSet, |setup| {
                setup.tools.setting_sd_m *= 0.5
            })],
        ));
    }
    if matches!(setup.hitch, Hitch::Rigid { sway, .. } if sway.sd > 0.0) {
        all.push(cause(
            Why::LinkPlay,
            tight_links,
            vec![step(Change::TightLinks, tight_links)],
        ));
    }
    all
}

/// What the field does.
fn field(setup: &Setup) -> Vec<Cause> {
    let mut all = Vec::new();
    if !setup.line.is_straight() {
        all.push(cause(
            Why::Bends,
            |setup| setup.line = Line::straight(),
            vec![step(Change::WideBends, |setup| {
                setup.line = setup.line.bent_by(0.5);
            })],
        ));
    }
    if setup.tractor.crab_rad != 0.0 || setup.hydraulics.side_force_n != 0.0 {
        all.push(cause(
            Why::SideSlope,
            |setup| side_push(setup, 0.0),
            vec![step(Change::LessSidePush, |setup| side_push(setup, 0.5))],
        ));
    }
    all
}

/// The entry into the row.
fn entry() -> Cause {
    cause(
        Why::Entry,
        |setup| {
            straight_entry(setup, 0.0);
            set_before(setup);
        },
        vec![
            step(Change::FrameSetBefore, set_before),
            step(Change::StraightEntry, |setup| straight_entry(setup, 0.5)),
            Step {
                change: Change::SlowEntry,
                does: Does::EntersSlowly,
            },
            step(Change::LongApproach, |setup| {
                setup.run.approach_m += FURTHER_BACK_M;
            }),
        ],
    )
}

fn straight_entry(setup: &mut Setup, factor: f64) {
    setup.run.entry_offset_m *= factor;
    setup.run.entry_heading_rad *= factor;
}

/// The frame follows the rows before the tools are lowered.
fn set_before(setup: &mut Setup) {
    setup.run.approach_m = setup.run.approach_m.max(SETTING_WAY_M);
    setup.run.follows_before_lowering = true;
}

/// Lookahead steps shorter than this are not worth a spanner, m (our choice, no source).
const LEAST_STEP_M: f64 = 0.05;

/// The best lookahead, unless the camera stands there already.
pub fn best_lookahead(setup: &Setup, best_m: Option<f64>) -> Option<Step> {
    let own_m = setup.camera.lookahead_m;
    let best_m = best_m.filter(|best_m| (best_m - own_m).abs() >= LEAST_STEP_M)?;
    let change = if best_m > own_m {
        Change::LookFurther
    } else {
        Change::LookNearer
    };
    Some(step(change, move |setup| setup.camera.lookahead_m = best_m))
}

/// What another valve or cold oil is worth to be asked about.
pub fn valves(setup: &Setup, kind: Kind) -> Vec<Step> {
    let mut all = vec![
        step(Change::QuickValve, |setup| valve_lag(setup, 0.5)),
        step(Change::SlowValve, |setup| valve_lag(setup, 2.0)),
    ];
    if kind.valve() != Some(ValveKind::Directional) && setup.hydraulics.proportional.is_some() {
        all.push(step(Change::NoDeadband, |setup| {
            if let Some(valve) = &mut setup.hydraulics.proportional {
                valve.deadband = 0.0;
            }
        }));
        all.push(step(Change::DeadbandNotJumped, |setup| {
            if let Some(valve) = &mut setup.hydraulics.proportional {
                valve.deadband_compensation = 0.0;
            }
        }));
    }
    all.push(step(Change::ColdOil, |setup| {
        setup.hydraulics.cold_dead_time_factor *= 2.0;
        setup.hydraulics.cold_lag_factor *= 2.0;
        setup.hydraulics.cold_flow_factor *= 0.7;
    }));
    all
}

/// Work under lights: camera noise times a factor.
pub fn under_lights(factor: f64) -> Step {
    step(Change::UnderLights, move |setup| {
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

fn roll(setup: &mut Setup, factor: f64) {
    setup.camera.roll_still_sd_rad *= factor;
    setup.camera.roll_ground_sd_rad *= factor;
}

fn lost_sight(setup: &mut Setup, factor: f64) {
    setup.camera.blind_share *= factor;
    setup.camera.outlier_share *= factor;
}

fn alignment(setup: &mut Setup, factor: f64) {
    setup.camera.alignment_m *= factor;
    setup.camera.trim_m *= factor;
}

fn tight_links(setup: &mut Setup) {
    if let Hitch::Rigid { sway, free_play_m } = &mut setup.hitch {
        sway.sd = 0.0;
        *free_play_m = 0.0;
    }
}

fn side_push(setup: &mut Setup, factor: f64) {
    setup.tractor.crab_rad *= factor;
    setup.hydraulics.side_force_n *= factor;
    if let Hitch::Drawn {
        implement_crab_rad, ..
    } = &mut setup.hitch
    {
        *implement_crab_rad *= factor;
    }
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
    use crate::farm::{Shank, Texture};
    use crate::model::line::Bend;

    /// A machine on a field that has every cause.
    fn troubled() -> Setup {
        let mut setup = Setup::plausible();
        setup.camera.alignment_m = 0.01;
        setup.camera.white_sd_m = 0.002;
        setup.camera.blind_share = 0.01;
        setup.rows.unit_sd_m = 0.004;
        setup.tools.setting_sd_m = 0.003;
        setup.tractor.crab_rad = 0.01;
        setup.run.entry_offset_m = 0.05;
        setup.line = Line::new(&[Bend {
            start_m: 10.0,
            length_m: 20.0,
            curvature_start_1_m: 0.01,
            curvature_end_1_m: 0.01,
        }]);
        if let Hitch::Rigid { sway, .. } = &mut setup.hitch {
            sway.sd = 0.003;
        }
        if let Some(valve) = &mut setup.hydraulics.proportional {
            valve.deadband = 0.1;
            valve.deadband_compensation = 0.9;
        }
        setup
    }

    fn soil() -> Soil {
        Soil {
            thrown_m: 0.04,
            thrown_at_m_s: 2.0,
            may_cover: false,
            depth_m: 0.05,
            texture: Texture::Medium,
            shank: Shank::STine,
            traction: 0.7,
            tractor_w: 75_000.0,
        }
    }

    /// One list: every cause has a remedy, no remedy stands under two causes, and neither is empty on a machine that has everything.
    #[test]
    fn prop_every_cause_has_a_remedy_and_every_change_changes_the_machine() {
        let setup = troubled();
        let soil = soil();
        let all = causes(&setup, Some(&soil), Some(1.2), Units::Metric);
        let (mut whys, mut changes) = (Vec::new(), Vec::new());
        for cause in &all {
            assert!(!whys.contains(&cause.why), "{:?} twice", cause.why);
            whys.push(cause.why);
            assert!(!cause.steps.is_empty(), "{:?}", cause.why);
            if let Some(remove) = &cause.remove {
                let mut without = setup.clone();
                remove(&mut without, 2.0);
                assert_ne!(without, setup, "{:?}", cause.why);
            }
            for step in &cause.steps {
                assert!(!changes.contains(&step.change), "{:?} twice", step.change);
                changes.push(step.change);
            }
        }
        assert_eq!(whys.len(), 17, "{whys:?}");
        let further = valves(&setup, Kind::Pid)
            .into_iter()
            .chain([under_lights(1.3)]);
        for step in all.into_iter().flat_map(|cause| cause.steps).chain(further) {
            let mut changed = setup.clone();
            step.apply(&mut changed, 2.0);
            let of_machine = matches!(step.does, Does::Machine(_));
            assert_eq!(changed != setup, of_machine, "{:?}", step.change);
        }
    }

    /// What a machine has not is no cause of it.
    #[test]
    fn prop_what_a_machine_has_not_is_no_cause() {
        let setup = Setup::plausible();
        let all = causes(&setup, None, None, Units::Metric);
        for why in [
            Why::ThrownSoil,
            Why::Bends,
            Why::SideSlope,
            Why::LinkPlay,
            Why::LostSight,
            Why::CameraNoise,
            Why::ToolSetting,
        ] {
            assert!(all.iter().all(|cause| cause.why != why), "{why:?}");
        }
    }

    /// 100 mm, and 4 in of 25.4 mm.
    #[test]
    fn analytic_more_stroke_in_the_scenarios_units() {
        let setup = Setup::plausible();
        for (units, more_m) in [(Units::Metric, 0.1), (Units::Us, 0.1016)] {
            let all = causes(&setup, None, None, units);
            let mut steps = all.iter().flat_map(|cause| &cause.steps);
            let step = steps
                .find(|step| step.change == Change::MoreStroke)
                .unwrap();
            let mut changed = setup.clone();
            step.apply(&mut changed, 2.0);
            assert!(
                (changed.hydraulics.stroke_m - setup.hydraulics.stroke_m - more_m).abs() < 1e-12
            );
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
