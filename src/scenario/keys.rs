//! The language of scenario files: every table and every key, each declared once.
//!
//! From this one list come the reader's checks, the error texts, the JSON Schema, the starter file, the list of
//! assumptions and the generators of the property tests.

use super::units::{self, Quantity};
use crate::model::controller::Kind;

/// When a table has to be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Presence {
    /// Always; may be left out if every key has a default.
    Always,
    /// Exactly one of the tables with the same group (the part of the name before the dot).
    OneOfGroup,
    /// If the machine has the part.
    IfFitted,
}

/// A table of the language.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Table {
    /// Name between the brackets; empty for the top of the file.
    pub name: &'static str,
    /// When it has to be there.
    pub presence: Presence,
    /// What it describes.
    pub meaning: &'static str,
}

impl Table {
    /// The part of the name before the dot, if there is one.
    pub fn group(&self) -> Option<&'static str> {
        self.name.split_once('.').map(|(group, _)| group)
    }
}

/// Whether a key may be a distribution.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Varies {
    /// One value only.
    Never,
    /// May be a distribution; it leaves the variance of the linear check alone.
    Apart,
    /// May be a distribution; it changes the variance of the linear check.
    Linear,
}

/// What a key holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// A quantity between two limits.
    Quantity {
        /// What it measures.
        quantity: Quantity,
        /// Least value, as people write it.
        low: &'static str,
        /// Greatest value, as people write it.
        high: &'static str,
        /// Whether it may be a distribution.
        varies: Varies,
    },
    /// A rising list of different quantities.
    Quantities {
        /// What they measure.
        quantity: Quantity,
        /// Least value, as people write it.
        low: &'static str,
        /// Greatest value, as people write it.
        high: &'static str,
    },
    /// A whole number.
    Count {
        /// Least.
        low: u64,
        /// Greatest.
        high: u64,
    },
    /// A rising list of different whole numbers.
    Counts {
        /// Least.
        low: u64,
        /// Greatest.
        high: u64,
    },
    /// Any text.
    Text,
    /// One of these words.
    Choice(&'static [&'static str]),
    /// Some of these words, each once.
    Choices(&'static [&'static str]),
}

/// What happens where a key is left out. Values are TOML as people write it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// It must be there.
    Required {
        /// A value that would do.
        example: &'static str,
    },
    /// This value holds.
    Default {
        /// The value.
        value: &'static str,
        /// Where it comes from: a source, or "assumed".
        origin: &'static str,
        /// Where it may plausibly lie instead.
        plausible: Option<Plausible>,
    },
    /// The value that goes with the word of another key holds.
    ByChoice {
        /// That key.
        of: Id,
        /// A value for each of its words.
        cases: &'static [Case],
    },
    /// The meaning says what holds then.
    Optional {
        /// A value that would do.
        example: &'static str,
    },
}

/// The range in which a default may plausibly lie, as people write it. Of a normal distribution it is the range of its
/// standard deviation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Plausible {
    /// Least value.
    pub from: &'static str,
    /// Greatest value.
    pub to: &'static str,
}

/// A default that goes with one word of another key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Case {
    /// The word.
    pub word: &'static str,
    /// The value.
    pub value: &'static str,
    /// Where it comes from: a source, or "assumed".
    pub origin: &'static str,
    /// Where it may plausibly lie instead.
    pub plausible: Plausible,
}

impl Plausible {
    /// Both ends in SI, if the key holds a quantity.
    pub fn si(&self, key: &Key) -> Option<(f64, f64)> {
        let Shape::Quantity { quantity, .. } = key.shape else {
            return None;
        };
        let end = |text| units::parse(text, quantity).ok().map(|written| written.si);
        Some((end(self.from)?, end(self.to)?))
    }

    /// In words, beside the value that it belongs to.
    pub fn words(&self, value: &str) -> String {
        let of = if value.starts_with('{') { "sd " } else { "" };
        format!("{of}{} to {}", self.from, self.to)
    }
}

/// A key of the language.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Key {
    /// Its number.
    pub id: Id,
    /// Table it stands in; empty for the top of the file.
    pub table: &'static str,
    /// Name.
    pub name: &'static str,
    /// What it holds.
    pub shape: Shape,
    /// What happens where it is left out.
    pub need: Need,
    /// What it means.
    pub meaning: &'static str,
}

impl Key {
    /// Name with its table.
    pub fn path(&self) -> String {
        if self.table.is_empty() {
            self.name.to_string()
        } else {
            format!("{}.{}", self.table, self.name)
        }
    }

    /// Limits in SI, least first, if it holds quantities.
    pub fn range(&self) -> Option<(f64, f64)> {
        match self.shape {
            Shape::Quantity {
                quantity,
                low,
                high,
                ..
            }
            | Shape::Quantities {
                quantity,
                low,
                high,
            } => {
                let si = |text| units::parse(text, quantity).map_or(f64::NAN, |written| written.si);
                let (low, high) = (si(low), si(high));
                // Limits in an inverse unit come out in SI the other way round.
                Some((low.min(high), low.max(high)))
            }
            _ => None,
        }
    }

    /// What it may hold, in words.
    pub fn allowed(&self) -> String {
        match self.shape {
            Shape::Quantity { low, high, .. } | Shape::Quantities { low, high, .. } => {
                format!("{low} to {high}")
            }
            Shape::Count { low, high } | Shape::Counts { low, high } => format!("{low} to {high}"),
            Shape::Text => "any text".to_string(),
            Shape::Choice(words) | Shape::Choices(words) => words
                .iter()
                .map(|word| format!("\"{word}\""))
                .collect::<Vec<_>>()
                .join(", "),
        }
    }

    /// Most entries, if it holds a list.
    pub fn most_entries(&self) -> Option<usize> {
        match self.shape {
            Shape::Quantities { .. } | Shape::Counts { .. } => Some(MOST_ENTRIES),
            Shape::Choices(words) => Some(words.len()),
            _ => None,
        }
    }

    /// A value that would do, as TOML.
    pub fn example(&self) -> &'static str {
        match self.need {
            Need::Required { example } | Need::Optional { example } => example,
            Need::Default { value, .. } => value,
            Need::ByChoice { of, cases } => {
                let word = key(of).example().trim_matches('"');
                let found = cases.iter().find(|case| case.word == word);
                found.or(cases.first()).map_or("", |case| case.value)
            }
        }
    }

    /// What holds where it is left out, with origin and plausible range, in words; empty if nothing does.
    pub fn default_words(&self) -> String {
        let ranged = |value: &str, origin: &str, plausible: Option<Plausible>| match plausible {
            Some(range) => format!("{origin}; plausible: {}", range.words(value)),
            None => origin.to_string(),
        };
        match self.need {
            Need::Required { .. } | Need::Optional { .. } => String::new(),
            Need::Default {
                value,
                origin,
                plausible,
            } => format!("{value} ({})", ranged(value, origin, plausible)),
            Need::ByChoice { of, cases } => {
                let told: Vec<String> = cases
                    .iter()
                    .map(|case| {
                        let why = ranged(case.value, case.origin, Some(case.plausible));
                        let value = case.value.trim_matches('"');
                        format!("\"{}\" {value} ({why})", case.word)
                    })
                    .collect();
                let choice = key(of);
                let which = match choice.table == self.table {
                    true => choice.name.to_string(),
                    false => choice.path(),
                };
                format!("by {which}: {}", told.join(", "))
            }
        }
    }

    /// True if it may be a distribution.
    pub fn may_vary(&self) -> bool {
        matches!(
            self.shape,
            Shape::Quantity {
                varies: Varies::Apart | Varies::Linear,
                ..
            }
        )
    }
}

/// Most entries of a list of numbers (assumed: no study needs more, and its work and its reports grow with them).
const MOST_ENTRIES: usize = 100;

/// The key with that number.
pub fn key(id: Id) -> &'static Key {
    &KEYS[id as usize]
}

/// The keys of a table, in order.
pub fn keys_of(table: &str) -> impl Iterator<Item = &'static Key> {
    KEYS.iter().filter(move |key| key.table == table)
}

