//! What can be wrong with a scenario.

use std::fmt;

use crate::field::FieldError;
#[cfg(feature = "program")]
use crate::files::FileError;

/// One thing that is wrong in a scenario file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// File as the caller named it.
    pub file: String,
    /// Line, from 1; 0 if the value was given beside the file, and `file` then says how.
    pub line: usize,
    /// Column in characters, from 1; 0 likewise.
    pub column: usize,
    /// Key or table, as `table.key`.
    pub key: String,
    /// What is wrong and what would be right.
    pub message: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            return write!(f, "{}: {}", self.file, self.message);
        }
        write!(
            f,
            "{}:{}:{}: {}",
            self.file, self.line, self.column, self.message
        )
    }
}

/// Why a scenario cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioError {
    /// A file cannot be read.
    #[cfg(feature = "program")]
    #[error(transparent)]
    Read(#[from] FileError),
    /// The text is no TOML.
    #[error("{0}")]
    Syntax(Problem),
    /// Everything that is wrong with the entries, in order of place; the message has the first 50.
    #[error("{}", list(.0))]
    Problems(Vec<Problem>),
    /// The scenario replays a logged pass and none was given.
    #[error("{file}: this scenario drives a logged pass again; give its file with --replay FILE")]
    ReplayMissing {
        /// Scenario file.
        file: String,
    },
    /// A logged pass was given and the scenario has a driver of its own.
    #[error(
        "{file}: a logged pass was given with --replay, but the scenario has no [driver.replay]; leave the log out or change the driver"
    )]
    ReplayUnused {
        /// Scenario file.
        file: String,
    },
    /// The logged pass is no good.
    #[error("{0}")]
    ReplayLog(FieldError),
    /// The logged pass is too short.
    #[error(
        "{file}: the log covers {found_m:.1} m, but the pass needs {needed_m:.1} m; a log of that length would do{}", otherwise(*.found_m, *.needed_m, *.fitting_m)
    )]
    ReplayShort {
        /// Log file.
        file: String,
        /// Its length, m.
        found_m: f64,
        /// Length that the axle drives in a pass, m.
        needed_m: f64,
        /// Length of a pass that the log would cover, m, if one is allowed that short.
        fitting_m: Option<f64>,
    },
    /// No tractor that follows a row drives like that.
    #[error("{file}: {why}")]
    ReplayImplausible {
        /// Log file.
        file: String,
        /// What was found and what would be right.
        why: String,
    },
    /// Folders are named after files, so that not every name will do.
    #[error("\"{name}\": the name of this file {why}")]
    Name {
        /// The name.
        name: String,
        /// What is wrong with it and what would be right.
        why: &'static str,
    },
}

/// Most problems that are told, and given a spelling.
pub(super) const MOST_TOLD: usize = 50;

fn list(problems: &[Problem]) -> String {
    let told = problems.iter().take(MOST_TOLD).map(Problem::to_string);
    let more = problems.len().saturating_sub(MOST_TOLD);
    let file = problems.first().map_or("", |problem| &problem.file);
    let rest = (more > 0).then(|| format!("{file}: and {more} more problems like these"));
    told.chain(rest).collect::<Vec<_>>().join("\n")
}

/// Distances that as kilometres cover the pass up to this many times are asked to be such (assumed).
const KILOMETRES_COVER: f64 = 10.0;

/// What would do instead of a longer log.
fn otherwise(found_m: f64, needed_m: f64, fitting_m: Option<f64>) -> String {
    match fitting_m {
        Some(fitting_m) => format!(", or pass.length = \"{fitting_m:.0} m\""),
        None if (1.0..=KILOMETRES_COVER).contains(&(1000.0 * found_m / needed_m)) => {
            "; are its distances kilometres?".to_string()
        }
        None => String::new(),
    }
}
