//! What the files of the trials say.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::Path;

use rowroom::scenario::keys::{KEYS, Need};
use rowroom::scenario::units::{self, Quantity};
use rowroom::scenario::{Given, Scenario};
use rowroom::trust::Bound;
use serde::Deserialize;

type Values = BTreeMap<String, toml::Value>;

/// The machines that stand for what no report tells of one.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Machines {
    scenario: String,
    machine: Vec<Values>,
}

/// A trial.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trial {
    #[serde(skip)]
    pub name: String,
    pub title: String,
    pub source: String,
    pub known: String,
    pub informed: String,
    pub conditions: String,
    pub driver: String,
    #[serde(default)]
    pub controllers: Vec<String>,
    pub alternative_driver: Option<String>,
    pub replay: Option<Replay>,
    pub measured: Vec<Measured>,
    reported: Values,
    #[serde(default)]
    taken: Values,
}

/// A path that the tractor drives: a sine about the planned line.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Replay {
    amplitude: String,
    wavelengths: Vec<String>,
}

/// A number that the trial gives.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    pub quantity: What,
    pub what: Option<String>,
    #[serde(default)]
    pub speeds: Vec<String>,
    pub value: String,
    pub error: String,
    /// Why that uncertainty.
    #[serde(rename = "error_why")]
    pub why: String,
    pub bound: Option<Bound>,
    pub band: Option<String>,
    pub clearance: Option<String>,
    pub known: Option<String>,
    #[serde(default)]
    set: Values,
    #[serde(default, rename = "if")]
    pub what_if: Vec<If>,
}

/// Something changed, to see what would explain what was measured.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct If {
    pub what: String,
    #[serde(default)]
    set: Values,
    /// Whether the trial measured against single plants, whose scatter about their row is then in its number.
    #[serde(default)]
    pub against_plants: bool,
}

/// What can be measured. "Tools" is the middle between the tools off the guided rows, entry stretch left out; "axle" the rear axle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// Standard deviation about the mean of the field.
    ToolSd,
    /// Root mean square, camera alignment in it.
    ToolRms,
    /// Mean without sign, that of a bell curve with this rms.
    ToolMeanAbs,
    /// Amplitude of a sine.
    ToolPeak,
    /// 95 % point without sign, that of a bell curve with this rms.
    ToolP95,
    /// Share of the way within a band.
    ToolWithin,
    /// Standard deviation at the last speed over that at the first.
    ToolGrowth,
    AxleSd,
    AxleP95,
    AxleGrowth,
    /// Share of the plants cut beyond the entry stretch, where trials have their plots; its natural logarithm.
    Cut,
    /// Rise of a valve from 10 to 90 %.
    ValveRise,
    /// Frequency where the power of the steering angle peaks.
    SteeringPeak,
    /// Cross-track error as the receiver that steers tells it: its own error is in it.
    ReceiverSd,
    /// Scatter of plants about their row.
    PlantScatter,
    /// Power that the pull of six rows takes.
    PullPower,
}

impl What {
    /// What the unit of its values measures, and that unit.
    pub fn unit(self) -> (Quantity, &'static str) {
        match self {
            What::ToolWithin | What::Cut => (Quantity::Share, "%"),
            What::ToolGrowth | What::AxleGrowth => (Quantity::Number, "x"),
            What::ValveRise => (Quantity::Time, "ms"),
            What::SteeringPeak => (Quantity::Frequency, "Hz"),
            What::PullPower => (Quantity::Power, "kW"),
            _ => (Quantity::Length, "mm"),
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            What::ToolSd => "tools off the row, sd",
            What::ToolRms => "tools off the row, rms",
            What::ToolMeanAbs => "tools off the row, mean",
            What::ToolPeak => "tools off the row, peak",
            What::ToolP95 => "tools off the row, 95 %",
            What::ToolWithin => "tools near the row",
            What::ToolGrowth => "growth of the tools' sd",
            What::AxleSd => "tractor off the line, sd",
            What::AxleP95 => "tractor off the line, 95 %",
            What::AxleGrowth => "growth of the tractor's sd",
            What::Cut => "plants cut",
            What::ValveRise => "rise of the valve",
            What::SteeringPeak => "peak of steering",
            What::ReceiverSd => "tractor off the line by its own receiver, sd",
            What::PlantScatter => "plants about their row",
            What::PullPower => "power of the pull",
        }
    }

