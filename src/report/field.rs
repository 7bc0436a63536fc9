//! What logs, tape and counts say, in words, and as JSON.

use crate::field::Findings;
use crate::field::log::Quality;
use crate::field::moves::{Move, Verdict as ToDo, What};
use crate::field::receiver::{Receiver, Verdict};
use crate::field::wander::{Estimate, Wander};

use super::File;
use super::display::{Units, fixed, grouped};
use super::lesson::{against, lesson_text};
use super::svg::predicted::predicted;
use super::svg::wander::pictures;
use crate::field::Tracks;
use crate::results::lesson::{Lesson, Predicted, Which};
use crate::scenario::fromlog::{FAR_OFF, IntoScenario, Unwritten};

/// For whoever moves tools after reading this.
const BEFORE_MOVING: &str = "Before anything is moved: engine off, oil without pressure, implement lowered and blocked. The makers' manuals and local rules come first.";

/// A wander that is damped less is a sine rather than a noise (our choice: a quarter more than the least that is tried).
const LIKE_A_SINE: f64 = 0.25;

/// All numbers in SI units.
pub fn field_json(
    findings: &Findings,
    into: Option<&IntoScenario>,
) -> Result<String, serde_json::Error> {
    #[derive(serde::Serialize)]
    struct Whole<'a> {
        #[serde(flatten)]
        findings: &'a Findings,
        #[serde(skip_serializing_if = "Option::is_none")]
        scenario: Option<&'a IntoScenario>,
    }
    let whole = Whole {
        findings,
        scenario: into,
    };
    Ok(serde_json::to_string_pretty(&whole)? + "\n")
}

/// The picture of what was predicted against what was found; none where nothing was predicted.
pub fn predicted_file(into: &IntoScenario, units: Units) -> Option<File> {
    let picture = predicted(&into.predicted, units)?;
    Some(File::new(
        format!("{}.svg", picture.name),
        picture.standalone(),
    ))
}

/// What the scenario `from` learns: predicted against found, what changes in it, and where it was written.
pub fn into_text(into: &IntoScenario, lesson: Option<&Lesson>, units: Units, from: &str) -> String {
    let mut out = match lesson {
        Some(lesson) => lesson_text(lesson),
        None => String::new(),
    };
    // The lesson tells of gaps and counts; what is left is the wander.
    let wander: Vec<Predicted> = (into.predicted.iter())
        .filter(|one| one.which == Which::Wander)
        .cloned()
        .collect();
    out += &against(&wander, units);
    if let Some(one) = wander.iter().find(|one| !one.agrees) {
        out += &format!(
            "  The likeliest cause: the driver's eye and hand are {} than {from} says. The fitted ones below answer it; another log, with another driver \
             or on another day, would tell whether they stay.\n",
            if one.found > one.predicted.p50 {
                "less steady"
            } else {
                "steadier"
            }
        );
    }
    if let Some(why) = into.unwritten {
        out += &format!("\n{}\n", unwritten(why, units));
    }
    if !into.changes.is_empty() {
        out += &format!("\nWhat changes in {from}\n");
        for change in &into.changes {
            let before = change.before.as_deref().unwrap_or("nothing");
            out += &format!("  {}: {before} -> {}\n", change.key, change.after);
        }
    }
    if let Some(driver) = &into.driver {
        out += &format!(
            "  Eye and hand are fitted so that the simulated tractor wanders by {} about its line as the log says, by {} about the row{}.\n",
            units.small_text(driver.about_line_m),
            units.small_text(driver.about_row_m),
            if driver.off > FAR_OFF {
                ", though over other distances than in the log: no driver of this program sways just so"
            } else {
                ""
            }
        );
    }
    match &into.file {
        Some(file) => {
            let visits = match into.visits {
                0 => "",
                _ => " and the notes",
            };
            out += &format!(
                "{file} is written: {from} with this{visits} in it, its comments kept. The next study starts from there: rowroom study {file}\n"
            );
        }
        None => out += &format!("Nothing of this changes {from}: nothing was written.\n"),
    }
    out
}

fn unwritten(why: Unwritten, units: Units) -> String {
    match why {
        Unwritten::AtMost(most_m) => format!(
            "The wander is not written into the scenario: this log tells only that it is at most {}.",
            units.small_text(most_m)
        ),
        Unwritten::Satellites => "The wander is not written into the scenario: its tractor is steered by satellites, and the receiver that steers does not see \
                                  its own errors."
            .to_owned(),
        Unwritten::Replay => "The wander is not written into the scenario: it drives a logged pass again (--replay) and draws none.".to_owned(),
        Unwritten::Beyond => "The wander is not written into the scenario: no driver that keeps to a row wanders so at this speed. Is the log one of this tractor \
                              in these rows?"
            .to_owned(),
    }
}

