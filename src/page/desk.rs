//! Requests of the page and their answers.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::language;
use crate::answers::compare::{Entrant, How, compare};
use crate::answers::grid::settled;
use crate::answers::trial::{Ask as Passes, Trials, as_it_is};
use crate::field::log::Logs;
use crate::field::passes::{Antenna, Planned};
use crate::field::{self, look, tracks};
use crate::model::controller::Kind;
use crate::montecarlo::farms::Place;
use crate::montecarlo::learning::learned;
use crate::montecarlo::saved::Saved;
use crate::montecarlo::study::{Run, outcome, run};
use crate::quote;
use crate::report::compare::page::Page;
use crate::report::field::field_text;
use crate::report::page::film_page;
use crate::report::words::{self, warnings};
use crate::report::{File, study_files};
use crate::results::Stretch;
use crate::results::reasons::Warning;
use crate::scenario::{
    Crop, Edit, FieldNotes, Problem, Scenario, ScenarioError, Steering, Texts, Units, edited,
    short_starter,
};
use crate::study::{Part, Plan, Until, Unwatched, Watch, so_far, study};

/// Why a request has no answer, in words for the page.
type Why = Box<dyn std::error::Error>;

/// Speeds and clearances to simulate.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Grid {
    speeds_m_s: Vec<f64>,
    clearances_m: Vec<f64>,
}

/// A scenario, at speeds and clearances of its own or at these.
#[derive(Clone, Debug, PartialEq, Deserialize)]
struct Machine {
    texts: Texts,
    #[serde(default)]
    grid: Option<Grid>,
}

/// What the page may ask.
#[derive(Debug, Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case")]
enum Ask {
    /// The language of scenarios.
    Language,
    /// A short scenario to begin with.
    Starter {
        crop: String,
        driver: String,
        units: Units,
    },
    /// What is wrong with a scenario, or what holds of it.
    Check { texts: Texts },
    /// Its text with a change.
    Edit { text: String, edit: Edit },
    /// Its text with the notes of a file, which are checked with it.
    Notes { texts: Texts, file: String },
    /// What a log of positions tells of the driver.
    Log { file: String },
    /// The speeds and clearances of a whole study.
    Grid { texts: Texts },
    /// The passes of one part, to be put together.
    Part {
        machine: Machine,
        number: u64,
        of: u64,
        passes: u64,
    },
    /// Keeps the part that follows behind the line; the first one begins anew.
    Join { machine: Machine, first: bool },
    /// What the kept parts say.
    Told { machine: Machine },
    /// All files of the study that the kept parts are.
    Files { machine: Machine },
    /// The first and the worst of the kept passes as a film.
    Film { machine: Machine },
    /// The rate of one machine less that of another, each at its working setting under one controller, on the same passes.
    Against {
        machines: [Texts; 2],
        controllers: [Kind; 2],
        passes: u64,
    },
    /// Machines beside one another, as a page.
    Compare { machines: Vec<Texts>, passes: u64 },
}

/// Answers requests. It keeps the last machine that it was asked about, and the passes that it was given to keep.
pub struct Desk {
    progress: fn(f64),
    machine: Option<(Machine, Scenario)>,
    kept: Option<Saved>,
}

/// Tells how far a study is.
struct Watched {
    progress: fn(f64),
}

impl Watch for Watched {
    fn passes_done(&self, _done: u64, _of: u64) {}
    fn answers_done(&self, share: f64) {
        (self.progress)(share);
    }
    // The page ends the thread.
    fn stop(&self) -> bool {
        false
    }
}

impl Desk {
    /// A desk without any machine. `progress` hears which share of long work is done.
    pub fn new(progress: fn(f64)) -> Desk {
        Desk {
            progress,
            machine: None,
            kept: None,
        }
    }

