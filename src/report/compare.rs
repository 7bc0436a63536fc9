//! Two machines side by side, on a terminal and as JSON.

use super::ReportError;
use super::display::{
    Units, chosen_percent, controller_title, grouped, limit_in_words, plants_apart, points,
};
use super::text::{WIDTH, aligned, bare, wrapped};
use crate::report::words::reasons::reason;
use crate::results::answers::{Comparison, Pair, Pays};
use crate::results::finite::first_not_finite;

/// The comparison as JSON, SI units.
///
/// # Errors
///
/// A number that is not finite.
pub fn comparison_json(comparison: &Comparison) -> Result<String, ReportError> {
    if let Some(key) = first_not_finite(comparison) {
        return Err(ReportError::NotFinite { key });
    }
    Ok(serde_json::to_string_pretty(comparison)? + "\n")
}

/// The comparison in plain words, the answer first.
pub fn comparison_text(comparison: &Comparison) -> String {
    let units = comparison.first.units;
    let mut out = String::new();
    let mut paragraph = |text: &str| out.push_str(&wrapped(text, WIDTH));
    paragraph(&format!(
        "First: {} ({}). Second: {} ({}).",
        comparison.first.name,
        comparison.first.file,
        comparison.second.name,
        comparison.second.file
    ));
    paragraph("");
    if let Some(best) = comparison.pairs.first() {
        paragraph(&verdict(comparison, best, units));
    }
    paragraph("");
    paragraph(&format!(
        "Highest simulated speed that keeps the allowed {} with the tools {} from the row, what the second machine gains on it, and by how \
         much closer its tools may run at {}; in brackets the {} limits. The first line is each machine with its best controller.",
        limit_in_words(comparison.allowed_cut_rate),
        units.clearance(comparison.working_clearance_m),
        units.speed_text(comparison.working_speed_m_s),
        chosen_percent(comparison.level),
    ));
    paragraph("");
    let mut rows = vec![vec![
        "First".to_owned(),
        "Second".to_owned(),
        format!("First, {}", units.speed_unit()),
        "gained".to_owned(),
        format!("room gained, {}", units.small_unit()),
    ]];
    rows.extend(comparison.pairs.iter().map(|pair| gain_row(pair, units)));
    out.push_str(&aligned(&rows));

    let mut paragraph = |text: &str| out.push_str(&wrapped(text, WIDTH));
    paragraph("");
    paragraph(&format!(
        "Plants cut in % on the whole row at {}, in brackets the upper {} limit, and the difference pass by pass in percentage points (one is 1 plant in 100) with its limits:",
        units.speed_text(comparison.working_speed_m_s),
        chosen_percent(comparison.level),
    ));
    paragraph("");
    let mut rows = vec![
        [
            "First",
            "Second",
            "First, %",
            "Second, %",
            "difference, points",
        ]
        .map(str::to_owned)
        .to_vec(),
    ];
    rows.extend(comparison.pairs.iter().map(rate_row));
    out.push_str(&aligned(&rows));

    let mut paragraph = |text: &str| out.push_str(&wrapped(text, WIDTH));
    paragraph("");
    paragraph(&format!(
        "Seed {}, {} passes at each speed. A simulated speed is not a permission: makers' manuals, local rules and what you see in the \
         field come first.",
        comparison.seed,
        grouped(comparison.passes),
    ));
    out
}

/// Which machine allows more, and what is open.
fn verdict(comparison: &Comparison, best: &Pair, units: Units) -> String {
    let gains = &best.gains;
    let least = if gains.at_least { "at least " } else { "" };
    let speed = |gain: f64| {
        format!(
            "{least}{} {}",
            units.speed_gain(gain.abs()),
            units.speed_unit()
        )
    };
    match (gains.speed_gain_m_s, gains.lower, gains.upper) {
        (Some(gain), Some(lower), _) if lower > 0.0 => {
            format!("The second machine allows more speed: {}.", speed(gain))
        }
        (Some(gain), _, Some(upper)) if upper < 0.0 => {
            format!("The first machine allows more speed: {}.", speed(gain))
        }
        (Some(_), _, _) if gains.at_least => format!(
            "Both allow every simulated speed up to the end of the list, or these passes do not tell them apart there; at {} the second one \
             cuts {}.",
            units.speed_text(comparison.working_speed_m_s),
            plants_apart(best.difference.value),
        ),
        (Some(_), _, _) => {
            "These passes do not tell which machine allows more speed; more of them would (--passes).".into()
        }
        (None, _, _) => gains
            .reason
            .as_ref()
            .map_or_else(String::new, |why| reason(why, units)),
    }
}

fn titles(pair: &Pair) -> [String; 2] {
    [&pair.first_controller, &pair.second_controller].map(|name| controller_title(*name).to_owned())
}

fn gain_row(pair: &Pair, units: Units) -> Vec<String> {
    let gains: &Pays = &pair.gains;
    let least = if gains.at_least { ">= " } else { "" };
    let none = || "none".to_owned();
    let gained = |gain: Option<f64>,
                  lower: Option<f64>,
                  upper: Option<f64>,
                  show: &dyn Fn(f64) -> String| {
        match (gain, lower, upper) {
            (Some(gain), Some(lower), Some(upper)) => {
                format!("{} ({} to {})", show(gain), show(lower), show(upper))
            }
            _ => none(),
        }
    };
    let [first, second] = titles(pair);
    let speed = gains.base_speed_m_s.map(|m_s| units.speed_limit(m_s));
    vec![
        first,
        second,
        speed.unwrap_or_else(none),
        format!(
            "{least}{}",
            gained(gains.speed_gain_m_s, gains.lower, gains.upper, &|m_s| units
                .speed_gain(m_s))
        ),
        gained(
            gains.clearance_gain_m,
            gains.clearance_lower_m,
            gains.clearance_upper_m,
            &|m| units.small_number(m),
        ),
    ]
}

fn rate_row(pair: &Pair) -> Vec<String> {
    let [first, second] = titles(pair);
    let with_upper = |value: f64, upper: f64| format!("{} ({})", bare(value), bare(upper));
    let difference = &pair.difference;
    let [apart, lower, upper] = points(difference.value, difference.lower, difference.upper);
    vec![
        first,
        second,
        with_upper(pair.first_rate.value, pair.first_rate.upper),
        with_upper(pair.second_rate.value, pair.second_rate.upper),
        format!("{apart} ({lower} to {upper})"),
    ]
}
