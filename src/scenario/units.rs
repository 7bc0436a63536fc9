//! Quantities as people write them: a number and a unit.
//!
//! Factors are exact by definition unless stated: inch, foot, mile, pound-force and US gallon from the international
//! definitions as listed in NIST SP 811 (2008), appendix B. Each factor is kept as a ratio of two exact numbers, so that
//! "38 mm" gives the same bits as the literal 0.038.

use crate::quote::quoted;

/// What a number measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Length, m.
    Length,
    /// Speed, m/s.
    Speed,
    /// Time, s.
    Time,
    /// Time between two frames, s, or frames per second.
    FrameTime,
    /// Angle, rad.
    Angle,
    /// Side slope, rad, or its grade in per cent.
    Slope,
    /// Rate of an angle, rad/s.
    AngleRate,
    /// Natural frequency, rad/s.
    Frequency,
    /// Gain from a length to a speed, 1/s.
    Gain,
    /// Pressure, Pa.
    Pressure,
    /// Flow, m³/s.
    Flow,
    /// Force, N.
    Force,
    /// Area, m².
    Area,
    /// Number per area, 1/m².
    Density,
    /// Power, W.
    Power,
    /// Share, 0 to 1, or per cent.
    Share,
    /// Number without unit.
    Number,
}

/// How a unit turns into SI.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Scale {
    /// Times the first, over the second.
    Ratio(f64, f64),
    /// One over the number.
    Inverse,
    /// Rise over run in per cent.
    Grade,
}

/// A unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// The way this program writes it.
    pub name: &'static str,
    /// Other ways in which people write it.
    pub aliases: &'static [&'static str],
    scale: Scale,
}

