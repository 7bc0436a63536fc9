//! Why there is no answer, and what stands behind one, in words.

use super::controllers::spoken;
use super::quantities::{Words, add_tables, listed};
use crate::model::hydraulics::BUCKLING_SAFETY;
use crate::report::display::Units;
use crate::results::reasons::{
    Believe, CylinderLimit, FarmNumber, LeastOil, LeftOut, NoCylinder, Reason, Remedy, Slope,
    StrokeBinding,
};

/// A reason, without its full stop where it is one clause.
pub fn reason(reason: &Reason, units: Units) -> String {
    let words = Words(units);
    match reason {
        Reason::CutShort => "the study was cut short before the answers were worked out; the same command goes on from there".into(),
        Reason::NotFinite { key } => format!(
            "The values of the scenario lead to no finite number here ({key}): look for one that is far too large or too small."
        ),
        Reason::TablesMissing { tables } => add_tables(tables),
        Reason::NoHours => "Set farm.day_hours or farm.night_hours above 0.".into(),
        Reason::NoController => "no controller runs".into(),
        Reason::NothingMoves => {
            "the machine has no controller that moves the frame: add a valve and a controller's table".into()
        }
        Reason::Lacks { part } => part.to_string(),
        Reason::LockedFrame => "a locked frame has no loop and looks nowhere".into(),
        Reason::NoLinearForm => {
            "an on-off switch has no linear form, so neither loop nor lookahead can be reckoned without passes; a proportional \
             valve with a PID or lag compensation has one"
                .into()
        }
        Reason::Unstable { found } => found.to_string(),
        Reason::UnstableWithChange { controller } => format!(
            "with the gains of the scenario the loop of {} would be unstable: it must be tuned anew",
            spoken(*controller).one
        ),
        Reason::ReplayedPath => {
            "the path is replayed from a log and has no linear form, so lookaheads are not compared".into()
        }
        Reason::Lookahead { gain, shorter, longest } => lookahead(*gain, *shorter, *longest),
        Reason::GoodStroke { adds_at_most, never_kept_at_m_s, controller } => {
            let mut text = format!(
                "the smallest of the series of which that can be said: {}",
                good_stroke(*adds_at_most)
            );
            if let Some(speed_m_s) = never_kept_at_m_s {
                text += &format!(
                    "; the allowed rate is not kept with any stroke at {} under {}: look at speed and clearance first",
                    words.speed(*speed_m_s),
                    spoken(*controller).one
                );
            }
            text
        }
        Reason::StrokesTooShort { longest_m, adds_at_most } => format!(
            "even the longest stroke of the series, {}, is not clearly good enough (good enough: {}); straighter rows, a steadier driver or more passes would help",
            words.size(*longest_m),
            good_stroke(*adds_at_most)
        ),
        Reason::NoValve => {
            "the machine has no valve: add the table [valve.proportional] or [valve.directional] with rated_flow and rated_drop".into()
        }
        Reason::NoShiftSpeed => "the rows ask for no shift speed, so any cylinder would do".into(),
        Reason::LeastOil(found) => least_oil(found, words),
        Reason::NoCylinder(found) => no_cylinder(found, words),
        Reason::BelowSlowest => "one of the limits lies below the slowest simulated speed".into(),
        Reason::CutsTooMany { wider_m, under } => {
            let why = "even the slowest simulated speed cuts more plants than allowed here";
            match (wider_m, under) {
                (Some(wider_m), None) => format!(
                    "{why}; with the tools {} from the row it would keep the allowed rate",
                    words.length(*wider_m)
                ),
                (Some(wider_m), Some(kind)) => format!(
                    "{why}, however far from the row; {} would keep the allowed rate with the tools {} from it",
                    spoken(*kind).one,
                    words.length(*wider_m)
                ),
                (None, _) => format!(
                    "{why}, however far from the row and whatever steers the frame; allow more, or simulate slower speeds or tools further from the row"
                ),
            }
        }
        Reason::SpeedsKept { without_m_s, with_m_s, clearance_m, machines } => {
            let [before, after, both] = if *machines {
                ["with the first machine", "with the second one", "with either"]
            } else {
                ["without it", "with it", "with the change or without"]
            };
            let off = format!("with the tools {} from the row", words.length(*clearance_m));
            match (without_m_s, with_m_s) {
                (None, Some(new)) => format!(
                    "{before} no simulated speed keeps every limit {off}; {after} {} does",
                    words.speed(*new)
                ),
                (Some(base), None) => format!(
                    "{before} {} keeps every limit {off}; {after} no simulated speed does",
                    words.speed(*base)
                ),
                _ => format!("no simulated speed keeps every limit {off}, {both}"),
            }
        }
        Reason::NotSimulated { controller } => format!("No setting of {} was simulated.", spoken(*controller).one),
        Reason::NothingKept => "no simulated setting keeps every limit".into(),
        Reason::NoClearanceFor { speed_m_s, heights_m } => {
            let heights: Vec<String> = heights_m.iter().map(|&m| words.length(m)).collect();
            format!(
                "no simulated clearance keeps the allowed rate at {} for plants of {}: drive slower, or simulate wider clearances",
                words.speed(*speed_m_s),
                heights.join(", ")
            )
        }
        Reason::NoToolFits { clearance_m, narrowest_m } => format!(
            "No tool on hand fits beside rows with {} on either side; the narrowest cuts {}.",
            words.length(*clearance_m),
            words.length(*narrowest_m)
        ),
    }
}

