//! What follows from a study for engineer, dealer, grower and workshop. SI units; money in the scenario's currency.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::reasons::{
    CylinderLimit, FarmNumber, Reason, SheetWarning, Slope, SoilWarning, StrokeBinding,
};
use super::{FarmRates, Share};
use crate::model::controller::Kind;

/// Whether there is an answer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// There is one.
    Ok,
    /// The simulated range holds none; the reason says why and what comes nearest.
    NoAnswer,
    /// Something is missing; the reason says what to add.
    #[default]
    NoData,
}

/// All answers.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Answers {
    /// Passes that the further runs took; they are the first ones of the study.
    pub passes: u64,
    /// The recommended setting; null if no simulated one keeps every bound.
    pub recommended: Option<Recommended>,
    /// Why there is none.
    pub not_recommended: Option<Reason>,
    /// Controller that the answers speak of where they speak of one: the recommended one, else the one with the lowest
    /// upper limit at work; null if none runs.
    pub controller: Option<Kind>,
    /// How much side-shift.
    pub stroke: StrokeAnswer,
    /// Cylinders, oil and valve.
    pub hydraulics: HydraulicsAnswer,
    /// Camera and control.
    pub control: ControlAnswer,
    /// The highest speed, by controller and clearance.
    pub speed: Vec<SpeedAnswer>,
    /// What pays: one thing changed at a time, best first.
    pub pays: Vec<Pays>,
    /// Sweep spacing against speed.
    pub spacing: SpacingAnswer,
    /// A clearance for each stage of growth.
    pub stages: StagesAnswer,
    /// Thrown soil, pull and fuel.
    pub soil: SoilAnswer,
    /// The setting sheet.
    pub sheet: SheetAnswer,
    /// How sure the recommended setting is on farms like this one, level by level; empty where all is known.
    pub assured: Vec<Assured>,
    /// On how many farms like this one each simulated speed keeps the allowed rate, at the clearance and under the controller of
    /// `assured`; empty where all is known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub keeping: Vec<Keeping>,
    /// What to measure first: the greatest gain for each minute of work first; empty where all is known.
    pub measure: Vec<Measure>,
}

/// A measurement that a farm can make, and what it is expected to be worth: the assured value after it, averaged over what it may show,
/// less that before it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Measure {
    /// What is measured.
    pub measurement: MeasureWhat,
    /// Work, minutes.
    pub minutes: f64,
    /// At how many places.
    pub places: u32,
    /// Plants at each place; 0 where none are counted.
    pub plants: u32,
    /// By how much closer the tools may run with the same assurance, m; below 0 if further off.
    pub clearance_gain_m: f64,
    /// By how much faster the tractor may go with the same assurance, m/s.
    pub speed_gain_m_s: f64,
    /// What the greater of both saves a hectare and round, in weeding by hand or in hours of the machine, in the currency of the scenario;
    /// null without prices.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub saves_per_ha: Option<f64>,
}

/// What a farm can measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum MeasureWhat {
    /// Plants cut among those counted after a pass.
    CountPlants,
    /// Gaps left and right of a row between the tools.
    TapeReadings,
    /// Distances of plants from a string along the row.
    PlantsOffString,
    /// The camera against a string down the tools' middle.
    CameraOnString,
    /// The camera's delay, timed.
    TimedLatency,
    /// A pass logged by a satellite receiver.
    LoggedPass,
    /// The row against a string.
    RowsOffString,
    /// The side slope.
    SideSlope,
}

/// Up to where the allowed rate is kept on a share of the farms like this one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Assured {
    /// Share of the farms, 0 to 1: 0.95 is 19 farms in 20.
    pub assurance: f64,
    /// The controller.
    pub controller: Kind,
    /// Clearance at which the speed holds, m.
    pub at_clearance_m: f64,
    /// Highest speed that keeps the allowed rate on so many farms, m/s; null at an end of what was simulated, see `speed_edge`.
    pub speed_m_s: Option<f64>,
    /// Where it lies.
    pub speed_edge: Edge,
    /// Speed at which the clearance holds, m/s.
    pub at_speed_m_s: f64,
    /// Least clearance that keeps it, m; null at an end, see `clearance_edge`.
    pub clearance_m: Option<f64>,
    /// Where it lies.
    pub clearance_edge: Edge,
    /// Total stroke, m, that eight passes over any of so many farms do not ask more of at that speed, on 99.9 % of the way; null where the
    /// frame does not move.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stroke_m: Option<f64>,
    /// The setting that costs least, reckoned with plants cut as only the other farms exceed them; null without prices or where nothing
    /// keeps every limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cheapest: Option<AssuredCost>,
}

