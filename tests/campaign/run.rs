//! One run of the program: started, watched, ended.

use std::ffi::OsStr;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// The program under test.
pub struct Program {
    /// Its file.
    pub binary: PathBuf,
    /// A run that takes longer hangs.
    pub limit: Duration,
}

/// A run that is on its way.
pub struct Running {
    /// The process.
    pub child: Child,
    out: JoinHandle<Vec<u8>>,
    err: JoinHandle<Vec<u8>>,
    start: Instant,
}

/// How a run ended.
#[derive(Clone, Default)]
pub struct Ran {
    /// Exit code; `None` after a signal.
    pub code: Option<i32>,
    /// The signal that ended it.
    pub signal: Option<i32>,
    /// True if it was killed because it took too long.
    pub hung: bool,
    /// Standard output.
    pub out: Vec<u8>,
    /// Standard error.
    pub err: Vec<u8>,
}

impl Ran {
    /// Standard error as text.
    pub fn told(&self) -> String {
        String::from_utf8_lossy(&self.err).into_owned()
    }
}

/// What the shell does around the program.
#[derive(Clone, Copy, Default)]
pub struct Around<'a> {
    /// Commands before it.
    pub before: &'a str,
    /// Redirections.
    pub redirected: &'a str,
}

impl Program {
    /// Runs to the end.
    pub fn run(&self, folder: &Path, arguments: &[impl AsRef<OsStr>], around: Around) -> Ran {
        self.start(folder, arguments, around).end(self.limit)
    }

    /// Starts a run. On Unix a shell gives it 12 GiB of addresses: who wants more fails instead of taking the machine down.
    pub fn start(&self, folder: &Path, arguments: &[impl AsRef<OsStr>], around: Around) -> Running {
        let mut command = if cfg!(unix) {
            let Around { before, redirected } = around;
            let mut shell = Command::new("sh");
            shell.arg("-c").arg(format!(
                "ulimit -v 12582912 2>/dev/null; {before} exec \"$0\" \"$@\" {redirected}"
            ));
            shell.arg(&self.binary);
            shell
        } else {
            Command::new(&self.binary)
        };
        let mut child = command
            .current_dir(folder)
            .args(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        Running {
            out: drained(child.stdout.take()),
            err: drained(child.stderr.take()),
            child,
            start: Instant::now(),
        }
    }
}

impl Running {
    /// Sends a signal by its name, such as INT; none on systems without signals.
    pub fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        // The run may have ended before.
        let _ = Command::new("kill")
            .args(["-s", name, &id])
            .stderr(Stdio::null())
            .status();
    }

    /// Waits for the end, at most so long.
    pub fn end(mut self, limit: Duration) -> Ran {
        let mut hung = false;
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("the run can be waited for") {
                break status;
            }
            if self.start.elapsed() > limit {
                hung = true;
                let _ = self.child.kill();
            }
            thread::sleep(Duration::from_millis(2));
        };
        Ran {
            code: status.code(),
            signal: signal_of(status),
            hung,
            out: self.out.join().unwrap_or_default(),
            err: self.err.join().unwrap_or_default(),
        }
    }
}

fn drained(pipe: Option<impl Read + Send + 'static>) -> JoinHandle<Vec<u8>> {
    thread::spawn(move || {
        let mut bytes = Vec::new();
        if let Some(mut pipe) = pipe {
            let _ = pipe.read_to_end(&mut bytes);
        }
        bytes
    })
}

#[cfg(unix)]
fn signal_of(status: ExitStatus) -> Option<i32> {
    std::os::unix::process::ExitStatusExt::signal(&status)
}

#[cfg(not(unix))]
fn signal_of(_: ExitStatus) -> Option<i32> {
    None
}
