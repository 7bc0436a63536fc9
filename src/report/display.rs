//! Numbers as people read them: the scenario's units, and no more digits than a number deserves.

use crate::model::controller::Kind;
use crate::report::words::controllers::spoken;
use crate::results::Share;

pub use crate::scenario::Units;

const INCH_M: f64 = 0.0254;
const FOOT_M: f64 = 0.3048;
const MILE_M: f64 = 1609.344;
const HOUR_S: f64 = 3600.0;
const MINUTE_S: f64 = 60.0;
const LITRE_M3: f64 = 1e-3;
const GALLON_L: f64 = 3.785411784;
const ACRE_HA: f64 = 0.40468564224;
const POUND_FORCE_N: f64 = 4.4482216152605;
const HORSEPOWER_W: f64 = 745.6998715822702;

impl Units {
    /// Unit of small lateral lengths.
    pub fn small_unit(self) -> &'static str {
        match self {
            Units::Metric => "mm",
            Units::Us => "in",
        }
    }

    /// A small length in [`Units::small_unit`].
    pub fn small(self, length_m: f64) -> f64 {
        match self {
            Units::Metric => length_m * 1000.0,
            Units::Us => length_m / INCH_M,
        }
    }

    /// The number of a small length that was chosen, at most two decimals.
    pub fn small_chosen(self, length_m: f64) -> String {
        trimmed(self.small(length_m), 2)
    }

    /// A length that was chosen: "38 mm", "1.5 in".
    pub fn clearance(self, length_m: f64) -> String {
        format!("{} {}", self.small_chosen(length_m), self.small_unit())
    }

    /// A bore or rod as it is bought: "28 mm", "1-1/8 in"; what is no sixteenth of an inch is told as any other length.
    pub fn size(self, length_m: f64) -> String {
        let parts = 16.0 * length_m / INCH_M;
        match self {
            Units::Us if (parts - parts.round()).abs() < 1e-6 => {
                format!("{} in", Tape::Sixteenths.length(length_m).replace(' ', "-"))
            }
            Units::Us => self.clearance(length_m),
            Units::Metric => format!("{} mm", trimmed(self.small(length_m), 1)),
        }
    }

    /// A small length gained or lost, with its sign, to 0.1 mm or 0.01 in.
    pub fn small_gain(self, length_m: f64) -> String {
        let decimals = match self {
            Units::Metric => 1,
            Units::Us => 2,
        };
        signed(self.small(length_m), decimals)
    }

    /// The number of a small length that was computed, to 0.1 mm or 0.01 in.
    pub fn small_number(self, length_m: f64) -> String {
        let decimals = match self {
            Units::Metric => 1,
            Units::Us => 2,
        };
        fixed(self.small(length_m), decimals)
    }

    /// A small length and what it is uncertain by, both to the first digit of that, never coarser than [`Units::small_number`].
    pub fn small_uncertain(self, length_m: f64, by_m: f64) -> String {
        let least = match self {
            Units::Metric => 1,
            Units::Us => 2,
        };
        let by = self.small(by_m);
        let first = if by > 0.0 { -power_of_ten(by) } else { 0 };
        let decimals = first.clamp(least, 4) as usize;
        format!(
            "{} \u{b1} {}",
            fixed(self.small(length_m), decimals),
            fixed(by, decimals)
        )
    }

    /// The same with its unit.
    pub fn small_text(self, length_m: f64) -> String {
        format!("{} {}", self.small_number(length_m), self.small_unit())
    }

    /// Unit of speeds.
    pub fn speed_unit(self) -> &'static str {
        match self {
            Units::Metric => "km/h",
            Units::Us => "mph",
        }
    }

    /// A speed in [`Units::speed_unit`].
    pub fn speed(self, speed_m_s: f64) -> f64 {
        match self {
            Units::Metric => speed_m_s * HOUR_S / 1000.0,
            Units::Us => speed_m_s * HOUR_S / MILE_M,
        }
    }

    /// The number of a speed, at most two decimals.
    pub fn speed_number(self, speed_m_s: f64) -> String {
        trimmed(self.speed(speed_m_s), 2)
    }

    /// A speed with its unit: "8 km/h".
    pub fn speed_text(self, speed_m_s: f64) -> String {
        format!("{} {}", self.speed_number(speed_m_s), self.speed_unit())
    }

    /// The number of a speed that must not be passed: to one decimal, downwards.
    pub fn speed_limit(self, speed_m_s: f64) -> String {
        // A speed of whole tenths stays what it is, whatever its last bits.
        fixed((10.0 * self.speed(speed_m_s) + 1e-6).floor() / 10.0, 1)
    }

    /// The number of a speed that is needed at least: to one decimal, upwards.
    pub fn speed_least(self, speed_m_s: f64) -> String {
        fixed((10.0 * self.speed(speed_m_s) - 1e-6).ceil() / 10.0, 1)
    }

    /// A gain or loss of speed to one decimal, with its sign.
    pub fn speed_gain(self, speed_m_s: f64) -> String {
        signed(self.speed(speed_m_s), 1)
    }

    /// Unit of the speeds of frame and cylinder.
    pub fn shift_speed_unit(self) -> &'static str {
        match self {
            Units::Metric => "mm/s",
            Units::Us => "in/s",
        }
    }

    /// Such a speed in [`Units::shift_speed_unit`], and the decimals that it deserves.
    pub fn shift_speed(self, speed_m_s: f64) -> (f64, usize) {
        match self {
            Units::Metric => (1000.0 * speed_m_s, 0),
            Units::Us => (speed_m_s / INCH_M, 1),
        }
    }

    /// The number of such a speed.
    pub fn shift_speed_number(self, speed_m_s: f64) -> String {
        let (speed, decimals) = self.shift_speed(speed_m_s);
        fixed(speed, decimals)
    }

    /// Unit of the speed of oil.
    pub fn oil_speed_unit(self) -> &'static str {
        match self {
            Units::Metric => "m/s",
            Units::Us => "ft/s",
        }
    }

    /// The number of that speed.
    pub fn oil_speed_number(self, speed_m_s: f64) -> String {
        fixed(self.distance(speed_m_s), 1)
    }

    /// Unit of flows of oil.
    pub fn flow_unit(self) -> &'static str {
        match self {
            Units::Metric => "L/min",
            Units::Us => "gal/min",
        }
    }

    /// A flow in [`Units::flow_unit`].
    pub fn flow(self, flow_m3_s: f64) -> f64 {
        self.volume(flow_m3_s / LITRE_M3 * MINUTE_S)
    }

    /// The number of a flow.
    pub fn flow_number(self, flow_m3_s: f64) -> String {
        fixed(self.flow(flow_m3_s), 1)
    }

    /// Unit of fuel used.
    pub fn fuel_unit(self) -> &'static str {
        match self {
            Units::Metric => "L/h",
            Units::Us => "gal/h",
        }
    }

    /// The number of fuel used.
    pub fn fuel_number(self, fuel_l_per_h: f64) -> String {
        fixed(self.volume(fuel_l_per_h), 1)
    }

    fn volume(self, litres: f64) -> f64 {
        match self {
            Units::Metric => litres,
            Units::Us => litres / GALLON_L,
        }
    }

    /// Unit of forces.
    pub fn force_unit(self) -> &'static str {
        match self {
            Units::Metric => "kN",
            Units::Us => "lbf",
        }
    }

    /// A force in [`Units::force_unit`].
    pub fn force(self, force_n: f64) -> f64 {
        match self {
            Units::Metric => force_n / 1000.0,
            Units::Us => force_n / POUND_FORCE_N,
        }
    }

    /// The number of a force.
    pub fn force_number(self, force_n: f64) -> String {
        let decimals = match self {
            Units::Metric => 1,
            Units::Us => 0,
        };
        fixed(self.force(force_n), decimals)
    }

    /// Unit of power.
    pub fn power_unit(self) -> &'static str {
        match self {
            Units::Metric => "kW",
            Units::Us => "hp",
        }
    }

    /// A power in [`Units::power_unit`].
    pub fn power(self, power_w: f64) -> f64 {
        match self {
            Units::Metric => power_w / 1000.0,
            Units::Us => power_w / HORSEPOWER_W,
        }
    }

    /// The number of a power.
    pub fn power_number(self, power_w: f64) -> String {
        fixed(self.power(power_w), 1)
    }

    /// Unit of land, in words.
    pub fn land_unit(self) -> &'static str {
        match self {
            Units::Metric => "hectare",
            Units::Us => "acre",
        }
    }

    /// Something per hectare as something per [`Units::land_unit`].
    pub fn per_land(self, per_ha: f64) -> f64 {
        match self {
            Units::Metric => per_ha,
            Units::Us => per_ha * ACRE_HA,
        }
    }

    /// Hectares as [`Units::land_unit`].
    pub fn land(self, area_ha: f64) -> f64 {
        match self {
            Units::Metric => area_ha,
            Units::Us => area_ha / ACRE_HA,
        }
    }

    /// Unit of distances along the row.
    pub fn distance_unit(self) -> &'static str {
        match self {
            Units::Metric => "m",
            Units::Us => "ft",
        }
    }

    /// A distance in [`Units::distance_unit`].
    pub fn distance(self, length_m: f64) -> f64 {
        match self {
            Units::Metric => length_m,
            Units::Us => length_m / FOOT_M,
        }
    }

    /// A distance along the row: "200 m".
    pub fn distance_text(self, length_m: f64) -> String {
        format!(
            "{} {}",
            trimmed(self.distance(length_m), 1),
            self.distance_unit()
        )
    }
}

