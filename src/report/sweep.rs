//! A sweep over one or two keys: on a terminal, as JSON, as a table and as a picture.

use super::compare::{NOT_A_PERMISSION, difference};
use super::csv::{table, text};
use super::display::{
    Units, chosen_percent, controller_in_words, controller_title, grouped, plants_apart,
    plants_in_words,
};
use super::svg::controller_class;
use super::svg::lines::{Across, Line, Lines, class};
use super::text::{WIDTH, aligned, bare, wrapped};
use super::{File, ReportError};
use crate::model::controller::Kind;
use crate::report::words::scenario_and_file;
use crate::results::answers::Limited;
use crate::results::comparison::{Sweep, Swept, SweptController};
use crate::results::finite::first_not_finite;

/// Name of the picture's file.
pub const PICTURE: &str = "sweep.svg";

/// The sweep as JSON, SI units.
///
/// # Errors
///
/// A number that is not finite.
pub fn sweep_json(sweep: &Sweep) -> Result<String, ReportError> {
    if let Some(key) = first_not_finite(sweep) {
        return Err(ReportError::NotFinite { key });
    }
    Ok(serde_json::to_string_pretty(sweep)? + "\n")
}

/// Table and picture.
pub fn sweep_files(sweep: &Sweep) -> Vec<File> {
    vec![
        File::new("sweep.csv", sweep_csv(sweep)),
        File::new(PICTURE, lines(sweep).picture().standalone()),
    ]
}

/// One line for each setting and controller, the scenario as it stands first.
pub fn sweep_csv(sweep: &Sweep) -> String {
    let keys: Vec<String> = sweep
        .over
        .iter()
        .flat_map(|one| [text(&one.key), text(&format!("{}.si", one.key))])
        .collect();
    let header = format!(
        "setting,{},speed_m_s,clearance_m,controller,cut.rate,cut.lower,cut.upper,difference,difference.lower,difference.upper,unstable",
        keys.join(",")
    );
    let own = [("own", &sweep.own)].into_iter();
    let lines = own
        .chain(sweep.settings.iter().map(|one| ("swept", one)))
        .flat_map(|(which, one)| {
            one.controllers
                .iter()
                .map(move |controller| (which, one, controller))
        })
        .map(|(which, one, controller)| csv_line(which, one, controller));
    table(&header, lines)
}

fn csv_line(which: &str, one: &Swept, of: &SweptController) -> Vec<String> {
    let number = |value: Option<f64>| value.map_or(String::new(), |value| value.to_string());
    let limits = |of: Option<Limited>| match of {
        Some(of) => [of.value, of.lower, of.upper].map(|value| value.to_string()),
        None => [const { String::new() }; 3],
    };
    let mut line = vec![which.to_owned()];
    for (value, si) in one.values.iter().zip(&one.numbers) {
        line.extend([text(value), number(*si)]);
    }
    line.extend([
        one.speed_m_s.to_string(),
        one.clearance_m.to_string(),
        text(of.controller.name()),
    ]);
    line.extend(limits(of.cut));
    line.extend(limits(of.difference));
    line.push(text(
        &of.unstable.map_or_else(String::new, |why| why.to_string()),
    ));
    line
}

/// The sweep in plain words, the answer first.
pub fn sweep_text(sweep: &Sweep) -> String {
    let units = sweep.scenario.units;
    let mut out = wrapped(&opening(sweep, units), WIDTH);
    out.push('\n');
    out.push_str(&wrapped(&verdict(sweep), WIDTH));
    out.push('\n');
    out.push_str(&wrapped(
        &format!(
            "Plants cut in % under {}, and the difference from the file's own value in percentage points (one is 1 plant in 100), both with \
             their {} limits:",
            controller_in_words(sweep.controller),
            chosen_percent(sweep.level),
        ),
        WIDTH,
    ));
    out.push('\n');
    out.push_str(&aligned(&best_rows(sweep)));
    // With two keys there is no room for every controller; the table for spreadsheets has them all.
    if sweep.own.controllers.len() > 1 && sweep.over.len() == 1 {
        out.push('\n');
        out.push_str(&wrapped(
            "Plants cut in % under every controller, in brackets the upper limit:",
            WIDTH,
        ));
        out.push('\n');
        out.push_str(&aligned(&all_rows(sweep)));
    }
    out.push('\n');
    out.push_str(&wrapped(
        &format!(
            "Seed {}, {} passes with every value, the same ground, driver and plants for all. {NOT_A_PERMISSION}",
            sweep.seed,
            grouped(sweep.passes)
        ),
        WIDTH,
    ));
    out
}

