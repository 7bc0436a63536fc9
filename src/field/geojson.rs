//! GeoJSON: lines, as a log without times or as planned lines.

use std::io::BufRead;

use serde_json::Value;

use super::FieldError;
use super::log::{Fix, Lines, Logs};

/// Most bytes of a GeoJSON file: unlike the other kinds it can only be read whole (our choice).
const MOST_BYTES: usize = 64 << 20;

/// Reads every line; each is a part of its own.
pub(super) fn read(logs: &mut Logs, lines: &mut Lines<impl BufRead>) -> Result<(), FieldError> {
    let mut text = Vec::new();
    // Every place ends with one, so that no piece is long.
    while lines.read_until(b']')? {
        text.extend_from_slice(lines.buffer());
        if text.len() > MOST_BYTES {
            return Err(lines.wrong(
                1,
                "larger than 64 MiB; as CSV or GPX a log of any size is read",
            ));
        }
    }
    let value: Value = serde_json::from_slice(&text).map_err(|error| {
        let what = format!("no GeoJSON ({error}); a LineString is wanted");
        lines.wrong(error.line().max(1), &what)
    })?;
    lines.line = 1;
    geometry(logs, lines, &value)
}

fn geometry(logs: &mut Logs, lines: &Lines<impl BufRead>, value: &Value) -> Result<(), FieldError> {
    let list = |key: &str| {
        value
            .get(key)
            .and_then(Value::as_array)
            .map_or(&[][..], |list| list)
    };
    match value.get("type").and_then(Value::as_str).unwrap_or("") {
        "FeatureCollection" => list("features")
            .iter()
            .try_for_each(|item| geometry(logs, lines, item)),
        "GeometryCollection" => list("geometries")
            .iter()
            .try_for_each(|item| geometry(logs, lines, item)),
        "Feature" => value
            .get("geometry")
            .map_or(Ok(()), |item| geometry(logs, lines, item)),
        "LineString" => line(logs, lines, list("coordinates")),
        "MultiLineString" => list("coordinates")
            .iter()
            .try_for_each(|item| line(logs, lines, item.as_array().map_or(&[][..], |list| list))),
        // Points and areas beside the lines are no fault.
        _ => Ok(()),
    }
}

fn line(logs: &mut Logs, lines: &Lines<impl BufRead>, places: &[Value]) -> Result<(), FieldError> {
    let part = Some(logs.new_part());
    for (number, place) in places.iter().enumerate() {
        let number_at = |i: usize| place.get(i).and_then(Value::as_f64);
        let (Some(longitude), Some(latitude)) = (number_at(0), number_at(1)) else {
            let what = format!(
                "point {} of a line is not [longitude, latitude]",
                number + 1
            );
            return Err(lines.wrong(1, &what));
        };
        let fix = Fix {
            x_m: 0.0,
            y_m: 0.0,
            time_s: None,
            quality: None,
            roll_rad: None,
            part,
        };
        logs.push_degrees([latitude, longitude], fix, lines)?;
    }
    Ok(())
}
