//! What to look out for, in words.

use super::quantities::{Words, listed};
use crate::model::tractor::LOST_OFFSET_M;
use crate::montecarlo::estimate::MOST_BY_THE_WORST;
use crate::report::display::Units;
use crate::results::Results;
use crate::results::reasons::{Between, SheetWarning, SoilLands, SoilWarning, Warning};

/// The warnings of a study, in order.
pub fn of_study(results: &Results, units: Units) -> Vec<String> {
    let of = |warning| study(warning, results, units);
    results.warnings.iter().map(of).collect()
}

/// A warning of a study.
pub fn study(warning: &Warning, results: &Results, units: Units) -> String {
    match warning {
        Warning::TyresOnRows { rows } => {
            let numbers: Vec<String> = rows.iter().map(u32::to_string).collect();
            format!(
                "The tractor's tyres run over or beside row{} {}: compare tractor.track_width and tractor.tyre_width with the rows. These plants are counted as if no tyre were there.",
                plural(rows.len()),
                numbers.join(", ")
            )
        }
        Warning::TyresOnNextRows => "The tractor's tyres run over or beside rows of the next pass: compare tractor.track_width and tractor.tyre_width with the rows and the width of a pass. These plants are counted as if no tyre were there.".into(),
        Warning::GuessRows { after_rows } => {
            let places: Vec<String> = after_rows
                .iter()
                .map(|row| format!("{row} and {}", row + 1))
                .collect();
            format!(
                "The implement spans {} planter passes: between rows {} lies a guess row. No camera can follow rows of two planter passes at once.",
                after_rows.len() + 1,
                places.join(", ")
            )
        }
        Warning::GuessRowsMove { rows, planter_rows } => format!(
            "The implement's {rows} rows and the planter's {planter_rows} do not divide each other: the guess rows move under the implement from pass to pass, and only this one position is simulated."
        ),
        Warning::LineFarLonger { line_m, pass_m } => format!(
            "The points of line.polyline.file make a line of {line_m:.0} m and the pass has {pass_m:.0} m, so that it sees little of them: check that x_m and y_m are in metres."
        ),
        Warning::OnePath => "Every pass drives the same logged path: the limits hold for this path only, not for other drives.".into(),
        Warning::WideWander { sd_m, likely } => format!(
            "The logged pass wanders by {sd_m:.2} m (standard deviation about its trend), far more than tractors in row crops do: check that its offset_m is in metres{}",
            question(likely)
        ),
        Warning::FarOffLine { farthest_m, at_m, likely } => format!(
            "The logged pass is {farthest_m:.2} m off its line at {at_m:.1} m from its start: check that its offset_m is in metres and counts from the planned line of this pass{}",
            question(likely)
        ),
        Warning::LostRow => lost_row(results, units),
        Warning::FewPasses { hanging, none, of } => {
            let none = match none {
                0 => String::new(),
                _ => format!(" and {none} more saw no plant cut at all"),
            };
            format!(
                "{hanging} of {of} rates of cut plants hang on few passes (the worst 1 % of them carry more than {} % of the rate, or it is too rare for so few passes){none}: \
                 trust their upper limits, not the rates; more passes (--passes) narrow them.",
                100.0 * MOST_BY_THE_WORST
            )
        }
    }
}

fn question(likely: &[String]) -> String {
    if likely.is_empty() {
        ".".into()
    } else {
        format!("; are these {}?", likely.join(" or "))
    }
}

fn lost_row(results: &Results, units: Units) -> String {
    let at: Vec<String> = results
        .lost_passes
        .iter()
        .map(|lost| {
            format!(
                "{} at {:.1} {}",
                lost.passes,
                units.speed(lost.speed_m_s),
                units.speed_unit()
            )
        })
        .collect();
    format!(
        "Of {} passes at each speed the tractor lost the row in {}: it stood across it, more than {LOST_OFFSET_M} m off, or fell short of its end. \
         The plants that it never met count as cut.",
        results.passes,
        at.join(", ")
    )
}

fn plural(count: usize) -> &'static str {
    if count > 1 { "s" } else { "" }
}

/// Soil over the top of a small plant that kills it: from 10 mm on 95 % or more died whatever the species, and
/// plants that showed 20 mm lived (Merfield, Future Farming Centre Bulletin, 2018 V2); 15 mm for small and 20 mm for longer weeds
/// (Terpstra and Kouwenhoven, J. agric. Engng Res., 1981, authors from memory).
fn lethal_cover(units: Units) -> String {
    let cover = match units {
        Units::Metric => "10 to 20 mm",
        Units::Us => "0.4 to 0.8 in",
    };
    format!(
        "{cover} of soil over its top kills a small plant, crop or weed (Merfield 2018; Terpstra and Kouwenhoven 1981)"
    )
}

