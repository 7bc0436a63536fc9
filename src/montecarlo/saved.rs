//! Passes so far, in a form that another run or machine can go on from: exact sums, so that nothing is lost on the way, under a seal,
//! so that nothing is changed on it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::plan::{MOST_PARTS, MOST_PASSES, Part, Plan, Until};
use super::sums::Sums;
use crate::results::Tool;
use crate::scenario::{Texts, hex};

/// Raised whenever older files would be read wrongly.
const FORMAT: u32 = 8;

/// Missing parts that a message names at most.
const NAMED_PARTS: usize = 20;

/// A run of passes of one study and all that they add up to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Saved {
    format: u32,
    tool: Tool,
    sha256: String,
    seed: u64,
    /// Of a part: which one, of how many passes in all.
    share: Option<(Part, u64)>,
    /// True if the study was to stop by itself and at no look so far knew enough.
    undecided: bool,
    passes: u64,
    scenario: Texts,
    pub(super) sums: Sums,
}

/// As it lies in a file. The seal tells damage and slips of the hand, not a forger who knows how to seal.
#[derive(Serialize, Deserialize)]
struct Sealed<S> {
    /// SHA-256 of `saved` as JSON without spaces, in hex.
    seal: String,
    saved: S,
}

/// What every version can read of a file.
#[derive(Deserialize)]
struct AnyVersion {
    saved: AnyFormat,
}

#[derive(Deserialize)]
struct AnyFormat {
    format: u32,
    tool: Tool,
}

/// Why a text holds no passes so far.
#[derive(Debug, thiserror::Error)]
pub enum SavedError {
    /// Of another version of the program.
    #[error("it was written by {name} {version}, which keeps passes in another form")]
    OtherVersion {
        /// Name of that program.
        name: String,
        /// Its version.
        version: String,
    },
    /// Cut, or something else altogether.
    #[error("it is cut short or holds something else ({0})")]
    Broken(#[from] serde_json::Error),
    /// A number or a word differs from what was written.
    #[error("its sums were changed or damaged since they were written: they do not fit their seal")]
    Seal,
    /// Numbers that no study can have.
    #[error("it claims {what}, which no study can have")]
    Impossible {
        /// What it claims.
        what: String,
    },
}

/// Why a study cannot go on from passes so far and end as one that starts from nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CannotGoOn {
    /// Of other input.
    #[error("it holds passes of another {0}")]
    Other(&'static str),
    /// It has more passes than are asked for.
    #[error(
        "it holds {done} passes of this study and only {most} are asked for: ask for at least as many to go on with them"
    )]
    More {
        /// Passes done.
        done: u64,
        /// Passes asked for.
        most: u64,
    },
    /// It was to take a fixed number of passes and never looked whether it was decided.
    #[error(
        "it holds {done} passes of a study with a fixed number of them (--passes): go on with --passes and at least as many"
    )]
    NeverLooked {
        /// Passes done.
        done: u64,
    },
}

/// Why parts cannot be put together.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MergeError {
    /// None was given.
    #[error("no part was given")]
    Nothing,
    /// Not the share of a part.
    #[error(
        "{file} is no part of a study: parts are written by \"rowroom study FILE --part K/N --passes N\""
    )]
    NotAPart {
        /// The file.
        file: String,
    },
    /// Of another study.
    #[error("{file} and {other} do not belong together: they differ in {what}")]
    Foreign {
        /// The file.
        file: String,
        /// The first file.
        other: String,
        /// What differs.
        what: &'static str,
    },
    /// Given twice.
    #[error("part {number} was given twice, as {file} and {other}")]
    Doubled {
        /// Its number.
        number: u64,
        /// One file.
        file: String,
        /// The other file.
        other: String,
    },
    /// Stopped on its way.
    #[error(
        "{file} is not finished, {done} of {of} passes: run its command again, it goes on from there"
    )]
    Unfinished {
        /// The file.
        file: String,
        /// Passes done.
        done: u64,
        /// Passes of the part.
        of: u64,
    },
    /// Not given.
    #[error(
        "{file} is one of {of} parts, and these are missing: {numbers}; `--part K/{of}` computes part K"
    )]
    Missing {
        /// A file that was given.
        file: String,
        /// Number of parts.
        of: u64,
        /// The missing ones, in words.
        numbers: String,
    },
}