/// A number with exactly `decimals` decimals and no minus before nothing.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // Asked of the text: what is not 0 may still be printed as -0.0.
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| c == '0' || c == '.') => digits.to_owned(),
        _ => text,
    }
}

/// A number with its sign, also where it gains; nothing has none.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let nothing = text.chars().all(|c| c == '0' || c == '.');
    if nothing || text.starts_with('-') {
        text
    } else {
        format!("+{text}")
    }
}

/// An amount of money without its currency: to whole ones from a hundred on.
pub fn money(amount: f64) -> String {
    // What would be printed as 100.0 already counts as a hundred.
    if amount.abs() < 99.95 {
        fixed(amount, 1)
    } else if amount < 0.0 {
        format!("-{}", grouped(amount.abs().round() as u64))
    } else {
        grouped(amount.round() as u64)
    }
}

/// How far below the middle between two marks a length still goes to the farther one, as a share of their distance: lengths that
/// differ by what adding in binary costs fall on the same mark, left and right alike (our choice, no source).
const TIE: f64 = 1e-4;

/// A measuring tape. A length is put to its nearest mark once; what is printed beside it is reckoned in marks, so that sums of what is
/// printed hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tape {
    /// Marks of whole millimetres.
    Millimetres,
    /// Marks of a tenth of a millimetre.
    Tenths,
    /// Marks of a sixteenth of an inch.
    Sixteenths,
}