/// What a setting costs on a share of the farms.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AssuredCost {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Cost a hectare and round that so many farms do not exceed, in the currency of the scenario; touched plants at their mean.
    pub cost_per_ha: f64,
}

/// On how many farms like this one a speed keeps the allowed rate.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Keeping {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Share of the farms, 0 to 1.
    pub farms: f64,
}

/// Where a value lies in what was simulated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Edge {
    /// Within it.
    Within,
    /// Not even the mildest simulated value keeps the allowed rate.
    NoneKeeps,
    /// Every simulated value keeps it.
    AllKeep,
}

/// A number with its limits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Limited {
    /// The number.
    pub value: f64,
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
}

impl Limited {
    /// Whether a difference is nothing in every pass, so that no further pass can show one.
    pub fn is_nothing(&self) -> bool {
        [self.value, self.lower, self.upper] == [0.0; 3]
    }
}

/// How much side-shift.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StrokeAnswer {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// The controller.
    pub controller: Option<Kind>,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Speed that the stroke is sized for, m/s: the recommended one, else the working speed.
    pub design_speed_m_s: f64,
    /// Smallest total travel of the series that is good enough, m.
    pub recommended_m: Option<f64>,
    /// What asks for that much.
    pub binding: Option<StrokeBinding>,
    /// Total travel that the scenario's machine has, m.
    pub fitted_m: f64,
    /// Passes behind the strokes' rates.
    pub passes: u64,
    /// The strokes of the series, rising.
    pub candidates: Vec<StrokeCandidate>,
    /// What is asked of the side-shift, by speed.
    pub demand: Vec<Demand>,
}

/// One stroke of the series.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StrokeCandidate {
    /// Total travel, m.
    pub stroke_m: f64,
    /// Share of distance with the cylinder at an end stop.
    pub end_stop_share: f64,
    /// Share of plants cut.
    pub cut: Share,
    /// Share of plants cut less that with unlimited stroke.
    pub difference: Limited,
    /// True if the upper limit of the difference stays below a tenth of the allowed rate.
    pub good_enough: bool,
}

/// What the rows ask of the side-shift at one speed, as quantiles over distance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Demand {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// How the ground slopes.
    pub slope: Slope,
    /// Unsigned wanted shift that half of the distance stays under, m.
    pub shift_p50_m: Limited,
    /// 95 % of it, m.
    pub shift_p95_m: Limited,
    /// 99.9 % of it, m.
    pub shift_p999_m: Limited,
    /// Unsigned speed of the wanted shift that 95 % of the distance stays under, m/s.
    pub shift_speed_p95_m_s: Limited,
    /// 99.9 % of it, m/s.
    pub shift_speed_p999_m_s: Limited,
}

/// Cylinders, oil and valve.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HydraulicsAnswer {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// Shift speed that the rows ask for at the working speed over 99.9 % of the distance, m/s.
    pub wanted_speed_m_s: f64,
    /// Sideways load with the scenario's reserve, N.
    pub wanted_force_n: f64,
    /// Bores and rods of the series that serve, smallest flow first; where none does, those that come nearest.
    pub combinations: Vec<Combination>,
    /// The scenario's own cylinder.
    pub fitted: Option<Combination>,
    /// What another valve or cold oil does to the plants cut at the recommended setting.
    pub effects: Vec<Effect>,
}

/// One bore with one rod.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Combination {
    /// Bore, m.
    pub bore_m: f64,
    /// Rod, m.
    pub rod_m: f64,
    /// Greatest speed extending, m/s.
    pub extend_m_s: f64,
    /// Greatest speed retracting, m/s.
    pub retract_m_s: f64,
    /// Force of the weaker way, N.
    pub force_n: f64,
    /// Flow that the wanted shift speed takes on the thirstier way, m³/s.
    pub flow_m3_s: f64,
    /// Speed of the oil in the hose at that flow, m/s.
    pub hose_m_s: f64,
    /// Load at which the rod buckles (Euler's, pinned ends, rod fully out, barrel no stiffer than the rod) over the push of the full
    /// supply pressure on the bore; at least 3.5 is wanted. Null in results of a program that did not check it.
    pub buckling_reserve: Option<f64>,
    /// True if speed, force, flow, hose and rod all serve.
    pub serves: bool,
    /// The limit that binds first, or that is broken.
    pub binding: CylinderLimit,
}

