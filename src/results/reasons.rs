//! Why there is no answer, what stands behind one, and what to look out for: kinds with numbers, no sentences.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::linear::Unstable;
use crate::model::controller::{Kind, Lack};

/// Why there is no answer, or what stands behind one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "why", rename_all = "snake_case")]
pub enum Reason {
    /// The study was cut short before its answers were worked out.
    CutShort,
    /// The scenario's values lead to a number that is not finite.
    NotFinite {
        /// Its key.
        key: String,
    },
    /// The scenario lacks tables.
    TablesMissing {
        /// Their names.
        tables: Vec<String>,
    },
    /// No time to work is left in a day.
    NoHours,
    /// No controller runs.
    NoController,
    /// No controller moves the frame.
    NothingMoves,
    /// A controller lacks a part.
    Lacks {
        /// The part.
        part: Lack,
    },
    /// A locked frame has no loop and looks nowhere.
    LockedFrame,
    /// The controller has no linear form.
    NoLinearForm,
    /// A loop is unstable.
    Unstable {
        /// Which, and what would do.
        found: Unstable,
    },
    /// With a change the loop would be unstable at the scenario's gains.
    UnstableWithChange {
        /// The controller.
        controller: Kind,
    },
    /// A replayed path has no linear form: lookaheads are not compared.
    ReplayedPath,
    /// What another lookahead gains.
    Lookahead {
        /// Share by which it makes the tool error smaller, by the linear check; null where none is worth a change.
        gain: Option<f64>,
        /// True if the best one is shorter than the scenario's.
        shorter: bool,
        /// True if the best one is the longest that was tried.
        longest: bool,
    },
    /// The stroke is the smallest of the series that is good enough.
    GoodStroke {
        /// It adds at most so much to the share of plants cut of an endless stroke.
        adds_at_most: f64,
        /// Speed at which the allowed rate is not kept with any stroke, m/s; null where it is.
        never_kept_at_m_s: Option<f64>,
        /// The controller.
        controller: Kind,
    },
    /// Not even the longest stroke of the series is clearly good enough.
    StrokesTooShort {
        /// The longest, m.
        longest_m: f64,
        /// Good enough adds at most so much to the share of plants cut of an endless stroke.
        adds_at_most: f64,
    },
    /// The machine has no valve.
    NoValve,
    /// The rows ask for no shift speed.
    NoShiftSpeed,
    /// The cylinder with the least oil.
    LeastOil(LeastOil),
    /// No cylinder of the series serves.
    NoCylinder(NoCylinder),
    /// One of the limits lies below the slowest simulated speed.
    BelowSlowest,
    /// Even the slowest simulated speed cuts more plants than allowed.
    CutsTooMany {
        /// Nearest wider clearance that keeps the allowed rate at the slowest speed, m.
        wider_m: Option<f64>,
        /// Another controller that it takes; null where the same one does.
        under: Option<Kind>,
    },
    /// A speed is missing without the change, with it, or both.
    SpeedsKept {
        /// Highest speed that keeps every limit without the change, m/s.
        without_m_s: Option<f64>,
        /// With it.
        with_m_s: Option<f64>,
        /// Clearance, m.
        clearance_m: f64,
        /// True if the change is another whole machine.
        machines: bool,
    },
    /// No setting of the controller was simulated.
    NotSimulated {
        /// The controller.
        controller: Kind,
    },
    /// No simulated setting keeps every limit.
    NothingKept,
    /// No simulated clearance keeps the allowed rate for some stages of growth.
    NoClearanceFor {
        /// Speed, m/s.
        speed_m_s: f64,
        /// Heights of the plants, m.
        heights_m: Vec<f64>,
    },
    /// No tool on hand fits beside rows.
    NoToolFits {
        /// Clearance, m.
        clearance_m: f64,
        /// Narrowest tool on hand, m.
        narrowest_m: f64,
    },
}

/// The cylinder of the series that serves with the least oil.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeastOil {
    /// Bore, m.
    pub bore_m: f64,
    /// Rod, m.
    pub rod_m: f64,
    /// Flow that it takes, m³/s.
    pub flow_m3_s: f64,
    /// Number of cylinders of the series that serve.
    pub serving: u32,
    /// The limit that it would meet first.
    pub binding: CylinderLimit,
    /// Load at which its rod buckles over its greatest push.
    pub buckling_reserve: f64,
    /// Stroke that this is reckoned with, m.
    pub stroke_m: f64,
    /// Distance of the pins with the rod fully out, m.
    pub between_pins_m: f64,
    /// By what the scenario's own cylinder fails; null if it serves too.
    pub fitted_fails_by: Option<CylinderLimit>,
    /// Load at which its rod buckles over its greatest push; null unless that is what it fails by.
    pub fitted_buckling_reserve: Option<f64>,
}