impl Saved {
    /// Nothing yet.
    pub(super) fn new(plan: &Plan, sums: Sums) -> Self {
        Self {
            format: FORMAT,
            tool: Tool::this(),
            sha256: plan.scenario.sha256().to_owned(),
            seed: plan.seed,
            share: plan.until.share(),
            undecided: matches!(plan.until, Until::Decided { .. }),
            passes: 0,
            scenario: plan.scenario.texts().clone(),
            sums,
        }
    }

    /// Number of passes.
    pub fn passes(&self) -> u64 {
        self.passes
    }

    /// Seed of the study.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// What its scenario was read from.
    pub fn scenario(&self) -> &Texts {
        &self.scenario
    }

    /// Adds the passes that follow.
    pub(super) fn add(&mut self, sums: &Sums, passes: u64) {
        self.sums.merge(sums);
        self.passes += passes;
    }

    /// What differs from a plan: program, scenario, seed or part.
    ///
    /// # Errors
    ///
    /// [`CannotGoOn::Other`].
    pub fn is_of(&self, plan: &Plan) -> Result<(), CannotGoOn> {
        let same = [
            (self.tool == Tool::this(), "version of the program"),
            (self.sha256 == plan.scenario.sha256(), "scenario"),
            (self.seed == plan.seed, "seed"),
            (self.share == plan.until.share(), "part or number of passes"),
            (self.sums.has_the_shape_of(plan), "form"),
        ];
        match same.into_iter().find(|(same, _)| !same) {
            Some((_, what)) => Err(CannotGoOn::Other(what)),
            None => Ok(()),
        }
    }

    /// Whether a study that goes on from it ends as one that starts from nothing.
    ///
    /// # Errors
    ///
    /// Why not.
    pub fn leads_to(&self, plan: &Plan) -> Result<(), CannotGoOn> {
        self.is_of(plan)?;
        let (done, most) = (self.passes, plan.until.most_passes());
        if done > most {
            Err(CannotGoOn::More { done, most })
        } else if !self.undecided && matches!(plan.until, Until::Decided { .. }) {
            Err(CannotGoOn::NeverLooked { done })
        } else {
            Ok(())
        }
    }

    fn seal(&self) -> serde_json::Result<String> {
        Ok(hex(&Sha256::digest(serde_json::to_vec(self)?)))
    }

    /// As sealed JSON.
    ///
    /// # Errors
    ///
    /// JSON trouble.
    pub fn to_json(&self) -> serde_json::Result<String> {
        serde_json::to_string(&Sealed {
            seal: self.seal()?,
            saved: self,
        })
    }

    /// From sealed JSON.
    ///
    /// # Errors
    ///
    /// Another version, a cut text, a broken seal, or more passes or parts than a study can have.
    pub fn from_json(text: &str) -> Result<Self, SavedError> {
        let sealed: Sealed<Saved> = serde_json::from_str(text).map_err(|broken| {
            match serde_json::from_str::<AnyVersion>(text) {
                Ok(AnyVersion { saved }) if saved.format != FORMAT => SavedError::OtherVersion {
                    name: saved.tool.name,
                    version: saved.tool.version,
                },
                _ => SavedError::Broken(broken),
            }
        })?;
        let saved = sealed.saved;
        // Before the seal: another version would be told as damage.
        if saved.format != FORMAT {
            return Err(SavedError::OtherVersion {
                name: saved.tool.name,
                version: saved.tool.version,
            });
        }
        if saved.seal()? != sealed.seal {
            return Err(SavedError::Seal);
        }
        let impossible = |what: String| Err(SavedError::Impossible { what });
        let passes = saved.share.map_or(saved.passes, |(_, of)| of);
        if passes > MOST_PASSES {
            return impossible(format!("{passes} passes"));
        }
        match saved.share {
            Some((part, _)) if part.of > MOST_PARTS || !(1..=part.of).contains(&part.number) => {
                impossible(format!("to be part {} of {}", part.number, part.of))
            }
            _ => Ok(saved),
        }
    }

