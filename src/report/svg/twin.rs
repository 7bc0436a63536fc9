//! One picture in both systems of units: what both drawings share is there once, the rest side by side.

use super::{Picture, Pictures, study_pictures};
use crate::report::both::Both;
use crate::results::Results;
use crate::sim::trace::Trace;
use maud::{Markup, PreEscaped};
use similar::{Algorithm, DiffOp, capture_diff_slices};

/// Elements that name and describe a drawing; they cannot hold others and keep the scenario's own units.
const TOLD: [&str; 2] = ["<title", "<desc"];

/// The drawings of one picture.
#[derive(Clone, Debug)]
pub struct Twin {
    both: Both,
    /// The drawing in the scenario's own units, then in the other ones.
    drawn: [Picture; 2],
}

/// Draws a study in both systems.
pub fn study_twins(results: &Results, traces: &[Trace], both: Both) -> Pictures<Twin> {
    let [own, other] = both
        .each()
        .map(|units| study_pictures(results, traces, units));
    own.zip(other, |own, other| Twin::new(both, [own, other]))
}

impl Twin {
    /// A picture drawn in each of the two systems in their order.
    pub fn new(both: Both, drawn: [Picture; 2]) -> Twin {
        Twin { both, drawn }
    }

    /// Title in the scenario's own units.
    pub fn title(&self) -> &str {
        &self.drawn[0].title
    }

    /// True if there is something to see in this one of its kind.
    pub fn has_note(&self) -> bool {
        !self.drawn[0].note.is_empty()
    }

    /// What there is to see in this one.
    pub fn note(&self) -> Markup {
        self.say(|picture| picture.note.clone())
    }

    /// How to read it.
    pub fn reading(&self) -> Markup {
        self.say(|picture| picture.reading.clone())
    }

    /// A text of each drawing.
    pub fn say(&self, text: impl Fn(&Picture) -> String) -> Markup {
        let [own, other] = &self.drawn;
        self.both
            .say(|units| text(if units == self.both.own() { own } else { other }))
    }

    /// The element for the page.
    pub fn inline(&self) -> Markup {
        let [own, other] = self
            .drawn
            .each_ref()
            .map(|picture| picture.inline().into_string());
        PreEscaped(joined(self.both, &own, &other))
    }
}

/// Two drawings as one: the same elements once, runs of different ones side by side.
fn joined(both: Both, own: &str, other: &str) -> String {
    let (head, mine) = content(own);
    let (_, other) = content(other);
    let (mine, other) = (elements(mine), elements(other));
    let mut out = head.to_owned();
    for op in capture_diff_slices(Algorithm::Myers, &mine, &other) {
        let (old, new) = (&mine[op.old_range()], &other[op.new_range()]);
        if let DiffOp::Equal { .. } = op {
            out.extend(old.iter().copied());
            continue;
        }
        for (units, run) in both.each().into_iter().zip([old, new]) {
            let (told, drawn): (Vec<&str>, Vec<&str>) = run
                .iter()
                .partition(|element| TOLD.iter().any(|told| element.starts_with(told)));
            if units == both.own() {
                out.extend(told);
            }
            if !drawn.is_empty() {
                out.push_str(&format!("<g class=\"{}\">", units.name()));
                out.extend(drawn);
                out.push_str("</g>");
            }
        }
    }
    out + "</svg>"
}

/// The tag that opens a drawing, and what stands in it.
fn content(svg: &str) -> (&str, &str) {
    let inside = svg.find('>').map_or(svg.len(), |end| end + 1);
    let (head, rest) = svg.split_at(inside);
    (head, rest.strip_suffix("</svg>").unwrap_or(rest))
}

/// Whole elements, with what is in them.
fn elements(drawing: &str) -> Vec<&str> {
    let mut elements = Vec::new();
    let (mut open, mut start, mut at) = (0, 0, 0);
    while at < drawing.len() {
        let rest = &drawing[at..];
        let end = if rest.starts_with('<') {
            let end = rest.find('>').map_or(rest.len(), |end| end + 1);
            let tag = &rest[..end];
            if tag.starts_with("</") {
                open -= 1;
            } else if !tag.ends_with("/>") {
                open += 1;
            }
            end
        } else {
            rest.find('<').unwrap_or(rest.len())
        };
        at += end;
        // Whole elements only: a group put around half of one would close inside it.
        if open == 0 {
            elements.push(&drawing[start..at]);
            start = at;
        }
    }
    elements
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::both::seen;
    use crate::report::display::Units;
    use maud::html;

    fn drawn(units: Units) -> Picture {
        let (speed, x) = match units {
            Units::Metric => ("8 km/h", "12.5"),
            Units::Us => ("5 mph", "13"),
        };
        Picture {
            name: "speed".into(),
            title: speed.into(),
            note: String::new(),
            reading: "How to read it.".into(),
            width: 10.0,
            height: 10.0,
            body: html! { rect x="1" width="2" {} path d=(x) {} text x=(x) { (speed) } text { "same" } },
        }
    }

    #[test]
    fn prop_each_system_is_drawn_as_if_it_were_alone() {
        for own in [Units::Metric, Units::Us] {
            let both = Both::new(own);
            let page = Twin::new(both, both.each().map(drawn)).inline();
            let page = page.into_string();
            for units in [Units::Metric, Units::Us] {
                // Its name stays in the own units.
                let title = |units| format!("{}</title>", drawn(units).title);
                let alone = drawn(units).inline().into_string();
                let expected = alone.replace(&title(units), &title(own));
                assert_eq!(seen(&page, units), expected);
            }
            for once in ["<rect", ">same<", "How to read it."] {
                assert_eq!(page.matches(once).count(), 1, "{once}");
            }
        }
    }
}
