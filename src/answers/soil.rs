//! Thrown soil, pull and fuel, by speed.

use crate::farm::fieldwork::{
    THROWN_TRIED_M_S, axle_w, draft_n, fuel_l_per_h, thrown_at_m_s, thrown_m,
};
use crate::farm::{Farm, Soil};
use crate::model::setup::Setup;
use crate::results::Results;
use crate::results::answers::{SoilAnswer, SoilAtSpeed, Status};
use crate::results::reasons::{Reason, SoilLands, SoilWarning};

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
            reason: Some(Reason::TablesMissing {
                tables: vec!["soil".into()],
            }),
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
        warnings: warnings(soil, (clearance_m, room_m), &speeds),
        design_speed_m_s: design_m_s,
        clearance_m,
        speeds,
    }
}

fn warnings(
    soil: &Soil,
    (clearance_m, room_m): (f64, f64),
    speeds: &[SoilAtSpeed],
) -> Vec<SoilWarning> {
    let mut warnings = Vec::new();
    let reached_at_m_s = thrown_at_m_s(soil, room_m);
    let lands = |at: &SoilAtSpeed| SoilLands {
        speed_m_s: at.speed_m_s,
        thrown_m: at.thrown_m,
        clearance_m,
    };
    let reached = speeds.iter().find(|speed| speed.reaches_plants);
    let missed = speeds.iter().rfind(|speed| !speed.reaches_plants);
    if let (false, Some(first)) = (soil.may_cover, reached) {
        warnings.push(SoilWarning::Covers {
            from_m_s: reached_at_m_s,
            lands: lands(first),
        });
    }
    if let (true, Some(last)) = (soil.may_cover, missed) {
        warnings.push(SoilWarning::FallsShort {
            below_m_s: (soil.thrown_m > 0.0).then_some(reached_at_m_s),
            lands: lands(last),
        });
    }
    if let (true, Some(first)) = (soil.may_cover, reached) {
        warnings.push(SoilWarning::Reaches {
            from_m_s: first.speed_m_s,
        });
    }
    if let Some(beyond) = speeds.iter().find(|speed| speed.load_share > 1.0) {
        warnings.push(SoilWarning::BeyondPower {
            from_m_s: beyond.speed_m_s,
            axle_w: beyond.axle_w,
            tractor_w: soil.tractor_w,
        });
    }
    let fastest_m_s = THROWN_TRIED_M_S.1;
    if speeds
        .iter()
        .any(|speed| speed.speed_m_s > fastest_m_s + 0.01)
    {
        warnings.push(SoilWarning::BeyondTrials {
            above_m_s: fastest_m_s,
        });
    }
    warnings
}

#[cfg(all(test, feature = "report"))]
mod tests;
