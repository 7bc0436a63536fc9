//! Scenario files: text to checked values to one draw of the model's parameters.
//!
//! A scenario is a TOML file. Quantities are texts with a unit ("38 mm", "4 mph", "12 L/min", "5 %"); [`units`] has them
//! all. Every table and key is declared in [`keys`]; [`starter`] writes a commented file with all of them and [`schema`]
//! describes them to editors.
//!
//! # Distributions
//!
//! An uncertain quantity is one value or a distribution, drawn anew for every pass:
//!
//! - `{ mean = "0 mm", sd = "8 mm" }`: normal; `low` and `high` narrow it. A draw outside them, or outside the range of the
//!   key, is drawn again, never clipped. The nominal pass stays at `mean` even where `low` and `high` lie lopsided about it.
//! - `{ from = "60 ms", to = "100 ms" }`: uniform; the nominal pass takes the middle.
//!
//! A draw depends on seed, pass and the name of the key alone: whatever else varies or is added to the language, the same
//! key draws the same numbers.
//!
//! # What is not known
//!
//! A quantity that stays the same for the whole field but of which nobody knows the value is neither. A study tries many fields, eight
//! passes over each, and tells what holds on most of them:
//!
//! - `{ about = "12 mm" }`: within a factor of 1.5 either way ([`crate::unknowns::law::ABOUT`]).
//! - `{ least = "8 mm", most = "20 mm" }`: anything between, every ratio alike where both are above 0, else every value.
//! - `{ measured = "12 mm", error = "2 mm" }`: measured with this standard error, normal.
//!
//! What was found in the field goes into `[[notes]]` ([`Notes`]): gaps beside the rows and counted plants. A study then goes over fields
//! that fit it ([`crate::montecarlo::learning`]).
//!
//! As soon as one value is not known, the alignment of the camera and the errors of row units and tool edges stay for the whole field too.
//!
//! # Defaults
//!
//! A key that is left out takes its default, which names its source or says "assumed" and then in which range it may plausibly lie
//! ([`keys::Plausible`]). Some defaults go with the word of another key ([`keys::Need::ByChoice`]): how far plants stand off their row
//! with `plants.established`, stem and roots with `plants.stage`, the rows' looks with `camera.rows_look`, the camera's noise and latency
//! with `camera.grade`, the lever of roll with `camera.mount`, eye and hand with `driver.hand.practice`, sway and roll with
//! `ground.surface`. [`Scenario::assumptions`] tells all of it.
//!
//! # Use from code
//!
//! ```
//! use rowroom::scenario::{Scenario, starter};
//!
//! let scenario = Scenario::parse(&starter(), "mine.toml", &|_| Err(std::io::ErrorKind::NotFound.into()), None)?;
//! assert_eq!(scenario.nominal().tractor.wheelbase_m, 2.5);
//! # Ok::<(), rowroom::scenario::ScenarioError>(())
//! ```

mod build;
mod check;
#[cfg(feature = "report")]
mod edit;
mod error;
mod farm;
mod field;
#[cfg(feature = "report")]
mod fieldnotes;
#[cfg(feature = "report")]
pub mod fromlog;
mod given;
pub mod keys;
mod layout;
mod nearest;
mod notes;
mod observed;
mod offers;
mod read;
mod schema;
mod short;
mod spread;
mod stamp;
mod starter;
pub mod units;
mod values;

#[cfg(test)]
#[path = "../../tests/common/known.rs"]
mod known;

#[cfg(feature = "report")]
pub use edit::{Edit, edited};
pub use error::{Problem, ScenarioError};
pub use field::{FIELD_PASSES, Unknown};
#[cfg(feature = "report")]
pub use fieldnotes::FieldNotes;
pub use given::Given;
pub use notes::{Counted, Notes};
pub use offers::Offer;
pub use schema::schema;
pub use short::{Crop, Steering, short_starter};
pub use spread::Spread;
pub use stamp::{Assumption, Known, ScenarioStamp, Units};
pub use starter::starter;

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::io;
use std::path::Path;
use std::sync::Arc;

use sha2::{Digest, Sha256};

use crate::farm::Farm;
use crate::fieldlog::{self, Polyline};
#[cfg(feature = "program")]
use crate::files;
use crate::model::controller::Kind;
use crate::model::driver::{Driver, LoggedPath};
use crate::model::line::Line;
use crate::model::setup::Setup;
use crate::quote::{escaped, is_control, quoted};
use crate::results::reasons::Warning;
use crate::sim::streams::{Source, stream};
use crate::unknowns::cloud::Cloud;
use crate::unknowns::points::DIMENSIONS;
use serde::{Deserialize, Serialize};

