//! What a study shows while it runs, and how it is stopped.

use std::io::{IsTerminal, Write, stderr};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, OnceLock};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};
use rowroom::montecarlo::study::Watch;

/// Time between two plain lines.
const BETWEEN_LINES: Duration = Duration::from_secs(10);

static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// Exit code of an interrupted run.
pub const EXIT_INTERRUPTED: u8 = 130;

/// From now on the first Ctrl-C asks the run to stop and the second one ends the program; so do the requests to end that a batch system
/// or a closing terminal sends.
///
/// Where the system grants no handler, Ctrl-C kills at once; files are renamed when they are whole, so none is left half
/// written under its name.
pub fn catch_interrupt() {
    let _ = ctrlc::set_handler(|| {
        if INTERRUPTED.swap(true, Ordering::Relaxed) {
            std::process::exit(EXIT_INTERRUPTED.into());
        }
    });
}

/// Whether Ctrl-C was pressed.
pub fn interrupted() -> bool {
    INTERRUPTED.load(Ordering::Relaxed)
}

/// Shows how far a study is, and stops it on Ctrl-C or when its time is over.
pub struct Progress {
    shown: Shown,
    deadline: Option<Instant>,
    /// Once the answers began.
    answers: Mutex<Option<Answers>>,
}

/// The first sign of life of the answers, the share of them that was done by then, and the time of the last plain line.
struct Answers {
    start: Instant,
    before: f64,
    last: Instant,
}

/// How progress is shown on stderr.
enum Shown {
    /// A bar with the remaining time, on a terminal.
    Bar(ProgressBar),
    /// A plain line now and then, elsewhere.
    Lines {
        /// Start of the run, and passes at its first sign of life.
        start: Instant,
        before: OnceLock<u64>,
        /// Time of the last line.
        last: Mutex<Instant>,
    },
    /// Nothing.
    Quiet,
}

impl Progress {
    /// Fits the place where it is shown; the run may take so long from now on.
    pub fn new(quiet: bool, time: Option<Duration>) -> Progress {
        let start = Instant::now();
        let shown = if quiet {
            Shown::Quiet
        } else if stderr().is_terminal() {
            let style = ProgressStyle::with_template(
                "  {bar:32} {pos} of {len} passes, {eta} left at most (Ctrl-C stops)",
            )
            .unwrap_or_else(|_| ProgressStyle::default_bar());
            Shown::Bar(ProgressBar::no_length().with_style(style))
        } else {
            Shown::Lines {
                start,
                before: OnceLock::new(),
                last: Mutex::new(start),
            }
        };
        Progress {
            shown,
            deadline: time.and_then(|time| start.checked_add(time)),
            answers: Mutex::new(None),
        }
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        if let Shown::Bar(bar) = &self.shown {
            bar.finish_and_clear();
        }
    }
}

impl Watch for Progress {
    fn passes_done(&self, done: u64, of: u64) {
        match &self.shown {
            Shown::Quiet => {}
            Shown::Bar(bar) => {
                bar.set_length(of);
                bar.set_position(done);
            }
            Shown::Lines {
                start,
                before,
                last,
            } => {
                // Passes of an earlier run took no time of this one: counted in, the rest would look short.
                let new = done - (*before.get_or_init(|| done)).min(done);
                let Ok(mut last) = last.lock() else { return };
                if new == 0 || done >= of || last.elapsed() < BETWEEN_LINES {
                    return;
                }
                *last = Instant::now();
                let left_s = start.elapsed().as_secs_f64() * (of - done) as f64 / new as f64;
                let _ = writeln!(
                    stderr(),
                    "  {done} of {of} passes, about {left_s:.0} s left at most"
                );
            }
        }
    }

    fn answers_done(&self, share: f64) {
        let Ok(mut answers) = self.answers.lock() else {
            return;
        };
        let share = share.min(1.0);
        let now = Instant::now();
        let answers = answers.get_or_insert(Answers {
            start: now,
            before: share,
            last: now,
        });
        // At the first call no time has passed yet.
        let new = (share - answers.before).max(1e-6);
        let left_s = answers.start.elapsed().as_secs_f64() * (1.0 - share) / new;
        match &self.shown {
            Shown::Quiet => {}
            Shown::Bar(bar) => {
                if answers.start == now {
                    let style = ProgressStyle::with_template(
                        "  {bar:32} {pos} % of the answers, {msg} (Ctrl-C stops)",
                    );
                    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
                    bar.set_length(100);
                    // Finished and hidden after the passes: begun anew.
                    bar.reset();
                }
                bar.set_message(format!("about {left_s:.0} s left"));
                bar.set_position((100.0 * share) as u64);
            }
            Shown::Lines { .. } => {
                if share >= 1.0 || answers.last.elapsed() < BETWEEN_LINES {
                    return;
                }
                answers.last = now;
                let _ = writeln!(
                    stderr(),
                    "  {:.0} % of the answers, about {left_s:.0} s left",
                    100.0 * share
                );
            }
        }
    }

    fn stop(&self) -> bool {
        interrupted() || self.deadline.is_some_and(|end| Instant::now() >= end)
    }
}
