//! A page in both systems of units at once: what differs stands side by side, and the page's style shows one of the two.
//!
//! The page is written once for each system. Both have the same elements; where their texts differ, each text gets an element of its
//! own. A sentence that a study stored in other units is restated in each. In drawings the elements themselves may differ, and runs of
//! them are put side by side.

use super::display::Units;
use super::restate::restated;
use maud::{Markup, PreEscaped, html};
use similar::{Algorithm, DiffOp, capture_diff_slices};

/// Elements whose text cannot hold others: they keep the scenario's own units.
const PLAIN: [&str; 4] = ["<title", "<desc", "<option", "<textarea"];

/// What `body` writes for both systems; the scenario's own comes first.
///
/// # Panics
///
/// In tests and debug builds if the two have different elements. Otherwise the own system alone is shown then.
pub fn both(own: Units, body: impl Fn(Units) -> Markup) -> Markup {
    let other = match own {
        Units::Metric => Units::Us,
        Units::Us => Units::Metric,
    };
    let (ours, theirs) = (body(own).into_string(), body(other).into_string());
    let woven = Weaver { own, other }.html(&tokens(&ours), &tokens(&theirs));
    debug_assert!(woven.is_some(), "the two systems have different elements");
    PreEscaped(woven.unwrap_or(ours))
}

/// Tags and texts in turn.
fn tokens(text: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let end = if rest.starts_with('<') {
            rest.find('>').map_or(rest.len(), |end| end + 1)
        } else {
            rest.find('<').unwrap_or(rest.len())
        };
        let (token, after) = rest.split_at(end);
        tokens.push(token);
        rest = after;
    }
    tokens
}

/// "<td" of `<td class="rate">`.
fn name(tag: &str) -> &str {
    tag.split([' ', '>']).next().unwrap_or(tag)
}

/// Whether the page stands inside an element whose texts keep the scenario's own units, as they are quoted from it.
#[derive(Default)]
struct Kept<'a> {
    element: &'a str,
    open: usize,
}

impl<'a> Kept<'a> {
    fn pass(&mut self, token: &'a str) {
        if self.open == 0 {
            if token.starts_with('<') && token.contains("own-units") {
                *self = Kept {
                    element: name(token),
                    open: 1,
                };
            }
        } else if token
            .strip_prefix("</")
            .is_some_and(|rest| rest.trim_end_matches('>') == &self.element[1..])
        {
            self.open -= 1;
        } else if name(token) == self.element {
            self.open += 1;
        }
    }

    fn inside(&self) -> bool {
        self.open > 0
    }
}

struct Weaver {
    own: Units,
    other: Units,
}

impl Weaver {
    /// `None` if the elements differ.
    fn html(&self, ours: &[&str], theirs: &[&str]) -> Option<String> {
        let mut out = String::new();
        let (mut i, mut j) = (0, 0);
        let mut plain = false;
        let mut kept = Kept::default();
        while i < ours.len() && j < theirs.len() {
            let (mine, other) = (ours[i], theirs[j]);
            if name(mine) == "<svg" && name(other) == "<svg" {
                let (end_i, end_j) = (end_of_drawing(ours, i)?, end_of_drawing(theirs, j)?);
                out.push_str(mine);
                self.drawing(&ours[i + 1..end_i], &theirs[j + 1..end_j], &mut out);
                out.push_str("</svg>");
                (i, j) = (end_i + 1, end_j + 1);
                continue;
            }
            kept.pass(mine);
            if mine.starts_with('<') || other.starts_with('<') {
                if name(mine) != name(other) {
                    return None;
                }
                plain = PLAIN.contains(&name(mine));
                out.push_str(mine);
            } else {
                let quoted = plain || kept.inside();
                let said = |text: &str, units: Units| {
                    let other_words = restated(text, units).filter(|_| !quoted);
                    other_words.unwrap_or_else(|| text.to_owned())
                };
                let (mine, theirs) = (said(mine, self.own), said(other, self.other));
                if mine == theirs || plain {
                    out.push_str(&mine);
                } else {
                    out.push_str(&self.side_by_side(&mine, &theirs));
                }
            }
            (i, j) = (i + 1, j + 1);
        }
        (i == ours.len() && j == theirs.len()).then_some(out)
    }

    fn side_by_side(&self, mine: &str, other: &str) -> String {
        html! {
            span class=(self.own.name()) { (PreEscaped(mine)) }
            span class=(self.other.name()) { (PreEscaped(other)) }
        }
        .into_string()
    }

