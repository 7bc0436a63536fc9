//! Learning from the field: gaps, counts and direct measurements weigh the points among what is not known.
//!
//! The settings that notes speak of are simulated over fields that the scenario alone allows, rates and tool errors told at thousands of
//! points, and these weighed by how likely each makes what was found ([`crate::unknowns::learn`]). A study of a scenario with notes then
//! goes over fields chosen among those points by their weights: the notes are what is kept, never the weights.

use super::farms::{Fields, POINTS};
use super::fields::KEPT_FIELDS;
use super::plan::{Plan, Until};
use super::readings::{count, tape};
use super::study::{StudyError, Watch, run};
use super::watch::Unwatched;
use crate::linear::axle_about_line;
use crate::model::controller::Kind;
use crate::results::FarmShare;
use crate::results::lesson::{Band, Found, Lesson, Odd, Predicted, Reached, Value, Which};
use crate::scenario::{FIELD_PASSES, Learned, Notes, Scenario};
use crate::unknowns::assurance::{Axis, Reach};
use crate::unknowns::cloud::Cloud;
use crate::unknowns::dice::Dice;
use crate::unknowns::emulator::{Emulated, Emulator};
use crate::unknowns::law::Law;
use crate::unknowns::learn::{self, conflict, learn, ln_likelihood, moved};
use crate::unknowns::limits::{RAREST, quantiles};
use crate::unknowns::measure::{Aspect, Direct, Error, Measurement};

/// A value that was measured itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Its key.
    pub key: String,
    /// What was found, SI.
    pub value: f64,
    /// Standard error, SI, above 0.
    pub error: f64,
}

/// The scenario with what its notes leave of what is not known; one without notes, or that was learned from before, comes back as it is.
/// The same scenario and seed always give the same.
///
/// # Errors
///
/// As [`run`]; nothing that the scenario allows fits the notes; the watch stopped it.
pub fn learned(
    scenario: Scenario,
    seed: u64,
    threads: Option<usize>,
    watch: &dyn Watch,
) -> Result<Scenario, StudyError> {
    if scenario.notes().is_empty() || scenario.learned().is_some() || scenario.unknowns().is_empty()
    {
        return Ok(scenario);
    }
    let visited = Visited::of(&scenario, scenario.notes(), seed, threads, watch)?;
    let found = visited.with_emulator(|emulator| {
        let notes: Vec<&Notes> = scenario.notes().iter().collect();
        let after = visited.learn(emulator, &notes, &[])?;
        let (tool, cell) = visited.place(&scenario.notes()[0]);
        let ln_rates = emulator.at(&after.cloud).ln_rates(tool, cell);
        Some(chosen(seed, after.cloud, &ln_rates))
    })?;
    Ok(scenario.with_learned(found))
}

/// Fields for a study, by the weights of the points and evenly over their rates.
fn chosen(seed: u64, cloud: Cloud, ln_rates: &[f64]) -> Learned {
    let mut order: Vec<usize> = (0..cloud.len()).collect();
    order.sort_by(|&a, &b| ln_rates[a].total_cmp(&ln_rates[b]));
    let picked = cloud.choose(seed, &order, KEPT_FIELDS as usize);
    let mut fields: Vec<Vec<f64>> = (picked.iter())
        .map(|&point| cloud.point(point)[..cloud.unknowns()].to_vec())
        .collect();
    // A study that ends early shall have met rare and frequent ones alike: every other, then those between (van der Corput's order).
    let bits = fields.len().next_power_of_two().trailing_zeros();
    let spread = (0..1_usize << bits).map(|i| i.reverse_bits() >> (usize::BITS - bits));
    fields = spread
        .filter_map(|place| fields.get(place).cloned())
        .collect();
    Learned { fields, cloud }
}

/// What is learned from new notes and measured values beside those that the scenario holds: before and after, in words' numbers.
///
/// # Errors
///
/// As [`learned`].
pub fn lesson(
    scenario: &Scenario,
    new: &[Notes],
    measured: &[Measured],
    seed: u64,
    threads: Option<usize>,
) -> Result<Lesson, StudyError> {
    let all: Vec<Notes> = [scenario.notes(), new].concat();
    let visited = Visited::of(scenario, &all, seed, threads, &Unwatched)?;
    visited.with_emulator(|emulator| {
        let old: Vec<&Notes> = scenario.notes().iter().collect();
        let before = visited.learn(emulator, &old, &[])?.cloud;
        let all: Vec<&Notes> = all.iter().collect();
        let after = visited.learn(emulator, &all, measured)?;
        Some(visited.told(emulator, &before, &after, new, measured))
    })
}

