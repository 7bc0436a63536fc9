//! Made-up answers to the made-up study.

use super::sd_m;
use crate::model::controller::Kind;
use crate::results::answers::*;
use crate::results::reasons::{
    CylinderLimit, FarmNumber, Reason, SheetWarning, Slope, SoilWarning, StrokeBinding,
};
use crate::results::{Results, Share};

/// Answers with something in every list; only single lines have none.
pub fn answers(results: &Results) -> Answers {
    let controller = Kind::LagCompensatedYaw;
    let (speed_m_s, clearance_m) = (results.working_speed_m_s, results.working_clearance_m);
    Answers {
        assured: Vec::new(),
        keeping: Vec::new(),
        measure: Vec::new(),
        passes: 200,
        recommended: Some(recommended(results, controller)),
        not_recommended: None,
        controller: Some(controller),
        stroke: stroke(results, controller),
        hydraulics: hydraulics(),
        control: control(speed_m_s, controller),
        speed: speed(results),
        pays: pays(clearance_m, controller),
        spacing: spacing(results, controller),
        stages: StagesAnswer {
            status: Status::Ok,
            reason: None,
            controller: Some(controller),
            speed_m_s,
            passes: 200,
            stages: (0..4)
                .map(|i| {
                    let i = f64::from(i);
                    let found = i < 3.0;
                    StageClearance {
                        height_m: 0.03 + 0.04 * i,
                        stem_radius_m: 0.004 + 0.002 * i,
                        protected_radius_m: 0.010 + 0.008 * i,
                        clearance_m: found.then_some(0.030 + 0.010 * i),
                        rate: found.then_some(0.004 + 0.001 * i),
                        rate_upper: found.then_some(0.006 + 0.001 * i),
                    }
                })
                .collect(),
        },
        soil: soil(results),
        sheet: sheet(clearance_m),
    }
}

/// The study with answers that hold nothing within what was simulated.
pub fn unanswered(mut results: Results) -> Results {
    let told = |why: Reason| (Status::NoAnswer, Some(why));
    let answers = &mut results.answers;
    (answers.stroke.status, answers.stroke.reason) = told(Reason::StrokesTooShort {
        longest_m: 0.4,
        adds_at_most: 0.0005,
    });
    answers.stroke.recommended_m = None;
    answers.stroke.binding = None;
    (answers.hydraulics.status, answers.hydraulics.reason) = told(Reason::NoShiftSpeed);
    for combination in &mut answers.hydraulics.combinations {
        combination.serves = false;
    }
    (answers.control.status, answers.control.reason) = told(Reason::ReplayedPath);
    answers.control.best_lookahead_m = None;
    answers.control.effect = None;
    for answer in &mut answers.speed {
        (answer.status, answer.reason) = told(Reason::CutsTooMany {
            wider_m: Some(0.077),
            under: None,
        });
        answer.highest_speed_m_s = None;
        answer.at_least = false;
        answer.in_time = None;
        answer.binding = Some(Bound::CutPlants);
    }
    for line in &mut answers.pays {
        (line.status, line.reason) = told(Reason::SpeedsKept {
            without_m_s: None,
            with_m_s: None,
            clearance_m: 0.038,
            machines: false,
        });
        line.base_speed_m_s = None;
        (line.speed_gain_m_s, line.clearance_gain_m) = (None, None);
    }
    (answers.spacing.status, answers.spacing.reason) = told(Reason::NothingKept);
    (answers.spacing.cheapest, answers.spacing.cheapest_kept) = (None, None);
    answers.recommended = None;
    answers.not_recommended = Some(Reason::NothingKept);
    (answers.stages.status, answers.stages.reason) = told(Reason::NoClearanceFor {
        speed_m_s: 2.0,
        heights_m: vec![0.07],
    });
    (answers.soil.status, answers.soil.reason) = told(Reason::NotFinite { key: "soil".into() });
    (answers.sheet.status, answers.sheet.reason) = told(Reason::NoToolFits {
        clearance_m: 0.038,
        narrowest_m: 0.6,
    });
    results
}