use build::{Fixed, Numbers};
use keys::{Id, KEYS, Shape, Varies};
use layout::Layout;
use read::{Read, Value};
use values::Values;

/// What a study simulates.
#[derive(Clone, Debug, PartialEq)]
pub struct Study {
    /// Speeds, m/s, rising.
    pub speeds_m_s: Vec<f64>,
    /// Clearances, m, rising.
    pub clearances_m: Vec<f64>,
    /// Most passes; the study ends sooner once its decisions are.
    pub most_passes: u64,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Share of plants that the grower allows to be cut.
    pub allowed_cut_rate: f64,
    /// Share of farms like this one on which that is to be kept, 0 to 1.
    pub assurance: f64,
    /// Speed the scenario works at, m/s, one of `speeds_m_s`.
    pub working_speed_m_s: f64,
    /// Clearance the scenario works with, m, one of `clearances_m`.
    pub working_clearance_m: f64,
    /// Controllers to study, in output order.
    pub controllers: Vec<Kind>,
}

/// A polyline that is this many times longer than the pass is doubted (assumed: centimetres make it a hundred times longer).
const MOST_CHAINS: f64 = 50.0;

/// A key that varies from pass to pass, its distribution, and where in the parameter stream its draws begin.
#[derive(Clone, Copy, Debug)]
struct Varying {
    id: Id,
    spread: Spread,
    word: u128,
}

/// Everything that a scenario was read from, so that another machine can read the same.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Texts {
    /// Name of the scenario file, without folders.
    pub file: String,
    /// Its text, line ends folded to LF.
    pub text: String,
    /// Texts of the files that it names, by name.
    pub files: BTreeMap<String, String>,
    /// Name, without folders, and text of the logged pass.
    pub replay: Option<(String, String)>,
    /// Values that take the place of the file's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub given: Vec<Given>,
}

/// A checked scenario.
#[derive(Clone, Debug)]
pub struct Scenario {
    texts: Texts,
    sha256: String,
    units: Units,
    study: Study,
    values: Values,
    fixed: Fixed,
    varying: Vec<Varying>,
    unknowns: Vec<Unknown>,
    /// What was found in the field.
    notes: Vec<Notes>,
    /// What could be bought or set.
    offers: Vec<Offer>,
    /// What it leaves of what is not known, once that is worked out.
    learned: Option<Arc<Learned>>,
    /// True once speeds and clearances that the text leaves open are chosen.
    has_grid: bool,
}

/// What notes leave of what is not known.
#[derive(Clone, Debug)]
pub struct Learned {
    /// The fields of a study, each by its coordinates in the unknowns; a study that goes over more begins anew with the first.
    pub fields: Vec<Vec<f64>>,
    /// Weighted points, at which rates are told.
    pub cloud: Cloud,
}

impl Scenario {
    /// Reads a scenario file and the files it names; a path in it is relative to the scenario file.
    #[cfg(feature = "program")]
    pub fn read(path: &Path, replay: Option<&Path>) -> Result<Scenario, ScenarioError> {
        Scenario::read_with(path, replay, &[])
    }

    /// The same with values that take the place of the file's.
    #[cfg(feature = "program")]
    pub fn read_with(
        path: &Path,
        replay: Option<&Path>,
        given: &[Given],
    ) -> Result<Scenario, ScenarioError> {
        let text = files::read_text(path, files::SCENARIO_BYTES)?;
        let log = match replay {
            Some(path) => Some((
                files::read_text(path, files::POINTS_BYTES)?,
                path.display().to_string(),
            )),
            None => None,
        };
        let folder = path.parent().unwrap_or(Path::new(""));
        Scenario::parse_with(
            &text,
            &path.display().to_string(),
            &|name| Ok(files::read_text(&folder.join(name), files::POINTS_BYTES)?),
            log.as_ref()
                .map(|(text, file)| (text.as_str(), file.as_str())),
            given,
        )
    }

    /// The scenario that ships inside the program: transplanted leeks in beds.
    pub fn demo() -> Result<Scenario, ScenarioError> {
        Scenario::parse(
            include_str!("../../scenarios/leeks.toml"),
            "leeks.toml",
            &|_| Err(io::ErrorKind::NotFound.into()),
            None,
        )
    }

    /// Checks the text of a scenario. `file` is its name in messages; `files` reads a file that it names; `replay` is the
    /// text and the name of a logged pass.
    pub fn parse(
        text: &str,
        file: &str,
        files: &dyn Fn(&str) -> io::Result<String>,
        replay: Option<(&str, &str)>,
    ) -> Result<Scenario, ScenarioError> {
        Scenario::parse_with(text, file, files, replay, &[])
    }

