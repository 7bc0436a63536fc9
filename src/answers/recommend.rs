//! The one setting that all answers speak of: of those that keep every bound the cheapest, without prices the fastest.

use super::between::between;
use super::limits::{self, Limits};
use super::spacing::Priced;
use super::speed::{Search, refine, step_m_s, stepped_down};
use super::trial::{Stopped, Trials};
use crate::model::controller::Kind;
use crate::montecarlo::estimate::{RatioSums, korn_graubard};
use crate::montecarlo::tally::Fates;
use crate::results::answers::{Bound, Recommended, SpeedLimit};
use crate::results::{LEVEL, Results, Share, Stretch};

/// A setting that keeps every bound as far as is known yet.
struct Candidate {
    search: usize,
    speed_m_s: f64,
    /// It is the highest of its search, stepped down.
    highest: bool,
    in_time: bool,
    cost_per_ha: Option<f64>,
}

/// Where the recommended setting is looked for.
pub struct Field<'a> {
    /// The passes.
    pub trials: &'a Trials<'a>,
    /// The study.
    pub results: &'a Results,
    /// The controllers that ran.
    pub kinds: &'a [Kind],
    /// The bounds.
    pub bounds: &'a Limits<'a>,
    /// Costs, where the farm gives what they need.
    pub priced: Option<&'a Priced<'a>>,
}

