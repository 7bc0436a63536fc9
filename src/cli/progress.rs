//! What a study shows while it runs, and how it is stopped.

use std::io::{IsTerminal, Write, stderr};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};
use rowroom::montecarlo::study::Watch;

/// Time between two plain lines.
const BETWEEN_LINES: Duration = Duration::from_secs(10);

static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// From now on Ctrl-C asks the run to stop instead of killing the program.
///
/// Where the system grants no handler, Ctrl-C kills at once; files are renamed when they are whole, so none is left half
/// written under its name.
pub fn catch_interrupt() {
    let _ = ctrlc::set_handler(|| INTERRUPTED.store(true, Ordering::Relaxed));
}

/// Whether Ctrl-C was pressed.
pub fn interrupted() -> bool {
    INTERRUPTED.load(Ordering::Relaxed)
}

/// Progress on stderr.
pub enum Progress {
    /// A bar with the remaining time, on a terminal.
    Bar(ProgressBar),
    /// A plain line now and then, elsewhere.
    Lines {
        /// Start of the run.
        start: Instant,
        /// Time of the last line.
        last: Mutex<Instant>,
    },
    /// Nothing.
    Quiet,
}

impl Progress {
    /// Fits the place where it is shown.
    pub fn new(quiet: bool) -> Progress {
        let start = Instant::now();
        if quiet {
            Progress::Quiet
        } else if stderr().is_terminal() {
            let style = ProgressStyle::with_template(
                "  {bar:32} {pos} of {len} passes, {eta} left (Ctrl-C stops)",
            )
            .unwrap_or_else(|_| ProgressStyle::default_bar());
            Progress::Bar(ProgressBar::no_length().with_style(style))
        } else {
            Progress::Lines {
                start,
                last: Mutex::new(start),
            }
        }
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        if let Progress::Bar(bar) = self {
            bar.finish_and_clear();
        }
    }
}

impl Watch for Progress {
    fn passes_done(&self, done: u64, of: u64) {
        match self {
            Progress::Quiet => {}
            Progress::Bar(bar) => {
                bar.set_length(of);
                bar.set_position(done);
            }
            Progress::Lines { start, last } => {
                let Ok(mut last) = last.lock() else { return };
                if done == 0 || done >= of || last.elapsed() < BETWEEN_LINES {
                    return;
                }
                *last = Instant::now();
                let left_s = start.elapsed().as_secs_f64() * (of - done) as f64 / done as f64;
                let _ = writeln!(
                    stderr(),
                    "  {done} of {of} passes, about {left_s:.0} s left"
                );
            }
        }
    }

    fn interrupted(&self) -> bool {
        interrupted()
    }
}