impl Tape {
    /// A tape in mm for these lengths, m: with tenths only where one of them is no whole millimetre.
    pub fn metric(lengths_m: impl IntoIterator<Item = f64>) -> Tape {
        let whole = |length_m: f64| {
            let marks = length_m / Tape::Millimetres.mark_m();
            (marks - marks.round()).abs() < 1e-3
        };
        if lengths_m.into_iter().all(whole) {
            Tape::Millimetres
        } else {
            Tape::Tenths
        }
    }

    /// From mark to mark, m.
    fn mark_m(self) -> f64 {
        match self {
            Tape::Millimetres => 1e-3,
            Tape::Tenths => 1e-4,
            Tape::Sixteenths => INCH_M / 16.0,
        }
    }

    /// The nearest mark; a length halfway goes to the farther one, whatever its sign.
    pub fn marks(self, length_m: f64) -> i64 {
        // By the amount: rounded down with its sign, left and right would fall on different marks.
        let marks = (length_m.abs() / self.mark_m() + 0.5 + TIE).floor() as i64;
        if length_m < 0.0 { -marks } else { marks }
    }

    /// What stands at a mark, without the unit: "247.5", "8 7/16", "-3/16", "0".
    pub fn text(self, marks: i64) -> String {
        let sign = if marks < 0 { "-" } else { "" };
        let count = marks.unsigned_abs();
        match self {
            Tape::Millimetres => format!("{sign}{count}"),
            Tape::Tenths if count.is_multiple_of(10) => format!("{sign}{}", count / 10),
            Tape::Tenths => format!("{sign}{}.{}", count / 10, count % 10),
            Tape::Sixteenths => {
                let (whole, mut part, mut of) = (count / 16, count % 16, 16);
                while part > 0 && part.is_multiple_of(2) {
                    (part, of) = (part / 2, of / 2);
                }
                match (whole, part) {
                    (_, 0) => format!("{sign}{whole}"),
                    (0, _) => format!("{sign}{part}/{of}"),
                    _ => format!("{sign}{whole} {part}/{of}"),
                }
            }
        }
    }

