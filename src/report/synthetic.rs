//! Made-up results and passes for the tests of this room: smooth formulas, no simulation behind them.

mod answers;

pub use answers::{unanswered, without_data};

use crate::linear::Source;
use crate::model::controller::Kind;
use crate::results::Known;
use crate::results::reasons::{Believe, Warning};
use crate::results::*;
use crate::scenario::Units;
use crate::sim::trace::{Fate, Plant, Sample, Trace};

/// Tool error of the made-up controllers, m.
fn sd_m(kind: Kind, speed_m_s: f64) -> f64 {
    let base = match kind {
        Kind::Locked => 0.045,
        Kind::OnOff => 0.016,
        Kind::Pid => 0.0082,
        Kind::LagCompensated => 0.0072,
        Kind::LagCompensatedYaw => 0.0063,
    };
    base * (1.0 + 0.03 * (speed_m_s - 1.0).powi(2))
}

/// A study of five controllers, eight speeds and twelve clearances that nobody ever ran.
pub fn results() -> Results {
    let speeds_m_s: Vec<f64> = (0..8).map(|i| (3.0 + 1.5 * f64::from(i)) / 3.6).collect();
    let clearances_m: Vec<f64> = (0..12)
        .map(|i| 0.020 + 0.005 * f64::from(i))
        .chain([0.038])
        .collect();
    let mut clearances_m: Vec<f64> = clearances_m
        .into_iter()
        .filter(|c| (c - 0.040).abs() > 1e-9)
        .collect();
    clearances_m.sort_by(f64::total_cmp);
    let working_speed_m_s = speeds_m_s[3];
    let plants = 400_000;
    let rate_at = |kind: Kind, v: f64, c: f64, stretch: Stretch| {
        let (plants, more) = match stretch {
            Stretch::Whole => (plants, 1.0),
            Stretch::Entry => (plants / 20, 2.0),
            Stretch::Rest => (plants - plants / 20, 0.95),
        };
        let z = (c - 0.015) / (sd_m(kind, v).powi(2) + 0.005f64.powi(2)).sqrt();
        let rate = (more * statrs::function::erf::erfc(z / 2f64.sqrt())).min(0.7);
        let cut = (rate * plants as f64).round();
        let rate = cut / plants as f64;
        let share = |rate: f64| Share {
            rate,
            lower: rate * 0.7,
            upper: (rate * 1.3 + 3.7 / (plants as f64 / 40.0)).min(1.0),
        };
        Rate {
            controller: kind,
            speed_m_s: v,
            clearance_m: c,
            stretch,
            cut: share(rate),
            touched: share(0.4 * rate),
            plants,
            passes: 400,
            known: None,
            resolved: cut >= 28.0,
        }
    };
    let mut rates = Vec::new();
    for kind in Kind::ALL {
        for v in &speeds_m_s {
            for stretch in Stretch::ALL {
                for c in &clearances_m {
                    rates.push(rate_at(kind, *v, *c, stretch));
                }
            }
        }
    }
    let tracking = Kind::ALL
        .into_iter()
        .flat_map(|kind| speeds_m_s.iter().map(move |v| (kind, *v)))
        .map(|(kind, v)| Tracking {
            controller: kind,
            speed_m_s: v,
            tool_error_mean_m: -0.0012,
            tool_error_sd_m: sd_m(kind, v),
            tool_error_sd_se_m: 0.0002,
            linear_tool_error_sd_m: (kind != Kind::OnOff).then(|| sd_m(kind, v) * 0.99),
            axle_wander_sd_m: 0.046,
            linear_axle_wander_sd_m: Some(0.0458),
            demand_p999_m: 0.165,
            demand_p50_m: 0.031,
            demand_p95_m: 0.094,
            end_stop_share: 0.0004 * v,
            valve_saturated_share: 0.012,
            within_38mm_share: 1.0 - 0.002 * v,
            longest_miss_m: 3.2,
            believe: if kind == Kind::OnOff {
                Believe::SimulatedOnly
            } else {
                Believe::Either
            },
        })
        .collect();
    let sources = [
        (Some(Source::DriverSeeing), 0.012),
        (Some(Source::Steering), 0.009),
        (Some(Source::RowWander), 0.007),
        (Some(Source::CameraWhite), 0.006),
        (Some(Source::CameraRoll), 0.005),
        (None, 0.008),
        (Some(Source::Sway), 0.004),
    ];
    let mut error_budget = Vec::new();
    let mut loops = Vec::new();
    for kind in Kind::ALL.into_iter().filter(|kind| *kind != Kind::OnOff) {
        for v in &speeds_m_s {
            let total: f64 = sources.iter().map(|(_, sd)| sd * sd).sum();
            for (source, sd) in sources {
                error_budget.push(BudgetShare {
                    controller: kind,
                    speed_m_s: *v,
                    source,
                    variance_m2: sd * sd / total * (0.99 * sd_m(kind, *v)).powi(2),
                });
            }
            if kind != Kind::Locked {
                loops.push(LoopMargins {
                    controller: kind,
                    speed_m_s: *v,
                    gain_margin: Some(2.7),
                    phase_margin_rad: Some(0.82),
                    modulus_margin: 0.58,
                    critical_speed_m_s: (kind != Kind::Pid).then_some(2.9),
                });
            }
        }
    }
    let working_clearance_m = 0.038;
    let rows = Kind::ALL
        .into_iter()
        .flat_map(|kind| (0..4u32).map(move |row| (kind, row)))
        .map(|(kind, row)| {
            let cell = rate_at(kind, working_speed_m_s, working_clearance_m, Stretch::Whole);
            RowRate {
                controller: cell.controller,
                speed_m_s: working_speed_m_s,
                clearance_m: working_clearance_m,
                row: row + 1,
                offset_m: 0.675 - 0.45 * f64::from(row),
                cut: cell.cut,
                plants: cell.plants / 4,
                resolved: cell.resolved,
            }
        })
        .collect();
    let choice = |kind: Kind, v: f64, c: f64| {
        let cell = rate_at(kind, v, c, Stretch::Whole);
        Choice {
            controller: cell.controller,
            speed_m_s: v,
            clearance_m: c,
            cut: cell.cut,
        }
    };
    let differences = [
        (Kind::LagCompensated, 3, Kind::Pid, 3),
        (Kind::Pid, 3, Kind::Pid, 2),
    ]
    .map(|(kind, speed, against, slower)| Difference {
        controller: kind,
        speed_m_s: speeds_m_s[speed],
        against,
        against_speed_m_s: speeds_m_s[slower],
        clearance_m: working_clearance_m,
        difference: -0.0011,
        lower: -0.0013,
        upper: -0.0009,
    })
    .into();
    let undecided = vec![Undecided {
        controller: Kind::LagCompensatedYaw,
        speed_m_s: speeds_m_s[4],
        clearance_m: working_clearance_m,
        passes_needed: 2_600,
    }];
    let answer = Answer {
        fewest: Some(choice(Kind::LagCompensatedYaw, speeds_m_s[0], 0.075)),
        fastest: Some(choice(
            Kind::LagCompensatedYaw,
            speeds_m_s[2],
            working_clearance_m,
        )),
    };
    let assumption = |key: &str, value: &str, origin: &str, meaning: &str| Assumption {
        key: key.into(),
        value: value.into(),
        known: match origin {
            "scenario" => Known::Scenario,
            "assumed" => Known::Assumed,
            _ => Known::Source,
        },
        origin: origin.into(),
        range: None,
        meaning: meaning.into(),
    };
    let mut results = Results {
        unknowns: Vec::new(),
        assurance: 0.8,
        farm_scatter: None,
        no_farms: None,
        schema_version: SCHEMA_VERSION,
        tool: Tool {
            name: "rowroom".into(),
            version: "0.0.0".into(),
        },
        scenario: ScenarioStamp {
            name: "Synthetic numbers, no field".into(),
            description: "Made up by formulas for tests of the report; nothing was simulated."
                .into(),
            file: "synthetic.toml".into(),
            sha256: "0123456789abcdef".repeat(4),
            units: Units::Metric,
            set: Vec::new(),
        },
        seed: u64::MAX,
        passes: 400,
        step_s: 0.005,
        complete: true,
        level: LEVEL,
        length_m: 200.0,
        entry_length_m: 15.0,
        row_length_m: 200.0,
        allowed_cut_rate: 0.01,
        working_clearance_m,
        working_speed_m_s,
        controllers: Kind::ALL
            .into_iter()
            .map(|kind| ControllerNote {
                controller: kind,
                left_out: None,
            })
            .collect(),
        rates,
        rows,
        differences,
        worst_passes: Kind::ALL
            .into_iter()
            .map(|kind| WorstPass {
                controller: kind,
                pass: 17,
                rate: (8.0
                    * rate_at(kind, working_speed_m_s, working_clearance_m, Stretch::Whole)
                        .cut
                        .rate)
                    .min(1.0),
            })
            .collect(),
        lost_passes: Vec::new(),
        undecided,
        tracking,
        error_budget,
        loops,
        assumptions: vec![
            assumption(
                "plants.protected_radius",
                "15 mm",
                "assumed",
                "stem and shallow roots that a tool must not prune",
            ),
            assumption(
                "tractor.wheelbase",
                "2.5 m",
                "scenario",
                "front to rear axle",
            ),
            assumption(
                "plants.scatter_sd",
                "10 mm",
                "assumed",
                "standard deviation of single plants about their row",
            ),
            assumption(
                "rows.wander",
                "{ mean = \"30 mm\", sd = \"3 mm\" }",
                "scenario",
                "standard deviation of the planter's wander about the planned line",
            ),
            assumption(
                "ground.side_slope",
                "2 %",
                "scenario",
                "side slope, positive where the left side is higher",
            ),
            assumption(
                "controller.pid",
                "SIMC",
                "Skogestad 2003",
                "rule for the gains",
            ),
        ],
        warnings: vec![Warning::FewPasses {
            hanging: 4,
            none: 2,
            of: 480,
        }],
        answer,
        speeds_m_s,
        clearances_m,
        answers: Default::default(),
    };
    results.answers = answers::answers(&results);
    results
}