const fn unit(name: &'static str, aliases: &'static [&'static str], num: f64, den: f64) -> Unit {
    Unit {
        name,
        aliases,
        scale: Scale::Ratio(num, den),
    }
}

use core::f64::consts::PI;

const LENGTH: &[Unit] = &[
    unit("m", &["metre", "meter", "metres", "meters"], 1.0, 1.0),
    unit("cm", &[], 1.0, 100.0),
    unit("mm", &[], 1.0, 1000.0),
    unit("in", &["\"", "inch", "inches"], 254.0, 10_000.0),
    unit("ft", &["'", "foot", "feet"], 3048.0, 10_000.0),
];
const SPEED: &[Unit] = &[
    unit("km/h", &["kph", "kmh"], 5.0, 18.0),
    unit("m/s", &[], 1.0, 1.0),
    unit("mm/s", &[], 1.0, 1000.0),
    unit("mph", &["mi/h"], 44_704.0, 100_000.0),
    unit("ft/s", &[], 3048.0, 10_000.0),
    unit("in/s", &[], 254.0, 10_000.0),
];
const TIME: &[Unit] = &[
    unit("s", &["sec"], 1.0, 1.0),
    unit("ms", &[], 1.0, 1000.0),
    unit("min", &[], 60.0, 1.0),
];
const FRAME_TIME: &[Unit] = &[
    Unit {
        name: "Hz",
        aliases: &["fps", "1/s"],
        scale: Scale::Inverse,
    },
    unit("ms", &[], 1.0, 1000.0),
    unit("s", &["sec"], 1.0, 1.0),
];
const ANGLE: &[Unit] = &[
    unit("deg", &["°", "degree", "degrees"], PI, 180.0),
    unit("rad", &[], 1.0, 1.0),
];
const SLOPE: &[Unit] = &[
    Unit {
        name: "%",
        aliases: &["percent"],
        scale: Scale::Grade,
    },
    unit("deg", &["°", "degree", "degrees"], PI, 180.0),
    unit("rad", &[], 1.0, 1.0),
];
const ANGLE_RATE: &[Unit] = &[
    unit("deg/s", &["°/s"], PI, 180.0),
    unit("rad/s", &[], 1.0, 1.0),
];
const FREQUENCY: &[Unit] = &[unit("rad/s", &[], 1.0, 1.0), unit("Hz", &[], 2.0 * PI, 1.0)];
const GAIN: &[Unit] = &[unit("1/s", &["/s"], 1.0, 1.0)];
const PRESSURE: &[Unit] = &[
    unit("bar", &[], 100_000.0, 1.0),
    unit("psi", &[], 4.448_221_615_260_5, 0.000_645_16),
    unit("kPa", &[], 1000.0, 1.0),
    unit("MPa", &[], 1_000_000.0, 1.0),
    unit("Pa", &[], 1.0, 1.0),
];
const FLOW: &[Unit] = &[
    unit("L/min", &["lpm"], 1.0, 60_000.0),
    unit(
        "gpm",
        &["gal/min", "US gpm"],
        3_785_411_784.0,
        60_000_000_000_000.0,
    ),
    unit("L/s", &[], 1.0, 1000.0),
    unit("m3/s", &["m³/s"], 1.0, 1.0),
];
const FORCE: &[Unit] = &[
    unit("N", &[], 1.0, 1.0),
    unit("kN", &[], 1000.0, 1.0),
    unit("lbf", &["lb", "lbs"], 4.448_221_615_260_5, 1.0),
    unit("kgf", &["kg"], 9.806_65, 1.0),
];
const AREA: &[Unit] = &[
    unit("ha", &["hectare", "hectares"], 10_000.0, 1.0),
    // 43 560 square feet of 0.3048 m.
    unit("ac", &["acre", "acres"], 40_468_564_224.0, 10_000_000.0),
    unit("m2", &["m²"], 1.0, 1.0),
];
const DENSITY: &[Unit] = &[
    unit("/m2", &["/m²", "1/m2", "per m2"], 1.0, 1.0),
    unit(
        "/ft2",
        &["/ft²", "1/ft2", "per ft2", "/sq ft"],
        100_000_000.0,
        9_290_304.0,
    ),
    unit("/ha", &["1/ha", "per ha"], 1.0, 10_000.0),
];
const POWER: &[Unit] = &[
    unit("kW", &[], 1000.0, 1.0),
    // 550 ft lbf/s.
    unit("hp", &["HP"], 745.699_871_582_270_2, 1.0),
    unit("W", &[], 1.0, 1.0),
];
const SHARE: &[Unit] = &[unit("%", &["percent"], 1.0, 100.0), unit("", &[], 1.0, 1.0)];
const NUMBER: &[Unit] = &[unit("", &[], 1.0, 1.0)];

/// Every quantity that has a unit.
const MEASURED: [Quantity; 15] = [
    Quantity::Length,
    Quantity::Speed,
    Quantity::Time,
    Quantity::FrameTime,
    Quantity::Angle,
    Quantity::Slope,
    Quantity::AngleRate,
    Quantity::Frequency,
    Quantity::Gain,
    Quantity::Pressure,
    Quantity::Flow,
    Quantity::Force,
    Quantity::Area,
    Quantity::Density,
    Quantity::Power,
];

impl Quantity {
    /// The units in which it can be written.
    pub fn units(self) -> &'static [Unit] {
        match self {
            Quantity::Length => LENGTH,
            Quantity::Speed => SPEED,
            Quantity::Time => TIME,
            Quantity::FrameTime => FRAME_TIME,
            Quantity::Angle => ANGLE,
            Quantity::Slope => SLOPE,
            Quantity::AngleRate => ANGLE_RATE,
            Quantity::Frequency => FREQUENCY,
            Quantity::Gain => GAIN,
            Quantity::Pressure => PRESSURE,
            Quantity::Flow => FLOW,
            Quantity::Force => FORCE,
            Quantity::Area => AREA,
            Quantity::Density => DENSITY,
            Quantity::Power => POWER,
            Quantity::Share => SHARE,
            Quantity::Number => NUMBER,
        }
    }

    /// What it is, with its article.
    pub fn words(self) -> &'static str {
        match self {
            Quantity::Length => "a length",
            Quantity::Speed => "a speed",
            Quantity::Time => "a time",
            Quantity::FrameTime => "a frame rate or frame time",
            Quantity::Angle => "an angle",
            Quantity::Slope => "a slope",
            Quantity::AngleRate => "an angle per time",
            Quantity::Frequency => "a frequency",
            Quantity::Gain => "a gain",
            Quantity::Pressure => "a pressure",
            Quantity::Flow => "a flow",
            Quantity::Force => "a force",
            Quantity::Area => "an area",
            Quantity::Density => "a number per area",
            Quantity::Power => "a power",
            Quantity::Share => "a share",
            Quantity::Number => "a plain number",
        }
    }

    /// True if a number without unit will do.
    pub fn is_bare(self) -> bool {
        matches!(self, Quantity::Share | Quantity::Number)
    }

    /// The names of its units, as a list in words.
    pub fn unit_names(self) -> String {
        let names: Vec<&str> = self
            .units()
            .iter()
            .map(|unit| unit.name)
            .filter(|name| !name.is_empty())
            .collect();
        match names.split_last() {
            None => String::new(),
            Some((last, [])) => (*last).to_string(),
            Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
        }
    }

    /// The unit of that name: as written, else whatever the case if only one fits.
    fn unit(self, name: &str) -> Option<&'static Unit> {
        let called = |unit: &&Unit, fits: &dyn Fn(&str) -> bool| {
            fits(unit.name) || unit.aliases.iter().any(|alias| fits(alias))
        };
        if let Some(unit) = self.units().iter().find(|u| called(u, &|n| n == name)) {
            return Some(unit);
        }
        let lower = name.to_lowercase();
        let mut fitting = self
            .units()
            .iter()
            .filter(|u| called(u, &|n| n.to_lowercase() == lower));
        match (fitting.next(), fitting.next()) {
            (Some(unit), None) => Some(unit),
            _ => None,
        }
    }
}

