//! Machines beside one another: scenarios simulated on the same seed and pass numbers, and studies that were finished before.

use super::pays::{Curves, Frame, NO_CAPS};
use super::trial::{Ask, Cell, Sample, Stopped, Trials, as_it_is};
use crate::linear::{self, Unstable};
use crate::model::controller::Kind;
use crate::montecarlo::study::{Watch, runnable};
use crate::montecarlo::workers::NoThreads;
use crate::results::answers::{Bound, Change, Holds, Limited};
use crate::results::comparison::{Against, AtSpeed, Compared, Comparison, Highest, Pair, Source};
use crate::results::{LEVEL, Rate, Results, Stretch, Tool};
use crate::scenario::Scenario;

/// Passes of a comparison unless somebody asks for another number (our choice).
pub const PASSES: u64 = 256;

/// Most machines of a comparison (our choice: a table with more has no room for its columns).
pub const MOST_MACHINES: usize = 8;

/// Why machines were not compared.
#[derive(Debug, thiserror::Error)]
pub enum CompareError {
    /// Fewer than two machines, or more than a table has room for.
    #[error("{0} machines cannot be compared: give two to {MOST_MACHINES}")]
    Count(usize),
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
    /// A study without a rate at its working setting.
    #[error("{file}: the study tells nothing of its working setting; study that scenario again")]
    NothingAtWork {
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

/// A machine to compare.
#[derive(Clone, Copy, Debug)]
pub enum Entrant<'a> {
    /// To be simulated.
    Scenario(&'a Scenario),
    /// A study that was finished before.
    Study(&'a Results),
}

/// How the scenarios are simulated.
#[derive(Clone, Copy, Debug)]
pub struct How {
    /// Seed of all random numbers.
    pub seed: u64,
    /// Passes at each speed.
    pub passes: u64,
    /// Threads; `None`: as many as the machine has cores.
    pub threads: Option<usize>,
}

/// One machine, simulated at the speeds and clearances of the frame.
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
        how: How,
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
            passes: how.passes,
            speeds_m_s: &frame.speeds_m_s,
            clearances_m: &frame.clearances_m,
        };
        let sample =
            Trials::new(scenario, how.seed, how.threads, watch)?.run(&ask, &kinds, &as_it_is)?;
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

    /// What it does by itself, with its best controller.
    fn told(&self, scenario: &Scenario, frame: &Frame, how: How) -> Compared {
        let best = self.best;
        let of_speed = |(place, &speed_m_s): (usize, &f64)| AtSpeed {
            speed_m_s,
            cut: rate(frame, self.sample.cell(place, best)),
        };
        let highest = frame.highest(&Curves::of(frame, &self.sample, best));
        Compared {
            scenario: scenario.stamp(),
            source: Source::Simulated,
            seed: how.seed,
            passes: how.passes,
            complete: true,
            allowed_cut_rate: frame.allowed_cut_rate,
            speed_m_s: frame.speeds_m_s[frame.working_speed],
            clearance_m: frame.clearances_m[frame.working_clearance],
            controller: self.kinds[best],
            cut: rate(frame, self.at_work(frame, best)),
            highest: highest.map(|(speed, at_least)| Highest {
                speed_m_s: speed.value,
                lower: Some(speed.lower),
                upper: Some(speed.upper),
                at_least,
            }),
            rates: frame.speeds_m_s.iter().enumerate().map(of_speed).collect(),
            against_first: None,
        }
    }

    /// The difference from another machine on the same passes.
    fn against(&self, first: &Machine, frame: &Frame) -> Against {
        let shared = first.kinds.iter().enumerate().filter_map(|(place, kind)| {
            let same = self.kinds.iter().position(|other| other == kind)?;
            Some((place, same))
        });
        let best = (first.best, self.best);
        let places = std::iter::once(best).chain(shared.filter(|&pair| pair != best));
        let pairs: Vec<Pair> = places
            .map(|places| self.pair(first, frame, places))
            .collect();
        Against {
            paired: true,
            difference: pairs[0].difference,
            pairs,
        }
    }

    fn pair(&self, first: &Machine, frame: &Frame, (a, b): (usize, usize)) -> Pair {
        let (cell, other_cell) = (first.at_work(frame, a), self.at_work(frame, b));
        Pair {
            first_controller: first.kinds[a],
            other_controller: self.kinds[b],
            first_rate: rate(frame, cell),
            other_rate: rate(frame, other_cell),
            difference: other_cell.less(cell, frame.working_clearance),
            gains: frame.gain(
                first.kinds[a],
                Change::OtherMachine,
                [
                    &Curves::of(frame, &first.sample, a),
                    &Curves::of(frame, &self.sample, b),
                ],
                [NO_CAPS, NO_CAPS],
            ),
        }
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

/// Difference of two shares that were estimated apart, second less first, with limits made of their own: the square of each distance is
/// the sum of the squares of the two distances that point the same way (Newcombe, Statistics in Medicine 17:873-890, 1998, method 10;
/// Zou & Donner, Statistics in Medicine 27:1693-1702, 2008, for limits of any kind).
pub fn apart(first: Limited, second: Limited) -> Limited {
    let value = second.value - first.value;
    let down = libm::hypot(second.value - second.lower, first.upper - first.value);
    let up = libm::hypot(second.upper - second.value, first.value - first.lower);
    Limited {
        value,
        lower: (value - down).max(-1.0),
        upper: (value + up).min(1.0),
    }
}

/// What a finished study tells of its machine at its own working setting.
///
/// # Errors
///
/// [`CompareError::NothingAtWork`].
pub fn of_study(study: &Results) -> Result<Compared, CompareError> {
    let limited = |rate: &Rate| Limited {
        value: rate.cut.rate,
        lower: rate.cut.lower,
        upper: rate.cut.upper,
    };
    let cell = |controller: Kind, speed_m_s: f64| {
        let clearance_m = study.working_clearance_m;
        study.rate(Stretch::Whole, controller, speed_m_s, clearance_m)
    };
    let at_work = |controller: Kind| cell(controller, study.working_speed_m_s);
    let ran = study
        .controllers
        .iter()
        .filter(|note| note.left_out.is_none());
    let best = ran
        .filter_map(|note| at_work(note.controller))
        .min_by(|a, b| a.cut.upper.total_cmp(&b.cut.upper));
    let chosen = study.answers.controller.and_then(at_work);
    let Some(cut) = chosen.or(best) else {
        return Err(CompareError::NothingAtWork {
            file: study.scenario.file.clone(),
        });
    };
    let rates = study.speeds_m_s.iter().filter_map(|&speed_m_s| {
        Some(AtSpeed {
            speed_m_s,
            cut: limited(cell(cut.controller, speed_m_s)?),
        })
    });
    Ok(Compared {
        scenario: study.scenario.clone(),
        source: Source::Study,
        seed: study.seed,
        passes: study.passes,
        complete: study.complete,
        allowed_cut_rate: study.allowed_cut_rate,
        speed_m_s: study.working_speed_m_s,
        clearance_m: study.working_clearance_m,
        controller: cut.controller,
        cut: limited(cut),
        highest: highest_of(study, cut),
        rates: rates.collect(),
        against_first: None,
    })
}

/// The highest speed at which no more than the allowed plants are cut, as a study's answer on speed has it.
fn highest_of(study: &Results, cut: &Rate) -> Option<Highest> {
    let answer = study.answers.speed.iter().find(|answer| {
        answer.controller == cut.controller && answer.clearance_m == study.working_clearance_m
    })?;
    let bound = answer
        .limits
        .iter()
        .find(|limit| limit.cause == Bound::CutPlants)?;
    let (speed_m_s, at_least) = match bound.holds {
        Holds::UpTo => (bound.speed_m_s?, false),
        Holds::Always => (*study.speeds_m_s.last()?, true),
        Holds::From | Holds::Never => return None,
    };
    Some(Highest {
        speed_m_s,
        lower: None,
        upper: None,
        at_least,
    })
}

/// Compares machines with the first of them. All scenarios are simulated on the same passes, at the speeds, clearances, working setting and
/// allowed rate of the first scenario; studies stand as they were worked.
///
/// # Errors
///
/// Too few or too many; an unstable loop or no controller, before any pass of that machine; a study without its working setting; a stop;
/// no threads.
pub fn compare(
    entrants: &[Entrant],
    how: How,
    watch: &dyn Watch,
) -> Result<Comparison, CompareError> {
    if !(2..=MOST_MACHINES).contains(&entrants.len()) {
        return Err(CompareError::Count(entrants.len()));
    }
    let frame = entrants.iter().find_map(|entrant| match entrant {
        Entrant::Scenario(scenario) => Some(Frame::of(scenario, None)),
        Entrant::Study(_) => None,
    });
    let mut machines: Vec<Compared> = Vec::new();
    // Passes of the first machine, if it is simulated.
    let mut first: Option<Machine> = None;
    for (place, entrant) in entrants.iter().enumerate() {
        let (mut told, machine) = match (entrant, &frame) {
            (Entrant::Scenario(scenario), Some(frame)) => {
                let machine = Machine::run(scenario, frame, how, watch)?;
                (machine.told(scenario, frame, how), Some((machine, frame)))
            }
            (Entrant::Study(study), _) => (of_study(study)?, None),
            // There is a frame as soon as there is a scenario.
            (Entrant::Scenario(_), None) => continue,
        };
        if let Some(against) = machines.first() {
            told.against_first = Some(match (&machine, &first) {
                (Some((machine, frame)), Some(first)) => machine.against(first, frame),
                _ => Against {
                    paired: false,
                    difference: apart(against.cut, told.cut),
                    pairs: Vec::new(),
                },
            });
        }
        if place == 0 {
            first = machine.map(|(machine, _)| machine);
        }
        machines.push(told);
    }
    Ok(Comparison {
        tool: Tool::this(),
        level: LEVEL,
        machines,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 48 of 80 and 56 of 70 with Wilson's limits: 0.2 (0.0524 to 0.3339), Newcombe 1998, table II, method 10, example (a).
    #[test]
    fn val_limits_of_a_difference_of_shares_apart() {
        let wilson = |hits: f64, of: f64| {
            let (z, p) = (1.959964, hits / of);
            let middle = p + z * z / (2.0 * of);
            let reach = z * f64::sqrt(p * (1.0 - p) / of + z * z / (4.0 * of * of));
            let whole = 1.0 + z * z / of;
            Limited {
                value: p,
                lower: (middle - reach) / whole,
                upper: (middle + reach) / whole,
            }
        };
        let found = apart(wilson(48.0, 80.0), wilson(56.0, 70.0));
        for (found, published) in [
            (found.value, 0.2),
            (found.lower, 0.0524),
            (found.upper, 0.3339),
        ] {
            assert!((found - published).abs() < 5e-5, "{found} {published}");
        }
    }
}
