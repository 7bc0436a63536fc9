//! What a scenario says of the farm around the machine.

use super::keys::{Id, keys_of};
use super::values::Values;
use crate::farm::{Farm, Land, Prices, Ranged, Shank, Soil, Stage, Texture, Weeds, Workshop};

/// Share by which a price or number without a range is tried lower and higher (our choice, no source).
const TRIED_SHARE: f64 = 0.25;

/// The stem's part of the protected radius of a stage that does not give it (assumed).
const STEM_SHARE: f64 = 1.0 / 3.0;

/// The farm of checked values.
pub fn farm(values: &Values) -> Farm {
    Farm {
        pass_width_m: pass_width_m(values).unwrap_or(f64::NAN),
        land: land(values),
        weeds: weeds(values),
        prices: prices(values),
        stages: stages(values),
        soil: soil(values),
        workshop: workshop(values),
        change_prices: keys_of("change_prices")
            .filter_map(|key| Some((key.name, values.number(key.id)?)))
            .collect(),
        track_m: values.number(Id::TrackWidth).unwrap_or(f64::NAN),
        tyre_m: values.number(Id::TyreWidth).unwrap_or(f64::NAN),
        planter_rows: values.count(Id::PlanterRows),
        hose_bore_m: values.number(Id::HoseBore).unwrap_or(f64::NAN),
        force_reserve: values.number(Id::ForceReserve).unwrap_or(f64::NAN),
    }
}

fn pass_width_m(values: &Values) -> Option<f64> {
    match values.number(Id::BedSpacing) {
        Some(bed_m) => Some(values.count(Id::Beds)? as f64 * bed_m),
        None => Some(values.count(Id::RowsPerBed)? as f64 * values.number(Id::RowSpacing)?),
    }
}

/// A number with its range, or a quarter either way, kept within what the key allows.
fn ranged(values: &Values, id: Id) -> Option<Ranged> {
    let spread = values.spread(id)?;
    let value = spread.mean();
    let (low, high) = spread.support();
    if spread.varies() || spread.unknown().is_some() {
        return Some(Ranged { value, low, high });
    }
    let (least, most) = super::keys::key(id).range()?;
    Some(Ranged {
        value,
        low: (value * (1.0 - TRIED_SHARE)).max(least),
        high: (value * (1.0 + TRIED_SHARE)).min(most),
    })
}

fn land(values: &Values) -> Option<Land> {
    Some(Land {
        area_m2: values.number(Id::FarmArea)?,
        row_length_m: values
            .number(Id::RowLength)
            .or_else(|| values.number(Id::PassLength))?,
        turn_s: values.number(Id::TurnTime)?,
        idle_share: values.number(Id::IdleShare)?,
        rounds: values.count(Id::Rounds)?,
        workable_days: values.number(Id::WorkableDays)?,
        day_hours: values.number(Id::DayHours)?,
        night_hours: values.number(Id::NightHours)?,
        night_noise: values.number(Id::NightNoise)?,
    })
}

fn weeds(values: &Values) -> Option<Weeds> {
    Some(Weeds {
        density_1_m2: ranged(values, Id::WeedDensity)?,
        undercut_share: ranged(values, Id::UndercutShare)?,
        pulled_an_hour: ranged(values, Id::WeedsAnHour)?,
    })
}

fn prices(values: &Values) -> Option<Prices> {
    Some(Prices {
        currency: values.text(Id::Currency)?.to_string(),
        plant: ranged(values, Id::PlantPrice)?,
        touched_lost: ranged(values, Id::TouchedLost)?,
        labour_hour: ranged(values, Id::LabourPrice)?,
        machine_hour: ranged(values, Id::MachinePrice)?,
    })
}

fn stages(values: &Values) -> Vec<Stage> {
    let (Some(heights), Some(radii)) = (
        values.numbers(Id::PlantHeights),
        values.numbers(Id::StageRadii),
    ) else {
        return Vec::new();
    };
    let stems = values.numbers(Id::StageStems);
    let pairs = heights.iter().zip(radii).enumerate();
    pairs
        .map(|(stage, (&height_m, &protected_radius_m))| Stage {
            height_m,
            stem_radius_m: stems
                .and_then(|stems| stems.get(stage).copied())
                .unwrap_or(STEM_SHARE * protected_radius_m),
            protected_radius_m,
        })
        .collect()
}

fn soil(values: &Values) -> Option<Soil> {
    Some(Soil {
        thrown_m: values.number(Id::Thrown)?,
        thrown_at_m_s: values.number(Id::ThrownAt)?,
        may_cover: values.text(Id::Covering)? == "wanted",
        depth_m: values.number(Id::Depth)?,
        texture: match values.text(Id::Texture)? {
            "fine" => Texture::Fine,
            "coarse" => Texture::Coarse,
            _ => Texture::Medium,
        },
        shank: match values.text(Id::Shank)? {
            "c_shank" => Shank::CShank,
            "no_till" => Shank::NoTill,
            _ => Shank::STine,
        },
        traction: values.number(Id::Traction)?,
        tractor_w: values.number(Id::TractorPower)?,
    })
}

fn workshop(values: &Values) -> Option<Workshop> {
    Some(Workshop {
        tool_widths_m: values.numbers(Id::ToolWidths)?.to_vec(),
        overlap_m: values.number(Id::ToolOverlap)?,
        outer_reach_m: values.number(Id::OuterReach),
    })
}
