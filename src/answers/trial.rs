//! Further runs of the engine: other speeds and changed machines on the first passes of a study, pass by pass, so that every
//! comparison meets the same ground, driver and plants.

use std::ops::Range;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::montecarlo::contrast::paired;
use crate::montecarlo::estimate::{Estimate, RatioSums, korn_graubard};
use crate::montecarlo::fields::together;
use crate::montecarlo::study::Watch;
use crate::montecarlo::tally::{TRADE_ROOM_M, Tally};
use crate::montecarlo::workers::{NoThreads, Workers};
use crate::results::LEVEL;
use crate::results::answers::Limited;
use crate::scenario::{FIELD_PASSES, Scenario};
use crate::sim::count::ticks_per_look;
use crate::sim::{self, AtSpeeds, LANES, Request, Variant};

/// Passes that are in memory at once where only sums over them are kept.
const AT_ONCE: usize = 1024;

/// Why the answers were not worked out to their end.
#[derive(Debug, thiserror::Error)]
pub enum Stopped {
    /// Somebody stopped them.
    #[error("the answers were not worked out to their end")]
    Watch,
    /// The machine gave no threads.
    #[error(transparent)]
    Threads(#[from] NoThreads),
}

/// What to run.
#[derive(Clone, Copy, Debug)]
pub struct Ask<'a> {
    /// Passes: the first ones of the study.
    pub passes: u64,
    /// Speeds, m/s.
    pub speeds_m_s: &'a [f64],
    /// Clearances, m, rising.
    pub clearances_m: &'a [f64],
}

/// What is done to every machine.
pub type Alter<'a> = &'a (dyn Fn(&mut Setup) + Sync);

/// What a machine is in a pass.
pub type Draw<'a> = &'a (dyn Fn(u64) -> Setup + Sync);

/// The passes of a scenario, ready to be run again.
pub struct Trials<'a> {
    scenario: &'a Scenario,
    seed: u64,
    workers: Workers,
    watch: &'a dyn Watch,
    /// Work done so far and in all, as [`work`] reckons it, in thousandths.
    done: AtomicU64,
    planned: AtomicU64,
}

/// What passes at these speeds, m/s, take, roughly, in drives of one pass at 1 m/s: so many machines beside the first that drive or see
/// otherwise than it, and so many controllers of all (their parts of a drive are measured on the demo).
pub fn work(passes: u64, speeds_m_s: &[f64], others: usize, controllers: usize) -> f64 {
    // The slower, the more ticks.
    let drives: f64 = speeds_m_s.iter().map(|speed_m_s| 1.0 / speed_m_s).sum();
    passes as f64 * drives * (1.0 + others as f64 / 2.0 + controllers as f64 / 3.0)
}

/// The scenario as it stands.
pub fn as_it_is(_: &mut Setup) {}

impl<'a> Trials<'a> {
    /// For a study's scenario and seed. `None` threads: as many as the machine has cores.
    ///
    /// # Errors
    ///
    /// No threads.
    pub fn new(
        scenario: &'a Scenario,
        seed: u64,
        threads: Option<usize>,
        watch: &'a dyn Watch,
    ) -> Result<Self, NoThreads> {
        Ok(Self {
            scenario,
            seed,
            workers: Workers::new(threads)?,
            watch,
            done: AtomicU64::new(0),
            planned: AtomicU64::new(0),
        })
    }

    /// Says how much [`work`] there will be, so that progress can be told.
    pub fn expect(&self, planned: f64) {
        self.planned
            .store((1000.0 * planned) as u64, Ordering::Relaxed);
    }

    /// Tells that these machines were run, each under so many controllers, in some passes.
    fn tell(&self, passes: usize, ask: &Ask, machines: &[Setup], kinds: &[&[Kind]]) {
        let others = machines
            .iter()
            .filter(|other| !sim::drives_and_sees_as(&machines[0], other));
        let controllers = kinds.iter().map(|kinds| kinds.len()).sum();
        let work = work(passes as u64, ask.speeds_m_s, others.count(), controllers);
        let work = (1000.0 * work) as u64;
        let done = self.done.fetch_add(work, Ordering::Relaxed) + work;
        let planned = self.planned.load(Ordering::Relaxed);
        if planned > 0 {
            self.watch.answers_done(done as f64 / planned as f64);
        }
    }

    /// Passes that limits count as one: those over a field where something is not known, else each by itself.
    fn unit(&self) -> usize {
        if self.scenario.unknowns().is_empty() {
            1
        } else {
            FIELD_PASSES as usize
        }
    }

