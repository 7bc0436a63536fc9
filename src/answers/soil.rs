//! Thrown soil, pull and fuel, by speed.

use super::words::{Words, add_tables};
use crate::farm::fieldwork::{
    THROWN_TRIED_M_S, axle_w, draft_n, fuel_l_per_h, thrown_at_m_s, thrown_m,
};
use crate::farm::{Farm, Soil};
use crate::model::setup::Setup;
use crate::results::Results;
use crate::results::answers::{SoilAnswer, SoilAtSpeed, Status};
use crate::scenario::Units;

/// Soil over the top of a small plant that kills it: from 10 mm on 95 % or more died whatever the species, and
/// plants that showed 20 mm lived (Merfield, Future Farming Centre Bulletin, 2018 V2); 15 mm for small and 20 mm for longer weeds
/// (Terpstra and Kouwenhoven, J. agric. Engng Res., 1981, authors from memory).
fn lethal_cover(words: Words) -> String {
    let cover = match words.0 {
        Units::Metric => "10 to 20 mm",
        Units::Us => "0.4 to 0.8 in",
    };
    format!(
        "{cover} of soil over its top kills a small plant, crop or weed (Merfield 2018; Terpstra and Kouwenhoven 1981)"
    )
}

/// What soil does at every simulated speed and at that of the design, m/s, the tools at the design's clearance, m. Losses of the gearbox
/// are left out, so the load comes out somewhat low.
pub fn answer(
    results: &Results,
    setup: &Setup,
    farm: &Farm,
    (design_m_s, clearance_m): (f64, f64),
) -> SoilAnswer {
    let Some(soil) = &farm.soil else {
        return SoilAnswer {
            status: Status::NoData,
            reason: Some(add_tables(&["soil"])),
            ..SoilAnswer::default()
        };
    };
    // The soil reaches a plant where it reaches its stem.
    let room_m = clearance_m - setup.plants.stem_radius_m;
    let mut speeds_m_s = results.speeds_m_s.clone();
    if !speeds_m_s.contains(&design_m_s) {
        speeds_m_s.push(design_m_s);
        speeds_m_s.sort_by(f64::total_cmp);
    }
    let speeds: Vec<SoilAtSpeed> = speeds_m_s
        .into_iter()
        .map(|speed_m_s| {
            let rows = setup.rows.offset_m.len();
            let draft_n = draft_n(soil.texture, soil.shank, rows, soil.depth_m, speed_m_s);
            let axle_w = axle_w(draft_n, speed_m_s, soil.traction);
            let load_share = axle_w / soil.tractor_w;
            let thrown_m = thrown_m(soil, speed_m_s);
            SoilAtSpeed {
                speed_m_s,
                thrown_m,
                reaches_plants: thrown_m >= room_m,
                draft_n,
                axle_w,
                load_share,
                fuel_l_per_h: fuel_l_per_h(soil.tractor_w, load_share),
            }
        })
        .collect();
    SoilAnswer {
        status: Status::Ok,
        reason: None,
        warnings: warnings(results, soil, (clearance_m, room_m), &speeds),
        design_speed_m_s: design_m_s,
        clearance_m,
        speeds,
    }
}

fn warnings(
    results: &Results,
    soil: &Soil,
    (clearance_m, room_m): (f64, f64),
    speeds: &[SoilAtSpeed],
) -> Vec<String> {
    let words = Words::of(results);
    let lethal_cover = lethal_cover(words);
    let mut warnings = Vec::new();
    let clearance = words.length(clearance_m);
    let reached_at = words.speed(thrown_at_m_s(soil, room_m));
    let lands = |at: &SoilAtSpeed| {
        format!(
            "at {} it lands {} beyond the tools, which run {clearance} from the row",
            words.speed(at.speed_m_s),
            words.length(at.thrown_m)
        )
    };
    let reached = speeds.iter().find(|speed| speed.reaches_plants);
    let missed = speeds.iter().rfind(|speed| !speed.reaches_plants);
    if let (false, Some(first)) = (soil.may_cover, reached) {
        warnings.push(format!(
            "From about {reached_at} on, soil flies to plants that may not be covered: {}. {lethal_cover}. Drive slower, keep further away or fit shields.",
            lands(first)
        ));
    }
    if let (true, Some(last)) = (soil.may_cover, missed) {
        let below = if soil.thrown_m > 0.0 {
            format!("below about {reached_at} it does not reach them")
        } else {
            "none was seen to fly".to_string()
        };
        warnings.push(format!(
            "Soil is wanted at the plants, but {below}: {}. {lethal_cover}.",
            lands(last)
        ));
    }
    if let (true, Some(first)) = (soil.may_cover, reached) {
        warnings.push(format!(
            "From {} on, soil reaches the plants, as wanted. {lethal_cover}; plants that show {} of themselves live (Merfield 2018). How deep the cover gets is not computed: look at the field.",
            words.speed(first.speed_m_s),
            words.length(0.02)
        ));
    }
    if let Some(beyond) = speeds.iter().find(|speed| speed.load_share > 1.0) {
        warnings.push(format!(
            "From {} on, the pull takes more than the tractor's rated power: {} of {}. Such speeds need a stronger tractor or shallower work.",
            words.speed(beyond.speed_m_s),
            words.power(beyond.axle_w),
            words.power(soil.tractor_w)
        ));
    }
    let fastest_m_s = THROWN_TRIED_M_S.1;
    if speeds
        .iter()
        .any(|speed| speed.speed_m_s > fastest_m_s + 0.01)
    {
        warnings.push(format!(
            "Above {} the line of thrown soil over speed runs on beyond its published trials: look at the field.",
            words.speed(fastest_m_s)
        ));
    }
    warnings
}

#[cfg(all(test, feature = "program"))]
mod tests;