/// A change and what it does to the plants cut at the recommended setting.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Effect {
    /// The change.
    pub change: Change,
    /// Passes behind it.
    pub passes: u64,
    /// Share of plants cut.
    pub cut: Share,
    /// Share of plants cut less that without the change.
    pub difference: Limited,
}

/// Camera and control at the working speed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ControlAnswer {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// The controller.
    pub controller: Option<Kind>,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// The scenario's lookahead, m.
    pub lookahead_m: f64,
    /// Lookahead with the least tool error by the linear check, m.
    pub best_lookahead_m: Option<f64>,
    /// Tool error by the linear check over the lookahead.
    pub lookaheads: Vec<LookaheadError>,
    /// What the best lookahead does to the plants cut; null if it is the scenario's own.
    pub effect: Option<Effect>,
    /// Frequency response of the loop, opened at the valve.
    pub bode: Vec<BodePoint>,
}

/// Tool error at one lookahead.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LookaheadError {
    /// Lookahead, m.
    pub lookahead_m: f64,
    /// Standard deviation of the tool error by the linear check, m.
    pub tool_error_sd_m: f64,
}

/// One frequency of a Bode plot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BodePoint {
    /// Frequency, Hz.
    pub frequency_hz: f64,
    /// Gain, 1.
    pub gain: f64,
    /// Phase, rad, without jumps.
    pub phase_rad: f64,
}

/// What bounds the speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// Plants cut: the upper limit of their share reaches the allowed one.
    CutPlants,
    /// Soil flies as far as the stems, where covering is unwanted.
    ThrownSoil,
    /// The pull takes the tractor's rated power.
    TractorPower,
    /// The rows ask for shifting as fast as the oil can move the frame.
    Oil,
    /// The tools are where the camera looked before the frame begins to answer.
    CameraSight,
    /// A round is finished in the days that soil and weather allow.
    DaysAvailable,
    /// The list of simulated speeds ends.
    SimulatedSpeeds,
}

/// Which speeds keep a bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Holds {
    /// Those up to the one that stands beside it.
    UpTo,
    /// Those from the one that stands beside it on.
    From,
    /// All that are simulated.
    Always,
    /// None that is simulated.
    Never,
}

/// A bound of the speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpeedLimit {
    /// What bounds it.
    pub cause: Bound,
    /// Which speeds keep it.
    pub holds: Holds,
    /// That speed, m/s; null with "always" and "never".
    pub speed_m_s: Option<f64>,
}

/// The highest speed of one controller at one clearance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpeedAnswer {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// The controller.
    pub controller: Kind,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Share of plants that the scenario allows to be cut.
    pub allowed_cut_rate: f64,
    /// Lowest of the speeds up to which the bounds hold, m/s; null if no simulated speed keeps them all.
    pub highest_speed_m_s: Option<f64>,
    /// True if the list of speeds ends there: the highest speed may lie beyond.
    pub at_least: bool,
    /// The bound that is met there; where no simulated speed keeps all bounds, the first that none keeps.
    pub binding: Option<Bound>,
    /// The bound that would be met next if that one were gone.
    pub next_binding: Option<Bound>,
    /// Whether a round is finished in time at the highest speed; null without land and time, or without a highest speed.
    pub in_time: Option<bool>,
    /// Every bound that the scenario gives, lowest first.
    pub limits: Vec<SpeedLimit>,
    /// Passes behind the bound of cut plants: the study's own, or fewer where it lies between simulated speeds.
    pub passes: u64,
    /// What is behind the cut plants: every cause that was removed, most helpful first.
    pub causes: Vec<Cause>,
}

