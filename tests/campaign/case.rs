//! One case: its dice, its folder, its runs and what was found.

use std::ffi::OsStr;
use std::fs;
use std::path::PathBuf;

use crate::dice::Dice;
use crate::judge::{self, Faults, Files};
use crate::prepared::Prepared;
use crate::run::{Around, Program, Ran, Running};

/// A case on its way.
pub struct Case<'a> {
    /// Its random choices.
    pub dice: Dice,
    /// Its own folder.
    pub folder: PathBuf,
    /// The program under test.
    pub program: &'a Program,
    /// What all cases start from.
    pub prepared: &'a Prepared,
    /// The files that it wrote.
    pub inputs: Files,
    /// Command lines and answers, for whoever looks into a failure.
    pub log: String,
}

/// What became of a case.
pub struct Verdict {
    /// True if the program refused the input.
    pub refused: bool,
    /// What was wrong.
    pub faults: Faults,
}

impl Verdict {
    /// By the last run.
    pub fn new(ran: &Ran, faults: Faults) -> Verdict {
        Verdict {
            refused: ran.code != Some(0),
            faults,
        }
    }
}

impl Case<'_> {
    /// Writes a file of the case.
    pub fn write(&mut self, name: &str, bytes: &[u8]) {
        let path = self.folder.join(name);
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).expect("a folder of the case");
        }
        fs::write(path, bytes).expect("a file of the case");
        self.inputs.insert(name.to_owned(), bytes.to_owned());
    }

    /// Writes several, into a folder of the case.
    pub fn write_all(&mut self, folder: &str, files: &Files) {
        for (name, bytes) in files {
            self.write(&format!("{folder}/{name}"), bytes);
        }
    }

    /// The files in a folder of the case.
    pub fn files(&self, folder: &str) -> Files {
        judge::files(&self.folder.join(folder))
    }

    /// Runs the program in the folder.
    pub fn run(&mut self, arguments: &[impl AsRef<OsStr>]) -> Ran {
        self.run_in(arguments, Around::default())
    }

    /// Runs it with something around it.
    pub fn run_in(&mut self, arguments: &[impl AsRef<OsStr>], around: Around) -> Ran {
        let ran = self.program.run(&self.folder, arguments, around);
        self.note(arguments, around.before, &ran);
        ran
    }

    /// Starts it.
    pub fn start(&self, arguments: &[impl AsRef<OsStr>]) -> Running {
        self.program
            .start(&self.folder, arguments, Around::default())
    }

    /// Keeps a run in the log.
    pub fn note(&mut self, arguments: &[impl AsRef<OsStr>], with: &str, ran: &Ran) {
        let words: Vec<_> = arguments
            .iter()
            .map(|word| word.as_ref().to_string_lossy())
            .collect();
        let told: String = ran.told().chars().take(4000).collect();
        self.log += &format!(
            "{with} rowroom {}\nexit code {:?}, signal {:?}, hung {}\n{told}\n",
            words.join(" "),
            ran.code,
            ran.signal,
            ran.hung
        );
    }
}
