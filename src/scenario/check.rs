//! What is missing from a scenario and what contradicts, all at once.

use super::keys::{self, Id, Need, Presence, TABLES};
use super::layout::{Layout, MOST_PLANTER_PASSES};
use super::read::Read;
use super::units::short;
use super::values::Values;
use crate::quote::quoted;

/// Notes everything that is missing or contradicts in what was read.
pub fn check(read: &mut Read, values: &Values) {
    missing(read);
    study(read, values);
    pass(read, values);
    rows(read, values);
    parts(read, values);
    farm(read, values);
}

/// A small length in the units that the scenario shows: "38 mm", "1.5 in".
pub fn small(values: &Values, length_m: f64) -> String {
    match values.text(Id::StudyUnits) {
        Some("us") => format!("{} in", short(length_m / 0.0254)),
        _ => format!("{:.0} mm", length_m * 1000.0),
    }
}

/// Notes that what a key says does not go with the rest, at the key's place or, if it is not there, at its table's.
pub fn contradicts(read: &mut Read, id: Id, message: impl FnOnce(&str) -> String) {
    let key = keys::key(id);
    let path = key.path();
    let (at, shown) = match read.entry(id) {
        Some(entry) => {
            let shown = format!("{path} = {}", quoted(&entry.written));
            (entry.span.start, shown)
        }
        None => (
            read.table(key.table).map_or(0, |span| span.start),
            path.clone(),
        ),
    };
    let message = message(&shown);
    read.problem(at, &path, message);
}

fn missing(read: &mut Read) {
    for table in TABLES {
        let place = read.table(table.name);
        let needed: Vec<&keys::Key> = keys::keys_of(table.name)
            .filter(|key| matches!(key.need, Need::Required { .. }))
            // A key with a wrong value has been told: missing as well, it would be told twice.
            .filter(|key| read.entry(key.id).is_none() && !read.spoilt[key.id as usize])
            .collect();
        match place {
            Some(span) => {
                for key in needed {
                    let message = format!(
                        "{} is missing: {}; {}, for example {}",
                        key.path(),
                        key.meaning,
                        key.allowed(),
                        key.example()
                    );
                    read.problem(span.start, &key.path(), message);
                }
            }
            None if table.presence == Presence::Always
                && !needed.is_empty()
                && !read.spoilt_groups.iter().any(|name| name == table.name) =>
            {
                let names: Vec<&str> = needed.iter().map(|key| key.name).collect();
                let message = format!(
                    "the table [{}] is missing: {}; it needs {}",
                    table.name,
                    table.meaning,
                    names.join(", ")
                );
                read.problem(0, table.name, message);
            }
            None => {}
        }
    }
    let mut groups: Vec<&str> = TABLES
        .iter()
        .filter(|table| table.presence == Presence::OneOfGroup)
        .filter_map(|table| table.group())
        .collect();
    // The tables of a group stand together in the language, so neighbours suffice.
    groups.dedup();
    for group in groups {
        let members: Vec<&str> = TABLES
            .iter()
            .filter(|table| table.group() == Some(group))
            .map(|table| table.name)
            .collect();
        let mut there: Vec<(usize, &str)> = members
            .iter()
            .filter_map(|name| read.table(name).map(|span| (span.start, *name)))
            .collect();
        there.sort_unstable();
        let listed: Vec<String> = members.iter().map(|name| format!("[{name}]")).collect();
        match there.as_slice() {
            [] if read.spoilt_groups.iter().any(|name| name == group) => {}
            [] => {
                let message = format!("the {group} is missing: write one of {}", listed.join(", "));
                read.problem(0, group, message);
            }
            [_] => {}
            [(first_at, first), others @ ..] => {
                let place = read.place(*first_at);
                for (at, other) in others {
                    let message = format!(
                        "[{other}] contradicts [{first}] in {place}: keep one of {}{}",
                        listed.join(", "),
                        read.instead(*at, first)
                    );
                    read.problem(*at, other, message);
                }
            }
        }
    }
}

/// The member of a list that a value names: the same up to the rounding of another unit.
pub fn member(list: &[f64], value: f64) -> Option<f64> {
    list.iter()
        .copied()
        .find(|item| (item - value).abs() <= 1e-9 * item.abs())
}

fn study(read: &mut Read, values: &Values) {
    for (list, one) in [
        (Id::Speeds, Id::WorkingSpeed),
        (Id::Clearances, Id::WorkingClearance),
    ] {
        // Where the list is left out it gets the one.
        let (Some(items), Some(value)) = (values.numbers(list), values.number(one)) else {
            continue;
        };
        if member(items, value).is_none() {
            let list = keys::key(list).path();
            contradicts(read, one, |shown| {
                format!("{shown} is not in {list}; take one of them or add it there")
            });
        }
    }
}

/// Shortest entry stretch that has plants of its own, m: the tools are looked at every fifth of a metre.
const LEAST_ENTRY_M: f64 = 1.0;

