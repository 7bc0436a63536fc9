//! Texts of a page in both systems of units: what differs stands side by side, and the page's style shows one of the two.

use super::display::Units;
use crate::results::Results;
use maud::{Markup, html};

/// Both systems of units, the scenario's own first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Both {
    own: Units,
}

impl Both {
    /// Both, beginning with these.
    pub fn new(own: Units) -> Both {
        Both { own }
    }

    /// Both, beginning with those of a study's scenario.
    pub fn of(results: &Results) -> Both {
        Both::new(results.scenario.units)
    }

    /// The scenario's own.
    pub fn own(self) -> Units {
        self.own
    }

    /// The scenario's own, then the other ones.
    pub fn each(self) -> [Units; 2] {
        match self.own {
            Units::Metric => [Units::Metric, Units::Us],
            Units::Us => [Units::Us, Units::Metric],
        }
    }

    /// A text that holds quantities: once where it is the same in both systems, else once in each.
    pub fn say<T: Into<String>>(self, write: impl Fn(Units) -> T) -> Markup {
        // Written twice and compared: whether a text holds a quantity is seen in it, nobody has to say so.
        let [mine, other] = self.each().map(|units| write(units).into());
        html! {
            @if mine == other {
                (mine)
            } @else {
                @for (units, text) in self.each().iter().zip([mine, other]) {
                    span class=(units.name()) { (text) }
                }
            }
        }
    }
}

/// What a reader of one system sees of a page: elements of the other one taken out, wrappers taken off.
#[cfg(test)]
pub fn seen(page: &str, units: Units) -> String {
    let [_, hidden] = Both::new(units).each();
    let mut text = page.to_owned();
    for tag in ["span", "g"] {
        let end = format!("</{tag}>");
        let start = format!("<{tag} class=\"{}\">", hidden.name());
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

#[cfg(test)]
mod tests {
    use super::*;

    fn written(both: Both) -> Markup {
        html! { p { (both.say(|units| units.speed_text(2.0))) " and " (both.say(|_| "1 < 2")) } }
    }

    /// 2 m/s are 7.2 km/h and, by the mile of 1609.344 m, 4.47 mph.
    #[test]
    fn analytic_each_system_reads_as_if_it_were_alone() {
        for own in [Units::Metric, Units::Us] {
            let page = written(Both::new(own)).into_string();
            for (units, speed) in [(Units::Metric, "7.2 km/h"), (Units::Us, "4.47 mph")] {
                assert_eq!(
                    seen(&page, units),
                    format!("<p>{speed} and 1 &lt; 2</p>"),
                    "{own:?}"
                );
            }
            assert_eq!(page.matches("1 &lt; 2").count(), 1);
            let first = format!("<p><span class=\"{}\">", own.name());
            assert!(page.starts_with(&first), "the own units come first: {page}");
        }
    }
}