    /// What parts from the first one on hold together, with the part that follows them: the study of so many passes as if it had run in
    /// one go, without waiting for the parts behind.
    ///
    /// # Errors
    ///
    /// Not a finished part, not the one that follows, or one of another study.
    pub fn and_next(so_far: Option<Saved>, mut next: Saved) -> Result<Saved, MergeError> {
        let Some((part, of)) = next.share else {
            let file = "it".into();
            return Err(MergeError::NotAPart { file });
        };
        let name = |number: u64| format!("part {number} of {}", part.of);
        let span = part.span(of);
        if next.passes != span.end - span.start {
            return Err(MergeError::Unfinished {
                file: name(part.number),
                done: next.passes,
                of: span.end - span.start,
            });
        }
        let foreign = |what| {
            Err(MergeError::Foreign {
                file: name(part.number),
                other: name(1),
                what,
            })
        };
        let Some(mut whole) = so_far else {
            next.share = None;
            return match span.start {
                0 => Ok(next),
                _ => foreign("their place: it is not the first"),
            };
        };
        let differences = [
            (whole.tool != next.tool, "the version of the program"),
            (whole.sha256 != next.sha256, "the scenario"),
            (whole.seed != next.seed, "the seed"),
            (
                whole.passes != span.start,
                "their place: it does not follow",
            ),
        ];
        if let Some((_, what)) = differences.into_iter().find(|(differs, _)| *differs) {
            return foreign(what);
        }
        whole.add(&next.sums, next.passes);
        Ok(whole)
    }

