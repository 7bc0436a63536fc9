use super::*;
use crate::farm::{Shank, Texture};
use crate::report::synthetic;
use crate::report::words::warnings;
use crate::scenario::Units;

fn farm(may_cover: bool, thrown_m: f64, tractor_w: f64) -> Farm {
    Farm {
        soil: Some(Soil {
            thrown_m,
            thrown_at_m_s: 6.0 / 3.6,
            may_cover,
            depth_m: 0.05,
            texture: Texture::Fine,
            shank: Shank::STine,
            traction: 0.5,
            tractor_w,
        }),
        ..Farm::bare()
    }
}

/// The made-up study: 3 to 13.5 km/h in steps of 1.5, tools 38 mm from the row; stems of 5 mm and four rows.
fn answered(farm: &Farm) -> SoilAnswer {
    let design = (6.0 / 3.6, 0.038);
    answer(&synthetic::results(), &Setup::plausible(), farm, design)
}

/// Its warnings as they are printed.
fn warned(answer: &SoilAnswer) -> Vec<String> {
    let said = |warning| warnings::soil(warning, Units::Metric);
    answer.warnings.iter().map(said).collect()
}

/// Own arithmetic: 33 mm to the stem; 40 mm at 6 km/h reach it from 4.95 km/h on: not at 4.5, at 6. Pull of 4 rows at 6 km/h:
/// (140 + 42) * 4 * 5 = 3640 N; at 6 km/h 6066.7 W of pull, 12 133 W of axle, of 40 kW 30.33 %; fuel (0.22 * 0.30333 + 0.096) * 40
/// = 6.509 L/h.
#[test]
fn analytic_soil_that_may_not_cover() {
    let answer = answered(&farm(false, 0.04, 40_000.0));
    assert_eq!(answer.status, Status::Ok);
    let reaches: Vec<bool> = answer
        .speeds
        .iter()
        .map(|speed| speed.reaches_plants)
        .collect();
    assert_eq!(reaches, [false, false, true, true, true, true, true, true]);
    let six = &answer.speeds[2];
    assert!((six.thrown_m - 0.04).abs() < 1e-12);
    assert!((six.draft_n - 3640.0).abs() < 1e-9);
    assert!((six.axle_w - 12_133.33).abs() < 0.01);
    assert!((six.load_share - 0.303_333).abs() < 1e-6);
    assert!((six.fuel_l_per_h.unwrap() - 6.509_33).abs() < 1e-4);
    assert_eq!(answer.warnings.len(), 2, "{:?}", answer.warnings);
    let all = warned(&answer);
    let warned = &all[0];
    for part in [
        "From about 5 km/h",
        "at 6 km/h it lands 40 mm",
        "38 mm from the row",
        "10 to 20 mm",
        "Merfield 2018",
    ] {
        assert!(warned.contains(part), "{part}: {warned}");
    }
    assert!(all[1].starts_with("Above 8 km/h"));
}

#[test]
fn analytic_soil_that_is_wanted() {
    let answer = answered(&farm(true, 0.04, 40_000.0));
    assert!(warned(&answer)[0].starts_with("Soil is wanted at the plants, but below about 5 km/h"));
    assert!(warned(&answer)[1].starts_with("From 6 km/h on, soil reaches the plants, as wanted"));
    let still = answered(&farm(true, 0.0, 40_000.0));
    assert!(warned(&still)[0].contains("none was seen to fly"));
    assert!(still.speeds.iter().all(|speed| !speed.reaches_plants));
}

/// Own arithmetic: at 13.5 km/h (140 + 94.5) * 20 = 4690 N take 35.2 kW of axle, at 12 km/h 4480 N 29.9 kW: more than 30 kW from
/// 13.5 km/h on.
#[test]
fn analytic_a_tractor_that_is_too_weak() {
    let answer = answered(&farm(false, 0.0, 30_000.0));
    assert!(
        warned(&answer)[0].starts_with("From 13.5 km/h on"),
        "{:?}",
        answer.warnings
    );
    assert!(warned(&answer)[0].contains("35.2 kW of 30 kW"));
    for speed in &answer.speeds {
        assert_eq!(speed.fuel_l_per_h.is_none(), speed.load_share > 1.0);
    }
}

#[test]
fn analytic_without_soil_it_says_what_to_add() {
    let mut farm = farm(false, 0.04, 40_000.0);
    farm.soil = None;
    let answer = answered(&farm);
    assert_eq!(answer.status, Status::NoData);
    assert_eq!(
        answer.reason,
        Some(Reason::TablesMissing {
            tables: vec!["soil".into()]
        })
    );
}