    /// The answer to a request: a line of JSON, and what belongs to it behind. Whatever is wrong with a request is told in that line as
    /// `why`, and what is wrong with a scenario as `problems`.
    pub fn answer(&mut self, request: &[u8]) -> Vec<u8> {
        let (told, behind) = self
            .answered(request)
            .unwrap_or_else(|why| (refused(&*why), Vec::new()));
        let mut bytes = told.to_string().into_bytes();
        bytes.push(b'\n');
        bytes.extend(behind);
        bytes
    }

    fn answered(&mut self, request: &[u8]) -> Result<(Value, Vec<u8>), Why> {
        let line = request.iter().position(|&byte| byte == b'\n');
        let (ask, behind) = match line {
            Some(at) => (&request[..at], &request[at + 1..]),
            None => (request, &[][..]),
        };
        let only = |told: Value| Ok((told, Vec::new()));
        match serde_json::from_slice(ask)? {
            Ask::Language => only(language::language()),
            Ask::Starter {
                crop,
                driver,
                units,
            } => only(json!({ "text": starter(&crop, &driver, units)? })),
            Ask::Check { texts } => {
                let scenario = Scenario::from_texts(&texts)?;
                let tables = language::tables_of(&scenario);
                only(json!({ "facts": language::facts(&scenario), "tables": tables }))
            }
            Ask::Edit { text, edit } => only(json!({ "text": edited(&text, &edit)? })),
            Ask::Notes { texts, file } => {
                let notes = FieldNotes::parse(core::str::from_utf8(behind)?, &file)?;
                let text = notes.put_into(&texts.text, &texts.file)?;
                let with = Texts {
                    text: text.clone(),
                    ..texts
                };
                Scenario::from_texts(&with).map_err(|error| notes.blamed(&file, error))?;
                only(json!({ "text": text }))
            }
            Ask::Log { file } => {
                let mut logs = Logs::default();
                logs.read(behind, &quote::escaped(&file))?;
                let tracks = tracks(&logs, &HOW_DRIVEN);
                only(json!({ "text": field_text(&look(Some(&tracks), None)) }))
            }
            Ask::Grid { texts } => {
                let scenario = with_notes(Scenario::from_texts(&texts)?)?;
                let seed = scenario.study().seed;
                let scenario = settled(scenario, seed, None, &Unwatched)?;
                let study = scenario.study();
                only(json!({ "speeds_m_s": study.speeds_m_s, "clearances_m": study.clearances_m }))
            }
            Ask::Part {
                machine,
                number,
                of,
                passes,
            } => {
                let scenario = self.scenario(machine)?;
                let until = Until::Share {
                    part: Part { number, of },
                    passes,
                };
                let found = run(&plan(scenario, until), None, &Unwatched)?;
                Ok((
                    json!({ "passes": found.saved.passes() }),
                    found.saved.to_json()?.into_bytes(),
                ))
            }
            Ask::Join { machine, first } => {
                self.scenario(machine)?;
                let next = Saved::from_json(core::str::from_utf8(behind)?)?;
                let so_far = self.kept.take().filter(|_| !first);
                let whole = Saved::and_next(so_far, next)?;
                let passes = whole.passes();
                self.kept = Some(whole);
                only(json!({ "passes": passes }))
            }
            Ask::Told { machine } => {
                let kept = self.kept.take();
                let scenario = self.scenario(machine)?;
                let told = told(scenario, kept.as_ref());
                self.kept = kept;
                only(told?)
            }
            Ask::Files { machine } => {
                let kept = self.kept.take().ok_or(NOTHING_KEPT)?;
                let watched = Watched {
                    progress: self.progress,
                };
                let scenario = self.scenario(machine)?;
                let until = Until::Passes(kept.passes());
                let found = study(&plan(scenario, until), Some(kept), &watched)?;
                let files = study_files(&found.results, &found.traces, &found.worst)?;
                self.kept = Some(found.saved);
                Ok(bound(&files))
            }
            Ask::Film { machine } => {
                let kept = self.kept.take().ok_or(NOTHING_KEPT)?;
                let scenario = self.scenario(machine)?;
                let until = Until::Passes(kept.passes());
                let run = Run {
                    saved: kept,
                    complete: true,
                };
                let found = outcome(&plan(scenario, until), &run);
                self.kept = Some(run.saved);
                let page = film_page(&found.results, &found.traces, &found.worst);
                only(json!({ "page": page }))
            }
            Ask::Against {
                machines,
                controllers,
                passes,
            } => only(against(&machines, controllers, passes)?),
            Ask::Compare { machines, passes } => {
                let mut scenarios = Vec::new();
                for texts in &machines {
                    scenarios.push(with_notes(Scenario::from_texts(texts)?)?);
                }
                let Some(first) = scenarios.first_mut() else {
                    return Err("no machine to compare".into());
                };
                let seed = first.study().seed;
                *first = settled(first.clone(), seed, None, &Unwatched)?;
                let entrants: Vec<Entrant> = scenarios.iter().map(Entrant::Scenario).collect();
                let how = How {
                    seed,
                    passes,
                    threads: None,
                };
                let found = compare(&entrants, how, &Unwatched)?;
                Ok(bound(&[Page::new(&found, &entrants).file()]))
            }
        }
    }

