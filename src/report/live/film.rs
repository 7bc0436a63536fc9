//! Passes from above for the script: thinned and rounded for the screen, so that a page stays small.

use crate::model::controller::Kind;
use crate::report::display::plain_title;
use crate::report::three_answers::guided;
use crate::results::Results;
use crate::sim::trace::{Fate, Sample, Trace};
use serde::Serialize;

/// Passes from above.
#[derive(Debug, Serialize)]
pub struct Film {
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Clearance, m.
    pub clearance_m: f64,
    /// Nominal lateral position of every row from the implement's centre, m, left positive, leftmost first.
    pub rows_m: Vec<f64>,
    /// Half of the stroke, m.
    pub half_stroke_m: f64,
    /// Stretch after lowering that is counted apart, m.
    pub entry_length_m: f64,
    /// Rear axle ahead of the tool line, m.
    pub axle_ahead_m: f64,
    /// The camera's looking point ahead of the tool line, m.
    pub camera_ahead_m: f64,
    /// Protected radius of a plant, m.
    pub protected_radius_m: f64,
    /// Radius of its stem, m.
    pub stem_radius_m: f64,
    /// Controllers, from above to below.
    pub lanes: Vec<FilmLane>,
    /// Passes to choose from.
    pub passes: Vec<FilmPass>,
}

/// One controller.
#[derive(Debug, Serialize)]
pub struct FilmLane {
    /// Fixed name.
    pub controller: Kind,
    /// What people call it.
    pub title: String,
}

/// One pass under all lanes; lateral values in mm, left positive, from the planned line.
#[derive(Debug, Serialize)]
pub struct FilmPass {
    /// Which one, in words.
    pub title: String,
    /// Its number in the study, from 0.
    pub number: u64,
    /// Station of the first place, m.
    pub from_m: f64,
    /// From one place to the next, m.
    pub step_m: f64,
    /// Rear axle when the tools are there.
    pub axle_mm: Vec<i32>,
    /// Guided rows there.
    pub row_mm: Vec<i32>,
    /// Unshifted frame there.
    pub frame_mm: Vec<i32>,
    /// Shift there, lane by lane.
    pub shift_mm: Vec<Vec<i32>>,
    /// Stretch with most plants cut or touched under the first lane, first and last station, m.
    pub worst_m: [f64; 2],
    /// Plants row by row.
    pub plants: Vec<FilmRow>,
}

/// Plants of one row in order.
#[derive(Debug, Serialize)]
pub struct FilmRow {
    /// Steps from one to the next, the first from station 0, mm.
    pub station_mm: Vec<i32>,
    /// From the planned line of the row.
    pub lateral_mm: Vec<i32>,
    /// Clearance that would have spared it, lane by lane; -9999 where no edge passed it, 9999 where the pass had lost the row.
    pub needed_mm: Vec<Vec<i32>>,
}

/// From one kept place of a path to the next, m.
const STEP_M: f64 = 0.25;

/// Plants kept of a pass at most; of a denser one a shorter stretch is shown.
const MOST_PLANTS: usize = 6000;

/// Length of the stretch with most plants cut or touched that can be gone to, m.
const WORST_M: f64 = 20.0;

/// Stands for no clearance: no edge passed the plant.
const NOT_PASSED: i32 = -9999;

/// Controllers on the film: the guided one above, the locked frame below.
pub fn lanes(results: &Results) -> Vec<Kind> {
    let ran: Vec<Kind> = results.ran().collect();
    let guided = guided(results)
        .filter(|kind| kind.moves())
        .or(ran.iter().copied().find(|kind| kind.moves()));
    let locked = ran.contains(&Kind::Locked).then_some(Kind::Locked);
    guided.into_iter().chain(locked).collect()
}

/// The first pass of the study and its worst one; nothing without passes.
pub fn film(results: &Results, traces: &[Trace], worst: &[Trace]) -> Option<Film> {
    let lanes = lanes(results);
    let of = |traces: &[Trace]| -> Vec<Trace> {
        let find = |name: &Kind| traces.iter().find(|trace| trace.kind == *name);
        lanes.iter().filter_map(find).cloned().collect()
    };
    let (first, worst) = (of(traces), of(worst));
    let shown = first.first()?;
    let mut passes = vec![pass("First pass", &first)?];
    if let Some(found) = worst.first()
        && found.pass != shown.pass
    {
        passes.extend(pass("Worst pass of the study", &worst));
    }
    Some(Film {
        speed_m_s: shown.speed_m_s,
        clearance_m: shown.clearance_m,
        rows_m: shown.row_offset_m.clone(),
        half_stroke_m: shown.half_stroke_m,
        entry_length_m: shown.entry_length_m,
        axle_ahead_m: shown.axle_ahead_m,
        camera_ahead_m: shown.camera_ahead_m,
        protected_radius_m: shown.protected_radius_m,
        stem_radius_m: shown.stem_radius_m,
        lanes: first
            .iter()
            .map(|trace| FilmLane {
                controller: trace.kind,
                title: plain_title(trace.kind).into(),
            })
            .collect(),
        passes,
    })
}

