//! What somebody typed behind the machine: place, row, the gaps either side of it, plants counted, cut, touched.
//!
//! As a table with commas, semicolons or tabs,
//!
//! ```text
//! place; row; left mm; right mm; plants; cut; touched
//! 1; 1; 42; 36; 120; 1; 4
//! 1; 2; 40; 39
//! ```
//!
//! or as TOML:
//!
//! ```toml
//! unit = "mm"
//! [[reading]]
//! place = 1
//! row = 1
//! left = 42
//! right = 36
//! ```
//!
//! Left and right are seen in the direction of travel; a gap runs from the row to the edge beside it. A gap may carry its own unit, `1.5
//! in`. Gaps, or counts, may be left out.

use serde::Deserialize;
use toml::Spanned;

use super::FieldError;
use crate::quote::quoted;

/// Most readings of a notebook (our choice).
pub const MOST_READINGS: usize = 10_000;

/// A gap is never wider, m.
pub const WIDEST_GAP_M: f64 = 1.0;

/// Plants at one place, and what became of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Plants looked at.
    pub plants: u64,
    /// Cut off.
    pub cut: u64,
    /// Touched, and not cut.
    pub touched: u64,
}

/// One line of the notebook.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Line in the file, from 1.
    pub line: usize,
    /// Name of the place.
    pub place: String,
    /// Number of the row, from the left.
    pub row: u32,
    /// Gaps from the row to the edges left and right of it, m.
    pub gaps_m: Option<[f64; 2]>,
    /// Plants counted.
    pub counts: Option<Counts>,
}

impl Reading {
    /// How far the tools stand to the left of the row, m: half the difference of the gaps.
    pub fn tools_left_m(&self) -> Option<f64> {
        self.gaps_m
            .map(|[left_m, right_m]| (left_m - right_m) / 2.0)
    }
}

/// Reads a notebook; the ending of the file does not matter.
pub fn read(text: &str, file: &str) -> Result<Vec<Reading>, FieldError> {
    let text = text.trim_start_matches('\u{feff}');
    let is_toml = text.lines().any(|line| line.trim_start().starts_with("[["));
    let readings = if is_toml {
        of_toml(text, file)?
    } else {
        of_table(text, file)?
    };
    if readings.is_empty() {
        return Err(wrong(
            file,
            1,
            "no reading in the notebook; a line such as \"1; 2; 42 mm; 36 mm\" under \"place; row; left; right\" is wanted",
        ));
    }
    Ok(readings)
}

fn wrong(file: &str, line: usize, what: &str) -> FieldError {
    FieldError::Line {
        file: file.to_owned(),
        line,
        what: what.to_owned(),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Notes {
    unit: Option<String>,
    reading: Vec<Spanned<Entry>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    place: toml::Value,
    row: u32,
    left: Option<toml::Value>,
    right: Option<toml::Value>,
    plants: Option<u64>,
    cut: Option<u64>,
    touched: Option<u64>,
}

fn of_toml(text: &str, file: &str) -> Result<Vec<Reading>, FieldError> {
    let line_at = |byte: usize| {
        text.bytes()
            .take(byte)
            .filter(|byte| *byte == b'\n')
            .count()
            + 1
    };
    let notes: Notes = toml::from_str(text).map_err(|error| {
        let line = error.span().map_or(1, |span| line_at(span.start));
        wrong(file, line, error.message())
    })?;
    let unit = match &notes.unit {
        None => None,
        Some(name) => Some(unit(name).ok_or_else(|| {
            wrong(
                file,
                1,
                &format!("unit = \"{}\" is none of mm, cm, m, in", quoted(name)),
            )
        })?),
    };
    if notes.reading.len() > MOST_READINGS {
        return Err(wrong(
            file,
            1,
            &format!("more than {MOST_READINGS} readings"),
        ));
    }
    let mut lines = Lines {
        text,
        byte: 0,
        line: 1,
    };
    let mut readings = Vec::new();
    for entry in &notes.reading {
        let line = lines.at(entry.span().start);
        let entry = entry.get_ref();
        let cell = |value: &Option<toml::Value>| value.as_ref().map_or_else(String::new, told);
        let number =
            |value: Option<u64>| value.map_or_else(String::new, |number| number.to_string());
        let cells = Cells {
            place: told(&entry.place),
            row: entry.row.to_string(),
            left: cell(&entry.left),
            right: cell(&entry.right),
            plants: number(entry.plants),
            cut: number(entry.cut),
            touched: number(entry.touched),
        };
        readings.push(cells.reading(file, line, [unit; 2])?);
    }
    Ok(readings)
}

/// Counts lines up to places that come in order.
struct Lines<'a> {
    text: &'a str,
    byte: usize,
    line: usize,
}

impl Lines<'_> {
    fn at(&mut self, byte: usize) -> usize {
        let between = self.text.as_bytes().get(self.byte..byte).unwrap_or(&[]);
        self.line += between.iter().filter(|byte| **byte == b'\n').count();
        self.byte = byte.max(self.byte);
        self.line
    }
}

