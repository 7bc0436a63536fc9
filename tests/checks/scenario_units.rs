//! Quantities against the definitions of their units.

use rowroom::scenario::units::{Quantity, parse, short};

fn si(text: &str, quantity: Quantity) -> f64 {
    parse(text, quantity)
        .unwrap_or_else(|error| panic!("{text}: {error}"))
        .si
}

/// Exact factors: inch, foot and mile by the international yard and pound agreement of 1959, US gallon of 231 cubic inches,
/// standard gravity, all as listed in NIST SP 811 (2008), appendix B.8; pound-force = 0.453 592 37 kg times standard gravity.
/// One rounding of the factor and one of the product at most: 2 ulp.
#[test]
fn val_units_have_the_factors_of_nist_sp_811() {
    use Quantity::*;
    for (text, quantity, wanted) in [
        ("1 in", Length, 0.0254),
        ("1 ft", Length, 0.3048),
        ("1 mph", Speed, 0.447_04),
        ("1 gpm", Flow, 3.785_411_784e-3 / 60.0),
        (
            "1 psi",
            Pressure,
            0.453_592_37 * 9.806_65 / (0.0254 * 0.0254),
        ),
        ("1 lbf", Force, 0.453_592_37 * 9.806_65),
        ("1 kgf", Force, 9.806_65),
        ("1 bar", Pressure, 1e5),
        ("1 MPa", Pressure, 1e6),
        ("1 L/min", Flow, 1e-3 / 60.0),
        ("1 km/h", Speed, 1.0 / 3.6),
        ("180 deg", Angle, std::f64::consts::PI),
        ("1 Hz", Frequency, 2.0 * std::f64::consts::PI),
        ("25 Hz", FrameTime, 0.04),
        ("5 %", Slope, 0.05_f64.atan()),
        ("5 %", Share, 0.05),
        ("-3 deg/s", AngleRate, -3.0 * std::f64::consts::PI / 180.0),
    ] {
        let found = si(text, quantity);
        assert!(
            (found - wanted).abs() <= 2.0 * f64::EPSILON * wanted.abs(),
            "{text}: {found:e} {wanted:e}"
        );
    }
    // NIST SP 811 prints psi and lbf with seven digits.
    assert!((si("1 psi", Pressure) - 6894.757).abs() < 5e-4);
    assert!((si("1 lbf", Force) - 4.448_222).abs() < 5e-7);
}

/// Decimal units give the bits of the decimal number.
#[test]
fn analytic_decimal_units_round_once() {
    for millimetres in 1..=500_u32 {
        let wanted: f64 = format!("0.{millimetres:03}").parse().unwrap();
        assert_eq!(si(&format!("{millimetres} mm"), Quantity::Length), wanted);
    }
    assert_eq!(si("80 ms", Quantity::Time), 0.08);
    assert_eq!(si("1.5 in", Quantity::Length), 0.0381);
    assert_eq!(si("8 km/h", Quantity::Speed), 40.0 / 18.0);
}

#[test]
fn analytic_people_may_leave_spaces_out_and_mix_case() {
    use Quantity::*;
    for (text, same, quantity) in [
        ("1.5in", "1.5 in", Length),
        ("  38   mm ", "38 mm", Length),
        ("38 MM", "38 mm", Length),
        ("2 feet", "2 ft", Length),
        ("6 kph", "6 km/h", Speed),
        ("6 KM/H", "6 km/h", Speed),
        ("12 l/min", "12 L/min", Flow),
        ("3 GPM", "3 gpm", Flow),
        ("2600PSI", "2600 psi", Pressure),
        ("2°", "2 deg", Angle),
        ("\u{2212}2 deg", "-2 deg", Angle),
        ("+.5 m", "0.5 m", Length),
        ("1e3 mm", "1 m", Length),
        ("5%", "5 %", Slope),
        ("30 fps", "30 Hz", FrameTime),
    ] {
        assert_eq!(si(text, quantity), si(same, quantity), "{text}");
    }
}

#[test]
fn regress_what_is_no_quantity_says_why() {
    use Quantity::*;
    for (text, quantity, wanted) in [
        (
            "38",
            Length,
            "has no unit; a length is wanted, in m, cm, mm, in or ft",
        ),
        (
            "wide",
            Length,
            "does not begin with a number; write for example \"10 m\"",
        ),
        (
            "",
            Share,
            "does not begin with a number; write for example \"10 %\"",
        ),
        (
            "1,5 m",
            Length,
            "has a comma; write a decimal point: \"1.5 m\"",
        ),
        (
            "2 psi",
            Length,
            "is a pressure; a length is wanted, in m, cm, mm, in or ft",
        ),
        (
            "2 m",
            Number,
            "has the unknown unit \"m\"; a plain number is wanted",
        ),
        (
            "2 m m",
            Length,
            "has the unknown unit \"m m\"; a length is wanted, in m, cm, mm, in or ft",
        ),
        ("1e400 m", Length, "is not a finite number"),
        ("0 Hz", FrameTime, "is not a finite number"),
    ] {
        assert_eq!(parse(text, quantity).unwrap_err().to_string(), wanted);
    }
}

#[test]
fn analytic_short_numbers_keep_three_digits() {
    for (number, wanted) in [
        (0.0, "0"),
        (0.264_172, "0.264"),
        (79.251_6, "79.3"),
        (-21.801_4, "-21.8"),
        (1234.5, "1234"),
        (0.04, "0.04"),
        (1e-9, "1.00e-9"),
    ] {
        assert_eq!(short(number), wanted);
    }
}
