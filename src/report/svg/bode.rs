//! Gain and phase of the controller's loop over frequency, with its margins.

use super::sheet::{Anchor, Chart, Frame, Sheet, drawn, px};
use super::{Picture, Trouble, controller_class};
use crate::report::display::{Units, fixed, trimmed};
use crate::report::words::controllers::spoken;
use crate::results::LoopMargins;
use crate::results::answers::{BodePoint, ControlAnswer};
use plotters::coord::combinators::{BindKeyPoints, LogCoord, WithKeyPoints};
use plotters::coord::ranged1d::{DefaultFormatting, KeyPointHint, Ranged};
use plotters::prelude::*;
use std::f64::consts::{PI, TAU};

const WIDTH_PX: f64 = 448.0;
const HEIGHT_PX: f64 = 440.0;
const GAIN: Frame = Frame {
    left: 64.0,
    right: WIDTH_PX - 16.0,
    top: 34.0,
    bottom: 204.0,
};
const PHASE: Frame = Frame {
    left: GAIN.left,
    right: GAIN.right,
    top: 222.0,
    bottom: 392.0,
};

/// The gain is drawn between these, dB.
const GAIN_DB: (f64, f64) = (-80.0, 100.0);

/// The phase is drawn down to this, degrees.
const LEAST_DEGREES: f64 = -360.0;

/// Frequency to the right by decades, gain or phase upwards, both with ticks of our own.
type Plot<'a> = Chart<'a, WithKeyPoints<LogCoord<f64>>, Steps>;

/// An even scale with ticks `step` apart, from the first to the last of them.
#[derive(Clone, Copy, Debug)]
struct Steps {
    first: i32,
    last: i32,
    step: f64,
}

impl Steps {
    /// Around all values and `least`, not beyond `most`.
    fn around(values: &[f64], step: f64, most: (f64, f64), least: (f64, f64)) -> Steps {
        let low = values.iter().copied().fold(least.0, f64::min).max(most.0);
        let high = values.iter().copied().fold(least.1, f64::max).min(most.1);
        Steps {
            first: (low / step).floor() as i32,
            last: (high / step).ceil() as i32,
            step,
        }
    }

    fn ends(&self) -> (f64, f64) {
        (
            f64::from(self.first) * self.step,
            f64::from(self.last) * self.step,
        )
    }

    /// Px of a value, at the border if it lies beyond.
    fn height(&self, chart: &Plot, value: f64) -> f64 {
        let (low, high) = self.ends();
        let x = chart.x_range().start;
        px(chart.backend_coord(&(x, value.clamp(low, high)))).1
    }
}

impl Ranged for Steps {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, (from, to): (i32, i32)) -> i32 {
        let (low, high) = self.ends();
        let share = (value - low) / (high - low);
        from + (share * f64::from(to - from)).round() as i32
    }

    fn key_points<Hint: KeyPointHint>(&self, _: Hint) -> Vec<f64> {
        (self.first..=self.last)
            .map(|i| f64::from(i) * self.step)
            .collect()
    }

    fn range(&self) -> std::ops::Range<f64> {
        let (low, high) = self.ends();
        low..high
    }
}