/// One made-up pass per controller over the same ground.
pub fn traces() -> Vec<Trace> {
    Kind::ALL.into_iter().map(trace).collect()
}

fn trace(kind: Kind) -> Trace {
    let (speed_m_s, clearance_m, length_m) = (2.0833333333333335, 0.038, 200.0);
    let tick_s = 0.005;
    let wave = |s: f64, length: f64, phase: f64| (std::f64::consts::TAU * s / length + phase).sin();
    let row = |s: f64| 0.030 * wave(s, 60.0, 0.0) + 0.015 * wave(s, 23.0, 1.0);
    let frame = |s: f64| {
        0.050 * wave(s, 37.0, 2.0) + 0.045 * wave(s, 90.0, 0.5) + 0.012 * wave(s, 7.0, 0.0)
    };
    let shift = |s: f64| match kind {
        Kind::Locked => 0.0,
        _ => {
            let late = 0.2 + 6.0 * (sd_m(kind, speed_m_s) - 0.0063) / 0.02;
            (row(s - late) - frame(s - late)).clamp(-0.1, 0.1)
        }
    };
    let error = |s: f64| frame(s) + shift(s) - row(s);
    let samples = (0..(length_m / speed_m_s / tick_s) as usize)
        .map(|i| {
            let time_s = i as f64 * tick_s;
            let s = time_s * speed_m_s;
            Sample {
                time_s,
                station_m: s,
                axle_m: frame(s),
                heading_rad: 0.0,
                row_m: row(s),
                frame_m: frame(s),
                wanted_shift_m: row(s) - frame(s),
                shift_m: shift(s),
                tool_error_m: error(s),
                command: 0.0,
                seen: !(60.0..66.0).contains(&s) && !(140.0..141.0).contains(&s),
            }
        })
        .collect();
    let row_offset_m = vec![0.675, 0.225, -0.225, -0.675];
    let plants = (0..4)
        .flat_map(|r| (0..1000).map(move |i| (r, 0.2 * f64::from(i))))
        .map(|(r, s)| {
            let scatter =
                0.006 * (12.9898 * s + 78.233 * r as f64).sin() + 0.004 * wave(s, 3.0, r as f64);
            let need = (scatter - error(s)).abs() + 0.015;
            Plant {
                row: r,
                station_m: s,
                lateral_m: row(s) + scatter,
                fate: if need > clearance_m + 0.010 {
                    Fate::Cut
                } else if need > clearance_m {
                    Fate::Touched
                } else {
                    Fate::Spared
                },
                needed_clearance_m: Some(need),
            }
        })
        .collect();
    Trace {
        kind,
        speed_m_s,
        clearance_m,
        seed: 1,
        pass: 17,
        row_offset_m,
        entry_length_m: 15.0,
        of_the_row: [1.0, 1.0],
        half_stroke_m: 0.1,
        axle_ahead_m: 2.2,
        camera_ahead_m: 0.8,
        protected_radius_m: 0.015,
        stem_radius_m: 0.005,
        samples,
        plants,
    }
}