/// Pictures of the wander, as files.
pub fn field_files(tracks: &Tracks) -> Vec<File> {
    let file = |picture: &super::svg::Picture| {
        File::new(format!("{}.svg", picture.name), picture.standalone())
    };
    pictures(tracks).iter().map(file).collect()
}

/// The answer on a terminal: what to do first, then what it rests on.
pub fn field_text(findings: &Findings) -> String {
    let mut out = String::new();
    if !findings.moves.is_empty() {
        moves(findings, &mut out);
    }
    if let Some(receiver) = &findings.receiver {
        wander(receiver, findings, &mut out);
    }
    if !findings.counts.is_empty() {
        counts(findings, &mut out);
    }
    out
}

fn mm(length_m: f64) -> String {
    fixed(1e3 * length_m, 0)
}

fn cm(length_m: f64) -> String {
    fixed(1e2 * length_m, 1)
}

fn inches(length_m: f64) -> String {
    fixed(length_m / 0.0254, 2)
}

fn range(estimate: &Estimate, say: fn(f64) -> String, unit: &str) -> String {
    let end = |end: Option<f64>| end.map_or_else(|| "not bounded".to_owned(), say);
    match estimate.value {
        Some(value) if estimate.lower.is_none() && estimate.upper.is_none() => {
            format!("{} {unit} (no limits: too few readings)", say(value))
        }
        Some(value) => format!(
            "{} {unit} (95 %: {} to {})",
            say(value),
            end(estimate.lower),
            end(estimate.upper)
        ),
        None => match estimate.upper {
            Some(upper) => format!("at most {} {unit}", say(upper)),
            None => "not known".to_owned(),
        },
    }
}

fn moves(findings: &Findings, out: &mut String) {
    *out += "What to move\n";
    for one in &findings.moves {
        *out += &format!("  {}\n", said(one));
    }
    if findings.moves.iter().any(|one| one.verdict == ToDo::Move) {
        *out += &format!("  {BEFORE_MOVING}\n");
    }
    let line = |name: &str, estimate: &Option<Estimate>| {
        let told = estimate.as_ref().map_or_else(
            || "not known".to_owned(),
            |estimate| range(estimate, mm, "mm"),
        );
        format!("  {name:<34} {told}\n")
    };
    *out += &format!(
        "Tape at {} places (tools left of the row positive)\n",
        findings.places
    );
    *out += &line("alignment common to all rows", &findings.alignment_error_m);
    *out += &line(
        "tool error from place to place, sd",
        &findings.tool_error_sd_m,
    );
    *out += &line("scatter left over, sd", &findings.scatter_sd_m);
    for row in &findings.row_offsets {
        *out += &line(
            &format!("row {} against the mean row", row.row),
            &Some(row.offset_m),
        );
    }
    *out += "\n";
}

fn said(one: &Move) -> String {
    let what = match one.what {
        What::Alignment => "All tools together (camera or frame alignment)".to_owned(),
        What::Row(row) => format!("Tools of row {row}"),
    };
    let way = if one.by_m > 0.0 { "left" } else { "right" };
    let size = one.by_m.abs();
    match one.verdict {
        ToDo::Move => {
            let ends = one
                .lower_m
                .zip(one.upper_m)
                .map_or_else(String::new, |(low, high)| {
                    let (low, high) = (low.abs().min(high.abs()), low.abs().max(high.abs()));
                    format!(" (95 %: {} to {} mm)", mm(low), mm(high))
                });
            format!(
                "{what}: {} mm = {} in to the {way}{ends}.",
                mm(size),
                inches(size)
            )
        }
        ToDo::Leave => format!("{what}: leave it, {} mm is not worth moving.", mm(size)),
        ToDo::Open => match one.places_more {
            Some(1) => {
                format!("{what}: not settled; about one place more would tell it within 5 mm.")
            }
            Some(more) => {
                format!("{what}: not settled; about {more} places more would tell it within 5 mm.")
            }
            None => format!(
                "{what}: not settled, and these readings cannot say how many more would do: read several rows at more places."
            ),
        },
    }
}

