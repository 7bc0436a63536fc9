//! Machines that nobody beats on both cost and speed, and where to look for them.
//!
//! A machine is a choice for every part, 0 being the one that stands there. It is beaten by another that costs no more and is as fast,
//! one of the two being truly better (Pareto dominance). Where all machines are too many to simulate, Pareto local search finds the front:
//! of every machine that is not beaten so far, all that differ from it in one part are tried, until none is left to try (Paquete,
//! Chiarandini & Stützle, in: Metaheuristics for Multiobjective Optimisation, Springer 2004, pp. 177-199). What it cannot find are
//! machines behind two changes of which each alone is of no use.

use std::collections::BTreeMap;

/// Choices part by part; 0 is what stands there.
pub type Machine = Vec<usize>;

/// Works out the speeds of machines, m/s, in the order asked for.
pub type Speeds<'a, E> = &'a mut dyn FnMut(&[Machine]) -> Result<Vec<f64>, E>;

/// Whether one machine, cost and speed, beats another.
pub fn beats(one: (f64, f64), other: (f64, f64)) -> bool {
    one.0 <= other.0 && one.1 >= other.1 && (one.0 < other.0 || one.1 > other.1)
}

/// Places of those that no other beats, cheapest first; of equal ones the first. A faster one is only among them if it gains more than
/// `step` over all that cost no more.
pub fn front(all: &[(f64, f64)], step: f64) -> Vec<usize> {
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by(|&a, &b| {
        let cost = all[a].0.total_cmp(&all[b].0);
        cost.then(all[b].1.total_cmp(&all[a].1)).then(a.cmp(&b))
    });
    let mut found: Vec<usize> = Vec::new();
    for place in order {
        // Faster than the last of the front is faster than all of it.
        let enough = found
            .last()
            .is_none_or(|&last| all[place].1 > all[last].1 + step);
        if enough {
            found.push(place);
        }
    }
    found
}

/// What was tried: machines with their speeds, in the order in which they were asked for.
#[derive(Debug)]
pub struct Tried {
    /// Machines and their speeds.
    pub all: Vec<(Machine, f64)>,
}

/// Tries all machines where they are no more than `all_below`, else looks for the front, with no more than `most` of them. `options` says
/// how many other choices each part has, `cost` what a machine costs, and `speeds` works speeds out, in the order asked for.
///
/// # Errors
///
/// Those of `speeds`.
pub fn search<E>(
    options: &[usize],
    cost: &dyn Fn(&[usize]) -> f64,
    speeds: Speeds<E>,
    (all_below, most): (u64, usize),
) -> Result<Tried, E> {
    let mut tried = Trying {
        known: BTreeMap::new(),
        all: Vec::new(),
        most,
    };
    if possible(options) <= all_below {
        tried.add(every(options), speeds)?;
        return Ok(Tried { all: tried.all });
    }
    let own = vec![0; options.len()];
    let mut ask = vec![own.clone()];
    ask.extend(beside(&own, options));
    tried.add(ask, speeds)?;
    // From the other end too: the choice that does most for each part, all together.
    tried.add(vec![tried.best_of_each(options)], speeds)?;
    let mut expanded: Vec<Machine> = vec![own];
    loop {
        let points: Vec<(f64, f64)> = (tried.all.iter())
            .map(|(machine, speed)| (cost(machine), *speed))
            .collect();
        let unbeaten = front(&points, 0.0).into_iter();
        let new: Vec<Machine> = unbeaten
            .map(|place| tried.all[place].0.clone())
            .filter(|machine| !expanded.contains(machine))
            .collect();
        let asked: Vec<Machine> = new
            .iter()
            .flat_map(|machine| beside(machine, options))
            .collect();
        expanded.extend(new);
        if !tried.add(asked, speeds)? && points.len() == tried.all.len() {
            return Ok(Tried { all: tried.all });
        }
    }
}

struct Trying {
    known: BTreeMap<Machine, usize>,
    all: Vec<(Machine, f64)>,
    most: usize,
}

impl Trying {
    /// Tries those that are new, as long as there is room; whether there were any.
    fn add<E>(&mut self, asked: Vec<Machine>, speeds: Speeds<E>) -> Result<bool, E> {
        let mut new: Vec<Machine> = Vec::new();
        for machine in asked {
            let room = self.all.len() + new.len() < self.most;
            if room && !self.known.contains_key(&machine) && !new.contains(&machine) {
                new.push(machine);
            }
        }
        if new.is_empty() {
            return Ok(false);
        }
        let found = speeds(&new)?;
        for (machine, speed) in new.into_iter().zip(found) {
            self.known.insert(machine.clone(), self.all.len());
            self.all.push((machine, speed));
        }
        Ok(true)
    }

    /// For every part the choice that is fastest alone.
    fn best_of_each(&self, options: &[usize]) -> Machine {
        let speed = |part: usize, option: usize| {
            let mut machine = vec![0; options.len()];
            machine[part] = option;
            let place = self.known.get(&machine);
            place.map_or(f64::NEG_INFINITY, |&place| self.all[place].1)
        };
        let best = |(part, &count): (usize, &usize)| {
            // Of equal ones the first, which is what stands there.
            (0..=count).fold(0, |best, option| {
                let better = speed(part, option) > speed(part, best);
                if better { option } else { best }
            })
        };
        options.iter().enumerate().map(best).collect()
    }
}

/// How many machines there are.
pub fn possible(options: &[usize]) -> u64 {
    let choices = options.iter().map(|&count| count as u64 + 1);
    choices.fold(1, u64::saturating_mul)
}

