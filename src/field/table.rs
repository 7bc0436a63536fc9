//! CSV: commas, semicolons or tabs between columns, a decimal point or comma, columns known by name or told.

use std::io::BufRead;

use super::FieldError;
use super::clock::seconds;
use super::log::{DEGREE_M, Fix, Frame, Lines, Logs, Quality, decimals};
use crate::quote::quoted;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Role {
    Latitude,
    Longitude,
    X,
    Y,
    Distance,
    Offset,
    Time,
    Quality,
    Roll,
    Pass,
    Lifted,
}

/// Roles by the name that is told for them, and names that are known, in small letters without anything but letters and digits.
const ROLES: [(Role, &str, &[&str]); 11] = [
    (
        Role::Latitude,
        "latitude",
        &["latitude", "lat", "latdeg", "latitudedeg"],
    ),
    (
        Role::Longitude,
        "longitude",
        &["longitude", "lon", "lng", "long", "londeg", "longitudedeg"],
    ),
    (
        Role::X,
        "x",
        &["xm", "x", "east", "eastm", "easting", "eastingm"],
    ),
    (
        Role::Y,
        "y",
        &["ym", "y", "north", "northm", "northing", "northingm"],
    ),
    (
        Role::Distance,
        "distance",
        &["distancem", "distance", "alongm", "stationm", "chainagem"],
    ),
    (
        Role::Offset,
        "offset",
        &[
            "offsetm",
            "offset",
            "xtem",
            "xte",
            "crosstrack",
            "crosstrackm",
            "crosstrackerror",
            "crosstrackerrorm",
            "xtelinem",
        ],
    ),
    (
        Role::Time,
        "time",
        &[
            "times",
            "time",
            "timestamp",
            "datetime",
            "utc",
            "seconds",
            "ts",
        ],
    ),
    (
        Role::Quality,
        "quality",
        &["quality", "fix", "fixquality", "fixtype", "gpsquality"],
    ),
    (Role::Roll, "roll", &["rolldeg", "roll"]),
    (
        Role::Pass,
        "pass",
        &["pass", "passnumber", "track", "segment"],
    ),
    (Role::Lifted, "lifted", &["lifted", "raised"]),
];

/// Where each role stands in a line.
struct Header {
    delimiter: u8,
    columns: Vec<(Role, usize, String)>,
    frame: Frame,
}

impl Header {
    fn cell<'a>(&self, cells: &[&'a str], role: Role) -> Option<&'a str> {
        let (_, at, _) = self.columns.iter().find(|(known, ..)| *known == role)?;
        Some(cells.get(*at).copied().unwrap_or(""))
    }

    fn name(&self, role: Role) -> &str {
        let found = self.columns.iter().find(|(known, ..)| *known == role);
        found.map_or("", |(_, _, name)| name)
    }

    /// The two numbers of a place, and how many decimals each has at most.
    fn place(
        &self,
        cells: &[&str],
        lines: &Lines<impl BufRead>,
        finest: &mut [usize; 2],
    ) -> Result<[f64; 2], FieldError> {
        let mut place = [0.0; 2];
        for (i, role) in self.frame.roles().into_iter().enumerate() {
            let text = self.cell(cells, role).unwrap_or("");
            place[i] = number(text).ok_or_else(|| {
                let name = quoted(self.name(role));
                lines.wrong(
                    lines.line,
                    &format!("{name} = \"{}\" is no number", quoted(text)),
                )
            })?;
            finest[i] = finest[i].max(decimals(text));
        }
        Ok(place)
    }
}

impl Frame {
    fn roles(self) -> [Role; 2] {
        match self {
            Frame::Earth => [Role::Latitude, Role::Longitude],
            Frame::Local => [Role::X, Role::Y],
            Frame::Track => [Role::Distance, Role::Offset],
        }
    }
}

/// The cells of a line. Without quotes, and there nearly never are any, nothing needs to be copied.
fn cells<'a>(text: &'a str, delimiter: u8, owned: &'a mut Vec<String>) -> Vec<&'a str> {
    if text.contains('"') {
        *owned = fields(text, delimiter);
        owned.iter().map(String::as_str).collect()
    } else {
        text.split(char::from(delimiter)).map(str::trim).collect()
    }
}

/// Names of roles for a message.
pub fn role_names() -> String {
    ROLES.map(|(_, name, _)| name).join(", ")
}