fn pass(read: &mut Read, values: &Values) {
    if let (Some(entry_m), Some(length_m)) = (
        values.number(Id::EntryLength),
        values.number(Id::PassLength),
    ) && entry_m > length_m / 2.0
    {
        contradicts(read, Id::EntryLength, |shown| {
            format!(
                "{shown} takes more than half of pass.length; make it shorter or the pass longer"
            )
        });
    }
    if let Some(entry_m) = values.number(Id::EntryLength)
        && entry_m > 0.0
        && entry_m < LEAST_ENTRY_M
    {
        contradicts(read, Id::EntryLength, |shown| {
            format!(
                "{shown} is too short to be counted apart; write 0 m, or at least {LEAST_ENTRY_M} m"
            )
        });
    }
    let approaches = values.number(Id::Approach).is_some_and(|m| m > 0.0);
    if approaches && values.has_table("driver.replay") {
        contradicts(read, Id::Approach, |shown| {
            format!("{shown} does not go with [driver.replay]: a logged pass begins at lowering")
        });
    }
    if values.text(Id::WhileLifted) == Some("following") && !approaches {
        contradicts(read, Id::WhileLifted, |shown| {
            format!(
                "{shown} needs pass.approach, the way over the row before the tools are lowered"
            )
        });
    }
    if values.text(Id::WhileLifted) != Some("held") && read.entry(Id::HeldShift).is_some() {
        contradicts(read, Id::HeldShift, |shown| {
            format!("{shown} has no use: it needs pass.while_lifted = \"held\"")
        });
    }
}

/// True if the beds stand closer than they are wide; a single bed has its neighbour under the next pass.
fn beds_overlap(values: &Values) -> bool {
    let (Some(bed_m), Some(rows), Some(row_m)) = (
        values.number(Id::BedSpacing),
        values.count(Id::RowsPerBed),
        values.number(Id::RowSpacing),
    ) else {
        return false;
    };
    bed_m <= (rows - 1) as f64 * row_m
}

fn rows(read: &mut Read, values: &Values) {
    let beds = values.count(Id::Beds);
    match (beds, values.number(Id::BedSpacing)) {
        (Some(2..), None) if !read.spoilt[Id::BedSpacing as usize] => {
            contradicts(read, Id::Beds, |shown| {
                format!(
                    "{shown} needs rows.bed_spacing, the distance from bed centre to bed centre"
                )
            });
            return;
        }
        _ => {}
    }
    let Some(total) = beds.zip(values.count(Id::RowsPerBed)).map(|(b, r)| b * r) else {
        return;
    };
    // Before the rows are laid out: this bounds how many there are to lay.
    if total > 48 {
        contradicts(read, Id::RowsPerBed, |shown| {
            format!("{shown} makes {total} rows in all beds; allowed 1 to 48")
        });
        return;
    }
    if let Some(planter) = values.count(Id::PlanterRows)
        && let Some(first) = values.count(Id::FirstPlanterRows)
        && first > planter
    {
        contradicts(read, Id::FirstPlanterRows, |shown| {
            format!("{shown} is more than rows.planter_rows = {planter}")
        });
    }
    if values.count(Id::PlanterRows).is_none() && values.count(Id::FirstPlanterRows).is_some() {
        contradicts(read, Id::FirstPlanterRows, |shown| {
            format!("{shown} needs rows.planter_rows")
        });
        return;
    }
    let Some(layout) = Layout::new(values) else {
        return;
    };
    let passes = layout.planter_pass.last().map_or(0, |last| last + 1);
    if passes as u64 > MOST_PLANTER_PASSES {
        contradicts(read, Id::PlanterRows, |shown| {
            format!(
                "{shown} makes the implement span {passes} planter passes; allowed 1 to {MOST_PLANTER_PASSES}"
            )
        });
    }
    if let Some(seen) = values.counts(Id::SeenRows) {
        if let Some(beyond) = seen.iter().find(|row| **row > total) {
            contradicts(read, Id::SeenRows, |shown| {
                format!("{shown} names row {beyond}, but the implement has {total}")
            });
        } else if let (Some(&first), Some(&last)) = (layout.guided.first(), layout.guided.last())
            && layout.planter_pass[first] != layout.planter_pass[last]
        {
            contradicts(read, Id::SeenRows, |shown| {
                format!(
                    "{shown} spans planter passes {} and {} (1 at the left); all rows seen must belong to one",
                    layout.planter_pass[first] + 1,
                    layout.planter_pass[last] + 1
                )
            });
        }
    }
    let nearest_m = layout.nearest_rows_m();
    if nearest_m <= 0.0 || beds_overlap(values) {
        contradicts(read, Id::BedSpacing, |shown| {
            format!(
                "{shown} makes neighbouring beds overlap; it must exceed (rows_per_bed - 1) row_spacing"
            )
        });
    } else if let Some((id, widest)) = widest(values)
        && widest > layout.widest_clearance_m()
    {
        contradicts(read, id, |shown| {
            format!(
                "{shown} goes up to {} on either side, which leaves no room between rows {} apart; allowed up to {}",
                small(values, widest),
                small(values, nearest_m),
                small(values, layout.widest_clearance_m())
            )
        });
    }
}