    /// The scenario of a machine, read anew only where it is another one.
    fn scenario(&mut self, machine: Machine) -> Result<&Scenario, Why> {
        let kept = self.machine.take().filter(|(kept, _)| *kept == machine);
        let ready = match kept {
            Some(kept) => kept,
            None => {
                let scenario = with_notes(Scenario::from_texts(&machine.texts)?)?;
                let scenario = match &machine.grid {
                    Some(grid) => {
                        scenario.with_grid(grid.speeds_m_s.clone(), grid.clearances_m.clone())
                    }
                    None => scenario,
                };
                (machine, scenario)
            }
        };
        Ok(&self.machine.insert(ready).1)
    }
}

/// Nothing known of the antenna and the line, as `rowroom field LOG` has it.
const HOW_DRIVEN: field::How = field::How {
    antenna: Antenna {
        ahead_m: 0.0,
        height_m: None,
    },
    planned: Planned::Found,
    quality: None,
    drift: None,
};

const NOTHING_KEPT: &str = "no passes are kept";

fn plan(scenario: &Scenario, until: Until) -> Plan<'_> {
    Plan {
        scenario,
        seed: scenario.study().seed,
        until,
        threads: None,
    }
}

fn with_notes(scenario: Scenario) -> Result<Scenario, Why> {
    let seed = scenario.study().seed;
    Ok(learned(scenario, seed, None, &Unwatched)?)
}

fn starter(crop: &str, driver: &str, units: Units) -> Result<String, Why> {
    let crop = Crop::ALL.into_iter().find(|one| one.name() == crop);
    let driver = Steering::ALL.into_iter().find(|one| one.name() == driver);
    let (crop, driver) = crop.zip(driver).ok_or("there is no such starter")?;
    Ok(short_starter(crop, driver, units))
}

/// Rates on whole rows with what is known of them, and what has to be said.
fn told(scenario: &Scenario, kept: Option<&Saved>) -> Result<Value, Why> {
    let kept = kept.ok_or(NOTHING_KEPT)?;
    let (mut results, farms) = so_far(&plan(scenario, Until::Passes(kept.passes())), kept);
    // More passes come by themselves here.
    results
        .warnings
        .retain(|warning| !matches!(warning, Warning::FewPasses { .. }));
    let of_units = |units| warnings::of_study(&results, units);
    let warnings = json!({
        "metric": of_units(crate::report::display::Units::Metric),
        "us": of_units(crate::report::display::Units::Us),
    });
    results.rates.retain(|rate| rate.stretch == Stretch::Whole);
    let ran: Vec<Kind> = results.ran().collect();
    let speeds = results.speeds_m_s.clone();
    let clearances = results.clearances_m.clone();
    let place = |list: &[f64], value: f64| list.iter().position(|&one| one == value);
    let kept_on: Vec<Option<f64>> = (results.rates.iter())
        .map(|rate| {
            let place = Place {
                kind: ran.iter().position(|&kind| kind == rate.controller)?,
                speed: place(&speeds, rate.speed_m_s)?,
                clearance: place(&clearances, rate.clearance_m)?,
            };
            farms.as_ref().map(|farms| farms.assurance(place))
        })
        .collect();
    Ok(json!({
        "passes": results.passes,
        "level": results.level,
        "speeds_m_s": results.speeds_m_s,
        "clearances_m": results.clearances_m,
        "working_speed_m_s": results.working_speed_m_s,
        "working_clearance_m": results.working_clearance_m,
        "allowed_cut_rate": results.allowed_cut_rate,
        "assurance": results.assurance,
        "controllers": ran,
        "rates": results.rates,
        "kept_on": kept_on,
        "answer": results.answer,
        "warnings": warnings,
        "no_farms": results.no_farms.map(words::farms::no_farms),
    }))
}