    /// The same with values that take the place of the file's.
    pub fn parse_with(
        text: &str,
        file: &str,
        files: &dyn Fn(&str) -> io::Result<String>,
        replay: Option<(&str, &str)>,
        given: &[Given],
    ) -> Result<Scenario, ScenarioError> {
        Scenario::checked(text, file, files, replay, given, true)
    }

    /// The same, with or without what was found in the field.
    fn checked(
        text: &str,
        file: &str,
        files: &dyn Fn(&str) -> io::Result<String>,
        replay: Option<(&str, &str)>,
        given: &[Given],
        with_notes: bool,
    ) -> Result<Scenario, ScenarioError> {
        let name = plain_name(file)?;
        let log_name = replay.map(|(_, file)| plain_name(file)).transpose()?;
        let shown = replay.map(|(text, file)| (text, escaped(file)));
        let (file, replay) = (
            &escaped(file),
            shown.as_ref().map(|(text, file)| (*text, file.as_str())),
        );
        let text = folded(text);
        let named = RefCell::new(BTreeMap::new());
        let files = |name: &str| {
            let text = files(name)?;
            named.borrow_mut().insert(name.to_string(), text.clone());
            Ok(text)
        };
        let mut read = read::read(&text, file, given).map_err(ScenarioError::Syntax)?;
        let mut hash = Sha256::new();
        hash.update(read.text().as_bytes());
        let values = Values::new(&read);
        check::check(&mut read, &values);
        let chain = polyline(&mut read, &values, &files, &mut hash);
        let line = Line::new(&build::bends(&values, chain.as_ref()));
        steerable(&mut read, &values, &line);
        let layout = Layout::new(&values);
        let unknowns = field::unknowns(&values);
        if let Some(first) = unknowns.get(DIMENSIONS) {
            check::contradicts(&mut read, first.id, |shown| {
                format!("{shown} is one too many: at most {DIMENSIONS} values may be not known")
            });
        }
        let (Some(layout), true) = (layout, read.found.is_empty()) else {
            return Err(ScenarioError::Problems(read.problems()));
        };
        let mut fixed = Fixed {
            line,
            chain_m: chain.map(|chain| chain.length_m),
            layout,
            log: logged_pass(&values, file, replay, &mut hash)?,
            observed: None,
        };
        fixed.observed = observed::observed(&mut read, &values, &fixed);
        let Some(study) = study(&values, &fixed.layout).filter(|_| read.found.is_empty()) else {
            return Err(ScenarioError::Problems(read.problems()));
        };
        let mut notes = core::mem::take(&mut read.notes);
        if !with_notes {
            notes.clear();
        }
        let offers = core::mem::take(&mut read.offers);
        let mut scenario = Scenario {
            texts: Texts {
                file: name,
                text,
                files: named.into_inner(),
                replay: log_name.zip(replay.map(|(text, _)| text.to_string())),
                given: given.to_vec(),
            },
            sha256: hex(&hash.finalize()),
            units: match values.text(Id::StudyUnits) {
                Some("us") => Units::Us,
                _ => Units::Metric,
            },
            study,
            varying: varying(&values, &unknowns),
            unknowns,
            values,
            fixed,
            notes: Vec::new(),
            offers,
            learned: None,
            has_grid: false,
        };
        let setup = scenario.nominal();
        let runnable: Vec<Kind> = (scenario.study.controllers.iter().copied())
            .filter(|kind| kind.lacks(&setup).is_none())
            .collect();
        let (speed_m_s, clearance_m) = (
            scenario.study.working_speed_m_s,
            scenario.study.working_clearance_m,
        );
        scenario.notes = notes
            .into_iter()
            .filter_map(|one| one.at_work(&mut read, speed_m_s, clearance_m, &runnable))
            .collect();
        if !read.found.is_empty() {
            return Err(ScenarioError::Problems(read.problems()));
        }
        if let (Some(log), Some((_, file))) = (&scenario.fixed.log, replay) {
            drivable(log, file, &scenario.nominal())?;
        }
        Ok(scenario)
    }

    /// Reads a scenario again.
    pub fn from_texts(texts: &Texts) -> Result<Scenario, ScenarioError> {
        Scenario::again(texts, true)
    }

    fn again(texts: &Texts, with_notes: bool) -> Result<Scenario, ScenarioError> {
        let replay = texts.replay.as_ref();
        stands_alone(&texts.file)?;
        if let Some((file, _)) = replay {
            stands_alone(file)?;
        }
        Scenario::checked(
            &texts.text,
            &texts.file,
            &|name| {
                let text = texts.files.get(name).cloned();
                text.ok_or_else(|| io::ErrorKind::NotFound.into())
            },
            replay.map(|(file, text)| (text.as_str(), file.as_str())),
            &texts.given,
            with_notes,
        )
    }

