//! What was found in the field: gaps beside the rows and counted plants, kept in the scenario as `[[notes]]`, one for each setting of the
//! machine that was looked at.
//!
//! ```toml
//! [[notes]]
//! speed = "8 km/h"                                  # left out: the working speed
//! clearance = "60 mm"                               # left out: the working clearance
//! controller = "pid"                                # left out: the last one that the machine can run
//! gaps = [["58 mm", "63 mm"], ["61 mm", "60 mm"]]   # from a row to the edges left and right of it, place by place
//! counts = [[200, 3], [200, 0]]                     # plants looked at and those of them that are cut, place by place
//! ```

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

use super::keys::{self, Id};
use super::read::Read;
use super::units::{self, Quantity};
use crate::field::notebook::WIDEST_GAP_M;
use crate::model::controller::Kind;
use crate::quote::quoted;

/// Most places of one visit: more than anybody walks to.
pub const MOST_PLACES: usize = 10_000;

/// Most plants counted at one place.
pub const MOST_PLANTS: u64 = 1_000_000;

/// By how much gaps may say another clearance than was noted, as share of it (our choice): beyond it they were read at another setting.
const MOST_APART: f64 = 0.4;

/// What was found at one setting of the machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Notes {
    /// Controller that steered the frame.
    pub kind: Kind,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance to which the tools were set, m.
    pub clearance_m: f64,
    /// From a row to the cutting edge left and right of it, m, at places far enough apart to be independent.
    pub gaps_m: Vec<[f64; 2]>,
    /// Plants counted.
    pub counts: Vec<Counted>,
}

/// Plants counted at one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counted {
    /// All that were looked at.
    pub plants: u64,
    /// Those of them that were cut.
    pub cut: u64,
}

impl Notes {
    /// Tool errors that the gaps tell, m: half the left one less half the right one, tools left of their row positive.
    pub fn errors_m(&self) -> Vec<f64> {
        let half = |[left_m, right_m]: &[f64; 2]| 0.5 * (left_m - right_m);
        self.gaps_m.iter().map(half).collect()
    }

    /// Plants counted and those of them that were cut.
    pub fn counted(&self) -> Counted {
        self.counts.iter().fold(
            Counted { plants: 0, cut: 0 },
            |Counted { plants, cut }, one| Counted {
                plants: plants + one.plants,
                cut: cut + one.cut,
            },
        )
    }
}

/// The same before defaults are filled in.
#[derive(Clone, Debug, Default)]
pub(super) struct Written {
    at: usize,
    kind: Option<Kind>,
    speed_m_s: Option<f64>,
    clearance_m: Option<f64>,
    gaps_m: Vec<[f64; 2]>,
    counts: Vec<Counted>,
}

impl Written {
    /// With what holds where nothing is written: the machine as it works now.
    pub(super) fn at_work(
        self,
        read: &mut Read,
        working_m_s: f64,
        working_m: f64,
        runnable: &[Kind],
    ) -> Option<Notes> {
        let Some(kind) = self.kind.or(runnable.last().copied()) else {
            read.problem(self.at, "notes", "notes need a machine that can run".into());
            return None;
        };
        if !runnable.contains(&kind) {
            let message = format!(
                "notes.controller = \"{}\" cannot run on this machine",
                kind.name()
            );
            read.problem(self.at, "notes.controller", message);
            return None;
        }
        let clearance_m = self.clearance_m.unwrap_or(working_m);
        let places = self.gaps_m.len() as f64;
        let halves = self.gaps_m.iter().map(|[left, right]| 0.5 * (left + right));
        let found_m = halves.sum::<f64>() / places;
        if places > 0.0 && (found_m / clearance_m - 1.0).abs() > MOST_APART {
            let message = format!(
                "the gaps say a clearance of {:.0} mm, and {:.0} mm is noted: are the gaps in the unit that stands there? notes.clearance is what the tools were set \
                 to",
                1000.0 * found_m,
                1000.0 * clearance_m
            );
            read.problem(self.at, "notes.gaps", message);
            return None;
        }
        Some(Notes {
            kind,
            speed_m_s: self.speed_m_s.unwrap_or(working_m_s),
            clearance_m,
            gaps_m: self.gaps_m,
            counts: self.counts,
        })
    }
}

/// Reads `[[notes]]`; what is wrong is told in `read`.
pub(super) fn take(read: &mut Read, value: &Spanned<DeValue<'_>>) {
    let all: Vec<&Spanned<DeValue<'_>>> = match value.get_ref() {
        DeValue::Array(all) => all.iter().collect(),
        // A single [notes] says the same.
        DeValue::Table(_) => vec![value],
        _ => {
            let message = "notes is a list of tables; write [[notes]] on a line of its own";
            return read.problem(value.span().start, "notes", message.into());
        }
    };
    for one in all {
        let DeValue::Table(table) = one.get_ref() else {
            let message = "notes is a list of tables; write [[notes]] on a line of its own";
            read.problem(one.span().start, "notes", message.into());
            continue;
        };
        let written = visit(read, one.span(), table);
        read.notes.push(written);
    }
}

const NAMES: [&str; 5] = ["speed", "clearance", "controller", "gaps", "counts"];

