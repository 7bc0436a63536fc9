//! Whether a logged pass can be one: a tractor that follows a row stays near it, in metres.

use super::WIDEST_GAP_M;
use crate::model::driver::LoggedPath;
use crate::results::reasons::Warning;

/// A pass whose offset has a larger standard deviation about its trend is refused, m (assumed: as for
/// `driver.hand.observed_wander`).
const MOST_WANDER_M: f64 = 0.5;

/// One with a larger standard deviation is doubted, m (assumed: three times what a hand-steered tractor wanders).
const USUAL_WANDER_M: f64 = 0.15;

/// A pass that gets farther from the planned line is refused, m (assumed: the tractor would drive in the next pass).
const FARTHEST_OFFSET_M: f64 = 3.0;

/// One that gets farther than this is doubted, m (assumed: as for `pass.entry_offset`).
const USUAL_OFFSET_M: f64 = 0.5;

/// A unit is guessed if it brings the wander between these, m (assumed),
const LIKELY_WANDER_M: [f64; 2] = [0.001, 0.1];

/// and the farthest offset between these, m (assumed),
const LIKELY_OFFSET_M: [f64; 2] = [0.02, 0.5];

/// or the distance from point to point between these, m (assumed).
const LIKELY_STEP_M: [f64; 2] = [0.1, WIDEST_GAP_M];

/// Units that numbers may have been written in, and their length in metres.
const UNITS: [(&str, f64); 4] = [
    ("millimetres", 1e-3),
    ("centimetres", 1e-2),
    ("inches", 0.0254),
    ("feet", 0.3048),
];

/// How a logged pass keeps to its line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wander {
    /// Standard deviation of the offset about its straight trend, m.
    pub sd_m: f64,
    /// Farthest offset, m, left positive.
    pub farthest_m: f64,
    /// Distance since lowering at which it is reached, m.
    pub at_m: f64,
}

/// How the first `length_m` of a pass keep to the line.
pub fn wander(log: &LoggedPath, length_m: f64) -> Wander {
    let driven = log.station_m().partition_point(|s| *s <= length_m);
    let (station_m, offset_m) = (&log.station_m()[..driven], &log.offset_m()[..driven]);
    let n = (driven as f64).max(1.0);
    let mean = |values: &[f64]| values.iter().sum::<f64>() / n;
    let (mean_s, mean_y) = (mean(station_m), mean(offset_m));
    let (mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0);
    let (mut farthest_m, mut at_m) = (0.0_f64, 0.0);
    for (s, y) in station_m.iter().zip(offset_m) {
        let (ds, dy) = (s - mean_s, y - mean_y);
        sxx += ds * ds;
        sxy += ds * dy;
        syy += dy * dy;
        if y.abs() > farthest_m.abs() {
            (farthest_m, at_m) = (*y, *s);
        }
    }
    // A reference line that was laid askew is no wander of the tractor.
    let trend = if sxx > 0.0 { sxy * sxy / sxx } else { 0.0 };
    Wander {
        sd_m: ((syy - trend).max(0.0) / n).sqrt(),
        farthest_m,
        at_m,
    }
}

impl Wander {
    /// Why no tractor in a row crop can have driven so, if none can.
    pub fn refusal(&self) -> Option<String> {
        let Wander {
            sd_m,
            farthest_m,
            at_m,
        } = self;
        let question = question(self.likely());
        if *sd_m > MOST_WANDER_M {
            Some(format!(
                "offset_m has a wander of {sd_m:.1} m (standard deviation about its trend); a tractor that follows a row stays below {MOST_WANDER_M} m{question}"
            ))
        } else if farthest_m.abs() > FARTHEST_OFFSET_M {
            Some(format!(
                "offset_m is {farthest_m:.1} m at {at_m:.1} m from the start; at most {FARTHEST_OFFSET_M} m either way are allowed, counted from the planned line of this pass{question}"
            ))
        } else {
            None
        }
    }

    /// What is unlikely about it but can be, if anything is.
    pub fn doubt(&self) -> Option<Warning> {
        let &Wander {
            sd_m,
            farthest_m,
            at_m,
        } = self;
        let likely = self.likely().map(str::to_owned).collect();
        if sd_m > USUAL_WANDER_M {
            Some(Warning::WideWander { sd_m, likely })
        } else if farthest_m.abs() > USUAL_OFFSET_M {
            Some(Warning::FarOffLine {
                farthest_m,
                at_m,
                likely,
            })
        } else {
            None
        }
    }

    /// Units in which its numbers would be likely.
    fn likely(&self) -> impl Iterator<Item = &'static str> {
        fitting(|metres| {
            within(LIKELY_WANDER_M, self.sd_m * metres)
                && within(LIKELY_OFFSET_M, self.farthest_m.abs() * metres)
        })
    }
}

fn within([least_m, most_m]: [f64; 2], length_m: f64) -> bool {
    (least_m..=most_m).contains(&length_m)
}

/// Asks for the units in which the distances of a log may have been written that rise by so much from point to point.
pub(super) fn question_of_step(step_m: f64) -> String {
    question(fitting(|metres| {
        // Only where most steps are too long: a single gap is a gap in any unit.
        step_m > WIDEST_GAP_M && within(LIKELY_STEP_M, step_m * metres)
    }))
}

fn fitting(fits: impl Fn(f64) -> bool) -> impl Iterator<Item = &'static str> {
    let units = UNITS.iter().filter(move |(_, metres)| fits(*metres));
    units.map(|(name, _)| *name)
}

/// Asks for the units that fit, if any do.
fn question(likely: impl Iterator<Item = &'static str>) -> String {
    let likely: Vec<&str> = likely.collect();
    if likely.is_empty() {
        String::new()
    } else {
        format!("; are these {}?", likely.join(" or "))
    }
}