/// The picture, if the controller has a loop.
pub fn picture(control: &ControlAnswer, margins: &LoopMargins, units: Units) -> Option<Picture> {
    let points = &control.bode;
    let (first, last) = (points.first()?, points.last()?);
    let across = (first.frequency_hz, last.frequency_hz);
    if !(across.0 > 0.0 && across.1 > across.0) {
        return None;
    }
    let name = control.controller?;
    let title = format!(
        "Loop of {} at {}",
        spoken(name).this,
        units.speed_text(control.speed_m_s)
    );
    let gains: Vec<f64> = points.iter().map(|p| decibels(p.gain)).collect();
    let phases: Vec<f64> = points.iter().map(|p| p.phase_rad.to_degrees()).collect();
    let gain_axis = Steps::around(&gains, 20.0, GAIN_DB, (-20.0, 20.0));
    let phase_axis = Steps::around(&phases, 90.0, (LEAST_DEGREES, 90.0), (-270.0, -90.0));
    let at_one = gain_crossing(points, margins.phase_margin_rad);
    let at_half_turn = phase_crossing(points, margins.gain_margin);
    let body = drawn(WIDTH_PX, HEIGHT_PX, |sheet| {
        sheet.text("head", Anchor::Start, (GAIN.left, 13.0), &title)?;
        let mut gain = plot(sheet, GAIN, across, gain_axis)?;
        sheet
            .axes(&mut gain)
            .x_label_formatter(&|_| String::new())
            .y_label_formatter(&|db| trimmed(*db, 0))
            .y_desc("gain, dB")
            .draw()?;
        let mut phase = plot(sheet, PHASE, across, phase_axis)?;
        sheet
            .axes(&mut phase)
            .x_label_formatter(&|hz| trimmed(*hz, 5))
            .y_label_formatter(&|degrees| trimmed(*degrees, 0))
            .x_desc("frequency, Hz")
            .y_desc("phase, degrees")
            .draw()?;
        for (chart, level) in [(&mut gain, 0.0), (&mut phase, -180.0)] {
            let rule = [(across.0, level), (across.1, level)];
            chart.draw_series(LineSeries::new(rule, sheet.stroke("rule")))?;
        }
        let line = sheet.stroke(&format!("line {}", controller_class(name)));
        for (chart, values, axis) in [
            (&mut gain, &gains, gain_axis),
            (&mut phase, &phases, phase_axis),
        ] {
            let frequencies = points.iter().map(|p| p.frequency_hz);
            let places: Vec<(f64, f64)> = frequencies.zip(values.iter().copied()).collect();
            for stretch in within(&places, axis.ends()) {
                chart.draw_series(LineSeries::new(stretch, line))?;
            }
        }
        let gain_one = gain_axis.height(&gain, 0.0);
        let half_turn = phase_axis.height(&phase, -180.0);
        if let (Some(margin), Some((hz, gain_1))) = (margins.gain_margin, at_half_turn) {
            let x = px(gain.backend_coord(&(hz, 0.0))).0;
            let bar = gain_axis.height(&gain, decibels(gain_1));
            let (upper, lower) = (bar.min(gain_one), bar.max(gain_one));
            sheet.line("touched", [(x, upper), (x, lower)])?;
            sheet.line("thin", [(x, lower), (x, half_turn)])?;
            let words = format!(
                "gain margin {} ({} dB)",
                trimmed(margin, 2),
                fixed(decibels(margin), 1)
            );
            sheet.text("small", Anchor::End, (GAIN.right, upper - 14.0), &words)?;
        }
        if let (Some(margin), Some((hz, phase_rad))) = (margins.phase_margin_rad, at_one) {
            let x = px(phase.backend_coord(&(hz, 0.0))).0;
            // Whole turns do not count, unless they lead off the picture.
            let turns = ((phase_rad - margin + PI) / TAU).round();
            let from = phase_axis.height(&phase, (TAU * turns - PI).to_degrees());
            let bar = phase_axis.height(&phase, phase_rad.to_degrees());
            let (upper, lower) = (bar.min(from), bar.max(from));
            sheet.line("touched", [(x, upper), (x, lower)])?;
            sheet.line("thin", [(x, gain_one), (x, upper)])?;
            let words = format!("phase margin {}°", fixed(margin.to_degrees(), 0));
            // The curve leaves free what lies below on its left and above on its right.
            let (anchor, place) = if margin > 0.0 {
                (Anchor::End, (x - 6.0, lower + 12.0))
            } else {
                (Anchor::End, (PHASE.right, upper - 12.0))
            };
            sheet.text("small", anchor, place, &words)?;
        }
        Ok(())
    });
    Some(Picture {
        name: format!("loop_{}", name.name()),
        title,
        note: note(margins),
        reading: "Gain and phase of the controller's feedback loop, opened at the valve, over frequency by the linear check, up to half the \
                  frame rate of the camera. Dashed: a gain of 1 (0 dB) above, half a turn (-180°) below. The loop is stable if its gain has fallen \
                  below 1 before its phase falls through half a turn. Bars: by how much, the gain margin where the phase passes half a turn and \
                  the phase margin where the gain passes 1."
            .to_owned(),
        width: WIDTH_PX,
        height: HEIGHT_PX,
        body,
    })
}

fn note(margins: &LoopMargins) -> String {
    let gain = match margins.gain_margin {
        Some(margin) if margin > 1.0 => format!(
            "It would run away with {} times its gain.",
            fixed(margin, 2)
        ),
        Some(margin) => format!(
            "It runs away; {} times its gain would just be stable.",
            fixed(margin, 2)
        ),
        None => "No gain makes it run away.".to_owned(),
    };
    match margins.phase_margin_rad {
        Some(margin) => format!(
            "{gain} Its phase margin is {} degrees.",
            fixed(margin.to_degrees(), 0)
        ),
        None => gain,
    }
}

fn decibels(gain: f64) -> f64 {
    // A notch of no gain at all would have no logarithm.
    20.0 * gain.max(1e-30).log10()
}

