#![doc = include_str!("trust/trust.md")]
#![doc = include_str!("trust/table.md")]

use serde::{Deserialize, Serialize};

/// The kept table, as the full run of `tests/trials` wrote it.
pub const TABLE: &str = include_str!("trust/table.json");

/// How many combined standard uncertainties a comparison error may have and still count as explained (95 % of a bell curve).
pub const COVERAGE: f64 = 2.0;

/// What a limit stands for where a trial reports one instead of a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// The quantity was at least the value.
    AtLeast,
    /// The quantity was at most the value.
    AtMost,
}

/// What a comparison says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The comparison error is within [`COVERAGE`] times its uncertainty.
    Inside,
    /// The prediction lies below what was measured by more than that.
    Low,
    /// The prediction lies above what was measured by more than that.
    High,
    /// Inside, but so would be a model that knows nothing.
    NotDiscriminating,
}

impl Verdict {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Inside => "inside",
            Verdict::Low => "low",
            Verdict::High => "high",
            Verdict::NotDiscriminating => "not discriminating",
        }
    }
}

/// What a trial measured and what is predicted, in one unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// D, what was measured.
    pub measured: f64,
    /// Its standard uncertainty.
    pub u_data: f64,
    /// Set where the trial gives a limit instead of a value.
    pub bound: Option<Bound>,
    /// S, what is predicted: the mean over what the report of the trial leaves open.
    pub simulated: f64,
    /// Standard deviation of the prediction over what the report leaves open.
    pub u_input: f64,
    /// Standard error of the mean over the simulated fields.
    pub u_numerics: f64,
    /// What models that know nothing predict: tools that are always in place, or a frame that never moves. If one of them fits as well,
    /// the trial cannot tell.
    pub alternatives: Vec<f64>,
}

impl Comparison {
    /// E = S - D; where the trial gives a limit, what the prediction is beyond it.
    pub fn error(&self) -> f64 {
        self.error_of(self.simulated)
    }

    /// Standard uncertainty of the comparison error, of inputs, numerics and data together.
    pub fn u_val(&self) -> f64 {
        let squares = [self.u_input, self.u_numerics, self.u_data].map(|u| u * u);
        squares.iter().sum::<f64>().sqrt()
    }

    /// What it says.
    pub fn verdict(&self) -> Verdict {
        let least = COVERAGE * self.u_val();
        let error = self.error();
        let fits = |other: &f64| self.error_of(*other).abs() <= least;
        if error < -least {
            Verdict::Low
        } else if error > least {
            Verdict::High
        } else if self.alternatives.iter().any(fits) {
            Verdict::NotDiscriminating
        } else {
            Verdict::Inside
        }
    }

    fn error_of(&self, predicted: f64) -> f64 {
        let error = predicted - self.measured;
        match self.bound {
            None => error,
            Some(Bound::AtLeast) => error.min(0.0),
            Some(Bound::AtMost) => error.max(0.0),
        }
    }
}

/// One line of the table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// Name of the trial's file in `tests/trials`, without ending.
    pub trial: String,
    /// The trial in a few words, with its year.
    pub title: String,
    /// What was measured, and at which speed.
    pub what: String,
    /// Unit of all numbers of the line.
    pub unit: String,
    /// True if all numbers are natural logarithms: the uncertainty of a share that may be a third or three times as large is a factor.
    #[serde(default)]
    pub logarithmic: bool,
    /// How its value is known: "full text", "abstract", "second hand", "derived", "from memory".
    pub known: String,
    /// Which default the trial informed; such a line is no independent evidence.
    pub informed: Option<String>,
    /// The numbers.
    #[serde(flatten)]
    pub numbers: Comparison,
    /// What they say; follows from them.
    pub verdict: Verdict,
    /// What else would be predicted, one thing changed: evidence of why a prediction is off.
    #[serde(default)]
    pub what_if: Vec<WhatIf>,
}

/// A prediction with something changed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WhatIf {
    /// What.
    pub changed: String,
    /// S with it, in the unit of its line.
    pub simulated: f64,
}

/// Texts of a line, all of its numbers in its unit; of a logarithmic one errors and uncertainties are factors.
#[derive(Clone, Debug, PartialEq)]
pub struct Cells {
    /// D, with "at least" or "at most" where it is a limit.
    pub measured: String,
    /// Uncertainty of D.
    pub u_data: String,
    /// S.
    pub simulated: String,
    /// Its uncertainty from what the report leaves open.
    pub u_input: String,
    /// Its uncertainty from the number of simulated fields.
    pub u_numerics: String,
    /// E.
    pub error: String,
    /// Uncertainty of E.
    pub u_val: String,
    /// The verdict, with a star if the trial informed a default.
    pub verdict: String,
}

impl Row {
    /// A prediction for it with something changed, as the table shows it.
    pub fn shown(&self, what_if: &WhatIf) -> String {
        let value = what_if.simulated;
        number(if self.logarithmic {
            libm::exp(value)
        } else {
            value
        })
    }