/// All of them, the last part changing fastest.
fn every(options: &[usize]) -> Vec<Machine> {
    options
        .iter()
        .fold(vec![Machine::new()], |machines, &count| {
            let longer = machines.iter().flat_map(|machine| {
                (0..=count).map(move |option| [&machine[..], &[option]].concat())
            });
            longer.collect()
        })
}

/// Those that differ in one part.
pub fn beside(machine: &[usize], options: &[usize]) -> Vec<Machine> {
    let of_part = |(part, &count): (usize, &usize)| {
        let others = (0..=count).filter(move |&option| option != machine[part]);
        others.map(move |option| {
            let mut other = machine.to_vec();
            other[part] = option;
            other
        })
    };
    options.iter().enumerate().flat_map(of_part).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unknowns::dice::Dice;
    use std::convert::Infallible;

    fn found(
        options: &[usize],
        cost: &dyn Fn(&[usize]) -> f64,
        speed: &dyn Fn(&[usize]) -> f64,
        limits: (u64, usize),
    ) -> Tried {
        let mut speeds = |asked: &[Machine]| {
            Ok::<_, Infallible>(asked.iter().map(|machine| speed(machine)).collect())
        };
        search(options, cost, &mut speeds, limits).unwrap()
    }

    /// Costs and speeds on the front, cheapest first.
    fn points(tried: &Tried, cost: &dyn Fn(&[usize]) -> f64) -> Vec<(f64, f64)> {
        let all: Vec<(f64, f64)> = (tried.all.iter())
            .map(|(machine, speed)| (cost(machine), *speed))
            .collect();
        front(&all, 0.0)
            .into_iter()
            .map(|place| all[place])
            .collect()
    }

    /// By hand: (2, 5) beats (2, 4) and (3, 5); (1, 1) and (4, 6) stand; with a step of 2 the last gains too little.
    #[test]
    fn analytic_a_front_by_hand() {
        let all = [(2.0, 4.0), (3.0, 5.0), (1.0, 1.0), (4.0, 6.0), (2.0, 5.0)];
        assert_eq!(front(&all, 0.0), [2, 4, 3]);
        assert_eq!(front(&all, 2.0), [2, 4]);
        assert_eq!(front(&[], 0.0), [0; 0]);
        // Of two alike the first.
        assert_eq!(front(&[(1.0, 1.0), (1.0, 1.0)], 0.0), [0]);
    }

    /// Against the definition: a point of random clouds is on the front exactly where no other beats it, but for copies of one before.
    #[test]
    fn prop_the_front_is_what_nobody_beats() {
        let mut dice = Dice::new(4);
        for _ in 0..200 {
            let mut number = || dice.below(6) as f64;
            let all: Vec<(f64, f64)> = (0..12).map(|_| (number(), number())).collect();
            let on = front(&all, 0.0);
            for (place, &own) in all.iter().enumerate() {
                let beaten = all.iter().any(|&other| beats(other, own));
                let copy = all[..place].contains(&own);
                assert_eq!(on.contains(&place), !beaten && !copy, "{all:?} {place}");
            }
        }
    }

    /// A speed that is the sum of what each part gives, less with every further one (all factors 1 or more, so that no change hides
    /// behind another): local search finds the front of all 4 096 machines with a fraction of the runs.
    #[test]
    fn prop_local_search_finds_the_front_of_all_machines() {
        for seed in 0..20 {
            let mut dice = Dice::new(seed);
            let options = [1, 3, 1, 3, 1, 3, 1, 3];
            let give: Vec<Vec<(f64, f64)>> = options
                .iter()
                .map(|&count| {
                    let mut of = vec![(0.0, 0.0)];
                    of.extend((0..count).map(|_| (1.0 + dice.below(9) as f64, dice.uniform())));
                    of
                })
                .collect();
            let sum = |machine: &[usize], of: &dyn Fn((f64, f64)) -> f64| -> f64 {
                let parts = machine.iter().zip(&give);
                parts.map(|(&option, part)| of(part[option])).sum()
            };
            let cost = |machine: &[usize]| sum(machine, &|(cost, _)| cost);
            let speed = |machine: &[usize]| {
                // Rounded, so that sums in any order are the same.
                let gained = sum(machine, &|(_, gain)| (gain * 1e6).round());
                gained / (gained + 2e6)
            };
            let all = found(&options, &cost, &speed, (u64::MAX, usize::MAX));
            assert_eq!(all.all.len() as u64, possible(&options));
            let some = found(&options, &cost, &speed, (64, 100_000));
            assert_eq!(points(&some, &cost), points(&all, &cost), "{seed}");
            assert!(some.all.len() < all.all.len() / 2, "{}", some.all.len());
            // No more than it may.
            assert_eq!(found(&options, &cost, &speed, (64, 100)).all.len(), 100);
        }
    }

    /// Two changes that help together only: told as what local search cannot find; trying all does.
    #[test]
    fn regress_a_pair_that_helps_together_only_needs_all_machines() {
        let options = [1, 1, 1];
        let cost = |machine: &[usize]| machine.iter().sum::<usize>() as f64;
        let speed = |machine: &[usize]| match machine {
            [1, 1, _] => 2.0,
            [0, 0, 1] => 1.0,
            _ => 0.5,
        };
        let all = found(&options, &cost, &speed, (8, 8));
        assert_eq!(points(&all, &cost), [(0.0, 0.5), (1.0, 1.0), (2.0, 2.0)]);
        let some = found(&options, &cost, &speed, (1, 100));
        assert_eq!(points(&some, &cost), [(0.0, 0.5), (1.0, 1.0)]);
    }
}