/// 1, 2 and 5 of every decade.
fn frequency_ticks((low, high): (f64, f64)) -> Vec<f64> {
    (-6..6)
        .flat_map(|decade| [1.0, 2.0, 5.0].map(|digit| digit * 10f64.powi(decade)))
        .filter(|hz| (low..=high).contains(hz))
        .collect()
}

fn plot<'a>(
    sheet: &Sheet<'a>,
    frame: Frame,
    across: (f64, f64),
    upwards: Steps,
) -> Result<Plot<'a>, Trouble> {
    // A hair more keeps the last tick inside.
    let x = (across.0..across.1 * (1.0 + 1e-9)).log_scale();
    sheet.chart(frame, x.with_key_points(frequency_ticks(across)), upwards)
}

/// The stretches of a line that lie between two heights, cut where it passes them.
fn within(places: &[(f64, f64)], (low, high): (f64, f64)) -> Vec<Vec<(f64, f64)>> {
    let mut stretches: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut goes_on = false;
    for pair in places.windows(2) {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        let (from, to) = if y0 == y1 {
            let inside = (low..=high).contains(&y0);
            (0.0, f64::from(u8::from(inside)))
        } else {
            let (one, other) = ((low - y0) / (y1 - y0), (high - y0) / (y1 - y0));
            (one.min(other).max(0.0), one.max(other).min(1.0))
        };
        if from >= to {
            goes_on = false;
            continue;
        }
        // Straight on the paper, where frequencies are logarithms.
        let place = |share: f64| (x0 * (x1 / x0).powf(share), y0 + share * (y1 - y0));
        match stretches.last_mut() {
            Some(stretch) if goes_on && from == 0.0 => stretch.push(place(to)),
            _ => stretches.push(vec![place(from), place(to)]),
        }
        goes_on = to == 1.0;
    }
    stretches
}

/// Frequency and phase where the gain passes 1: the crossing that fits the phase margin best.
fn gain_crossing(points: &[BodePoint], margin_rad: Option<f64>) -> Option<(f64, f64)> {
    let margin_rad = margin_rad?;
    crossings(points, |p| p.gain.max(1e-30).ln())
        .into_iter()
        .map(|(hz, pair, share)| {
            let [a, b] = pair.map(|p| p.phase_rad);
            (hz, a + share * (b - a))
        })
        .min_by(|a, b| {
            let miss = |phase_rad: f64| {
                let off = (phase_rad + PI - margin_rad) / TAU;
                (off - off.round()).abs()
            };
            miss(a.1).total_cmp(&miss(b.1))
        })
}

/// Frequency and gain where the phase passes half a turn: the crossing that fits the gain margin best.
fn phase_crossing(points: &[BodePoint], margin: Option<f64>) -> Option<(f64, f64)> {
    let margin = margin?;
    let lowest = points.iter().map(|p| p.phase_rad).fold(0.0, f64::min);
    // A long delay turns the phase round and round: each passing of half a turn counts.
    let turns = (-lowest / TAU) as usize;
    (0..=turns)
        .flat_map(|turn| {
            let level = -PI - TAU * turn as f64;
            // A phase that ends on half a turn counts.
            crossings(points, move |p| p.phase_rad - level - 1e-6)
        })
        .map(|(hz, pair, share)| {
            let [a, b] = pair.map(|p| p.gain.max(1e-30).ln());
            (hz, (a + share * (b - a)).exp())
        })
        .min_by(|a, b| {
            let miss = |gain: f64| (gain * margin).ln().abs();
            miss(a.1).total_cmp(&miss(b.1))
        })
}