fn against(machines: &[Texts; 2], controllers: [Kind; 2], passes: u64) -> Result<Value, Why> {
    let mut scenarios = Vec::new();
    for texts in machines {
        scenarios.push(with_notes(Scenario::from_texts(texts)?)?);
    }
    let (before, now) = (&scenarios[0], &scenarios[1]);
    let alike = before.study().seed == now.study().seed
        && before.unknowns().is_empty() == now.unknowns().is_empty();
    if !alike {
        return Ok(json!({ "difference": null }));
    }
    let at_work = |scenario: &Scenario, kind: Kind| {
        let study = scenario.study();
        let ask = Passes {
            passes,
            speeds_m_s: &[study.working_speed_m_s],
            clearances_m: &[study.working_clearance_m],
        };
        Trials::new(scenario, study.seed, None, &Unwatched)
            .map_err(Why::from)
            .and_then(|trials| Ok(trials.run(&ask, &[kind], &as_it_is)?))
    };
    let (before, now) = (
        at_work(before, controllers[0])?,
        at_work(now, controllers[1])?,
    );
    Ok(json!({ "difference": now.cell(0, 0).less(before.cell(0, 0), 0), "passes": passes }))
}

/// Files one behind the other, with their names and lengths.
fn bound(files: &[File]) -> (Value, Vec<u8>) {
    let names = files
        .iter()
        .map(|file| json!({ "name": file.name, "length": file.bytes.len() }));
    let told = json!({ "files": names.collect::<Vec<_>>() });
    let bytes = files.iter().flat_map(|file| file.bytes.iter().copied());
    (told, bytes.collect())
}

