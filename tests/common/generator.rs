//! Random scenario files from the list of keys.

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use rowroom::scenario::keys::{Id, KEYS, Key, Need, Presence, Shape, TABLES};
use rowroom::scenario::units::{Quantity, Unit};

/// A scenario file and what stands in it.
#[derive(Clone, Debug)]
pub struct Made {
    pub text: String,
    /// Key and value as written.
    pub written: Vec<(String, String)>,
    log: Option<String>,
}

impl Made {
    pub fn replay(&self) -> Option<(&str, &str)> {
        self.log.as_deref().map(|log| (log, "log.csv"))
    }
}

/// The polyline that any scenario can name.
pub fn files(name: &str) -> std::io::Result<String> {
    match name {
        "rows.csv" => Ok("x_m,y_m\n0,0\n500,0\n1200,10\n2100,15\n".to_string()),
        _ => Err(std::io::ErrorKind::NotFound.into()),
    }
}

/// The unit in which any value of a quantity can be written without loss worth naming.
pub fn plain_unit(quantity: Quantity) -> &'static Unit {
    let units = quantity.units();
    units
        .iter()
        .find(|unit| ["m", "m/s", "s", "rad", "rad/s", "Pa", "m3/s", "N", ""].contains(&unit.name))
        .unwrap_or(&units[0])
}

/// Random scenarios that keep the rules that join keys.
pub fn scenarios() -> impl Strategy<Value = Made> {
    any::<[u8; 32]>().prop_map(|seed| {
        let rng = proptest::test_runner::TestRng::from_seed(
            proptest::test_runner::RngAlgorithm::ChaCha,
            &seed,
        );
        let mut dice = Dice(TestRunner::new_with_rng(Default::default(), rng));
        make(&mut dice)
    })
}

struct Dice(TestRunner);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        (0..n).new_tree(&mut self.0).unwrap().current()
    }

    fn coin(&mut self) -> bool {
        self.below(2) == 0
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        let share = self.below(1_000_001) as f64 / 1e6;
        low + share * (high - low)
    }
}

fn make(dice: &mut Dice) -> Made {
    let mut made = Made {
        text: String::new(),
        written: Vec::new(),
        log: None,
    };
    let mut groups: Vec<(&str, &str)> = Vec::new();
    for table in TABLES {
        let there = match (table.presence, table.group()) {
            (Presence::OneOfGroup, Some(group)) => {
                let known = groups.iter().find(|(name, _)| *name == group);
                let chosen = known.map(|(_, chosen)| *chosen).unwrap_or_else(|| {
                    let members: Vec<&str> = TABLES
                        .iter()
                        .filter(|other| other.group() == Some(group))
                        .map(|other| other.name)
                        .collect();
                    members[dice.below(members.len())]
                });
                groups.push((group, chosen));
                chosen == table.name
            }
            (Presence::IfFitted, _) => {
                dice.coin()
                    || (table.name == "sensors.yaw_rate"
                        && made.text.contains("[tracker.kalman_yaw]"))
            }
            _ => true,
        };
        if !there {
            continue;
        }
        if !table.name.is_empty() {
            made.text.push_str(&format!("[{}]\n", table.name));
        }
        for key in KEYS.iter().filter(|key| key.table == table.name) {
            if let Some(value) = value(dice, key, &made) {
                made.text.push_str(&format!("{} = {value}\n", key.name));
                if !key.table.is_empty() {
                    made.written.push((key.path(), value));
                }
            }
        }
    }
    if made.text.contains("[driver.replay]") {
        // A logged pass has no approach.
        let approach = made.written.iter().find(|(key, _)| key == "pass.approach");
        if let Some((_, value)) = approach {
            made.text = made.text.replace(&format!("approach = {value}\n"), "");
            made.text = made.text.replace("\"following\"", "\"held\"");
            made.written.retain(|(key, value)| {
                key != "pass.approach" && !(key == "pass.while_lifted" && value == "\"following\"")
            });
        }
        let points: String = (0..=2600).map(|i| format!("{i},0.01\n")).collect();
        made.log = Some(format!("distance_m,offset_m\n{points}"));
    }
    made
}

