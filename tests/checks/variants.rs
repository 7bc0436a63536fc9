//! Variants of a machine, driven as a user would drive them: `--set`, `compare`, `sweep`, `design`, the short starter, hints and `--open`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use rowroom::report::json::read_results;
use rowroom::results::Results;
use rowroom::scenario::{Crop, Scenario, Steering, Units};
use serde_json::Value;
use tempfile::TempDir;

/// README's scenario on a short pass, as if all that it leaves out were known: the tests are about commands, not about rates.
fn readme_scenario() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = fs::read_to_string(root.join("README.md")).unwrap();
    let (_, after) = readme.split_once("```toml\n").unwrap();
    let scenario = after.split_once("```").unwrap().0;
    let known = scenario.replace("[study]", "[study]\nunknowns = \"stated\"");
    format!("{known}\n[pass]\nlength = \"40 m\"\nentry_length = \"5 m\"\n")
}

fn field() -> TempDir {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("field.toml"), readme_scenario()).unwrap();
    folder
}

fn binary(folder: &TempDir, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rowroom"));
    command.current_dir(folder.path()).args(arguments);
    command
}

fn rowroom(folder: &TempDir, arguments: &[&str]) -> Output {
    binary(folder, arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// Runs it, holds it to an exit code and gives what it said on standard output and error.
fn ended(folder: &TempDir, arguments: &[&str], code: i32) -> (String, String) {
    let done = rowroom(folder, arguments);
    let (out, err) = (text(&done.stdout), text(&done.stderr));
    assert_eq!(
        done.status.code(),
        Some(code),
        "{arguments:?}\n{out}\n{err}"
    );
    (out, err)
}

fn results(folder: &TempDir, name: &str) -> Results {
    let file = folder.path().join(name).join("results.json");
    read_results(&fs::read_to_string(file).unwrap()).unwrap()
}

fn is_empty(folder: &TempDir) -> bool {
    fs::read_dir(folder.path()).unwrap().count() == 1
}

#[test]
fn regress_mistakes_in_set_are_told_as_in_a_file() {
    let field = field();
    for (set, words) in [
        ("camera.latncy=80 ms", "did you mean camera.latency?"),
        (
            "controller.pid.kp=4 1/s",
            "[controller.pid] has simc_closed_loop_time, gain",
        ),
        ("camera.latency=80", "write for example \"80 ms\""),
        ("camera.latency=80 km/h", "a time is wanted"),
        ("camera.latency=80000 ms", "allowed 0 ms to 1000 ms"),
        ("study.speeds=8 km/h, 4 km/h", "must rise"),
        ("camera.mount=shiftd", "did you mean \"shifted\"?"),
        ("camera=3", "is a table"),
        (
            "controller.pid.gain=4 1/s",
            "--set controller.pid.simc_closed_loop_time= takes the other one out",
        ),
    ] {
        let key = set.split('=').next().unwrap();
        for command in [
            &["study", "field.toml"][..],
            &["pass", "field.toml"],
            &["compare", "field.toml", "field.toml"],
            &["sweep", "field.toml", "--over", "camera.frames=20 Hz"],
        ] {
            let (_, err) = ended(&field, &[command, &["--set", set]].concat(), 2);
            let place = format!("field.toml: --set {key}: ");
            assert!(
                err.starts_with(&place) && err.contains(words),
                "{set}: {err}"
            );
        }
    }
    ended(
        &field,
        &["study", "field.toml", "--set", "camera.latency"],
        2,
    );
    let twice = [
        "study",
        "field.toml",
        "--set",
        "camera.latency=1 ms",
        "--set",
        "camera.latency=2 ms",
    ];
    assert!(ended(&field, &twice, 2).1.contains("given twice"));
    assert!(is_empty(&field), "a folder was made");
}

#[test]
fn regress_a_changed_study_says_so_and_is_another_one() {
    let field = field();
    let study = |set: &[&str], out: &str, code: i32| {
        let begin = [
            "study",
            "field.toml",
            "--passes",
            "2",
            "--quiet",
            "--out",
            out,
        ];
        ended(&field, &[&begin, set].concat(), code)
    };
    study(&[], "plain", 0);
    let late = [
        "--set",
        "camera.latency=120 ms",
        "--set",
        "sensors.yaw_rate.noise_sd=0.1 deg/s",
    ];
    study(&late, "late", 0);
    let (plain, changed) = (results(&field, "plain"), results(&field, "late"));
    assert_ne!(plain.scenario.sha256, changed.scenario.sha256);
    assert_eq!(plain.scenario.set, Vec::<String>::new());
    assert_eq!(changed.scenario.set[0], "camera.latency = 120 ms");
    let origin = |of: &Results, key: &str| {
        let found = of.assumptions.iter().find(|one| one.key == key);
        found.map(|one| (one.value.clone(), one.origin.clone()))
    };
    let wanted = ("120 ms".to_owned(), "set on the command line".to_owned());
    assert_eq!(origin(&changed, "camera.latency"), Some(wanted));
    assert_eq!(origin(&plain, "sensors.yaw_rate.noise_sd"), None);
    let in_file = origin(&changed, "camera.lookahead").unwrap();
    assert_eq!(in_file, ("0.8 m".to_owned(), "scenario".to_owned()));
    // Neither writes over the other, nor goes on from its passes.
    let (_, err) = study(&late, "plain", 1);
    assert!(err.contains("what was --set has changed"), "{err}");
    let part = |set: &str, code| {
        let begin = [
            "study",
            "field.toml",
            "--passes",
            "32",
            "--part",
            "1/2",
            "--out",
            "parts",
            "--quiet",
            "--set",
        ];
        ended(&field, &[&begin[..], &[set]].concat(), code)
    };
    part("camera.latency=100 ms", 0);
    let (_, err) = part("camera.latency=110 ms", 1);
    assert!(err.contains("scenario"), "{err}");
}

/// Parts hold what was set: put together they are the study in one go.
#[test]
fn regress_parts_of_a_changed_study_go_together() {
    let field = field();
    let set = [
        "--passes",
        "32",
        "--quiet",
        "--set",
        "camera.latency=100 ms",
    ];
    for (more, out) in [
        (&[][..], "whole"),
        (&["--part", "1/2"], "shares"),
        (&["--part", "2/2"], "shares"),
    ] {
        ended(
            &field,
            &[&["study", "field.toml", "--out", out], &set[..], more].concat(),
            0,
        );
    }
    let parts = ["shares/part_1_of_2.json", "shares/part_2_of_2.json"];
    ended(
        &field,
        &[&["merge", "--quiet", "--out", "merged"], &parts[..]].concat(),
        0,
    );
    assert_eq!(results(&field, "merged"), results(&field, "whole"));
}

fn slow(field: &TempDir) {
    let slow = readme_scenario()
        .replace("\"My field\"", "\"A <b>slow</b> camera\"")
        .replace(
            "lookahead = \"0.8 m\"",
            "lookahead = \"0.8 m\"\nlatency = \"300 ms\"",
        );
    fs::write(field.path().join("slow.toml"), slow).unwrap();
}

#[test]
fn regress_three_machines_and_a_study_are_compared() {
    let field = field();
    slow(&field);
    ended(
        &field,
        &[
            "study",
            "field.toml",
            "--passes",
            "3",
            "--quiet",
            "--out",
            "done",
        ],
        0,
    );
    let machines = [
        "compare",
        "field.toml",
        "slow.toml",
        "done",
        "done/results.json",
        "--passes",
        "8",
    ];
    let (out, _) = ended(&field, &[&machines[..], &["--out", "page"]].concat(), 0);
    for words in [
        "The second machine cuts more plants",
        "unpaired",
        "not a permission",
        "Fourth",
    ] {
        assert!(
            out.split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
                .contains(words),
            "{words}: {out}"
        );
    }
    assert!(out.lines().all(|line| line.chars().count() <= 120), "{out}");
    let page = fs::read_to_string(field.path().join("page/comparison.html")).unwrap();
    assert!(page.contains("A &lt;b&gt;slow&lt;/b&gt; camera") && !page.contains("<b>slow"));
    let (out, _) = ended(&field, &[&machines[..], &["--json"]].concat(), 0);
    let numbers: Value = serde_json::from_str(&out).unwrap();
    let machines = numbers["machines"].as_array().unwrap();
    let paired: Vec<&Value> = machines
        .iter()
        .map(|one| &one["against_first"]["paired"])
        .collect();
    assert_eq!(
        paired,
        [
            &Value::Null,
            &Value::from(true),
            &Value::from(false),
            &Value::from(false)
        ]
    );
    assert!(
        machines[1]["against_first"]["difference"]["lower"]
            .as_f64()
            .unwrap()
            > 0.0
    );
    for of in ["cut", "highest"] {
        assert!(
            machines[0][of]["lower"].is_number() || machines[0][of].is_null(),
            "{numbers:#}"
        );
    }
    // One machine beside a study of the same scenario is a fair question.
    assert_eq!(machines[2]["passes"], 3);
}

#[test]
fn regress_what_is_set_changes_every_scenario_and_no_study() {
    let field = field();
    slow(&field);
    ended(
        &field,
        &[
            "study",
            "field.toml",
            "--passes",
            "2",
            "--quiet",
            "--out",
            "done",
        ],
        0,
    );
    let set = ["--passes", "4", "--set", "camera.latency=50 ms"];
    let compared = [&["compare", "field.toml", "slow.toml", "done"], &set[..]].concat();
    let (out, _) = ended(&field, &[&compared[..], &["--json"]].concat(), 0);
    let numbers: Value = serde_json::from_str(&out).unwrap();
    let machines = &numbers["machines"];
    assert_eq!(
        machines[0]["scenario"]["set"],
        machines[1]["scenario"]["set"]
    );
    assert_eq!(machines[1]["against_first"]["difference"]["value"], 0.0);
    assert_eq!(machines[2]["scenario"]["set"], Value::Null);
    // More passes could not tell machines apart that are the same.
    let (out, _) = ended(&field, &compared, 0);
    let said = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("The second machine cuts as many plants as the first in every pass"),
        "{said}"
    );
    assert!(said.contains("with either"), "{said}");
    let lenient = [&compared[..], &["--set", "study.allowed_cut_rate=8 %"]].concat();
    let (out, _) = ended(&field, &lenient, 0);
    assert!(out.contains("Both allow the same speed."), "{out}");
    let (_, err) = ended(
        &field,
        &["compare", "done", "done", "--set", "camera.latency=50 ms"],
        2,
    );
    assert!(err.contains("only finished studies"), "{err}");
}

#[test]
fn regress_mistakes_in_a_comparison() {
    let field = field();
    ended(&field, &["compare", "field.toml"], 2);
    let (_, err) = ended(&field, &["compare", "field.toml", "nothing.toml"], 1);
    assert!(err.contains("nothing.toml"), "{err}");
    let (_, err) = ended(&field, &["compare", "field.toml", "."], 1);
    assert!(err.contains("folder of a finished study"), "{err}");
    fs::write(field.path().join("wrong.json"), "{}").unwrap();
    let (_, err) = ended(&field, &["compare", "field.toml", "wrong.json"], 2);
    assert!(err.contains("wrong.json is no results.json"), "{err}");
    let (_, err) = ended(&field, &[&["compare"][..], &["field.toml"; 9]].concat(), 2);
    assert!(err.contains("two to 8"), "{err}");
    let (_, err) = ended(&field, &["beside", "a", "b"], 2);
    assert!(err.contains("unrecognized"), "{err}");
}

#[test]
fn regress_a_sweep_writes_table_and_picture() {
    let field = field();
    let over = [
        "sweep",
        "field.toml",
        "--passes",
        "8",
        "--over",
        "camera.latency=40 ms, 80 ms, 300 ms",
    ];
    let (out, _) = ended(&field, &over, 0);
    for words in [
        "camera.latency",
        "as the file has it",
        "sweep.csv",
        "300 ms",
        "not a permission",
    ] {
        assert!(out.contains(words), "{words}: {out}");
    }
    let folder = field.path().join("reports/field/sweeps/camera.latency");
    let csv = fs::read_to_string(folder.join("sweep.csv")).unwrap();
    assert_eq!(
        csv.lines().count(),
        1 + 4 * 3,
        "three controllers, four settings: {csv}"
    );
    let svg = fs::read_to_string(folder.join("sweep.svg")).unwrap();
    assert!(svg.contains("camera.latency, ms"));
    let two = [
        "--over",
        "camera.mount=shifted,fixed",
        "--json",
        "--quiet",
        "--out",
        "two",
    ];
    let (out, err) = ended(&field, &[&over[..], &two].concat(), 0);
    assert_eq!(err, "");
    let numbers: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(numbers["settings"].as_array().unwrap().len(), 6);
    assert_eq!(
        numbers["settings"][1]["values"],
        serde_json::json!(["40 ms", "fixed"])
    );
    assert_eq!(numbers["settings"][2]["numbers"][0], 0.08);
    let own = &numbers["settings"][2]["controllers"][1];
    assert_eq!(own["difference"]["value"], 0.0);
    // What is set changes what the values are held against.
    let set = [
        "--set",
        "camera.latency=40 ms",
        "--json",
        "--quiet",
        "--out",
        "set",
    ];
    let (out, _) = ended(&field, &[&over[..], &set].concat(), 0);
    let numbers: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(numbers["over"][0]["own"], "40 ms");
}

#[test]
fn regress_mistakes_in_a_sweep() {
    let field = field();
    let sweep = |over: &[&str], words: &str| {
        let options = over.iter().flat_map(|over| ["--over", over]);
        let arguments: Vec<&str> = ["sweep", "field.toml"].into_iter().chain(options).collect();
        let (_, err) = ended(&field, &arguments, 2);
        assert!(err.contains(words), "{words}: {err}");
    };
    sweep(&[], "--over");
    sweep(
        &["camera.latncy=1 ms"],
        "--over camera.latncy: camera.latncy is unknown; did you mean camera.latency?",
    );
    sweep(&["camera.latency=40 ms, 5 km/h"], "a time is wanted");
    sweep(&["camera.latency=40 ms,"], "commas between them");
    sweep(
        &[
            "camera.latency=1 ms",
            "camera.frames=20 Hz",
            "camera.lookahead=1 m",
        ],
        "not 3",
    );
    let many = format!("camera.latency={}", vec!["10 ms"; 65].join(","));
    sweep(&[&many], "65 settings are too many: at most 64");
    assert!(is_empty(&field), "a folder was made");
}

/// README's offer and two more, with prices that are none of anything.
const OFFERS: &str = r#"
[[offers]]
part = "camera"
name = "50 frames a second"
price = 1800
set = { camera.frames = "50 Hz", camera.latency = "50 ms" }

[[offers]]
part = "camera"
name = "as seldom as a <slide> show, by mistake"
price = 5
set.camera.frames = "5 Hz"

[[offers]]
part = "side-shift"
name = "600 mm"
price = 300
set.hydraulics.stroke = "600 mm"
"#;

#[test]
fn regress_a_search_writes_table_and_picture() {
    let field = field();
    let offers = readme_scenario() + OFFERS;
    // Short passes are half entry: few speeds keep the file's own 0.5 %.
    let offers = offers.replace("[study]", "[study]\nallowed_cut_rate = \"6 %\"");
    fs::write(field.path().join("field.toml"), offers).unwrap();
    let design = ["design", "field.toml", "--passes", "8"];
    let (out, err) = ended(&field, &design, 0);
    assert!(err.contains("fresh ones, seed"), "{err}");
    for words in [
        "which machine for the money?",
        "as it stands",
        "All 6 machines",
        "8 fresh passes",
        "not a permission",
        "design.csv",
    ] {
        assert!(out.replace('\n', " ").contains(words), "{words}: {out}");
    }
    let folder = field.path().join("reports/field/design");
    let csv = fs::read_to_string(folder.join("design.csv")).unwrap();
    let lines: Vec<&str> = csv.lines().collect();
    assert!(lines.len() > 2 && lines[1].starts_with("own,0,"), "{csv}");
    assert!(lines[2..].iter().all(|line| line.starts_with("front,")));
    let svg = fs::read_to_string(folder.join("design.svg")).unwrap();
    assert!(svg.contains("<svg") && svg.contains("speed, km/h"));
    let json = ["--json", "--quiet", "--out", "again"];
    let (out, err) = ended(&field, &[&design[..], &json].concat(), 0);
    assert_eq!(err, "");
    let numbers: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(numbers["possible"], 6);
    assert_eq!(numbers["front"].as_array().unwrap().len(), lines.len() - 2);
    // The same again, and the present machine is what --set makes of it.
    let (again, _) = ended(&field, &[&design[..], &json].concat(), 0);
    assert_eq!(out, again);
    let locked = ["--set", "study.controllers=locked"];
    let (out, _) = ended(&field, &[&design[..], &json, &locked].concat(), 0);
    let numbers: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(numbers["own"]["controller"], "locked");
}

#[test]
fn regress_mistakes_in_a_search() {
    let field = field();
    let with = |more: &str, words: &str| {
        let text = readme_scenario() + more;
        fs::write(field.path().join("field.toml"), text).unwrap();
        let (_, err) = ended(&field, &["design", "field.toml", "--passes", "8"], 2);
        assert!(err.contains(words), "{words}: {err}");
    };
    let wrong = "[[offers]]\npart = \"a\"\nname = \"b\"\nset.camera.frames = \"5000 Hz\"\n";
    with(wrong, "[[offers]] set camera.frames");
    with("[[offers]]\npart = \"a\"\n", "needs part, name and set");
    assert!(is_empty(&field), "a folder was made");
}

#[test]
fn regress_every_short_starter_is_studied() {
    for (crop, steering, units) in Crop::ALL.into_iter().flat_map(|crop| {
        Steering::ALL
            .into_iter()
            .flat_map(move |who| [Units::Metric, Units::Us].map(|units| (crop, who, units)))
    }) {
        let folder = TempDir::new().unwrap();
        let choices = [
            "--crop",
            crop.name(),
            "--driver",
            steering.name(),
            "--units",
            units.name(),
        ];
        let (out, _) = ended(
            &folder,
            &[&["starter", "mine.toml"], &choices[..]].concat(),
            0,
        );
        assert!(out.contains("rowroom study mine.toml"), "{out}");
        let scenario = Scenario::read(&folder.path().join("mine.toml"), None).unwrap();
        assert_eq!(scenario.units(), units);
        assert!(scenario.warnings().is_empty(), "{:?}", scenario.warnings());
        let short = [
            "--passes",
            "2",
            "--quiet",
            "--set",
            "study.controllers=pid",
            "--set",
            "pass.length=40 m",
        ];
        let more = [
            "--set",
            "pass.entry_length=5 m",
            "--set",
            "study.speeds=5 km/h",
        ];
        let work = ["--set", "study.working_speed=5 km/h"];
        ended(
            &folder,
            &[&["study", "mine.toml"], &short[..], &more, &work].concat(),
            0,
        );
    }
}

#[test]
fn regress_mistakes_in_a_starter_and_the_whole_language() {
    let folder = TempDir::new().unwrap();
    for (choice, words) in [
        (["--crop", "tulips"], "sugar_beet"),
        (["--driver", "nobody"], "satellite_line"),
        (["--units", "old"], "metric"),
    ] {
        let (_, err) = ended(&folder, &[&["starter"], &choice[..]].concat(), 2);
        assert!(err.contains(words), "{err}");
    }
    ended(&folder, &["starter", "--full", "--crop", "leeks"], 2);
    ended(&folder, &["starter", "all.toml", "--full"], 0);
    let all = fs::read_to_string(folder.path().join("all.toml")).unwrap();
    assert_eq!(all, rowroom::scenario::starter());
    let (help, _) = ended(&folder, &["starter", "--help"], 0);
    for words in ["carrots", "satellite_line", "metric", "--full"] {
        assert!(help.contains(words), "{help}");
    }
}

#[test]
fn regress_a_file_without_a_command_gets_a_hint() {
    let field = field();
    let (_, err) = ended(&field, &["field.toml"], 2);
    assert!(err.contains("rowroom study field.toml"), "{err}");
    let (_, err) = ended(&field, &["studdy"], 2);
    assert!(!err.contains("To study that scenario"), "{err}");
}

/// Programs are looked for in a folder without any, or with one that notes what it was asked to open.
#[cfg(target_os = "linux")]
#[test]
fn regress_a_report_is_opened_and_failing_to_fails_no_run() {
    use std::os::unix::fs::PermissionsExt;
    let field = field();
    let study = [
        "study",
        "field.toml",
        "--passes",
        "2",
        "--quiet",
        "--open",
        "--out",
    ];
    let programs = field.path().join("programs");
    fs::create_dir(&programs).unwrap();
    let run = |out: &str| {
        let mut command = binary(&field, &[&study[..], &[out]].concat());
        command.env("PATH", &programs).output().unwrap()
    };
    let done = run("one");
    assert_eq!(done.status.code(), Some(0));
    assert!(
        text(&done.stderr).contains("could not be opened"),
        "{}",
        text(&done.stderr)
    );
    assert!(field.path().join("one/report.html").exists());
    let noted: PathBuf = field.path().join("noted");
    let program = programs.join("xdg-open");
    fs::write(
        &program,
        format!("#!/bin/sh\necho \"$1\" >'{}'\n", noted.display()),
    )
    .unwrap();
    fs::set_permissions(&program, fs::Permissions::from_mode(0o755)).unwrap();
    let done = run("two");
    assert_eq!(
        (done.status.code(), text(&done.stderr)),
        (Some(0), String::new())
    );
    for _ in 0..100 {
        if fs::read_to_string(&noted).is_ok_and(|noted| noted.ends_with('\n')) {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert_eq!(
        fs::read_to_string(&noted).unwrap().trim(),
        "two/report.html"
    );
}