/// Why plants are cut: what can be taken away from a machine on its field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// Camera and valve answer late.
    Lag,
    /// The cylinder ends.
    Stroke,
    /// The oil moves the frame no faster.
    OilFlow,
    /// The rows do not look as they stand: leaves, weeds, shadows.
    RowsLook,
    /// The camera rolls.
    CameraRoll,
    /// Each number of the camera has a noise of its own.
    CameraNoise,
    /// The camera finds no row, or a wrong one.
    LostSight,
    /// The camera is not aligned with the tools.
    CameraAlignment,
    /// Single edges are not set where they belong.
    ToolSetting,
    /// Plants stand off the line of their row.
    PlantScatter,
    /// The tractor wanders.
    DriverWander,
    /// The planter wandered.
    PlanterWander,
    /// The lower links let the implement swing.
    LinkPlay,
    /// The rows bend.
    Bends,
    /// The field slopes and the soil pushes.
    SideSlope,
    /// The machine enters the row askew and the frame still has to find it.
    Entry,
    /// Soil flies onto the plants: bounds the speed, cuts none.
    ThrownSoil,
}

/// Something changed about a machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// Camera and on-off valve instead of a locked frame.
    OnOffValve,
    /// Camera and proportional valve with a PID instead of what is there.
    ProportionalValve,
    /// Lag compensation instead of the PID.
    LagCompensation,
    /// A yaw-rate sensor with lag compensation.
    YawRateSensor,
    /// A camera with twice the frames.
    MoreFrames,
    /// Half the camera's latency.
    LessLatency,
    /// A valve twice as quick.
    QuickValve,
    /// The lookahead with the least tool error, further ahead than now.
    LookFurther,
    /// The same, less far ahead than now.
    LookNearer,
    /// 100 mm more stroke, 4 in with US units.
    MoreStroke,
    /// Half as much oil again, pump and valve.
    MoreOil,
    /// Rows that look half as far off: hoed earlier, shaded or lit.
    CleanRows,
    /// Half the camera's roll: a stiffer mount, a steadier frame.
    SteadyMount,
    /// Half the noise of each number of the camera.
    FinerCamera,
    /// Half as many stretches without sight of the row and wrong rows.
    FewerGaps,
    /// A camera aligned twice as well.
    AlignedCamera,
    /// Edges set twice as well.
    ToolsSet,
    /// Plants set half as far off their line.
    ExactPlanting,
    /// Half the tractor's wander.
    SteadyDriver,
    /// Half the planter's wander.
    StraightPlanting,
    /// Lower links without play.
    TightLinks,
    /// Bends half as sharp.
    WideBends,
    /// Half of what slope and soil push.
    LessSidePush,
    /// The frame set by the camera before the tools touch the soil.
    FrameSetBefore,
    /// Half the error with which the headland turn ends.
    StraightEntry,
    /// The entry stretch driven at the slowest simulated speed.
    SlowEntry,
    /// Ten metres more along the row before lowering.
    LongApproach,
    /// Shields: soil flies half as far.
    Shields,
    /// A valve half as quick.
    SlowValve,
    /// A valve without deadband.
    NoDeadband,
    /// The deadband not jumped over.
    DeadbandNotJumped,
    /// Cold oil: twice the dead time and lag, 30 % less flow.
    ColdOil,
    /// Work under lights.
    UnderLights,
    /// Another whole machine.
    OtherMachine,
}

/// A cause of cut plants and what its removal does.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Cause {
    /// The cause.
    pub cause: Why,
    /// Speed of the comparison, m/s: the slowest of the study that does not keep the allowed rate.
    pub speed_m_s: f64,
    /// Share of plants cut without it less that with it.
    pub difference: Limited,
}

/// The one setting that all answers speak of: of those that keep every bound, the one with the least cost; without prices the
/// fastest at the working clearance, or at the next wider one that has any.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Recommended {
    /// The controller.
    pub controller: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Plants cut on the whole row.
    pub cut: Share,
    /// Plants touched on the whole row.
    pub touched: Share,
    /// Plants cut in the entry stretch.
    pub cut_entry: Share,
    /// Plants cut on the rest of the row.
    pub cut_rest: Share,
    /// What farms like this one may see of it; between simulated speeds interpolated. Null where all is known.
    pub known: Option<FarmRates>,
    /// Passes behind these rates: all of the study.
    pub passes: u64,
    /// Cost a hectare and round; null without land, weeds or prices.
    pub cost_per_ha: Option<f64>,
    /// Whether a round is finished in time; null without land and time.
    pub in_time: Option<bool>,
}

