//! How a command fails: a plain sentence and an exit code.

use std::fmt::Display;

use rowroom::files::FileError;
use rowroom::montecarlo::saved::MergeError;
use rowroom::montecarlo::study::StudyError;
use rowroom::report::ReportError;
use rowroom::scenario::ScenarioError;

use super::folder::FolderError;
use super::progress::EXIT_INTERRUPTED;

/// Why a command did not do what was asked.
pub struct Failure {
    /// What happened, where, and what would be right.
    pub text: String,
    /// Exit code.
    pub code: u8,
}

impl Failure {
    /// The same with the file that it is about.
    pub fn of(self, file: &str) -> Failure {
        Failure {
            text: self.text.replacen(": ", &format!(": {file}: "), 1),
            ..self
        }
    }

    /// The same with what became of the work so far.
    pub fn and(self, more: &str) -> Failure {
        Failure {
            text: format!("{}. {more}", self.text.trim_end_matches('.')),
            ..self
        }
    }

    /// The run failed, or a file could not be read or written.
    pub fn run(why: impl Display) -> Failure {
        Failure {
            text: format!("error: {why}"),
            code: 1,
        }
    }

    /// What was asked for makes no sense.
    pub fn input(why: impl Display) -> Failure {
        Failure {
            text: format!("error: {why}"),
            code: 2,
        }
    }

    /// A control loop that diverges.
    pub fn unstable(why: impl Display) -> Failure {
        Failure {
            text: format!("error: {why}"),
            code: 3,
        }
    }

    /// Ctrl-C; what was done up to then and what became of it.
    pub fn interrupted(how_far: impl Display) -> Failure {
        Failure {
            text: format!("interrupted: {how_far}"),
            code: EXIT_INTERRUPTED,
        }
    }
}

impl From<FolderError> for Failure {
    fn from(error: FolderError) -> Failure {
        Failure::run(error)
    }
}

impl From<FileError> for Failure {
    fn from(error: FileError) -> Failure {
        Failure::run(error)
    }
}

impl From<ReportError> for Failure {
    fn from(error: ReportError) -> Failure {
        Failure::run(error)
    }
}

impl From<ScenarioError> for Failure {
    fn from(error: ScenarioError) -> Failure {
        match error {
            ScenarioError::Read { .. } => Failure::run(error),
            // Each line starts with its place, so that editors find it.
            ScenarioError::Syntax(_) | ScenarioError::Problems(_) => Failure {
                text: error.to_string(),
                code: 2,
            },
            _ => Failure::input(error),
        }
    }
}

impl From<MergeError> for Failure {
    fn from(error: MergeError) -> Failure {
        Failure::input(error)
    }
}

impl From<StudyError> for Failure {
    fn from(error: StudyError) -> Failure {
        match error {
            StudyError::Unstable(_) => Failure::unstable(error),
            StudyError::Interrupted { .. } => Failure::interrupted(error),
            StudyError::Lacks { .. }
            | StudyError::Notes
            | StudyError::NotesUnfit
            | StudyError::Passes
            | StudyError::RowLost { .. } => Failure::input(error),
            StudyError::Threads(_) => Failure::run(error),
        }
    }
}
