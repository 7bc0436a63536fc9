//! What is not known, said: how far apart farms like this one may lie, how sure a setting is, and what carries the doubt.

use crate::report::display::{Units, limit_in_words, trimmed};
use crate::results::answers::{Assured, Edge, Measure, MeasureWhat};
use crate::results::{NoFarms, RAREST, Results, UnknownValue};
use crate::scenario::keys::KEYS;

/// A share of the farms in words: "4 farms in 5", "19 farms in 20", "every second farm", "7 farms in 10".
pub fn farms(assurance: f64) -> String {
    let near = |share: f64| (assurance - share).abs() < 1e-9;
    if near(0.5) {
        return "every second farm".into();
    }
    for of in [4, 5, 10, 20, 50, 100] {
        let farms = (assurance * f64::from(of)).round();
        if near(farms / f64::from(of)) {
            return format!("{farms} farms in {of}");
        }
    }
    format!("{} % of the farms", trimmed(100.0 * assurance, 1))
}

/// "1 in 150", "62 of 100", "rarer than 1 in 10 000".
pub fn rate(rate: f64) -> String {
    if rate <= RAREST {
        format!("rarer than {}", limit_in_words(RAREST))
    } else {
        limit_in_words(rate)
    }
}

/// The recommended setting on farms like this one, and what carries the doubt, in a grower's two sentences; empty where all is known.
pub fn sentences(results: &Results) -> Vec<String> {
    if results.unknowns.is_empty() {
        return Vec::new();
    }
    if let Some(why) = results.no_farms {
        return vec![no_farms(why)];
    }
    let answers = &results.answers;
    let known = match &answers.recommended {
        Some(setting) => setting.known,
        None => answers
            .controller
            .and_then(|kind| results.at_work(kind)?.known),
    };
    let mut said = Vec::new();
    if let Some(known) = known {
        said.push(format!(
            "On 9 farms in 10 like this one {} to {} are cut, on {} at most {}.",
            rate(known.cut.p05),
            rate(known.cut.p95),
            farms(results.assurance),
            rate(known.assured_cut),
        ));
    }
    said.extend(doubt(results, 1).map(|most| format!("Most doubtful: {most}.")));
    said
}

/// How sure that is, what carries the doubt and what to measure first; empty where all is known.
pub fn further(results: &Results, units: Units) -> Vec<String> {
    let doubt = doubt(results, NAMED).map(|most| format!("What carries the doubt: {most}."));
    let said = [sure(results, units), doubt, measure_first(results, units)];
    said.into_iter().flatten().collect()
}

/// Why nothing is told of farms like this one.
pub fn no_farms(why: NoFarms) -> String {
    match why {
        NoFarms::FewFields { fields, needed } => format!(
            "Some values are not known, but what farms like this one may see is not told: the study went over {fields} {}, and {needed} are needed \
             ({} passes).",
            if fields == 1 { "field" } else { "fields" },
            u64::from(needed) * crate::scenario::FIELD_PASSES
        ),
        NoFarms::Broken => {
            "Some values are not known, but what farms like this one may see could not be worked out.".into()
        }
    }
}

/// What 19 farms in 20 would need.
fn sure(results: &Results, units: Units) -> Option<String> {
    let surest = results.answers.assured.last()?;
    let on = farms(surest.assurance);
    Some(match (surest.speed_edge, surest.clearance_edge) {
        (Edge::NoneKeeps, Edge::NoneKeeps) => format!(
            "No simulated setting keeps the allowed {} on {on}.",
            limit_in_words(results.allowed_cut_rate)
        ),
        _ => format!(
            "To keep the allowed {} on {on}: {}, or {}.",
            limit_in_words(results.allowed_cut_rate),
            speed(surest, units),
            clearance(surest, units)
        ),
    })
}

/// "no faster than 5 km/h with the tools 60 mm from the row".
pub fn speed(assured: &Assured, units: Units) -> String {
    let place = format!(
        "with the tools {} from the row",
        units.clearance(assured.at_clearance_m)
    );
    match (assured.speed_edge, assured.speed_m_s) {
        (Edge::Within, Some(speed_m_s)) => {
            let speed = units.speed_limit(speed_m_s);
            format!("no faster than {speed} {} {place}", units.speed_unit())
        }
        (Edge::AllKeep, _) => format!("any simulated speed {place}"),
        _ => format!("no simulated speed {place} is slow enough"),
    }
}

/// "the tools 72 mm from the row at 8 km/h".
pub fn clearance(assured: &Assured, units: Units) -> String {
    let pace = units.speed_text(assured.at_speed_m_s);
    match (assured.clearance_edge, assured.clearance_m) {
        (Edge::Within, Some(clearance_m)) => format!(
            "the tools at least {} from the row at {pace}",
            units.clearance(on_the_tape(clearance_m, units))
        ),
        (Edge::AllKeep, _) => format!("any simulated clearance at {pace}"),
        _ => format!("no simulated clearance at {pace} is wide enough"),
    }
}

