//! Distributions: what is drawn, and that nothing else moves it.

use rowroom::model::setup::Setup;
use rowroom::scenario::{Scenario, starter};

fn no_files(_: &str) -> std::io::Result<String> {
    Err(std::io::ErrorKind::NotFound.into())
}

/// The starter with all else known and these keys set, each to be found behind its `#`.
fn with(keys: &[(&str, &str)]) -> Scenario {
    let mut lines: Vec<String> = starter().lines().map(String::from).collect();
    for (key, value) in [&[("study.unknowns", "\"stated\"")], keys].concat() {
        let (table, name) = key.rsplit_once('.').unwrap();
        let from = lines
            .iter()
            .position(|line| *line == format!("[{table}]"))
            .unwrap();
        let at = (from..lines.len())
            .find(|&at| {
                lines[at]
                    .trim_start_matches("# ")
                    .starts_with(&format!("{name} = "))
            })
            .unwrap();
        lines[at] = format!("{name} = {value}");
    }
    Scenario::parse(&lines.join("\n"), "x.toml", &no_files, None)
        .unwrap_or_else(|error| panic!("{error}"))
}

const DRAWS: u64 = 4000;

fn drawn(scenario: &Scenario, of: impl Fn(&Setup) -> f64) -> Vec<f64> {
    (0..DRAWS).map(|pass| of(&scenario.draw(7, pass))).collect()
}

fn mean_and_sd(numbers: &[f64]) -> (f64, f64) {
    let n = numbers.len() as f64;
    let mean = numbers.iter().sum::<f64>() / n;
    let variance = numbers.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (mean, variance.sqrt())
}

/// Standard errors of mean and sd of n draws: sd/√n, and sd √((kurtosis - 1)/(4 n)) with kurtosis 3 for the normal and 9/5 for
/// the uniform law. Three of them are allowed at a fixed seed.
#[test]
fn analytic_draws_have_mean_and_spread_of_their_law() {
    let n = DRAWS as f64;
    let scenario = with(&[
        ("camera.alignment", "{ mean = \"3 mm\", sd = \"8 mm\" }"),
        ("camera.latency", "{ from = \"60 ms\", to = \"100 ms\" }"),
    ]);
    let (mean, sd) = mean_and_sd(&drawn(&scenario, |setup| setup.camera.alignment_m));
    assert!((mean - 0.003).abs() < 3.0 * 0.008 / n.sqrt(), "{mean}");
    assert!(
        (sd - 0.008).abs() < 3.0 * 0.008 * (2.0 / (4.0 * n)).sqrt(),
        "{sd}"
    );
    let latencies = drawn(&scenario, |setup| setup.camera.latency_s);
    let (mean, sd) = mean_and_sd(&latencies);
    let wanted = 0.04 / 12.0_f64.sqrt();
    assert!((mean - 0.08).abs() < 3.0 * wanted / n.sqrt(), "{mean}");
    assert!(
        (sd - wanted).abs() < 3.0 * wanted * (0.8 / (4.0 * n)).sqrt(),
        "{sd}"
    );
    assert!(latencies.iter().all(|s| (0.06..=0.1).contains(s)));
}

/// A normal law cut at its mean on one side is a half-normal: mean sd √(2/π), and no draw sits on the limit itself, as
/// clipping would leave half of them there. Standard error of its mean: sd √((1 - 2/π)/n).
#[test]
fn analytic_draws_beyond_a_limit_are_drawn_again_and_never_clipped() {
    let scenario = with(&[(
        "camera.alignment",
        "{ mean = \"0 mm\", sd = \"8 mm\", low = \"0 mm\" }",
    )]);
    let numbers = drawn(&scenario, |setup| setup.camera.alignment_m);
    assert!(numbers.iter().all(|&x| x > 0.0));
    let (mean, _) = mean_and_sd(&numbers);
    let part = 2.0 / std::f64::consts::PI;
    let error = 0.008 * ((1.0 - part) / DRAWS as f64).sqrt();
    assert!((mean - 0.008 * part.sqrt()).abs() < 3.0 * error, "{mean}");
    assert_eq!(scenario.nominal().camera.alignment_m, 0.0);
}

#[test]
fn prop_a_draw_depends_on_seed_and_pass_and_on_no_other_key() {
    let few = with(&[("camera.alignment", "{ mean = \"0 mm\", sd = \"8 mm\" }")]);
    let many = with(&[
        ("camera.alignment", "{ mean = \"0 mm\", sd = \"8 mm\" }"),
        ("plants.scatter_sd", "{ from = \"5 mm\", to = \"15 mm\" }"),
        ("pass.entry_offset", "\"0 mm\""),
        (
            "hydraulics.supply_pressure",
            "{ mean = \"180 bar\", sd = \"10 bar\" }",
        ),
    ]);
    let mut seen = Vec::new();
    for seed in [0, 1] {
        for pass in 0..50 {
            let number = few.draw(seed, pass).camera.alignment_m;
            assert_eq!(number, few.draw(seed, pass).camera.alignment_m);
            assert_eq!(number, many.draw(seed, pass).camera.alignment_m);
            seen.push(number);
        }
    }
    seen.sort_by(f64::total_cmp);
    seen.dedup();
    assert_eq!(seen.len(), 100);
}

/// Two keys of one pass are drawn independently: with n pairs the correlation has a standard error of 1/√n.
#[test]
fn analytic_keys_are_drawn_independently() {
    let scenario = with(&[
        ("camera.alignment", "{ mean = \"0 mm\", sd = \"8 mm\" }"),
        ("camera.trim", "{ mean = \"0 mm\", sd = \"8 mm\" }"),
    ]);
    let a = drawn(&scenario, |setup| setup.camera.alignment_m);
    let b = drawn(&scenario, |setup| setup.camera.trim_m);
    let product: f64 = a.iter().zip(&b).map(|(a, b)| a * b).sum();
    let squares = |x: &[f64]| x.iter().map(|x| x * x).sum::<f64>();
    let correlation = product / (squares(&a) * squares(&b)).sqrt();
    assert!(
        correlation.abs() < 3.0 / (DRAWS as f64).sqrt(),
        "{correlation}"
    );
}

#[test]
fn analytic_the_nominal_pass_has_every_distribution_at_its_mean() {
    let scenario = with(&[
        ("camera.alignment", "{ mean = \"5 mm\", sd = \"8 mm\" }"),
        ("camera.latency", "{ from = \"60 ms\", to = \"100 ms\" }"),
    ]);
    let nominal = scenario.nominal();
    assert_eq!(nominal.camera.alignment_m, 0.005);
    assert!((nominal.camera.latency_s - 0.08).abs() < 1e-17);
    assert_eq!(nominal.run.entry_offset_m, 0.0);
    // The gains are tuned to it and stay.
    assert_eq!(scenario.draw(1, 1).controllers, nominal.controllers);
    assert_ne!(scenario.draw(1, 1).camera, nominal.camera);
}

#[test]
fn prop_only_keys_of_the_linear_check_make_it_vary() {
    assert!(!with(&[]).linear_varies());
    assert!(!with(&[("plants.scatter_sd", "{ from = \"5 mm\", to = \"15 mm\" }")]).linear_varies());
    assert!(with(&[("camera.latency", "{ from = \"60 ms\", to = \"100 ms\" }")]).linear_varies());
}