impl Field<'_> {
    /// The setting; `None` if no simulated one keeps every bound. `passes`: see [`super::speed::searches`]. Where it lies at the speed up
    /// to which plants cut allow, that speed is searched anew with all passes of the study, and the search is replaced.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn recommended(
        &self,
        searches: &mut [Search],
        passes: u64,
    ) -> Result<Option<Recommended>, Stopped> {
        let candidates = self.candidates(searches);
        let Some(&Candidate {
            search,
            mut speed_m_s,
            highest,
            ..
        }) = self.choose(&candidates)
        else {
            return Ok(None);
        };
        if highest {
            let place = (searches[search].kind, searches[search].clearance);
            let step_m_s = step_m_s(self.trials.scenario().units());
            let mut anew = [Search::start(self.results, self.kinds, step_m_s, place)];
            refine(
                self.trials,
                self.results,
                self.kinds,
                self.results.passes,
                &mut anew,
                &|_| true,
            )?;
            let [anew] = anew;
            searches[search] = anew;
            let found = self.speeds(&searches[search]).last().copied();
            speed_m_s = found.map_or(speed_m_s, |found| found.0);
        } else {
            // It is told as a bound of the recommended clearance.
            let own = std::slice::from_mut(&mut searches[search]);
            refine(self.trials, self.results, self.kinds, passes, own, &|_| {
                true
            })?;
        }
        self.told(&searches[search], speed_m_s).map(Some)
    }

    /// All bounds of a search.
    fn limits(&self, search: &Search) -> Vec<SpeedLimit> {
        let clearance_m = self.results.clearances_m[search.clearance];
        let mut limits = self.bounds.of(self.kinds[search.kind], clearance_m);
        limits.push(search.limit());
        limits
    }

    /// Speeds that keep every bound, rising: the simulated ones and the highest, stepped down; true for that one.
    fn speeds(&self, search: &Search) -> Vec<(f64, bool)> {
        let (Some(highest_m_s), ..) = limits::lowest(&self.limits(search)) else {
            return Vec::new();
        };
        let simulated = self.results.speeds_m_s.iter().copied();
        let mut speeds: Vec<(f64, bool)> = simulated
            .take_while(|&speed_m_s| speed_m_s <= highest_m_s)
            .map(|speed_m_s| (speed_m_s, false))
            .collect();
        let step_m_s = step_m_s(self.trials.scenario().units());
        let stepped_m_s = stepped_down(highest_m_s, step_m_s);
        if let Some(&(fastest_m_s, _)) = speeds.last()
            && stepped_m_s > fastest_m_s * (1.0 + 1e-9)
        {
            speeds.push((stepped_m_s, true));
        }
        speeds
    }

    fn candidates(&self, searches: &[Search]) -> Vec<Candidate> {
        let of = |(place, search): (usize, &Search)| {
            let limits = self.limits(search);
            let days = limits
                .iter()
                .find(|limit| limit.cause == Bound::DaysAvailable)
                .copied();
            let clearance_m = self.results.clearances_m[search.clearance];
            let controller = self.kinds[search.kind];
            let candidate = move |(speed_m_s, highest): (f64, bool)| {
                let rates = between(self.results, controller, speed_m_s, clearance_m)?;
                Some(Candidate {
                    search: place,
                    speed_m_s,
                    highest,
                    in_time: days.is_none_or(|days| limits::keeps(&days, speed_m_s)),
                    cost_per_ha: self.priced.map(|priced| {
                        let rates = [rates.cut.rate, rates.touched.rate];
                        priced.cost_per_ha(speed_m_s, clearance_m, rates, 0.0)
                    }),
                })
            };
            self.speeds(search).into_iter().filter_map(candidate)
        };
        searches.iter().enumerate().flat_map(of).collect()
    }

    /// In time if any is; then the least cost, else the clearance nearest to the working one from there on outwards, and the fastest.
    fn choose<'c>(&self, candidates: &'c [Candidate]) -> Option<&'c Candidate> {
        let any_in_time = candidates.iter().any(|candidate| candidate.in_time);
        let timely = candidates
            .iter()
            .filter(|candidate| candidate.in_time || !any_in_time);
        timely.min_by(|a, b| {
            let key = |of: &Candidate| of.cost_per_ha.unwrap_or(0.0);
            key(a)
                .total_cmp(&key(b))
                .then_with(|| self.room(a).total_cmp(&self.room(b)))
                .then(b.speed_m_s.total_cmp(&a.speed_m_s))
        })
    }

    /// How far a candidate's clearance lies beyond the working one; closer ones come after all wider ones.
    fn room(&self, candidate: &Candidate) -> f64 {
        if candidate.cost_per_ha.is_some() {
            return 0.0;
        }
        let clearances_m = &self.results.clearances_m;
        let widest_m = clearances_m.last().copied().unwrap_or(0.0);
        let place = candidate.search % clearances_m.len().max(1);
        let beyond_m = clearances_m[place] - self.results.working_clearance_m;
        if beyond_m >= 0.0 {
            beyond_m
        } else {
            widest_m - beyond_m
        }
    }

    /// The setting with its rates from all passes of the study: its own where it was simulated.
    fn told(&self, search: &Search, speed_m_s: f64) -> Result<Recommended, Stopped> {
        let results = self.results;
        let kind = self.kinds[search.kind];
        let clearance_m = results.clearances_m[search.clearance];
        let own = |stretch| results.rate(stretch, kind, speed_m_s, clearance_m);
        let simulated = || {
            let [whole, entry, rest] = Stretch::ALL.map(own);
            Some((whole?.cut, whole?.touched, entry?.cut, rest?.cut))
        };
        let (cut, touched, cut_entry, cut_rest) = match simulated() {
            Some(rates) => rates,
            None => {
                let tallies = self.trials.tallies(
                    results.passes,
                    speed_m_s,
                    &[kind],
                    &results.clearances_m,
                )?;
                let share =
                    |sums: &[RatioSums]| korn_graubard(sums, LEVEL)[search.clearance].share();
                let of = |fates: &Fates| -> (Share, Share) {
                    (share(&fates.cut), share(&fates.touched))
                };
                let tally = &tallies[0];
                let (cut, touched) = of(&tally.whole);
                (cut, touched, of(&tally.entry).0, of(&tally.rest).0)
            }
        };
        let days = self.limits(search);
        let days = days
            .iter()
            .find(|limit| limit.cause == Bound::DaysAvailable);
        Ok(Recommended {
            controller: kind,
            speed_m_s,
            clearance_m,
            cut,
            touched,
            cut_entry,
            cut_rest,
            passes: results.passes,
            cost_per_ha: self.priced.map(|priced| {
                priced.cost_per_ha(speed_m_s, clearance_m, [cut.rate, touched.rate], 0.0)
            }),
            in_time: days.map(|days| limits::keeps(days, speed_m_s)),
        })
    }
}