fn opening(sweep: &Sweep, units: Units) -> String {
    let over: Vec<String> = sweep
        .over
        .iter()
        .map(|one| {
            let own = one.own.as_deref().unwrap_or("left out");
            format!("{} ({}; in the file: {own})", one.key, one.meaning)
        })
        .collect();
    format!(
        "{} at {} with the tools {} from the row, over {}.",
        scenario_and_file(&sweep.scenario),
        units.speed_text(sweep.working_speed_m_s),
        units.clearance(sweep.working_clearance_m),
        over.join(" and "),
    )
}

/// The controller that the answer speaks of.
fn best<'a>(sweep: &Sweep, of: &'a Swept) -> Option<&'a SweptController> {
    of.controllers
        .iter()
        .find(|one| one.controller == sweep.controller)
}

fn named(sweep: &Sweep, of: &Swept) -> String {
    let pairs = sweep.over.iter().zip(&of.values);
    let named: Vec<String> = pairs
        .map(|(one, value)| format!("{} = {value}", one.key))
        .collect();
    named.join(", ")
}

fn verdict(sweep: &Sweep) -> String {
    let rated = sweep.settings.iter().filter_map(|one| {
        let of = best(sweep, one)?;
        Some((one, of.cut?, of.difference))
    });
    let Some((one, cut, apart)) = rated.min_by(|a, b| a.1.value.total_cmp(&b.1.value)) else {
        return "Under the best controller of the file no value could be run: its loop is unstable with each.".into();
    };
    let against = match apart {
        Some(apart) if apart.upper < 0.0 => {
            format!("{} than as the file has it", plants_apart(apart.value))
        }
        Some(apart) if apart.lower > 0.0 => {
            format!("{} than as the file has it", plants_apart(apart.value))
        }
        Some(apart) if apart.is_nothing() => "as many as the file as it stands".into(),
        _ => "not told apart from the file as it stands; more passes would (--passes)".into(),
    };
    format!(
        "Of these settings {} cuts fewest: {}; {against}.",
        named(sweep, one),
        plants_in_words(cut.value),
    )
}

fn key_headings(sweep: &Sweep) -> Vec<String> {
    sweep.over.iter().map(|one| one.key.clone()).collect()
}

/// The scenario as it stands, then every setting.
fn all(sweep: &Sweep) -> impl Iterator<Item = (&Swept, &'static str)> {
    let settings = sweep.settings.iter().map(|one| (one, ""));
    std::iter::once((&sweep.own, "as the file has it")).chain(settings)
}

fn best_rows(sweep: &Sweep) -> Vec<Vec<String>> {
    let mut headings = key_headings(sweep);
    headings.extend(["plants cut, %", "difference, points", ""].map(str::to_owned));
    let mut rows = vec![headings];
    for (one, note) in all(sweep) {
        let mut row = one.values.clone();
        let of = best(sweep, one);
        row.push(match of.and_then(|of| of.cut) {
            Some(cut) => format!(
                "{} ({} to {})",
                bare(cut.value),
                bare(cut.lower),
                bare(cut.upper)
            ),
            None if of.is_some_and(|of| of.unstable.is_some()) => "unstable".into(),
            None => "left out".into(),
        });
        let apart = of.and_then(|of| of.difference).filter(|_| note.is_empty());
        row.push(apart.map_or("-".into(), |apart| difference(&apart)));
        row.push(note.into());
        rows.push(row);
    }
    rows
}

fn all_rows(sweep: &Sweep) -> Vec<Vec<String>> {
    let names: Vec<Kind> = sweep
        .own
        .controllers
        .iter()
        .map(|one| one.controller)
        .collect();
    let mut headings = key_headings(sweep);
    headings.extend(names.iter().map(|name| controller_title(*name).to_owned()));
    let mut rows = vec![headings];
    for (one, _) in all(sweep) {
        let mut row = one.values.clone();
        row.extend(names.iter().map(|name| {
            let of = one.controllers.iter().find(|of| of.controller == *name);
            match of.and_then(|of| of.cut) {
                Some(cut) => format!("{} ({})", bare(cut.value), bare(cut.upper)),
                None if of.is_some() => "unstable".into(),
                None => "left out".into(),
            }
        }));
        rows.push(row);
    }
    rows
}