/// The study with a scenario that says nothing of farm, soil and workshop.
pub fn without_data(mut results: Results) -> Results {
    let lacking = |table: &str| {
        (
            Status::NoData,
            Some(Reason::TablesMissing {
                tables: vec![table.to_owned()],
            }),
        )
    };
    let answers = &mut results.answers;
    let (status, reason) = lacking("farm");
    answers.spacing = SpacingAnswer {
        status,
        reason,
        ..SpacingAnswer::default()
    };
    let (status, reason) = lacking("growth");
    answers.stages = StagesAnswer {
        status,
        reason,
        ..StagesAnswer::default()
    };
    let (status, reason) = lacking("soil");
    answers.soil = SoilAnswer {
        status,
        reason,
        ..SoilAnswer::default()
    };
    let (status, reason) = lacking("workshop");
    answers.sheet = SheetAnswer {
        status,
        reason,
        ..SheetAnswer::default()
    };
    let (status, reason) = lacking("hydraulics");
    answers.hydraulics = HydraulicsAnswer {
        status,
        reason,
        ..HydraulicsAnswer::default()
    };
    results
}

fn limited(value: f64) -> Limited {
    Limited {
        value,
        lower: 0.9 * value,
        upper: 1.15 * value,
    }
}

/// At 7.3 km/h, between simulated speeds.
fn recommended(results: &Results, controller: Kind) -> Recommended {
    let share = |rate: f64| Share {
        rate,
        lower: 0.8 * rate,
        upper: 1.3 * rate,
    };
    Recommended {
        controller,
        speed_m_s: 7.3 / 3.6,
        clearance_m: results.working_clearance_m,
        cut: share(0.0071),
        touched: share(0.0031),
        cut_entry: share(0.04),
        cut_rest: share(0.0044),
        known: None,
        passes: results.passes,
        cost_per_ha: Some(1234.0),
        in_time: Some(true),
    }
}

fn stroke(results: &Results, controller: Kind) -> StrokeAnswer {
    let allowed = results.allowed_cut_rate;
    StrokeAnswer {
        status: Status::Ok,
        reason: None,
        controller: Some(controller),
        clearance_m: results.working_clearance_m,
        design_speed_m_s: results.working_speed_m_s,
        recommended_m: Some(0.250),
        binding: Some(StrokeBinding::ShorterAtItsEnd {
            stroke_m: 0.2,
            end_stop_share: 0.012,
        }),
        fitted_m: 0.200,
        passes: 200,
        candidates: [0.100, 0.125, 0.160, 0.200, 0.250, 0.320, 0.400]
            .map(|stroke_m: f64| {
                let difference = 0.3 * (-stroke_m / 0.035).exp();
                StrokeCandidate {
                    stroke_m,
                    end_stop_share: (-stroke_m / 0.04).exp(),
                    cut: Share {
                        rate: 0.006 + difference,
                        lower: 0.8 * (0.006 + difference),
                        upper: 1.2 * (0.006 + difference),
                    },
                    difference: Limited {
                        value: difference,
                        lower: 0.8 * difference,
                        upper: 1.2 * difference,
                    },
                    good_enough: 1.2 * difference < 0.1 * allowed,
                }
            })
            .into(),
        demand: results
            .speeds_m_s
            .iter()
            .flat_map(|v| {
                [Slope::AsSimulated, Slope::LeftHigher, Slope::RightHigher].map(|slope| {
                    let more = if slope == Slope::AsSimulated {
                        1.0
                    } else {
                        1.3
                    };
                    Demand {
                        speed_m_s: *v,
                        slope,
                        shift_p50_m: limited(0.025 * more),
                        shift_p95_m: limited(0.070 * more),
                        shift_p999_m: limited(0.110 * more),
                        shift_speed_p95_m_s: limited(0.020 * v * more),
                        shift_speed_p999_m_s: limited(0.042 * v * more),
                    }
                })
            })
            .collect(),
    }
}

fn hydraulics() -> HydraulicsAnswer {
    let combination = |bore_m: f64, rod_m: f64, serves: bool| {
        let area_m2 = std::f64::consts::FRAC_PI_4 * bore_m * bore_m;
        let ring_m2 = area_m2 - std::f64::consts::FRAC_PI_4 * rod_m * rod_m;
        Combination {
            bore_m,
            rod_m,
            extend_m_s: 2.5e-4 / area_m2,
            retract_m_s: 2.5e-4 / ring_m2,
            force_n: 1.6e7 * ring_m2,
            flow_m3_s: 0.087 * area_m2,
            hose_m_s: 0.087 * area_m2 / 7.85e-5,
            buckling_reserve: Some(4.0),
            serves,
            binding: if serves {
                CylinderLimit::Pump
            } else {
                CylinderLimit::Force
            },
        }
    };
    HydraulicsAnswer {
        status: Status::Ok,
        reason: None,
        wanted_speed_m_s: 0.087,
        wanted_force_n: 5700.0,
        combinations: vec![
            combination(0.032, 0.016, true),
            combination(0.040, 0.020, true),
            combination(0.050, 0.028, true),
        ],
        fitted: Some(combination(0.025, 0.012, false)),
        effects: [Change::QuickValve, Change::NoDeadband, Change::ColdOil]
            .into_iter()
            .zip([0.0012, 0.0004, -0.0001])
            .map(|(change, difference)| effect(change, difference))
            .collect(),
    }
}