/// The widest clearance that is asked for, and the key that asks.
fn widest(values: &Values) -> Option<(Id, f64)> {
    match values.numbers(Id::Clearances) {
        Some(named) => Some((Id::Clearances, *named.last()?)),
        None => Some((Id::WorkingClearance, values.number(Id::WorkingClearance)?)),
    }
}

fn farm(read: &mut Read, values: &Values) {
    for id in [Id::StageRadii, Id::StageStems] {
        if let (Some(heights), Some(radii)) = (values.numbers(Id::PlantHeights), values.numbers(id))
            && heights.len() != radii.len()
        {
            let heights = heights.len();
            contradicts(read, id, |shown| {
                format!("{shown} must have as many entries as growth.heights, which has {heights}")
            });
        }
    }
    if let (Some(stems), Some(radii)) = (
        values.numbers(Id::StageStems),
        values.numbers(Id::StageRadii),
    ) && stems.iter().zip(radii).any(|(stem, radius)| stem > radius)
    {
        contradicts(read, Id::StageStems, |shown| {
            format!("{shown} has a stem wider than its protected radius in growth.protected_radii")
        });
    }
    let hours = values
        .number(Id::DayHours)
        .zip(values.number(Id::NightHours));
    if hours.is_some_and(|(day, night)| day + night <= 0.0 || day + night > 24.0) {
        contradicts(read, Id::NightHours, |shown| {
            format!("{shown} with farm.day_hours must make more than 0 and at most 24 hours a day")
        });
    }
}

fn parts(read: &mut Read, values: &Values) {
    if let (Some(rod), Some(bore)) = (values.number(Id::Rod), values.number(Id::Bore))
        && rod >= bore
    {
        contradicts(read, Id::Rod, |shown| {
            format!("{shown} does not fit into hydraulics.bore; it must be thinner")
        });
    }
    if let (Some(stop), Some(start)) = (values.number(Id::OnOffStop), values.number(Id::OnOffStart))
        && stop >= start
    {
        contradicts(read, Id::OnOffStop, |shown| {
            format!("{shown} must be less than controller.on_off.start_above")
        });
    }
    if let (Some((_, back_pa)), Some((supply_pa, _))) = (
        // The ends of both ranges, not their means: any draw must be a machine that can shift.
        values.spread(Id::Return).map(|spread| spread.support()),
        values.spread(Id::Supply).map(|spread| spread.support()),
    ) && back_pa >= supply_pa
    {
        contradicts(read, Id::Return, |shown| {
            format!("{shown} can reach hydraulics.supply_pressure; it must stay below")
        });
    }
    if values.has_table("tracker.kalman_yaw") && !values.has_table("sensors.yaw_rate") {
        let at = read
            .table("tracker.kalman_yaw")
            .map_or(0, |span| span.start);
        read.problem(
            at,
            "tracker.kalman_yaw",
            "[tracker.kalman_yaw] needs [sensors.yaw_rate]; add it or take [tracker.kalman]"
                .to_string(),
        );
    }
    if values.has_table("controller.pid") {
        pid(read, values);
    }
    for (one, other) in [
        (Id::HandObserved, Id::HandObservedAt),
        (Id::HandObservedAt, Id::HandObserved),
    ] {
        if values.number(one).is_some()
            && values.number(other).is_none()
            && !read.spoilt[other as usize]
        {
            let other = keys::key(other).path();
            contradicts(read, one, |shown| format!("{shown} needs {other}"));
        }
    }
}

fn pid(read: &mut Read, values: &Values) {
    let by_rule = values.number(Id::SimcTime).is_some();
    let by_hand = values.number(Id::PidGain).is_some();
    let spoilt = read.spoilt[Id::SimcTime as usize] || read.spoilt[Id::PidGain as usize];
    if by_rule && by_hand {
        let (gain, rule) = (keys::key(Id::PidGain), keys::key(Id::SimcTime));
        let at = |id| read.entry(id).map_or(0, |entry| entry.span.start);
        // Told of the one that was given beside the file: that is what the person has just typed.
        let (of, other) = match read.is_given(at(Id::SimcTime)) && !read.is_given(at(Id::PidGain)) {
            true => (rule, gain),
            false => (gain, rule),
        };
        let (other, instead) = (other.path(), read.instead(at(of.id), &other.path()));
        contradicts(read, of.id, |shown| {
            format!("{shown} contradicts {other}: keep one{instead}")
        });
    } else if !by_rule && !by_hand && !spoilt {
        contradicts(read, Id::SimcTime, |shown| {
            format!("{shown} or controller.pid.gain is missing: give one of them")
        });
    }
    if by_rule && !by_hand {
        for id in [Id::PidIntegral, Id::PidDerivative, Id::PidFilter] {
            if read.entry(id).is_some() {
                contradicts(read, id, |shown| {
                    format!(
                        "{shown} contradicts controller.pid.simc_closed_loop_time, which sets it: keep one"
                    )
                });
            }
        }
    }
}