/// What to measure first, as an instruction with numbers; `None` where nothing is worth the work.
pub fn measure_first(results: &Results, units: Units) -> Option<String> {
    let best = results.answers.measure.first()?;
    let closer = units.small_text(best.clearance_gain_m);
    (best.clearance_gain_m >= WORTH_MEASURING_M).then(|| {
        format!(
            "Measure first: {} About {:.0} minutes; with what it tells the tools may then probably run {closer} closer and be as sure.",
            instruction(best, units),
            best.minutes
        )
    })
}

/// A gain that is worth a walk into the field, m (our choice).
const WORTH_MEASURING_M: f64 = 0.001;

/// What to do, and what to write down.
pub fn instruction(measure: &Measure, units: Units) -> String {
    let (places, plants) = (measure.places, measure.plants);
    let apart = units.distance_text(APART_M);
    match measure.measurement {
        MeasureWhat::CountPlants => format!(
            "after a pass count {plants} plants in a row at each of {places} places, at least {apart} apart and on different passes; write down place, row, \
             plants, cut and touched."
        ),
        MeasureWhat::TapeReadings => format!(
            "at work stop at {places} places at least {apart} apart, the tools in the ground, engine off and oil without pressure, and measure the gaps from a \
             row to the edges left and right of it; write down place, row, left gap and right gap."
        ),
        MeasureWhat::PlantsOffString => format!(
            "stretch a string along the row at {places} places and measure how far {plants} plants at each stand off it, left or right; write down all of them."
        ),
        MeasureWhat::CameraOnString => {
            "with the shifting locked and the implement blocked, stretch a string down the middle between the tools, let the camera look at it and write down \
             what it shows, left or right."
                .into()
        }
        MeasureWhat::TimedLatency => {
            "film the row under the camera and its screen together, move a stick across the row and count the frames until the screen shows it; write down the \
             time."
                .into()
        }
        MeasureWhat::LoggedPass => {
            "log a pass with a satellite receiver that is good to two or three centimetres; keep the file.".into()
        }
        MeasureWhat::RowsOffString => format!(
            "stretch a line of 50 m beside the row and measure the distance to the row at {places} places; write down all of them."
        ),
        MeasureWhat::SideSlope => {
            "lay a level across the rows and write down by how much it falls on a metre.".into()
        }
    }
}

/// How far apart places should lie, so that they do not tell of the same stretch, m (our choice: two lengths of the planter's wander).
const APART_M: f64 = 25.0;

/// A clearance at least as wide, to 1 mm or a twentieth of an inch.
pub fn on_the_tape(clearance_m: f64, units: Units) -> f64 {
    let step_m = match units {
        Units::Metric => 0.001,
        Units::Us => 0.05 * 0.0254,
    };
    (clearance_m / step_m - 1e-6).ceil() * step_m
}

/// Shares of the doubt that are worth a word, and how many at most.
const WORTH_A_WORD: f64 = 0.1;
const NAMED: usize = 3;

/// What carries the doubt, so many at most, the most first.
fn doubt(results: &Results, most: usize) -> Option<String> {
    let mut carrying: Vec<(&UnknownValue, f64)> = results
        .unknowns
        .iter()
        .filter_map(|unknown| Some((unknown, unknown.share_of_rate?)))
        .filter(|(_, share)| *share >= WORTH_A_WORD)
        .collect();
    carrying.sort_by(|a, b| b.1.total_cmp(&a.1));
    carrying.truncate(most);
    let said: Vec<String> = carrying
        .iter()
        .map(|(unknown, share)| format!("{} ({:.0} %)", plain(&unknown.key), 100.0 * share))
        .collect();
    (!said.is_empty()).then(|| said.join(", "))
}

/// Values that may be not known, in a grower's words.
const PLAIN: [(&str, &str); 22] = [
    ("rows.wander", "how far the rows wander"),
    (
        "rows.unit_error_sd",
        "how well the planter's units were set",
    ),
    ("rows.join_error_sd", "how well planter passes join"),
    ("plants.scatter_sd", "how far plants stand off their row"),
    ("plants.stem_radius", "how thick the stems are"),
    ("plants.root_margin", "how far the roots reach"),
    ("driver.hand.seeing_sd", "how well the driver sees the row"),
    (
        "driver.hand.steering_sd",
        "how steady the driver's hands are",
    ),
    (
        "driver.satellite_line.receiver_sd",
        "how exact the receiver is",
    ),
    (
        "driver.satellite_line.drift_sd",
        "how far the receiver drifts",
    ),
    (
        "hitch.rear.sway_sd",
        "how much the machine sways on its links",
    ),
    (
        "hitch.front.sway_sd",
        "how much the machine sways on its links",
    ),
    ("tools.setting_error_sd", "how well the tools are set"),
    ("camera.latency", "how late the camera is"),
    ("camera.noise_sd", "how exact the camera is"),
    ("camera.appearance_sd", "how uneven the rows look"),
    ("camera.alignment", "how well the camera is aligned"),
    ("camera.roll_moving_sd", "how much the camera rolls"),
    (
        "camera.roll_height",
        "how high the plants are that the camera looks at",
    ),
    ("hydraulics.friction", "how hard the frame moves"),
    ("valve.proportional.dead_time", "how late the valve is"),
    ("valve.proportional.spool_lag", "how quick the valve is"),
];