/// The settings that notes speak of, simulated.
struct Visited<'a> {
    scenario: &'a Scenario,
    seed: u64,
    fields: Fields,
    kinds: Vec<Kind>,
    speeds_m_s: Vec<f64>,
    clearances_m: Vec<f64>,
}

fn rising(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    values.dedup();
    values
}

impl<'a> Visited<'a> {
    fn of(
        scenario: &'a Scenario,
        notes: &[Notes],
        seed: u64,
        threads: Option<usize>,
        watch: &dyn Watch,
    ) -> Result<Self, StudyError> {
        let study = scenario.study();
        let of_notes = |of: fn(&Notes) -> f64| notes.iter().map(of);
        let speeds_m_s = rising(
            of_notes(|one| one.speed_m_s)
                .chain([study.working_speed_m_s])
                .collect(),
        );
        let clearances_m = rising(
            of_notes(|one| one.clearance_m)
                .chain(study.clearances_m.iter().copied())
                .chain([study.working_clearance_m])
                .collect(),
        );
        let mut kinds: Vec<Kind> = notes.iter().map(|one| one.kind).collect();
        if kinds.is_empty() {
            kinds.extend(super::plan::runnable(scenario).last());
        }
        kinds.sort_unstable();
        kinds.dedup();
        let before =
            scenario
                .clone()
                .before_notes(speeds_m_s.clone(), clearances_m.clone(), kinds.clone());
        let plan = Plan {
            scenario: &before,
            seed,
            until: Until::Passes(KEPT_FIELDS * FIELD_PASSES),
            threads,
        };
        let ran = run(&plan, None, &OnlyStops(watch))?;
        if !ran.complete {
            return Err(StudyError::Interrupted {
                done: 0,
                of: plan.until.most_passes(),
            });
        }
        let fields = Fields::of(&plan, &ran.saved).ok_or(StudyError::NotesUnfit)?;
        Ok(Self {
            scenario,
            seed,
            fields,
            kinds,
            speeds_m_s,
            clearances_m,
        })
    }

    /// What the emulator of these settings tells; `None` where nothing that the scenario allows fits.
    fn with_emulator<T>(&self, with: impl FnOnce(&Emulator) -> Option<T>) -> Result<T, StudyError> {
        let band = self.fields.band();
        let emulator = self.fields.emulator(&band);
        let emulator = emulator.map_err(|_| StudyError::NotesUnfit)?;
        with(&emulator).ok_or(StudyError::Notes)
    }

    /// Place of a setting in the emulator, and its cell of cut plants.
    fn place(&self, notes: &Notes) -> (usize, usize) {
        let kind = self.kinds.iter().position(|&kind| kind == notes.kind);
        let of = |all: &[f64], value: f64| all.iter().position(|&one| one == value);
        let speed = of(&self.speeds_m_s, notes.speed_m_s);
        let clearance = of(&self.clearances_m, notes.clearance_m);
        (
            speed.unwrap_or(0) * self.kinds.len() + kind.unwrap_or(0),
            clearance.unwrap_or(0),
        )
    }

    /// What notes and measured values would be at points, each with what was found.
    fn evidence(&self, at: &Emulated, notes: &[&Notes], measured: &[Measured]) -> Vec<Evidence> {
        let setup = self.scenario.nominal();
        let row_m = setup.run.length_m;
        let mut all = Vec::new();
        for (number, one) in notes.iter().enumerate() {
            let (tool, cell) = self.place(one);
            if !one.gaps_m.is_empty() {
                all.push(Evidence {
                    which: Which::Gaps { notes: number },
                    measurement: Box::new(tape(at, tool, cell, one.gaps_m.len())),
                    result: one.errors_m(),
                });
            }
            if !one.counts.is_empty() {
                let counted = one.counted();
                let looked_at = (counted.plants, one.counts.len() as u64);
                all.push(Evidence {
                    which: Which::Counts { notes: number },
                    measurement: Box::new(count(at, (tool, cell), &setup, row_m, looked_at)),
                    result: vec![counted.cut as f64],
                });
            }
        }
        for one in measured {
            let unknown =
                (self.scenario.unknowns().iter()).position(|known| known.key() == one.key);
            if let Some(unknown) = unknown {
                all.push(Evidence {
                    which: Which::Measured {
                        key: one.key.clone(),
                    },
                    measurement: Box::new(Direct {
                        value: (0..at.len())
                            .map(|point| at.values(point)[unknown])
                            .collect(),
                        error: Error::Absolute(one.error),
                    }),
                    result: vec![one.value],
                });
            }
        }
        all
    }

