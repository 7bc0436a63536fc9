//! A machine with one or two of its values changed through a list, every setting on the same passes.

use super::compare::How;
use super::trial::{Ask, Cell, Sample, Stopped, Trials, as_it_is};
use crate::linear::{self, Unstable};
use crate::model::controller::Kind;
use crate::montecarlo::study::{Watch, runnable};
use crate::montecarlo::workers::NoThreads;
use crate::results::answers::Limited;
use crate::results::comparison::{Sweep, Swept, SweptController, SweptKey};
use crate::results::{LEVEL, Tool};
use crate::scenario::{Given, Scenario, ScenarioError, keys};

/// Most settings of a sweep (our choice: more have no room in a table or picture).
pub const MOST_SETTINGS: usize = 64;

/// Option that messages name.
const OVER: &str = "--over";

/// A key and the values that it is given one after the other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Over {
    /// Key with its table, as in `camera.latency`.
    pub key: String,
    /// Its values, as in a scenario file or without quotation marks.
    pub values: Vec<String>,
}

impl Over {
    /// From `KEY=VALUE, VALUE`. Commas inside brackets and quotation marks part nothing.
    ///
    /// # Errors
    ///
    /// No key, or an empty value: what would be right.
    pub fn parse(text: &str) -> Result<Over, String> {
        let given = Given::parse(text)?;
        let values = parted(&given.value);
        if values.iter().any(String::is_empty) {
            return Err(
                "values with commas between them are wanted, such as camera.latency=\"40 ms, 80 ms\""
                    .into(),
            );
        }
        Ok(Over {
            key: given.key,
            values,
        })
    }

    fn given(&self, value: &str) -> Given {
        Given {
            key: self.key.clone(),
            value: value.into(),
            option: OVER,
        }
    }
}

/// The values of a list with commas between them.
fn parted(text: &str) -> Vec<String> {
    let (mut values, mut depth, mut quoted) = (vec![String::new()], 0_i32, None);
    for letter in text.chars() {
        match (quoted, letter) {
            (Some(mark), _) if mark == letter => quoted = None,
            (None, '"' | '\'') => quoted = Some(letter),
            (None, '[' | '{') => depth += 1,
            (None, ']' | '}') => depth -= 1,
            (None, ',') if depth == 0 => {
                values.push(String::new());
                continue;
            }
            _ => {}
        }
        if let Some(last) = values.last_mut() {
            last.push(letter);
        }
    }
    values
        .iter()
        .map(|value| value.trim().to_string())
        .collect()
}

/// Why nothing was swept over.
#[derive(Debug, thiserror::Error)]
pub enum SweepError {
    /// No key, or more than two.
    #[error("one or two keys can be swept over, not {0}: a table or picture has no room for more")]
    Keys(usize),
    /// One key twice.
    #[error("{0} is swept over twice: give all its values to one --over")]
    Twice(String),
    /// More settings than there is room for.
    #[error("{0} settings are too many: at most {MOST_SETTINGS} are simulated; give fewer values")]
    Settings(usize),
    /// A value that the scenario does not take.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The machine runs no controller.
    #[error("{file}: the machine runs none of the controllers that its scenario asks for")]
    NoController {
        /// File of the scenario.
        file: String,
    },
    /// Somebody stopped it.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// The machine gave no threads.
    #[error(transparent)]
    Threads(#[from] NoThreads),
}

/// A scenario on its passes.
struct Ran {
    kinds: Vec<(Kind, Result<usize, Unstable>)>,
    sample: Sample,
}

impl Ran {
    fn new(scenario: &Scenario, how: How, watch: &dyn Watch) -> Result<Ran, SweepError> {
        let (setup, study) = (scenario.nominal(), scenario.study());
        let speed_m_s = study.working_speed_m_s;
        let mut stable = Vec::new();
        let mut kinds = Vec::new();
        for kind in runnable(scenario) {
            match linear::check_stable(&setup, kind, speed_m_s) {
                Ok(_) => {
                    kinds.push((kind, Ok(stable.len())));
                    stable.push(kind);
                }
                Err(why) => kinds.push((kind, Err(why))),
            }
        }
        let ask = Ask {
            passes: how.passes,
            speeds_m_s: &[speed_m_s],
            clearances_m: &[study.working_clearance_m],
        };
        let trials = Trials::new(scenario, how.seed, how.threads, watch)?;
        Ok(Ran {
            kinds,
            sample: trials.run(&ask, &stable, &as_it_is)?,
        })
    }

