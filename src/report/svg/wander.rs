//! The wander of logged passes as measured and as fitted: over the distance between two places, and over the wavelength.

use super::sheet::{Anchor, Chart, Frame, HALF, HALF_PX, Sheet, at, drawn, range};
use super::{Picture, Trouble};
use crate::field::Tracks;
use crate::field::kalman::Stretch;
use crate::field::seen::{covariances_m2, densities_m3};
use crate::model::damped::Damped;
use crate::report::display::trimmed;
use plotters::prelude::*;

const FRAME: Frame = Frame { top: 44.0, ..HALF };

/// The first picture ends here, m.
const FARTHEST_M: f64 = 15.0;

/// Wavelengths with a tick, m.
const TICKS_M: [f64; 6] = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0];

/// Passes that are drawn: each pair of points counts.
const PASSES: usize = 20;

/// Dots: measured. Line: fitted.
const DOTS: &str = "dot k1";
const LINE: &str = "line k6";

/// Both pictures; none without a fitted wander.
pub fn pictures(tracks: &Tracks) -> Vec<Picture> {
    let Some((noise, wander)) = tracks
        .wander
        .and_then(|wander| Some((wander.noise()?, wander)))
    else {
        return Vec::new();
    };
    let spacing_m = tracks.receiver.spacing_m.unwrap_or(1.0);
    let passes: Vec<Stretch> = tracks
        .passes
        .iter()
        .take(PASSES)
        .map(|pass| pass.stretch.clone())
        .collect();
    let white_m2 = wander.receiver_noise_sd_m * wander.receiver_noise_sd_m;
    vec![
        over_distance(
            &noise,
            &covariances_m2(&passes, spacing_m.max(0.5), FARTHEST_M),
        ),
        over_wavelength(&noise, white_m2 * spacing_m, &passes, spacing_m),
    ]
}

fn over_distance(noise: &Damped, measured: &[(f64, f64)]) -> Picture {
    let square_cm = |m2: f64| 1e4 * m2;
    let dots: Vec<(f64, f64)> = measured
        .iter()
        .map(|(m, m2)| (*m, square_cm(*m2)))
        .collect();
    let fitted = (0..=300).map(|i| FARTHEST_M * f64::from(i) / 300.0);
    let fitted: Vec<(f64, f64)> = fitted
        .map(|m| (m, square_cm(noise.sd * noise.sd * noise.correlation(m))))
        .collect();
    let heights = || dots.iter().chain(&fitted).map(|(_, y)| *y);
    let (low, high) = (heights().fold(0.0, f64::min), heights().fold(0.0, f64::max));
    let title = "Wander over the distance between two places";
    let body = drawn(HALF_PX.0, HALF_PX.1, |sheet| {
        let mut chart =
            sheet.chart(FRAME, range(0.0, FARTHEST_M), range(1.1 * low, 1.08 * high))?;
        sheet
            .axes(&mut chart)
            .x_labels(8)
            .y_labels(6)
            .x_label_formatter(&|m| trimmed(*m, 1))
            .y_label_formatter(&|y| trimmed(*y, 1))
            .x_desc("distance, m")
            .y_desc("covariance, cm\u{b2}")
            .draw()?;
        heads(sheet, title)?;
        filled(sheet, &mut chart, &fitted, &dots)
    });
    picture(
        "wander_over_distance",
        title,
        "Mean product of the offsets of two places on a pass, over their distance. Dots: measured, about each pass's own line, which takes a part of the slow wander \
         off. Line: fitted, without that loss and without the noise of the receiver, which stands in the first dot.",
        body,
    )
}

fn over_wavelength(noise: &Damped, white_m3: f64, passes: &[Stretch], spacing_m: f64) -> Picture {
    let shortest_m = (2.0 * spacing_m).max(1.0);
    let lengths =
        |n: i32, steps: f64| (0..=n).map(move |i| shortest_m * libm::exp2(f64::from(i) / steps));
    let wavelengths: Vec<f64> = lengths(18, 3.0).take_while(|m| *m < 60.0).collect();
    let say = |m3: f64| 1e4 * m3;
    let dots: Vec<(f64, f64)> = densities_m3(passes, &wavelengths)
        .iter()
        .map(|(m, d)| (*m, say(*d)))
        .collect();
    let fitted = lengths(200, 30.0).take_while(|m| *m < 60.0);
    let fitted: Vec<(f64, f64)> = fitted
        .map(|m| (m, say(noise.density(core::f64::consts::TAU / m) + white_m3)))
        .collect();
    let heights = || {
        dots.iter()
            .chain(&fitted)
            .map(|(_, y)| *y)
            .filter(|y| *y > 0.0)
    };
    let (low, high) = (
        heights().fold(f64::INFINITY, f64::min),
        heights().fold(1e-9, f64::max),
    );
    let title = "Wander over the wavelength";
    let body = drawn(HALF_PX.0, HALF_PX.1, |sheet| {
        let mut chart = sheet.chart(
            FRAME,
            (shortest_m..60.0)
                .log_scale()
                .with_key_points(TICKS_M.to_vec()),
            (0.7 * low.min(high)..1.4 * high).log_scale(),
        )?;
        sheet
            .axes(&mut chart)
            .x_labels(8)
            .y_labels(6)
            .x_label_formatter(&|m| trimmed(*m, 1))
            .y_label_formatter(&|y| trimmed(*y, 2))
            .x_desc("wavelength, m")
            .y_desc("density, cm\u{b2} m")
            .draw()?;
        heads(sheet, title)?;
        filled(sheet, &mut chart, &fitted, &dots)
    });
    picture(
        "wander_over_wavelength",
        title,
        "How much of the wander lies at which wavelength. Dots: measured, mean of the passes over a third of an octave. Line: fitted, with the noise of the receiver. \
         Below twice the distance from fix to fix nothing can be seen.",
        body,
    )
}

/// The line that was fitted and the dots that were measured.
fn filled<'a, X, Y>(
    sheet: &Sheet<'a>,
    chart: &mut Chart<'a, X, Y>,
    fitted: &[(f64, f64)],
    dots: &[(f64, f64)],
) -> Result<(), Trouble>
where
    X: Ranged<ValueType = f64>,
    Y: Ranged<ValueType = f64>,
{
    chart.draw_series(LineSeries::new(fitted.iter().copied(), sheet.stroke(LINE)))?;
    let dot = |place: &(f64, f64)| Circle::new(*place, at((2.6, 0.0)).0, sheet.fill(DOTS));
    chart.draw_series(dots.iter().map(dot))?;
    Ok(())
}

fn heads(sheet: &Sheet, title: &str) -> Result<(), Trouble> {
    sheet.text("head", Anchor::Start, (FRAME.left, 13.0), title)?;
    sheet.dot(DOTS, (FRAME.left + 4.0, 29.0), 2.6)?;
    sheet.text(
        "small",
        Anchor::Start,
        (FRAME.left + 12.0, 29.0),
        "measured",
    )?;
    sheet.line(
        LINE,
        [(FRAME.left + 90.0, 29.0), (FRAME.left + 110.0, 29.0)],
    )?;
    sheet.text("small", Anchor::Start, (FRAME.left + 116.0, 29.0), "fitted")
}

fn picture(name: &str, title: &str, reading: &str, body: maud::Markup) -> Picture {
    Picture {
        name: name.to_owned(),
        title: title.to_owned(),
        note: String::new(),
        reading: reading.to_owned(),
        width: HALF_PX.0,
        height: HALF_PX.1,
        body,
    }
}