    /// The same with more values that take the place of the file's; a key that was given before keeps the last value.
    pub fn changed(&self, given: &[Given]) -> Result<Scenario, ScenarioError> {
        let mut changed = Scenario::from_texts(&self.texts_with(given))?;
        if changed.unknowns == self.unknowns && changed.notes == self.notes {
            changed.learned = self.learned.clone();
        }
        Ok(changed)
    }

    /// Another machine on the same field: the same with what an offer sets. What was found in the field was found with the machine at
    /// hand and is left out; see [`Scenario::draw_beside`].
    pub fn offered(&self, set: &[Given]) -> Result<Scenario, ScenarioError> {
        Scenario::again(&self.texts_with(set), false)
    }

    fn texts_with(&self, given: &[Given]) -> Texts {
        let mut texts = self.texts.clone();
        texts
            .given
            .retain(|before| given.iter().all(|now| now.key != before.key));
        texts.given.extend(given.iter().cloned());
        texts
    }

    /// Name.
    pub fn name(&self) -> &str {
        self.values.text(Id::Name).unwrap_or("")
    }

    /// Description.
    pub fn description(&self) -> &str {
        self.values.text(Id::Description).unwrap_or("")
    }

    /// File name without folders.
    pub fn file(&self) -> &str {
        &self.texts.file
    }

    /// Everything that it was read from.
    pub fn texts(&self) -> &Texts {
        &self.texts
    }

    /// SHA-256 of the text with line ends folded to LF, followed by the values given beside it and by the files it reads (folded too), in
    /// hex.
    pub fn sha256(&self) -> &str {
        &self.sha256
    }

    /// Units to show numbers in.
    pub fn units(&self) -> Units {
        self.units
    }

    /// Which scenario it is, for every output.
    pub fn stamp(&self) -> ScenarioStamp {
        ScenarioStamp {
            name: self.name().to_owned(),
            description: self.description().to_owned(),
            file: self.file().to_owned(),
            sha256: self.sha256().to_owned(),
            units: self.units(),
            set: self.texts.given.iter().map(Given::words).collect(),
        }
    }

    /// What to simulate.
    pub fn study(&self) -> &Study {
        &self.study
    }

    /// Whether [`Scenario::with_grid`] has chosen the speeds and clearances.
    pub(crate) fn has_grid(&self) -> bool {
        self.has_grid
    }

    /// Whether the scenario leaves the choice of speeds and of clearances to the program.
    pub fn open_grid(&self) -> [bool; 2] {
        [Id::Speeds, Id::Clearances].map(|id| self.values.numbers(id).is_none())
    }

    /// The same with other speeds, m/s, and clearances, m, both rising; they must hold the ones worked with.
    pub fn with_grid(mut self, speeds_m_s: Vec<f64>, clearances_m: Vec<f64>) -> Scenario {
        debug_assert!(speeds_m_s.contains(&self.study.working_speed_m_s));
        debug_assert!(clearances_m.contains(&self.study.working_clearance_m));
        self.study.speeds_m_s = speeds_m_s;
        self.study.clearances_m = clearances_m;
        self.has_grid = true;
        self
    }

    /// The farm around the machine.
    pub fn farm(&self) -> Farm {
        farm::farm(&self.values)
    }

    /// Least and greatest side slope that a pass can meet, rad, positive where the left side is higher.
    pub fn slopes_rad(&self) -> (f64, f64) {
        let spread = self.values.spread(Id::SideSlope);
        spread.map_or((0.0, 0.0), |spread| spread.support())
    }

    /// The machine and field with every distribution at its mean.
    pub fn nominal(&self) -> Setup {
        build::setup(&self.values, &self.fixed, &Numbers::nominal(&self.values))
    }

    /// The same on another side slope, rad.
    pub fn nominal_on_slope(&self, slope_rad: f64) -> Setup {
        let numbers = Numbers::drawn(&self.values, vec![(Id::SideSlope, slope_rad)]);
        build::setup(&self.values, &self.fixed, &numbers)
    }

    /// One draw of all distributions; it depends on (seed, pass) alone.
    pub fn draw(&self, seed: u64, pass: u64) -> Setup {
        self.on_field(self.drawn(seed, pass), pass)
    }