/// One thing changed by a step that can be bought or set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Pays {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// The change.
    pub change: Change,
    /// The cause that it works against; null for a change of control or of the whole machine.
    pub against: Option<Why>,
    /// The controller.
    pub controller: Kind,
    /// Clearance of the speeds, m: the recommended one.
    pub clearance_m: f64,
    /// Highest speed without the change that keeps every bound, m/s, interpolated between the study's speeds; null if none does.
    pub base_speed_m_s: Option<f64>,
    /// Speed gained, m/s.
    pub speed_gain_m_s: Option<Limited>,
    /// Room gained: by how much closer the tools may run at the recommended speed, m.
    pub clearance_gain_m: Option<Limited>,
    /// True if the range of speeds or clearances ends before the gain does.
    pub at_least: bool,
    /// What it costs to buy or to do, in the scenario's currency; null without a price.
    pub price: Option<f64>,
    /// What it earns a year: the least cost of a setting that keeps every bound, without it less with it, over land and rounds; null
    /// where settings are not priced or none keeps every bound.
    pub earns_a_year: Option<f64>,
    /// Years until it has paid; null without a price or where it earns nothing.
    pub paid_after_years: Option<f64>,
}

impl Pays {
    /// Of no change, with no number.
    pub(crate) fn no_answer() -> Pays {
        Pays {
            status: Status::NoAnswer,
            reason: None,
            change: Change::OtherMachine,
            against: None,
            controller: Kind::Locked,
            clearance_m: 0.0,
            base_speed_m_s: None,
            speed_gain_m_s: None,
            clearance_gain_m: None,
            at_least: false,
            price: None,
            earns_a_year: None,
            paid_after_years: None,
        }
    }
}

/// Sweep spacing against speed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpacingAnswer {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// The controller.
    pub controller: Option<Kind>,
    /// Currency.
    pub currency: Option<String>,
    /// What plants are worth; null where no settings are priced.
    pub plants: Option<PlantWorth>,
    /// The simulated setting with the least cost, whether it keeps the bounds or not.
    pub cheapest: Option<BestSetting>,
    /// The bounds that it breaks.
    pub cheapest_breaks: Vec<Bound>,
    /// Ends of the simulated range at which it lies: beyond them may be a cheaper one.
    pub cheapest_at: Vec<GridEnd>,
    /// The recommended setting, its plants from all passes of the study; null if there is none.
    pub recommended: Option<SpacingCell>,
    /// The simulated setting with the least cost that keeps every bound.
    pub cheapest_kept: Option<BestSetting>,
    /// Cost a hectare of leaving things as they are: the working setting less the recommended one.
    pub cost_of_staying_per_ha: Option<f64>,
    /// What it would cost a hectare to weed by hand alone.
    pub by_hand_per_ha: Option<f64>,
    /// Every simulated setting.
    pub cells: Vec<SpacingCell>,
    /// Which price or number would move the best setting.
    pub movers: Vec<Mover>,
    /// Work under lights; null if the farm does none.
    pub night: Option<Night>,
}

/// What plants are worth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlantWorth {
    /// All plants of a hectare.
    pub value_per_ha: f64,
    /// Share of the touched plants that is lost.
    pub touched_lost_share: f64,
}

/// An end of the simulated range.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum GridEnd {
    /// The slowest speed.
    Slowest,
    /// The fastest speed.
    Fastest,
    /// The clearance closest to the row.
    Closest,
    /// The widest clearance.
    Widest,
}

/// A setting with its cost.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BestSetting {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Cost a hectare and round: machine, hand weeding and lost plants.
    pub cost_per_ha: f64,
}

/// One setting on the farm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpacingCell {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Cost a hectare and round: machine, hand weeding and lost plants.
    pub cost_per_ha: f64,
    /// The cost with the plants cut and touched at their lower limits.
    pub cost_lower: f64,
    /// The cost with the plants cut and touched at their upper limits.
    pub cost_upper: f64,
    /// Machine's part of it.
    pub machine_per_ha: f64,
    /// Hand weeding's part of it.
    pub weeding_per_ha: f64,
    /// Lost plants' part of it.
    pub plants_per_ha: f64,
    /// Hours of weeding by hand, h/ha.
    pub weeding_h_per_ha: f64,
    /// Field capacity, ha/h.
    pub hectares_per_hour: f64,
    /// Days for one round over the farm.
    pub days: f64,
    /// True if the days that soil and weather allow are enough.
    pub in_time: bool,
    /// Share of the ground that the tools do not work.
    pub unworked_share: f64,
    /// Share of the weeds of the whole field that is left.
    pub weeds_left_share: f64,
    /// Share of the crop plants that is lost: those cut, and the scenario's share of those touched.
    pub plants_lost_share: f64,
    /// True if the cost lies within 5 % of the least of those that keep every bound.
    pub near_best: bool,
    /// Bounds that the setting breaks; empty if it keeps them all.
    pub breaks: Vec<Bound>,
}