    /// The scenario.
    pub fn scenario(&self) -> &Scenario {
        self.scenario
    }

    /// Runs them with every machine changed in the same way, under these controllers.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn run(&self, ask: &Ask, kinds: &[Kind], change: Alter) -> Result<Sample, Stopped> {
        let mut samples = self.run_each(ask, &[(kinds, change)])?;
        // As many samples as changes.
        samples.pop().ok_or(Stopped::Watch)
    }

    /// Runs them with several changes, each under its controllers. Changes that leave ground, drive or sensors as the first one has them
    /// cost no more than what they change.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn run_each(
        &self,
        ask: &Ask,
        changes: &[(&[Kind], Alter)],
    ) -> Result<Vec<Sample>, Stopped> {
        let draw = |pass| {
            let drawn = self.scenario.draw(self.seed, pass);
            let changed = changes.iter().map(|(_, change)| {
                let mut setup = drawn.clone();
                change(&mut setup);
                setup
            });
            changed.collect()
        };
        let kinds: Vec<&[Kind]> = changes.iter().map(|&(kinds, _)| kinds).collect();
        self.samples(ask, 0, &kinds, &draw)
    }

    /// Runs whole machines on the passes asked for from one on, each under its controllers. A pass is drawn by number and must meet the
    /// same field in all of them; they share what they have in common with the first.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn run_machines(
        &self,
        ask: &Ask,
        from: u64,
        machines: &[(&[Kind], Draw)],
    ) -> Result<Vec<Sample>, Stopped> {
        let draw = |pass| machines.iter().map(|(_, draw)| draw(pass)).collect();
        let kinds: Vec<&[Kind]> = machines.iter().map(|&(kinds, _)| kinds).collect();
        self.samples(ask, from, &kinds, &draw)
    }

    fn samples(
        &self,
        ask: &Ask,
        from: u64,
        kinds: &[&[Kind]],
        draw: &(dyn Fn(u64) -> Vec<Setup> + Sync),
    ) -> Result<Vec<Sample>, Stopped> {
        let passes = self.each_pass(ask, kinds, from..ask.passes, draw, &|setups, found| {
            let of_the_row = setups.iter().map(|setup| setup.run.of_the_row());
            let controllers = found.into_iter().map(|at_speeds| {
                // The wanted shift of every look is by far the most of it, and nobody asks for it here.
                let kept = at_speeds.into_iter().map(|at_speed| at_speed.controllers);
                kept.collect::<Vec<_>>()
            });
            controllers.zip(of_the_row).collect::<Vec<_>>()
        })?;
        let speeds = ask.speeds_m_s.len();
        let samples = kinds.iter().enumerate().map(|(place, kinds)| {
            let mut cells = Vec::with_capacity(speeds * kinds.len());
            for speed in 0..speeds {
                for kind in 0..kinds.len() {
                    cells.push(Cell::of(
                        passes.iter().map(|of_pass| {
                            let (at_speeds, of_the_row) = &of_pass[place];
                            (&at_speeds[speed][kind], *of_the_row)
                        }),
                        ask.clearances_m.len(),
                        self.unit(),
                    ));
                }
            }
            Sample {
                kinds: kinds.len(),
                cells,
            }
        });
        Ok(samples.collect())
    }

    /// Sums over the passes asked for from one on, of the scenario as it stands: `[speed][controller]`. Takes no more memory for more
    /// passes.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn tallies(
        &self,
        ask: &Ask,
        from: u64,
        kinds: &[Kind],
    ) -> Result<Vec<Vec<Tally>>, Stopped> {
        let draw = |pass| vec![self.scenario.draw(self.seed, pass)];
        let empty = Tally::new(0, ask.clearances_m.len());
        let mut tallies = vec![vec![empty; kinds.len()]; ask.speeds_m_s.len()];
        for first in (from..ask.passes).step_by(AT_ONCE) {
            let some = first..(first + AT_ONCE as u64).min(ask.passes);
            let counted = |_: &[Setup], mut found: Vec<AtSpeeds>| {
                let mut at_speeds = found.pop().unwrap_or_default();
                // Without the wanted shift of every look.
                at_speeds.iter_mut().for_each(|at| at.wanted_m = Vec::new());
                at_speeds
            };
            let mut passes = self
                .each_pass(ask, &[kinds], some, &draw, &counted)?
                .into_iter();
            while let Some(unit) = together(passes.by_ref().take(self.unit())) {
                for (tallies, at_speed) in tallies.iter_mut().zip(&unit) {
                    for (tally, under) in tallies.iter_mut().zip(&at_speed.controllers) {
                        tally.add(under, at_speed.axle);
                    }
                }
            }
        }
        Ok(tallies)
    }

    /// The wanted shift, m, and its speed, m/s, at one speed, pass by pass; on another side slope if one is given, rad.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn wanted(
        &self,
        passes: u64,
        speed_m_s: f64,
        slope_rad: Option<f64>,
    ) -> Result<Wanted, Stopped> {
        let ask = Ask {
            passes,
            speeds_m_s: &[speed_m_s],
            clearances_m: &[],
        };
        let draw = |pass| match slope_rad {
            Some(slope_rad) => vec![self.scenario.draw_on_slope(self.seed, pass, slope_rad)],
            None => vec![self.scenario.draw(self.seed, pass)],
        };
        let series = self.each_pass(&ask, &[&[]], 0..passes, &draw, &|setups, mut found| {
            let per_s = 1.0 / (ticks_per_look(&setups[0], speed_m_s) as f64 * setups[0].run.step_s);
            let at_speed = found.pop().and_then(|mut at_speeds| at_speeds.pop());
            let wanted_m = at_speed.map_or_else(Vec::new, |at| at.wanted_m);
            let speeds = wanted_m
                .windows(2)
                .map(|pair| ((pair[1] - pair[0]) * per_s).abs())
                .collect();
            (wanted_m.iter().map(|m| m.abs()).collect(), speeds)
        })?;
        let (shift_m, speed_m_s): (Vec<_>, Vec<_>) = series.into_iter().unzip();
        let by_unit =
            |series: Vec<Vec<f64>>| ByPass(series.chunks(self.unit()).map(<[_]>::concat).collect());
        Ok(Wanted {
            shift_m: by_unit(shift_m),
            speed_m_s: by_unit(speed_m_s),
        })
    }

    /// Runs some passes, whole blocks at a time on whichever thread is free, and gives what is kept of each in order: `draw` gives the
    /// machines of a pass, `kinds` the controllers of each, and `keep` gets them with what they did, `[machine][speed]`.
    fn each_pass<T: Send>(
        &self,
        ask: &Ask,
        kinds: &[&[Kind]],
        passes: Range<u64>,
        draw: &(dyn Fn(u64) -> Vec<Setup> + Sync),
        keep: &(dyn Fn(&[Setup], Vec<AtSpeeds>) -> T + Sync),
    ) -> Result<Vec<T>, Stopped> {
        let request = Request {
            seed: self.seed,
            speeds_m_s: ask.speeds_m_s,
            clearances_m: ask.clearances_m,
            rows_apart_at_m_s: None,
            room_m: TRADE_ROOM_M,
        };
        let blocks = (passes.end - passes.start).div_ceil(LANES as u64);
        let next = AtomicU64::new(0);
        let by_thread = self.workers.each(|| {
            let mut kept = Vec::new();
            while !self.watch.stop() {
                let block = next.fetch_add(1, Ordering::Relaxed);
                if block >= blocks {
                    break;
                }
                let first = passes.start + block * LANES as u64;
                let passes: Vec<u64> = (first..(first + LANES as u64).min(passes.end)).collect();
                let drawn: Vec<Vec<Setup>> = passes.iter().map(|&pass| draw(pass)).collect();
                let of_machine = |place: usize| drawn.iter().map(move |of_pass| &of_pass[place]);
                let machines: Vec<Vec<Setup>> = (0..kinds.len())
                    .map(|place| of_machine(place).cloned().collect())
                    .collect();
                let variants: Vec<Variant> = machines
                    .iter()
                    .zip(kinds)
                    .map(|(setups, kinds)| Variant { kinds, setups })
                    .collect();
                let mut found: Vec<_> = sim::run_variants(&request, &variants, &passes)
                    .into_iter()
                    .map(Vec::into_iter)
                    .collect();
                let of_block = drawn.iter().map(|setups| {
                    let of_pass = found.iter_mut().filter_map(Iterator::next).collect();
                    keep(setups, of_pass)
                });
                kept.push((block, of_block.collect::<Vec<T>>()));
                self.tell(passes.len(), ask, &drawn[0], kinds);
            }
            kept
        });
        let mut all: Vec<(u64, Vec<T>)> = by_thread.into_iter().flatten().collect();
        // Every block that was taken is here: one is missing only where the watch stopped.
        if (all.len() as u64) < blocks {
            return Err(Stopped::Watch);
        }
        // Threads end in any order; nothing that is made of the passes may show it.
        all.sort_by_key(|&(block, _)| block);
        Ok(all.into_iter().flat_map(|(_, kept)| kept).collect())
    }
}

