//! Results to files and text. What goes in is [`crate::results`] and [`crate::sim::trace`]; what comes out is bytes. Nothing
//! here computes beyond display, and nothing touches a disk.
//!
//! [`json`] and [`csv`] hold every digit, for scripts; [`text`] is the answer on a terminal; [`svg`] draws; [`page`] puts it all
//! on one page, with [`answers`] for its sections by reader and [`live`] for what moves on it; [`customer`] and [`setting_sheet`] are a
//! sheet of paper each; [`display`] makes numbers as people read them, [`both`] says a text in both systems of units,
//! [`three_answers`] and [`sentences`] say the answers, [`cautions`] what can hurt.

pub mod answers;
pub mod both;
pub mod bounds;
pub mod cautions;
pub mod changes;
pub mod compare;
pub mod csv;
pub mod customer;
pub mod design;
pub mod display;
pub mod field;
pub mod json;
pub mod lesson;
pub mod live;
pub mod page;
pub(crate) mod parts;
pub mod sentences;
pub mod setting_sheet;
pub mod svg;
pub mod sweep;
#[cfg(test)]
pub(crate) mod synthetic;
pub mod text;
pub mod three_answers;
pub mod words;

pub use text::answer_text;

use crate::model::controller::Kind;
use crate::results::finite::first_not_finite;
use crate::results::{Results, ScenarioStamp, Tool};
use crate::sim::trace::Trace;
use serde::Serialize;

/// One output file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Name inside the output folder.
    pub name: String,
    /// Content.
    pub bytes: Vec<u8>,
}

impl File {
    fn new(name: impl Into<String>, text: String) -> File {
        File {
            name: name.into(),
            bytes: text.into_bytes(),
        }
    }
}

/// Why results cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A number is not finite.
    #[error("{key} is not a finite number; nothing is written")]
    NotFinite {
        /// Its key.
        key: String,
    },
    /// The text did not read back to what was written.
    #[error("results.json does not read back to the same results; nothing is written")]
    NotTheSame,
    /// JSON trouble.
    #[error("results.json cannot be written or read: {0}")]
    Json(#[from] serde_json::Error),
}

/// Where a single pass comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct PassStamp {
    /// The program.
    pub tool: Tool,
    /// The scenario.
    pub scenario: ScenarioStamp,
    /// Tick of valve and frame, s.
    pub step_s: f64,
}

/// All files of a study. `traces` are the passes to draw, one per controller, all at one speed and clearance; `worst` is the worst
/// pass of the study likewise.
pub fn study_files(
    results: &Results,
    traces: &[Trace],
    worst: &[Trace],
) -> Result<Vec<File>, ReportError> {
    let json = json::results_json(results)?;
    traces.iter().chain(worst).try_for_each(finite)?;
    let units = results.scenario.units;
    let pictures = svg::study_pictures(results, traces, units);
    let page = page::page(results, traces, worst);
    let mut files = vec![
        File::new("results.json", json),
        File::new("rates.csv", csv::rates_csv(&results.rates)),
        File::new("report.html", page),
    ];
    if sentences::answered(results) {
        files.extend([
            File::new("customer.html", customer::page(results, &pictures)),
            File::new(
                "setting_sheet.html",
                setting_sheet::page(results, &pictures),
            ),
        ]);
    }
    files.extend(
        pictures
            .all()
            .map(|picture| File::new(format!("{}.svg", picture.name), picture.standalone())),
    );
    Ok(files)
}

/// How the names of a pass's files begin.
pub fn pass_name(pass: u64, kind: Kind) -> String {
    format!("pass_{pass}_{}", kind.name())
}

/// All files of a single pass; their names carry the pass and the controller.
pub fn pass_files(stamp: &PassStamp, trace: &Trace) -> Result<Vec<File>, ReportError> {
    finite(trace)?;
    let units = stamp.scenario.units;
    let origin = PassOrigin {
        tool: &stamp.tool,
        scenario: &stamp.scenario,
        seed: trace.seed,
        pass: trace.pass,
        step_s: stamp.step_s,
        controller: trace.kind.name(),
        speed_m_s: trace.speed_m_s,
        clearance_m: trace.clearance_m,
    };
    if let Some(key) = first_not_finite(&origin) {
        return Err(ReportError::NotFinite { key });
    }
    let name = pass_name(trace.pass, trace.kind);
    let window = svg::above::window(&[trace]);
    let above = svg::above::picture(&format!("{name}_above"), units, trace, window);
    let shift = svg::shift::picture(&format!("{name}_shift"), units, trace);
    Ok(vec![
        File::new(
            format!("{name}.json"),
            serde_json::to_string_pretty(&origin)? + "\n",
        ),
        File::new(format!("{name}_trace.csv"), csv::trace_csv(trace)),
        File::new(format!("{name}_plants.csv"), csv::plants_csv(trace)),
        File::new(format!("{}.svg", above.name), above.standalone()),
        File::new(format!("{}.svg", shift.name), shift.standalone()),
    ])
}

