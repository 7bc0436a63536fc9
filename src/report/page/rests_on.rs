//! What the study rests on: every value with its origin, the influential ones first.

use super::Page;
use crate::report::changes::why;
use crate::report::display::plants_apart;
use crate::report::parts::{key, scroll};
use crate::report::sentences::speed_answer;
use crate::report::words::capital;
use crate::results::answers::Why;
use crate::results::{Assumption, Known, Results};
use maud::{Markup, html};

/// Which values of a scenario a cause of cut plants hangs on: starts of keys. The first that fits a key counts.
const CAUSES: [(Why, &[&str]); 16] = [
    (Why::PlantScatter, &["plants."]),
    (Why::CameraAlignment, &["camera.alignment", "camera.trim"]),
    (
        Why::ToolSetting,
        &["tools.", "rows.unit_error", "rows.join_error"],
    ),
    (Why::RowsLook, &["camera.rows_look", "camera.appearance"]),
    (Why::CameraRoll, &["camera.roll", "camera.mount"]),
    (Why::CameraNoise, &["camera.noise"]),
    (Why::LostSight, &["camera.blind", "camera.outlier"]),
    (
        Why::Lag,
        &["camera.", "sensors.", "controller.", "valve.", "tracker."],
    ),
    (
        Why::Entry,
        &[
            "pass.entry",
            "pass.approach",
            "pass.start_delay",
            "pass.while_lifted",
            "pass.held_shift",
        ],
    ),
    (Why::LinkPlay, &["hitch."]),
    (Why::SideSlope, &["ground.", "tractor.crab"]),
    (Why::DriverWander, &["driver.", "tractor."]),
    (Why::PlanterWander, &["rows."]),
    (Why::Bends, &["line."]),
    (Why::Stroke, &["hydraulics.stroke"]),
    (Why::OilFlow, &["hydraulics.", "cold_oil."]),
];

/// Values under one heading.
struct Group<'a> {
    heading: String,
    values: Vec<&'a Assumption>,
}

/// All values, those first that matter most to the plants cut; within a group the assumed ones first.
fn groups(results: &Results) -> Vec<Group<'_>> {
    let mut weighed: Vec<(f64, Group)> = CAUSES
        .iter()
        .map(|(cause, _)| {
            let found = speed_answer(results)
                .and_then(|answer| answer.causes.iter().find(|one| one.cause == *cause));
            let heading = match found {
                Some(found) => format!(
                    "{}: without it {} cut",
                    capital(why(*cause)),
                    plants_apart(found.difference.value)
                ),
                None => capital(why(*cause)),
            };
            // The cut plants that go with the cause; one that does not cost any comes last.
            let weight = found.map_or(0.0, |found| (-found.difference.value).max(0.0));
            (
                weight,
                Group {
                    heading,
                    values: of(results, Some(*cause)),
                },
            )
        })
        .collect();
    weighed.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut groups: Vec<Group> = weighed.into_iter().map(|(_, group)| group).collect();
    groups.push(Group {
        heading: "Study, farm, prices and workshop".into(),
        values: of(results, None),
    });
    groups.retain(|group| !group.values.is_empty());
    groups
}

/// Values of a cause, or of none.
fn of(results: &Results, cause: Option<Why>) -> Vec<&Assumption> {
    let (mut values, stated): (Vec<&Assumption>, Vec<&Assumption>) = results
        .assumptions
        .iter()
        .filter(|value| cause_of(&value.key) == cause)
        .partition(|value| assumed(value));
    values.extend(stated);
    values
}

fn cause_of(key: &str) -> Option<Why> {
    let fits = |starts: &&[&str]| starts.iter().any(|start| key.starts_with(start));
    CAUSES
        .iter()
        .find(|(_, starts)| fits(starts))
        .map(|(cause, _)| *cause)
}

fn assumed(value: &Assumption) -> bool {
    value.known == Known::Assumed
}

impl Page<'_> {
    /// Every value of the scenario.
    pub(super) fn rests_on(&self) -> Markup {
        html! {
            (scroll("Assumptions", html! { "Every value of the scenario with its origin, those first that the plants cut hang on most, as it shows when one cause is taken "
                        "away at a time. A value marked as assumed has no source: measure it on your "
                        "machine and in your field before you lean on the result; beside it stands where it may as well lie." }, html! {
                table.own-units {
                    thead { tr {
                        th.text scope="col" { "What" }
                        th.text scope="col" { "Value" }
                        th.text scope="col" { "May as well be" }
                        th.text scope="col" { "Origin" }
                        th.text scope="col" { "Key in the scenario" }
                    } }
                    @for group in groups(self.results) { tbody {
                        tr { th.text.group colspan="5" scope="rowgroup" { (group.heading) } }
                        @for value in group.values { tr {
                            td.text { (value.meaning) }
                            td.text { (value.value) }
                            td.text { (value.range.as_deref().unwrap_or_default()) }
                            td.text { @if assumed(value) { span.tag { "assumed" } (value.origin.trim_start_matches("assumed")) } @else { (value.origin) } }
                            td.text { (key(&value.key)) }
                        } }
                    } }
                }
            }))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;

    #[test]
    fn prop_every_value_is_shown_once_and_the_influential_come_first() {
        let mut results = synthetic::results();
        let value = |key: &str, origin: &str| Assumption {
            key: key.into(),
            value: "1".into(),
            known: if origin == "assumed" {
                Known::Assumed
            } else {
                Known::Scenario
            },
            origin: origin.into(),
            range: None,
            meaning: String::new(),
        };
        results.assumptions = vec![
            value("study.seed", "scenario"),
            value("camera.noise_sd", "scenario"),
            value("camera.roll_height", "assumed"),
            value("camera.latency", "scenario"),
            value("rows.wander", "scenario"),
        ];
        for answer in &mut results.answers.speed {
            answer.causes[0].cause = Why::RowsLook;
            answer.causes[0].difference.value = -0.004;
            answer.causes[1].cause = Why::PlanterWander;
            answer.causes[1].difference.value = -0.02;
            answer.causes.truncate(2);
        }
        let groups = groups(&results);
        let keys: Vec<&str> = groups
            .iter()
            .flat_map(|group| group.values.iter().map(|value| value.key.as_str()))
            .collect();
        assert_eq!(
            keys,
            [
                "rows.wander",
                "camera.roll_height",
                "camera.noise_sd",
                "camera.latency",
                "study.seed"
            ]
        );
        assert!(
            groups[0]
                .heading
                .contains("without it 20 fewer plants in 1000 cut"),
            "{}",
            groups[0].heading
        );
    }
}