    /// What the table shows.
    pub fn cells(&self) -> Cells {
        let n = &self.numbers;
        let value = |x: f64| number(if self.logarithmic { libm::exp(x) } else { x });
        let apart = |x: f64| match self.logarithmic {
            true => format!("x{}", number(libm::exp(x))),
            false => number(x),
        };
        let limit = match n.bound {
            None => "",
            Some(Bound::AtLeast) => "at least ",
            Some(Bound::AtMost) => "at most ",
        };
        let star = if self.informed.is_some() { " *" } else { "" };
        Cells {
            measured: format!("{limit}{}", value(n.measured)),
            u_data: apart(n.u_data),
            simulated: value(n.simulated),
            u_input: apart(n.u_input),
            u_numerics: apart(n.u_numerics),
            error: apart(n.error()),
            u_val: apart(n.u_val()),
            verdict: format!("{}{star}", self.verdict.words()),
        }
    }
}

/// Three digits, three places at most.
fn number(value: f64) -> String {
    let digits = 2 - libm::log10(value.abs().max(1e-9)).floor() as i32;
    let text = format!("{value:.*}", digits.clamp(0, 3) as usize);
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// The kept table; empty if it cannot be read, which a test forbids.
pub fn rows() -> Vec<Row> {
    serde_json::from_str(TABLE).unwrap_or_default()
}

/// How many lines have this verdict, of those that informed no default and of those that did.
pub fn count(rows: &[Row], verdict: Verdict) -> [usize; 2] {
    [false, true].map(|informed| {
        let wanted = |row: &&Row| row.verdict == verdict && row.informed.is_some() == informed;
        rows.iter().filter(wanted).count()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn comparison(simulated: f64, bound: Option<Bound>) -> Comparison {
        Comparison {
            measured: 16.0,
            u_data: 2.0,
            bound,
            simulated,
            u_input: 2.0,
            u_numerics: 1.0,
            alternatives: vec![0.0, 45.0],
        }
    }

    /// By hand: the root of 4 + 4 + 1 is 3, twice that 6.
    #[test]
    fn analytic_a_verdict_by_hand() {
        assert_eq!(comparison(13.0, None).u_val(), 3.0);
        assert_eq!(comparison(13.0, None).error(), -3.0);
        for (simulated, verdict) in [
            (9.9, Verdict::Low),
            (10.1, Verdict::Inside),
            (21.9, Verdict::Inside),
            (22.1, Verdict::High),
        ] {
            assert_eq!(
                comparison(simulated, None).verdict(),
                verdict,
                "{simulated}"
            );
        }
    }

    /// A limit is missed on one side only; what never moves fits a lower limit of 16 as well, what is always in place an upper one.
    #[test]
    fn analytic_limits_have_one_side() {
        let at_most = |simulated| comparison(simulated, Some(Bound::AtMost));
        assert_eq!(at_most(3.0).error(), 0.0);
        assert_eq!(at_most(22.1).verdict(), Verdict::High);
        assert_eq!(at_most(3.0).verdict(), Verdict::NotDiscriminating);
        let at_least = |simulated| comparison(simulated, Some(Bound::AtLeast));
        assert_eq!(at_least(9.9).verdict(), Verdict::Low);
        assert_eq!(at_least(40.0).verdict(), Verdict::NotDiscriminating);
    }

    /// By hand: of logarithms of percentages, e^0.693 is 2, and a difference of that is a factor of 2.
    #[test]
    fn analytic_what_a_line_shows() {
        let mut row = Row {
            trial: String::new(),
            title: String::new(),
            what: String::new(),
            unit: "%".into(),
            logarithmic: false,
            known: String::new(),
            informed: None,
            numbers: comparison(13.0, Some(Bound::AtMost)),
            verdict: Verdict::Inside,
            what_if: Vec::new(),
        };
        let cells = row.cells();
        assert_eq!(
            (cells.measured.as_str(), cells.error.as_str()),
            ("at most 16", "0")
        );
        row.logarithmic = true;
        row.informed = Some("a key".into());
        row.numbers.measured = libm::log(2.0);
        row.numbers.simulated = libm::log(13.0);
        let cells = row.cells();
        assert_eq!(
            (cells.measured.as_str(), cells.error.as_str()),
            ("at most 2", "x6.5")
        );
        assert_eq!(
            (cells.simulated.as_str(), cells.verdict.as_str()),
            ("13", "inside *")
        );
    }

    /// The kept table is there and its verdicts follow from its numbers.
    #[test]
    fn prop_verdicts_of_the_kept_table_follow_from_its_numbers() {
        let rows = rows();
        assert!(rows.len() >= 12, "{} lines", rows.len());
        for row in &rows {
            assert_eq!(
                row.verdict,
                row.numbers.verdict(),
                "{}: {}",
                row.trial,
                row.what
            );
        }
    }
}
