//! Causes of cut plants and changes of a machine, in words.

use super::display::Units;
use crate::results::answers::{Change, Why};

/// "lag of camera and valve".
pub fn why(why: Why) -> &'static str {
    match why {
        Why::Lag => "lag of camera and valve",
        Why::Stroke => "stroke",
        Why::OilFlow => "oil flow",
        Why::RowsLook => "rows that look off: leaves, weeds, shadows",
        Why::CameraRoll => "roll of the camera",
        Why::CameraNoise => "noise of the camera's numbers",
        Why::LostSight => "lost sight of the row",
        Why::CameraAlignment => "alignment of the camera",
        Why::ToolSetting => "setting of single tools",
        Why::PlantScatter => "plants off their row",
        Why::DriverWander => "the driver's wander",
        Why::PlanterWander => "the planter's wander",
        Why::LinkPlay => "play of the lower links",
        Why::Bends => "bends of the rows",
        Why::SideSlope => "side slope and side force",
        Why::Entry => "the entry into the row",
        Why::ThrownSoil => "soil thrown onto the plants",
    }
}

/// "half the camera's delay".
pub fn change(change: Change, units: Units) -> &'static str {
    match change {
        Change::OnOffValve => "camera and on-off valve instead of a locked frame",
        Change::ProportionalValve => "camera and proportional valve",
        Change::LagCompensation => "the camera's delay allowed for",
        Change::YawRateSensor => {
            "a sensor of the tractor's turns, and the camera's delay allowed for"
        }
        Change::MoreFrames => "camera with twice the frames",
        Change::LessLatency => "half the camera's delay",
        Change::QuickValve => "valve twice as quick",
        Change::LookFurther => "camera looks further ahead: the best lookahead",
        Change::LookNearer => "camera looks less far ahead: the best lookahead",
        Change::MoreStroke => match units {
            Units::Metric => "100 mm more stroke",
            Units::Us => "4 in more stroke",
        },
        Change::MoreOil => "half as much oil again, pump and valve",
        Change::CleanRows => "rows that look half as far off: hoed earlier, shaded or lit",
        Change::SteadyMount => "camera mount with half the roll",
        Change::FinerCamera => "camera with half the noise",
        Change::FewerGaps => "half as many stretches without sight of the row",
        Change::AlignedCamera => "camera aligned twice as well",
        Change::ToolsSet => "tools set twice as well",
        Change::ExactPlanting => "plants half as far off their row",
        Change::SteadyDriver => "a steadier driver: half the wander",
        Change::StraightPlanting => "straighter planting: half the wander",
        Change::TightLinks => "lower links without play",
        Change::WideBends => "bends half as sharp",
        Change::LessSidePush => "half the push of slope and soil",
        Change::FrameSetBefore => "frame set by the camera before the tools touch the soil",
        Change::StraightEntry => "straighter entry: half the error of the headland turn",
        Change::SlowEntry => "entry stretch driven at the slowest simulated speed",
        Change::LongApproach => match units {
            Units::Metric => "tools lowered 10 m further along the row",
            Units::Us => "tools lowered 33 ft further along the row",
        },
        Change::Shields => "shields: soil flies half as far",
        Change::SlowValve => "valve half as quick",
        Change::NoDeadband => "valve without deadband",
        Change::DeadbandNotJumped => "deadband not jumped over",
        Change::ColdOil => "cold oil: twice the dead time and lag, 30 % less flow",
        Change::UnderLights => "work under lights",
        Change::OtherMachine => "the second machine instead of the first",
    }
}
