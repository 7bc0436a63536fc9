//! Prints how the library writes many numbers, for the page's script to write the same.
//!
//! A JSON list of [function of the script, its arguments, text]: numbers of all sizes, exact halves of the last digit, and the
//! neighbours of powers of ten.

use rowroom::report::display::{
    Units, chosen_percent, cut_in_words, fixed, grouped, limit_in_words, money, percent,
    plants_in_words, signed, trimmed,
};
use rowroom::results::Share;
use serde_json::{Value, json};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut told = Vec::new();
    for value in numbers() {
        for decimals in 0..6 {
            for (name, text) in [
                ("fixed", fixed(value, decimals)),
                ("signed", signed(value, decimals)),
                ("trimmed", trimmed(value, decimals)),
            ] {
                told.push(json!([name, [value, decimals], text]));
            }
        }
        told.push(json!(["money", [value], money(value)]));
        for (name, units) in [("metric", Units::Metric), ("us", Units::Us)] {
            let texts = [
                ("speedText", units.speed_text(value)),
                ("clearanceText", units.clearance(value)),
                ("smallText", units.small_text(value)),
                ("distanceText", units.distance_text(value)),
            ];
            told.extend(texts.map(|(function, text)| json!([function, [value, name], text])));
        }
        if value >= 0.0 {
            let count = value.round() as u64;
            // JavaScript's numbers hold whole ones up to here.
            if count <= 1 << 53 {
                told.push(json!(["grouped", [count], grouped(count)]));
            }
        }
        if (0.0..=1.0).contains(&value) {
            told.extend(share(value));
        }
    }
    println!("{}", serde_json::to_string(&told)?);
    Ok(())
}

fn cut(rate: f64, upper: f64) -> (&'static str, Value, String) {
    let share = Share {
        rate,
        lower: 0.0,
        upper,
    };
    ("cutInWords", json!([share]), cut_in_words(&share))
}

fn share(value: f64) -> [Value; 6] {
    [
        ("percent", json!([value]), percent(value)),
        ("chosenPercent", json!([value]), chosen_percent(value)),
        ("plantsInWords", json!([value]), plants_in_words(value)),
        ("limitInWords", json!([value]), limit_in_words(value)),
        cut(value, value.sqrt()),
        cut(0.0, value),
    ]
    .map(|(name, arguments, text)| json!([name, arguments, text]))
}

fn numbers() -> Vec<f64> {
    let mut numbers = vec![0.0, 1.0, 0.2, 0.5, 99.95, 99.949_999_999_999_99, 1e9];
    for i in 0..400 {
        let i = f64::from(i);
        numbers.extend([i / 16.0, i / 64.0, i / 1000.0, i + 0.5]);
    }
    for power in -9..10 {
        let ten: f64 = format!("1e{power}").parse().unwrap_or(1.0);
        numbers.extend([ten, ten.next_up(), ten.next_down(), 1.0 - ten]);
        numbers.extend([ten / 100.0, 1.0 / ten, 1.0 / ten.next_down()]);
    }
    // Evenly over the logarithm, by a linear congruential generator (Knuth's MMIX numbers).
    let mut state: u64 = 1;
    for _ in 0..1500 {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let uniform = (state >> 11) as f64 / (1u64 << 53) as f64;
        numbers.push((uniform * 25.0 - 18.0).exp());
    }
    let negative: Vec<f64> = numbers.iter().map(|value| -value).collect();
    numbers.extend(negative);
    numbers
}
