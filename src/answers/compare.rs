//! Two whole machines side by side, each on its own field, on the same seed and pass numbers.

use super::pays::{Curves, Frame, NO_CAPS};
use super::trial::{Ask, Cell, Sample, Stopped, Trials, as_it_is};
use crate::linear::{self, Unstable};
use crate::model::controller::Kind;
use crate::montecarlo::study::{Watch, runnable};
use crate::montecarlo::workers::NoThreads;
use crate::results::answers::{Change, Comparison, Limited, Pair};
use crate::results::{LEVEL, Tool};
use crate::scenario::Scenario;

/// Passes of a comparison unless somebody asks for another number (our choice).
pub const PASSES: u64 = 256;

/// Why two machines were not compared.
#[derive(Debug, thiserror::Error)]
pub enum CompareError {
    /// A loop is unstable.
    #[error("{file}: {source}")]
    Unstable {
        /// File of the scenario.
        file: String,
        /// How, and what would do.
        source: Unstable,
    },
    /// A machine runs no controller.
    #[error("{file}: the machine runs none of the controllers that its scenario asks for")]
    NoController {
        /// File of the scenario.
        file: String,
    },
    /// Somebody stopped it.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// The machine gave no threads.
    #[error(transparent)]
    Threads(#[from] NoThreads),
}

/// One machine, simulated at the first one's speeds and clearances.
struct Machine {
    kinds: Vec<Kind>,
    sample: Sample,
    /// Place of the controller with the lowest upper limit at work.
    best: usize,
}

impl Machine {
    fn run(
        scenario: &Scenario,
        frame: &Frame,
        (seed, passes, threads): (u64, u64, Option<usize>),
        watch: &dyn Watch,
    ) -> Result<Self, CompareError> {
        let (setup, kinds) = (scenario.nominal(), runnable(scenario));
        for &kind in &kinds {
            for &speed_m_s in &frame.speeds_m_s {
                linear::check_stable(&setup, kind, speed_m_s).map_err(|source| {
                    CompareError::Unstable {
                        file: scenario.file().into(),
                        source,
                    }
                })?;
            }
        }
        let ask = Ask {
            passes,
            speeds_m_s: &frame.speeds_m_s,
            kinds: &kinds,
            clearances_m: &frame.clearances_m,
        };
        let sample = Trials::new(scenario, seed, threads, watch)?.run(&ask, &as_it_is)?;
        let upper = |place: &usize| rate(frame, sample.cell(frame.working_speed, *place)).upper;
        let best = (0..kinds.len()).min_by(|a, b| upper(a).total_cmp(&upper(b)));
        Ok(Self {
            best: best.ok_or_else(|| CompareError::NoController {
                file: scenario.file().into(),
            })?,
            kinds,
            sample,
        })
    }

    fn at_work(&self, frame: &Frame, place: usize) -> &Cell {
        self.sample.cell(frame.working_speed, place)
    }
}

fn rate(frame: &Frame, cell: &Cell) -> Limited {
    let estimate = cell.estimates()[frame.working_clearance];
    Limited {
        value: estimate.rate,
        lower: estimate.lower,
        upper: estimate.upper,
    }
}

/// Compares two machines at the first one's speeds, clearances, working setting and allowed rate.
///
/// # Errors
///
/// An unstable loop or no controller, before any pass; a stop; no threads.
pub fn machines(
    first: &Scenario,
    second: &Scenario,
    seed: u64,
    passes: u64,
    threads: Option<usize>,
    watch: &dyn Watch,
) -> Result<Comparison, CompareError> {
    let frame = Frame::of(first, None);
    let run = |scenario| Machine::run(scenario, &frame, (seed, passes, threads), watch);
    let (one, other) = (run(first)?, run(second)?);
    let shared = one.kinds.iter().enumerate().filter_map(|(place, kind)| {
        let same = other.kinds.iter().position(|other| other == kind)?;
        Some((place, same))
    });
    let mut places = vec![(one.best, other.best)];
    places.extend(shared.filter(|&pair| pair != (one.best, other.best)));
    let pair = |(a, b): (usize, usize)| {
        let (cell, other_cell) = (one.at_work(&frame, a), other.at_work(&frame, b));
        Pair {
            first_controller: one.kinds[a],
            second_controller: other.kinds[b],
            first_rate: rate(&frame, cell),
            second_rate: rate(&frame, other_cell),
            difference: other_cell.less(cell, frame.working_clearance),
            gains: frame.gain(
                one.kinds[a],
                Change::OtherMachine,
                [
                    &Curves::of(&frame, &one.sample, a),
                    &Curves::of(&frame, &other.sample, b),
                ],
                [NO_CAPS, NO_CAPS],
            ),
        }
    };
    let study = first.study();
    Ok(Comparison {
        tool: Tool::this(),
        first: first.stamp(),
        second: second.stamp(),
        seed,
        passes,
        level: LEVEL,
        allowed_cut_rate: study.allowed_cut_rate,
        working_speed_m_s: study.working_speed_m_s,
        working_clearance_m: study.working_clearance_m,
        pairs: places.into_iter().map(pair).collect(),
    })
}