    fn cell(&self, kind: Kind) -> Option<&Cell> {
        let (_, place) = self.kinds.iter().find(|(own, _)| *own == kind)?;
        place.as_ref().ok().map(|&place| self.sample.cell(0, place))
    }

    /// The controller with the lowest upper limit.
    fn best(&self) -> Option<Kind> {
        let rated = self
            .kinds
            .iter()
            .filter_map(|(kind, _)| Some((*kind, rate(self.cell(*kind)?).upper)));
        rated
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(kind, _)| kind)
    }

    fn told(&self, own: &Ran) -> Vec<SweptController> {
        let told = |(kind, place): &(Kind, Result<usize, Unstable>)| {
            let cell = self.cell(*kind);
            SweptController {
                controller: *kind,
                unstable: place.as_ref().err().copied(),
                cut: cell.map(rate),
                difference: cell
                    .zip(own.cell(*kind))
                    .map(|(cell, own)| cell.less(own, 0)),
            }
        };
        self.kinds.iter().map(told).collect()
    }
}

fn rate(cell: &Cell) -> Limited {
    let estimate = cell.estimates()[0];
    Limited {
        value: estimate.rate,
        lower: estimate.lower,
        upper: estimate.upper,
    }
}

/// Every combination of the values, the last key running fastest.
fn combinations(over: &[Over]) -> Vec<Vec<String>> {
    over.iter().fold(vec![Vec::new()], |before, one| {
        let longer = before.iter().flat_map(|values| {
            one.values.iter().map(move |value| {
                let mut values = values.clone();
                values.push(value.clone());
                values
            })
        });
        longer.collect()
    })
}

/// Runs the scenario at its working speed and clearance as it stands and with every value, or every pair of values, on the same passes.
///
/// # Errors
///
/// No key or more than two, one key twice, too many settings, or a value that the scenario does not take, all before any pass; no
/// controller; a stop; no threads.
pub fn sweep(
    scenario: &Scenario,
    over: &[Over],
    how: How,
    watch: &dyn Watch,
) -> Result<Sweep, SweepError> {
    if !(1..=2).contains(&over.len()) {
        return Err(SweepError::Keys(over.len()));
    }
    if let [one, other] = over
        && one.key == other.key
    {
        return Err(SweepError::Twice(one.key.clone()));
    }
    let asked: usize = over.iter().map(|one| one.values.len()).product();
    if asked > MOST_SETTINGS {
        return Err(SweepError::Settings(asked));
    }
    let mut changed = Vec::new();
    for values in combinations(over) {
        let given: Vec<Given> = over
            .iter()
            .zip(&values)
            .map(|(one, value)| one.given(value))
            .collect();
        changed.push(scenario.changed(&given)?);
    }
    let own = Ran::new(scenario, how, watch)?;
    let best = own.best().ok_or_else(|| SweepError::NoController {
        file: scenario.file().into(),
    })?;
    let mut settings = Vec::new();
    for one in &changed {
        settings.push(swept(one, over, &Ran::new(one, how, watch)?, &own));
    }
    let study = scenario.study();
    let swept_key = |one: &Over| SweptKey {
        key: one.key.clone(),
        meaning: keys::KEYS
            .iter()
            .find(|key| key.path() == one.key)
            .map_or(String::new(), |key| key.meaning.into()),
        own: scenario.value(&one.key).map(|(written, _)| written),
    };
    Ok(Sweep {
        tool: Tool::this(),
        scenario: scenario.stamp(),
        seed: how.seed,
        passes: how.passes,
        level: LEVEL,
        allowed_cut_rate: study.allowed_cut_rate,
        working_speed_m_s: study.working_speed_m_s,
        working_clearance_m: study.working_clearance_m,
        over: over.iter().map(swept_key).collect(),
        controller: best,
        own: swept(scenario, over, &own, &own),
        settings,
    })
}