    /// A length at its nearest mark.
    pub fn length(self, length_m: f64) -> String {
        self.text(self.marks(length_m))
    }
}

/// A number with at most `decimals` decimals and no zeros behind.
pub fn trimmed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// One in a million: what is less but not nothing is shown as less than this.
const LEAST_PERCENT: f64 = 0.0001;

/// A share to two digits of itself or to the first digit of what it lacks to the whole: "0.42 %", "56 %", "99.94 %".
pub fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    let nearest_end = percent.min(100.0 - percent);
    if nearest_end <= 0.0 {
        return format!("{} %", trimmed(percent, 4));
    }
    if percent < LEAST_PERCENT {
        return format!("<{LEAST_PERCENT} %");
    }
    let digits = if percent < 50.0 { 1 } else { 0 };
    // The digits are counted as they are shown: 0.996 is 1.0.
    let shown = format!("{nearest_end:.digits$e}");
    let decimals = (digits as i32 - power_of_ten_in(&shown)).clamp(0, 5) as usize;
    format!("{percent:.decimals$} %")
}

/// A difference of two rates and its limits in percentage points, without the unit: "-0.32", "-0.35", "-0.29". All to the same
/// decimal, a third of the way between the limits or finer, at most three; where there is no way, to two digits of the difference.
pub fn points(value: f64, lower: f64, upper: f64) -> [String; 3] {
    let step = if upper > lower {
        (upper - lower) / 3.0
    } else {
        value.abs() / 10.0
    };
    let decimals = (-power_of_ten(100.0 * step)).clamp(0, 3) as usize;
    [value, lower, upper].map(|share| signed(100.0 * share, decimals))
}

/// A difference of two rates of cut plants in words, to two digits: "3.2 fewer plants in 1000".
pub fn plants_apart(difference: f64) -> String {
    let count = 1000.0 * difference.abs();
    let decimals = (1 - power_of_ten(count)).clamp(0, 2) as usize;
    let count = fixed(count, decimals);
    let nothing = count.chars().all(|c| c == '0' || c == '.');
    match difference < 0.0 {
        _ if nothing => "as many plants".to_owned(),
        true => format!("{count} fewer plants in 1000"),
        false => format!("{count} more plants in 1000"),
    }
}

/// A level or a limit that somebody chose: "95 %", "0.5 %".
pub fn chosen_percent(share: f64) -> String {
    format!("{} %", trimmed(100.0 * share, 4))
}

/// From here on a share reads better out of a hundred than as one in so many.
const COMMON: f64 = 0.2;

/// A rate in words: "1 plant in 240", "56 of 100 plants", "no plant".
pub fn plants_in_words(rate: f64) -> String {
    if rate <= 0.0 {
        "no plant".to_owned()
    } else if rate < COMMON {
        format!("1 plant in {}", one_in(rate))
    } else {
        format!("{:.0} of 100 plants", 100.0 * rate)
    }
}