/// Where a value changes sign: frequency, the points before and after, and the share of the way between them in the logarithm of the
/// frequency.
fn crossings(
    points: &[BodePoint],
    value: impl Fn(&BodePoint) -> f64,
) -> Vec<(f64, [&BodePoint; 2], f64)> {
    points
        .windows(2)
        .filter_map(|pair| {
            let (a, b) = (value(&pair[0]), value(&pair[1]));
            if (a > 0.0) == (b > 0.0) {
                return None;
            }
            let share = a / (a - b);
            let hz =
                pair[0].frequency_hz * (pair[1].frequency_hz / pair[0].frequency_hz).powf(share);
            Some((hz, [&pair[0], &pair[1]], share))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answers::control;
    use crate::model::controller::Kind;
    use crate::model::setup::Setup;

    fn loop_of(setup: &Setup, kind: Kind) -> (ControlAnswer, LoopMargins) {
        let margins = crate::linear::margins(setup, kind, 2.0).unwrap();
        let margins = LoopMargins {
            controller: kind,
            speed_m_s: 2.0,
            gain_margin: margins.gain,
            phase_margin_rad: margins.phase_rad,
            modulus_margin: margins.modulus,
            critical_speed_m_s: None,
        };
        (control::answer(setup, Some(kind), 2.0), margins)
    }

    /// Px of the tick with that text.
    fn tick(svg: &str, text: &str) -> f64 {
        let before = svg.split(&format!(">{text}</text>")).next().unwrap();
        let y = before.rsplit(" y=\"").next().unwrap();
        y.split('"').next().unwrap().parse().unwrap()
    }

    /// Lengths of the upright bars in the order of drawing: gain, phase.
    fn bars_px(svg: &str) -> Vec<f64> {
        svg.split("<path class=\"touched\" d=\"M")
            .skip(1)
            .map(|rest| {
                let ends = rest.split('"').next().unwrap().split_once('L').unwrap();
                let y = |place: &str| place.split_once(' ').unwrap().1.parse::<f64>().unwrap();
                (y(ends.0) - y(ends.1)).abs()
            })
            .collect()
    }

    /// Ends and ticks are kept to a tenth of a px, each off by 0.05 px at most: 0.1 px for the bar and for the ticks. A straight line
    /// between two points of the curve misses it by less than 0.02 of gain or phase, as the answer's own tests show.
    #[test]
    fn prop_the_bars_are_as_long_as_the_margins() {
        let mut cold = Setup::plausible();
        cold.hydraulics.cold_dead_time_factor = 2.0;
        cold.hydraulics.cold_lag_factor = 2.0;
        let mut wild = Setup::plausible();
        wild.controllers.pid.as_mut().unwrap().gain_1_s *= 3.0;
        for (setup, kind) in [
            (Setup::plausible(), Kind::Pid),
            (Setup::plausible(), Kind::LagCompensated),
            (cold, Kind::LagCompensatedYaw),
            (wild, Kind::Pid),
        ] {
            let (control, margins) = loop_of(&setup, kind);
            let svg = picture(&control, &margins, Units::Metric)
                .unwrap()
                .standalone();
            let bars = bars_px(&svg);
            assert_eq!(bars.len(), 2);
            let per_db = (tick(&svg, "20") - tick(&svg, "40")) / 20.0;
            let per_degree = (tick(&svg, "-270") - tick(&svg, "-180")) / 90.0;
            let (gain_db, degrees) = (bars[0] / per_db, bars[1] / per_degree);
            let wanted_db = decibels(margins.gain_margin.unwrap()).abs();
            let wanted_degrees = margins.phase_margin_rad.unwrap().to_degrees().abs();
            let slack = |per: f64, wanted: f64, span: f64| 0.1 / per + 0.1 * wanted / (per * span);
            let db = slack(per_db, wanted_db, 20.0) + decibels(1.02);
            let degree = slack(per_degree, wanted_degrees, 90.0) + 0.02f64.to_degrees();
            assert!((gain_db - wanted_db).abs() < db, "{gain_db} {wanted_db}");
            assert!(
                (degrees - wanted_degrees).abs() < degree,
                "{degrees} {wanted_degrees}"
            );
        }
    }

    #[test]
    fn regress_no_loop_no_picture_and_no_margin_no_bar() {
        let (mut control, mut margins) = loop_of(&Setup::plausible(), Kind::Pid);
        margins.gain_margin = None;
        margins.phase_margin_rad = None;
        let bare = picture(&control, &margins, Units::Us).unwrap();
        assert!(bars_px(&bare.standalone()).is_empty());
        assert_eq!(bare.note, "No gain makes it run away.");
        control.bode.clear();
        assert!(picture(&control, &margins, Units::Us).is_none());
    }

    #[test]
    fn analytic_lines_are_cut_at_the_border() {
        let places = [(1.0, 0.5), (2.0, 1.5), (4.0, 3.5), (8.0, 1.5)];
        let found = within(&places, (1.0, 2.5));
        // Halfway in the logarithm.
        let middle = |a: f64, b: f64| (a * b).sqrt();
        let wanted = [
            vec![(middle(1.0, 2.0), 1.0), (2.0, 1.5), (middle(2.0, 4.0), 2.5)],
            vec![(middle(4.0, 8.0), 2.5), (8.0, 1.5)],
        ];
        assert_eq!(found.len(), wanted.len());
        for (a, b) in found.iter().flatten().zip(wanted.iter().flatten()) {
            assert!((a.0 - b.0).abs() < 1e-12 && (a.1 - b.1).abs() < 1e-12);
        }
        assert!(within(&places, (4.0, 5.0)).is_empty());
    }
}