/// The cylinder that comes nearest where none serves.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct NoCylinder {
    /// Shift speed that the rows ask for, m/s.
    pub wanted_speed_m_s: f64,
    /// Sideways load with the reserve, N.
    pub wanted_force_n: f64,
    /// Bore, m.
    pub bore_m: f64,
    /// Rod, m.
    pub rod_m: f64,
    /// Greatest speed extending, m/s.
    pub extend_m_s: f64,
    /// Greatest speed retracting, m/s.
    pub retract_m_s: f64,
    /// What it fails by.
    pub fails_by: Vec<CylinderLimit>,
    /// All that together makes it serve; null where no change of pressure, oil, hose or stroke does.
    pub remedies: Option<Vec<Remedy>>,
}

/// What a cylinder may fail by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum CylinderLimit {
    /// The pump's flow.
    Pump,
    /// The valve's flow.
    Valve,
    /// The push.
    Force,
    /// The oil's speed in the hose.
    Hose,
    /// The rod buckles.
    Buckling,
}

/// A change that a cylinder needs to serve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "change", rename_all = "snake_case")]
pub enum Remedy {
    /// A supply pressure of so much, Pa, or less load.
    SupplyPressure {
        /// Pressure, Pa.
        pressure_pa: f64,
    },
    /// A tractor flow of at least so much.
    TractorFlow {
        /// Flow, m³/s.
        flow_m3_s: f64,
    },
    /// A valve of at least so much rated flow.
    ValveFlow {
        /// Rated flow an edge, m³/s.
        flow_m3_s: f64,
        /// At this drop an edge, Pa.
        drop_pa: f64,
    },
    /// Hoses at least so wide.
    HoseBore {
        /// Bore, m.
        bore_m: f64,
    },
    /// A stroke of at most so much.
    StrokeAtMost {
        /// Stroke, m.
        stroke_m: f64,
    },
}

/// What asks for the stroke.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "why", rename_all = "snake_case")]
pub enum StrokeBinding {
    /// The next shorter one stands at its end too often.
    ShorterAtItsEnd {
        /// It, m.
        stroke_m: f64,
        /// Over this share of the way.
        end_stop_share: f64,
    },
    /// The series begins there.
    SeriesBegins,
}

/// How the ground slopes where the rows ask for shift.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Slope {
    /// As the scenario has it.
    AsSimulated,
    /// The scenario's steepest slope all the way, the left side higher.
    LeftHigher,
    /// The same, the right side higher.
    RightHigher,
}

/// A number of the farm that may move the best setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FarmNumber {
    /// Weeds before the pass, 1/m².
    WeedDensity,
    /// Share of the weeds in the worked strip that the tools undercut.
    UndercutShare,
    /// Weeds that one person pulls in an hour.
    PulledAnHour,
    /// Value of a plant.
    PlantValue,
    /// Share of the touched plants that is lost.
    TouchedLost,
    /// Price of an hour of weeding by hand.
    LabourHour,
    /// Price of an hour in the field.
    MachineHour,
}

/// Which tool error to believe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Believe {
    /// Nothing binds: both.
    Either,
    /// A limit binds: the simulated one.
    Simulated,
    /// There is no linear form.
    SimulatedOnly,
}

/// Why a controller was left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "why", rename_all = "snake_case")]
pub enum LeftOut {
    /// The scenario does not ask for it.
    NotAskedFor,
    /// The machine lacks a part.
    Lacks {
        /// The part.
        part: Lack,
    },
}

