//! What a receiver's log can carry.

use serde::Serialize;

use super::climb::Hill;
use super::kalman::{Drift, Seen, Stretch};
use super::log::{Frame, Logs, Quality};
use super::passes::Pass;
use crate::model::damped::Damped;

/// A quality counts as the log's if so many of its fixes have it or a better one.
const MOST_OF_THEM: f64 = 0.8;

/// A parked log must last so long, s: a drift over a minute is seen a few times in it.
const PARKED_LEAST_S: f64 = 300.0;

/// It may not spread farther, m: that is a tractor that drives.
const PARKED_SPREAD_M: f64 = 10.0;

/// Most points of a parked log that are used.
const PARKED_POINTS: usize = 1500;

/// Steps coarser than this hide a wander of some centimetres, m: it was found again at 185 mm.
const COARSEST_M: f64 = 0.2;

/// No tractor in a row crop wanders more, m (assumed: as for a replayed pass).
const WIDEST_SD_M: f64 = 0.5;

/// What the log carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The wander.
    Wander,
    /// Only what it is at most: the receiver may drift, and nothing tells by how much.
    UpperLimit,
    /// Nothing: satellites alone, as a phone has them, wander by metres.
    SatellitesAlone,
    /// Nothing: places are written in too coarse steps.
    TooCoarse,
    /// Nothing: the offsets spread as no tractor in rows does.
    TooWide,
    /// Nothing: no pass was found.
    NoPass,
}

/// The receiver as its logs show it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Receiver {
    /// Quality of at least four fifths of the fixes; none if the log does not tell.
    pub quality: Option<Quality>,
    /// Fixes a second; none without times.
    pub rate_hz: Option<f64>,
    /// Coarsest step in which places are written, m.
    pub step_m: Option<f64>,
    /// Drift by the parked log: sd, m.
    pub drift_sd_m: Option<f64>,
    /// Drift by the parked log: correlation time, s.
    pub drift_time_s: Option<f64>,
    /// What the log carries.
    pub verdict: Verdict,
    /// Fixes read.
    pub fixes: usize,
    /// Spoiled lines left out.
    pub spoiled_lines: u64,
    /// Distance from point to point that half of the points do not exceed, m.
    pub spacing_m: Option<f64>,
}

/// What stands in the way of using a parked log.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum ParkedError {
    /// It has no times.
    #[error("the parked log has no times: they tell how fast the receiver drifts")]
    NoTimes,
    /// It is too short.
    #[error(
        "the parked log lasts {0:.0} s; at least {PARKED_LEAST_S:.0} s are needed, and 10 minutes are better"
    )]
    Short(f64),
    /// It moves.
    #[error("the parked log spreads over {0:.0} m: it is not one of a tractor that stands still")]
    Moves(f64),
}

/// The best quality that most of the fixes have.
pub fn quality(logs: &Logs) -> Option<Quality> {
    let share = |least: Quality| {
        let good = logs
            .fixes
            .iter()
            .filter(|fix| fix.quality.is_some_and(|quality| quality >= least));
        good.count() as f64 >= MOST_OF_THEM * logs.fixes.len() as f64
    };
    [
        Quality::Fixed,
        Quality::Float,
        Quality::Corrected,
        Quality::Alone,
    ]
    .into_iter()
    .find(|least| share(*least))
}