    /// Puts all parts of a study together, in any order; each with the name of its file. What comes out is the study as if it
    /// had run in one go; with it, the number of its passes.
    pub fn put_together(parts: &[(String, Saved)]) -> Result<Saved, MergeError> {
        let ((first_file, first), others) = parts.split_first().ok_or(MergeError::Nothing)?;
        let number = |file: &str, saved: &Saved| match saved.share {
            Some((part, _)) => Ok(part.number),
            None => Err(MergeError::NotAPart { file: file.into() }),
        };
        number(first_file, first)?;
        for (file, saved) in others {
            number(file, saved)?;
            let of = |saved: &Saved| saved.share.map(|(part, passes)| (part.of, passes));
            let differences = [
                (saved.tool != first.tool, "the version of the program"),
                (saved.sha256 != first.sha256, "the scenario"),
                (saved.seed != first.seed, "the seed"),
                (of(saved) != of(first), "the number of parts or passes"),
            ];
            if let Some((_, what)) = differences.into_iter().find(|(differs, _)| *differs) {
                return Err(MergeError::Foreign {
                    file: file.clone(),
                    other: first_file.clone(),
                    what,
                });
            }
        }
        let Some((Part { of, .. }, _)) = first.share else {
            return Err(MergeError::NotAPart {
                file: first_file.clone(),
            });
        };
        // By number: in which order they were given must not matter.
        let mut by_number: BTreeMap<u64, (&String, &Saved)> = BTreeMap::new();
        for (file, saved) in parts {
            let wanted_passes = saved.share.map_or(0, |(part, of)| part.passes_of(of));
            if saved.passes != wanted_passes {
                return Err(MergeError::Unfinished {
                    file: file.clone(),
                    done: saved.passes,
                    of: wanted_passes,
                });
            }
            let number = number(file, saved)?;
            if let Some((other, _)) = by_number.insert(number, (file, saved)) {
                return Err(MergeError::Doubled {
                    number,
                    file: other.clone(),
                    other: file.clone(),
                });
            }
        }
        // Told last: a part that is there but unfinished needs another remedy than one that is not.
        let mut missing = (1..=of).filter(|number| !by_number.contains_key(number));
        let named: Vec<String> = missing
            .by_ref()
            .take(NAMED_PARTS)
            .map(|number| number.to_string())
            .collect();
        if !named.is_empty() {
            let more = match missing.count() {
                0 => String::new(),
                more => format!(" and {more} more"),
            };
            return Err(MergeError::Missing {
                file: first_file.clone(),
                of,
                numbers: named.join(", ") + &more,
            });
        }
        let mut whole: Option<Saved> = None;
        for (_, saved) in by_number.into_values() {
            match &mut whole {
                Some(whole) => whole.add(&saved.sums, saved.passes),
                None => whole = Some(saved.clone()),
            }
        }
        let mut whole = whole.ok_or(MergeError::Nothing)?;
        whole.share = None;
        Ok(whole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::study::{Unwatched, run};
    use crate::scenario::Scenario;

    fn part() -> Saved {
        let scenario = Scenario::demo().unwrap();
        let plan = Plan {
            scenario: &scenario,
            seed: 1,
            until: Until::Share {
                part: Part { number: 1, of: 1 },
                passes: 1,
            },
            threads: Some(1),
        };
        run(&plan, None, &Unwatched).unwrap().saved
    }

    /// Two of four parts, one after the other, are the study of half the passes; no other order and no other study joins.
    #[test]
    fn prop_the_first_parts_are_a_study_of_so_many_passes() {
        let scenario = Scenario::demo().unwrap();
        let of = |until| {
            let plan = Plan {
                scenario: &scenario,
                seed: 1,
                until,
                threads: Some(1),
            };
            run(&plan, None, &Unwatched).unwrap().saved
        };
        let part = |number| {
            let part = Part { number, of: 4 };
            of(Until::Share { part, passes: 32 })
        };
        let first = Saved::and_next(None, part(1)).unwrap();
        assert!(first == of(Until::Passes(8)));
        assert!(Saved::and_next(Some(first.clone()), part(2)).unwrap() == of(Until::Passes(16)));
        for (so_far, next) in [
            (None, part(2)),
            (Some(first.clone()), part(1)),
            (Some(first.clone()), part(3)),
            (Some(first.clone()), first.clone()),
        ] {
            assert!(Saved::and_next(so_far, next).is_err());
        }
        let mut other = part(2);
        other.seed += 1;
        assert!(Saved::and_next(Some(first), other).is_err());
    }

    /// Sealed all the same, by somebody who knows how.
    #[test]
    fn regress_claims_that_no_study_can_have_are_refused_at_once() {
        let good = part();
        let read = |change: &dyn Fn(&mut Saved)| {
            let mut saved = good.clone();
            change(&mut saved);
            Saved::from_json(&saved.to_json().unwrap())
        };
        assert!(read(&|_| ()).unwrap() == good);
        let share = |number, of, passes| {
            move |saved: &mut Saved| {
                saved.share = Some((Part { number, of }, passes));
            }
        };
        for change in [
            share(1, 10_000_000_000, 1),
            share(2, 1, 1),
            share(0, 1, 1),
            share(1, 1, u64::MAX),
        ] {
            let refused = read(&change).err();
            assert!(matches!(refused, Some(SavedError::Impossible { .. })));
        }
        // So many parts can be; what is missing is told in a line.
        let many = |saved: &mut Saved| {
            share(1, MOST_PARTS, 8 * MOST_PARTS)(saved);
            saved.passes = 8;
        };
        let many = read(&many).unwrap();
        let told = Saved::put_together(&[("one".into(), many)]).unwrap_err();
        let told = told.to_string();
        assert!(
            told.contains("and 99979 more") && told.len() < 300,
            "{told}"
        );
        assert!(matches!(
            Saved::from_json(&good.to_json().unwrap().replace(
                &format!("\"format\":{FORMAT}"),
                &format!("\"format\":{}", FORMAT - 1)
            )),
            Err(SavedError::OtherVersion { .. })
        ));
    }
}
