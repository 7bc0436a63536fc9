//! `rowroom beside`.

use std::path::Path;

use rowroom::files::{RESULTS_BYTES, read_text};
use rowroom::report::ReportError;
use rowroom::report::beside::{self, Beside};
use rowroom::report::json::read_results;
use rowroom::results::{Results, SCHEMA_VERSION};

use super::args;
use super::failure::Failure;
use super::folder::{Folder, MARK};

/// Puts two finished studies on one page.
pub fn run(asked: &args::Beside) -> Result<(), Failure> {
    let (first, second) = (read(&asked.first)?, read(&asked.second)?);
    let path = asked.out.clone().unwrap_or_else(|| {
        let name = |results: &Results| super::default_folder(Path::new(&results.scenario.file));
        let mut both = name(&first).into_os_string();
        both.push("_beside_");
        both.push(name(&second).file_name().unwrap_or_default());
        both.into()
    });
    let folder = Folder::open(&path, beside::FILE)?;
    let beside = Beside {
        first: &first,
        second: &second,
    };
    let files = [beside.file()];
    folder.fill(&files)?;
    super::print(&format!(
        "{}\nThe page: {}\n",
        beside.text(),
        folder.path().join(&files[0].name).display()
    ))
}

/// The results of a study, from its folder or its `results.json`.
fn read(place: &Path) -> Result<Results, Failure> {
    let file = if place.is_dir() {
        place.join(MARK)
    } else {
        place.to_owned()
    };
    let name = file.display();
    let text = read_text(&file, RESULTS_BYTES).map_err(|error| {
        Failure::run(error).and(
            "Name the folder of a finished study, such as reports/demo, or the results.json in it",
        )
    })?;
    let version = serde_json::from_str::<serde_json::Value>(&text)
        .ok()
        .and_then(|value| value["schema_version"].as_u64());
    if version.is_some_and(|version| version != u64::from(SCHEMA_VERSION)) {
        return Err(Failure::input(format!(
            "{name} was written by another version of the program: study that scenario again"
        )));
    }
    let results = read_results(&text).map_err(|error| {
        let why = match error {
            ReportError::Json(why) => why.to_string(),
            other => other.to_string(),
        };
        Failure::input(format!(
            "{name} is no results.json of this version ({why}). Name the folder of a finished study, or study that scenario again; \
             two scenario files are compared by \"rowroom compare\""
        ))
    })?;
    match results.contradiction() {
        Some(why) => Err(Failure::input(format!(
            "{name} contradicts itself ({why}): it was changed since it was written; study that scenario again"
        ))),
        None => Ok(results),
    }
}