    /// Points weighed by all that was found; `None` where every one is impossible.
    fn learn(
        &self,
        emulator: &Emulator,
        notes: &[&Notes],
        measured: &[Measured],
    ) -> Option<learn::Learned> {
        let unknowns = self.fields.laws().len();
        learn(self.seed, unknowns, POINTS, |cloud| {
            let at = emulator.at(cloud);
            let all = self.evidence(&at, notes, measured);
            ln_likelihood(&pairs(&all), cloud.len())
        })
    }

    fn told(
        &self,
        emulator: &Emulator,
        before: &Cloud,
        after: &learn::Learned,
        new: &[Notes],
        measured: &[Measured],
    ) -> Lesson {
        let study = self.scenario.study();
        let kind = new.first().map_or(self.kinds[0], |one| one.kind);
        let work = Notes {
            kind,
            speed_m_s: study.working_speed_m_s,
            clearance_m: study.working_clearance_m,
            gaps_m: Vec::new(),
            counts: Vec::new(),
        };
        let at_work = self.place(&work);
        let new: Vec<&Notes> = new.iter().collect();
        let (at_before, at_after) = (emulator.at(before), emulator.at(&after.cloud));
        let evidence = self.evidence(&at_before, &new, measured);
        let odd = conflict(before, &pairs(&evidence)).filter(|odd| odd.is_real());
        let predicted = predicted(self.seed, before, &evidence);
        let values = self.values(before, &after.cloud);
        let ln_allowed = libm::log(study.allowed_cut_rate);
        let assured = |at: &Emulated, cloud: &Cloud| {
            let axis = Axis::Milder(&self.clearances_m);
            let cells: Vec<Vec<f64>> = (0..self.clearances_m.len())
                .map(|cell| at.ln_rates(at_work.0, cell))
                .collect();
            let reaches: Vec<Reach> = (0..cloud.len())
                .map(|point| axis.reach(|cell| cells[cell][point], ln_allowed))
                .collect();
            match axis.assured(cloud.weights(), &reaches, study.assurance) {
                Reach::At(clearance_m) => Reached::At { clearance_m },
                Reach::All => Reached::All,
                Reach::None => Reached::None,
            }
        };
        let share = |at: &Emulated, cloud: &Cloud, cell: usize| {
            let ln_rates = at.ln_rates(at_work.0, cell);
            let [p05, p50, p95] = quantiles(cloud.weights(), &ln_rates, [0.05, 0.5, 0.95])
                .map(|ln| libm::exp(ln).clamp(RAREST, 1.0));
            FarmShare { p05, p50, p95 }
        };
        Lesson {
            units: self.scenario.units(),
            controller: kind,
            speed_m_s: work.speed_m_s,
            clearance_m: work.clearance_m,
            allowed_cut_rate: study.allowed_cut_rate,
            assurance: study.assurance,
            found: new.iter().map(|notes| found(notes)).collect(),
            cut_before: share(&at_before, before, at_work.1),
            cut_after: share(&at_after, &after.cloud, at_work.1),
            clearance_before: assured(&at_before, before),
            clearance_after: assured(&at_after, &after.cloud),
            over_clearance: (self.clearances_m.iter().enumerate())
                .map(|(cell, &clearance_m)| Band {
                    clearance_m,
                    before: share(&at_before, before, cell),
                    after: share(&at_after, &after.cloud, cell),
                })
                .collect(),
            predicted,
            odd: odd.map(|odd| Odd {
                probability: odd.probability,
                which: evidence[odd.result].which.clone(),
                aspect: odd.aspect,
                high: odd.high,
                likeliest: values.first().map(|value| value.key.clone()),
            }),
            values,
            points: after.effective,
            enough: after.is_enough(),
        }
    }

    /// Every unknown before and after, the one that moved most first.
    fn values(&self, before: &Cloud, after: &Cloud) -> Vec<Value> {
        let unknowns = self.scenario.unknowns();
        let laws = self.fields.laws();
        let share = |cloud: &Cloud, unknown: usize| {
            let of_law = |law: &Law| -> Vec<f64> {
                (0..cloud.len())
                    .map(|point| law.quantile(cloud.point(point)[unknown]))
                    .collect()
            };
            let [p05, p50, p95] =
                quantiles(cloud.weights(), &of_law(&laws[unknown]), [0.05, 0.5, 0.95]);
            FarmShare { p05, p50, p95 }
        };
        let all = moved(after).into_iter();
        all.map(|moved| Value {
            key: unknowns[moved.unknown].key(),
            before: share(before, moved.unknown),
            after: share(after, moved.unknown),
            up: moved.by_sd > 0.0,
            moved_sd: moved.by_sd,
            at_its_end: moved.at_its_end,
        })
        .collect()
    }
}

