//! A pass of a log whose points are too far apart for straight lines, or lie on a plane: driven again through the wander that was fitted.

use super::MOST_POINTS;
use crate::field::between::drawn_m;
use crate::field::kalman::{Seen, Stretch};
use crate::field::log::{Frame, Logs, Quality};
use crate::field::passes::{Antenna, Pass, Planned, split, thinned};
use crate::field::wander::fit;
use crate::field::{FieldError, POINT_STEP_M, POINTS, receiver};
use crate::model::driver::LoggedPath;
use crate::unknowns::dice::Dice;

/// Points of the way that is drawn stand so far apart, m (our choice: a fifth of the window over which the heading of a logged pass is
/// taken).
const STEP_M: f64 = 0.25;

/// Every way between the same fixes is another one: that of this stream and the seed of the study.
const STREAM: u64 = 0x1d0b_63a4_9e77_20f5;

/// The longest pass of a log of any kind, driven through its wander.
pub fn longest_pass(text: &str, file: &str, seed: u64) -> Result<LoggedPath, FieldError> {
    let mut logs = Logs::default();
    logs.read(text.as_bytes(), file)?;
    let wrong = |what: String| FieldError::Line {
        file: file.to_owned(),
        line: 1,
        what,
    };
    let quality = receiver::quality(&logs);
    if logs.frame == Some(Frame::Earth) && quality.is_some_and(|quality| quality < Quality::Fixed) {
        return Err(wrong(
            "this receiver had no fixed carrier phase: it drifts by decimetres, and the replayed tractor would; rowroom field tells what such a log carries"
                .to_owned(),
        ));
    }
    let passes = split(&logs, quality, Antenna::default(), &Planned::Found);
    let length_m = |pass: &&Pass| pass.numbers().length_m;
    let Some(longest) = passes
        .iter()
        .max_by(|a, b| length_m(a).total_cmp(&length_m(b)))
    else {
        return Err(wrong(
            "no pass of 30 m or more was found between turns, lifts and holes of this log"
                .to_owned(),
        ));
    };
    through(&thinned(&passes, POINTS, POINT_STEP_M), &longest.stretch, seed).ok_or_else(|| {
        wrong("these fixes do not tell how the tractor wanders between them: they are too few, or do not move at all".to_owned())
    })
}

/// A way through the fixes of `pass`, drawn by the wander that was fitted to `all`; distances from its first fix on.
pub fn through(all: &[Stretch], pass: &Stretch, seed: u64) -> Option<LoggedPath> {
    let wander = fit(all, None)?;
    let seen = Seen {
        wander: wander.noise()?,
        white_sd_m: wander.receiver_noise_sd_m,
        drift: None,
    };
    let (first_m, last_m) = (*pass.along_m.first()?, *pass.along_m.last()?);
    let steps = ((last_m - first_m) / STEP_M) as usize;
    if steps > MOST_POINTS {
        return None;
    }
    let station_m: Vec<f64> = (0..=steps).map(|i| STEP_M * i as f64).collect();
    let at_m: Vec<f64> = station_m.iter().map(|station| first_m + station).collect();
    let mut dice = Dice::new(seed ^ STREAM);
    let offset_m = drawn_m(pass, &seen, &at_m, &mut || dice.normal())?;
    Some(LoggedPath::new(station_m, offset_m))
}