    /// The draw that another machine of the same field gets in a pass of `base`: what varies is drawn alike, and what is not known lies
    /// where it lies in the field of `base`, key by key, whatever else is known of one of the two.
    pub fn draw_beside(&self, base: &Scenario, seed: u64, pass: u64) -> Setup {
        let field = field::field_of(pass);
        let point = base.point(seed, field);
        let place = |unknown: &Unknown| base.unknowns.iter().position(|of| of.id == unknown.id);
        let mut at: Vec<f64> = Vec::with_capacity(self.unknowns.len());
        // What is not known of this machine alone has coordinates that no other unknown has.
        let mut own = base.unknowns.len();
        for unknown in &self.unknowns {
            match place(unknown) {
                Some(place) => at.push(point[place]),
                None => {
                    at.extend(field::coordinates(seed, field, own..own + 1));
                    own += 1;
                }
            }
        }
        let mut drawn = self.drawn_apart(seed, pass);
        drawn.extend(self.values_at(&at));
        let mut setup = self.on_field(drawn, pass);
        setup.field = (!base.unknowns.is_empty()).then_some(field);
        setup
    }

    /// What could be bought or set.
    pub fn offers(&self) -> &[Offer] {
        &self.offers
    }

    /// What is not known, one coordinate for each in [`Scenario::point`].
    pub fn unknowns(&self) -> &[Unknown] {
        &self.unknowns
    }

    /// What was found in the field, visit by visit.
    pub fn notes(&self) -> &[Notes] {
        &self.notes
    }

    /// What the notes leave of what is not known; `None` until that is worked out, or without notes.
    pub fn learned(&self) -> Option<&Learned> {
        self.learned.as_deref()
    }

    /// The same with what its notes leave of what is not known.
    pub fn with_learned(mut self, learned: Learned) -> Scenario {
        self.learned = Some(Arc::new(learned));
        self
    }

    /// The same as before anything was found in the field, at these speeds, m/s, and clearances, m, both rising, under these controllers.
    pub(crate) fn before_notes(
        mut self,
        speeds_m_s: Vec<f64>,
        clearances_m: Vec<f64>,
        controllers: Vec<Kind>,
    ) -> Scenario {
        self.notes.clear();
        self.learned = None;
        self.study.controllers = controllers;
        self.with_grid(speeds_m_s, clearances_m)
    }

    /// The same as if all were known: what is not has its nominal value, and the camera's alignment varies from pass to pass.
    pub fn all_known(mut self) -> Scenario {
        self.unknowns.clear();
        self.notes.clear();
        self.learned = None;
        self.varying = varying(&self.values, &[]);
        self
    }

    /// Where a field of a study lies among what is not known: its place in each law, 0 to 1. Passes 8 f to 8 f + 7 go over field f. Once
    /// notes are learned from, the fields are chosen among those that fit them, whatever the seed.
    pub fn point(&self, seed: u64, field: u64) -> Vec<f64> {
        match &self.learned {
            Some(learned) => learned.fields[field as usize % learned.fields.len()].clone(),
            None => field::point(&self.unknowns, seed, field),
        }
    }

    /// The nominal machine on the field at a point among what is not known.
    pub fn nominal_at(&self, point: &[f64]) -> Setup {
        let numbers = Numbers::drawn(&self.values, self.values_at(point));
        build::setup(&self.values, &self.fixed, &numbers)
    }

    fn values_at(&self, point: &[f64]) -> Vec<(Id, f64)> {
        let unknowns = self.unknowns.iter().zip(point);
        unknowns
            .map(|(unknown, &u)| (unknown.id, unknown.law.quantile(u)))
            .collect()
    }

    fn on_field(&self, drawn: Vec<(Id, f64)>, pass: u64) -> Setup {
        let numbers = Numbers::drawn(&self.values, drawn);
        let mut setup = build::setup(&self.values, &self.fixed, &numbers);
        setup.field = (!self.unknowns.is_empty()).then(|| field::field_of(pass));
        setup
    }

    /// The same on another side slope, rad.
    pub fn draw_on_slope(&self, seed: u64, pass: u64, slope_rad: f64) -> Setup {
        let mut drawn = self.drawn(seed, pass);
        drawn.retain(|(id, _)| *id != Id::SideSlope);
        drawn.push((Id::SideSlope, slope_rad));
        self.on_field(drawn, pass)
    }

    fn drawn(&self, seed: u64, pass: u64) -> Vec<(Id, f64)> {
        let mut drawn = self.drawn_apart(seed, pass);
        if !self.unknowns.is_empty() {
            drawn.extend(self.values_at(&self.point(seed, field::field_of(pass))));
        }
        drawn
    }

    /// What varies from pass to pass.
    fn drawn_apart(&self, seed: u64, pass: u64) -> Vec<(Id, f64)> {
        self.varying
            .iter()
            .map(|varying| {
                let mut rng = stream(seed, pass, Source::Parameters, 0);
                rng.set_word_pos(varying.word);
                (varying.id, varying.spread.draw(&mut rng))
            })
            .collect()
    }