fn told(value: &toml::Value) -> String {
    value
        .as_str()
        .map_or_else(|| value.to_string(), str::to_owned)
}

/// Texts of one reading; empty where there is none.
#[derive(Default)]
struct Cells {
    place: String,
    row: String,
    left: String,
    right: String,
    plants: String,
    cut: String,
    touched: String,
}

const COLUMNS: [&str; 7] = ["place", "row", "left", "right", "plants", "cut", "touched"];

fn of_table(text: &str, file: &str) -> Result<Vec<Reading>, FieldError> {
    let mut header: Option<Header> = None;
    let mut readings = Vec::new();
    for (index, content) in text.lines().enumerate() {
        let (line, content) = (index + 1, content.trim());
        if content.is_empty() || content.starts_with('#') {
            continue;
        }
        let Some((delimiter, at, units)) = &header else {
            header = Some(named(content, file, line)?);
            continue;
        };
        if readings.len() == MOST_READINGS {
            return Err(wrong(
                file,
                line,
                &format!("more than {MOST_READINGS} readings"),
            ));
        }
        let fields: Vec<&str> = content.split(*delimiter).map(str::trim).collect();
        let cell = |i: usize| {
            at[i]
                .and_then(|at| fields.get(at))
                .map_or_else(String::new, |text| (*text).to_owned())
        };
        let cells = Cells {
            place: cell(0),
            row: cell(1),
            left: cell(2),
            right: cell(3),
            plants: cell(4),
            cut: cell(5),
            touched: cell(6),
        };
        readings.push(cells.reading(file, line, *units)?);
    }
    Ok(readings)
}

type Header = (char, [Option<usize>; 7], [Option<f64>; 2]);

fn named(content: &str, file: &str, line: usize) -> Result<Header, FieldError> {
    let delimiter = [';', '\t', ',']
        .into_iter()
        .find(|delimiter| content.contains(*delimiter))
        .unwrap_or(',');
    let mut at = [None; 7];
    let mut units = [None; 2];
    for (place, name) in content.split(delimiter).enumerate() {
        let name = name.trim().to_lowercase();
        let (word, rest) = name
            .split_once([' ', '_', '('])
            .unwrap_or((name.as_str(), ""));
        let Some(column) = COLUMNS.iter().position(|known| *known == word) else {
            let what = format!(
                "the column \"{}\" is not known; wanted are {}",
                quoted(&name),
                COLUMNS.join("; ")
            );
            return Err(wrong(file, line, &what));
        };
        at[column] = Some(place);
        let unit_name = rest
            .trim_start_matches("gap")
            .trim_matches(['_', ' ', '(', ')']);
        if let (2 | 3, Some(unit)) = (column, unit(unit_name)) {
            units[column - 2] = Some(unit);
        }
    }
    if at[0].is_none() || at[1].is_none() {
        return Err(wrong(
            file,
            line,
            "the first line must name the columns, place and row at least, as in \"place; row; left mm; right mm; plants; cut; touched\"",
        ));
    }
    Ok((delimiter, at, units))
}

fn unit(name: &str) -> Option<f64> {
    match name {
        "mm" => Some(1e-3),
        "cm" => Some(1e-2),
        "m" => Some(1.0),
        "in" | "inch" | "inches" => Some(0.0254),
        _ => None,
    }
}

impl Cells {
    fn reading(
        &self,
        file: &str,
        line: usize,
        units: [Option<f64>; 2],
    ) -> Result<Reading, FieldError> {
        let said = |what: String| wrong(file, line, &what);
        if self.place.is_empty() {
            return Err(said(
                "the place has no name; a number or a word is wanted".into(),
            ));
        }
        let row: u32 = self.row.parse().map_err(|_| {
            said(format!(
                "row = \"{}\" is no whole number; rows are counted 1, 2, 3 from the left",
                quoted(&self.row)
            ))
        })?;
        let gaps_m = match (self.left.is_empty(), self.right.is_empty()) {
            (true, true) => None,
            (false, false) => Some([
                gap_m("left", &self.left, units[0]).map_err(said)?,
                gap_m("right", &self.right, units[1]).map_err(said)?,
            ]),
            _ => {
                return Err(said(
                    "one gap is missing: both left and right of the row are needed".into(),
                ));
            }
        };
        let count = |name: &str, text: &str| -> Result<Option<u64>, FieldError> {
            if text.is_empty() {
                return Ok(None);
            }
            let number = text.parse().map_err(|_| {
                said(format!(
                    "{name} = \"{}\" is no whole number of plants",
                    quoted(text)
                ))
            })?;
            Ok(Some(number))
        };
        let (plants, cut, touched) = (
            count("plants", &self.plants)?,
            count("cut", &self.cut)?,
            count("touched", &self.touched)?,
        );
        let counts = match (plants, cut, touched) {
            (None, None, None) => None,
            (None, ..) => {
                return Err(said(
                    "plants cut or touched, and not how many were looked at; give plants".into(),
                ));
            }
            (Some(plants), cut, touched) => Some(Counts {
                plants,
                cut: cut.unwrap_or(0),
                touched: touched.unwrap_or(0),
            }),
        };
        if let Some(counts) = counts
            && counts.cut.saturating_add(counts.touched) > counts.plants
        {
            return Err(said(format!(
                "{} cut and {} touched are more than the {} plants looked at",
                counts.cut, counts.touched, counts.plants
            )));
        }
        Ok(Reading {
            line,
            place: self.place.clone(),
            row,
            gaps_m,
            counts,
        })
    }
}

