//! Pictures: each one a fixed drawing that stands alone as a file and sits in the page.
//!
//! Charts are built with the library `plotters`; [`sheet`] holds what every picture needs from it. Text and lines take the
//! reader's ink colour, so dark mode needs nothing; fonts are generic. Coordinates are px of the viewBox, y down.

pub mod above;
pub mod bode;
pub mod budget;
pub mod farms;
pub mod front;
pub mod lines;
pub mod lookahead;
pub mod map;
pub mod plain;
pub mod predicted;
pub mod rates;
pub mod sheet;
pub mod shift;
pub mod tools;
pub mod twin;
pub mod wander;

use super::display::{Units, controller_title};
use crate::model::controller::Kind;
use crate::results::{LoopMargins, Results};
use crate::sim::trace::Trace;
use maud::{Markup, PreEscaped, html};

/// Style of every drawing; the page includes it once.
pub const CHART_CSS: &str = include_str!("chart.css");

/// What the plotting library may fail with.
pub type Trouble = plotters::drawing::DrawingAreaErrorKind<std::io::Error>;

/// One picture.
#[derive(Clone, Debug)]
pub struct Picture {
    /// File name without its ending.
    pub name: String,
    /// Title.
    pub title: String,
    /// What there is to see in this one; may be empty.
    pub note: String,
    /// How to read it; the same for every picture of its kind.
    pub reading: String,
    /// Width of the viewBox, px.
    pub width: f64,
    /// Height of the viewBox, px.
    pub height: f64,
    /// The drawing.
    pub body: Markup,
}

impl Picture {
    /// An SVG file of its own, with a background, so that it can be read wherever it is put.
    pub fn standalone(&self) -> String {
        let style = format!(
            ":root{{color-scheme:light dark}}.chart{{color:#1d2327}}.paper{{fill:#fff}}@media \
             (prefers-color-scheme:dark){{.chart{{color:#e6e9eb}}.paper{{fill:#17161b}}}}\n{CHART_CSS}"
        );
        let body = html! {
            style { (PreEscaped(style)) }
            rect class="paper" width="100%" height="100%" {}
            (self.body)
        };
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n",
            self.element(body).into_string()
        )
    }

    /// The element for the page.
    pub fn inline(&self) -> Markup {
        self.element(self.body.clone())
    }

    fn element(&self, body: Markup) -> Markup {
        let view = format!("0 0 {} {}", self.width, self.height);
        let (title, desc) = (
            format!("{}-title", self.name),
            format!("{}-desc", self.name),
        );
        html! {
            svg class="chart" xmlns="http://www.w3.org/2000/svg" viewBox=(view) width=(self.width) height=(self.height)
                role="img" aria-labelledby={ (title) " " (desc) } {
                title id=(title) { (printable(&self.title)) }
                desc id=(desc) { (printable(format!("{} {}", self.note, self.reading).trim())) }
                (body)
            }
        }
    }
}

/// Pictures of a study, in one system of units or in both.
pub struct Pictures<P = Picture> {
    /// Share of plants cut over speed and clearance, one per controller.
    pub maps: Vec<P>,
    /// Share of plants cut against clearance, one per speed.
    pub rates: Vec<P>,
    /// Error budget at the working speed.
    pub budget: Option<P>,
    /// Passes from above.
    pub above: Vec<P>,
    /// Shift and demand over distance.
    pub shift: Vec<P>,
    /// Plants cut at each speed, for everybody.
    pub plain: Option<P>,
    /// Farms that keep the allowed share of plants cut, over speed.
    pub farms: Option<P>,
    /// What carries the doubt.
    pub doubt: Option<P>,
    /// Tool error over the lookahead.
    pub lookahead: Option<P>,
    /// Gain and phase of the loop.
    pub bode: Option<P>,
    /// Rows, tools and tyres to scale.
    pub tools: Option<P>,
}

impl<P> Pictures<P> {
    /// All of them in reading order.
    pub fn all(&self) -> impl Iterator<Item = &P> {
        self.maps
            .iter()
            .chain(&self.rates)
            .chain(&self.budget)
            .chain(&self.above)
            .chain(&self.shift)
            .chain(&self.plain)
            .chain(&self.farms)
            .chain(&self.doubt)
            .chain(&self.lookahead)
            .chain(&self.bode)
            .chain(&self.tools)
    }

    /// Every picture with the same one of another drawing of the study.
    fn zip<Q>(self, other: Pictures<P>, join: impl Fn(P, P) -> Q) -> Pictures<Q> {
        let list = |own: Vec<P>, other: Vec<P>| -> Vec<Q> {
            own.into_iter()
                .zip(other)
                .map(|(own, other)| join(own, other))
                .collect()
        };
        let one = |own: Option<P>, other: Option<P>| Some(join(own?, other?));
        Pictures {
            maps: list(self.maps, other.maps),
            rates: list(self.rates, other.rates),
            budget: one(self.budget, other.budget),
            above: list(self.above, other.above),
            shift: list(self.shift, other.shift),
            plain: one(self.plain, other.plain),
            farms: one(self.farms, other.farms),
            doubt: one(self.doubt, other.doubt),
            lookahead: one(self.lookahead, other.lookahead),
            bode: one(self.bode, other.bode),
            tools: one(self.tools, other.tools),
        }
    }
}

/// Draws a study.
pub fn study_pictures(results: &Results, traces: &[Trace], units: Units) -> Pictures {
    let all: Vec<&Trace> = traces.iter().collect();
    let window = above::window(&all);
    Pictures {
        maps: map::pictures(results, units),
        rates: rates::pictures(results, units),
        budget: budget::picture(results, units),
        above: traces
            .iter()
            .map(|trace| {
                let name = format!("pass_{}", trace.kind.name());
                above::picture(&name, units, trace, window)
            })
            .collect(),
        shift: traces
            .iter()
            .map(|trace| {
                let name = format!("shift_{}", trace.kind.name());
                shift::picture(&name, units, trace)
            })
            .collect(),
        plain: plain::picture(results, units),
        farms: farms::keeping(results, units),
        doubt: farms::doubt(results),
        lookahead: lookahead::picture(&results.answers.control, units),
        bode: control_loop(results)
            .and_then(|margins| bode::picture(&results.answers.control, margins, units)),
        tools: tools::picture(&results.answers.sheet, units),
    }
}

/// The loop of the controller and speed that the answer on control speaks of.
pub fn control_loop(results: &Results) -> Option<&LoopMargins> {
    let control = &results.answers.control;
    results.loops.iter().find(|one| {
        Some(one.controller) == control.controller && one.speed_m_s == control.speed_m_s
    })
}

/// A text without the control characters that XML forbids.
fn printable(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() && c != '\n' { ' ' } else { c })
        .collect()
}

/// Class of a controller's marks in `chart.css`, by its place among the kinds: "k2".
pub(super) fn controller_class(kind: Kind) -> &'static str {
    const CLASSES: [&str; 8] = ["k0", "k1", "k2", "k3", "k4", "k5", "k6", "k7"];
    CLASSES[kind as usize % CLASSES.len()]
}

/// "PID at 8 km/h".
fn trace_title(units: Units, trace: &Trace) -> String {
    format!(
        "{} at {}",
        controller_title(trace.kind),
        units.speed_text(trace.speed_m_s)
    )
}
