//! Tables for spreadsheets and scripts: a header line, then one line per row, SI units, nothing rounded.
//!
//! Missing is empty, never 0. Lines end with LF; a text with a comma, a quote or a line end stands in quotes (RFC 4180).

use crate::results::Rate;
use crate::sim::trace::Trace;

/// Rates under the keys of `rates[]` in `results.json`, those of its shares joined by a dot.
pub fn rates_csv(rates: &[Rate]) -> String {
    let header = "controller,speed_m_s,clearance_m,stretch,cut.rate,cut.lower,cut.upper,touched.rate,touched.lower,touched.upper,plants,passes,resolved";
    table(
        header,
        rates.iter().map(|rate| {
            let (cut, touched) = (&rate.cut, &rate.touched);
            [
                text(rate.controller.name()),
                rate.speed_m_s.to_string(),
                rate.clearance_m.to_string(),
                rate.stretch.name().to_owned(),
                cut.rate.to_string(),
                cut.lower.to_string(),
                cut.upper.to_string(),
                touched.rate.to_string(),
                touched.lower.to_string(),
                touched.upper.to_string(),
                rate.plants.to_string(),
                rate.passes.to_string(),
                rate.resolved.to_string(),
            ]
        }),
    )
}

/// The samples of a pass, one line per tick.
pub fn trace_csv(trace: &Trace) -> String {
    let header = "time_s,station_m,axle_m,heading_rad,row_m,frame_m,wanted_shift_m,shift_m,tool_error_m,command,seen";
    table(
        header,
        trace.samples.iter().map(|sample| {
            [
                sample.time_s.to_string(),
                sample.station_m.to_string(),
                sample.axle_m.to_string(),
                sample.heading_rad.to_string(),
                sample.row_m.to_string(),
                sample.frame_m.to_string(),
                sample.wanted_shift_m.to_string(),
                sample.shift_m.to_string(),
                sample.tool_error_m.to_string(),
                sample.command.to_string(),
                sample.seen.to_string(),
            ]
        }),
    )
}

/// The plants of a pass, one line each; rows count from 1 at the left.
pub fn plants_csv(trace: &Trace) -> String {
    let header = "row,station_m,lateral_m,needed_clearance_m,fate";
    table(
        header,
        trace.plants.iter().map(|plant| {
            [
                (plant.row + 1).to_string(),
                plant.station_m.to_string(),
                plant.lateral_m.to_string(),
                plant
                    .needed_clearance_m
                    .map_or(String::new(), |value| value.to_string()),
                plant.fate.name().to_owned(),
            ]
        }),
    )
}

pub(super) fn table<R: AsRef<[String]>>(header: &str, rows: impl Iterator<Item = R>) -> String {
    let mut out = format!("{header}\n");
    for row in rows {
        out.push_str(&row.as_ref().join(","));
        out.push('\n');
    }
    out
}

pub(super) fn text(field: &str) -> String {
    if field.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_rates_read_back_to_the_same_rows() {
        let results = synthetic::results();
        let csv = rates_csv(&results.rates);
        let mut lines = csv.lines();
        let keys: Vec<&str> = lines.next().unwrap().split(',').collect();
        let mut read = Vec::new();
        for line in lines {
            let fields: Vec<&str> = line.split(',').collect();
            assert_eq!(fields.len(), keys.len());
            let mut row = serde_json::Map::new();
            for (key, field) in keys.iter().zip(&fields) {
                let value = serde_json::from_str(field).unwrap_or_else(|_| (*field).into());
                match key.split_once('.') {
                    Some((share, part)) => {
                        row.entry(share).or_insert_with(|| serde_json::json!({}))[part] = value
                    }
                    None => drop(row.insert((*key).into(), value)),
                }
            }
            read.push(serde_json::from_value::<Rate>(row.into()).unwrap());
        }
        assert_eq!(read, results.rates);
    }

    #[test]
    fn prop_every_sample_and_plant_of_a_pass_is_written_with_every_digit() {
        let trace = &synthetic::traces()[0];
        let csv = trace_csv(trace);
        assert_eq!(csv.lines().count(), trace.samples.len() + 1);
        let last: Vec<f64> = csv
            .lines()
            .last()
            .unwrap()
            .split(',')
            .take(10)
            .map(|field| field.parse().unwrap())
            .collect();
        let sample = trace.samples.last().unwrap();
        assert_eq!(last[0], sample.time_s);
        assert_eq!(last[5], sample.frame_m);
        assert_eq!(last[8], sample.tool_error_m);
        assert_eq!(plants_csv(trace).lines().count(), trace.plants.len() + 1);
    }

    #[test]
    fn analytic_fields_are_quoted_by_rfc_4180() {
        assert_eq!(text("a,\"b\""), "\"a,\"\"b\"\"\"");
        assert_eq!(text("pid"), "pid");
    }
}