/// A key in a grower's words; where there are none, what the scenario language says of it.
pub fn plain(key: &str) -> String {
    let known = PLAIN.iter().find(|(name, _)| *name == key);
    let meaning = || {
        let key = KEYS.iter().find(|one| one.path() == key)?;
        Some(key.meaning)
    };
    known
        .map(|(_, words)| *words)
        .or_else(meaning)
        .unwrap_or(key)
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;
    use crate::results::{FarmRates, FarmShare, Known, LawName};

    #[test]
    fn prop_every_plain_word_is_of_a_key_that_may_be_not_known() {
        for (name, _) in PLAIN {
            let key = KEYS.iter().find(|key| key.path() == name);
            assert!(key.is_some_and(|key| key.may_vary()), "{name}");
        }
    }

    /// A study of farms: what the grower reads first.
    #[test]
    fn prop_the_grower_reads_range_assurance_doubt_and_what_to_measure() {
        let mut results = synthetic::results();
        assert_eq!(sentences(&results), [""; 0]);
        assert_eq!(further(&results, Units::Metric), [""; 0]);
        results.assurance = 0.8;
        let unknown = |key: &str, share: f64| UnknownValue {
            key: key.into(),
            from: 0.006,
            to: 0.02,
            law: LawName::LogUniform,
            known: Known::Scenario,
            source: "scenario".into(),
            share_of_rate: Some(share),
            share_of_speed: Some(share),
            share_of_cost: Some(share),
        };
        results.unknowns = vec![
            unknown("camera.noise_sd", 0.05),
            unknown("plants.scatter_sd", 0.7),
            unknown("camera.alignment", 0.25),
        ];
        let share = FarmShare {
            p05: 1.0 / 490.0,
            p50: 1.0 / 260.0,
            p95: 1.0 / 110.0,
        };
        let setting = results.answers.recommended.as_mut().unwrap();
        setting.known = Some(FarmRates {
            cut: share,
            touched: share,
            assured_cut: 1.0 / 180.0,
            fitted: true,
        });
        let assured = |assurance: f64, speed_m_s: Option<f64>| Assured {
            assurance,
            controller: setting.controller,
            at_clearance_m: 0.06,
            speed_m_s,
            speed_edge: if speed_m_s.is_some() {
                Edge::Within
            } else {
                Edge::NoneKeeps
            },
            at_speed_m_s: 8.0 / 3.6,
            clearance_m: Some(0.072),
            clearance_edge: Edge::Within,
            stroke_m: Some(0.31),
            cheapest: None,
        };
        results.answers.assured = vec![assured(0.5, Some(2.5)), assured(0.95, None)];
        results.answers.measure = vec![Measure {
            measurement: MeasureWhat::CountPlants,
            minutes: 30.0,
            places: 5,
            plants: 200,
            clearance_gain_m: 0.0064,
            speed_gain_m_s: 0.2,
            saves_per_ha: None,
        }];
        let mut said = sentences(&results);
        said.extend(further(&results, Units::Metric));
        for (line, words) in [
            (
                0,
                "On 9 farms in 10 like this one 1 in 490 to 1 in 110 are cut, on 4 farms in 5 at most 1 in 180.",
            ),
            (
                1,
                "Most doubtful: how far plants stand off their row (70 %).",
            ),
            (
                2,
                "on 19 farms in 20: no simulated speed with the tools 60 mm from the row is slow enough, or the tools at least 72 mm from the row at 8 km/h.",
            ),
            (
                3,
                "What carries the doubt: how far plants stand off their row (70 %), how well the camera is aligned (25 %).",
            ),
            (4, "count 200 plants in a row at each of 5 places"),
            (4, "6.4 mm closer"),
        ] {
            assert!(said[line].contains(words), "{}", said[line]);
        }
        results.no_farms = Some(NoFarms::FewFields {
            fields: 8,
            needed: 128,
        });
        let said = sentences(&results);
        assert!(
            said[0].contains("went over 8 fields, and 128 are needed (1024 passes)"),
            "{said:?}"
        );
    }

    #[test]
    fn analytic_shares_of_farms_in_words() {
        for (share, words) in [
            (0.5, "every second farm"),
            (0.8, "4 farms in 5"),
            (0.95, "19 farms in 20"),
            (0.75, "3 farms in 4"),
            (0.9, "9 farms in 10"),
            (0.98, "49 farms in 50"),
        ] {
            assert_eq!(farms(share), words);
        }
        assert_eq!(rate(1e-4), "rarer than 1 in 10 000");
        assert_eq!(rate(1.0 / 150.0), "1 in 150");
    }
}
