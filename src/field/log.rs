//! What every log is read into, and the line by line reading that all formats share.

use std::io::BufRead;

use serde::Serialize;

use super::plane::Plane;
use super::{FieldError, geojson, gpx, nmea, table};

/// Most fixes of all logs together (our choice: 56 hours at 20 a second; they take 230 MB).
pub const MOST_FIXES: usize = 4_000_000;

/// Most bytes of a line or of a tag: what is longer is no log.
pub const LONGEST_LINE: usize = 1 << 16;

/// How sure a receiver was of a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Quality {
    /// Satellites alone, as a phone has them: metres.
    Alone,
    /// With corrections from a satellite or a station: decimetres, and they drift.
    Corrected,
    /// Carrier phase, whole numbers not yet found: decimetres.
    Float,
    /// Carrier phase, fixed: centimetres.
    Fixed,
}

impl Quality {
    /// From the quality number of NMEA 0183 sentences; `None` for no fix, a dead reckoning or a simulation.
    pub fn of_number(number: &str) -> Option<Quality> {
        match number {
            "1" => Some(Quality::Alone),
            "2" | "3" | "9" => Some(Quality::Corrected),
            "4" => Some(Quality::Fixed),
            "5" => Some(Quality::Float),
            _ => None,
        }
    }
}

/// A place at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fix {
    /// To the east, or along the line of a log of offsets, m.
    pub x_m: f64,
    /// To the north, or left of that line, m.
    pub y_m: f64,
    /// Time, s, from any moment on.
    pub time_s: Option<f64>,
    /// What the receiver said of it.
    pub quality: Option<Quality>,
    /// Roll, rad: right side down positive.
    pub roll_rad: Option<f32>,
    /// A part of a log of its own: another file, segment, or pass by number; raised or lifted stretches have none.
    pub part: Option<u32>,
}

/// In which frame the fixes are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Frame {
    /// Latitude and longitude, on a plane.
    Earth,
    /// Metres on a level plane.
    Local,
    /// Distance along a planned line and offset from it.
    Track,
}

/// All logs that were read.
#[derive(Clone, Debug, Default)]
pub struct Logs {
    /// The fixes in the order of the files.
    pub fixes: Vec<Fix>,
    /// Their frame; `None` before the first one.
    pub frame: Option<Frame>,
    /// Step in which places are written, m: of the log that writes them most coarsely.
    pub step_m: Option<f64>,
    /// The same of the log that is being read.
    own_step_m: Option<f64>,
    /// Lines that are spoiled (a wrong checksum, a fix without its numbers) and were left out.
    pub spoiled: u64,
    /// The first of them.
    pub first_spoiled: Option<(String, usize)>,
    /// Fixes without a position, or with a quality of none.
    pub without_position: u64,
    plane: Option<Plane>,
    next_part: u32,
    /// Names of columns that were given: role and name.
    pub columns: Vec<(String, String)>,
}

impl Logs {
    /// None yet, with names of columns that were told: role and name.
    pub fn with_columns(columns: &[(String, String)]) -> Logs {
        Logs {
            columns: columns.to_vec(),
            ..Logs::default()
        }
    }

    /// None yet, on the plane of this one: what is read then lies where it lies among these fixes.
    pub fn beside(&self) -> Logs {
        Logs {
            frame: self.frame,
            plane: self.plane,
            ..Logs::default()
        }
    }

    /// Lines through the places of each part, m.
    pub fn lines_m(&self) -> Vec<Vec<[f64; 2]>> {
        let parts = self.fixes.chunk_by(|a, b| a.part == b.part);
        parts
            .filter(|part| part.len() > 1)
            .map(|part| part.iter().map(|fix| [fix.x_m, fix.y_m]).collect())
            .collect()
    }

    /// Reads one more log; what kind it is its first letters say.
    pub fn read(&mut self, input: impl BufRead, file: &str) -> Result<(), FieldError> {
        let before = self.fixes.len();
        self.new_part();
        self.own_step_m = None;
        let mut lines = Lines::new(input, file);
        let kind = lines.first_letter()?;
        match kind {
            None => return Err(lines.wrong(1, "the file is empty; a log with fixes is wanted")),
            Some(b'$' | b'!') => nmea::read(self, &mut lines)?,
            Some(b'<') => gpx::read(self, &mut lines)?,
            Some(b'{') => geojson::read(self, &mut lines)?,
            Some(_) => table::read(self, &mut lines)?,
        }
        if self.fixes.len() == before {
            let line = lines.line.max(1);
            return Err(lines.wrong(line, &self.nothing_found()));
        }
        if let Some(own_m) = self.own_step_m {
            self.step_m = Some(self.step_m.map_or(own_m, |step_m| step_m.max(own_m)));
        }
        Ok(())
    }

    fn nothing_found(&self) -> String {
        format!(
            "no fix in this file ({} spoiled lines, {} without a position); an NMEA 0183, GPX, CSV or GeoJSON log is wanted",
            self.spoiled, self.without_position
        )
    }

    /// From here on fixes belong to another part.
    pub(super) fn new_part(&mut self) -> u32 {
        self.next_part += 1;
        self.next_part
    }

    /// The part that fixes belong to now.
    pub(super) fn part(&self) -> u32 {
        self.next_part
    }