fn effect(change: Change, difference: f64) -> Effect {
    Effect {
        change,
        passes: 200,
        cut: Share {
            rate: 0.006 + difference,
            lower: 0.005 + difference,
            upper: 0.007 + difference,
        },
        difference: Limited {
            value: difference,
            lower: difference - 0.0002,
            upper: difference + 0.0002,
        },
    }
}

fn control(speed_m_s: f64, controller: Kind) -> ControlAnswer {
    ControlAnswer {
        status: Status::Ok,
        reason: None,
        controller: Some(controller),
        speed_m_s,
        lookahead_m: 0.8,
        best_lookahead_m: Some(0.95),
        lookaheads: (0..13)
            .map(|i| {
                let lookahead_m = 0.5 + 0.1 * f64::from(i);
                LookaheadError {
                    lookahead_m,
                    tool_error_sd_m: 0.0065 + 0.02 * (lookahead_m - 0.95).powi(2),
                }
            })
            .collect(),
        effect: Some(effect(Change::LookFurther, -0.0011)),
        bode: (0..61)
            .map(|i| {
                // 5/s with a dead time of 60 ms: |L| = 5/w, arg L = -pi/2 - 0.06 w.
                let frequency_hz = 0.05 * 10f64.powf(0.05 * f64::from(i));
                let w = std::f64::consts::TAU * frequency_hz;
                BodePoint {
                    frequency_hz,
                    gain: 5.0 / w,
                    phase_rad: -std::f64::consts::FRAC_PI_2 - 0.06 * w,
                }
            })
            .collect(),
    }
}

/// Speeds that grow with clearance, one where the list of speeds ends, none at the smallest clearances.
fn speed(results: &Results) -> Vec<SpeedAnswer> {
    let last_m_s = results.speeds_m_s.last().copied().unwrap_or(0.0);
    let up_to = |cause: Bound, speed_m_s: f64| SpeedLimit {
        cause,
        holds: Holds::UpTo,
        speed_m_s: Some(speed_m_s),
    };
    let mut answers = Vec::new();
    for kind in Kind::ALL {
        for clearance_m in &results.clearances_m {
            // Whole tenths of a km/h.
            let tenths =
                (10.0 * (7.0 + 6.0 * (clearance_m - 0.045 - sd_m(kind, 1.0)) / 0.02)).floor();
            let told =
                kind == Kind::LagCompensatedYaw && *clearance_m == results.working_clearance_m;
            // One that speaks at the working clearance.
            let v = if told { 7.3 / 3.6 } else { tenths / 36.0 };
            let found = v >= results.speeds_m_s[0];
            let at_least = v >= last_m_s;
            let cut = if found {
                up_to(Bound::CutPlants, v)
            } else {
                SpeedLimit {
                    cause: Bound::CutPlants,
                    holds: Holds::Never,
                    speed_m_s: None,
                }
            };
            let ends = up_to(Bound::SimulatedSpeeds, last_m_s);
            answers.push(SpeedAnswer {
                status: if found { Status::Ok } else { Status::NoAnswer },
                reason: (!found).then_some(Reason::CutsTooMany {
                    wider_m: Some(0.055),
                    under: None,
                }),
                controller: kind,
                clearance_m: *clearance_m,
                allowed_cut_rate: results.allowed_cut_rate,
                highest_speed_m_s: found.then(|| v.min(last_m_s)),
                at_least,
                binding: Some(if at_least {
                    Bound::SimulatedSpeeds
                } else {
                    Bound::CutPlants
                }),
                next_binding: Some(if at_least {
                    Bound::CutPlants
                } else {
                    Bound::SimulatedSpeeds
                }),
                in_time: found.then_some(true),
                limits: if at_least {
                    vec![ends, cut]
                } else {
                    vec![cut, ends]
                },
                passes: 200,
                causes: [
                    Why::Lag,
                    Why::DriverWander,
                    Why::RowsLook,
                    Why::PlantScatter,
                    Why::Stroke,
                ]
                .into_iter()
                .zip([-0.0061, -0.0034, -0.0020, -0.0011, 0.0])
                .map(|(cause, difference): (Why, f64)| Cause {
                    cause,
                    speed_m_s: results.speeds_m_s[4],
                    difference: Limited {
                        value: difference,
                        lower: difference - 0.0004,
                        upper: difference + 0.0004,
                    },
                })
                .collect(),
            });
        }
    }
    answers
}

