//! Whether predictions of fewer fields still agree with the kept table, and whether all that is made of that table follows it.

use rowroom::trust::{self, Row};

use crate::trial::Trial;
use crate::written;

/// Standard errors that a prediction may lie off the kept one: with some thirty lines one in several hundred runs with other seeds would
/// fail by chance at four (here the seed is fixed).
const MOST_ERRORS: f64 = 4.0;

/// Rounding of the kept numbers to four digits, at most.
const ROUNDING: f64 = 1e-3;

/// What does not hold.
pub fn wrong(rows: &[Row], trials: &[Trial]) -> Vec<String> {
    let kept = trust::rows();
    let mut wrong = against(rows, &kept);
    // The check must see a prediction that moved by twice what it allows.
    for place in 0..rows.len().min(kept.len()) {
        let mut moved = kept.clone();
        let numbers = &mut moved[place].numbers;
        numbers.simulated += 2.0 * allowed(&rows[place], &kept[place]);
        if against(rows, &moved).is_empty() {
            wrong.push(format!(
                "{}: a moved prediction was overlooked",
                rows[place].trial
            ));
        }
    }
    wrong.extend(written::stale(&kept, trials));
    wrong
}

fn allowed(row: &Row, kept: &Row) -> f64 {
    let errors = [row, kept].map(|one| one.numbers.u_numerics.powi(2));
    MOST_ERRORS * errors.iter().sum::<f64>().sqrt() + ROUNDING * kept.numbers.simulated.abs()
}

fn against(rows: &[Row], kept: &[Row]) -> Vec<String> {
    let mut wrong = Vec::new();
    if rows.len() != kept.len() {
        wrong.push(format!(
            "{} comparisons, the kept table has {}",
            rows.len(),
            kept.len()
        ));
    }
    for (row, kept) in rows.iter().zip(kept) {
        let name = format!("{}, {}", row.trial, row.what);
        let same = |one: &Row| {
            let numbers = &one.numbers;
            let told = (numbers.measured, numbers.u_data, numbers.bound);
            (
                one.trial.clone(),
                one.what.clone(),
                one.unit.clone(),
                told,
                one.known.clone(),
            )
        };
        if same(row) != same(kept) {
            wrong.push(format!(
                "{name}: the file of the trial is not as the kept table has it"
            ));
        }
        let (now, then) = (row.numbers.simulated, kept.numbers.simulated);
        let allowed = allowed(row, kept);
        // What is no number is wrong too.
        let apart = (now - then).abs();
        if apart.is_nan() || apart > allowed {
            wrong.push(format!(
                "{name}: {now} {unit} predicted, the kept table has {then}, they may differ by {allowed:.2}",
                unit = row.unit
            ));
        }
    }
    wrong
}
