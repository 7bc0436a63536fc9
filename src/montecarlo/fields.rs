//! Fields of a study with something that is not known: the eight passes over a field share its values, so that the field and not the pass
//! is what every limit counts, and what each of the first fields gave is kept apart.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::scenario::FIELD_PASSES;
use crate::sim::count::Expected;
use crate::sim::{AtSpeeds, PassAtSpeed, PassUnderController};
use crate::unknowns::correct::RateSums;
use crate::unknowns::emulator::Simulated;
use crate::unknowns::tool::ToolSums;

/// Fields that are kept apart, the first ones of a study: what follows from them is as good as from more, and memory must not grow.
pub const KEPT_FIELDS: u64 = 256;

/// Passes over whole fields that hold at least so many.
pub fn whole_fields(passes: u64) -> u64 {
    passes.div_ceil(FIELD_PASSES) * FIELD_PASSES
}

/// What the passes over one field gave, at every speed under every controller.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Field {
    passes: u64,
    /// `[speed * controllers + controller]`.
    settings: Vec<FieldSetting>,
}

/// At one speed under one controller.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct FieldSetting {
    tool: ToolSums,
    /// Whole rows: cut plants, clearance by clearance, then touched ones.
    rates: Vec<RateSums>,
}

/// The first fields of a study. Each is worked out in one go, so that plain sums do.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FieldSums(BTreeMap<u64, Field>);

impl FieldSums {
    /// Adds all passes over a field.
    pub fn add(&mut self, field: u64, passes: &[AtSpeeds]) {
        if field >= KEPT_FIELDS {
            return;
        }
        let sums = self.0.entry(field).or_default();
        for pass in passes {
            sums.passes += 1;
            let settings = pass.iter().flat_map(|at_speed| &at_speed.controllers);
            for (place, under) in settings.enumerate() {
                if sums.settings.len() == place {
                    sums.settings.push(FieldSetting::default());
                }
                sums.settings[place].add(under);
            }
        }
    }

    /// Adds other fields.
    pub fn merge(&mut self, other: &Self) {
        for (field, sums) in &other.0 {
            self.0.entry(*field).or_insert_with(|| sums.clone());
        }
    }

    /// The fields that were simulated, rising.
    pub fn fields(&self) -> Vec<u64> {
        self.0.keys().copied().collect()
    }

    /// Passes over each of them.
    pub fn passes(&self) -> Vec<u64> {
        self.0.values().map(|field| field.passes).collect()
    }

    /// What was found at one setting, by its place (speed times controllers and controller), field by field.
    pub fn simulated(&self, place: usize) -> Simulated {
        let settings: Vec<&FieldSetting> = (self.0.values())
            .filter_map(|field| field.settings.get(place))
            .collect();
        let cells = settings.first().map_or(0, |setting| setting.rates.len());
        Simulated {
            tool: settings.iter().map(|setting| setting.tool).collect(),
            rates: (0..cells)
                .map(|cell| settings.iter().map(|setting| setting.rates[cell]).collect())
                .collect(),
            elsewhere: Vec::new(),
        }
    }
}

impl FieldSetting {
    fn add(&mut self, under: &PassUnderController) {
        let followed = &under.followed;
        let looks = followed.looks.max(1.0);
        self.tool
            .add(followed.error_m / looks, followed.error_sq_m2 / looks);
        let whole = &under.whole;
        let hits = whole.cut.iter().chain(&whole.touched);
        self.rates
            .resize(whole.cut.len() + whole.touched.len(), RateSums::default());
        for (sums, hits) in self.rates.iter_mut().zip(hits) {
            sums.add(hits / whole.plants);
        }
    }
}

/// All passes over a field as if they were one long pass; none of none.
pub fn together(passes: impl IntoIterator<Item = AtSpeeds>) -> Option<AtSpeeds> {
    passes.into_iter().reduce(|mut all, pass| {
        for (all, at_speed) in all.iter_mut().zip(pass) {
            join(all, at_speed);
        }
        all
    })
}

fn join(all: &mut PassAtSpeed, pass: PassAtSpeed) {
    all.wanted_m.extend(pass.wanted_m);
    for (sum, more) in all.axle.iter_mut().zip(pass.axle) {
        *sum += more;
    }
    all.lost |= pass.lost;
    for (all, under) in all.controllers.iter_mut().zip(pass.controllers) {
        let (sum, more) = (&mut all.followed, under.followed);
        sum.looks += more.looks;
        sum.error_m += more.error_m;
        sum.error_sq_m2 += more.error_sq_m2;
        sum.at_stop += more.at_stop;
        sum.near += more.near;
        sum.longest_miss_m = sum.longest_miss_m.max(more.longest_miss_m);
        sum.frames += more.frames;
        sum.saturated += more.saturated;
        add(&mut all.whole, &under.whole);
        add(&mut all.entry, &under.entry);
        add(&mut all.rest, &under.rest);
        for (all, row) in all.rows.iter_mut().zip(&under.rows) {
            add(all, row);
        }
    }
}

fn add(sum: &mut Expected, more: &Expected) {
    sum.plants += more.plants;
    let pairs = sum.cut.iter_mut().zip(&more.cut);
    for (sum, more) in pairs.chain(sum.touched.iter_mut().zip(&more.touched)) {
        *sum += more;
    }
}
