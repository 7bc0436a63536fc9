//! Passes so far, in a form that another run or machine can go on from: exact sums, so that nothing is lost on the way.

use serde::{Deserialize, Serialize};

use super::study::{Part, Plan, Sums, Until};
use crate::results::Tool;
use crate::scenario::Texts;

/// Raised whenever older files would be read wrongly.
const FORMAT: u32 = 2;

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
    #[error("of {of} parts these are missing: {numbers}")]
    Missing {
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

    /// True if it is of the same scenario, seed, part and program.
    pub fn is_of(&self, plan: &Plan) -> bool {
        self.format == FORMAT
            && self.tool == Tool::this()
            && self.sha256 == plan.scenario.sha256()
            && self.seed == plan.seed
            && self.share == plan.until.share()
            && self.sums.has_the_shape_of(plan)
    }

    /// True if a study that goes on from it ends as one that starts from nothing.
    pub fn leads_to(&self, plan: &Plan) -> bool {
        let within = self.passes <= plan.until.most_passes();
        let looked = self.undecided || !matches!(plan.until, Until::Decided { .. });
        self.is_of(plan) && within && looked
    }

    /// As JSON.
    pub fn to_json(&self) -> serde_json::Result<String> {
        serde_json::to_string(self)
    }

    /// From JSON.
    pub fn from_json(text: &str) -> serde_json::Result<Self> {
        serde_json::from_str(text)
    }

    /// Puts all parts of a study together, in any order; each with the name of its file. What comes out is the study as if it
    /// had run in one go; with it, the number of its passes.
    pub fn put_together(parts: &[(String, Saved)]) -> Result<Saved, MergeError> {
        let ((first_file, first), others) = parts.split_first().ok_or(MergeError::Nothing)?;
        let number = |file: &str, saved: &Saved| match saved.share {
            Some((part, _)) if saved.format == FORMAT => Ok(part.number),
            _ => Err(MergeError::NotAPart { file: file.into() }),
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
        let mut whole: Option<Saved> = None;
        let mut missing = Vec::new();
        for wanted in 1..=of {
            let mut found = parts
                .iter()
                .filter(|(_, saved)| saved.share.is_some_and(|(part, _)| part.number == wanted));
            let Some((file, saved)) = found.next() else {
                missing.push(wanted.to_string());
                continue;
            };
            if let Some((other, _)) = found.next() {
                return Err(MergeError::Doubled {
                    number: wanted,
                    file: file.clone(),
                    other: other.clone(),
                });
            }
            let wanted_passes = saved.share.map_or(0, |(part, of)| part.passes_of(of));
            if saved.passes != wanted_passes {
                return Err(MergeError::Unfinished {
                    file: file.clone(),
                    done: saved.passes,
                    of: wanted_passes,
                });
            }
            match &mut whole {
                Some(whole) => whole.add(&saved.sums, saved.passes),
                None => whole = Some(saved.clone()),
            }
        }
        match whole {
            Some(mut whole) if missing.is_empty() => {
                whole.share = None;
                Ok(whole)
            }
            _ => Err(MergeError::Missing {
                of,
                numbers: missing.join(", "),
            }),
        }
    }
}