fn gap_m(name: &str, text: &str, usual: Option<f64>) -> Result<f64, String> {
    let cut = text.find(|c: char| c.is_alphabetic()).unwrap_or(text.len());
    let (number, own) = (text[..cut].trim().replacen(',', ".", 1), text[cut..].trim());
    let metres = if own.is_empty() { usual } else { unit(own) };
    let number: Option<f64> = number.parse().ok();
    match (number, metres) {
        (Some(number), Some(metres)) if (0.0..=WIDEST_GAP_M).contains(&(number * metres)) => {
            Ok(number * metres)
        }
        (Some(_), Some(_)) => Err(format!(
            "the {name} gap {} is not within 0 and 1 m",
            quoted(text)
        )),
        (Some(_), None) => Err(format!(
            "the {name} gap {} has no unit; write \"{name} mm\" in the first line (TOML: unit = \"mm\"), or {} mm",
            quoted(text),
            quoted(text)
        )),
        (None, _) => Err(format!(
            "the {name} gap \"{}\" is no length; 42 mm or 1.5 in are",
            quoted(text)
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_both_kinds_say_the_same() {
        let table = "place; row; left mm; right; plants; cut; touched\n# north end\n1; 1; 42; 3,6 cm; 120; 1; 4\n1; 2; 1.5 in; 39 mm\nend; 1;;; 80; 2\n";
        let toml = "unit = \"mm\"\n[[reading]]\nplace = 1\nrow = 1\nleft = 42\nright = \"3.6 cm\"\nplants = 120\ncut = 1\ntouched = 4\n\
                    [[reading]]\nplace = 1\nrow = 2\nleft = \"1.5 in\"\nright = 39\n[[reading]]\nplace = \"end\"\nrow = 1\nplants = 80\ncut = 2\n";
        let mut one = read(table, "notes.csv").unwrap();
        let mut other = read(toml, "notes.toml").unwrap();
        assert_eq!(
            one.iter().map(|reading| reading.line).collect::<Vec<_>>(),
            [3, 4, 5]
        );
        assert_eq!(
            other.iter().map(|reading| reading.line).collect::<Vec<_>>(),
            [2, 10, 15]
        );
        one.iter_mut()
            .chain(&mut other)
            .for_each(|reading| reading.line = 0);
        assert_eq!(one, other);
        assert!((one[0].tools_left_m().unwrap() - 0.003).abs() < 1e-12);
    }

    #[test]
    fn regress_every_fault_has_its_line_and_a_way_out() {
        for (text, want) in [
            ("", "notes:1: no reading"),
            (
                "place, row, left mm, right mm\n1, x, 4, 5",
                "notes:2: row = \"x\" is no whole number",
            ),
            (
                "place, row, left, right\n1, 1, 4, 5",
                "notes:2: the left gap 4 has no unit",
            ),
            (
                "place, row, left mm, right mm\n1, 1, 4000, 5",
                "notes:2: the left gap 4000 is not within 0 and 1 m",
            ),
            (
                "place, row, left mm, right mm\n1, 1, 4",
                "notes:2: one gap is missing",
            ),
            (
                "place, row, plants, cut\n1, 1, 4, 5",
                "notes:2: 5 cut and 0 touched are more",
            ),
            ("place, row, cut\n1, 1, 4", "notes:2: plants cut or touched"),
            (
                "place, row, gaps\n",
                "notes:1: the column \"gaps\" is not known",
            ),
            ("[[reading]]\nplace = 1\nrow = -1\n", "notes:3: "),
            (
                "[[reading]]\nplace = 1\nrow = 1\nleft = nan\nright = 1\n",
                "notes:1: the left gap \"nan\" is no length",
            ),
        ] {
            let said = read(text, "notes").unwrap_err().to_string();
            assert!(said.starts_with(want), "{said}");
        }
    }
}