pub(super) fn read(logs: &mut Logs, lines: &mut Lines<impl BufRead>) -> Result<(), FieldError> {
    let mut header: Option<Header> = None;
    let mut last_pass: Option<(String, u32)> = None;
    let mut finest = [0, 0];
    while let Some(text) = next_row(lines)? {
        match &header {
            None => header = Some(named(&logs.columns, lines, &text)?),
            Some(header) => row(logs, lines, header, &text, &mut last_pass, &mut finest)?,
        }
    }
    if let Some(header) = header {
        let step = libm::pow(10.0, -(finest[0].max(finest[1]) as f64));
        logs.written_in(if header.frame == Frame::Earth {
            DEGREE_M * step
        } else {
            step
        });
    }
    Ok(())
}

/// Two numbers and the line that they stand on.
pub struct Point {
    /// Line, from 1.
    pub line: usize,
    /// Both, in the order of the frame: x and y, or distance and offset, m.
    pub at_m: [f64; 2],
}

/// What places a table holds.
pub fn frame(text: &str, file: &str) -> Result<Frame, FieldError> {
    let mut lines = Lines::new(text.as_bytes(), file);
    lines.first_letter()?;
    match next_row(&mut lines)? {
        Some(text) => Ok(named(&[], &lines, &text)?.frame),
        None => Err(lines.wrong(
            lines.line.max(1),
            "the file is empty; a line that names the columns is wanted",
        )),
    }
}

/// Every place of a table in that frame, at most so many, with its line: for lists whose order matters, in which none may be missing.
pub fn points(
    text: &str,
    file: &str,
    wanted: Frame,
    most: usize,
) -> Result<Vec<Point>, FieldError> {
    let found = frame(text, file)?;
    let mut lines = Lines::new(text.as_bytes(), file);
    lines.first_letter()?;
    let mut header: Option<Header> = None;
    let mut points = Vec::new();
    let mut finest = [0, 0];
    while let Some(text) = next_row(&mut lines)? {
        let Some(header) = &header else {
            header = Some(named(&[], &lines, &text)?);
            if found != wanted {
                let columns = match wanted {
                    Frame::Earth => "latitude and longitude",
                    Frame::Local => "x_m and y_m",
                    Frame::Track => "distance_m and offset_m",
                };
                let what = format!("the columns {columns} are wanted");
                return Err(lines.wrong(lines.line, &what));
            }
            continue;
        };
        if points.len() == most {
            let what = format!("more than {most} points; keep every second one, or fewer");
            return Err(lines.wrong(lines.line, &what));
        }
        let mut owned = Vec::new();
        let cells = cells(&text, header.delimiter, &mut owned);
        let at_m = header.place(&cells, &lines, &mut finest)?;
        for (role, value) in header.frame.roles().into_iter().zip(at_m) {
            if value.abs() > super::FARTHEST_M {
                let (name, text) = (header.name(role), header.cell(&cells, role).unwrap_or(""));
                let what = format!(
                    "{} = {} is beyond anything in a field; metres are wanted",
                    quoted(name),
                    quoted(text)
                );
                return Err(lines.wrong(lines.line, &what));
            }
        }
        points.push(Point {
            line: lines.line,
            at_m,
        });
    }
    Ok(points)
}

/// The next line that is neither empty nor a comment.
fn next_row(lines: &mut Lines<impl BufRead>) -> Result<Option<String>, FieldError> {
    while let Some(line) = lines.next_line()? {
        if line.is_empty() || line.starts_with(b"#") {
            continue;
        }
        let Ok(text) = core::str::from_utf8(line) else {
            let line = lines.line;
            return Err(lines.wrong(
                line,
                "this line is no UTF-8 text; save the file as CSV in UTF-8",
            ));
        };
        return Ok(Some(text.to_owned()));
    }
    Ok(None)
}

fn plain(name: &str) -> String {
    name.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect()
}

fn named(
    told: &[(String, String)],
    lines: &Lines<impl BufRead>,
    text: &str,
) -> Result<Header, FieldError> {
    let count = |delimiter: u8| text.bytes().filter(|byte| *byte == delimiter).count();
    // In a tie the first: a semicolon beside commas separates, as the commas may be those of decimals.
    let delimiter = [b';', b'\t', b',']
        .into_iter()
        .rev()
        .max_by_key(|delimiter| count(*delimiter))
        .unwrap_or(b',');
    let names = fields(text, delimiter);
    let mut columns = Vec::new();
    for (role, word, known) in &ROLES {
        let given = told.iter().find(|(name, _)| name == word);
        let at = match given {
            Some((_, wanted)) => {
                let at = names.iter().position(|name| name == wanted);
                if at.is_none() {
                    let what = format!(
                        "no column \"{}\" (told for {word}); this line must name the columns, it has: {}",
                        quoted(wanted),
                        quoted(text)
                    );
                    return Err(lines.wrong(lines.line, &what));
                }
                at
            }
            None => known
                .iter()
                .find_map(|known| names.iter().position(|name| plain(name) == *known)),
        };
        if let Some(at) = at {
            columns.push((*role, at, names[at].clone()));
        }
    }
    let has = |role| columns.iter().any(|(known, ..)| *known == role);
    let frame = if has(Role::Latitude) && has(Role::Longitude) {
        Frame::Earth
    } else if has(Role::Distance) && has(Role::Offset) {
        Frame::Track
    } else if has(Role::X) && has(Role::Y) {
        Frame::Local
    } else {
        let what = format!(
            "no columns with a place are known in \"{}\"; wanted are latitude and longitude (degrees), x_m and y_m, or distance_m and offset_m; \
             others are told with --columns latitude=NAME,longitude=NAME",
            quoted(text)
        );
        return Err(lines.wrong(lines.line, &what));
    };
    Ok(Header {
        delimiter,
        columns,
        frame,
    })
}

