//! What the engine computes, told as short lines that change with every bit of it: the same text from the program and in a browser.
//!
//! The whole of `rowroom` that a browser needs runs here: texts of scenarios, the linear check, a small study under
//! all controllers, with its answers for one scenario, and the passes that it draws, tick by tick.

use std::fmt::{Debug, Write};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};

use rowroom::montecarlo::saved::Saved;
use rowroom::scenario::Scenario;
use rowroom::study::{Plan, Until, Watch, study};

/// The scenario whose answers are worked out too. They run its passes many times more: a minute for one with a machine of its own in every
/// pass.
const ANSWERED: &str = "wide_rows_us";

/// Stops after the passes where no answers are wanted.
struct Wanted {
    answers: bool,
    simulated: AtomicBool,
}

impl Watch for Wanted {
    fn passes_done(&self, _done: u64, _of: u64) {}
    fn simulated(&self, _so_far: &Saved, _complete: bool) -> bool {
        self.simulated.store(true, Ordering::Relaxed);
        true
    }
    fn stop(&self) -> bool {
        !self.answers && self.simulated.load(Ordering::Relaxed)
    }
}

/// Two blocks of passes, the second not full.
const PASSES: u64 = 12;

const SCENARIOS: [(&str, &str); 6] = [
    ("leeks", include_str!("../../scenarios/leeks.toml")),
    (
        "sugar_beet",
        include_str!("../../scenarios/sugar_beet.toml"),
    ),
    (
        "wide_rows_us",
        include_str!("../../scenarios/wide_rows_us.toml"),
    ),
    (
        "drawn_on_off",
        include_str!("../../scenarios/drawn_on_off.toml"),
    ),
    (
        "carrots_slope",
        include_str!("../../scenarios/carrots_slope.toml"),
    ),
    (
        "replayed_pass",
        include_str!("../../scenarios/replayed_pass.toml"),
    ),
];
const ROWS: (&str, &str) = (
    "carrots_slope_rows.csv",
    include_str!("../../scenarios/carrots_slope_rows.csv"),
);
const LOG: (&str, &str) = (
    include_str!("../data/synthetic_pass.csv"),
    "synthetic_pass.csv",
);

/// The lines, or the reason why there are none.
pub fn fingerprints() -> Result<String, Box<dyn std::error::Error>> {
    let mut lines = String::new();
    for (name, text) in SCENARIOS {
        let files = |file: &str| {
            let rows = (file == ROWS.0).then(|| ROWS.1.to_owned());
            rows.ok_or_else(|| std::io::ErrorKind::NotFound.into())
        };
        let log = (name == "replayed_pass").then_some(LOG);
        let scenario = Scenario::parse(text, name, &files, log)?;
        let seed = scenario.study().seed;
        let plan = Plan {
            scenario: &scenario,
            seed,
            until: Until::Passes(PASSES),
            threads: None,
        };
        let wanted = Wanted {
            answers: name == ANSWERED,
            simulated: AtomicBool::new(false),
        };
        let found = study(&plan, None, &wanted)?;
        if found.results.complete != wanted.answers {
            return Err("the answers are not what was wanted".into());
        }
        for (what, print) in [
            ("sums", fingerprint(&found.saved)),
            ("results", fingerprint(&found.results)),
            ("first pass", fingerprint(&found.traces)),
            ("worst pass", fingerprint(&found.worst)),
        ] {
            writeln!(lines, "{name}, {what}: {print:016x}")?;
        }
        // For a reader who looks whether anything moved at all.
        for tracking in &found.results.tracking {
            let name = &tracking.controller;
            let (speed_m_s, sd_m) = (tracking.speed_m_s, tracking.tool_error_sd_m);
            if speed_m_s == scenario.study().working_speed_m_s {
                writeln!(lines, "  {name}: tool error sd {sd_m} m")?;
            }
        }
    }
    Ok(lines)
}

/// FNV-1a, 64 bits, of a value written out; Rust writes a number with as many digits as tell it from all others.
fn fingerprint(value: &impl Debug) -> u64 {
    struct Fnv(u64);
    impl Write for Fnv {
        fn write_str(&mut self, text: &str) -> std::fmt::Result {
            for &byte in text.as_bytes() {
                self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
            }
            Ok(())
        }
    }
    let mut hash = Fnv(0xcbf2_9ce4_8422_2325);
    // Writing into a number cannot fail.
    let _ = write!(hash, "{value:?}");
    hash.0
}

static TEXT: OnceLock<String> = OnceLock::new();

fn text() -> &'static str {
    TEXT.get_or_init(|| fingerprints().unwrap_or_else(|error| format!("failed: {error}\n")))
}

/// Where the lines lie in memory, for a page's script.
#[unsafe(no_mangle)]
pub extern "C" fn fingerprints_at() -> *const u8 {
    text().as_ptr()
}

/// Length of the lines in bytes.
#[unsafe(no_mangle)]
pub extern "C" fn fingerprints_length() -> usize {
    text().len()
}
