//! What a log tells of the tractor's wander, as a piece of the scenario language.

use std::fmt::Write;

use serde::Serialize;

use super::error::ScenarioError;
use super::fieldnotes::FieldNotes;
use super::units::short;
use super::{Scenario, Units};
use crate::field::hands::{Hands, hands_like};
use crate::field::wander::{Estimate, Wander};
use crate::model::driver::{Driver, HandDriver};
use crate::results::lesson::Predicted;

/// A spectrum that is off by more than this, as standard deviation of its logarithm, is told to be (our choice: a quarter of the power).
pub const FAR_OFF: f64 = 0.25;

/// Speeds at which an observed wander may be told, m/s: 0.5 to 25 km/h.
const SPEEDS_M_S: [f64; 2] = [0.5 / 3.6, 25.0 / 3.6];

/// A wander, m, that may be told as observed.
const WANDERS_M: [f64; 2] = [0.005, 0.5];

/// The rows are said to wander less where the log leaves less than this share of what was said.
const ROWS_LESS: f64 = 0.95;

/// Half of a 95 % interval in standard errors.
const HALF_95: f64 = 1.96;

/// Why a wander does not go into a scenario.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Unwritten {
    /// The log tells only what it is at most, m.
    AtMost(f64),
    /// The scenario's tractor is steered by satellites: a log of the receiver that steers does not see its errors.
    Satellites,
    /// The scenario drives a logged pass again.
    Replay,
    /// No driver of the language wanders so.
    Beyond,
}

/// What a scenario says after something from the field went into it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct IntoScenario {
    /// The file that was written; none where nothing is new.
    pub file: Option<String>,
    /// Keys that say something else, in the order of the language.
    pub changes: Vec<Changed>,
    /// Visits with gaps and counts that came to it.
    pub visits: usize,
    /// Why the wander of the log did not go into it; none where it did, or where there is no log.
    pub unwritten: Option<Unwritten>,
    /// The driver that was fitted to the wander.
    pub driver: Option<Hands>,
    /// Speed of the log, or of the study where the log has no times, m/s.
    pub speed_m_s: Option<f64>,
    /// What the scenario predicted of all that was found.
    pub predicted: Vec<Predicted>,
}

/// A key that says something else.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Changed {
    /// The key.
    pub key: String,
    /// What the scenario said; none where nothing held.
    pub before: Option<String>,
    /// What it says now.
    pub after: String,
}

/// What two scenarios say of the same keys, where it differs.
pub fn changes(keys: &[String], before: &Scenario, after: &Scenario) -> Vec<Changed> {
    let of = |key: &String| {
        let (now, _) = after.value(key)?;
        let before = before.value(key).map(|(written, _)| written);
        (before.as_ref() != Some(&now)).then(|| Changed {
            key: key.clone(),
            before,
            after: now,
        })
    };
    keys.iter().filter_map(of).collect()
}

/// What goes into the scenario.
#[derive(Clone, Debug)]
pub struct FromLog {
    /// As notes that go into a scenario.
    pub notes: FieldNotes,
    /// The driver that was fitted.
    pub hands: Hands,
}

/// Fits the driver of a scenario to the wander of a log that was driven at a speed, m/s.
///
/// # Errors
///
/// Why it cannot be.
pub fn from_log(
    scenario: &Scenario,
    wander: &Wander,
    speed_m_s: f64,
) -> Result<FromLog, Unwritten> {
    let setup = scenario.nominal();
    let hand = match &setup.driver {
        Driver::Hand(hand) => hand,
        Driver::SatelliteLine(_) => return Err(Unwritten::Satellites),
        Driver::Replay(_) => return Err(Unwritten::Replay),
    };
    let Some(noise) = wander.noise() else {
        return Err(Unwritten::AtMost(
            wander.sd_m.upper.unwrap_or(f64::INFINITY),
        ));
    };
    let within = |[least, most]: [f64; 2], value: f64| (least..=most).contains(&value);
    let hands = hands_like(&setup, speed_m_s, &noise)
        .filter(|hands| within(WANDERS_M, hands.about_row_m) && within(SPEEDS_M_S, speed_m_s))
        .ok_or(Unwritten::Beyond)?;
    let told = (hand, setup.rows.wander.sd);
    let text = piece(scenario, wander, &hands, speed_m_s, told);
    let notes =
        FieldNotes::parse(&text, "log.toml").map_err(|_: ScenarioError| Unwritten::Beyond)?;
    Ok(FromLog { notes, hands })
}

fn piece(
    scenario: &Scenario,
    wander: &Wander,
    hands: &Hands,
    speed_m_s: f64,
    (hand, rows_m): (&HandDriver, f64),
) -> String {
    let units = scenario.units();
    let small = |m: f64| match units {
        Units::Metric => format!("\"{} mm\"", short(1e3 * m)),
        Units::Us => format!("\"{} in\"", short(m / 0.0254)),
    };
    let long = |m: f64| match units {
        Units::Metric => format!("\"{} m\"", short(m)),
        Units::Us => format!("\"{} ft\"", short(m / 0.3048)),
    };
    let speed = match units {
        Units::Metric => format!("\"{} km/h\"", short(3.6 * speed_m_s)),
        Units::Us => format!("\"{} mph\"", short(speed_m_s / 0.44704)),
    };
    let mut text = String::new();
    if hands.row_wander_sd_m < ROWS_LESS * rows_m {
        let _ = writeln!(
            text,
            "[rows]\nwander = {{ about = {} }}\n",
            small(hands.row_wander_sd_m)
        );
    }
    text += "[driver.hand]\n";
    let mut line = |key: &str, value: String| {
        let _ = writeln!(text, "{key} = {value}");
    };
    line(
        "shortest_preview",
        measured(hands.preview_m, &wander.reach_m, [2.0, 50.0], &long),
    );
    let preview_s = hands.preview_m / speed_m_s;
    if hand.preview_time_s > preview_s {
        line("preview_time", format!("\"{} s\"", short(preview_s)));
    }
    line("seeing_sd", small(hands.seeing_sd_m));
    line("seeing_length", long(hands.seeing_length_m));
    line(
        "steering_sd",
        format!("\"{} deg\"", short(hands.steering_sd_rad.to_degrees())),
    );
    line(
        "observed_wander",
        measured(hands.about_row_m, &wander.sd_m, WANDERS_M, &small),
    );
    line("observed_at", speed);
    text
}

/// A value as it was measured, with the relative error of what it follows; where limits are missing or reach down to nothing, with half
/// of it.
fn measured(
    value: f64,
    like: &Estimate,
    [least, most]: [f64; 2],
    say: &dyn Fn(f64) -> String,
) -> String {
    let limits = like.value.zip(like.lower).zip(like.upper);
    let share = limits
        .filter(|((value, lower), _)| *lower > 0.0 && *value > 0.0)
        .map_or(0.5, |((_, lower), upper)| {
            0.5 * libm::log(upper / lower) / HALF_95
        });
    // A law that reaches beyond what the language allows is cut there; wider than that it would say nothing.
    let error = (share * value).clamp(0.01 * value, most - least);
    format!("{{ measured = {}, error = {} }}", say(value), say(error))
}