fn visit(read: &mut Read, span: Range<usize>, table: &DeTable<'_>) -> Written {
    let mut written = Written {
        at: span.start,
        ..Written::default()
    };
    for (name, value) in table {
        let at = value.span().start;
        let mut told = |message: String| {
            read.problem(at, &format!("notes.{}", name.get_ref()), message);
        };
        match (name.get_ref().as_ref(), value.get_ref()) {
            ("speed", value) => match quantity(value, Quantity::Speed, Some(Id::WorkingSpeed)) {
                Ok(speed_m_s) => written.speed_m_s = Some(speed_m_s),
                Err(why) => told(format!("notes.speed: {why}")),
            },
            ("clearance", value) => {
                match quantity(value, Quantity::Length, Some(Id::WorkingClearance)) {
                    Ok(clearance_m) => written.clearance_m = Some(clearance_m),
                    Err(why) => told(format!("notes.clearance: {why}")),
                }
            }
            ("controller", DeValue::String(word)) => {
                match Kind::ALL.into_iter().find(|kind| kind.name() == word) {
                    Some(kind) => written.kind = Some(kind),
                    None => told(format!(
                        "notes.controller is one of {}",
                        Kind::NAMES.join(", ")
                    )),
                }
            }
            ("gaps", DeValue::Array(gaps)) => match pairs(gaps, gap) {
                Ok(gaps_m) => written.gaps_m = gaps_m,
                Err(why) => told(format!(
                    "notes.gaps: {why}; write the gaps left and right of a row, place by place: [[\"58 mm\", \"63 mm\"], [\"61 mm\", \"60 mm\"]]"
                )),
            },
            ("counts", DeValue::Array(counts)) => match pairs(counts, counted) {
                Ok(counts) => written.counts = counts,
                Err(why) => told(format!(
                    "notes.counts: {why}; write plants looked at and plants cut, place by place: [[200, 3], [200, 0]]"
                )),
            },
            (name, _) if NAMES.contains(&name) => told(format!(
                "notes.{name} is of another kind: controller is a word, gaps and counts are lists of pairs"
            )),
            (name, _) => {
                let near = super::nearest::nearest(name, NAMES.into_iter());
                let near = near.map_or(String::new(), |near| format!("; did you mean {near}?"));
                told(format!("notes.{} is unknown{near}", quoted(name)));
            }
        }
    }
    if written.gaps_m.is_empty() && written.counts.is_empty() && read.found.is_empty() {
        let message = "these notes hold nothing: write gaps, counts or both";
        read.problem(span.start, "notes", message.into());
    }
    written
}

fn quantity(value: &DeValue<'_>, what: Quantity, limits: Option<Id>) -> Result<f64, String> {
    let DeValue::String(text) = value else {
        return Err("write a text with its unit, such as \"60 mm\"".into());
    };
    let si = units::parse(text, what).map_err(|why| why.to_string())?.si;
    match limits
        .map(keys::key)
        .and_then(|key| Some((key, key.range()?)))
    {
        Some((key, (low, high))) if si < low || si > high => {
            Err(format!("{} is not within {}", quoted(text), key.allowed()))
        }
        _ => Ok(si),
    }
}

/// Lists of two.
fn pairs<T>(
    all: &DeArray<'_>,
    pair: impl Fn(&DeValue<'_>, &DeValue<'_>) -> Result<T, String>,
) -> Result<Vec<T>, String> {
    if all.len() > MOST_PLACES {
        return Err(format!("{} places are more than {MOST_PLACES}", all.len()));
    }
    let each = all
        .iter()
        .enumerate()
        .map(|(place, one)| match one.get_ref() {
            DeValue::Array(two) if two.len() == 2 => pair(two[0].get_ref(), two[1].get_ref())
                .map_err(|why| format!("place {}: {why}", place + 1)),
            _ => Err(format!("place {} is no pair", place + 1)),
        });
    each.collect()
}

fn gap(left: &DeValue<'_>, right: &DeValue<'_>) -> Result<[f64; 2], String> {
    let one = |value| {
        let gap_m = quantity(value, Quantity::Length, None)?;
        match (0.0..=WIDEST_GAP_M).contains(&gap_m) {
            true => Ok(gap_m),
            false => Err("a gap is not within 0 and 1 m".to_owned()),
        }
    };
    Ok([one(left)?, one(right)?])
}

fn counted(plants: &DeValue<'_>, cut: &DeValue<'_>) -> Result<Counted, String> {
    let whole = |value: &DeValue<'_>| match value {
        DeValue::Integer(number) => u64::from_str_radix(number.as_str(), number.radix()).ok(),
        _ => None,
    };
    match (whole(plants), whole(cut)) {
        (Some(plants), Some(cut)) if cut <= plants && (1..=MOST_PLANTS).contains(&plants) => {
            Ok(Counted { plants, cut })
        }
        (Some(plants), Some(cut)) if cut > plants => {
            Err(format!("{cut} plants cut of {plants} looked at"))
        }
        _ => Err(format!(
            "two whole numbers are wanted, the first 1 to {MOST_PLANTS}"
        )),
    }
}
