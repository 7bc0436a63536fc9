//! NMEA 0183: the fixes of GGA, GNS and RMC sentences.

use std::io::BufRead;

use super::FieldError;
use super::clock::packed;
use super::log::{DEGREE_M, Fix, Lines, Logs, Quality, decimals};

/// Seconds of a day.
const DAY_S: f64 = 86_400.0;

/// What a sentence says.
struct Sentence {
    time_s: Option<f64>,
    degrees: [f64; 2],
    step_m: f64,
    quality: Option<Quality>,
}

enum Said {
    Fix(Sentence),
    NoPosition,
    /// Sound, and about something else.
    Other,
    Spoiled,
}

/// Sentences with a wrong checksum, or none, are counted and left out; sound ones of other kinds are passed over. A time of day that
/// falls back by half a day is past midnight: GGA has no date.
pub(super) fn read(logs: &mut Logs, lines: &mut Lines<impl BufRead>) -> Result<(), FieldError> {
    let mut day_s = 0.0;
    let mut last: Option<(f64, usize)> = None;
    while let Some(line) = lines.next_line()? {
        if line.is_empty() {
            continue;
        }
        let sentence = match said(line) {
            Said::Fix(sentence) => sentence,
            Said::NoPosition => {
                logs.without_position += 1;
                continue;
            }
            Said::Other => continue,
            Said::Spoiled => {
                logs.spoil(lines);
                continue;
            }
        };
        let mut time_s = sentence.time_s.map(|time_s| time_s + day_s);
        if let (Some(now_s), Some((before_s, index))) = (&mut time_s, last) {
            if *now_s < before_s - DAY_S / 2.0 {
                day_s += DAY_S;
                *now_s += DAY_S;
            }
            // The same moment in another sentence.
            if *now_s == before_s {
                if let Some(fix) = logs.fixes.get_mut(index) {
                    fix.quality = fix.quality.or(sentence.quality);
                }
                continue;
            }
        }
        logs.written_in(sentence.step_m);
        let fix = Fix {
            x_m: 0.0,
            y_m: 0.0,
            time_s,
            quality: sentence.quality,
            roll_rad: None,
            part: Some(logs.part()),
        };
        logs.push_degrees(sentence.degrees, fix, lines)?;
        if let Some(time_s) = time_s {
            last = Some((time_s, logs.fixes.len() - 1));
        }
    }
    Ok(())
}

fn said(line: &[u8]) -> Said {
    let Some(text) = sound(line) else {
        return Said::Spoiled;
    };
    let fields: Vec<&str> = text.split(',').collect();
    // The first two letters say which satellites; a P is a maker's own sentence.
    let kind = fields[0].get(2..).unwrap_or("");
    if fields[0].starts_with('P') {
        return Said::Other;
    }
    let field = |i: usize| fields.get(i).copied().unwrap_or("");
    let (time, place, quality) = match kind {
        "GGA" => (field(1), 2, Some(field(6))),
        "GNS" => (field(1), 2, None),
        "RMC" => (field(1), 3, None),
        _ => return Said::Other,
    };
    if field(place).is_empty() || quality == Some("0") || (kind == "RMC" && field(2) != "A") {
        return Said::NoPosition;
    }
    let latitude = degrees(field(place), 2, field(place + 1), ["N", "S"]);
    let longitude = degrees(field(place + 2), 3, field(place + 3), ["E", "W"]);
    let (Some(latitude), Some(longitude)) = (latitude, longitude) else {
        return Said::Spoiled;
    };
    let decimals = decimals(field(place)).min(decimals(field(place + 2)));
    Said::Fix(Sentence {
        time_s: packed(time),
        degrees: [latitude, longitude],
        step_m: DEGREE_M / 60.0 * libm::pow(10.0, -(decimals as f64)),
        quality: match kind {
            "GGA" => Quality::of_number(field(6)),
            "GNS" => mode(field(6)),
            _ => mode(field(12)),
        },
    })
}

/// The text between `$` and `*`, if the checksum behind it is right.
fn sound(line: &[u8]) -> Option<&str> {
    let text = core::str::from_utf8(line).ok()?;
    let (text, sum) = text.strip_prefix(['$', '!'])?.split_once('*')?;
    let told = u8::from_str_radix(sum.get(..2)?, 16).ok()?;
    (text.bytes().fold(0, |sum, byte| sum ^ byte) == told).then_some(text)
}

/// Degrees of `ddmm.mmmm` with its side.
fn degrees(text: &str, whole: usize, side: &str, sides: [&str; 2]) -> Option<f64> {
    let (degrees, minutes) = text.split_at_checked(whole)?;
    if !text
        .bytes()
        .all(|byte| byte.is_ascii_digit() || byte == b'.')
    {
        return None;
    }
    let (degrees, minutes): (f64, f64) = (degrees.parse().ok()?, minutes.parse().ok()?);
    let size = degrees + minutes / 60.0;
    match sides.iter().position(|known| *known == side)? {
        _ if minutes >= 60.0 => None,
        0 => Some(size),
        _ => Some(-size),
    }
}

/// The best of the letters, one for each kind of satellites.
fn mode(letters: &str) -> Option<Quality> {
    let quality = |letter| match letter {
        'R' => Some(Quality::Fixed),
        'F' => Some(Quality::Float),
        'D' | 'P' => Some(Quality::Corrected),
        'A' => Some(Quality::Alone),
        _ => None,
    };
    letters.chars().filter_map(quality).max()
}