/// The table of that name.
pub fn table(name: &str) -> Option<&'static Table> {
    TABLES.iter().find(|table| table.name == name)
}

const fn one(quantity: Quantity, low: &'static str, high: &'static str) -> Shape {
    Shape::Quantity {
        quantity,
        low,
        high,
        varies: Varies::Never,
    }
}

const fn apart(quantity: Quantity, low: &'static str, high: &'static str) -> Shape {
    Shape::Quantity {
        quantity,
        low,
        high,
        varies: Varies::Apart,
    }
}

const fn linear(quantity: Quantity, low: &'static str, high: &'static str) -> Shape {
    Shape::Quantity {
        quantity,
        low,
        high,
        varies: Varies::Linear,
    }
}

const fn list(quantity: Quantity, low: &'static str, high: &'static str) -> Shape {
    Shape::Quantities {
        quantity,
        low,
        high,
    }
}

const fn required(example: &'static str) -> Need {
    Need::Required { example }
}

const fn optional(example: &'static str) -> Need {
    Need::Optional { example }
}

const fn assumed(value: &'static str) -> Need {
    sourced(value, "assumed")
}

const fn assumed_in(value: &'static str, from: &'static str, to: &'static str) -> Need {
    sourced_in(value, "assumed", from, to)
}

const fn sourced(value: &'static str, origin: &'static str) -> Need {
    Need::Default {
        value,
        origin,
        plausible: None,
    }
}

const fn sourced_in(
    value: &'static str,
    origin: &'static str,
    from: &'static str,
    to: &'static str,
) -> Need {
    Need::Default {
        value,
        origin,
        plausible: Some(Plausible { from, to }),
    }
}

const fn case(
    word: &'static str,
    value: &'static str,
    origin: &'static str,
    from: &'static str,
    to: &'static str,
) -> Case {
    Case {
        word,
        value,
        origin,
        plausible: Plausible { from, to },
    }
}

/// Scatter of plants about their row, by how the crop was established.
const SCATTER: Need = Need::ByChoice {
    of: Id::Established,
    cases: &[
        case(
            "drilled",
            "\"8 mm\"",
            "assumed; 5 to 10 mm behind a precision drill is a value from memory, and a plant does not stand just over its seed",
            "5 mm",
            "15 mm",
        ),
        case(
            "modules",
            "\"12 mm\"",
            "assumed; 10 to 15 mm for transplants is a value from memory",
            "8 mm",
            "18 mm",
        ),
        case("bare_root", "\"15 mm\"", "assumed", "10 mm", "25 mm"),
    ],
};

/// Stem radius, by the stage of growth.
const STEM: Need = Need::ByChoice {
    of: Id::Stage,
    cases: &[
        case("seedling", "\"2 mm\"", "assumed", "1 mm", "4 mm"),
        case("young", "\"5 mm\"", "assumed", "3 mm", "8 mm"),
        case("knee_high", "\"12 mm\"", "assumed", "8 mm", "20 mm"),
    ],
};

/// Roots to be spared, by the stage of growth: no standard value exists.
const ROOTS: Need = Need::ByChoice {
    of: Id::Stage,
    cases: &[
        case("seedling", "\"6 mm\"", "assumed", "3 mm", "15 mm"),
        case("young", "\"10 mm\"", "assumed", "5 mm", "25 mm"),
        case("knee_high", "\"20 mm\"", "assumed", "10 mm", "50 mm"),
    ],
};

/// What a single row's looks add, by how the rows look. Numbers for several rows in view together are about half of it.
const LOOKS: Need = Need::ByChoice {
    of: Id::RowsLook,
    cases: &[
        case(
            "clean",
            "\"12 mm\"",
            "assumed; four rows in view then make 6 mm, and a sensor's own 6 to 12 mm are published (Astrand & Baerveldt, Mechatronics 15, 2005, abstract)",
            "6 mm",
            "18 mm",
        ),
        case(
            "weedy",
            "\"20 mm\"",
            "assumed; 7 mm with few weeds and 12 mm with many are published for a guided cultivator (Slaughter, Chen & Curley, Precision Agriculture 1:199-216, 1999, abstract)",
            "12 mm",
            "30 mm",
        ),
        case(
            "shadowed",
            "\"20 mm\"",
            "assumed; 15.6 mm with tractor shadows is published for a guided hoe (Hague & Tillett, Mechatronics 11(1):1-12, 2001, abstract)",
            "12 mm",
            "30 mm",
        ),
    ],
};

/// Height that turns roll into a sideways error, by where the camera rides.
const ROLL_HEIGHT: Need = Need::ByChoice {
    of: Id::CameraMount,
    cases: &[
        case("shifted", "\"0.15 m\"", "assumed", "0.05 m", "0.3 m"),
        case("fixed", "\"1.2 m\"", "assumed", "0.5 m", "2 m"),
    ],
};

/// Noise of a camera's numbers, by its grade.
const NOISE: Need = Need::ByChoice {
    of: Id::CameraGrade,
    cases: &[
        case("simple", "\"4 mm\"", "assumed", "2 mm", "8 mm"),
        case("usual", "\"2 mm\"", "assumed", "1 mm", "6 mm"),
        case("fine", "\"1 mm\"", "assumed", "0.5 mm", "3 mm"),
    ],
};

/// Time from exposure to number, by the camera's grade.
const LATENCY: Need = Need::ByChoice {
    of: Id::CameraGrade,
    cases: &[
        case("simple", "\"120 ms\"", "assumed", "60 ms", "250 ms"),
        case("usual", "\"80 ms\"", "assumed", "40 ms", "200 ms"),
        case("fine", "\"50 ms\"", "assumed", "25 ms", "100 ms"),
    ],
};

/// The driver's error in seeing the row, by his practice.
const SEEING: Need = Need::ByChoice {
    of: Id::Practice,
    cases: &[
        case("practised", "\"35 mm\"", "assumed", "20 mm", "50 mm"),
        case(
            "usual",
            "\"50 mm\"",
            "assumed; with steering_sd chosen for 45 mm of wander at 8 km/h that hardly grows with speed",
            "25 mm",
            "70 mm",
        ),
        case("new", "\"75 mm\"", "assumed", "45 mm", "120 mm"),
    ],
};

/// What the driver's hands add, by his practice.
const HANDS: Need = Need::ByChoice {
    of: Id::Practice,
    cases: &[
        case(
            "practised",
            "\"0.1 deg\"",
            "assumed",
            "0.03 deg",
            "0.25 deg",
        ),
        case(
            "usual",
            "\"0.15 deg\"",
            "assumed; a trial of 504 passes found no growth of the wander from 5.6 to 11.5 km/h (Hudson et al., Discovery 8:61-66, 2007, abstract), and this noise grows with speed",
            "0.05 deg",
            "0.4 deg",
        ),
        case("new", "\"0.25 deg\"", "assumed", "0.1 deg", "0.6 deg"),
    ],
};

/// Swing on the lower links at the rear, by the ground.
const REAR_SWAY: Need = Need::ByChoice {
    of: Id::Surface,
    cases: &[
        case("even", "\"3 mm\"", "assumed", "1 mm", "8 mm"),
        case("usual", "\"5 mm\"", "assumed", "2 mm", "15 mm"),
        case("rough", "\"10 mm\"", "assumed", "5 mm", "25 mm"),
    ],
};

/// The same at the front.
const FRONT_SWAY: Need = Need::ByChoice {
    of: Id::Surface,
    cases: &[
        case("even", "\"2.5 mm\"", "assumed", "1 mm", "6 mm"),
        case("usual", "\"4 mm\"", "assumed", "2 mm", "12 mm"),
        case("rough", "\"8 mm\"", "assumed", "4 mm", "20 mm"),
    ],
};

/// Roll that the ground adds, by the ground.
const ROLL: Need = Need::ByChoice {
    of: Id::Surface,
    cases: &[
        case("even", "\"0.2 deg\"", "assumed", "0.05 deg", "0.5 deg"),
        case("usual", "\"0.34 deg\"", "assumed", "0.1 deg", "1 deg"),
        case("rough", "\"0.8 deg\"", "assumed", "0.3 deg", "2 deg"),
    ],
};