/// Something found, beside what it might have been.
struct Evidence {
    which: Which,
    measurement: Box<dyn Measurement>,
    result: Vec<f64>,
}

/// What each finding was before it was found: one simulated at every point, by the points' weights.
fn predicted(seed: u64, before: &Cloud, evidence: &[Evidence]) -> Vec<Predicted> {
    let mut dice = Dice::new(seed ^ 0x51c8_0f4e_2b97_a36d);
    let mut all = Vec::new();
    for one in evidence {
        let simulated: Vec<Vec<f64>> = (0..before.len())
            .map(|point| one.measurement.simulate(point, &mut dice))
            .collect();
        for (aspect, below) in one.measurement.below(&one.result) {
            let numbers: Vec<f64> = simulated
                .iter()
                .map(|result| aspect_of(aspect, result))
                .collect();
            let [p05, p50, p95] = quantiles(before.weights(), &numbers, [0.05, 0.5, 0.95]);
            let below: f64 = (before.weights().iter().zip(&below))
                .map(|(weight, below)| weight * below)
                .sum();
            all.push(Predicted {
                which: one.which.clone(),
                aspect,
                found: aspect_of(aspect, &one.result),
                predicted: FarmShare { p05, p50, p95 },
                agrees: (0.05..=0.95).contains(&below),
            });
        }
    }
    all
}

/// The number that an aspect looks at.
fn aspect_of(aspect: Aspect, result: &[f64]) -> f64 {
    let n = result.len() as f64;
    let mean = result.iter().sum::<f64>() / n;
    match aspect {
        Aspect::Spread => {
            let squares = result.iter().map(|x| (x - mean) * (x - mean));
            (squares.sum::<f64>() / (n - 1.0)).sqrt()
        }
        Aspect::Mean => mean,
        Aspect::Struck | Aspect::Value => result.first().copied().unwrap_or(f64::NAN),
    }
}

/// Fields of which the wander is predicted.
const WANDER_FIELDS: u64 = 256;

/// What a scenario predicts of the tractor's wander about its planned line at a speed, m/s, beside that of a log with its 95 % limits, m:
/// they agree where both ranges meet. `None` for a replayed path.
pub fn predicted_wander(
    scenario: &Scenario,
    seed: u64,
    speed_m_s: f64,
    found_m: f64,
    [lower_m, upper_m]: [f64; 2],
) -> Option<Predicted> {
    let sds_m: Vec<f64> = (0..WANDER_FIELDS)
        .filter_map(|field| {
            let setup = scenario.draw(seed, field * FIELD_PASSES);
            Some(axle_about_line(&setup, speed_m_s)?.variance_m2().sqrt())
        })
        .collect();
    if sds_m.is_empty() {
        return None;
    }
    let [p05, p50, p95] = quantiles(&vec![1.0; sds_m.len()], &sds_m, [0.05, 0.5, 0.95]);
    Some(Predicted {
        which: Which::Wander,
        aspect: Aspect::Value,
        found: found_m,
        predicted: FarmShare { p05, p50, p95 },
        agrees: lower_m <= p95 && p05 <= upper_m,
    })
}

fn pairs(all: &[Evidence]) -> Vec<(&dyn Measurement, &[f64])> {
    all.iter()
        .map(|one| (one.measurement.as_ref(), one.result.as_slice()))
        .collect()
}

fn found(notes: &Notes) -> Found {
    let errors_m = notes.errors_m();
    let n = errors_m.len() as f64;
    let mean_m = errors_m.iter().sum::<f64>() / n;
    let squares = errors_m.iter().map(|error| (error - mean_m).powi(2));
    let counted = notes.counted();
    Found {
        controller: notes.kind,
        speed_m_s: notes.speed_m_s,
        clearance_m: notes.clearance_m,
        gaps: errors_m.len() as u64,
        mean_error_m: (n > 0.0).then_some(mean_m),
        error_sd_m: (n > 1.0).then(|| (squares.sum::<f64>() / (n - 1.0)).sqrt()),
        places: notes.counts.len() as u64,
        plants: counted.plants,
        cut: counted.cut,
    }
}

/// Passes on that a watch wants an end, and nothing else: these passes are none of the study's.
struct OnlyStops<'a>(&'a dyn Watch);

impl Watch for OnlyStops<'_> {
    fn passes_done(&self, _done: u64, _of: u64) {}
    fn stop(&self) -> bool {
        self.0.stop()
    }
}