/// What came of some passes, pass by pass.
#[derive(Clone, Debug)]
pub struct Sample {
    kinds: usize,
    cells: Vec<Cell>,
}

impl Sample {
    /// One speed under one controller, by their places in what was asked.
    pub fn cell(&self, speed: usize, kind: usize) -> &Cell {
        &self.cells[speed * self.kinds + kind]
    }
}

/// One speed under one controller: every pass, on whole rows.
#[derive(Clone, Debug)]
pub struct Cell {
    /// Cut plants of whole rows in the entry stretch and on the rest: `[stretch][clearance][pass]`.
    cut: [Vec<Vec<f64>>; 2],
    /// Touched plants likewise.
    touched: [Vec<Vec<f64>>; 2],
    /// Plants of whole rows by pass.
    plants: Vec<f64>,
    /// Share of distance with the cylinder at an end stop.
    pub end_stop_share: f64,
}

impl Cell {
    /// Each `unit` of passes, in order, counts as one.
    fn of<'p>(
        passes: impl Iterator<Item = (&'p sim::PassUnderController, [f64; 2])>,
        clearances: usize,
        unit: usize,
    ) -> Self {
        let none = || [vec![Vec::new(); clearances], vec![Vec::new(); clearances]];
        let mut cell = Self {
            cut: none(),
            touched: none(),
            plants: Vec::new(),
            end_stop_share: 0.0,
        };
        let (mut looks, mut stops) = (0.0, 0.0);
        for (place, (pass, of_the_row)) in passes.enumerate() {
            let add = |sums: &mut Vec<f64>, more: f64| match sums.last_mut() {
                Some(sum) if place % unit > 0 => *sum += more,
                _ => sums.push(more),
            };
            add(&mut cell.plants, pass.whole.plants);
            for (stretch, expected) in [&pass.entry, &pass.rest].into_iter().enumerate() {
                // Weighted here, stretch by stretch, so that another entry can be put before the same rest.
                let times = of_the_row[stretch];
                for clearance in 0..clearances {
                    add(
                        &mut cell.cut[stretch][clearance],
                        times * expected.cut[clearance],
                    );
                    add(
                        &mut cell.touched[stretch][clearance],
                        times * expected.touched[clearance],
                    );
                }
            }
            looks += pass.followed.looks;
            stops += pass.followed.at_stop;
        }
        if looks > 0.0 {
            cell.end_stop_share = stops / looks;
        }
        cell
    }