/// A share of cut plants and its upper limit as a sentence without its full stop.
pub fn cut_in_words(cut: &Share) -> String {
    let most = limit_in_words(cut.upper);
    let plants = plants_in_words(cut.rate);
    if cut.rate <= 0.0 {
        format!("No plant is cut in these passes; at most it is {most}")
    } else if cut.rate < COMMON {
        format!("About {plants} is cut, at most {most} by these passes")
    } else {
        format!("About {plants} are cut, at most {most} by these passes")
    }
}

/// A limit of a rate in words: "1 in 150", "62 of 100".
pub fn limit_in_words(rate: f64) -> String {
    if rate <= 0.0 {
        "none".to_owned()
    } else if rate < COMMON {
        format!("1 in {}", one_in(rate))
    } else {
        format!("{:.0} of 100", 100.0 * rate)
    }
}

/// The `N` of "1 in N" to two digits; beyond a million it says no more than that.
fn one_in(rate: f64) -> String {
    if 100.0 * rate < LEAST_PERCENT {
        return "over 1 000 000".to_owned();
    }
    let n = 1.0 / rate;
    let unit = 10f64.powi((power_of_ten(n) - 1).max(0));
    grouped(((n / unit).round() * unit) as u64)
}

/// The power of ten of a number's first digit: 2 for 240, -1 for 0.5. By its digits, so that a page's script finds the same.
fn power_of_ten(value: f64) -> i32 {
    power_of_ten_in(&format!("{value:e}"))
}

/// The power in a number's scientific notation.
fn power_of_ten_in(scientific: &str) -> i32 {
    let power = scientific.split_once('e').map(|(_, power)| power);
    power.and_then(|power| power.parse().ok()).unwrap_or(0)
}

/// A count with a space between groups of three digits.
pub fn grouped(count: u64) -> String {
    let digits = count.to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        // Four digits stay together, as usual in SI.
        if place > 0 && (digits.len() - place).is_multiple_of(3) && digits.len() > 4 {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// What people call a controller.
pub fn controller_title(kind: Kind) -> &'static str {
    spoken(kind).title
}

/// What steers the frame, for somebody who does not know the words of control.
pub fn plain_title(kind: Kind) -> &'static str {
    spoken(kind).plain
}