    pub fn is_part(self) -> bool {
        matches!(
            self,
            What::ValveRise
                | What::SteeringPeak
                | What::ReceiverSd
                | What::PlantScatter
                | What::PullPower
        )
    }

    pub fn is_axle(self) -> bool {
        matches!(self, What::AxleSd | What::AxleP95 | What::AxleGrowth)
    }

    pub fn is_growth(self) -> bool {
        matches!(self, What::ToolGrowth | What::AxleGrowth)
    }
}

impl Measured {
    pub fn value(&self) -> f64 {
        si(&self.value, self.quantity.unit().0)
    }

    pub fn error(&self) -> f64 {
        si(&self.error, self.quantity.unit().0)
    }

    pub fn band_m(&self) -> f64 {
        (self.band.as_deref()).map_or(0.05, |band| si(band, Quantity::Length))
    }

    pub fn speeds_m_s(&self) -> Vec<f64> {
        self.speeds
            .iter()
            .map(|speed| si(speed, Quantity::Speed))
            .collect()
    }

    /// What and where, in words.
    pub fn words(&self) -> String {
        let mut words = self.quantity.words().to_owned();
        let mut add = |text: &str| words = format!("{words}, {text}");
        if let Some(clearance) = &self.clearance {
            add(&format!("tools {clearance} off"));
        }
        if let (What::ToolWithin, Some(band)) = (self.quantity, &self.band) {
            add(&format!("within {band}"));
        }
        if let Some(what) = &self.what {
            add(what);
        }
        match (self.speeds.first(), self.speeds.last()) {
            (Some(first), Some(last)) if first != last => {
                let first = first.split(' ').next().unwrap_or(first);
                add(&format!("{first} to {last}"));
            }
            (Some(first), _) => add(first),
            _ => {}
        }
        words
    }
}

/// A quantity in SI as people write it.
fn si(text: &str, quantity: Quantity) -> f64 {
    match quantity {
        // The language has no hertz that is not a frame rate's, and kilohertz are none of a hand's.
        Quantity::Frequency => text.trim_end_matches(" Hz").parse().expect(text),
        _ => units::parse(text, quantity).map_or_else(|error| panic!("{text}: {error}"), |w| w.si),
    }
}

/// The machines and every trial of the folder, in the order of their names.
pub fn read(folder: &Path) -> (Machines, Vec<Trial>) {
    let text = |path: &Path| {
        fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
    };
    let machines = toml::from_str(&text(&folder.join("machine.toml"))).expect("machine.toml");
    let mut names: Vec<String> = (fs::read_dir(folder).expect("folder of the trials"))
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .filter_map(|name| Some(name.strip_suffix(".toml")?.to_owned()))
        .filter(|name| name != "machine")
        .collect();
    names.sort();
    let trials = names.into_iter().map(|name| {
        let file = folder.join(format!("{name}.toml"));
        let mut trial: Trial =
            toml::from_str(&text(&file)).unwrap_or_else(|error| panic!("{name}: {error}"));
        trial.name = name;
        trial
    });
    (machines, trials.collect())
}

impl Trial {
    /// Whether anything moves the frame.
    pub fn is_guided(&self) -> bool {
        self.controllers.is_empty()
    }

    /// One scenario for each machine that may stand for the trial's, for each length of a path that is not told.
    pub fn scenarios(&self, machines: &Machines, measured: &Measured) -> Vec<Scenario> {
        self.scenarios_of(machines, measured, &self.driver, &Values::new())
    }

    /// The same with something changed.
    pub fn scenarios_if(
        &self,
        machines: &Machines,
        measured: &Measured,
        one: &If,
    ) -> Vec<Scenario> {
        self.scenarios_of(machines, measured, &self.driver, &one.set)
    }

    /// The same with another driver.
    pub fn scenarios_under(
        &self,
        machines: &Machines,
        measured: &Measured,
        driver: &str,
    ) -> Vec<Scenario> {
        self.scenarios_of(machines, measured, driver, &Values::new())
    }