/// One pass under every lane's controller: they share ground, driver and plants.
fn pass(title: &str, lanes: &[Trace]) -> Option<FilmPass> {
    let first = lanes.first()?;
    let last_m = first.samples.last()?.station_m;
    let per_m = first.plants.len() as f64 / last_m.max(1.0);
    let length_m = (MOST_PLANTS as f64 / per_m.max(1.0)).min(last_m);
    let worst = worst_stretch(first, WORST_M, last_m);
    // The stretch that is kept holds the worst place.
    let from_m = if length_m < last_m {
        (0.5 * (worst.0 + worst.1 - length_m)).clamp(0.0, last_m - length_m)
    } else {
        0.0
    };
    let places = ((length_m / STEP_M).floor() as usize) + 1;
    let at = |trace: &Trace, value: &dyn Fn(&Sample) -> f64| -> Vec<i32> {
        let mut samples = trace.samples.iter().peekable();
        let mut before = &trace.samples[0];
        (0..places)
            .map(|i| {
                let station_m = from_m + STEP_M * i as f64;
                while let Some(next) = samples.next_if(|next| next.station_m <= station_m) {
                    before = next;
                }
                mm(value(before))
            })
            .collect()
    };
    let row_count = first.row_offset_m.len();
    let plants = (0..row_count)
        .map(|row| {
            let mut order: Vec<usize> = (0..first.plants.len())
                .filter(|&i| first.plants[i].row == row)
                .filter(|&i| (from_m..=from_m + length_m).contains(&first.plants[i].station_m))
                .collect();
            order.sort_by(|&a, &b| {
                first.plants[a]
                    .station_m
                    .total_cmp(&first.plants[b].station_m)
            });
            let stations: Vec<i32> = order
                .iter()
                .map(|&i| mm(first.plants[i].station_m))
                .collect();
            // Steps between rounded places: rounded steps would add up their errors along the pass.
            let steps = std::iter::once(0).chain(stations.iter().copied());
            FilmRow {
                station_mm: stations
                    .iter()
                    .zip(steps)
                    .map(|(here, before)| here - before)
                    .collect(),
                lateral_mm: order
                    .iter()
                    .map(|&i| mm(first.plants[i].lateral_m))
                    .collect(),
                needed_mm: lanes
                    .iter()
                    .map(|trace| {
                        let needed = |&i: &usize| {
                            let plant = &trace.plants[i];
                            match plant.needed_clearance_m {
                                Some(needed_m) => needed_mm(trace, needed_m),
                                None if plant.fate == Fate::Cut => -NOT_PASSED,
                                None => NOT_PASSED,
                            }
                        };
                        order.iter().map(needed).collect()
                    })
                    .collect(),
            }
        })
        .collect();
    Some(FilmPass {
        title: format!("{title} (number {})", first.pass),
        number: first.pass,
        from_m,
        step_m: STEP_M,
        axle_mm: at(first, &|sample| sample.axle_m),
        row_mm: at(first, &|sample| sample.row_m),
        frame_mm: at(first, &|sample| sample.frame_m),
        shift_mm: lanes
            .iter()
            .map(|trace| at(trace, &|sample| sample.shift_m))
            .collect(),
        worst_m: [worst.0, worst.1],
        plants,
    })
}

/// Whole mm of what a plant needed; rounding must not change what became of it.
fn needed_mm(trace: &Trace, needed_m: f64) -> i32 {
    let cut_at_m = trace.clearance_m + trace.protected_radius_m - trace.stem_radius_m;
    let rounded = mm(needed_m);
    for limit_m in [trace.clearance_m, cut_at_m] {
        let over = needed_m > limit_m;
        if over != (f64::from(rounded) > 1000.0 * limit_m) {
            return if over {
                (1000.0 * limit_m).floor() as i32 + 1
            } else {
                (1000.0 * limit_m).floor() as i32
            };
        }
    }
    rounded
}

fn mm(length_m: f64) -> i32 {
    (1000.0 * length_m).round() as i32
}