/// A controller inside a sentence: "the frame steered by camera, delay allowed for".
pub fn controller_in_words(kind: Kind) -> &'static str {
    spoken(kind).steering
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn analytic_lengths_and_speeds_by_definition_of_inch_foot_and_mile() {
        assert_eq!(Units::Metric.clearance(0.038), "38 mm");
        assert_eq!(Units::Us.clearance(0.0381), "1.5 in");
        assert_eq!(Units::Metric.speed_text(8.0 / 3.6), "8 km/h");
        assert_eq!(Units::Us.speed_text(2.2352), "5 mph");
        assert_eq!(Units::Us.distance_text(30.48), "100 ft");
        assert_eq!(Units::Metric.small_text(0.01234), "12.3 mm");
        assert_eq!(Units::Metric.small_text(-0.00004), "0.0 mm");
        assert_eq!(trimmed(-0.001, 2), "0");
        assert_eq!(trimmed(-10.0, 2), "-10");
    }

    #[test]
    fn analytic_inches_to_the_nearest_sixteenth() {
        // 25.4 mm to the inch: a sixteenth is 1.5875 mm. Own arithmetic.
        for (length_m, text) in [
            (0.0, "0"),
            (0.0015875, "1/16"),
            (0.0007, "0"),
            (-0.0007, "0"),
            (0.0008, "1/16"),
            (-0.0047625, "-3/16"),
            (0.0127, "1/2"),
            (0.0254, "1"),
            (0.2143125, "8 7/16"),
            (0.225, "8 7/8"),
            (-0.675, "-26 9/16"),
            (0.0249, "1"),
            (1.8, "70 7/8"),
        ] {
            assert_eq!(Tape::Sixteenths.length(length_m), text, "{length_m}");
        }
    }

    /// Own arithmetic: 0.375 - 0.1275 and 0.5 - 0.2525 are 247.5 mm, one of them a little less in binary.
    #[test]
    fn analytic_a_length_between_two_marks_goes_outwards_on_either_side() {
        let same = [0.375 - 0.1275, 0.2475 - 1e-12, -0.2475, -0.2475 + 1e-12];
        for length_m in same {
            assert_eq!(Tape::Millimetres.marks(length_m).abs(), 248, "{length_m}");
            assert_eq!(Tape::Tenths.length(length_m.abs()), "247.5");
        }
        assert_eq!(Tape::metric([0.9, -0.863, 0.1 + 0.2]), Tape::Millimetres);
        assert_eq!(Tape::metric([0.9, 0.8625]), Tape::Tenths);
        assert_eq!(Tape::Tenths.length(-0.9), "-900");
    }

    #[test]
    fn prop_a_sixteenth_is_never_further_off_than_half_of_itself() {
        let read = |text: &str| -> f64 {
            let digits = text.trim_start_matches('-');
            let (whole, part) = match digits.split_once(' ') {
                Some(both) => both,
                None if digits.contains('/') => ("0", digits),
                None => (digits, "0/1"),
            };
            let (part, of) = part.split_once('/').unwrap();
            let [whole, part, of] = [whole, part, of].map(|n| n.parse::<f64>().unwrap());
            assert!(part < of || part == 0.0);
            (whole + part / of) * if text.starts_with('-') { -1.0 } else { 1.0 }
        };
        for i in -4000..4000 {
            let length_m = f64::from(i) * 0.000_77;
            let off_m = (INCH_M * read(&Tape::Sixteenths.length(length_m)) - length_m).abs();
            assert!(off_m <= INCH_M / 32.0 + 1e-12, "{length_m}");
        }
    }

    #[test]
    fn analytic_a_size_is_the_makers() {
        assert_eq!(Units::Metric.size(0.028), "28 mm");
        assert_eq!(Units::Us.size(1.125 * 0.0254), "1-1/8 in");
        assert_eq!(Units::Us.size(0.625 * 0.0254), "5/8 in");
        assert_eq!(Units::Us.size(0.0508), "2 in");
        assert_eq!(Units::Us.size(0.028), "1.1 in");
        assert_eq!(Units::Metric.size(1.125 * 0.0254), "28.6 mm");
    }

    #[test]
    fn analytic_an_uncertainty_is_never_rounded_away() {
        assert_eq!(
            Units::Metric.small_uncertain(0.0446, 0.00031),
            "44.6 \u{b1} 0.3"
        );
        assert_eq!(
            Units::Metric.small_uncertain(0.01174, 0.000_042),
            "11.74 \u{b1} 0.04"
        );
        assert_eq!(
            Units::Metric.small_uncertain(0.0446, 0.0021),
            "44.6 \u{b1} 2.1"
        );
        assert_eq!(
            Units::Us.small_uncertain(0.0254, 5.08e-5),
            "1.000 \u{b1} 0.002"
        );
        assert_eq!(Units::Metric.small_uncertain(0.01, 0.0), "10.0 \u{b1} 0.0");
    }

    #[test]
    fn analytic_a_speed_limit_is_never_rounded_up() {
        assert_eq!(Units::Metric.speed_limit(7.3 / 3.6), "7.3");
        assert_eq!(Units::Metric.speed_limit(7.39 / 3.6), "7.3");
        assert_eq!(Units::Metric.speed_limit(12.0 / 3.6), "12.0");
        // 7.3 km/h is 4.536 mph.
        assert_eq!(Units::Us.speed_limit(7.3 / 3.6), "4.5");
        assert_eq!(Units::Metric.speed_gain(0.5 / 3.6), "+0.5");
        assert_eq!(Units::Metric.speed_gain(-0.001), "0.0");
    }

    #[test]
    fn analytic_units_of_machine_and_land_by_definition() {
        // 1 gal = 231 in3, 1 acre = 43 560 ft2, 1 hp = 550 ft lbf/s.
        assert_eq!(
            Units::Us.flow_number(231.0 * INCH_M.powi(3) * 10.0 / 60.0),
            "10.0"
        );
        assert_eq!(Units::Metric.flow_number(1e-3), "60.0");
        assert_eq!(Units::Us.fuel_number(37.85411784), "10.0");
        assert_eq!(
            fixed(Units::Us.land(43_560.0 * FOOT_M * FOOT_M / 1e4), 6),
            "1.000000"
        );
        assert_eq!(fixed(Units::Us.per_land(247.105_381), 4), "100.0000");
        assert_eq!(
            Units::Us.power_number(550.0 * FOOT_M * POUND_FORCE_N * 7.0),
            "7.0"
        );
        assert_eq!(Units::Us.force_number(4448.2216152605), "1000");
        assert_eq!(Units::Metric.force_number(12_340.0), "12.3");
        assert_eq!(Units::Us.shift_speed_number(0.127), "5.0");
        assert_eq!(Units::Us.oil_speed_number(3.048), "10.0");
        assert_eq!(money(12.34), "12.3");
        assert_eq!(money(-12_345.6), "-12 346");
        assert_eq!(signed(0.04, 1), "0.0");
    }

    #[test]
    fn analytic_shares_keep_their_digits_at_both_ends() {
        for (share, text) in [
            (0.0, "0 %"),
            (1.0, "100 %"),
            (0.0042, "0.42 %"),
            (0.56, "56 %"),
            (0.012, "1.2 %"),
            (0.00996, "1.0 %"),
            (0.0999, "10 %"),
            (0.999_04, "99.9 %"),
            (0.9994, "99.94 %"),
            (0.996, "99.6 %"),
            (0.000042, "0.0042 %"),
            (0.0000003, "<0.0001 %"),
        ] {
            assert_eq!(percent(share), text);
        }
    }

    /// Own arithmetic: a share of 0.01 is one percentage point and ten plants in 1000.
    #[test]
    fn analytic_differences_are_points_or_plants_not_percent() {
        assert_eq!(
            points(-0.0011, -0.0013, -0.0009),
            ["-0.11", "-0.13", "-0.09"]
        );
        assert_eq!(
            points(-0.032_14, -0.0346, -0.0297),
            ["-3.2", "-3.5", "-3.0"]
        );
        assert_eq!(points(0.2, -0.1, 0.5), ["+20", "-10", "+50"]);
        assert_eq!(points(0.004, 0.004, 0.004), ["+0.40", "+0.40", "+0.40"]);
        assert_eq!(points(1e-9, -1e-9, 3e-9), ["0.000", "0.000", "0.000"]);
        assert_eq!(points(0.0, 0.0, 0.0), ["0", "0", "0"]);
        assert_eq!(plants_apart(-0.0032), "3.2 fewer plants in 1000");
        assert_eq!(plants_apart(0.0426), "43 more plants in 1000");
        assert_eq!(plants_apart(0.000_042), "0.04 more plants in 1000");
        assert_eq!(plants_apart(-1e-7), "as many plants");
        assert_eq!(plants_apart(0.0), "as many plants");
    }

    #[test]
    fn analytic_powers_of_ten_by_digits() {
        for (value, power) in [
            (240.0, 2),
            (1000.0, 3),
            (999.999, 2),
            (0.5, -1),
            (0.001, -3),
            (1.0 / 1024.0, -4),
        ] {
            assert_eq!(power_of_ten(value), power, "{value}");
        }
    }

    #[test]
    fn analytic_rates_in_words() {
        assert_eq!(plants_in_words(1.0 / 240.0), "1 plant in 240");
        assert_eq!(plants_in_words(0.56), "56 of 100 plants");
        assert_eq!(plants_in_words(0.0), "no plant");
        assert_eq!(
            cut_in_words(&Share {
                rate: 0.56,
                lower: 0.5,
                upper: 0.6
            }),
            "About 56 of 100 plants are cut, at most 60 of 100 by these passes"
        );
        assert_eq!(limit_in_words(1.0 / 12_345.0), "1 in 12 000");
        assert_eq!(limit_in_words(1.0 / 7.4), "1 in 7");
        assert_eq!(plants_in_words(1.1e-6), "1 plant in 910 000");
        assert_eq!(plants_in_words(9e-13), "1 plant in over 1 000 000");
        assert_eq!(grouped(1_234_567), "1 234 567");
    }
}