/// A price or number at one end of its range.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mover {
    /// Which.
    pub what: FarmNumber,
    /// What it was set to.
    pub set_to: f64,
    /// The cheapest setting then that keeps every bound.
    pub best: BestSetting,
    /// True if that is another setting than before.
    pub moves: bool,
}

/// Work under lights.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Night {
    /// Passes behind it.
    pub passes: u64,
    /// Share of plants cut at the recommended setting with the camera's noise under lights.
    pub cut: Share,
    /// Share of plants cut less that by day.
    pub difference: Limited,
    /// Days for one round without work under lights, at the recommended setting; null where all work is done under them.
    pub days_without: Option<f64>,
    /// Days with it.
    pub days_with: f64,
}

/// A clearance for each stage of growth.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StagesAnswer {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// The controller.
    pub controller: Option<Kind>,
    /// Working speed, m/s.
    pub speed_m_s: f64,
    /// Passes behind the rates.
    pub passes: u64,
    /// The stages.
    pub stages: Vec<StageClearance>,
}

/// One stage.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StageClearance {
    /// Height of the plants, m.
    pub height_m: f64,
    /// Radius of the stem, m.
    pub stem_radius_m: f64,
    /// Radius that must stay untouched, m.
    pub protected_radius_m: f64,
    /// Smallest simulated clearance that keeps the allowed rate with its upper limit, as every wider one does, m; null if none.
    pub clearance_m: Option<f64>,
    /// Rate there.
    pub rate: Option<f64>,
    /// Its upper limit.
    pub rate_upper: Option<f64>,
}

/// Thrown soil, pull and fuel.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SoilAnswer {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// Speed that the answer speaks of, m/s: the recommended one, else the working speed.
    pub design_speed_m_s: f64,
    /// Clearance, m: the recommended one, else the working one.
    pub clearance_m: f64,
    /// By speed.
    pub speeds: Vec<SoilAtSpeed>,
    /// What to look out for.
    pub warnings: Vec<SoilWarning>,
}

/// Thrown soil, pull and fuel at one speed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SoilAtSpeed {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// How far beyond the edge of the tools soil flies, m.
    pub thrown_m: f64,
    /// True if that reaches the plants at that clearance.
    pub reaches_plants: bool,
    /// Pull, N.
    pub draft_n: f64,
    /// Power that the pull takes of the tractor's axle, W.
    pub axle_w: f64,
    /// Share of the tractor's rated power.
    pub load_share: f64,
    /// Fuel, L/h; null beyond the tractor's power.
    pub fuel_l_per_h: Option<f64>,
}

/// The setting sheet.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SheetAnswer {
    /// Whether there is an answer.
    pub status: Status,
    /// Why, or what stands behind it.
    pub reason: Option<Reason>,
    /// Clearance that the tools are set to, m.
    pub clearance_m: f64,
    /// Rows from the left: offset from the implement's centre, m, left positive.
    pub rows_m: Vec<f64>,
    /// Tyres: left and right edge, m, left positive, leftmost first.
    pub tyres_m: Vec<[f64; 2]>,
    /// Tools, leftmost first.
    pub tools: Vec<ToolPlace>,
    /// Strips between tools that are not worked beside the bands of the rows, left and right edge, m.
    pub gaps_m: Vec<[f64; 2]>,
    /// Working depth, m; null if the scenario gives no soil.
    pub depth_m: Option<f64>,
    /// What to look out for.
    pub warnings: Vec<SheetWarning>,
}

/// One tool.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ToolPlace {
    /// Left edge, m, left positive.
    pub left_edge_m: f64,
    /// Right edge, m, left positive.
    pub right_edge_m: f64,
    /// Cutting width, m.
    pub width_m: f64,
    /// Overlap with the next tool to its right, m; null if there is none in the same space between rows.
    pub overlap_m: Option<f64>,
    /// Row to its left (index from the left, 0 is the first); null outside.
    pub row_left: Option<u32>,
    /// Row to its right; null outside.
    pub row_right: Option<u32>,
}