/// How the origin of a default begins that has no source.
pub const ASSUMED: &str = "assumed";

const SIDES: &[&str] = &["left", "right"];
const CONTROLLERS: &[&str] = &Kind::NAMES;

const fn always(name: &'static str, meaning: &'static str) -> Table {
    Table {
        name,
        presence: Presence::Always,
        meaning,
    }
}

const fn one_of(name: &'static str, meaning: &'static str) -> Table {
    Table {
        name,
        presence: Presence::OneOfGroup,
        meaning,
    }
}

const fn if_fitted(name: &'static str, meaning: &'static str) -> Table {
    Table {
        name,
        presence: Presence::IfFitted,
        meaning,
    }
}

/// Every table, in the order of the starter file.
pub const TABLES: &[Table] = &[
    always("", "the scenario"),
    always("study", "what is simulated and what counts as good enough"),
    always("pass", "one pass over the field, from lowering to lifting"),
    one_of("line.straight", "the planned row line is straight"),
    one_of(
        "line.arc",
        "the planned row line is one steady bend, warm-up included",
    ),
    one_of(
        "line.s_bend",
        "a straight line with one S: a bend to one side, then an equal one back",
    ),
    one_of(
        "line.polyline",
        "a line through the points of a file, its corners rounded; straight before the first and after the last point",
    ),
    always(
        "rows",
        "the rows under the implement and how the planter set them",
    ),
    always("plants", "the plants in a row"),
    always("tractor", "the tractor"),
    always("ground", "the lie of the field"),
    one_of("driver.hand", "a person steers, sighting along the row"),
    one_of(
        "driver.satellite_line",
        "automatic steering follows the planned line by satellite, not the row as planted",
    ),
    one_of(
        "driver.replay",
        "a logged pass is driven again; give its file on the command line",
    ),
    one_of("hitch.rear", "carried on the rear linkage"),
    one_of("hitch.front", "carried on the front linkage"),
    one_of("hitch.drawn", "drawn on wheels of its own"),
    always("tools", "cutting edges on the shifted frame"),
    always("camera", "the row camera"),
    one_of(
        "tracker.none",
        "the controller uses the camera's raw number",
    ),
    one_of(
        "tracker.low_pass",
        "first-order low-pass between camera and controller",
    ),
    one_of(
        "tracker.kalman",
        "steady-state Kalman filter without a yaw-rate sensor",
    ),
    one_of(
        "tracker.kalman_yaw",
        "steady-state Kalman filter that uses the yaw-rate sensor",
    ),
    if_fitted("sensors.position", "position sensor on the side-shift"),
    if_fitted(
        "sensors.yaw_rate",
        "yaw-rate sensor on the implement (drawn), else on the tractor",
    ),
    if_fitted(
        "controller.on_off",
        "switch with hysteresis on the directional valve",
    ),
    if_fitted(
        "controller.pid",
        "PID on the proportional valve: give simc_closed_loop_time, or gain and times",
    ),
    if_fitted(
        "controller.lag",
        "lag compensation on the proportional valve, with and without yaw rate",
    ),
    always("hydraulics", "pump, cylinder and load of the side-shift"),
    if_fitted(
        "valve.proportional",
        "proportional valve, for pid and lag compensation",
    ),
    if_fitted("valve.directional", "directional valve, for on_off"),
    always(
        "cold_oil",
        "what cold oil does to the valves; the controllers reckon with warm oil",
    ),
    if_fitted(
        "farm",
        "land and time, for hectares an hour and days; with weeds and prices it answers which spacing pays",
    ),
    if_fitted("weeds", "weeds before the pass and the work they make"),
    if_fitted(
        "prices",
        "prices in one currency; a price with a range, such as { from = 0.1, to = 0.2 }, is tried at both ends, one without a quarter less and more",
    ),
    if_fitted(
        "growth",
        "stages of the crop's growth, for a clearance at each: both lists equally long",
    ),
    if_fitted(
        "soil",
        "what the tools do to the soil, for thrown soil, pull and fuel",
    ),
    if_fitted("workshop", "tools on hand, for the setting sheet"),
    if_fitted(
        "change_prices",
        "what changes of the machine cost to buy or to do, in the currency of [prices]; each is optional and tells when the change has paid",
    ),
];

macro_rules! keys {
    ($($id:ident: $table:literal $name:literal, $shape:expr, $need:expr, $meaning:literal;)*) => {
        /// Number of every key, its place in [`KEYS`].
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        #[allow(missing_docs)]
        pub enum Id { $($id),* }

        /// Every key, table by table.
        pub const KEYS: &[Key] = &[$(Key {
            id: Id::$id,
            table: $table,
            name: $name,
            shape: $shape,
            need: $need,
            meaning: $meaning,
        }),*];
    };
}

use Quantity::{
    Angle, AngleRate, Area, Density, Flow, Force, FrameTime, Frequency, Gain, Length, Number,
    Power, Pressure, Share, Slope, Speed, Time,
};

