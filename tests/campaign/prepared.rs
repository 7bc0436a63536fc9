//! What the cases start from: the shipped scenarios, and runs that nobody disturbed.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use crate::judge::{self, Files};
use crate::run::{Around, Program};
use crate::scenarios::short;

/// Passes of the small study: two blocks.
pub const PASSES: &str = "16";

/// What all cases share.
pub struct Prepared {
    /// Shipped scenarios by file name, in order.
    pub scenarios: Vec<(String, String)>,
    /// A log of a driven pass.
    pub log: String,
    /// The row line of a shipped scenario.
    pub rows: String,
    /// A small scenario.
    pub field: String,
    /// Its study.
    pub whole: Files,
    /// Its study in two parts.
    pub parts: Files,
    /// Its study, stopped after the first block.
    pub stopped: Files,
    /// One of its passes.
    pub pass: Files,
    /// Its study compared with itself.
    pub comparison: Files,
    /// Longer studies to be stopped, and how they end when nobody stops them.
    pub long: Vec<Long>,
}

/// A study that takes a while.
pub struct Long {
    /// The scenario.
    pub text: String,
    /// The command, without the folder.
    pub command: Vec<String>,
    /// What it writes.
    pub files: Files,
    /// How long it takes.
    pub takes: Duration,
}

impl Prepared {
    /// Runs everything that is needed, in a folder.
    pub fn new(program: &Program, folder: &Path, stops: bool) -> Result<Prepared, String> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let read = |name: &str| {
            fs::read_to_string(root.join(name)).map_err(|error| format!("{name}: {error}"))
        };
        let mut scenarios = Vec::new();
        for entry in fs::read_dir(root.join("scenarios")).map_err(|error| error.to_string())? {
            let name = entry
                .map_err(|error| error.to_string())?
                .file_name()
                .to_string_lossy()
                .into_owned();
            if name.ends_with(".toml") {
                let text = read(&format!("scenarios/{name}"))?;
                scenarios.push((name, text));
            }
        }
        scenarios.sort();
        let field = small(&read("README.md")?);
        fs::write(folder.join("field.toml"), &field).map_err(|error| error.to_string())?;
        let run = |arguments: &[&str]| {
            let ran = program.run(folder, arguments, Around::default());
            match ran.code {
                Some(0) => Ok(()),
                _ => Err(format!("rowroom {}: {}", arguments.join(" "), ran.told())),
            }
        };
        let study = [
            "study",
            "field.toml",
            "--passes",
            PASSES,
            "--quiet",
            "--threads",
            "1",
        ];
        run(&[&study[..], &["--out", "whole"]].concat())?;
        for part in ["1/2", "2/2"] {
            run(&[&study[..], &["--part", part, "--out", "parts"]].concat())?;
        }
        run(&["pass", "field.toml", "--out", "pass"])?;
        run(&["compare", "whole", "whole", "--out", "comparison"])?;
        let files = |name: &str| judge::files(&folder.join(name));
        let mut prepared = Prepared {
            log: read("tests/data/synthetic_pass.csv")?,
            rows: read("scenarios/carrots_slope_rows.csv")?,
            whole: files("whole"),
            parts: files("parts"),
            pass: files("pass"),
            comparison: files("comparison"),
            stopped: stopped(program, folder, &study)?,
            field,
            scenarios,
            long: Vec::new(),
        };
        let long = if stops { &LONG[..] } else { &[] };
        for (number, (scenario, options)) in long.iter().enumerate() {
            let text = match *scenario {
                "" => prepared.field.clone(),
                name => short(prepared.scenario(name)).join("\n"),
            };
            let place = folder.join(format!("long_{number}"));
            fs::create_dir(&place)
                .and_then(|()| fs::write(place.join("long.toml"), &text))
                .map_err(|error| error.to_string())?;
            let command = [&["study", "long.toml"], *options].concat();
            let start = Instant::now();
            let ran = program.run(
                &place,
                &[&command[..], &["--out", "out"]].concat(),
                Around::default(),
            );
            if ran.code != Some(0) {
                return Err(format!("rowroom {}: {}", command.join(" "), ran.told()));
            }
            prepared.long.push(Long {
                text,
                command: command.into_iter().map(str::to_owned).collect(),
                files: judge::files(&place.join("out")),
                takes: start.elapsed(),
            });
        }
        Ok(prepared)
    }

    /// The text of a shipped scenario.
    pub fn scenario(&self, name: &str) -> &str {
        self.scenarios
            .iter()
            .find(|(known, _)| known == name)
            .map_or("", |(_, text)| text)
    }
}

/// Scenario and options of the studies that are stopped: passes, decisions, parts, and answers that take longer than the passes.
const LONG: [(&str, &[&str]); 4] = [
    ("", &["--quiet", "--passes", "32"]),
    ("", &["--quiet", "--most-passes", "72"]),
    ("", &["--quiet", "--passes", "2400", "--part", "2/3"]),
    ("leeks.toml", &["--quiet", "--passes", "8"]),
];

/// The scenario of the README on a short field, with few settings.
fn small(readme: &str) -> String {
    let (_, after) = readme.split_once("```toml\n").unwrap_or_default();
    let scenario = after.split("```").next().unwrap_or_default();
    let lines = short(scenario).join("\n");
    let lines = lines.replace("[study]", "[study]\ncontrollers = [\"locked\", \"pid\"]");
    format!("{lines}\n[pass]\nlength = \"40 m\"\nentry_length = \"5 m\"\n")
}

/// The study stopped after the first of its two blocks: the right number of minutes is found by trying.
fn stopped(program: &Program, folder: &Path, study: &[&str]) -> Result<Files, String> {
    let (mut short, mut long) = (0.0, 0.001);
    for _ in 0..200 {
        let minutes = f64::midpoint(short, long);
        let out = folder.join("stopped");
        let _ = fs::remove_dir_all(&out);
        let time = format!("{minutes:e}");
        let ran = program.run(
            folder,
            &[study, &["--minutes", &time, "--out", "stopped"]].concat(),
            Around::default(),
        );
        let files = judge::files(&out);
        let passes = files
            .get("results.json")
            .and_then(|text| serde_json::from_slice::<serde_json::Value>(text).ok())
            .and_then(|results| results["passes"].as_u64());
        match passes {
            Some(8) if files.contains_key("so_far.json") => return Ok(files),
            Some(_) => long = minutes,
            None if ran.told().contains("too soon") => short = minutes,
            None => return Err(ran.told()),
        }
        // No two runs take the same time.
        short *= 0.9;
        long *= 1.1;
    }
    Err("no number of minutes stops the study after its first block".to_owned())
}
