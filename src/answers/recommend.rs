//! The one setting that all answers speak of: of those that keep every bound the cheapest, without prices the fastest.

use super::assured::known_between;
use super::between::between;
use super::limits::{self, Limits};
use super::spacing::Priced;
use super::speed::{Search, Tries, refine, step_m_s, stepped_down};
use super::trial::Stopped;
use crate::model::controller::Kind;
use crate::montecarlo::estimate::{RatioSums, korn_graubard};
use crate::montecarlo::tally::Fates;
use crate::results::answers::{Bound, Recommended, SpeedLimit};
use crate::results::{LEVEL, Results, Share, Stretch};
use crate::scenario::Units;

/// A setting that keeps every bound as far as is known yet.
struct Candidate {
    search: usize,
    speed_m_s: f64,
    in_time: bool,
    cost_per_ha: Option<f64>,
}

/// Where the recommended setting is looked for.
pub struct Field<'a> {
    /// The study.
    pub results: &'a Results,
    /// The controllers that ran.
    pub kinds: &'a [Kind],
    /// The bounds.
    pub bounds: &'a Limits<'a>,
    /// Units in which speeds are told.
    pub units: Units,
    /// Costs, where the farm gives what they need.
    pub priced: Option<&'a Priced<'a>>,
}

impl Field<'_> {
    /// The setting; `None` if no simulated one keeps every bound.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn recommended(
        &self,
        tries: &mut Tries,
        searches: &mut [Search],
    ) -> Result<Option<Recommended>, Stopped> {
        let candidates = self.candidates(searches);
        let Some(&Candidate {
            search, speed_m_s, ..
        }) = self.choose(&candidates)
        else {
            return Ok(None);
        };
        // It is told as a bound of the recommended clearance, whether it binds or not.
        let own = std::slice::from_mut(&mut searches[search]);
        refine(tries, own, &|_| true)?;
        self.told(tries, &searches[search], speed_m_s).map(Some)
    }

    /// Place of the search at which it seems to lie, and its speed, m/s, after what the study itself found.
    pub fn guess(&self, searches: &[Search]) -> Option<(usize, f64)> {
        let candidates = self.candidates(searches);
        let chosen = self.choose(&candidates)?;
        Some((chosen.search, chosen.speed_m_s))
    }

    /// All bounds of a search.
    fn limits(&self, search: &Search) -> Vec<SpeedLimit> {
        let clearance_m = self.results.clearances_m[search.clearance];
        let mut limits = self.bounds.of(self.kinds[search.kind], clearance_m);
        limits.push(search.limit());
        limits
    }

    /// Speeds that keep every bound, rising: the simulated ones and the highest, stepped down.
    fn speeds(&self, search: &Search) -> Vec<f64> {
        let (Some(highest_m_s), ..) = limits::lowest(&self.limits(search)) else {
            return Vec::new();
        };
        let simulated = self.results.speeds_m_s.iter().copied();
        let mut speeds: Vec<f64> = simulated
            .take_while(|&speed_m_s| speed_m_s <= highest_m_s)
            .collect();
        let step_m_s = step_m_s(self.units);
        let stepped_m_s = stepped_down(highest_m_s, step_m_s);
        if let Some(&fastest_m_s) = speeds.last()
            && stepped_m_s > fastest_m_s * (1.0 + 1e-9)
        {
            speeds.push(stepped_m_s);
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
            let candidate = move |speed_m_s: f64| {
                let rates = between(self.results, controller, speed_m_s, clearance_m)?;
                Some(Candidate {
                    search: place,
                    speed_m_s,
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
    fn told(
        &self,
        tries: &mut Tries,
        search: &Search,
        speed_m_s: f64,
    ) -> Result<Recommended, Stopped> {
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
                let tally = tries.tally(search.kind, speed_m_s)?;
                let share =
                    |sums: &[RatioSums]| korn_graubard(sums, LEVEL)[search.clearance].share();
                let of = |fates: &Fates| -> (Share, Share) {
                    (share(&fates.cut), share(&fates.touched))
                };
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
            known: known_between(results, kind, speed_m_s, clearance_m),
            passes: results.passes,
            cost_per_ha: self.priced.map(|priced| {
                priced.cost_per_ha(speed_m_s, clearance_m, [cut.rate, touched.rate], 0.0)
            }),
            in_time: days.map(|days| limits::keeps(days, speed_m_s)),
        })
    }
}