fn refused(why: &(dyn std::error::Error + 'static)) -> Value {
    let of = |problem: &Problem| {
        json!({
            "line": problem.line,
            "column": problem.column,
            "key": problem.key,
            "message": problem.message,
        })
    };
    match why.downcast_ref::<ScenarioError>() {
        Some(ScenarioError::Problems(problems)) => {
            json!({ "problems": problems.iter().map(of).collect::<Vec<_>>() })
        }
        Some(ScenarioError::Syntax(problem)) => json!({ "problems": [of(problem)] }),
        Some(other) => json!({ "problems": [{
            "line": 0, "column": 0, "key": "", "message": other.to_string(),
        }] }),
        None => json!({ "why": why.to_string() }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::montecarlo::study::results;

    const LEEKS: &str = include_str!("../../scenarios/leeks.toml");

    fn leeks() -> Value {
        json!({ "file": "leeks.toml", "text": LEEKS, "files": {}, "replay": null })
    }

    fn ask(desk: &mut Desk, ask: Value, behind: &[u8]) -> (Value, Vec<u8>) {
        let request = [ask.to_string().as_bytes(), b"\n", behind].concat();
        let answer = desk.answer(&request);
        let end = answer.iter().position(|&byte| byte == b'\n').unwrap();
        let told = serde_json::from_slice(&answer[..end]).unwrap();
        (told, answer[end + 1..].to_vec())
    }

    /// Parts of eight passes, simulated by one desk and put together by another, are the study that runs in one go.
    #[test]
    fn prop_what_the_page_shows_is_the_study_of_the_program() {
        let mut machine = json!({ "texts": leeks(), "grid": { "speeds_m_s": [0.0], "clearances_m": [0.04, 0.06] } });
        machine["grid"]["speeds_m_s"][0] =
            Scenario::demo().unwrap().study().working_speed_m_s.into();
        let (mut runner, mut keeper) = (Desk::new(|_| ()), Desk::new(|_| ()));
        for number in 1..=3 {
            let part = json!({ "ask": "part", "machine": machine, "number": number, "of": 128, "passes": 1024 });
            let (told, part) = ask(&mut runner, part, &[]);
            assert_eq!(told["passes"], 8, "{told}");
            let join = json!({ "ask": "join", "machine": machine, "first": number == 1 });
            assert_eq!(ask(&mut keeper, join, &part).0["passes"], 8 * number);
        }
        let (told, _) = ask(
            &mut keeper,
            json!({ "ask": "told", "machine": machine }),
            &[],
        );
        let texts: Texts = serde_json::from_value(machine["texts"].clone()).unwrap();
        let scenario = Scenario::from_texts(&texts).unwrap();
        let working_m_s = scenario.study().working_speed_m_s;
        let scenario = scenario.with_grid(vec![working_m_s], vec![0.04, 0.06]);
        let plan = plan(&scenario, Until::Passes(24));
        let mut whole = results(&plan, &run(&plan, None, &Unwatched).unwrap());
        whole.rates.retain(|rate| rate.stretch == Stretch::Whole);
        assert!(!whole.rates.is_empty());
        for (rate, shown) in whole.rates.iter().zip(told["rates"].as_array().unwrap()) {
            assert_eq!(serde_json::to_value(rate.cut).unwrap(), shown["cut"]);
        }
        assert_eq!(whole.rates.len(), told["rates"].as_array().unwrap().len());
    }

    #[test]
    fn regress_two_machines_at_their_own_settings() {
        let mut wide = leeks();
        wide["text"] = LEEKS
            .replace(
                "working_clearance = \"60 mm\"",
                "working_clearance = \"90 mm\"",
            )
            .into();
        let against = json!({ "ask": "against", "machines": [leeks(), wide], "controllers": ["pid", "pid"], "passes": 16 });
        let (told, _) = ask(&mut Desk::new(|_| ()), against, &[]);
        let of = |end: &str| told["difference"][end].as_f64().unwrap();
        assert!(of("value") < 0.0 && of("lower") < of("value"), "{told}");
    }

    #[test]
    fn regress_mistakes_are_told_by_key_and_nothing_breaks() {
        let mut desk = Desk::new(|_| ());
        let mut wrong = leeks();
        wrong["text"] = LEEKS
            .replace("stroke = \"400 mm\"", "stroke = \"4 mm\"")
            .into();
        let (told, _) = ask(&mut desk, json!({ "ask": "check", "texts": wrong }), &[]);
        assert_eq!(told["problems"][0]["key"], "hydraulics.stroke");
        for broken in [&b""[..], b"{", b"{}", b"\xff\n", b"{\"ask\":\"told\"}"] {
            let answer = String::from_utf8(desk.answer(broken)).unwrap();
            assert!(answer.starts_with("{\"why\":"), "{answer}");
        }
    }

    #[test]
    fn prop_every_starter_is_sound() {
        let mut desk = Desk::new(|_| ());
        for crop in Crop::ALL.map(Crop::name) {
            for driver in Steering::ALL.map(Steering::name) {
                for units in ["metric", "us"] {
                    let starter =
                        json!({ "ask": "starter", "crop": crop, "driver": driver, "units": units });
                    let (told, _) = ask(&mut desk, starter, &[]);
                    let texts = json!({ "file": "a.toml", "text": told["text"], "files": {}, "replay": null });
                    let (told, _) = ask(&mut desk, json!({ "ask": "check", "texts": texts }), &[]);
                    assert!(told["facts"].is_object(), "{crop} {driver}: {told}");
                }
            }
        }
    }
}
