//! What stays the same in all passes over a field and is not known: which keys, and the values of each field that a study draws.
//!
//! Passes that run side by side go over the same field. The values of field f are point f of a scrambled Sobol sequence, one coordinate
//! for each unknown in the order of the language: fields fill the range of what may be far more evenly than independent draws would.

use std::ops::Range;

use super::keys::{self, Id, KEYS, Shape, Varies};
use super::spread::Spread;
use super::stamp::Known;
use super::values::Values;
use crate::sim::LANES;
use crate::unknowns::law::Law;
use crate::unknowns::points::Sobol;

/// Passes over one field.
pub const FIELD_PASSES: u64 = LANES as u64;

/// Tables whose keys the simulation of a pass does not read.
const APART: [&str; 3] = ["farm", "weeds", "prices"];

/// Keys that nobody knows of a farm unless he measured them: where they are left out and `study.unknowns` asks for it, they lie anywhere in
/// the plausible range of their default. What a maker's data sheet, a tape or a look at the field tells is not among them.
const SELDOM_KNOWN: [Id; 19] = [
    Id::Wander,
    Id::UnitErrorSd,
    Id::JoinErrorSd,
    Id::ScatterSd,
    Id::StemRadius,
    Id::RootMargin,
    Id::SeeingSd,
    Id::SteeringSd,
    Id::DriftSd,
    Id::RearSway,
    Id::FrontSway,
    Id::SettingSd,
    Id::Latency,
    Id::NoiseSd,
    Id::AppearanceSd,
    Id::RollGround,
    Id::RollHeight,
    Id::Friction,
    Id::PropDead,
];

/// What holds for a key that is left out where its plausible range does: anywhere between these ends, SI, the nominal value being its
/// default; `None` if the key is not among those that nobody knows.
pub fn left_out(id: Id, (from, to): (f64, f64), nominal: f64) -> Option<Spread> {
    (SELDOM_KNOWN.contains(&id) && from < to).then(|| Spread::Unknown {
        law: Law::between(from, to),
        nominal,
    })
}

/// True for a noise of the driver or receiver that an observed wander scales: with it the wander is known, whatever their own sizes.
pub fn is_scaled(id: Id, is_there: impl Fn(Id) -> bool) -> bool {
    match id {
        Id::SeeingSd | Id::SteeringSd => is_there(Id::HandObserved),
        Id::DriftSd => is_there(Id::LineObserved),
        _ => false,
    }
}

/// A value that is not known.
#[derive(Clone, Debug, PartialEq)]
pub struct Unknown {
    pub(super) id: Id,
    /// What is known of it, SI.
    pub law: Law,
    /// How its range is known.
    pub known: Known,
    /// "scenario", a source, or "assumed".
    pub origin: String,
}

impl Unknown {
    /// Its key in the scenario file.
    pub fn key(&self) -> String {
        keys::key(self.id).path()
    }

    /// True if it changes the variance of the linear check.
    pub(super) fn is_linear(&self) -> bool {
        let shape = keys::key(self.id).shape;
        matches!(
            shape,
            Shape::Quantity {
                varies: Varies::Linear,
                ..
            }
        )
    }
}

/// All that is not known, in the order of the language. Where anything is, the alignment of the camera stays for a field too and counts
/// among it.
pub fn unknowns(values: &Values) -> Vec<Unknown> {
    let of = |id: Id, law: Law| {
        let stated = values.stated(id)?;
        Some(Unknown {
            id,
            law,
            known: stated.known,
            origin: stated.origin.clone(),
        })
    };
    let keys = KEYS.iter().filter(|key| !APART.contains(&key.table));
    let mut found: Vec<Unknown> = keys
        .filter_map(|key| of(key.id, values.spread(key.id)?.unknown()?))
        .collect();
    if !found.is_empty()
        && let Some(Spread::Normal {
            mean,
            sd,
            low,
            high,
        }) = values.spread(Id::Alignment)
    {
        let law = Law::Normal {
            mean,
            sd,
            low: Some(low),
            high: Some(high),
        };
        found.extend(of(Id::Alignment, law));
        found.sort_by_key(|unknown| unknown.id);
    }
    found
}

/// The field that a pass goes over.
pub fn field_of(pass: u64) -> u64 {
    pass / FIELD_PASSES
}

/// Coordinates of a field in what is not known, 0 to 1 each: where its values lie in their laws.
pub fn point(unknowns: &[Unknown], seed: u64, field: u64) -> Vec<f64> {
    coordinates(seed, field, 0..unknowns.len())
}

/// Some of the coordinates of a field.
pub fn coordinates(seed: u64, field: u64, places: Range<usize>) -> Vec<f64> {
    let sobol = Sobol::new(seed);
    // Numbers beyond 32 bits begin anew: so many fields nobody waits for.
    let index = field as u32;
    places
        .map(|dimension| sobol.point(index, dimension))
        .collect()
}