fn pays(clearance_m: f64, controller: Kind) -> Vec<Pays> {
    let changes = [
        (Change::LessLatency, Why::Lag, 2.4, 0.008),
        (Change::SteadyDriver, Why::DriverWander, 1.3, 0.005),
        (Change::LookFurther, Why::Lag, 0.9, 0.003),
        (Change::MoreOil, Why::OilFlow, 0.1, 0.000),
    ];
    let mut lines: Vec<Pays> = changes
        .into_iter()
        .map(|(change, against, gain, room)| Pays {
            status: Status::Ok,
            reason: None,
            change,
            against: Some(against),
            controller,
            clearance_m,
            base_speed_m_s: Some(7.34 / 3.6),
            speed_gain_m_s: Some(Limited {
                value: gain / 3.6,
                lower: (gain - 0.3) / 3.6,
                upper: (gain + 0.4) / 3.6,
            }),
            clearance_gain_m: Some(Limited {
                value: room,
                lower: room - 0.001,
                upper: room + 0.001,
            }),
            at_least: gain > 2.0,
            price: Some(900.0),
            earns_a_year: Some(1000.0 * gain),
            paid_after_years: Some(0.9 / gain),
        })
        .collect();
    lines.push(Pays {
        status: Status::NoAnswer,
        reason: Some(Reason::UnstableWithChange { controller }),
        change: Change::ProportionalValve,
        controller,
        clearance_m,
        ..Pays::no_answer()
    });
    lines
}

fn spacing(results: &Results, controller: Kind) -> SpacingAnswer {
    let mut cells: Vec<SpacingCell> = results
        .whole_rows()
        .filter(|cell| cell.controller == controller)
        .map(|cell| {
            let unworked_share = 2.0 * cell.clearance_m / 0.45;
            let weeds_left_share = 1.0 - 0.95 * (1.0 - unworked_share);
            let hectares_per_hour = 0.18 * cell.speed_m_s * 3.6 * 0.75;
            let machine = 70.0 / hectares_per_hour;
            let weeding_h_per_ha = 120.0 * weeds_left_share;
            let weeding = 18.0 * weeding_h_per_ha;
            let plants = 0.04 * 100_000.0;
            let lost = |cut: f64, touched: f64| (cut + 0.1 * touched).min(1.0);
            let (cut, touched) = (&cell.cut, &cell.touched);
            let keeps = cut.upper <= results.allowed_cut_rate;
            SpacingCell {
                speed_m_s: cell.speed_m_s,
                clearance_m: cell.clearance_m,
                cost_per_ha: machine + weeding + plants * lost(cut.rate, touched.rate),
                cost_lower: machine + weeding + plants * lost(cut.lower, touched.lower),
                cost_upper: machine + weeding + plants * lost(cut.upper, touched.upper),
                machine_per_ha: machine,
                weeding_per_ha: weeding,
                plants_per_ha: plants * lost(cut.rate, touched.rate),
                weeding_h_per_ha,
                hectares_per_hour,
                days: 40.0 / hectares_per_hour / 9.0,
                in_time: 40.0 / hectares_per_hour / 9.0 < 6.0,
                unworked_share,
                weeds_left_share,
                plants_lost_share: lost(cut.rate, touched.rate),
                near_best: false,
                breaks: if keeps {
                    vec![]
                } else {
                    vec![Bound::CutPlants]
                },
            }
        })
        .collect();
    let best = |cell: &SpacingCell| BestSetting {
        speed_m_s: cell.speed_m_s,
        clearance_m: cell.clearance_m,
        cost_per_ha: cell.cost_per_ha,
    };
    let cheapest = |allowed: bool| {
        cells
            .iter()
            .filter(|cell| cell.breaks.is_empty() || !allowed)
            .min_by(|a, b| a.cost_per_ha.total_cmp(&b.cost_per_ha))
            .map(best)
    };
    let (all, kept) = (cheapest(false), cheapest(true));
    let least = kept.as_ref().map_or(0.0, |kept| kept.cost_per_ha);
    for cell in &mut cells {
        cell.near_best = cell.cost_per_ha <= 1.05 * least;
    }
    let now = cells.iter().find(|cell| {
        cell.speed_m_s == results.working_speed_m_s
            && cell.clearance_m == results.working_clearance_m
    });
    let moved = |what: FarmNumber, set_to: f64, clearance_m: f64| Mover {
        what,
        set_to,
        best: BestSetting {
            speed_m_s: results.speeds_m_s[2],
            clearance_m,
            cost_per_ha: 0.9 * least,
        },
        moves: clearance_m > 0.03,
    };
    let setting = recommended(results, controller);
    SpacingAnswer {
        status: Status::Ok,
        reason: None,
        controller: Some(controller),
        currency: Some("crowns".into()),
        cost_of_staying_per_ha: now.map(|cell| cell.cost_per_ha - least),
        by_hand_per_ha: Some(2400.0),
        movers: vec![
            moved(FarmNumber::PlantValue, 0.08, 0.045),
            moved(FarmNumber::LabourHour, 12.0, 0.050),
            moved(FarmNumber::MachineHour, 90.0, 0.030),
        ],
        night: Some(Night {
            passes: 200,
            cut: Share {
                rate: 0.0069,
                lower: 0.0058,
                upper: 0.0081,
            },
            difference: Limited {
                value: 0.0012,
                lower: 0.0009,
                upper: 0.0015,
            },
            days_without: Some(5.6),
            days_with: 3.8,
        }),
        plants: Some(PlantWorth {
            value_per_ha: 0.04 * 100_000.0,
            touched_lost_share: 0.1,
        }),
        cheapest: all,
        cheapest_breaks: vec![Bound::CutPlants],
        cheapest_at: vec![GridEnd::Closest],
        cheapest_kept: kept,
        recommended: setting.cost_per_ha.map(|cost_per_ha| SpacingCell {
            speed_m_s: setting.speed_m_s,
            clearance_m: setting.clearance_m,
            cost_per_ha,
            ..cells[0].clone()
        }),
        cells,
    }
}