    /// True if a key that differs from field to field changes the variance of the linear check.
    pub fn linear_differs_by_field(&self) -> bool {
        self.unknowns.iter().any(Unknown::is_linear)
    }

    /// True if a distributed key changes the variance of the linear check.
    pub fn linear_varies(&self) -> bool {
        self.varying.iter().any(|varying| {
            matches!(
                keys::key(varying.id).shape,
                Shape::Quantity {
                    varies: Varies::Linear,
                    ..
                }
            )
        })
    }

    /// The value of a key as written in the file or by default, and the same in SI if it is one number; `None` where nothing holds.
    pub fn value(&self, path: &str) -> Option<(String, Option<f64>)> {
        let key = KEYS.iter().find(|key| key.path() == path)?;
        let stated = self.values.stated(key.id)?;
        let number = match stated.value {
            Value::Number(Spread::Fixed(number)) => Some(number),
            Value::Count(count) => Some(count as f64),
            _ => None,
        };
        Some((stated.written.trim_matches('"').to_string(), number))
    }

    /// Every value with its origin, in the order of the language; then what was worked out from them.
    pub fn assumptions(&self) -> Vec<Assumption> {
        let mut all: Vec<Assumption> = KEYS
            .iter()
            .filter(|key| !key.table.is_empty())
            .filter_map(|key| {
                let stated = self.values.stated(key.id)?;
                Some(Assumption {
                    key: key.path(),
                    value: stated.written.trim_matches('"').to_string(),
                    known: stated.known,
                    origin: stated.origin.clone(),
                    range: stated.range.clone(),
                    meaning: key.meaning.to_string(),
                })
            })
            .collect();
        all.extend(self.worked_out());
        all
    }

    /// Widest clearance on either side that the nearest rows leave room for, m; infinite for a single row.
    pub fn widest_clearance_m(&self) -> f64 {
        self.fixed.layout.widest_clearance_m()
    }

    /// What to look out for.
    pub fn warnings(&self) -> Vec<Warning> {
        let setup = self.nominal();
        let mut warnings = Vec::new();
        let farm = self.farm();
        let rows_m = &setup.rows.offset_m;
        let near_m = setup.plants.protected_radius_m;
        let run_over = farm.rows_under_tyres(rows_m, near_m);
        if !run_over.is_empty() {
            let rows = run_over.iter().map(|&row| row as u32 + 1).collect();
            warnings.push(Warning::TyresOnRows { rows });
        }
        if !farm.next_rows_under_tyres(rows_m, near_m).is_empty() {
            warnings.push(Warning::TyresOnNextRows);
        }
        let guess = self.fixed.layout.guess_rows();
        if !guess.is_empty() {
            let after_rows = guess.iter().map(|&row| row as u32).collect();
            warnings.push(Warning::GuessRows { after_rows });
        }
        if let Some(planter) = farm.planter_rows {
            let rows = rows_m.len();
            if farm.guess_rows_move(rows) {
                warnings.push(Warning::GuessRowsMove {
                    rows: rows as u32,
                    planter_rows: planter as u32,
                });
            }
        }
        let pass_m = setup.run.length_m;
        if let Some(line_m) = self.fixed.chain_m.filter(|m| *m > MOST_CHAINS * pass_m) {
            warnings.push(Warning::LineFarLonger { line_m, pass_m });
        }
        if let Driver::Replay(log) = &setup.driver {
            warnings.push(Warning::OnePath);
            warnings.extend(fieldlog::wander(log, setup.driven_length_m()).doubt());
        }
        warnings
    }

    fn worked_out(&self) -> Vec<Assumption> {
        let mut found = Vec::new();
        let mut note = |key: &str, value: String, origin: &str, meaning: &str| {
            found.push(Assumption {
                key: key.to_string(),
                value,
                known: Known::WorkedOut,
                origin: origin.to_string(),
                range: None,
                meaning: meaning.to_string(),
            });
        };
        let setup = self.nominal();
        if let (Some(pid), Some(_)) = (setup.controllers.pid, self.values.stated(Id::SimcTime)) {
            let origin = "worked out by the SIMC rule from simc_closed_loop_time, camera and valve";
            let ms = |s: f64| format!("{} ms", units::short(s * 1000.0));
            note(
                "controller.pid.gain",
                format!("{} 1/s", units::short(pid.gain_1_s)),
                origin,
                keys::key(Id::PidGain).meaning,
            );
            for (id, value) in [
                (Id::PidIntegral, pid.integral_s),
                (Id::PidDerivative, pid.derivative_s),
                (Id::PidFilter, pid.derivative_filter_s),
            ] {
                let key = keys::key(id);
                note(&key.path(), ms(value), origin, key.meaning);
            }
        }
        for (id, what) in [
            (Id::HandObserved, "seeing_sd and steering_sd"),
            (Id::LineObserved, "receiver_sd and drift_sd"),
        ] {
            if self.values.stated(id).is_some() {
                let key = keys::key(id);
                note(
                    &format!("{}.wander_factor", key.table),
                    units::short(Numbers::nominal(&self.values).wander_factor(&self.fixed)),
                    "worked out by the linear check from observed_wander",
                    &format!("factor on {what} that meets the observed wander"),
                );
            }
        }
        found
    }
}