/// The stretch of that length with most plants cut or touched behind the entry stretch, first and last station in m; without any the first.
fn worst_stretch(trace: &Trace, length_m: f64, last_m: f64) -> (f64, f64) {
    let from_m = trace.entry_length_m.min(last_m);
    let mut met: Vec<f64> = trace
        .plants
        .iter()
        .filter(|plant| {
            plant
                .needed_clearance_m
                .is_some_and(|needed_m| needed_m > trace.clearance_m)
        })
        .map(|plant| plant.station_m)
        .filter(|station_m| *station_m >= from_m)
        .collect();
    met.sort_by(f64::total_cmp);
    let within = |start: f64| {
        met.iter()
            .filter(|m| (start..=start + length_m).contains(*m))
            .count()
    };
    let mut best = (0, from_m);
    // The fullest stretch can always be moved on until it begins at a plant.
    for &start in &met {
        let count = within(start);
        if count > best.0 {
            best = (count, start);
        }
    }
    (best.1, (best.1 + length_m).min(last_m))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::synthetic;
    use crate::sim::trace::Fate;

    /// What the film makes of its numbers must be what became of the plants.
    #[test]
    fn prop_the_film_shows_what_became_of_the_plants() {
        let traces = synthetic::traces();
        let film = film(&synthetic::results(), &traces, &[]).unwrap();
        assert_eq!(film.passes.len(), 1);
        let pass = &film.passes[0];
        for (lane, told) in film.lanes.iter().enumerate() {
            let trace = traces
                .iter()
                .find(|trace| trace.kind == told.controller)
                .unwrap();
            let (clearance_mm, cut_mm) = (
                1000.0 * trace.clearance_m,
                1000.0 * (trace.clearance_m + trace.protected_radius_m - trace.stem_radius_m),
            );
            let needed = || {
                pass.plants
                    .iter()
                    .flat_map(|row| row.needed_mm[lane].iter().map(|mm| f64::from(*mm)))
            };
            let count = |fate: Fate| {
                trace
                    .plants
                    .iter()
                    .filter(|plant| plant.fate == fate)
                    .count()
            };
            assert_eq!(needed().count(), trace.plants.len());
            let over = |limit: f64| needed().filter(|mm| *mm > limit).count();
            assert_eq!(over(cut_mm), count(Fate::Cut), "{}", told.title);
            assert_eq!(
                over(clearance_mm),
                count(Fate::Cut) + count(Fate::Touched),
                "{}",
                told.title
            );
        }
    }

    #[test]
    fn prop_places_and_plants_are_those_of_the_pass() {
        let traces = synthetic::traces();
        let film = film(&synthetic::results(), &traces, &traces).unwrap();
        assert_eq!(film.passes.len(), 1, "the worst pass is the first one here");
        let (pass, trace) = (&film.passes[0], &traces[0]);
        for (i, mm) in pass.row_mm.iter().enumerate() {
            let station_m = pass.from_m + pass.step_m * i as f64;
            let nearest = trace
                .samples
                .iter()
                .min_by(|a, b| {
                    (a.station_m - station_m)
                        .abs()
                        .total_cmp(&(b.station_m - station_m).abs())
                })
                .unwrap();
            assert!(
                (f64::from(*mm) - 1000.0 * nearest.row_m).abs() < 3.0,
                "{station_m}"
            );
        }
        for (row, plants) in pass.plants.iter().enumerate() {
            let mut expected: Vec<f64> = trace
                .plants
                .iter()
                .filter(|plant| plant.row == row)
                .map(|plant| plant.station_m)
                .collect();
            expected.sort_by(f64::total_cmp);
            let mut at_mm = 0;
            for (step, station_m) in plants.station_mm.iter().zip(&expected) {
                at_mm += step;
                assert!((f64::from(at_mm) - 1000.0 * station_m).abs() <= 0.51);
            }
            assert_eq!(plants.station_mm.len(), expected.len());
        }
        let [from_m, to_m] = pass.worst_m;
        assert!(from_m >= trace.entry_length_m && to_m > from_m);
    }

    #[test]
    fn prop_a_dense_pass_keeps_the_worst_place_in_a_shorter_stretch() {
        let mut traces = synthetic::traces();
        for trace in &mut traces {
            let plants = trace.plants.clone();
            for _ in 0..(2 * MOST_PLANTS / plants.len().max(1)) {
                trace.plants.extend(plants.iter().copied());
            }
        }
        let film = film(&synthetic::results(), &traces, &[]).unwrap();
        let pass = &film.passes[0];
        let plants: usize = pass.plants.iter().map(|row| row.station_mm.len()).sum();
        assert!(plants as f64 <= 1.2 * MOST_PLANTS as f64, "{plants}");
        let end_m = pass.from_m + pass.step_m * (pass.row_mm.len() - 1) as f64;
        assert!(pass.worst_m[0] >= pass.from_m && pass.worst_m[1] <= end_m + pass.step_m);
    }
}
