//! What can be wrong with a scenario.

use std::fmt;

use crate::fieldlog::FieldlogError;
#[cfg(feature = "program")]
use crate::files::FileError;

/// One thing that is wrong in a scenario file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// File as the caller named it.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// Key or table, as `table.key`.
    pub key: String,
    /// What is wrong and what would be right.
    pub message: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
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
    /// Everything that is wrong with the entries, in order of place.
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
    ReplayLog(FieldlogError),
    /// The logged pass is too short.
    #[error(
        "{file}: the log covers {found_m:.1} m, but the pass needs {needed_m:.1} m; a log of that length would do, or pass.length = \"{fitting_m:.0} m\""
    )]
    ReplayShort {
        /// Log file.
        file: String,
        /// Its length, m.
        found_m: f64,
        /// Length that the axle drives in a pass, m.
        needed_m: f64,
        /// Length of a pass that the log would cover, m.
        fitting_m: f64,
    },
}

fn list(problems: &[Problem]) -> String {
    let lines: Vec<String> = problems.iter().map(Problem::to_string).collect();
    lines.join("\n")
}