/// A value for a key, or nothing where it may be left out; keys that others bind are kept within what binds them.
fn value(dice: &mut Dice, key: &Key, made: &Made) -> Option<String> {
    let written = |path: &str| {
        let found = made.written.iter().find(|(known, _)| known == path);
        found.map(|(_, value)| value.clone())
    };
    let length =
        |low: f64, high: f64, dice: &mut Dice| Some(format!("\"{} m\"", dice.between(low, high)));
    match key.id {
        Id::Name => Some("\"Random\"".to_string()),
        Id::Speeds => Some("[\"3 km/h\", \"3 mph\", \"2 m/s\"]".to_string()),
        Id::WorkingSpeed => {
            let named = ["\"3 km/h\"", "\"3 mph\"", "\"7.2 km/h\""];
            Some(named[dice.below(3)].to_string())
        }
        // Rows are never nearer than 210 mm here.
        Id::Clearances => Some("[\"20 mm\", \"1.5 in\", \"0.1 m\"]".to_string()),
        Id::WorkingClearance => {
            let named = ["\"2 cm\"", "\"38.1 mm\"", "\"100 mm\""];
            Some(named[dice.below(3)].to_string())
        }
        Id::PassLength => length(20.0, 2000.0, dice),
        Id::EntryLength => length(1.0, 10.0, dice),
        Id::WhileLifted => dice.coin().then(|| {
            let words = ["centred", "held", "following"];
            let most = 2 + usize::from(written("pass.approach").is_some());
            format!("\"{}\"", words[dice.below(most)])
        }),
        Id::Approach => dice.coin().then(|| length(0.1, 30.0, dice)).flatten(),
        Id::HeldShift => {
            (written("pass.while_lifted")?.contains("held")).then(|| "\"-50 %\"".to_string())
        }
        // Steering always reaches a radius of 6 m / tan(5 deg) = 69 m.
        Id::ArcRadius | Id::SBendRadius => length(69.0, 5000.0, dice),
        Id::PolylineFile => Some("\"rows.csv\"".to_string()),
        Id::PolylineRounding => length(20.0, 100.0, dice),
        Id::RowSpacing => length(0.21, 1.95, dice),
        Id::RowsPerBed => Some((1 + dice.below(6)).to_string()),
        Id::Beds => Some((1 + dice.below(4)).to_string()),
        Id::BedSpacing => {
            let beds = written("rows.beds")?;
            (beds != "1" || dice.coin()).then(|| {
                let rows: f64 = written("rows.rows_per_bed").unwrap().parse().unwrap();
                let spacing = written("rows.row_spacing").unwrap();
                let spacing: f64 = spacing.trim_matches(['"', 'm', ' ']).parse().unwrap();
                let least = (rows - 1.0) * spacing + 0.21;
                format!("\"{} m\"", least.min(10.0))
            })
        }
        // Together more than 0 and at most 24 hours.
        Id::DayHours => Some(dice.between(0.5, 12.0).to_string()),
        Id::NightHours => Some(dice.between(0.0, 12.0).to_string()),
        Id::PlanterRows => dice.coin().then(|| (4 + dice.below(30)).to_string()),
        Id::FirstPlanterRows => {
            let planter: usize = written("rows.planter_rows")?.parse().unwrap();
            dice.coin().then(|| (1 + dice.below(planter)).to_string())
        }
        Id::SeenRows => Some("[1]".to_string()),
        Id::HandObserved | Id::HandObservedAt | Id::LineObserved => None,
        Id::OnOffStart => length(0.02, 0.5, dice),
        Id::OnOffStop => length(0.0, 0.019, dice),
        Id::SimcTime => dice.coin().then(|| "\"0.2 s\"".to_string()),
        Id::PidGain => written("controller.pid.simc_closed_loop_time")
            .is_none()
            .then(|| "\"3 1/s\"".to_string()),
        Id::PidIntegral | Id::PidDerivative | Id::PidFilter
            if written("controller.pid.gain").is_none() || dice.coin() =>
        {
            None
        }
        Id::Return => Some(format!("\"{} bar\"", dice.between(0.0, 19.0))),
        Id::Bore => length(0.05, 0.2, dice),
        Id::Rod => length(0.005, 0.049, dice),
        _ => match key.need {
            Need::Required { .. } => Some(any_value(dice, key)),
            _ => dice.coin().then(|| any_value(dice, key)),
        },
    }
}

fn any_value(dice: &mut Dice, key: &Key) -> String {
    match key.shape {
        Shape::Quantity { quantity, .. } => {
            let (low, high) = key.range().unwrap();
            let unit = plain_unit(quantity);
            let within = |dice: &mut Dice, from: f64, to: f64| {
                let number =
                    unit.from_si(dice.between(low + from * (high - low), low + to * (high - low)));
                if unit.name.is_empty() {
                    format!("{number:?}")
                } else {
                    format!("\"{number:?} {}\"", unit.name)
                }
            };
            match dice.below(4) {
                0 if key.may_vary() => format!(
                    "{{ from = {}, to = {} }}",
                    within(dice, 0.1, 0.4),
                    within(dice, 0.5, 0.9)
                ),
                1 if key.may_vary() && !unit.is_inverse() => {
                    let sd = unit.from_si(0.2 * (high - low));
                    let sd = if unit.name.is_empty() {
                        format!("{sd:?}")
                    } else {
                        format!("\"{sd:?} {}\"", unit.name)
                    };
                    format!("{{ mean = {}, sd = {sd} }}", within(dice, 0.05, 0.95))
                }
                _ => within(dice, 0.001, 0.999),
            }
        }
        Shape::Count { low, high } => {
            (low + dice.below((high - low).min(1000) as usize + 1) as u64).to_string()
        }
        Shape::Choice(words) => format!("\"{}\"", words[dice.below(words.len())]),
        Shape::Choices(words) => format!("[\"{}\"]", words[dice.below(words.len())]),
        Shape::Text => "\"text\"".to_string(),
        Shape::Quantities { .. } | Shape::Counts { .. } => key.example().to_string(),
    }
}