    /// The same passes with the entry stretch of another speed.
    pub fn entering_as(&self, other: &Cell) -> Cell {
        let mut mixed = self.clone();
        mixed.cut[0].clone_from(&other.cut[0]);
        mixed.touched[0].clone_from(&other.touched[0]);
        mixed
    }

    /// Rates of cut plants with Korn-Graubard limits, clearance by clearance.
    pub fn estimates(&self) -> Vec<Estimate> {
        korn_graubard(&self.sums(&self.cut), LEVEL)
    }

    /// Rates of touched plants, clearance by clearance.
    pub fn touched_rates(&self) -> Vec<f64> {
        let sums = self.sums(&self.touched);
        sums.iter().map(RatioSums::rate).collect()
    }

    fn sums(&self, hits: &[Vec<Vec<f64>>; 2]) -> Vec<RatioSums> {
        let [entry, rest] = hits;
        let by_clearance = entry.iter().zip(rest).map(|(entry, rest)| {
            let mut sums = RatioSums::default();
            for ((entry, rest), &plants) in entry.iter().zip(rest).zip(&self.plants) {
                sums.add_expected(entry + rest, plants);
            }
            sums
        });
        by_clearance.collect()
    }

    /// Rate of cut plants less that of another cell on the same passes, with its limits. Where the other one has more or fewer plants,
    /// its cut ones count in proportion.
    pub fn less(&self, other: &Cell, clearance: usize) -> Limited {
        let mut sums = RatioSums::default();
        let pairs = self.passes(clearance).zip(other.passes(clearance));
        for ((mine, plants), (theirs, their_plants)) in pairs {
            let theirs = if their_plants == plants || their_plants <= 0.0 {
                theirs
            } else {
                theirs * (plants / their_plants)
            };
            sums.add(mine - theirs, plants);
        }
        let (value, lower, upper) = paired(&sums, LEVEL);
        Limited {
            value,
            lower,
            upper,
        }
    }

