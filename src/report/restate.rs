//! Quantities in sentences that were written in the scenario's units, said in the other ones.

use super::display::{Units, trimmed};

/// Units of one system, those of the other one that take their place, the factor between them, and decimals of the new number.
const UNITS: [(&str, &str, f64, usize); 7] = [
    ("mm", "in", 1.0 / 25.4, 2),
    ("km/h", "mph", 1000.0 / 1609.344, 2),
    ("m", "ft", 1.0 / 0.3048, 1),
    ("mm/s", "in/s", 1.0 / 25.4, 1),
    ("L/min", "gal/min", 1.0 / 3.785411784, 1),
    ("bar", "psi", 1e5 / 6894.757293168361, 0),
    ("kN", "lbf", 1000.0 / 4.4482216152605, 0),
];

/// Decimals of the numbers that take the place of American ones.
const METRIC_DECIMALS: [usize; 7] = [1, 2, 1, 0, 1, 0, 1];

/// Words after "in" that show that it is no inch: "1 in 240", "2 in all".
const NO_INCH: [&str; 5] = ["all", "the", "every", "each", "over"];

/// The text with every "80 mm", "8 km/h" or "10 to 20 m" in the units asked for.
///
/// `None` where there is nothing to restate.
pub fn restated(text: &str, to: Units) -> Option<String> {
    let words: Vec<&str> = text.split(' ').collect();
    let mut out: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
    let mut any = false;
    for i in 1..words.len() {
        if number(words[i - 1]).is_none() {
            continue;
        }
        let (unit, tail) = bare(words[i]);
        if tail.is_empty()
            && words
                .get(i + 1)
                .is_some_and(|next| unit == "in" && no_inch(next))
        {
            continue;
        }
        let Some((new, factor, decimals)) = find(unit, other(to)) else {
            continue;
        };
        let mut restate = |at: usize| {
            if let Some((head, value)) = number(words[at]) {
                out[at] = format!("{head}{}", trimmed(value * factor, decimals));
            }
        };
        restate(i - 1);
        if i >= 3 && words[i - 2] == "to" {
            restate(i - 3);
        }
        out[i] = format!("{new}{tail}");
        any = true;
    }
    any.then(|| out.join(" "))
}

fn other(units: Units) -> Units {
    match units {
        Units::Metric => Units::Us,
        Units::Us => Units::Metric,
    }
}

/// What takes the place of a unit of that system.
fn find(unit: &str, from: Units) -> Option<(&'static str, f64, usize)> {
    let mut units = UNITS.iter().zip(METRIC_DECIMALS);
    match from {
        Units::Metric => units
            .find(|((metric, ..), _)| *metric == unit)
            .map(|((_, us, factor, decimals), _)| (*us, *factor, *decimals)),
        Units::Us => units
            .find(|((_, us, ..), _)| *us == unit)
            .map(|((metric, _, factor, _), decimals)| (*metric, 1.0 / factor, decimals)),
    }
}

/// A word without the punctuation behind it.
fn bare(word: &str) -> (&str, &str) {
    word.split_at(word.trim_end_matches(['.', ',', ';', ':', ')']).len())
}

/// What stands before a number, and the number.
fn number(word: &str) -> Option<(&str, f64)> {
    let digits = word.trim_start_matches(['(', '+']);
    let starts = digits.starts_with(|c: char| c.is_ascii_digit() || c == '-');
    let value = digits
        .parse()
        .ok()
        .or_else(|| on_the_tape(digits))
        .filter(|_| starts)?;
    Some((&word[..word.len() - digits.len()], value))
}

/// "5/8", "1-1/8": inches as on a tape.
fn on_the_tape(text: &str) -> Option<f64> {
    let (whole, part) = text.split_once('-').unwrap_or(("0", text));
    let (of, parts) = part.split_once('/')?;
    let count = |digits: &str| digits.parse::<u16>().ok().map(f64::from);
    Some(count(whole)? + count(of)? / count(parts).filter(|parts| *parts > 0.0)?)
}

fn no_inch(next: &str) -> bool {
    next.starts_with(|c: char| c.is_ascii_digit()) || NO_INCH.contains(&bare(next).0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_quantities_change_and_the_rest_stays() {
        let us = |text| restated(text, Units::Us);
        assert_eq!(
            us("with the tools 80 mm from the row.").unwrap(),
            "with the tools 3.15 in from the row."
        );
        assert_eq!(us("100 mm more stroke").unwrap(), "3.94 in more stroke");
        assert_eq!(
            us("from 10 to 20 mm, or 8 km/h.").unwrap(),
            "from 0.39 to 0.79 in, or 4.97 mph."
        );
        assert_eq!(
            us("a ditch (+200 m) off").unwrap(),
            "a ditch (+656.2 ft) off"
        );
        assert_eq!(us("1 in 240 at 50 %"), None);
        assert_eq!(
            us("23.6 L/min at 180 bar, 53 mm/s against 5.7 kN").unwrap(),
            "6.2 gal/min at 2611 psi, 2.1 in/s against 1281 lbf"
        );
        let metric = |text| restated(text, Units::Metric);
        assert_eq!(
            metric("3 in more stroke, 1 in 240 struck").unwrap(),
            "76.2 mm more stroke, 1 in 240 struck"
        );
        assert_eq!(metric("5 mph").unwrap(), "8.05 km/h");
        assert_eq!(
            metric("bore 1-1/8 in with rod 5/8 in; 3/0 in, 1/2 off").unwrap(),
            "bore 28.6 mm with rod 15.9 mm; 3/0 in, 1/2 off"
        );
        assert_eq!(metric("2 in all"), None);
    }

    #[test]
    fn prop_what_is_restated_is_left_alone_after_that() {
        let text = "10 to 20 mm (0.4 to 0.8 in) of soil at 8 km/h";
        let us = restated(text, Units::Us).unwrap();
        assert_eq!(us, "0.39 to 0.79 in (0.4 to 0.8 in) of soil at 4.97 mph");
        assert_eq!(restated(&us, Units::Us), None);
    }
}