fn wander(receiver: &Receiver, findings: &Findings, out: &mut String) {
    *out += "Wander of the tractor\n";
    *out += &format!("  {}\n", verdict(receiver));
    if let Some(wander) = &findings.wander {
        fitted(wander, findings, out);
    }
    *out += "Receiver\n";
    let quality = match receiver.quality {
        Some(Quality::Fixed) => "carrier phase, fixed",
        Some(Quality::Float) => "carrier phase, not fixed (float)",
        Some(Quality::Corrected) => "with corrections (differential)",
        Some(Quality::Alone) => "satellites alone",
        None => "not told by the log",
    };
    *out += &format!("  quality                            {quality}\n");
    if let Some(rate_hz) = receiver.rate_hz {
        *out += &format!(
            "  rate                               {} a second\n",
            fixed(rate_hz, 1)
        );
    }
    if let Some(step_m) = receiver.step_m {
        *out += &format!(
            "  places written in steps of         {} mm\n",
            fixed(1e3 * step_m, 1)
        );
    }
    if let (Some(sd_m), Some(time_s)) = (receiver.drift_sd_m, receiver.drift_time_s) {
        *out += &format!(
            "  drift of the parked log            sd {} cm over {} s, taken off\n",
            cm(sd_m),
            fixed(time_s, 0)
        );
    }
    *out += &format!(
        "  fixes read                         {}\n",
        grouped(receiver.fixes as u64)
    );
    if receiver.spoiled_lines > 0 {
        *out += &format!(
            "  spoiled lines left out             {}\n",
            grouped(receiver.spoiled_lines)
        );
    }
    passes(findings, out);
    *out += "\n";
}

fn fitted(wander: &Wander, findings: &Findings, out: &mut String) {
    *out += &format!(
        "  sd about the planned line          {}\n",
        range(&wander.sd_m, cm, "cm")
    );
    if wander.sd_m.value.is_some() {
        let two = |value: f64| fixed(value, 2);
        *out += &format!(
            "  reach                              {}\n",
            range(&wander.reach_m, |m| fixed(m, 1), "m")
        );
        *out += &format!(
            "  damping (1: does not sway)         {}\n",
            range(&wander.damping, two, "").replace("  (", " (")
        );
        *out += &format!(
            "  noise of a single fix, sd          {} cm\n",
            cm(wander.receiver_noise_sd_m)
        );
    }
    if let Some((damping, reach_m)) = (wander.damping.value)
        .zip(wander.reach_m.value)
        .filter(|(damping, _)| *damping < LIKE_A_SINE)
    {
        *out += &format!(
            "  This sways with a wavelength of {} m, more like a sine than a noise (damping {} is about the least that is tried): the limits above hold less, and\n  \
             steering that hunts is to be looked for.\n",
            fixed(core::f64::consts::TAU * reach_m, 0),
            fixed(damping, 2)
        );
    }
    *out += &format!(
        "  from {} of {} passes, {} points\n",
        wander.passes,
        findings.passes.len(),
        grouped(wander.points as u64)
    );
}

fn verdict(receiver: &Receiver) -> String {
    match receiver.verdict {
        Verdict::Wander => match receiver.spacing_m {
            Some(spacing_m) if spacing_m > 1.0 => format!(
                "This log carries how far the tractor wanders; a fix each {} m is too seldom to tell the shape (damping) well: 5 fixes a second would.",
                fixed(spacing_m, 1)
            ),
            _ => "This log carries how far the tractor wanders, and over which distance.".to_owned(),
        },
        Verdict::UpperLimit => "Only an upper limit: a receiver without a fixed carrier phase drifts, and drift looks like wander. Log 10 minutes with the \
                                tractor parked and add --parked FILE, or tell what the receiver showed with --quality fixed."
            .to_owned(),
        Verdict::SatellitesAlone => "Nothing can be told: satellites alone, as in a phone, are off by metres. A receiver with carrier-phase corrections is needed.".to_owned(),
        Verdict::TooCoarse => "Nothing can be told: the places are written in too coarse steps. Write degrees with 7 decimals, minutes with 5 or more.".to_owned(),
        Verdict::TooWide => "Nothing can be told: the passes spread by more than half a metre about their lines. Do the rows bend (--line arc), or are the \
                             columns wrong?"
            .to_owned(),
        Verdict::NoPass => "Nothing can be told: no pass of 50 m or more was found between turns, lifts and holes of the log.".to_owned(),
    }
}

fn passes(findings: &Findings, out: &mut String) {
    const SHOWN: usize = 20;
    if findings.passes.is_empty() {
        return;
    }
    *out += "Passes\n  number  points  length m  sd cm  line\n";
    for (i, pass) in findings.passes.iter().take(SHOWN).enumerate() {
        let line = pass.radius_m.map_or_else(
            || "straight".to_owned(),
            |radius_m| format!("arc, radius {} m", fixed(radius_m.abs(), 0)),
        );
        *out += &format!(
            "  {:>6}  {:>6}  {:>8}  {:>5}  {line}\n",
            i + 1,
            pass.points,
            fixed(pass.length_m, 0),
            cm(pass.sd_m)
        );
    }
    if findings.passes.len() > SHOWN {
        *out += &format!(
            "  and {} more (--json has them all)\n",
            findings.passes.len() - SHOWN
        );
    }
}

fn counts(findings: &Findings, out: &mut String) {
    *out += "Plants counted\n  row  plants  cut  touched\n";
    for row in &findings.counts {
        *out += &format!(
            "  {:>3}  {:>6}  {:>3}  {:>7}\n",
            row.row, row.plants, row.cut, row.touched
        );
    }
}