    /// Cut plants and plants of every pass at one clearance.
    pub fn passes(&self, clearance: usize) -> impl Iterator<Item = (f64, f64)> {
        let [entry, rest] = &self.cut;
        let cut = entry[clearance].iter().zip(&rest[clearance]);
        cut.map(|(entry, rest)| entry + rest)
            .zip(self.plants.iter().copied())
    }
}

/// What the rows want of the side-shift.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// Unsigned wanted shift, m.
    pub shift_m: ByPass,
    /// Unsigned speed of it, m/s.
    pub speed_m_s: ByPass,
}

/// A quantity along every pass.
#[derive(Clone, Debug)]
pub struct ByPass(Vec<Vec<f64>>);

impl ByPass {
    /// The value that a share of the distance does not exceed, pass by pass (field by field where something is not known), rising.
    pub fn of_each(&self, share: f64) -> Vec<f64> {
        let of_pass = |pass: &Vec<f64>| {
            let mut values = pass.clone();
            values.sort_by(f64::total_cmp);
            let place = (share.clamp(0.0, 1.0) * values.len() as f64).ceil() as usize;
            values.get(place.saturating_sub(1)).copied()
        };
        let mut all: Vec<f64> = self.0.iter().filter_map(of_pass).collect();
        all.sort_by(f64::total_cmp);
        all
    }

    /// Quantiles over distance, each with its limits.
    ///
    /// Woodruff's interval (J. Amer. Statist. Assoc. 47:635-646, 1952): the share of the distance under the quantile is a ratio over
    /// passes; its Student limits are read back through the quantiles.
    pub fn quantiles<const N: usize>(&self, shares: [f64; N], level: f64) -> [Limited; N] {
        let mut all: Vec<f64> = self.0.iter().flatten().copied().collect();
        all.sort_by(f64::total_cmp);
        let at = |share: f64| {
            let last = all.len().saturating_sub(1);
            // The smallest value that at least this share does not exceed.
            let place = (share.clamp(0.0, 1.0) * all.len() as f64).ceil() as usize;
            all.get(place.saturating_sub(1).min(last))
                .copied()
                .unwrap_or(0.0)
        };
        shares.map(|share| {
            let value = at(share);
            let mut sums = RatioSums::default();
            for pass in &self.0 {
                let under = pass.iter().filter(|&&x| x <= value).count();
                sums.add(under as f64, pass.len() as f64);
            }
            let (under, lower, upper) = paired(&sums, level);
            Limited {
                value,
                lower: at(share - (under - lower)),
                upper: at(share + (upper - under)),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Independent values: the limits of a median enclose the true one in about 95 of 100 samples, and those of a wide quantile
    /// are no narrower than the order statistics allow.
    #[test]
    fn val_quantile_limits_cover_as_often_as_they_say() {
        use rand_distr::{Distribution, StandardNormal};
        let mut rng = crate::sim::streams::stream(8, 0, crate::sim::streams::Source::Plants, 0);
        let (trials, mut hits) = (400, 0);
        for _ in 0..trials {
            let series = ByPass(
                (0..40)
                    .map(|_| {
                        let shared: f64 = StandardNormal.sample(&mut rng);
                        let mut value = || {
                            let own: f64 = StandardNormal.sample(&mut rng);
                            0.6 * shared + 0.8 * own
                        };
                        (0..25).map(|_| value()).collect()
                    })
                    .collect(),
            );
            let [median] = series.quantiles([0.5], LEVEL);
            assert!(median.lower <= median.value && median.value <= median.upper);
            hits += u32::from(median.lower <= 0.0 && 0.0 <= median.upper);
        }
        // 95 % of 400 is 380; three binomial standard deviations are 13.
        assert!((380 - 13..=380 + 13).contains(&hits), "{hits}");
    }

    #[test]
    fn analytic_quantiles_of_a_ladder() {
        let series = ByPass(vec![(1..=1000).map(f64::from).collect(); 3]);
        let [half, most] = series.quantiles([0.5, 0.999], LEVEL);
        // Passes that are all alike leave no doubt.
        assert_eq!((half.value, half.lower, half.upper), (500.0, 500.0, 500.0));
        assert_eq!(most.value, 999.0);
    }
}