    /// A place on the Earth, degrees, and the steps in which both are written.
    pub(super) fn push_degrees(
        &mut self,
        degrees: [f64; 2],
        fix: Fix,
        lines: &Lines<impl BufRead>,
    ) -> Result<(), FieldError> {
        let [latitude, longitude] = degrees;
        if !(latitude.abs() <= 90.0 && longitude.abs() <= 180.0) {
            let what = format!(
                "latitude {latitude} and longitude {longitude} are no place on the Earth; degrees are wanted"
            );
            return Err(lines.wrong(lines.line, &what));
        }
        let (a, o) = (latitude.to_radians(), longitude.to_radians());
        let plane = *self.plane.get_or_insert_with(|| Plane::at(a, o));
        let [x_m, y_m] = plane.east_north_m(a, o);
        self.push(Frame::Earth, Fix { x_m, y_m, ..fix }, lines)
    }

    pub(super) fn push(
        &mut self,
        frame: Frame,
        fix: Fix,
        lines: &Lines<impl BufRead>,
    ) -> Result<(), FieldError> {
        if *self.frame.get_or_insert(frame) != frame {
            return Err(lines.wrong(
                lines.line,
                "this log has another kind of places than the one before; read logs of latitude and longitude, of local metres and of offsets apart",
            ));
        }
        if !(fix.x_m.abs() <= crate::field::FARTHEST_M && fix.y_m.abs() <= crate::field::FARTHEST_M)
        {
            let what = format!(
                "a place {:.0} m away lies beyond any field; are the columns those of one place?",
                fix.x_m.abs().max(fix.y_m.abs())
            );
            return Err(lines.wrong(lines.line, &what));
        }
        if self.fixes.len() == MOST_FIXES {
            return Err(lines.wrong(
                lines.line,
                &format!("more than {MOST_FIXES} fixes; read fewer logs at once"),
            ));
        }
        self.fixes.push(fix);
        Ok(())
    }

    /// A step in which a place is written. Last zeros are often left out: the finest of a log is its own.
    pub(super) fn written_in(&mut self, step_m: f64) {
        self.own_step_m = Some(self.own_step_m.map_or(step_m, |step| step.min(step_m)));
    }

    pub(super) fn spoil(&mut self, lines: &Lines<impl BufRead>) {
        self.spoiled += 1;
        let place = || (lines.file.clone(), lines.line);
        self.first_spoiled.get_or_insert_with(place);
    }
}

/// Length of a degree of latitude, m, near enough for a step.
pub(super) const DEGREE_M: f64 = 111_200.0;

/// Digits behind the decimal point.
pub(super) fn decimals(number: &str) -> usize {
    number.split_once(['.', ',']).map_or(0, |(_, after)| {
        after.bytes().take_while(u8::is_ascii_digit).count()
    })
}

/// A file, line by line, never holding more than one.
pub struct Lines<R> {
    input: R,
    /// File as the caller named it.
    pub file: String,
    /// Number of the line that was read last, from 1.
    pub line: usize,
    buffer: Vec<u8>,
}

impl<R: BufRead> Lines<R> {
    /// From the start.
    pub fn new(input: R, file: &str) -> Lines<R> {
        Lines {
            input,
            file: file.to_owned(),
            line: 0,
            buffer: Vec::new(),
        }
    }

    /// An error at a line.
    pub fn wrong(&self, line: usize, what: &str) -> FieldError {
        FieldError::Line {
            file: self.file.clone(),
            line,
            what: what.to_owned(),
        }
    }

    fn unreadable(&self, source: &std::io::Error) -> FieldError {
        FieldError::Read {
            file: self.file.clone(),
            line: self.line + 1,
            said: source.to_string(),
        }
    }

    /// The first letter that is no blank, which stays to be read; blanks, a byte order mark and newlines before it are passed over.
    pub(super) fn first_letter(&mut self) -> Result<Option<u8>, FieldError> {
        loop {
            let bytes = self.input.fill_buf();
            let byte = match bytes {
                Ok(bytes) => bytes.first().copied(),
                Err(source) => {
                    let source = std::io::Error::new(source.kind(), source.to_string());
                    return Err(self.unreadable(&source));
                }
            };
            match byte {
                Some(b'\n') => self.line += 1,
                Some(b' ' | b'\t' | b'\r' | 0xEF | 0xBB | 0xBF) => {}
                other => return Ok(other),
            }
            self.input.consume(1);
        }
    }

    /// The next line without its end, in the bytes it has; `None` behind the last.
    pub fn next_line(&mut self) -> Result<Option<&[u8]>, FieldError> {
        if !self.read_until(b'\n')? {
            return Ok(None);
        }
        self.line += 1;
        Ok(Some(self.buffer.trim_ascii()))
    }

    /// Reads up to and with a byte into the buffer; false at the end of the file.
    pub(super) fn read_until(&mut self, end: u8) -> Result<bool, FieldError> {
        self.buffer.clear();
        loop {
            let (used, done) = match self.input.fill_buf() {
                Ok([]) => (0, true),
                Ok(bytes) => {
                    let found = bytes.iter().position(|byte| *byte == end);
                    let used = found.map_or(bytes.len(), |at| at + 1);
                    self.buffer.extend_from_slice(&bytes[..used]);
                    (used, found.is_some())
                }
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
                Err(error) => {
                    let error = std::io::Error::new(error.kind(), error.to_string());
                    return Err(self.unreadable(&error));
                }
            };
            self.input.consume(used);
            if self.buffer.len() > LONGEST_LINE {
                let what = format!(
                    "more than {LONGEST_LINE} bytes in one line or tag; a log with short lines is wanted"
                );
                return Err(self.wrong(self.line + 1, &what));
            }
            if done {
                return Ok(!self.buffer.is_empty());
            }
        }
    }

    /// What was read last.
    pub(super) fn buffer(&self) -> &[u8] {
        &self.buffer
    }
}