/// A warning about thrown soil, pull or fuel.
pub fn soil(warning: &SoilWarning, units: Units) -> String {
    let words = Words(units);
    let lethal_cover = lethal_cover(units);
    match warning {
        SoilWarning::Covers { from_m_s, lands } => format!(
            "From about {} on, soil flies to plants that may not be covered: {}. {lethal_cover}. Drive slower, keep further away or fit shields.",
            words.speed(*from_m_s),
            soil_lands(lands, words)
        ),
        SoilWarning::FallsShort { below_m_s, lands } => {
            let below = match below_m_s {
                Some(below_m_s) => format!(
                    "below about {} it does not reach them",
                    words.speed(*below_m_s)
                ),
                None => "none was seen to fly".to_string(),
            };
            format!(
                "Soil is wanted at the plants, but {below}: {}. {lethal_cover}.",
                soil_lands(lands, words)
            )
        }
        SoilWarning::Reaches { from_m_s } => format!(
            "From {} on, soil reaches the plants, as wanted. {lethal_cover}; plants that show {} of themselves live (Merfield 2018). How deep the cover gets is not computed: look at the field.",
            words.speed(*from_m_s),
            words.length(0.02)
        ),
        SoilWarning::BeyondPower {
            from_m_s,
            axle_w,
            tractor_w,
        } => format!(
            "From {} on, the pull takes more than the tractor's rated power: {} of {}. Such speeds need a stronger tractor or shallower work.",
            words.speed(*from_m_s),
            words.power(*axle_w),
            words.power(*tractor_w)
        ),
        SoilWarning::BeyondTrials { above_m_s } => format!(
            "Above {} the line of thrown soil over speed runs on beyond its published trials: look at the field.",
            words.speed(*above_m_s)
        ),
    }
}

fn soil_lands(lands: &SoilLands, words: Words) -> String {
    format!(
        "at {} it lands {} beyond the tools, which run {} from the row",
        words.speed(lands.speed_m_s),
        words.length(lands.thrown_m),
        words.length(lands.clearance_m)
    )
}

/// "between rows 1 and 2".
fn between(space: &Between) -> String {
    match (space.row_left, space.row_right) {
        (Some(left), Some(right)) => format!("between rows {left} and {right}"),
        (None, Some(right)) => format!("to the left of row {right}"),
        (Some(left), None) => format!("to the right of row {left}"),
        (None, None) => "under the implement".to_string(),
    }
}

/// A warning about where tools stand.
pub fn sheet(warning: &SheetWarning, units: Units) -> String {
    let words = Words(units);
    match warning {
        SheetWarning::NoRoom { space } => {
            if space.row_left.is_some() && space.row_right.is_some() {
                format!(
                    "There is no room {}: the clearances on both sides meet.",
                    between(space)
                )
            } else {
                format!(
                    "No tool stands {}: the tools are to reach no further than the clearance.",
                    between(space)
                )
            }
        }
        SheetWarning::NoToolFits { space, free_m } => format!(
            "No tool on hand fits {}, where {} are free: the whole strip stays unworked.",
            between(space),
            words.length(*free_m)
        ),
        SheetWarning::NotFilled {
            space,
            width_m,
            tool_m,
            unworked_m,
        } => format!(
            "The tools on hand do not fill the {} {}: one of {} stands there and {} stay unworked.",
            words.length(*width_m),
            between(space),
            words.length(*tool_m),
            words.length(*unworked_m)
        ),
        SheetWarning::WideOverlap { space, overlap_m } => format!(
            "Tools overlap by {} {}, more than half of the narrowest: set them one behind the other with room for soil and residue, or get other widths.",
            words.length(*overlap_m),
            between(space)
        ),
        SheetWarning::TyreOnRows {
            tyre_m,
            from_centre_m,
            rows,
        } => {
            let numbers: Vec<String> = rows.iter().map(u32::to_string).collect();
            format!(
                "A tyre {} wide, {} from the centre, runs on or beside row{} {}: change the wheel track or fit narrower tyres.",
                words.length(*tyre_m),
                words.length(*from_centre_m),
                plural(rows.len()),
                listed(&numbers)
            )
        }
        SheetWarning::TyreOnNextRow {
            tyre_m,
            from_centre_m,
            row_m,
        } => format!(
            "A tyre {} wide, {} from the centre, runs on or beside a row of the next pass, {} from the centre: change the wheel track or fit narrower tyres.",
            words.length(*tyre_m),
            words.length(*from_centre_m),
            words.length(*row_m)
        ),
        SheetWarning::GuessRow { after_row } => format!(
            "Between rows {after_row} and {} one planter pass joins the next (a guess row): measure this space in several places and set its tools to the narrowest.",
            after_row + 1
        ),
        SheetWarning::RowsDoNotDivide { rows, planter_rows } => format!(
            "The cultivator has {rows} rows, the planter {planter_rows}: neither divides the other, so guess rows come to lie between other rows in every pass. Work as many rows as the planter set, or a whole part of them."
        ),
        SheetWarning::NearNextPass { closest_m } => format!(
            "The outermost tools come within {} of where the next pass's row stands, closer than the clearance: let them reach less far.",
            words.length(*closest_m)
        ),
        SheetWarning::StripBetweenPasses { width_m } => format!(
            "Between neighbouring passes {} stay unworked beyond the outermost tools.",
            words.length(*width_m)
        ),
    }
}