fn soil(results: &Results) -> SoilAnswer {
    SoilAnswer {
        status: Status::Ok,
        reason: None,
        design_speed_m_s: results.working_speed_m_s,
        clearance_m: results.working_clearance_m,
        speeds: results
            .speeds_m_s
            .iter()
            .map(|v| {
                let draft_n = 4000.0 + 700.0 * v * 3.6;
                let axle_w = draft_n * v / 0.72;
                let load_share = axle_w / 40_000.0;
                SoilAtSpeed {
                    speed_m_s: *v,
                    thrown_m: 0.024 * v,
                    reaches_plants: 0.024 * v > 0.023,
                    draft_n,
                    axle_w,
                    load_share,
                    fuel_l_per_h: (load_share <= 1.0).then_some(45.0 * (0.22 * load_share + 0.096)),
                }
            })
            .collect(),
        warnings: vec![SoilWarning::BeyondTrials {
            above_m_s: 8.0 / 3.6,
        }],
    }
}

/// Four rows 450 mm apart; two tools of 250 mm in each space, one beside either outer row.
fn sheet(clearance_m: f64) -> SheetAnswer {
    let rows_m = vec![0.675, 0.225, -0.225, -0.675];
    let tool = |left_edge_m: f64, width_m: f64, overlap_m, row_left, row_right| ToolPlace {
        left_edge_m,
        right_edge_m: left_edge_m - width_m,
        width_m,
        overlap_m,
        row_left,
        row_right,
    };
    let mut tools = vec![tool(0.675 + clearance_m + 0.15, 0.15, None, None, Some(0))];
    for space in 0..3u32 {
        let row_m = rows_m[space as usize];
        let inner_m = 0.45 - 2.0 * clearance_m;
        let (left, right) = (Some(space), Some(space + 1));
        let overlap_m = 2.0 * 0.2 - inner_m;
        tools.push(tool(row_m - clearance_m, 0.2, Some(overlap_m), left, right));
        tools.push(tool(
            row_m - clearance_m - inner_m + 0.2,
            0.2,
            None,
            left,
            right,
        ));
    }
    tools.push(tool(-0.675 - clearance_m, 0.15, None, Some(3), None));
    SheetAnswer {
        status: Status::Ok,
        reason: None,
        clearance_m,
        rows_m,
        tyres_m: vec![[1.1, 0.7], [-0.7, -1.1]],
        tools,
        gaps_m: vec![[0.900, 0.863]],
        depth_m: Some(0.04),
        warnings: vec![
            SheetWarning::NearNextPass { closest_m: 0.025 },
            SheetWarning::GuessRow { after_row: 2 },
        ],
    }
}