fn lookahead(gain: Option<f64>, shorter: bool, longest: bool) -> String {
    let mut text = match gain {
        Some(gain) => format!(
            "a {} lookahead would make the tool error {:.0} % smaller by the linear check",
            if shorter { "shorter" } else { "longer" },
            100.0 * gain
        ),
        None => {
            "no other lookahead makes the tool error smaller by more than 1 % by the linear check"
                .to_owned()
        }
    };
    if longest {
        text += "; the best may lie farther ahead than was tried";
    }
    text
}

fn good_stroke(adds_at_most: f64) -> String {
    format!(
        "it cuts at most {:.3} % of the plants more than an endless stroke would, a tenth of what is allowed",
        100.0 * adds_at_most
    )
}

/// What asks for a stroke.
pub fn stroke_binding(binding: &StrokeBinding, units: Units) -> String {
    match binding {
        StrokeBinding::ShorterAtItsEnd {
            stroke_m,
            end_stop_share,
        } => format!(
            "the next shorter one, {}, stands at its end over {:.2} % of the way",
            Words(units).size(*stroke_m),
            100.0 * end_stop_share
        ),
        StrokeBinding::SeriesBegins => "the series begins there".into(),
    }
}

fn least_oil(found: &LeastOil, words: Words) -> String {
    let own = match found.fitted_fails_by {
        None => "serves too".to_owned(),
        Some(limit) => {
            let at = found.fitted_buckling_reserve.map(|reserve| {
                format!(": its rod buckles at {reserve:.1} times its greatest push")
            });
            format!(
                "does not serve, by {}{}",
                cylinder_limit(limit),
                at.unwrap_or_default()
            )
        }
    };
    let of = match found.serving {
        1 => "is the only one of the series that serves".to_owned(),
        serving => format!("takes the least oil of the {serving} of the series that serve"),
    };
    format!(
        "bore {} with rod {} {of}, {}; the first limit it would meet is {}. \
         Its rod buckles at {:.1} times the greatest push, where {BUCKLING_SAFETY} is asked for: reckoned with the full supply pressure on the bore, \
         a stroke of {}, pins at both ends {} apart with the rod fully out, and the barrel no stiffer than the rod. \
         The scenario's own cylinder {own}. What frame, mounts and eyes stand is the maker's to say",
        words.size(found.bore_m),
        words.size(found.rod_m),
        words.flow(found.flow_m3_s),
        cylinder_limit(found.binding),
        found.buckling_reserve,
        words.size(found.stroke_m),
        words.size(found.between_pins_m),
    )
}