fn swept(scenario: &Scenario, over: &[Over], ran: &Ran, own: &Ran) -> Swept {
    let values = || over.iter().map(|one| scenario.value(&one.key));
    let study = scenario.study();
    Swept {
        values: values()
            .map(|value| value.map_or("none".into(), |(written, _)| written))
            .collect(),
        numbers: values()
            .map(|value| value.and_then(|(_, number)| number))
            .collect(),
        speed_m_s: study.working_speed_m_s,
        clearance_m: study.working_clearance_m,
        controllers: ran.told(own),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::study::Unwatched;
    use crate::scenario::known_demo;

    const HOW: How = How {
        seed: 3,
        passes: 24,
        threads: Some(1),
    };

    #[test]
    fn regress_commas_inside_brackets_part_nothing() {
        let parted = |text| Over::parse(text).unwrap().values;
        assert_eq!(
            parted("camera.latency=40 ms, \"80 ms\""),
            ["40 ms", "\"80 ms\""]
        );
        let spread = "{ from = \"60 ms\", to = \"100 ms\" }";
        assert_eq!(
            parted(&format!("camera.latency = 40 ms,{spread}")),
            ["40 ms", spread]
        );
        for wrong in ["camera.latency", "camera.latency=", "camera.latency=40 ms,"] {
            assert!(Over::parse(wrong).is_err(), "{wrong}");
        }
    }

    /// The scenario's own value differs from itself by nothing; more latency cuts more plants under a controller that sees, and exactly as
    /// many under a locked frame.
    #[test]
    fn prop_the_own_value_differs_by_nothing() {
        let demo = known_demo();
        let over = [Over::parse("camera.latency=80 ms, 400 ms").unwrap()];
        let found = sweep(&demo, &over, HOW, &Unwatched).unwrap();
        assert_eq!(found.over[0].own.as_deref(), Some("80 ms"));
        assert_eq!(found.settings[0].controllers, found.own.controllers);
        for one in &found.settings[0].controllers {
            let none = one.difference.unwrap();
            assert_eq!((none.value, none.lower, none.upper), (0.0, 0.0, 0.0));
        }
        let late = &found.settings[1];
        assert_eq!(late.numbers, [Some(0.4)]);
        let of = |kind: Kind| {
            late.controllers
                .iter()
                .find(|one| one.controller == kind)
                .unwrap()
        };
        assert_eq!(of(Kind::Locked).difference.unwrap().value, 0.0);
        assert!(of(Kind::LagCompensated).difference.unwrap().lower > 0.0);
    }

    #[test]
    fn prop_what_cannot_be_swept_is_refused_before_any_pass() {
        let demo = known_demo();
        let told = |texts: &[&str]| {
            let over: Vec<Over> = texts
                .iter()
                .map(|text| Over::parse(text).unwrap())
                .collect();
            sweep(&demo, &over, HOW, &Unwatched)
                .unwrap_err()
                .to_string()
        };
        assert!(told(&[]).contains("one or two keys"));
        let three = [
            "camera.latency=1 ms",
            "camera.frames=20 Hz",
            "camera.lookahead=1 m",
        ];
        assert!(told(&three).contains("not 3"));
        assert!(told(&[three[0], three[0]]).contains("twice"));
        let many = format!("camera.latency={}", vec!["10 ms"; 65].join(","));
        assert!(told(&[&many]).contains("at most 64"));
        assert!(told(&["camera.latncy=1 ms"]).contains("--over camera.latncy"));
        assert!(told(&["camera.latency=5 km/h"]).contains("is a speed"));
    }
}