/// `pass.json`: what the tables and pictures beside it show.
#[derive(Serialize)]
struct PassOrigin<'a> {
    tool: &'a Tool,
    scenario: &'a ScenarioStamp,
    seed: u64,
    pass: u64,
    step_s: f64,
    controller: &'a str,
    speed_m_s: f64,
    clearance_m: f64,
}

fn finite(trace: &Trace) -> Result<(), ReportError> {
    let head = [
        ("speed_m_s", trace.speed_m_s),
        ("clearance_m", trace.clearance_m),
        ("entry_length_m", trace.entry_length_m),
        ("half_stroke_m", trace.half_stroke_m),
        ("axle_ahead_m", trace.axle_ahead_m),
        ("camera_ahead_m", trace.camera_ahead_m),
        ("protected_radius_m", trace.protected_radius_m),
        ("stem_radius_m", trace.stem_radius_m),
    ];
    let head = head
        .into_iter()
        .map(|(key, value)| (key.to_owned(), value))
        .chain(
            trace
                .row_offset_m
                .iter()
                .map(|value| ("row_offset_m".to_owned(), *value)),
        );
    let samples = trace.samples.iter().enumerate().flat_map(|(i, sample)| {
        [
            ("time_s", sample.time_s),
            ("station_m", sample.station_m),
            ("axle_m", sample.axle_m),
            ("heading_rad", sample.heading_rad),
            ("row_m", sample.row_m),
            ("frame_m", sample.frame_m),
            ("wanted_shift_m", sample.wanted_shift_m),
            ("shift_m", sample.shift_m),
            ("tool_error_m", sample.tool_error_m),
            ("command", sample.command),
        ]
        .map(|(key, value)| (i, "samples", key, value))
    });
    let plants = trace.plants.iter().enumerate().flat_map(|(i, plant)| {
        [
            ("station_m", plant.station_m),
            ("lateral_m", plant.lateral_m),
            (
                "needed_clearance_m",
                plant.needed_clearance_m.unwrap_or(0.0),
            ),
        ]
        .map(|(key, value)| (i, "plants", key, value))
    });
    let broken = head
        .into_iter()
        .find(|(_, value)| !value.is_finite())
        .map(|(key, _)| key)
        .or_else(|| {
            samples
                .chain(plants)
                .find(|(.., value)| !value.is_finite())
                .map(|(i, list, key, _)| format!("{list}[{i}].{key}"))
        });
    match broken {
        Some(key) => Err(ReportError::NotFinite {
            key: format!("trace.{key}"),
        }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp() -> PassStamp {
        let results = synthetic::results();
        PassStamp {
            tool: results.tool,
            scenario: results.scenario,
            step_s: results.step_s,
        }
    }

    #[test]
    fn prop_a_broken_pass_is_refused_by_its_key() {
        let mut trace = synthetic::traces().remove(0);
        trace.samples[7].shift_m = f64::NAN;
        let error = pass_files(&stamp(), &trace).unwrap_err();
        assert!(error.to_string().contains("trace.samples[7].shift_m"));
        let error = study_files(&synthetic::results(), &[trace], &[]).unwrap_err();
        assert!(error.to_string().contains("trace.samples[7].shift_m"));
    }

    #[test]
    fn prop_a_pass_says_where_it_comes_from() {
        let trace = &synthetic::traces()[1];
        let files = pass_files(&stamp(), trace).unwrap();
        let json: serde_json::Value = serde_json::from_slice(&files[0].bytes).unwrap();
        assert_eq!(json["controller"], trace.kind.name());
        assert_eq!(json["seed"], trace.seed);
        assert_eq!(json["scenario"]["sha256"], stamp().scenario.sha256);
    }

    #[test]
    fn prop_sheets_of_paper_come_with_the_answers_alone() {
        let names = |results: &Results| -> Vec<String> {
            let files = study_files(results, &[], &[]).unwrap();
            files.into_iter().map(|file| file.name).collect()
        };
        let mut results = synthetic::results();
        let with = names(&results);
        results.answers = Default::default();
        results.complete = false;
        let without = names(&results);
        for name in [
            "customer.html",
            "setting_sheet.html",
            "tools.svg",
            "cut_by_speed.svg",
            "loop_lag_compensated_yaw.svg",
        ] {
            assert!(with.iter().any(|with| with == name), "{name}");
            assert!(!without.iter().any(|without| without == name), "{name}");
        }
        assert!(without.iter().any(|without| without == "report.html"));
    }

    #[test]
    fn prop_a_study_has_its_files_under_different_names_and_within_a_mebibyte() {
        let files = study_files(&synthetic::results(), &synthetic::traces(), &[]).unwrap();
        let mut names: Vec<&str> = files.iter().map(|file| file.name.as_str()).collect();
        for name in ["results.json", "rates.csv", "report.html"] {
            assert!(names.contains(&name));
        }
        names.sort();
        names.dedup();
        assert_eq!(names.len(), files.len());
        for file in &files {
            assert!(
                file.bytes.len() < 1 << 20,
                "{} has {} bytes",
                file.name,
                file.bytes.len()
            );
        }
    }
}