/// Fields without blanks and quotes around them; a delimiter between quotes does not count.
fn fields(text: &str, delimiter: u8) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut quoted = false;
    for letter in text.chars() {
        if letter == '"' {
            quoted = !quoted;
        } else if letter == char::from(delimiter) && !quoted {
            out.push(String::new());
        } else if let Some(last) = out.last_mut() {
            last.push(letter);
        }
    }
    for field in &mut out {
        let trimmed = field.trim();
        if trimmed.len() != field.len() {
            *field = trimmed.to_owned();
        }
    }
    out
}

fn number(text: &str) -> Option<f64> {
    let number = text
        .parse::<f64>()
        .or_else(|_| text.replacen(',', ".", 1).parse())
        .ok()?;
    number.is_finite().then_some(number)
}

fn row(
    logs: &mut Logs,
    lines: &Lines<impl BufRead>,
    header: &Header,
    text: &str,
    last_pass: &mut Option<(String, u32)>,
    finest: &mut [usize; 2],
) -> Result<(), FieldError> {
    let mut owned = Vec::new();
    let cells = cells(text, header.delimiter, &mut owned);
    let cell = |role| header.cell(&cells, role);
    if header
        .frame
        .roles()
        .iter()
        .all(|role| cell(*role).unwrap_or("").is_empty())
    {
        logs.without_position += 1;
        return Ok(());
    }
    let place = header.place(&cells, lines, finest)?;
    let time_s = cell(Role::Time).filter(|text| !text.is_empty()).map(|text| {
        seconds(text).or_else(|| number(text)).ok_or_else(|| {
            lines.wrong(lines.line, &format!("the time \"{}\" is none; seconds, 08:15:30 or 2026-05-04T08:15:30Z are wanted", quoted(text)))
        })
    });
    let quality_text = cell(Role::Quality).unwrap_or("");
    if quality_text == "0" {
        logs.without_position += 1;
        return Ok(());
    }
    let fix = Fix {
        x_m: place[0],
        y_m: place[1],
        time_s: time_s.transpose()?,
        quality: quality(quality_text),
        roll_rad: cell(Role::Roll)
            .and_then(number)
            .map(|degrees| degrees.to_radians() as f32),
        part: part(logs, cell(Role::Pass), cell(Role::Lifted), last_pass),
    };
    match header.frame {
        Frame::Earth => logs.push_degrees(place, fix, lines),
        frame => logs.push(frame, fix, lines),
    }
}

/// Pass 0 and lifted stretches lie between passes.
fn part(
    logs: &mut Logs,
    pass: Option<&str>,
    lifted: Option<&str>,
    last: &mut Option<(String, u32)>,
) -> Option<u32> {
    if lifted.is_some_and(|text| matches!(plain(text).as_str(), "1" | "true" | "yes"))
        || pass == Some("0")
    {
        *last = None;
        logs.new_part();
        return None;
    }
    let name = pass.unwrap_or("");
    if let Some((known, part)) = last
        && known == name
    {
        return Some(*part);
    }
    let part = logs.new_part();
    *last = Some((name.to_owned(), part));
    Some(part)
}

fn quality(text: &str) -> Option<Quality> {
    Quality::of_number(text).or_else(|| match plain(text).as_str() {
        "fixed" | "rtk" | "rtkfixed" | "rtkfix" => Some(Quality::Fixed),
        "float" | "rtkfloat" => Some(Quality::Float),
        "dgps" | "dgnss" | "differential" | "sbas" | "ppp" => Some(Quality::Corrected),
        "gps" | "gnss" | "single" | "autonomous" | "3d" => Some(Quality::Alone),
        _ => None,
    })
}
