//! GPX: track points, tag by tag, never the whole file.

use std::io::BufRead;

use super::FieldError;
use super::clock::seconds;
use super::log::{DEGREE_M, Fix, Lines, Logs, Quality, decimals};

/// A point that is not yet closed.
struct Open {
    degrees: [f64; 2],
    step_m: f64,
    time_s: Option<f64>,
    quality: Option<Quality>,
}

/// Reads the points of tracks and routes (`trkpt`, `rtept`); a new segment is a new part.
pub(super) fn read(logs: &mut Logs, lines: &mut Lines<impl BufRead>) -> Result<(), FieldError> {
    let mut open: Option<Open> = None;
    // The text before a tag comes with it: up to `<` it is what the last tag holds.
    let mut inside = String::new();
    lines.line += 1;
    while lines.read_until(b'>')? {
        let piece = String::from_utf8_lossy(lines.buffer()).into_owned();
        let newlines = piece.matches('\n').count();
        let Some((text, tag)) = piece.split_once('<') else {
            lines.line += newlines;
            continue;
        };
        lines.line += newlines;
        if tag.starts_with("!DOCTYPE") {
            return Err(lines.wrong(lines.line, "a GPX file has no document type; take it out"));
        }
        if tag.starts_with("!--") || tag.starts_with('!') || tag.starts_with('?') {
            continue;
        }
        let Some(tag) = tag.strip_suffix('>') else {
            return Err(lines.wrong(
                lines.line,
                "the file ends within a tag: it is cut off; copy it again",
            ));
        };
        let (closes, tag) = tag
            .strip_prefix('/')
            .map_or((false, tag), |tag| (true, tag));
        let alone = tag.ends_with('/');
        let name = tag
            .split(|c: char| c.is_whitespace() || c == '/')
            .next()
            .unwrap_or("");
        let name = name.rsplit(':').next().unwrap_or("").to_owned();
        match (name.as_str(), closes) {
            ("trkseg" | "rte", false) => {
                logs.new_part();
            }
            ("trkpt" | "rtept", false) => {
                open = Some(point(tag, lines)?);
                if alone && let Some(done) = open.take() {
                    push(logs, done, lines)?;
                }
            }
            ("trkpt" | "rtept", true) => {
                if let Some(done) = open.take() {
                    push(logs, done, lines)?;
                }
            }
            ("time", true) if inside == "time" => {
                if let Some(open) = &mut open {
                    open.time_s = seconds(text.trim());
                }
            }
            ("fix", true) if inside == "fix" => {
                if let Some(open) = &mut open {
                    // "2d" and "3d" say nothing of corrections.
                    open.quality = (text.trim() == "dgps").then_some(Quality::Corrected);
                }
            }
            _ => {}
        }
        inside = if closes { String::new() } else { name };
    }
    Ok(())
}

fn push(logs: &mut Logs, open: Open, lines: &Lines<impl BufRead>) -> Result<(), FieldError> {
    logs.written_in(open.step_m);
    let fix = Fix {
        x_m: 0.0,
        y_m: 0.0,
        time_s: open.time_s,
        quality: open.quality,
        roll_rad: None,
        part: Some(logs.part()),
    };
    logs.push_degrees(open.degrees, fix, lines)
}

fn point(tag: &str, lines: &Lines<impl BufRead>) -> Result<Open, FieldError> {
    let number = |name: &str| -> Result<(f64, usize), FieldError> {
        let text = attribute(tag, name).unwrap_or("");
        let wrong = || {
            lines.wrong(
                lines.line,
                &format!(
                    "a point has {name} = \"{}\"; degrees such as 52.1234567 are wanted",
                    crate::quote::quoted(text)
                ),
            )
        };
        let number: f64 = text.trim().parse().map_err(|_| wrong())?;
        Ok((number, decimals(text)))
    };
    let ((latitude, few), (longitude, other)) = (number("lat")?, number("lon")?);
    Ok(Open {
        degrees: [latitude, longitude],
        // A last 0 is often not written: the longer of the two tells the step.
        step_m: DEGREE_M * libm::pow(10.0, -(few.max(other) as f64)),
        time_s: None,
        quality: None,
    })
}

/// The value of an attribute in either kind of quotes.
fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let mut rest = tag;
    loop {
        let at = rest.find(name)?;
        let before = rest[..at]
            .chars()
            .next_back()
            .is_some_and(char::is_whitespace);
        rest = &rest[at + name.len()..];
        let value = rest.trim_start().strip_prefix('=').map(str::trim_start);
        if let (true, Some(value)) = (before, value) {
            let quote = value.chars().next().filter(|c| matches!(c, '"' | '\''))?;
            return value[1..].split_once(quote).map(|(value, _)| value);
        }
    }
}
