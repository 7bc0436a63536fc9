//! `rowroom pass`.

use rowroom::model::controller::Kind;
use rowroom::montecarlo::learning::learned;
use rowroom::montecarlo::study::one_pass;
use rowroom::report::display::{percent, trimmed};
use rowroom::report::{PassStamp, pass_files, pass_name};
use rowroom::results::Tool;
use rowroom::scenario::Scenario;
use rowroom::sim::trace::{Fate, Trace, View};

use super::args::Pass;
use super::failure::Failure;
use super::folder::Folder;
use super::progress::{self, Progress};

/// Simulates one pass and writes what happened where.
pub fn run(asked: &Pass) -> Result<(), Failure> {
    let scenario = Scenario::read_with(&asked.file, asked.replay.as_deref(), &asked.changes.given)?;
    let study = scenario.study();
    if let Some(clearance_m) = asked.clearance {
        leaves_room(&scenario, clearance_m)?;
    }
    let view = View {
        kind: asked
            .controller
            .as_deref()
            .and_then(Kind::from_name)
            .unwrap_or_else(|| best_equipped(&scenario)),
        speed_m_s: asked.speed.unwrap_or(study.working_speed_m_s),
        clearance_m: asked.clearance.unwrap_or(study.working_clearance_m),
        seed: asked.seed.unwrap_or(study.seed),
        pass: asked.number,
    };
    let path = asked.out.clone().unwrap_or_else(|| {
        super::default_folder(&asked.file)
            .join("passes")
            .join(setting(&view))
    });
    let folder = Folder::open(&path, &pass_name(view.pass, view.kind))?;
    // A pass of a study goes over one of its fields.
    let scenario = learned(scenario, view.seed, None, &Progress::new(true, None))?;
    let trace = one_pass(&scenario, view)?;
    let stamp = PassStamp {
        tool: Tool::this(),
        scenario: scenario.stamp(),
        step_s: scenario.nominal().run.step_s,
    };
    let files = pass_files(&stamp, &trace)?;
    if progress::interrupted() {
        return Err(Failure::interrupted("no file was written or changed"));
    }
    folder.add(&files)?;
    super::print(&format!(
        "{}\n{}",
        counted(&trace),
        super::where_they_lie(&folder, &files)
    ))
}

/// Refuses a clearance wider than half the way between the nearest rows, as a scenario's own are refused.
fn leaves_room(scenario: &Scenario, clearance_m: f64) -> Result<(), Failure> {
    let widest_m = scenario.widest_clearance_m();
    if clearance_m <= widest_m {
        return Ok(());
    }
    let stamp = scenario.stamp();
    let units = stamp.units;
    Err(Failure::input(format!(
        "--clearance {} on either side leaves no room for tools between rows {} apart ({}); give at most {}",
        units.clearance(clearance_m),
        units.clearance(2.0 * widest_m),
        stamp.file,
        units.clearance(widest_m),
    )))
}

/// The last controller of the study that the machine has the parts for.
fn best_equipped(scenario: &Scenario) -> Kind {
    let machine = scenario.nominal();
    scenario
        .study()
        .controllers
        .iter()
        .copied()
        .rfind(|&kind| kind.lacks(&machine).is_none())
        .unwrap_or(Kind::Locked)
}

/// Name of the folder for passes at one setting, such as `8kmh_38mm`; the files' names carry pass and controller.
fn setting(view: &View) -> String {
    format!(
        "{}kmh_{}mm",
        trimmed(3.6 * view.speed_m_s, 2),
        trimmed(1e3 * view.clearance_m, 1),
    )
}

/// Plants cut and touched in entry and rest, and the shares of the whole row that a study of this pass alone would tell.
fn counted(trace: &Trace) -> String {
    let on = |entry: bool| {
        let plants = trace.plants.iter();
        plants.filter(move |plant| (plant.station_m < trace.entry_length_m) == entry)
    };
    let count = |entry, fate| on(entry).filter(|plant| plant.fate == fate).count();
    let row = |of: &dyn Fn(bool) -> usize| {
        let [entry, rest] = trace.of_the_row;
        entry * of(true) as f64 + rest * of(false) as f64
    };
    let plants = row(&|entry| on(entry).count());
    let share = |fate| percent(row(&|entry| count(entry, fate)) / plants.max(1.0));
    let told = |name: &str, entry| {
        format!(
            "{name}: {} of {} plants cut, {} touched.",
            count(entry, Fate::Cut),
            on(entry).count(),
            count(entry, Fate::Touched)
        )
    };
    format!(
        "Pass {} under {}: {} of the plants of the whole row cut, {} touched.\n{} {}",
        trace.pass,
        trace.kind.name(),
        share(Fate::Cut),
        share(Fate::Touched),
        told("Entry stretch", true),
        told("Rest", false),
    )
}