    fn scenarios_of(
        &self,
        machines: &Machines,
        measured: &Measured,
        driver: &str,
        changed: &Values,
    ) -> Vec<Scenario> {
        let none = [String::new()];
        let lengths = (self.replay.as_ref()).map_or(&none[..], |replay| &replay.wavelengths);
        let mut all = Vec::new();
        for machine in &machines.machine {
            let layers = [machine, &self.reported, &self.taken, &measured.set, changed];
            for length in lengths {
                let log = self.replay.as_ref().map(|replay| replay.log(length));
                all.push(self.scenario(machines, measured, driver, &layers, log.as_deref()));
            }
        }
        all
    }

    fn scenario(
        &self,
        machines: &Machines,
        measured: &Measured,
        driver: &str,
        layers: &[&Values],
        log: Option<&str>,
    ) -> Scenario {
        let text = format!("{}\n[driver.{driver}]\n", machines.scenario);
        let mut values = Values::new();
        for layer in layers {
            values.extend(
                layer
                    .iter()
                    .map(|(key, value)| (key.clone(), value.clone())),
            );
        }
        // What the file says of its own driver is not of another one.
        values.retain(|key, _| driver == self.driver || !key.starts_with("driver."));
        leave_open(&mut values, driver);
        let list = |texts: &[String]| {
            toml::Value::Array(texts.iter().map(|text| text.clone().into()).collect())
        };
        // A part has no speed, or one of another vehicle.
        let speeds = match measured.speeds.as_slice() {
            speeds if !measured.quantity.is_part() => speeds,
            _ => &["6 km/h".to_owned()],
        };
        values.insert("study.speeds".into(), list(speeds));
        values.insert("study.working_speed".into(), speeds[0].clone().into());
        let clearance = measured.clearance.clone().unwrap_or("50 mm".into());
        values.insert(
            "study.clearances".into(),
            list(std::slice::from_ref(&clearance)),
        );
        values.insert("study.working_clearance".into(), clearance.into());
        let given: Vec<Given> = values
            .iter()
            .map(|(key, value)| Given::parse(&format!("{key}={value}")).expect(key))
            .collect();
        let file = format!("{}.toml", self.name);
        let none = |_: &str| Err(io::ErrorKind::NotFound.into());
        let replay = log.map(|log| (log, "sine.csv"));
        Scenario::parse_with(&text, &file, &none, replay, &given)
            .unwrap_or_else(|error| panic!("{}: {error}", self.name))
    }
}

/// Tables of which a report tells next to nothing. Not among them: how a hand or a satellite steers, where values hang together (a driver
/// who reacts late looks further, a steering is set for its speed), delays that a controller is set for, and what is none by default.
const OPEN: [&str; 4] = ["camera", "hitch.rear", "hydraulics", "valve.proportional"];

/// Lets every value of those tables that nobody gave lie anywhere in the plausible range of its default.
fn leave_open(values: &mut Values, driver: &str) {
    let growth = "driver.satellite_line.growth_at_speed";
    let line = driver == "satellite_line";
    for key in KEYS {
        let is_open = OPEN.contains(&key.table) || (line && key.path() == growth);
        let Need::Default {
            value,
            plausible: Some(range),
            ..
        } = key.need
        else {
            continue;
        };
        let is_none = value.trim_matches('"').starts_with("0 ") || value.starts_with('{');
        if !is_open || !key.may_vary() || is_none || values.contains_key(&key.path()) {
            continue;
        }
        let ends = [("least", range.from), ("most", range.to)];
        let ends = ends.map(|(name, end)| (name.to_owned(), toml::Value::from(end)));
        values.insert(key.path(), toml::Value::Table(ends.into_iter().collect()));
    }
}

/// Way that a path of a trial covers, m: the pass and what the tools and the warm-up need beyond it.
const PATH_M: f64 = 220.0;

impl Replay {
    /// The path as a log, which begins where the sine does: the passes of a study share one.
    fn log(&self, wavelength: &str) -> String {
        let [amplitude_m, wavelength_m] =
            [self.amplitude.as_str(), wavelength].map(|text| si(text, Quantity::Length));
        let mut log = "distance_m,offset_m\n".to_owned();
        for i in 0..=(2.0 * PATH_M) as usize {
            let s_m = 0.5 * i as f64;
            let phase = 2.0 * std::f64::consts::PI * s_m / wavelength_m;
            log += &format!("{s_m},{:.5}\n", amplitude_m * phase.sin());
        }
        log
    }
}
