//! What to measure first? What each measurement that a farm can make would be worth before it is made, for each minute of its work.
//!
//! How long a measurement takes and how exact it is are common practice, no source, unless said otherwise.

use super::spacing::Priced;
use crate::montecarlo::farms::{Farms, Place};
use crate::montecarlo::readings::{count, tape};
use crate::results::Results;
use crate::results::answers::{Measure, MeasureWhat};
use crate::scenario::Scenario;
use crate::unknowns::emulator::Emulated;
use crate::unknowns::measure::{Direct, Error, Measurement};
use crate::unknowns::worth::{Aim, Plan, Wanted, worth};

/// Simulated results of each measurement (our choice).
const OUTCOMES: usize = 100;

/// A measurement that a farm can make.
struct Possible {
    what: MeasureWhat,
    minutes: f64,
    /// How many places, and how many plants at each (of a tape reading: none).
    places: u32,
    plants: u32,
    measurement: Box<dyn Measurement>,
}

/// Direct measurements of one input: what, key, error, minutes, places, plants.
const DIRECT: [(MeasureWhat, &str, Error, f64, u32, u32); 6] = [
    // The spread of n plants is known to 1/sqrt(2 (n - 1)), here 13 %.
    (
        MeasureWhat::PlantsOffString,
        "plants.scatter_sd",
        Error::Relative(0.13),
        20.0,
        3,
        10,
    ),
    (
        MeasureWhat::CameraOnString,
        "camera.alignment",
        Error::Absolute(0.002),
        20.0,
        1,
        0,
    ),
    (
        MeasureWhat::TimedLatency,
        "camera.latency",
        Error::Absolute(0.010),
        30.0,
        1,
        0,
    ),
    (
        MeasureWhat::LoggedPass,
        "driver.hand.seeing_sd",
        Error::Relative(0.2),
        15.0,
        1,
        0,
    ),
    (
        MeasureWhat::RowsOffString,
        "rows.wander",
        Error::Relative(0.2),
        45.0,
        20,
        0,
    ),
    (
        MeasureWhat::SideSlope,
        "ground.side_slope",
        Error::Absolute(0.01),
        5.0,
        1,
        0,
    ),
];

/// The measurement that tells of a key itself, if a farm can make one; what it would be worth is not worked out.
pub fn direct(key: &str) -> Option<Measure> {
    let (what, _, _, minutes, places, plants) =
        DIRECT.into_iter().find(|(_, of, ..)| *of == key)?;
    Some(Measure {
        measurement: what,
        minutes,
        places,
        plants,
        clearance_gain_m: 0.0,
        speed_gain_m_s: 0.0,
        saves_per_ha: None,
    })
}

/// Every measurement that tells of something that is not known, the one with the greatest gain in clearance for each minute first.
pub fn answer(
    scenario: &Scenario,
    farms: &Farms,
    results: &Results,
    (place, priced): (Place, Option<&Priced>),
    seed: u64,
) -> Vec<Measure> {
    let cloud = farms.cloud();
    let possible = farms.fitted(place, |emulator| {
        let at = emulator.at(cloud);
        possible(scenario, results, &at, place)
    });
    let Some(possible) = possible else {
        return Vec::new();
    };
    let plans: Vec<Plan> = possible
        .iter()
        .map(|one| Plan {
            measurement: one.measurement.as_ref(),
            minutes: one.minutes,
        })
        .collect();
    let [speeds, clearances] = farms.reaches(place);
    let gains = |reaches: &[f64], wanted: Wanted| {
        let aim = Aim {
            reaches,
            wanted,
            level: results.assurance,
        };
        let mut by_plan = vec![0.0; plans.len()];
        for worth in worth(seed, cloud, aim, &plans, OUTCOMES) {
            by_plan[worth.plan] = worth.gain;
        }
        by_plan
    };
    let speed = gains(&speeds, Wanted::More);
    let clearance = gains(&clearances, Wanted::Less);
    let mut found: Vec<Measure> = possible
        .iter()
        .zip(clearance.iter().zip(&speed))
        .map(|(one, (&clearance_gain_m, &speed_gain_m_s))| Measure {
            measurement: one.what,
            minutes: one.minutes,
            places: one.places,
            plants: one.plants,
            clearance_gain_m,
            speed_gain_m_s,
            saves_per_ha: priced
                .map(|priced| saves(priced, results, place, (clearance_gain_m, speed_gain_m_s))),
        })
        .collect();
    let per_minute = |one: &Measure| one.clearance_gain_m / one.minutes;
    found.sort_by(|a, b| per_minute(b).total_cmp(&per_minute(a)));
    found
}

/// What a clearance or a speed gained saves a hectare at equal plants cut, whichever saves more.
fn saves(
    priced: &Priced,
    results: &Results,
    place: Place,
    (closer_m, faster_m_s): (f64, f64),
) -> f64 {
    let (speed_m_s, clearance_m) = (
        results.speeds_m_s[place.speed],
        results.clearances_m[place.clearance],
    );
    let lost = [results.allowed_cut_rate, 0.0];
    let cost = |speed_m_s: f64, clearance_m: f64| {
        priced.cost_per_ha(speed_m_s, clearance_m.max(0.0), lost, 0.0)
    };
    let now = cost(speed_m_s, clearance_m);
    let closer = now - cost(speed_m_s, clearance_m - closer_m.max(0.0));
    let faster = now - cost(speed_m_s + faster_m_s.max(0.0), clearance_m);
    closer.max(faster).max(0.0)
}

fn possible(scenario: &Scenario, results: &Results, at: &Emulated, place: Place) -> Vec<Possible> {
    let points = 0..at.len();
    let (places, plants) = (5, 200);
    let counted = (u64::from(places * plants), u64::from(places));
    let setup = scenario.nominal();
    let mut all = vec![
        Possible {
            what: MeasureWhat::CountPlants,
            minutes: 30.0,
            places,
            plants,
            measurement: Box::new(count(
                at,
                (place.speed, 0),
                &setup,
                results.length_m,
                counted,
            )),
        },
        Possible {
            what: MeasureWhat::TapeReadings,
            minutes: 18.0,
            places: 12,
            plants: 0,
            measurement: Box::new(tape(at, place.speed, 0, 12)),
        },
    ];
    for (what, key, error, minutes, places, plants) in DIRECT {
        let unknown = scenario
            .unknowns()
            .iter()
            .position(|unknown| unknown.key() == key);
        let Some(unknown) = unknown else {
            continue;
        };
        all.push(Possible {
            what,
            minutes,
            places,
            plants,
            measurement: Box::new(Direct {
                value: points.clone().map(|i| at.values(i)[unknown]).collect(),
                error,
            }),
        });
    }
    all
}