fn no_cylinder(found: &NoCylinder, words: Words) -> String {
    let fails_by: Vec<String> = found
        .fails_by
        .iter()
        .map(|&limit| cylinder_limit(limit).to_owned())
        .collect();
    let mended = match &found.remedies {
        Some(remedies) => {
            let remedies: Vec<String> = remedies.iter().map(|one| remedy(one, words)).collect();
            format!("It would do with {}", listed(&remedies))
        }
        None => "No change of pressure, oil, hose or stroke makes it serve: less load or a slower shift would".into(),
    };
    format!(
        "no cylinder of the series moves the frame at {} against {}. Nearest: bore {} with rod {}, extending {}, retracting {}; \
         it fails by {}. {mended}",
        words.shift_speed(found.wanted_speed_m_s),
        words.force(found.wanted_force_n),
        words.size(found.bore_m),
        words.size(found.rod_m),
        words.shift_speed(found.extend_m_s),
        words.shift_speed(found.retract_m_s),
        listed(&fails_by),
    )
}

/// What a cylinder needs; never told as less than it takes.
fn remedy(remedy: &Remedy, words: Words) -> String {
    match remedy {
        Remedy::SupplyPressure { pressure_pa } => format!(
            "a supply pressure of {} or less load",
            words.pressure(*pressure_pa)
        ),
        Remedy::TractorFlow { flow_m3_s } => {
            format!("a tractor flow of {}", words.flow_at_least(*flow_m3_s))
        }
        Remedy::ValveFlow { flow_m3_s, drop_pa } => format!(
            "a valve of {} at {} an edge",
            words.flow_at_least(*flow_m3_s),
            words.pressure(*drop_pa)
        ),
        Remedy::HoseBore { bore_m } => format!("hoses of {} bore", words.size_at_least(*bore_m)),
        Remedy::StrokeAtMost { stroke_m } => {
            format!("a stroke of {} at most", words.size_at_most(*stroke_m))
        }
    }
}

/// What a cylinder meets first.
pub fn cylinder_limit(limit: CylinderLimit) -> &'static str {
    match limit {
        CylinderLimit::Pump => "the pump",
        CylinderLimit::Valve => "the valve",
        CylinderLimit::Force => "force",
        CylinderLimit::Hose => "the oil's speed in the hose",
        CylinderLimit::Buckling => "buckling of the rod",
    }
}

/// How the ground slopes.
pub fn slope(slope: Slope) -> &'static str {
    match slope {
        Slope::AsSimulated => "as simulated",
        Slope::LeftHigher => "left side higher",
        Slope::RightHigher => "right side higher",
    }
}

/// A number of the farm.
pub fn farm_number(number: FarmNumber) -> &'static str {
    match number {
        FarmNumber::WeedDensity => "weeds before the pass, per m\u{b2}",
        FarmNumber::UndercutShare => {
            "share of the weeds in the worked strip that the tools undercut"
        }
        FarmNumber::PulledAnHour => "weeds that one person pulls in an hour",
        FarmNumber::PlantValue => "value of a plant",
        FarmNumber::TouchedLost => "share of the touched plants that is lost",
        FarmNumber::LabourHour => "price of an hour of weeding by hand",
        FarmNumber::MachineHour => "price of an hour in the field",
    }
}

/// Which tool error to believe.
pub fn believe(believe: Believe) -> &'static str {
    match believe {
        Believe::Either => "either",
        Believe::Simulated => "simulated",
        Believe::SimulatedOnly => "simulated only",
    }
}

/// Why a controller was left out.
pub fn left_out(why: LeftOut) -> String {
    match why {
        LeftOut::NotAskedFor => "the scenario does not ask for it".into(),
        LeftOut::Lacks { part } => part.to_string(),
    }
}

/// A source of the linear check's error; `None`: what is set once a pass.
pub fn error_source(source: Option<crate::linear::Source>) -> &'static str {
    use crate::linear::Source;
    match source {
        Some(Source::RowWander) => "wander of the planted row",
        Some(Source::DriverSeeing) => "driver's sight of the row",
        Some(Source::Steering) => "driver's hand on the wheel",
        Some(Source::Receiver) => "satellite receiver noise",
        Some(Source::ReceiverDrift) => "satellite receiver drift",
        Some(Source::Sway) => "sway of the implement",
        Some(Source::CameraWhite) => "camera noise",
        Some(Source::RowAppearance) => "uneven look of the rows",
        Some(Source::CameraRoll) => "roll of the camera",
        Some(Source::YawSensor) => "yaw-rate sensor noise",
        Some(Source::PositionSensor) => "position sensor noise",
        None => "alignment and other errors set once a pass",
    }
}