/// A text with all its line ends as LF.
fn folded(text: &str) -> String {
    text.replace("\r\n", "\n").replace('\r', "\n")
}

/// Bytes as hexadecimal digits.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn polyline(
    read: &mut Read,
    values: &Values,
    files: &dyn Fn(&str) -> io::Result<String>,
    hash: &mut Sha256,
) -> Option<Polyline> {
    let name = values.text(Id::PolylineFile)?.to_string();
    let text = match files(&name) {
        Ok(text) => folded(&text),
        Err(error) => {
            check::contradicts(read, Id::PolylineFile, |shown| {
                format!(
                    "{shown} cannot be read: {error}; a path is taken from the scenario file's folder"
                )
            });
            return None;
        }
    };
    hash.update(text.as_bytes());
    match fieldlog::polyline(&text, &name) {
        Ok(chain) => {
            let length_m = values.number(Id::PassLength).unwrap_or(0.0);
            if chain.length_m < length_m {
                check::contradicts(read, Id::PolylineFile, |shown| {
                    format!(
                        "{shown} is {:.1} m long, but the pass {length_m:.1} m; add points or shorten pass.length",
                        chain.length_m
                    )
                });
            }
            Some(chain)
        }
        Err(error) => {
            check::contradicts(read, Id::PolylineFile, |shown| {
                format!("{shown} cannot be used: {error}")
            });
            None
        }
    }
}

/// The name of a file without folders, if a folder can be named after it.
fn plain_name(file: &str) -> Result<String, ScenarioError> {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    let why = if name.contains(is_control) {
        "has control characters in it; rename the file"
    } else if name.is_empty() || name == "." || name.starts_with("..") {
        "may not be empty, \".\" or begin with \"..\", as folders are named after it; rename the file"
    } else {
        return Ok(name.to_string());
    };
    Err(ScenarioError::Name {
        name: quoted(name),
        why,
    })
}

/// Refuses a name of a file that leads to another folder.
fn stands_alone(name: &str) -> Result<(), ScenarioError> {
    // The system's own idea of a name counts too: on some, "c:" leads elsewhere.
    if plain_name(name)? == name && Path::new(name).file_name() == Some(OsStr::new(name)) {
        return Ok(());
    }
    Err(ScenarioError::Name {
        name: quoted(name),
        why: "has a folder in it; here it must stand alone",
    })
}

/// Notes a line that bends more sharply than the tractor can steer.
fn steerable(read: &mut Read, values: &Values, line: &Line) {
    let sharpest_1_m = line.sharpest_1_m();
    let (Some(wheelbase_m), Some(limit_rad)) =
        (values.number(Id::Wheelbase), values.number(Id::SteerLimit))
    else {
        return;
    };
    let possible_1_m = libm::tan(limit_rad) / wheelbase_m;
    if sharpest_1_m.is_nan() || sharpest_1_m <= possible_1_m {
        return;
    }
    let id = [Id::ArcRadius, Id::SBendRadius, Id::PolylineRounding]
        .into_iter()
        .find(|id| values.number(*id).is_some())
        .unwrap_or(Id::ArcRadius);
    check::contradicts(read, id, |shown| {
        format!(
            "{shown} makes a bend of {:.1} m radius; with tractor.wheelbase and tractor.steering_limit the tractor needs {:.1} m",
            1.0 / sharpest_1_m,
            1.0 / possible_1_m
        )
    });
}

fn logged_pass(
    values: &Values,
    file: &str,
    replay: Option<(&str, &str)>,
    hash: &mut Sha256,
) -> Result<Option<LoggedPath>, ScenarioError> {
    match (values.has_table("driver.replay"), replay) {
        (false, None) => Ok(None),
        (false, Some(_)) => Err(ScenarioError::ReplayUnused {
            file: file.to_string(),
        }),
        (true, None) => Err(ScenarioError::ReplayMissing {
            file: file.to_string(),
        }),
        (true, Some((text, name))) => {
            let text = folded(text);
            hash.update(text.as_bytes());
            fieldlog::logged_pass(&text, name, values.count(Id::Seed).unwrap_or(0))
                .map(Some)
                .map_err(ScenarioError::ReplayLog)
        }
    }
}