/// What to look out for in a study.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "about", rename_all = "snake_case")]
pub enum Warning {
    /// Tyres run over or beside rows.
    TyresOnRows {
        /// Rows, 1 at the left.
        rows: Vec<u32>,
    },
    /// Tyres run over or beside rows of the next pass.
    TyresOnNextRows,
    /// The implement spans several planter passes.
    GuessRows {
        /// Rows to the left of each guess row, 1 at the left.
        after_rows: Vec<u32>,
    },
    /// The guess rows move under the implement from pass to pass.
    GuessRowsMove {
        /// Rows of the implement.
        rows: u32,
        /// Rows of the planter.
        planter_rows: u32,
    },
    /// The given line is far longer than the pass.
    LineFarLonger {
        /// Length of the line, m.
        line_m: f64,
        /// Length of the pass, m.
        pass_m: f64,
    },
    /// Every pass drives the same logged path.
    OnePath,
    /// The logged pass wanders more than tractors do.
    WideWander {
        /// Standard deviation about its trend, m.
        sd_m: f64,
        /// Units in which its numbers would be likely.
        likely: Vec<String>,
    },
    /// The logged pass gets far off its line.
    FarOffLine {
        /// Farthest offset, m, left positive.
        farthest_m: f64,
        /// Distance since lowering, m.
        at_m: f64,
        /// Units in which its numbers would be likely.
        likely: Vec<String>,
    },
    /// In some passes the tractor lost the row: `lost_passes` tells at which speeds.
    LostRow,
    /// Rates hang on few passes.
    FewPasses {
        /// Rates of cut plants on whole rows that are not resolved (see [`crate::results::Rate::resolved`]) and not nothing.
        hanging: u32,
        /// Rates on whole rows that saw no plant cut.
        none: u32,
        /// All rates on whole rows.
        of: u32,
    },
}

/// What to look out for with the soil.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "about", rename_all = "snake_case")]
pub enum SoilWarning {
    /// Soil flies to plants that may not be covered.
    Covers {
        /// From about this speed on, m/s.
        from_m_s: f64,
        /// The first reckoned speed at which it does.
        lands: SoilLands,
    },
    /// Soil is wanted at the plants and does not get there.
    FallsShort {
        /// Below about this speed, m/s; null where none was seen to fly.
        below_m_s: Option<f64>,
        /// The last reckoned speed at which it does not.
        lands: SoilLands,
    },
    /// Soil reaches the plants, as wanted.
    Reaches {
        /// From this speed on, m/s.
        from_m_s: f64,
    },
    /// The pull takes more than the tractor's rated power.
    BeyondPower {
        /// From this speed on, m/s.
        from_m_s: f64,
        /// What the axle takes there, W.
        axle_w: f64,
        /// Rated power, W.
        tractor_w: f64,
    },
    /// The line of thrown soil runs on beyond its published trials.
    BeyondTrials {
        /// The fastest of them, m/s.
        above_m_s: f64,
    },
}

/// Where soil lands at a speed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SoilLands {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// How far beyond the tools it lands, m.
    pub thrown_m: f64,
    /// Clearance of the tools, m.
    pub clearance_m: f64,
}

/// A space between rows, or beside the outermost ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Between {
    /// Row to its left, 1 at the left; null outside.
    pub row_left: Option<u32>,
    /// Row to its right; null outside.
    pub row_right: Option<u32>,
}

/// What to look out for when the tools are set.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "about", rename_all = "snake_case")]
pub enum SheetWarning {
    /// There is no room for tools.
    NoRoom {
        /// Where.
        space: Between,
    },
    /// No tool on hand fits.
    NoToolFits {
        /// Where.
        space: Between,
        /// Free, m.
        free_m: f64,
    },
    /// The tools on hand do not fill a space.
    NotFilled {
        /// Where.
        space: Between,
        /// Its width, m.
        width_m: f64,
        /// The tool that stands there, m.
        tool_m: f64,
        /// What stays unworked, m.
        unworked_m: f64,
    },
    /// Tools overlap by more than half of the narrowest.
    WideOverlap {
        /// Where.
        space: Between,
        /// Overlap, m.
        overlap_m: f64,
    },
    /// A tyre runs on or beside rows.
    TyreOnRows {
        /// Width of the tyre, m.
        tyre_m: f64,
        /// Its distance from the centre, m.
        from_centre_m: f64,
        /// Rows, 1 at the left.
        rows: Vec<u32>,
    },
    /// A tyre runs on or beside a row of the next pass.
    TyreOnNextRow {
        /// Width of the tyre, m.
        tyre_m: f64,
        /// Its distance from the centre, m.
        from_centre_m: f64,
        /// Distance of the row from the centre, m.
        row_m: f64,
    },
    /// Two planter passes join between two rows.
    GuessRow {
        /// Row to its left, 1 at the left.
        after_row: u32,
    },
    /// Neither the rows of the cultivator nor those of the planter divide the other.
    RowsDoNotDivide {
        /// Rows of the cultivator.
        rows: u32,
        /// Rows of the planter.
        planter_rows: u32,
    },
    /// The outermost tools come closer to the next pass's row than the clearance.
    NearNextPass {
        /// Distance, m.
        closest_m: f64,
    },
    /// A strip between neighbouring passes stays unworked.
    StripBetweenPasses {
        /// Its width, m.
        width_m: f64,
    },
}