/// Lines over the first key: one for each controller, or for each value of the second key under the best controller.
pub fn lines(sweep: &Sweep) -> Lines {
    let units = sweep.scenario.units;
    let first: Vec<&str> = distinct(sweep, 0);
    let numbers = with_unit(&first);
    let place = |one: &Swept| {
        let at = first
            .iter()
            .position(|value| *value == one.values[0])
            .unwrap_or(0);
        numbers
            .as_ref()
            .map_or(at as f64, |(numbers, _)| numbers[at])
    };
    let line = |name: String, class: &'static str, pick: &dyn Fn(&Swept) -> Option<Limited>| Line {
        name,
        class,
        points: {
            let rated = sweep
                .settings
                .iter()
                .filter_map(|one| Some((place(one), pick(one)?)));
            let mut points: Vec<(f64, Limited)> = rated.collect();
            points.sort_by(|a, b| a.0.total_cmp(&b.0));
            points
        },
    };
    let lines = match sweep.over.get(1) {
        None => (sweep.own.controllers.iter())
            .map(|of| {
                let pick = |one: &Swept| {
                    one.controllers
                        .iter()
                        .find(|c| c.controller == of.controller)?
                        .cut
                };
                line(
                    controller_title(of.controller).into(),
                    controller_class(of.controller),
                    &pick,
                )
            })
            .collect(),
        Some(_) => (distinct(sweep, 1).into_iter().enumerate())
            .map(|(number, value)| {
                let pick = |one: &Swept| best(sweep, one).filter(|_| one.values[1] == value)?.cut;
                line(value.into(), class(number), &pick)
            })
            .collect(),
    };
    let subtitle = sweep.over.get(1).map_or(String::new(), |second| {
        let controller = controller_title(sweep.controller);
        format!("{controller}, a line for each value of {}", second.key)
    });
    Lines {
        name: "sweep".into(),
        title: format!(
            "Plants cut at {}, tools {} from the row",
            units.speed_text(sweep.working_speed_m_s),
            units.clearance(sweep.working_clearance_m),
        ),
        subtitle,
        across_title: match &numbers {
            Some((_, unit)) if !unit.is_empty() => format!("{}, {unit}", sweep.over[0].key),
            _ => sweep.over[0].key.clone(),
        },
        across: match numbers {
            Some(_) => Across::Numbers,
            None => Across::Words(first.iter().map(|value| (*value).to_owned()).collect()),
        },
        lines,
        allowed_cut_rate: sweep.allowed_cut_rate,
        level: sweep.level,
    }
}

fn distinct(sweep: &Sweep, place: usize) -> Vec<&str> {
    let mut values: Vec<&str> = Vec::new();
    for one in &sweep.settings {
        if !values.contains(&one.values[place].as_str()) {
            values.push(&one.values[place]);
        }
    }
    values
}

/// The numbers of "40 ms", "80 ms" with their one unit; `None` if they are no numbers or have several units.
fn with_unit<'a>(values: &[&'a str]) -> Option<(Vec<f64>, &'a str)> {
    let parted = values.iter().map(|value| {
        let (number, unit) = value.split_once(' ').unwrap_or((value, ""));
        Some((
            number
                .parse::<f64>()
                .ok()
                .filter(|number| number.is_finite())?,
            unit.trim(),
        ))
    });
    let parted = parted.collect::<Option<Vec<_>>>()?;
    let unit = parted.first()?.1;
    let same = parted.iter().all(|(_, other)| *other == unit);
    same.then(|| (parted.into_iter().map(|(number, _)| number).collect(), unit))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::compare::How;
    use crate::answers::sweep::{Over, sweep};
    use crate::montecarlo::study::Unwatched;
    use crate::scenario::known_demo;

    fn of(over: &[&str]) -> Sweep {
        let over: Vec<Over> = over.iter().map(|text| Over::parse(text).unwrap()).collect();
        let how = How {
            seed: 1,
            passes: 8,
            threads: Some(1),
        };
        sweep(&known_demo(), &over, how, &Unwatched).unwrap()
    }

    #[test]
    fn prop_table_text_and_picture_hold_every_setting() {
        let found = of(&["camera.latency=40 ms,160 ms", "camera.mount=shifted,fixed"]);
        let csv = sweep_csv(&found);
        let header = csv.lines().next().unwrap();
        let columns = |line: &str| line.matches(',').count();
        assert_eq!(csv.lines().count(), 1 + 5 * 5, "{csv}");
        assert!(
            csv.lines().all(|line| columns(line) == columns(header)),
            "{csv}"
        );
        let told = sweep_text(&found);
        let widest = told.lines().map(|line| line.chars().count()).max();
        assert!(widest <= Some(WIDTH), "{told}");
        let drawn = lines(&found);
        assert_eq!(drawn.lines.len(), 2);
        assert!(drawn.lines.iter().all(|line| line.points.len() == 2));
        assert_eq!(drawn.lines[0].points[1].0, 160.0);
        let svg = drawn.picture().standalone();
        assert!(
            svg.contains("camera.latency, ms") && svg.contains(">fixed<"),
            "{svg}"
        );
    }

    #[test]
    fn analytic_numbers_share_one_unit() {
        assert_eq!(
            with_unit(&["40 ms", "80 ms"]),
            Some((vec![40.0, 80.0], "ms"))
        );
        assert_eq!(with_unit(&["1", "2.5"]), Some((vec![1.0, 2.5], "")));
        assert_eq!(with_unit(&["40 ms", "0.1 s"]), None);
        assert_eq!(with_unit(&["shifted", "fixed"]), None);
    }
}