/// Refuses a log that does not cover the pass, or that no tractor can have driven.
fn drivable(log: &LoggedPath, file: &str, setup: &Setup) -> Result<(), ScenarioError> {
    let found_m = log.station_m().last().copied().unwrap_or(0.0);
    let needed_m = setup.driven_length_m();
    if found_m < needed_m {
        let fitting_m = libm::floor(setup.run.length_m - (needed_m - found_m));
        let (least_m, _) = keys::key(Id::PassLength).range().unwrap_or_default();
        let allowed = fitting_m >= least_m.max(2.0 * setup.run.entry_length_m);
        return Err(ScenarioError::ReplayShort {
            file: file.to_string(),
            found_m,
            needed_m,
            fitting_m: allowed.then_some(fitting_m),
        });
    }
    match fieldlog::wander(log, needed_m).refusal() {
        Some(why) => Err(ScenarioError::ReplayImplausible {
            file: file.to_string(),
            why,
        }),
        None => Ok(()),
    }
}

/// Where the scenario names no speeds or clearances: coarse ones over what row crops are worked with (common practice, no source), and
/// the one worked with now. [`crate::answers::grid::settled`] adds finer ones.
fn coarse(values: &Values) -> (Vec<f64>, Vec<f64>) {
    let us = values.text(Id::StudyUnits) == Some("us");
    let scaled = |of: &[f64], unit: f64| of.iter().map(|value| value * unit).collect();
    if us {
        (
            scaled(&[2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0], 0.44704),
            scaled(&[1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0], 0.0254),
        )
    } else {
        (
            scaled(&[3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0], 1.0 / 3.6),
            scaled(&[25.0, 38.0, 50.0, 60.0, 70.0, 80.0, 100.0], 1e-3),
        )
    }
}

/// A list with one more value in its place, and that value as the list has it; all within a limit.
fn with(mut list: Vec<f64>, value: f64, most: f64) -> (Vec<f64>, f64) {
    list.retain(|item| *item <= most);
    if let Some(known) = check::member(&list, value) {
        return (list, known);
    }
    list.push(value);
    list.sort_by(f64::total_cmp);
    (list, value)
}

fn study(values: &Values, layout: &Layout) -> Option<Study> {
    let (speeds_m_s, clearances_m) = coarse(values);
    let working_m_s = values.number(Id::WorkingSpeed)?;
    let working_m = values.number(Id::WorkingClearance)?;
    let (speeds_m_s, working_speed_m_s) = match values.numbers(Id::Speeds) {
        Some(named) => (named.to_vec(), check::member(named, working_m_s)?),
        None => with(speeds_m_s, working_m_s, f64::INFINITY),
    };
    let (clearances_m, working_clearance_m) = match values.numbers(Id::Clearances) {
        Some(named) => (named.to_vec(), check::member(named, working_m)?),
        None => with(clearances_m, working_m, layout.widest_clearance_m()),
    };
    let named = values.texts(Id::StudyControllers);
    Some(Study {
        working_speed_m_s,
        working_clearance_m,
        most_passes: values.count(Id::Passes)?,
        seed: values.count(Id::Seed)?,
        allowed_cut_rate: values.number(Id::AllowedCutRate)?,
        assurance: values.number(Id::Assurance)?,
        controllers: Kind::ALL
            .into_iter()
            .filter(|kind| named.is_none_or(|names| names.iter().any(|name| name == kind.name())))
            .collect(),
        speeds_m_s,
        clearances_m,
    })
}

/// The demo with everything known.
#[cfg(test)]
pub(crate) fn known_demo() -> Scenario {
    let no_files = |_: &str| Err(io::ErrorKind::NotFound.into());
    Scenario::parse(&known::known_leeks(), "leeks.toml", &no_files, None)
        .unwrap_or_else(|error| panic!("{error}"))
}

fn varying(values: &Values, unknowns: &[Unknown]) -> Vec<Varying> {
    let by_field = |id: Id| unknowns.iter().any(|unknown| unknown.id == id);
    KEYS.iter()
        .filter(|key| !by_field(key.id))
        .filter_map(|key| {
            let spread = values.spread(key.id).filter(Spread::varies)?;
            Some(Varying {
                id: key.id,
                spread,
                word: first_word(&key.path()),
            })
        })
        .collect()
}

/// Where in the parameter stream the draws of a key begin: set by its name (FNV-1a, 32 bit), so that no other key moves
/// it. Each has 4096 words to itself.
fn first_word(path: &str) -> u128 {
    let hash = path.bytes().fold(0x811c_9dc5_u32, |hash, byte| {
        (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193)
    });
    u128::from(hash) * 4096
}