    /// The elements of a drawing: the same ones once, runs of different ones side by side.
    fn drawing(&self, ours: &[&str], theirs: &[&str], out: &mut String) {
        let (mine, other) = (elements(ours), elements(theirs));
        for op in capture_diff_slices(Algorithm::Myers, &mine, &other) {
            let (old, new) = (&mine[op.old_range()], &other[op.new_range()]);
            if let DiffOp::Equal { .. } = op {
                old.iter().for_each(|element| out.push_str(element));
                continue;
            }
            for (units, run) in [(self.own, old), (self.other, new)] {
                // Its name and description stay in the own units.
                let (told, drawn): (Vec<&String>, Vec<&String>) = run
                    .iter()
                    .partition(|element| PLAIN.iter().any(|plain| element.starts_with(plain)));
                if units == self.own {
                    told.iter().for_each(|element| out.push_str(element));
                }
                if !drawn.is_empty() {
                    out.push_str(&format!("<g class=\"{}\">", units.name()));
                    drawn.iter().for_each(|element| out.push_str(element));
                    out.push_str("</g>");
                }
            }
        }
    }
}

/// Index of the tag that ends the drawing which begins at `start`.
fn end_of_drawing(tokens: &[&str], start: usize) -> Option<usize> {
    (start..tokens.len()).find(|&i| tokens[i] == "</svg>")
}

/// Whole elements, with what is in them.
fn elements(tokens: &[&str]) -> Vec<String> {
    let mut elements = Vec::new();
    let mut open = 0;
    let mut element = String::new();
    for token in tokens {
        element.push_str(token);
        if token.starts_with("</") {
            open -= 1;
        } else if token.starts_with('<') && !token.ends_with("/>") {
            open += 1;
        }
        if open == 0 {
            elements.push(std::mem::take(&mut element));
        }
    }
    elements
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a reader of one system sees: elements of the other one taken out, wrappers taken off.
    fn seen(page: &str, units: Units) -> String {
        let hidden = match units {
            Units::Metric => "us",
            Units::Us => "metric",
        };
        let mut text = page.to_owned();
        for tag in ["span", "g"] {
            let start = format!("<{tag} class=\"{hidden}\">");
            let end = format!("</{tag}>");
            while let Some(from) = text.find(&start) {
                let to = from + text[from..].find(&end).unwrap() + end.len();
                text.replace_range(from..to, "");
            }
            let start = format!("<{tag} class=\"{}\">", units.name());
            while let Some(from) = text.find(&start) {
                let to = from + text[from..].find(&end).unwrap();
                text.replace_range(to..to + end.len(), "");
                text.replace_range(from..from + start.len(), "");
            }
        }
        text
    }

    fn written(units: Units) -> Markup {
        let (speed, x) = match units {
            Units::Metric => ("8 km/h", "12.5"),
            Units::Us => ("5 mph", "13"),
        };
        html! {
            p { (speed) " is the speed" }
            p { "the same" }
            p.own-units { "quoted: 8 mm" span { "and 9 mm" } }
            select { option { (speed) } }
            svg { title { (speed) } rect x="1" width="2" {} path d=(x) {} text x=(x) { (speed) } }
        }
    }

    #[test]
    fn prop_each_system_reads_as_if_it_were_alone() {
        for own in [Units::Metric, Units::Us] {
            let page = both(own, written).into_string();
            for units in [Units::Metric, Units::Us] {
                let alone = written(units).into_string();
                let own_text = written(own).into_string();
                // Names of options and drawings stay in the own system.
                let title = |text: &str| {
                    let from = text.find("<select>").unwrap();
                    let to = text.find("</title>").unwrap();
                    (from, to)
                };
                let (from, to) = title(&own_text);
                let kept = &own_text[from..to];
                let (from, to) = title(&alone);
                let expected = alone.replace(&alone[from..to], kept);
                assert_eq!(seen(&page, units), expected);
            }
            assert_eq!(page.matches("the same").count(), 1);
            assert_eq!(page.matches("<rect").count(), 1);
        }
    }

    #[test]
    #[should_panic(expected = "different elements")]
    fn prop_different_elements_are_refused() {
        both(Units::Metric, |units| {
            html! { p { "a" } @if units == Units::Us { p { "b" } } }
        });
    }
}