/// Judges the logs. `told` is a quality that the log does not write but somebody knows.
pub fn judge(
    logs: &Logs,
    told: Option<Quality>,
    drift: Option<Drift>,
    passes: &[Pass],
) -> Receiver {
    let quality = quality(logs).or(told);
    let sds_m: Vec<f64> = passes.iter().map(|pass| pass.numbers().sd_m).collect();
    let verdict = if quality == Some(Quality::Alone) {
        Verdict::SatellitesAlone
    } else if passes.is_empty() {
        Verdict::NoPass
    } else if logs.frame == Some(Frame::Earth)
        && logs.step_m.is_some_and(|step_m| step_m > COARSEST_M)
    {
        Verdict::TooCoarse
    } else if middle(sds_m).is_some_and(|sd_m| sd_m > WIDEST_SD_M) {
        Verdict::TooWide
    } else if quality == Some(Quality::Fixed) || drift.is_some() {
        Verdict::Wander
    } else {
        Verdict::UpperLimit
    };
    let steps_s = logs
        .fixes
        .windows(2)
        .filter_map(|pair| Some(pair[1].time_s? - pair[0].time_s?))
        .filter(|step| *step > 0.0);
    let spacings_m = passes
        .iter()
        .flat_map(|pass| pass.stretch.along_m.windows(2))
        .map(|pair| pair[1] - pair[0]);
    Receiver {
        quality,
        rate_hz: middle(steps_s.collect()).map(|step_s| 1.0 / step_s),
        step_m: logs.step_m,
        drift_sd_m: drift.map(|drift| drift.sd_m),
        drift_time_s: drift.map(|drift| drift.time_s),
        verdict,
        fixes: logs.fixes.len(),
        spoiled_lines: logs.spoiled,
        spacing_m: middle(spacings_m.collect()),
    }
}

fn middle(mut values: Vec<f64>) -> Option<f64> {
    let half = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(half, f64::total_cmp).1)
}

/// Drift of a receiver that stood still: white noise and a Gauss-Markov drift by restricted likelihood, east and north alike.
pub fn parked(logs: &Logs) -> Result<Drift, ParkedError> {
    let times_s: Option<Vec<f64>> = logs.fixes.iter().map(|fix| fix.time_s).collect();
    let times_s = times_s.ok_or(ParkedError::NoTimes)?;
    let lasts_s = times_s
        .last()
        .zip(times_s.first())
        .map_or(0.0, |(last, first)| last - first);
    if lasts_s < PARKED_LEAST_S {
        return Err(ParkedError::Short(lasts_s));
    }
    let spread_m = |of: &dyn Fn(usize) -> f64| {
        let all = (0..logs.fixes.len()).map(of);
        let (least, most) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), x| {
            (least.min(x), most.max(x))
        });
        most - least
    };
    let wide_m = spread_m(&|i| logs.fixes[i].x_m).max(spread_m(&|i| logs.fixes[i].y_m));
    if wide_m > PARKED_SPREAD_M {
        return Err(ParkedError::Moves(wide_m));
    }
    let mut axes = [Stretch::default(), Stretch::default()];
    let step_s = (lasts_s / PARKED_POINTS as f64).max(0.9);
    for (fix, time_s) in logs.fixes.iter().zip(&times_s) {
        if axes[0]
            .times_s
            .last()
            .is_some_and(|last| time_s - last < step_s)
        {
            continue;
        }
        for (axis, offset_m) in axes.iter_mut().zip([fix.x_m, fix.y_m]) {
            axis.along_m.push(*time_s);
            axis.times_s.push(*time_s);
            axis.offsets_m.push(offset_m);
            axis.columns = 1;
        }
    }
    Ok(fitted(&axes, lasts_s))
}

fn fitted(axes: &[Stretch], lasts_s: f64) -> Drift {
    // A wander of nothing: of the three parts of what a receiver says, two are left.
    let still = Damped {
        sd: 1e-7,
        reach: 1.0,
        damping: 1.0,
    };
    let height = |at: &[f64]| {
        let drift = Drift {
            sd_m: libm::exp(at[0]),
            time_s: libm::exp(at[1]),
        };
        let seen = Seen {
            wander: still,
            white_sd_m: libm::exp(at[2]),
            drift: Some(drift),
        };
        axes.iter().map(|axis| axis.ln_likelihood(&seen)).sum()
    };
    let bounds = [[1e-4, 10.0], [2.0, lasts_s], [1e-4, 3.0]].map(|ends| ends.map(libm::log));
    let hill = Hill {
        height: &height,
        bounds: &bounds,
    };
    let starts = [[0.1, 60.0, 0.02], [0.02, 20.0, 0.02], [0.5, 100.0, 0.1]];
    let starts = starts.map(|start| start.map(libm::log));
    let best = starts
        .iter()
        .max_by(|a, b| height(&a[..]).total_cmp(&height(&b[..])));
    let top = hill.top(best.unwrap_or(&starts[0]), None);
    Drift {
        sd_m: libm::exp(top.at[0]),
        time_s: libm::exp(top.at[1]),
    }
}