keys! {
    Name: "" "name", Shape::Text, required("\"My field\""), "name of the scenario in every report";
    Description: "" "description", Shape::Text, sourced("\"\"", "none given"), "a few words on crop, machine and origin of the numbers";

    Speeds: "study" "speeds", list(Speed, "0.5 km/h", "25 km/h"), optional("[\"4 km/h\", \"6 km/h\", \"8 km/h\", \"10 km/h\", \"12 km/h\"]"), "driving speeds to simulate, rising; left out: chosen around the decision";
    Clearances: "study" "clearances", list(Length, "1 mm", "1000 mm"), optional("[\"25 mm\", \"38 mm\", \"50 mm\", \"65 mm\", \"80 mm\"]"), "distances from row to cutting edge on either side, rising; left out: chosen around the decision";
    WorkingSpeed: "study" "working_speed", one(Speed, "0.5 km/h", "25 km/h"), required("\"8 km/h\""), "speed worked at now, one of speeds where these are given";
    WorkingClearance: "study" "working_clearance", one(Length, "1 mm", "1000 mm"), required("\"50 mm\""), "clearance worked with now, one of clearances where these are given";
    AllowedCutRate: "study" "allowed_cut_rate", one(Share, "0.001 %", "50 %"), assumed("\"0.5 %\""), "share of the crop plants that may be cut in one pass over the field, on the whole row";
    Assurance: "study" "assurance", one(Share, "50 %", "99 %"), assumed("\"80 %\""), "share of farms like this one on which the allowed rate is to be kept, where something is not known: 80 % is 4 farms in 5";
    Unknowns: "study" "unknowns", Shape::Choice(&["ranges", "stated"]), assumed("\"ranges\""), "what counts as not known: ranges is what the scenario says so of and what it leaves out and nobody knows of a farm unless he measured it, such as how far plants stand off their row: it may lie anywhere in the plausible range of its default; stated is only what the scenario says so of, all that it leaves out being exactly its default";
    Passes: "study" "passes", Shape::Count { low: 2, high: 10_000_000 }, assumed("2000"), "most simulated passes; a study ends sooner once it is decided which settings keep the allowed rate";
    Seed: "study" "seed", Shape::Count { low: 0, high: 9_223_372_036_854_775_807 }, assumed("1"), "start of all random numbers; 0 is a seed like any other";
    StudyUnits: "study" "units", Shape::Choice(&["metric", "us"]), assumed("\"metric\""), "units of reports and pictures";
    StudyControllers: "study" "controllers", Shape::Choices(CONTROLLERS), optional("[\"locked\", \"pid\"]"), "controllers to study; left out: all that the machine can run";

    PassLength: "pass" "length", one(Length, "20 m", "2000 m"), assumed("\"200 m\""), "length of the pass, entry stretch included";
    EntryLength: "pass" "entry_length", one(Length, "0 m", "200 m"), assumed("\"15 m\""), "first stretch after lowering, counted apart";
    EntryOffset: "pass" "entry_offset", apart(Length, "-500 mm", "500 mm"), assumed_in("{ mean = \"0 mm\", sd = \"60 mm\" }", "20 mm", "150 mm"), "how far off the line the headland turn leaves the tractor, left positive; a guess without a source: watch a few turns";
    EntryHeading: "pass" "entry_heading", apart(Angle, "-10 deg", "10 deg"), assumed_in("{ mean = \"0 deg\", sd = \"0.7 deg\" }", "0.3 deg", "2 deg"), "heading error that the headland turn leaves, left positive; a guess like entry_offset";
    Approach: "pass" "approach", one(Length, "0 m", "30 m"), assumed("\"0 m\""), "how far the tractor drives along the row after the headland turn before the tools are lowered: meanwhile the driver takes entry_offset and entry_heading out; 0 m: lowered straight out of the turn; the plants beside this stretch are not counted";
    StartDelay: "pass" "start_delay", one(Time, "0 s", "10 s"), assumed_in("\"0.5 s\"", "0 s", "2 s"), "from lowering to the start of the controller; with while_lifted = \"following\" from the beginning of the approach";
    WhileLifted: "pass" "while_lifted", Shape::Choice(&["centred", "held", "following"]), assumed("\"centred\""), "what the frame does while the tools are up: centred, held where the last pass left it, or following, which means that camera and controller set it over the row all along the approach, before the tools touch the soil";
    HeldShift: "pass" "held_shift", apart(Share, "-100 %", "100 %"), optional("{ from = \"-60 %\", to = \"60 %\" }"), "where a held frame stands, as share of half the stroke, left positive; only with while_lifted = \"held\", left out there: 0 %";
    Step: "pass" "step", one(Time, "0.1 ms", "5 ms"), assumed("\"5 ms\""), "tick of valve and frame; the tractor takes steps of up to four";

    ArcRadius: "line.arc" "radius", one(Length, "5 m", "100000 m"), required("\"150 m\""), "radius of the bend";
    ArcSide: "line.arc" "side", Shape::Choice(SIDES), assumed("\"left\""), "side to which it bends";
    SBendStart: "line.s_bend" "start", one(Length, "0 m", "2000 m"), required("\"60 m\""), "where the S begins";
    SBendLength: "line.s_bend" "length", one(Length, "4 m", "2000 m"), required("\"80 m\""), "length of the S; the curvature rises and falls in a straight ramp over each quarter";
    SBendRadius: "line.s_bend" "radius", one(Length, "5 m", "100000 m"), required("\"100 m\""), "radius where either bend is sharpest";
    SBendSide: "line.s_bend" "first_side", Shape::Choice(SIDES), assumed("\"left\""), "side of the first bend";
    PolylineFile: "line.polyline" "file", Shape::Text, required("\"rows.csv\""), "CSV file with the columns x_m and y_m, beside the scenario file";
    PolylineRounding: "line.polyline" "rounding", one(Length, "1 m", "500 m"), assumed_in("\"12 m\"", "6 m", "25 m"), "length of the arc that rounds each corner, half of it on either side; arcs that overlap add up";

    RowSpacing: "rows" "row_spacing", one(Length, "100 mm", "2000 mm"), required("\"450 mm\""), "distance between the rows of a bed";
    RowsPerBed: "rows" "rows_per_bed", Shape::Count { low: 1, high: 48 }, required("4"), "rows of a bed; without beds: rows of the implement";
    Beds: "rows" "beds", Shape::Count { low: 1, high: 24 }, assumed("1"), "beds under the implement";
    BedSpacing: "rows" "bed_spacing", one(Length, "200 mm", "10000 mm"), optional("\"1800 mm\""), "distance from bed centre to bed centre; needed from two beds on; with one bed it says how much ground a pass covers, left out there: rows_per_bed times row_spacing";
    PlanterRows: "rows" "planter_rows", Shape::Count { low: 1, high: 96 }, optional("6"), "rows that the planter set in one pass; left out: all rows of the implement";
    FirstPlanterRows: "rows" "first_planter_rows", Shape::Count { low: 1, high: 96 }, optional("3"), "rows of the leftmost planter pass that are under the implement; left out: planter_rows";
    SeenRows: "rows" "seen_rows", Shape::Counts { low: 1, high: 48 }, required("[1, 2, 3, 4]"), "rows that driver and camera follow, 1 at the left; all of one planter pass";
    Wander: "rows" "wander", linear(Length, "0 mm", "300 mm"), assumed_in("\"30 mm\"", "10 mm", "60 mm"), "standard deviation of the planter's wander about the planned line";
    WanderLength: "rows" "wander_length", linear(Length, "1 m", "200 m"), assumed_in("\"12.5 m\"", "5 m", "40 m"), "length l of that wander: it sways over 2 pi l, and at a damping of 1 has the correlation (1 + d/l) exp(-d/l) at distance d";
    WanderDamping: "rows" "wander_damping", linear(Number, "0.2", "5"), assumed_in("1", "0.5", "1.5"), "damping of that wander: below 1 it sways from side to side, far above 1 it is rough";
    JoinErrorSd: "rows" "join_error_sd", apart(Length, "0 mm", "300 mm"), assumed_in("\"25 mm\"", "10 mm", "60 mm"), "standard deviation of the distance error where one planter pass joins the next";
    UnitErrorSd: "rows" "unit_error_sd", apart(Length, "0 mm", "100 mm"), assumed_in("\"4 mm\"", "2 mm", "10 mm"), "standard deviation of the sideways setting of each planter row unit";

    PlantSpacing: "plants" "spacing", apart(Length, "10 mm", "2000 mm"), required("\"200 mm\""), "mean distance from plant to plant along the row";
    SpacingCv: "plants" "spacing_cv", apart(Share, "0 %", "50 %"), assumed_in("\"10 %\"", "5 %", "30 %"), "variation of that distance, as share of the mean";
    Emergence: "plants" "emergence", apart(Share, "5 %", "100 %"), assumed_in("\"95 %\"", "70 %", "99 %"), "share of the places that carry a plant";
    Established: "plants" "established", Shape::Choice(&["drilled", "modules", "bare_root"]), assumed("\"modules\""), "how the crop came into the ground: drilled as seed, planted as modules (plugs, blocks), or planted with bare roots; sets how far plants stand off their row where scatter_sd is left out";
    ScatterSd: "plants" "scatter_sd", apart(Length, "0 mm", "100 mm"), SCATTER, "standard deviation of single plants about their row";
    Stage: "plants" "stage", Shape::Choice(&["seedling", "young", "knee_high"]), assumed("\"young\""), "how far the crop has grown: seedling (first true leaves), young (a hand high), knee_high; sets stem_radius and root_margin where they are left out";
    StemRadius: "plants" "stem_radius", apart(Length, "0 mm", "100 mm"), STEM, "a cutting edge nearer than this to the plant's centre cuts the stem";
    RootMargin: "plants" "root_margin", apart(Length, "0 mm", "200 mm"), ROOTS, "shallow roots that must not be pruned: width beyond the stem radius, both together are the protected radius";

    Wheelbase: "tractor" "wheelbase", one(Length, "1 m", "6 m"), required("\"2.5 m\""), "distance between front and rear axle";
    SteerLag: "tractor" "steering_lag", linear(Time, "10 ms", "2000 ms"), sourced_in("\"0.2 s\"", "assumed; 0.1 to 0.3 s is a value from memory", "0.1 s", "0.3 s"), "first-order lag of the steering";
    SteerLimit: "tractor" "steering_limit", one(Angle, "5 deg", "60 deg"), assumed_in("\"35 deg\"", "25 deg", "45 deg"), "greatest steering angle either way";
    SteerRate: "tractor" "steering_rate", one(AngleRate, "1 deg/s", "180 deg/s"), sourced_in("\"25 deg/s\"", "assumed; 15 to 30 deg/s is a value from memory", "15 deg/s", "30 deg/s"), "greatest steering rate either way";
    TrackWidth: "tractor" "track_width", one(Length, "500 mm", "6000 mm"), assumed_in("\"1800 mm\"", "1350 mm", "2250 mm"), "distance between the centres of left and right tyres; serves the warning about tyres on rows";
    TyreWidth: "tractor" "tyre_width", one(Length, "50 mm", "1500 mm"), assumed_in("\"400 mm\"", "200 mm", "650 mm"), "width of a tyre; serves the same warning";
    CrabPerSlope: "tractor" "crab_per_slope", linear(Number, "0", "0.6"), assumed_in("0.15", "0.05", "0.3"), "slip angle downhill on a side slope, as share of the slope angle";

    Surface: "ground" "surface", Shape::Choice(&["even", "usual", "rough"]), assumed("\"usual\""), "how even the tractor rides: even is a fine seedbed, rough has clods, ruts or stones; sets the swing of the hitch (sway_sd) and the camera's roll (roll_moving_sd) where they are left out";
    SideSlope: "ground" "side_slope", linear(Slope, "-40 %", "40 %"), assumed_in("\"0 %\"", "-10 %", "10 %"), "side slope, positive where the left side is higher";

    Practice: "driver.hand" "practice", Shape::Choice(&["practised", "usual", "new"]), assumed("\"usual\""), "how practised the driver is at sighting along a row; sets seeing_sd and steering_sd where they are left out";
    PreviewMin: "driver.hand" "shortest_preview", linear(Length, "2 m", "50 m"), assumed_in("\"8 m\"", "5 m", "15 m"), "shortest distance at which the driver sights the row ahead of the rear axle";
    PreviewTime: "driver.hand" "preview_time", linear(Time, "0 s", "5 s"), assumed_in("\"1.5 s\"", "1 s", "2.5 s"), "at speed the driver sights this much driving time ahead";
    Reaction: "driver.hand" "reaction_time", linear(Time, "0 s", "2 s"), assumed_in("\"0.25 s\"", "0.15 s", "0.5 s"), "from seeing to steering";
    SeeingSd: "driver.hand" "seeing_sd", linear(Length, "0 mm", "500 mm"), SEEING, "standard deviation of the error in seeing the row";
    SeeingLength: "driver.hand" "seeing_length", one(Length, "0.5 m", "200 m"), assumed_in("\"12 m\"", "4 m", "30 m"), "correlation length of that error";
    SteeringSd: "driver.hand" "steering_sd", linear(Angle, "0 deg", "5 deg"), HANDS, "standard deviation of the steering angle that the hands add";
    SteeringTime: "driver.hand" "steering_time", one(Time, "20 ms", "10000 ms"), assumed_in("\"0.5 s\"", "0.2 s", "1.5 s"), "correlation time of that angle";
    HandObserved: "driver.hand" "observed_wander", linear(Length, "5 mm", "500 mm"), optional("\"45 mm\""), "standard deviation of rear axle to row as observed; scales seeing_sd and steering_sd alike until it is met; left out: both as given";
    HandObservedAt: "driver.hand" "observed_at", one(Speed, "0.5 km/h", "25 km/h"), optional("\"8 km/h\""), "speed at which it was observed";

    LineFrequency: "driver.satellite_line" "natural_frequency", linear(Frequency, "0.2 rad/s", "5 rad/s"), assumed_in("\"0.6 rad/s\"", "0.3 rad/s", "1.2 rad/s"), "natural frequency of the line following";
    LineDamping: "driver.satellite_line" "damping", linear(Number, "0.2", "3"), assumed_in("0.8", "0.6", "1.2"), "damping ratio of the line following";
    ReceiverSd: "driver.satellite_line" "receiver_sd", linear(Length, "0 mm", "500 mm"), sourced("\"14.3 mm\"", "Carballido et al., Appl. Eng. Agric. 30(3):361-366, 2014 (abstract): RTK, driving"), "standard deviation of the receiver's quick noise";
    ReceiverTime: "driver.satellite_line" "receiver_time", one(Time, "50 ms", "60000 ms"), assumed_in("\"2 s\"", "0.5 s", "10 s"), "correlation time of that noise";
    DriftSd: "driver.satellite_line" "drift_sd", linear(Length, "0 mm", "500 mm"), assumed_in("\"15 mm\"", "5 mm", "30 mm"), "standard deviation of the receiver's slow drift";
    DriftTime: "driver.satellite_line" "drift_time", one(Time, "10 s", "7200 s"), assumed_in("\"300 s\"", "60 s", "1800 s"), "correlation time of that drift";
    LineGrowth: "driver.satellite_line" "growth_at_speed", linear(Share, "0 %", "200 %"), sourced_in("\"25 %\"", "assumed; that the error is clearly larger at 5 m/s is second hand, tests are told at 1.0, 2.5 and 5.0 m/s (Easterly, Adamchuk, Hoy & Kocher, about 2008 to 2010, excerpt)", "0 %", "60 %"), "by how much receiver_sd and drift_sd grow for each 1 m/s (3.6 km/h) that the tractor drives faster than 3 m/s (10.8 km/h)";
    LineObserved: "driver.satellite_line" "observed_wander", linear(Length, "1 mm", "500 mm"), optional("\"25 mm\""), "standard deviation of rear axle to planned line as observed at up to 3 m/s (10.8 km/h), where it does not depend on speed; scales receiver_sd and drift_sd alike until it is met; left out: both as given";

    RearTools: "hitch.rear" "tools_behind_axle", one(Length, "0.5 m", "8 m"), required("\"2.2 m\""), "distance of the tool line behind the rear axle";
    RearSway: "hitch.rear" "sway_sd", linear(Length, "0 mm", "100 mm"), REAR_SWAY, "standard deviation of the sideways swing on the lower links";
    RearSwayLength: "hitch.rear" "sway_length", one(Length, "0.2 m", "100 m"), assumed_in("\"5 m\"", "2 m", "15 m"), "correlation length of that swing";
    RearPlay: "hitch.rear" "free_play", apart(Length, "0 mm", "200 mm"), assumed_in("\"20 mm\"", "5 mm", "50 mm"), "how far the lower links let it swing either way";
    FrontTools: "hitch.front" "tools_ahead_of_axle", one(Length, "1 m", "10 m"), required("\"4.2 m\""), "distance of the tool line ahead of the rear axle";
    FrontSway: "hitch.front" "sway_sd", linear(Length, "0 mm", "100 mm"), FRONT_SWAY, "standard deviation of the sideways swing on the lower links";
    FrontSwayLength: "hitch.front" "sway_length", one(Length, "0.2 m", "100 m"), assumed_in("\"5 m\"", "2 m", "15 m"), "correlation length of that swing";
    FrontPlay: "hitch.front" "free_play", apart(Length, "0 mm", "200 mm"), assumed_in("\"15 mm\"", "5 mm", "40 mm"), "how far the lower links let it swing either way";
    DrawnHitch: "hitch.drawn" "hitch_behind_axle", one(Length, "0 m", "4 m"), required("\"1 m\""), "distance of the hitch point behind the rear axle";
    DrawnCarrier: "hitch.drawn" "wheels_behind_hitch", one(Length, "0.5 m", "12 m"), required("\"3 m\""), "distance of the implement's own axle behind the hitch point";
    DrawnTools: "hitch.drawn" "tools_behind_hitch", one(Length, "0.2 m", "14 m"), required("\"3 m\""), "distance of the tool line behind the hitch point";
    DrawnCrab: "hitch.drawn" "crab_per_slope", linear(Number, "0", "0.6"), assumed_in("0.15", "0.05", "0.3"), "slip angle of the implement's wheels downhill on a side slope, as share of the slope angle";

    LeftEdge: "tools" "left_edge_behind", one(Length, "-1000 mm", "1000 mm"), assumed("\"0 mm\""), "how far the cutting edge left of a row stands behind the tool line (ahead: negative)";
    RightEdge: "tools" "right_edge_behind", one(Length, "-1000 mm", "1000 mm"), assumed("\"0 mm\""), "the same for the edge right of a row";
    SettingSd: "tools" "setting_error_sd", apart(Length, "0 mm", "50 mm"), assumed_in("\"3 mm\"", "1 mm", "8 mm"), "standard deviation of the sideways setting of each cutting edge";

    Lookahead: "camera" "lookahead", one(Length, "0 m", "6 m"), required("\"0.8 m\""), "how far ahead of the tool line the camera looks at the rows";
    CameraMount: "camera" "mount", Shape::Choice(&["shifted", "fixed"]), required("\"shifted\""), "whether the camera rides on the shifted frame or on the fixed one";
    CameraGrade: "camera" "grade", Shape::Choice(&["simple", "usual", "fine"]), assumed("\"usual\""), "how good and how quick the camera's numbers are; sets noise_sd and latency where they are left out";
    Frames: "camera" "frames", one(FrameTime, "2 Hz", "200 Hz"), assumed_in("\"25 Hz\"", "10 Hz", "60 Hz"), "frames per second, or the time between two";
    Latency: "camera" "latency", linear(Time, "0 ms", "1000 ms"), LATENCY, "from exposure to number";
    NoiseSd: "camera" "noise_sd", linear(Length, "0 mm", "100 mm"), NOISE, "standard deviation of each measurement's own noise";
    RowsLook: "camera" "rows_look", Shape::Choice(&["clean", "weedy", "shadowed"]), assumed("\"clean\""), "how the rows look to the camera: clean, weedy, or shadowed (low sun, the tractor's own shadow); sets appearance_sd where it is left out";
    AppearanceSd: "camera" "appearance_sd", linear(Length, "0 mm", "200 mm"), LOOKS, "standard deviation of what a single row's looks add; the rows seen average it";
    AppearanceLength: "camera" "appearance_length", one(Length, "0.05 m", "50 m"), assumed_in("\"1 m\"", "0.3 m", "3 m"), "correlation length of those looks";
    Alignment: "camera" "alignment", apart(Length, "-200 mm", "200 mm"), assumed_in("{ mean = \"0 mm\", sd = \"4 mm\" }", "2 mm", "10 mm"), "how far the camera still stands off the tools' centre after the operator has trimmed it, left positive; in the field it stays for the whole field, here every pass draws it anew";
    Trim: "camera" "trim", apart(Length, "-200 mm", "200 mm"), assumed("\"0 mm\""), "taken out of every measurement, left positive";
    RollHeight: "camera" "roll_height", linear(Length, "0 m", "5 m"), ROLL_HEIGHT, "height that turns roll into a sideways error: on the fixed frame the camera's own, because it rolls against the tools; on the shifted frame it rolls with them, and what counts is the height of the crop feature that it looks at";
    RollStill: "camera" "roll_at_rest_sd", linear(Angle, "0 deg", "5 deg"), assumed_in("\"0 deg\"", "0 deg", "0.2 deg"), "standard deviation of the roll at rest";
    RollGround: "camera" "roll_moving_sd", linear(Angle, "0 deg", "5 deg"), ROLL, "standard deviation of the roll that the ground adds at roll_reference_speed; grows with the root of speed (ISO 8608, waviness 2)";
    RollReference: "camera" "roll_reference_speed", one(Speed, "0.5 km/h", "25 km/h"), assumed("\"2 m/s\""), "speed at which roll_moving_sd holds";
    RollTime: "camera" "roll_time", one(Time, "10 ms", "5000 ms"), assumed_in("\"0.15 s\"", "0.05 s", "0.5 s"), "correlation time of the roll";
    BlindGaps: "camera" "blind_by_gaps", apart(Share, "0 %", "40 %"), assumed_in("\"0.5 %\"", "0 %", "3 %"), "share of the distance where gaps in the rows blind it; the four causes combine as independent ones";
    BlindWeeds: "camera" "blind_by_weeds", apart(Share, "0 %", "40 %"), assumed_in("\"0.5 %\"", "0 %", "5 %"), "share where weeds blind it";
    BlindDusk: "camera" "blind_by_dusk", apart(Share, "0 %", "40 %"), assumed_in("\"0 %\"", "0 %", "5 %"), "share where low light blinds it";
    BlindDust: "camera" "blind_by_dust", apart(Share, "0 %", "40 %"), assumed_in("\"0 %\"", "0 %", "5 %"), "share where dust blinds it";
    BlindLength: "camera" "blind_length", one(Length, "0.05 m", "50 m"), assumed_in("\"1 m\"", "0.3 m", "5 m"), "mean length of a blind stretch";
    OutlierShare: "camera" "outlier_share", apart(Share, "0 %", "20 %"), assumed_in("\"0.2 %\"", "0 %", "2 %"), "share of frames with a wrong number";
    OutlierSd: "camera" "outlier_sd", apart(Length, "0 mm", "500 mm"), assumed_in("\"50 mm\"", "20 mm", "150 mm"), "standard deviation of the error of such a number";

    LowPassTime: "tracker.low_pass" "time", one(Time, "5 ms", "2000 ms"), required("\"60 ms\""), "time constant; a slow change of the row is followed by it less about half a frame";
    LowPassGate: "tracker.low_pass" "gate", one(Length, "5 mm", "1000 mm"), assumed_in("\"100 mm\"", "50 mm", "200 mm"), "a number further than this from the filtered one is an outlier";
    KalmanSd: "tracker.kalman" "measurement_sd", one(Length, "0.5 mm", "200 mm"), assumed_in("\"6 mm\"", "3 mm", "15 mm"), "standard deviation of a measurement that the filter believes";
    KalmanRate: "tracker.kalman" "rate_change_in_1s", one(Speed, "1 mm/s", "2000 mm/s"), assumed_in("\"60 mm/s\"", "20 mm/s", "150 mm/s"), "by how much the sideways rate wanders within a second, a standard deviation";
    KalmanGate: "tracker.kalman" "gate", one(Length, "5 mm", "1000 mm"), assumed_in("\"100 mm\"", "50 mm", "200 mm"), "a number further than this from the predicted one is an outlier";
    KalmanYawSd: "tracker.kalman_yaw" "measurement_sd", one(Length, "0.5 mm", "200 mm"), assumed_in("\"6 mm\"", "3 mm", "15 mm"), "standard deviation of a measurement that the filter believes";
    KalmanYawOffset: "tracker.kalman_yaw" "offset_change_in_1s", one(Length, "0.1 mm", "500 mm"), assumed_in("\"15 mm\"", "5 mm", "40 mm"), "by how much the offset wanders by itself within a second, a standard deviation";
    KalmanYawHeading: "tracker.kalman_yaw" "heading_change_in_1s", one(Angle, "0.01 deg", "20 deg"), assumed_in("\"0.5 deg\"", "0.1 deg", "2 deg"), "by how much the heading wanders beside the sensor within a second, a standard deviation";
    KalmanYawGate: "tracker.kalman_yaw" "gate", one(Length, "5 mm", "1000 mm"), assumed_in("\"100 mm\"", "50 mm", "200 mm"), "a number further than this from the predicted one is an outlier";

    PositionSd: "sensors.position" "noise_sd", linear(Length, "0 mm", "20 mm"), assumed_in("\"0.5 mm\"", "0.1 mm", "2 mm"), "standard deviation of one reading";
    YawSd: "sensors.yaw_rate" "noise_sd", linear(AngleRate, "0 deg/s", "5 deg/s"), assumed_in("\"0.1 deg/s\"", "0.02 deg/s", "0.3 deg/s"), "standard deviation of the sensor's noise";
    YawTime: "sensors.yaw_rate" "noise_time", one(Time, "10 ms", "10000 ms"), assumed_in("\"0.1 s\"", "0.02 s", "0.5 s"), "correlation time of that noise";
    YawBias: "sensors.yaw_rate" "bias", apart(AngleRate, "-2 deg/s", "2 deg/s"), assumed_in("{ mean = \"0 deg/s\", sd = \"0.05 deg/s\" }", "0.01 deg/s", "0.2 deg/s"), "constant error of the sensor";

    OnOffStart: "controller.on_off" "start_above", one(Length, "1 mm", "500 mm"), required("\"20 mm\""), "error at which the frame starts to move";
    OnOffStop: "controller.on_off" "stop_below", one(Length, "0 mm", "500 mm"), required("\"8 mm\""), "error at which it stops, less than start_above";
    SimcTime: "controller.pid" "simc_closed_loop_time", one(Time, "10 ms", "5000 ms"), optional("\"0.13 s\""), "gains by the SIMC rule (Skogestad, J. Process Control 13:291-309, 2003) for this closed-loop time; as long as the dead time: quick but robust";
    PidGain: "controller.pid" "gain", one(Gain, "0.01 1/s", "100 1/s"), optional("\"4 1/s\""), "proportional gain: shift speed over error; instead of simc_closed_loop_time";
    PidIntegral: "controller.pid" "integral_time", one(Time, "10 ms", "100000 ms"), optional("\"1 s\""), "integral time beside gain; left out: no integral part";
    PidDerivative: "controller.pid" "derivative_time", one(Time, "0 ms", "5000 ms"), optional("\"50 ms\""), "derivative time beside gain; left out: 0 ms";
    PidFilter: "controller.pid" "derivative_filter", one(Time, "0 ms", "5000 ms"), optional("\"5 ms\""), "filter time of the derivative; left out: a tenth of the derivative time (common practice, no source)";
    LagGain: "controller.lag" "gain", one(Gain, "0.1 1/s", "100 1/s"), assumed_in("\"5 1/s\"", "2 1/s", "10 1/s"), "gain of the inner position loop; below the frame rate";
    FeedForward: "controller.lag" "feed_forward", one(Share, "0 %", "100 %"), assumed_in("\"0 %\"", "0 %", "100 %"), "share of the wanted shift's rate that is fed forward; a high share passes camera noise to the valve";

    Supply: "hydraulics" "supply_pressure", linear(Pressure, "20 bar", "350 bar"), assumed_in("\"180 bar\"", "150 bar", "210 bar"), "oil pressure at the valve";
    Return: "hydraulics" "return_pressure", linear(Pressure, "0 bar", "50 bar"), assumed_in("\"5 bar\"", "2 bar", "20 bar"), "pressure in the return line";
    Pump: "hydraulics" "pump_flow", linear(Flow, "1 L/min", "300 L/min"), required("\"40 L/min\""), "oil that the tractor gives";
    Bore: "hydraulics" "bore", one(Length, "16 mm", "200 mm"), required("\"50 mm\""), "inner diameter of the cylinder";
    Rod: "hydraulics" "rod", one(Length, "5 mm", "150 mm"), required("\"25 mm\""), "diameter of its rod, less than bore";
    StrokeTotal: "hydraulics" "stroke", one(Length, "50 mm", "2000 mm"), required("\"400 mm\""), "total travel: half of it either way";
    Extension: "hydraulics" "extension_moves", Shape::Choice(SIDES), assumed("\"left\""), "where the frame goes when the cylinder extends";
    FrameWeight: "hydraulics" "frame_weight", linear(Force, "0 N", "50000 N"), assumed_in("\"3000 N\"", "1000 N", "10000 N"), "weight of the shifted frame with its tools, as far as the cylinder holds it on a side slope";
    SideForce: "hydraulics" "soil_side_force", linear(Force, "-20000 N", "20000 N"), assumed_in("\"0 N\"", "-1000 N", "1000 N"), "steady sideways force of the soil on the frame, to the left positive";
    Friction: "hydraulics" "friction", linear(Force, "0 N", "20000 N"), assumed_in("\"800 N\"", "200 N", "2500 N"), "friction of the sliding frame, soil included";
    Backlash: "hydraulics" "backlash", apart(Length, "0 mm", "50 mm"), assumed_in("\"1 mm\"", "0 mm", "5 mm"), "total play between cylinder and frame";

    HoseBore: "hydraulics" "hose_bore", one(Length, "4 mm", "50 mm"), assumed_in("\"10 mm\"", "8 mm", "16 mm"), "inner diameter of the hoses to the cylinder, for the oil's speed in them";
    ForceReserve: "hydraulics" "force_reserve", one(Number, "1", "10"), assumed_in("2", "1.5", "3"), "how many times the sideways load the cylinder must be able to push, in the short list of cylinders";

    PropFlow: "valve.proportional" "rated_flow", one(Flow, "0.5 L/min", "300 L/min"), required("\"9 L/min\""), "rated flow of each metering edge";
    PropDrop: "valve.proportional" "rated_drop", one(Pressure, "1 bar", "100 bar"), required("\"5 bar\""), "pressure drop over that edge at the rated flow";
    PropDead: "valve.proportional" "dead_time", linear(Time, "0 ms", "500 ms"), assumed_in("\"30 ms\"", "10 ms", "60 ms"), "from command to the first movement of the spool, warm oil";
    PropLag: "valve.proportional" "spool_lag", linear(Time, "1 ms", "1000 ms"), assumed_in("\"60 ms\"", "30 ms", "120 ms"), "first-order lag of the spool, warm oil";
    Deadband: "valve.proportional" "deadband", apart(Share, "0 %", "50 %"), sourced_in("\"15 %\"", "assumed; 10 to 25 % of travel is a value from memory", "10 %", "25 %"), "share of the command that opens nothing, either way";
    DeadbandJump: "valve.proportional" "deadband_compensation", apart(Share, "0 %", "100 %"), assumed_in("\"90 %\"", "50 %", "100 %"), "share of the deadband that the electronics jump over";
    DirFlow: "valve.directional" "rated_flow", one(Flow, "0.5 L/min", "300 L/min"), required("\"5 L/min\""), "rated flow of each edge";
    DirDrop: "valve.directional" "rated_drop", one(Pressure, "1 bar", "100 bar"), required("\"5 bar\""), "pressure drop over that edge at the rated flow";
    DirOpen: "valve.directional" "open_time", apart(Time, "0 ms", "1000 ms"), assumed_in("\"40 ms\"", "20 ms", "100 ms"), "from command to open, warm oil";
    DirClose: "valve.directional" "close_time", apart(Time, "0 ms", "1000 ms"), assumed_in("\"40 ms\"", "20 ms", "100 ms"), "from command to closed, warm oil";

    ColdDead: "cold_oil" "dead_time_factor", linear(Number, "1", "10"), assumed_in("1", "1", "2.5"), "factor on dead time and switching times; 1 is warm oil";
    ColdLag: "cold_oil" "lag_factor", linear(Number, "1", "10"), assumed_in("1", "1", "2"), "factor on the spool lag; 1 is warm oil";
    ColdFlow: "cold_oil" "flow_factor", linear(Number, "0.1", "1"), assumed_in("1", "0.7", "1"), "factor on the rated flow; 1 is warm oil";

    FarmArea: "farm" "area", one(Area, "0.01 ha", "100000 ha"), required("\"10 ha\""), "land to work in one round";
    RowLength: "farm" "row_length", one(Length, "10 m", "5000 m"), optional("\"200 m\""), "length of the rows: every rate, cost and answer holds for such a row, entry stretch included; left out: the length of the pass";
    TurnTime: "farm" "turn_time", one(Time, "2 s", "600 s"), assumed_in("\"20 s\"", "12 s", "45 s"), "from lifting to lowering at the headland";
    IdleShare: "farm" "idle_share", one(Share, "0 %", "90 %"), assumed_in("\"10 %\"", "5 %", "30 %"), "share of the time in the field lost to setting, filling up and rest";
    Rounds: "farm" "rounds", Shape::Count { low: 1, high: 20 }, assumed("3"), "times a season that the whole area is worked";
    WorkableDays: "farm" "workable_days", one(Number, "0.1", "365"), required("8"), "days that soil and weather allow for one round";
    DayHours: "farm" "day_hours", one(Number, "0", "24"), assumed_in("8", "4", "14"), "hours of work by daylight on such a day";
    NightHours: "farm" "night_hours", one(Number, "0", "24"), assumed_in("0", "0", "8"), "hours of work under lights on such a day";
    NightNoise: "farm" "night_noise", one(Number, "1", "10"), assumed_in("1.3", "1", "2"), "factor on the camera's noise (each number's own and the rows' looks) under lights";

    WeedDensity: "weeds" "density", apart(Density, "0 /m2", "10000 /m2"), required("\"60 /m2\""), "weeds before the pass";
    UndercutShare: "weeds" "undercut", apart(Share, "0 %", "100 %"), sourced("\"95 %\"", "common practice, no source"), "share of the weeds in the worked strip that the tools undercut";
    WeedsAnHour: "weeds" "pulled_an_hour", apart(Number, "1", "100000"), assumed_in("1000", "400", "2500"), "weeds that one person pulls or hoes by hand in an hour; hours grow in proportion to weeds";

    Currency: "prices" "currency", Shape::Text, required("\"EUR\""), "name of the currency";
    PlantPrice: "prices" "plant", apart(Number, "0", "1000"), required("0.15"), "value of one crop plant";
    TouchedLost: "prices" "touched_lost", apart(Share, "0 %", "100 %"), assumed_in("{ from = \"0 %\", to = \"20 %\" }", "0 %", "20 %"), "share of the touched plants that is lost; a cut plant always is";
    LabourPrice: "prices" "labour_hour", apart(Number, "0", "10000"), required("16"), "an hour of weeding by hand";
    MachinePrice: "prices" "machine_hour", apart(Number, "0", "100000"), required("70"), "an hour in the field: tractor, implement, driver and fuel";

    PlantHeights: "growth" "heights", list(Length, "5 mm", "5000 mm"), required("[\"80 mm\", \"200 mm\", \"400 mm\"]"), "height of the plants at each stage, rising";
    StageRadii: "growth" "protected_radii", list(Length, "0 mm", "400 mm"), required("[\"15 mm\", \"25 mm\", \"40 mm\"]"), "radius round the plant's centre that must stay untouched at each stage, stem and roots together, rising";
    StageStems: "growth" "stem_radii", list(Length, "0 mm", "200 mm"), optional("[\"5 mm\", \"8 mm\", \"13 mm\"]"), "radius of the stem at each stage, rising; left out: a third of the protected radius, assumed";

    Thrown: "soil" "thrown", one(Length, "0 mm", "2000 mm"), required("\"40 mm\""), "how far beyond the edge of the tools soil was seen to fly";
    ThrownAt: "soil" "thrown_at", one(Speed, "0.5 km/h", "25 km/h"), required("\"6 km/h\""), "speed at which that was seen";
    Covering: "soil" "covering", Shape::Choice(&["unwanted", "wanted"]), assumed("\"unwanted\""), "whether soil may reach the plants: unwanted where the crop is cut low or eaten as leaf";
    Depth: "soil" "depth", one(Length, "5 mm", "300 mm"), sourced("\"50 mm\"", "common practice, no source: about 2 in"), "working depth, held by a gauge wheel on each row unit";
    Texture: "soil" "texture", Shape::Choice(&["fine", "medium", "coarse"]), assumed("\"medium\""), "soil texture: fine is clay, coarse is sand";
    Shank: "soil" "shank", Shape::Choice(&["s_tine", "c_shank", "no_till"]), assumed("\"s_tine\""), "kind of row-crop cultivator";
    Traction: "soil" "traction", one(Share, "10 %", "100 %"), sourced("\"72 %\"", "ASABE D497, second hand: tractive efficiency on firm soil"), "share of the axle's power that becomes pull";
    TractorPower: "soil" "tractor_power", one(Power, "5 kW", "1000 kW"), required("\"75 kW\""), "rated power of the tractor at the power take-off";

    ToolWidths: "workshop" "tool_widths", list(Length, "20 mm", "1500 mm"), required("[\"100 mm\", \"125 mm\", \"150 mm\", \"200 mm\", \"250 mm\"]"), "cutting widths of the tools on hand, rising";
    ToolOverlap: "workshop" "overlap", one(Length, "0 mm", "300 mm"), assumed_in("\"25 mm\"", "15 mm", "50 mm"), "least overlap of tools side by side";
    OuterReach: "workshop" "outer_reach", one(Length, "20 mm", "2000 mm"), optional("\"200 mm\""), "how far beyond the outermost rows the tools work; left out: half the way to the next row";

    PriceOnOffValve: "change_prices" "on_off_valve", one(Number, "0", "10000000"), optional("1000"), "camera and on-off valve on a locked frame";
    PriceProportionalValve: "change_prices" "proportional_valve", one(Number, "0", "10000000"), optional("1000"), "camera and proportional valve instead of what is there";
    PriceLagCompensation: "change_prices" "lag_compensation", one(Number, "0", "10000000"), optional("1000"), "lag compensation instead of the PID";
    PriceYawRateSensor: "change_prices" "yaw_rate_sensor", one(Number, "0", "10000000"), optional("1000"), "a yaw-rate sensor with lag compensation";
    PriceMoreFrames: "change_prices" "more_frames", one(Number, "0", "10000000"), optional("1000"), "a camera with twice the frames";
    PriceLessLatency: "change_prices" "less_latency", one(Number, "0", "10000000"), optional("1000"), "half the camera's latency";
    PriceQuickValve: "change_prices" "quick_valve", one(Number, "0", "10000000"), optional("1000"), "a valve twice as quick";
    PriceLookFurther: "change_prices" "look_further", one(Number, "0", "10000000"), optional("1000"), "the camera set to look further ahead";
    PriceLookNearer: "change_prices" "look_nearer", one(Number, "0", "10000000"), optional("1000"), "the camera set to look less far ahead";
    PriceMoreStroke: "change_prices" "more_stroke", one(Number, "0", "10000000"), optional("1000"), "100 mm (4 in) more stroke";
    PriceMoreOil: "change_prices" "more_oil", one(Number, "0", "10000000"), optional("1000"), "half as much oil again, pump and valve";
    PriceCleanRows: "change_prices" "clean_rows", one(Number, "0", "10000000"), optional("1000"), "rows that look half as far off: hoed earlier, shaded or lit";
    PriceSteadyMount: "change_prices" "steady_mount", one(Number, "0", "10000000"), optional("1000"), "half the camera's roll: a stiffer mount";
    PriceFinerCamera: "change_prices" "finer_camera", one(Number, "0", "10000000"), optional("1000"), "half the noise of the camera's numbers";
    PriceFewerGaps: "change_prices" "fewer_gaps", one(Number, "0", "10000000"), optional("1000"), "half as many stretches without sight of the row";
    PriceAlignedCamera: "change_prices" "aligned_camera", one(Number, "0", "10000000"), optional("1000"), "a camera aligned twice as well";
    PriceToolsSet: "change_prices" "tools_set", one(Number, "0", "10000000"), optional("1000"), "edges set twice as well";
    PriceExactPlanting: "change_prices" "exact_planting", one(Number, "0", "10000000"), optional("1000"), "plants set half as far off their line";
    PriceSteadyDriver: "change_prices" "steady_driver", one(Number, "0", "10000000"), optional("1000"), "half the tractor's wander: a steadier driver or steering aid";
    PriceStraightPlanting: "change_prices" "straight_planting", one(Number, "0", "10000000"), optional("1000"), "half the planter's wander";
    PriceTightLinks: "change_prices" "tight_links", one(Number, "0", "10000000"), optional("1000"), "lower links without play";
    PriceWideBends: "change_prices" "wide_bends", one(Number, "0", "10000000"), optional("1000"), "rows laid with bends half as sharp";
    PriceLessSidePush: "change_prices" "less_side_push", one(Number, "0", "10000000"), optional("1000"), "half of what slope and soil push";
    PriceFrameSetBefore: "change_prices" "frame_set_before", one(Number, "0", "10000000"), optional("1000"), "the frame set by the camera before the tools touch the soil";
    PriceStraightEntry: "change_prices" "straight_entry", one(Number, "0", "10000000"), optional("1000"), "half the error with which the headland turn ends";
    PriceSlowEntry: "change_prices" "slow_entry", one(Number, "0", "10000000"), optional("1000"), "the entry stretch driven at the slowest simulated speed";
    PriceLongApproach: "change_prices" "long_approach", one(Number, "0", "10000000"), optional("1000"), "ten metres more along the row before lowering";
    PriceShields: "change_prices" "shields", one(Number, "0", "10000000"), optional("1000"), "shields that halve how far soil flies";
}