impl Unit {
    /// A number of this unit in SI.
    pub fn to_si(&self, number: f64) -> f64 {
        match self.scale {
            Scale::Ratio(num, den) => number * num / den,
            Scale::Inverse => 1.0 / number,
            Scale::Grade => libm::atan(number / 100.0),
        }
    }

    /// An SI value in this unit.
    pub fn from_si(&self, si: f64) -> f64 {
        match self.scale {
            Scale::Ratio(num, den) => si * den / num,
            Scale::Inverse => 1.0 / si,
            Scale::Grade => 100.0 * libm::tan(si),
        }
    }

    /// True if a larger number means a smaller SI value.
    pub fn is_inverse(&self) -> bool {
        self.scale == Scale::Inverse
    }
}

/// A number in SI and the unit in which it was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Written {
    /// Value in SI.
    pub si: f64,
    /// Unit as found.
    pub unit: &'static Unit,
}

/// Why a text is no quantity.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// It does not begin with a number.
    #[error("does not begin with a number; write for example \"{example}\"")]
    NoNumber {
        /// A text that would do.
        example: String,
    },
    /// A comma instead of a decimal point.
    #[error("has a comma; write a decimal point: \"{example}\"")]
    Comma {
        /// A text that would do.
        example: String,
    },
    /// The unit is missing.
    #[error("has no unit; {wanted} is wanted, in {units}")]
    NoUnit {
        /// What is wanted.
        wanted: &'static str,
        /// Its units.
        units: String,
    },
    /// The unit belongs to another quantity.
    #[error("is {found}; {wanted} is wanted, in {units}")]
    Other {
        /// What it is.
        found: &'static str,
        /// What is wanted.
        wanted: &'static str,
        /// Its units.
        units: String,
    },
    /// Nobody knows the unit.
    #[error("has the unknown unit \"{unit}\"; {wanted} is wanted{units}")]
    Unknown {
        /// The unit as written.
        unit: String,
        /// What is wanted.
        wanted: &'static str,
        /// Its units.
        units: String,
    },
    /// Not a finite number.
    #[error("is not a finite number")]
    NotFinite,
}

/// Length in bytes of the number at the beginning of a text.
fn number_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |mut at: usize| {
        while bytes.get(at).is_some_and(u8::is_ascii_digit) {
            at += 1;
        }
        at
    };
    let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let mut end = digits(sign);
    let mut figures = end - sign;
    if bytes.get(end) == Some(&b'.') {
        let after = digits(end + 1);
        figures += after - end - 1;
        end = after;
    }
    if figures == 0 {
        return 0;
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let after = digits(end + 1 + sign);
        if after > end + 1 + sign {
            end = after;
        }
    }
    end
}

/// Reads a text such as "38 mm" or "1.5in". Spaces are free, the case of the unit too where only one unit fits.
pub fn parse(text: &str, quantity: Quantity) -> Result<Written, QuantityError> {
    let text = text.trim().replace('\u{2212}', "-");
    let example_unit = quantity.units()[0].name;
    let end = number_length(&text);
    let (number, name) = (&text[..end], text[end..].trim());
    if number.is_empty() {
        return Err(QuantityError::NoNumber {
            example: format!("10 {example_unit}").trim_end().to_string(),
        });
    }
    if name.starts_with(',') {
        return Err(QuantityError::Comma {
            example: quoted(&text.replacen(',', ".", 1)),
        });
    }
    let number: f64 = number.parse().map_err(|_| QuantityError::NotFinite)?;
    let Some(unit) = quantity.unit(name) else {
        let wanted = quantity.words();
        if name.is_empty() {
            return Err(QuantityError::NoUnit {
                wanted,
                units: quantity.unit_names(),
            });
        }
        let others = MEASURED.iter().find(|other| other.unit(name).is_some());
        let units = quantity.unit_names();
        return Err(match others {
            Some(other) if !units.is_empty() => QuantityError::Other {
                found: other.words(),
                wanted,
                units,
            },
            _ => QuantityError::Unknown {
                unit: quoted(name),
                wanted,
                units: if units.is_empty() {
                    units
                } else {
                    format!(", in {units}")
                },
            },
        });
    };
    let si = unit.to_si(number);
    if si.is_finite() {
        Ok(Written { si, unit })
    } else {
        Err(QuantityError::NotFinite)
    }
}

/// A number with at most three significant digits, without an exponent where that reads well.
pub fn short(number: f64) -> String {
    let size = number.abs();
    if size == 0.0 {
        return "0".to_string();
    }
    if !(1e-4..1e7).contains(&size) {
        return format!("{number:.2e}");
    }
    let digits = (2 - libm::floor(libm::log10(size)) as i32).clamp(0, 8) as usize;
    let text = format!("{number:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        text
    }
}
