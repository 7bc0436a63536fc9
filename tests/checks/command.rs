//! The real binary, driven as a user would drive it.

use rowroom::model::controller::Kind;
use rowroom::results::reasons::Warning;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use rowroom::montecarlo::saved::Saved;
use rowroom::montecarlo::study::{Plan, Until, Unwatched, run};
use rowroom::report::json::read_results;
use rowroom::results::{Results, Stretch};
use rowroom::scenario::Scenario;
use tempfile::TempDir;

/// The smallest scenario, as the README shows it, on a short field: the tests are about commands, not about rates.
/// README's scenario on a short pass, as if all that it leaves out were known.
fn readme_scenario() -> String {
    readme_field().replace("[study]", "[study]\nunknowns = \"stated\"")
}

/// The same as it stands: much of it is not known.
fn readme_field() -> String {
    let readme = fs::read_to_string(repo("README.md")).unwrap();
    let (_, after) = readme.split_once("```toml\n").unwrap();
    let scenario = after.split_once("```").unwrap().0;
    format!("{scenario}\n[pass]\nlength = \"40 m\"\nentry_length = \"5 m\"\n")
}

fn repo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn binary(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rowroom"));
    command.current_dir(folder).args(arguments);
    command
}

fn rowroom(folder: &Path, arguments: &[&str]) -> Output {
    binary(folder, arguments).output().unwrap()
}

fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// An empty folder with the README's scenario in it.
fn field() -> TempDir {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("field.toml"), readme_scenario()).unwrap();
    folder
}

/// Names and contents of all files of a folder.
fn files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<(String, Vec<u8>)> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| {
            (
                entry.file_name().into_string().unwrap(),
                fs::read(entry.path()).unwrap(),
            )
        })
        .collect();
    files.sort();
    files
}

fn results(folder: &Path) -> Results {
    read_results(&fs::read_to_string(folder.join("results.json")).unwrap()).unwrap()
}

#[test]
fn regress_the_readme_scenario_is_studied() {
    let field = field();
    fs::write(field.path().join("field.toml"), readme_field()).unwrap();
    let done = rowroom(field.path(), &["study", "field.toml", "--passes", "3"]);
    assert_eq!(code(&done), 0, "{}", err(&done));
    assert!(out(&done).contains("My field"), "{}", out(&done));
    assert!(
        // Much of that field is not known: eight passes over each.
        err(&done).contains("8 passes at each of 3 speeds"),
        "{}",
        err(&done)
    );
    let folder = field.path().join("reports").join("field");
    let results = results(&folder);
    assert!(results.complete);
    assert_eq!(results.passes, 8);
    assert_eq!(results.scenario.file, "field.toml");
    for (name, bytes) in files(&folder) {
        assert!(!bytes.is_empty(), "{name} is empty");
        assert!(
            name.ends_with(".svg") || out(&done).contains(&name),
            "{name} is not told"
        );
    }
    for name in ["results.json", "rates.csv", "report.html"] {
        assert!(folder.join(name).is_file(), "{name} is missing");
    }
}

#[test]
fn regress_quiet_is_quiet() {
    let field = field();
    let done = rowroom(
        field.path(),
        &["study", "field.toml", "--passes", "2", "--quiet"],
    );
    assert_eq!(code(&done), 0, "{}", err(&done));
    assert_eq!((out(&done), err(&done)), (String::new(), String::new()));
}

/// Two blocks of passes, the second not full; merging its parts prints the same bytes.
#[test]
fn regress_json_on_standard_output_is_the_file_and_nothing_else() {
    let field = field();
    let study = ["study", "field.toml", "--passes", "9"];
    let told = rowroom(field.path(), &[&study[..], &["--json"]].concat());
    assert_eq!(code(&told), 0, "{}", err(&told));
    let folder = field.path().join("reports").join("field");
    let written = fs::read(folder.join("results.json")).unwrap();
    assert!(told.stdout == written);
    for words in ["My field", "Files in"] {
        assert!(err(&told).contains(words), "{}", err(&told));
    }
    let silent = rowroom(field.path(), &[&study[..], &["--json", "--quiet"]].concat());
    assert!(silent.stdout == written);
    assert_eq!(err(&silent), "");
    let mut merge = vec!["merge", "--json", "--quiet"];
    let parts = ["parts/part_1_of_2.json", "parts/part_2_of_2.json"];
    for (part, file) in ["1/2", "2/2"].into_iter().zip(parts) {
        let share = ["--part", part, "--out", "parts", "--quiet"];
        let done = rowroom(field.path(), &[&study[..], &share].concat());
        assert_eq!(code(&done), 0, "{}", err(&done));
        merge.push(file);
    }
    let merged = rowroom(field.path(), &merge);
    assert!(merged.stdout == written, "{}", err(&merged));
    let refused = rowroom(
        field.path(),
        &[&study[..], &["--part", "1/2", "--json"]].concat(),
    );
    assert_eq!(code(&refused), 2);
}

#[test]
fn regress_all_mistakes_of_a_file_are_told_at_once_with_their_places() {
    let folder = TempDir::new().unwrap();
    let text = readme_scenario()
        .replace("lookahead =", "lookahaed =")
        .replace("stroke = \"400 mm\"", "stroke = \"400 km/h\"")
        .replace("rated_flow = \"9 L/min\"", "rated_flow = \"900 L/min\"");
    fs::write(folder.path().join("wrong.toml"), &text).unwrap();
    let done = rowroom(folder.path(), &["study", "wrong.toml"]);
    assert_eq!(code(&done), 2);
    let told = err(&done);
    for (mistake, words) in [
        ("lookahaed", "lookahead"),
        ("\"400 km/h\"", "a length is wanted"),
        ("\"900 L/min\"", "300 L/min"),
    ] {
        let (line, column) = text
            .lines()
            .enumerate()
            .find_map(|(line, text)| Some((line + 1, text.find(mistake)? + 1)))
            .unwrap();
        let place = format!("wrong.toml:{line}:{column}: ");
        let found = told.lines().find(|line| line.starts_with(&place));
        assert!(
            found.is_some_and(|line| line.contains(words)),
            "{place} in:\n{told}"
        );
    }
    assert_eq!(files(folder.path()).len(), 1, "a folder was made");
}

#[test]
fn regress_bad_arguments_end_with_2_and_say_what_would_do() {
    let field = field();
    for (arguments, words) in [
        (&["study"][..], "<FILE>"),
        (&["study", "field.toml", "--passes", "1"], "2.."),
        (
            &["study", "field.toml", "--passes", "9", "--part", "0/3"],
            "such as 3/8",
        ),
        (
            &["study", "field.toml", "--passes", "9", "--part", "1/3"],
            "--part: there are more parts",
        ),
        (&["study", "field.toml", "--part", "1/3"], "--passes"),
        (&["study", "field.toml", "--minutes", "soon"], "minutes"),
        (
            &["study", "field.toml", "--passes", "9", "--most-passes", "9"],
            "cannot be used with",
        ),
        (&["merge"], "PART"),
        (
            &["pass", "field.toml", "--speed", "8"],
            "a speed is wanted, in km/h",
        ),
        (&["pass", "field.toml", "--speed", "800 km/h"], "25 km/h"),
        (
            &["pass", "field.toml", "--clearance", "5 bar"],
            "a length is wanted",
        ),
        (
            &["pass", "field.toml", "--clearance", "260 mm"],
            "--clearance 260 mm on either side leaves no room for tools between rows 500 mm apart (field.toml); give at most 250 mm",
        ),
        (&["pass", "field.toml", "--controller", "pdi"], "pid"),
        (
            &["pass", "field.toml", "--controller", "on_off"],
            "no directional valve",
        ),
        (&["harrow"], "harrow"),
    ] {
        let done = rowroom(field.path(), arguments);
        assert_eq!(code(&done), 2, "{arguments:?}: {}", err(&done));
        assert!(err(&done).contains(words), "{arguments:?}: {}", err(&done));
    }
    assert_eq!(files(field.path()).len(), 1, "a folder was made");
}

#[test]
fn regress_file_trouble_ends_with_1() {
    let field = field();
    let done = rowroom(field.path(), &["study", "nowhere.toml"]);
    assert_eq!(code(&done), 1);
    assert!(err(&done).contains("nowhere.toml"), "{}", err(&done));

    let inside_a_file = [
        "study",
        "field.toml",
        "--passes",
        "2",
        "--out",
        "field.toml/report",
    ];
    let done = rowroom(field.path(), &inside_a_file);
    assert_eq!(code(&done), 1);
    assert!(err(&done).contains("--out"), "{}", err(&done));
    assert_eq!(
        fs::read_to_string(field.path().join("field.toml")).unwrap(),
        readme_scenario()
    );
}

#[test]
fn regress_an_unstable_loop_ends_with_3_and_names_a_gain_that_would_do() {
    let folder = TempDir::new().unwrap();
    let text = readme_scenario().replace("simc_closed_loop_time = \"0.13 s\"", "gain = \"30 1/s\"");
    fs::write(folder.path().join("wild.toml"), text).unwrap();
    let done = rowroom(folder.path(), &["study", "wild.toml", "--passes", "2"]);
    assert_eq!(code(&done), 3, "{}", err(&done));
    assert!(
        err(&done).contains("the PID loop is unstable") && err(&done).contains("1/s would do"),
        "{}",
        err(&done)
    );
    assert!(!folder.path().join("reports").exists());
}

#[test]
fn regress_results_of_another_study_stay() {
    let field = field();
    let run = |extra: &[&str]| {
        let arguments = [
            "study",
            "field.toml",
            "--quiet",
            "--passes",
            "2",
            "--out",
            "report",
        ];
        rowroom(field.path(), &[&arguments[..], extra].concat())
    };
    let folder = field.path().join("report");
    assert_eq!(code(&run(&["--seed", "5"])), 0);
    let first = files(&folder);

    let other_seed = run(&["--seed", "6"]);
    assert_eq!(code(&other_seed), 1);
    assert!(err(&other_seed).contains("seed 5"), "{}", err(&other_seed));
    assert!(err(&other_seed).contains("--out"), "{}", err(&other_seed));
    assert!(files(&folder) == first);

    assert_eq!(code(&run(&["--seed", "5"])), 0);
    assert!(files(&folder) == first, "the same study gave other bytes");

    let wider = readme_scenario().replace("500 mm", "510 mm");
    fs::write(field.path().join("field.toml"), wider).unwrap();
    let other_scenario = run(&["--seed", "5"]);
    assert_eq!(code(&other_scenario), 1);
    assert!(files(&folder) == first);
}

#[test]
fn regress_the_thread_count_changes_no_byte() {
    let field = field();
    for threads in ["1", "2"] {
        let arguments = ["study", "field.toml", "--quiet", "--passes", "6"];
        let tail = ["--threads", threads, "--out", threads];
        let done = rowroom(field.path(), &[&arguments[..], &tail].concat());
        assert_eq!(code(&done), 0, "{}", err(&done));
    }
    let one = files(&field.path().join("1"));
    assert!(one.len() >= 4);
    assert!(one == files(&field.path().join("2")));
}

#[test]
fn regress_a_pass_of_a_study_is_the_same_pass() {
    let field = field();
    let study = [
        "study",
        "field.toml",
        "--quiet",
        "--passes",
        "3",
        "--out",
        "study",
    ];
    assert_eq!(code(&rowroom(field.path(), &study)), 0);
    let results = results(&field.path().join("study"));
    // The pass is as long as the row.
    let whole = results.at_work(Kind::Locked).unwrap();
    let in_study = (whole.cut.rate + whole.touched.rate) * whole.plants as f64;

    let mut in_passes = 0;
    for number in ["0", "1", "2"] {
        let arguments = [
            "pass",
            "field.toml",
            "--controller",
            "locked",
            "--number",
            number,
        ];
        let done = rowroom(field.path(), &[&arguments[..], &["--out", number]].concat());
        assert_eq!(code(&done), 0, "{}", err(&done));
        let plants = fs::read_to_string(
            field
                .path()
                .join(number)
                .join(format!("pass_{number}_locked_plants.csv")),
        )
        .unwrap();
        in_passes += plants
            .lines()
            .filter(|line| line.ends_with(",touched") || line.ends_with(",cut"))
            .count() as u64;
    }
    assert!(in_passes > 0, "a locked frame meets plants at 38 mm");
    // The study integrates the scatter of the plants, a pass draws it: a binomial count about the same expectation, 4 standard
    // deviations.
    let apart = (in_passes as f64 - in_study).abs();
    assert!(apart < 4.0 * in_study.sqrt(), "{in_passes} {in_study}");
}

#[test]
fn regress_a_pass_is_written_over_by_itself_alone() {
    let field = field();
    let arguments = ["pass", "field.toml", "--controller", "pid", "--out", "one"];
    let folder = field.path().join("one");
    assert_eq!(code(&rowroom(field.path(), &arguments)), 0);
    let first = files(&folder);
    for name in ["pass_0_pid_trace.csv", "pass_0_pid_above.svg"] {
        assert!(
            first.iter().any(|(file, _)| file == name),
            "{name} is missing"
        );
    }
    assert_eq!(code(&rowroom(field.path(), &arguments)), 0);
    assert!(files(&folder) == first);
    let other = rowroom(field.path(), &[&arguments[..], &["--seed", "9"]].concat());
    assert_eq!(code(&other), 1);
    assert!(files(&folder) == first);
}

#[test]
fn regress_the_starter_runs_and_is_never_written_over() {
    let folder = TempDir::new().unwrap();
    assert_eq!(code(&rowroom(folder.path(), &["starter", "new.toml"])), 0);
    let text = fs::read(folder.path().join("new.toml")).unwrap();
    let again = rowroom(folder.path(), &["starter", "new.toml"]);
    assert_eq!(code(&again), 1);
    assert!(
        err(&again).contains("new.toml is there already"),
        "{}",
        err(&again)
    );
    assert!(fs::read(folder.path().join("new.toml")).unwrap() == text);
    let done = rowroom(
        folder.path(),
        &["study", "new.toml", "--passes", "2", "--quiet"],
    );
    assert_eq!(code(&done), 0, "{}", err(&done));
}

#[test]
fn regress_schemas_are_json_and_every_command_has_an_example() {
    let folder = TempDir::new().unwrap();
    for (arguments, key) in [
        (&["schema"][..], "working_clearance"),
        (&["schema", "results"], "within_38mm_share"),
    ] {
        let text = out(&rowroom(folder.path(), arguments));
        assert!(serde_json::from_str::<serde_json::Value>(&text).is_ok());
        assert!(text.contains(key));
    }
    for command in [
        "study", "merge", "pass", "compare", "sweep", "design", "starter", "schema",
    ] {
        let text = out(&rowroom(folder.path(), &[command, "--help"]));
        assert!(text.contains(&format!("  rowroom {command} ")), "{text}");
    }
    let text = out(&rowroom(folder.path(), &["--help"]));
    assert!(text.contains("Exit codes: 0 done"), "{text}");
}

#[test]
fn regress_a_logged_pass_is_asked_for_once_and_then_replayed() {
    let folder = TempDir::new().unwrap();
    let scenario = repo("scenarios/replayed_pass.toml");
    let log = repo("tests/data/synthetic_pass.csv");
    let study = [
        "study",
        scenario.to_str().unwrap(),
        "--passes",
        "2",
        "--quiet",
    ];
    let without = rowroom(folder.path(), &study);
    assert_eq!(code(&without), 2);
    assert_eq!(err(&without).lines().count(), 1, "{}", err(&without));
    assert!(err(&without).contains("--replay"), "{}", err(&without));
    let done = rowroom(
        folder.path(),
        &[&study[..], &["--replay", log.to_str().unwrap()]].concat(),
    );
    assert_eq!(code(&done), 0, "{}", err(&done));
    assert!(
        folder
            .path()
            .join("reports/replayed_pass/results.json")
            .is_file()
    );
}

#[cfg(unix)]
#[test]
fn regress_a_file_that_cannot_be_finished_leaves_nothing_behind() {
    let field = field();
    // No file may grow beyond 512 or 1024 bytes: the write fails half-way, as on a full disk.
    let shell = "trap '' XFSZ; ulimit -f 1; exec \"$0\" study field.toml --passes 2";
    let done = Command::new("sh")
        .current_dir(field.path())
        .args(["-c", shell, env!("CARGO_BIN_EXE_rowroom")])
        .output()
        .unwrap();
    assert_eq!(code(&done), 1, "{}", err(&done));
    assert!(
        err(&done).contains("could not be written"),
        "{}",
        err(&done)
    );
    assert!(
        err(&done).contains("Nothing in the folder was changed"),
        "{}",
        err(&done)
    );
    assert!(!field.path().join("reports").exists());
}

/// Interrupts a run after its first passes.
#[cfg(unix)]
fn interrupt_on_its_way(folder: &Path, arguments: &[&str], signal: &str) -> String {
    let mut after_ms = 200;
    loop {
        let (code, told) = interrupt(folder, arguments, after_ms, signal);
        assert_eq!(code, 130, "{told}");
        if !told.contains("no pass was done") {
            return told;
        }
        after_ms *= 2;
    }
}

/// Starts a run, waits until it says that it runs and then so many milliseconds, and sends a signal; Ctrl-C is INT.
#[cfg(unix)]
fn interrupt(folder: &Path, arguments: &[&str], after_ms: u64, signal: &str) -> (i32, String) {
    use std::io::{BufRead, BufReader, Read};
    use std::process::Stdio;

    let mut running = binary(folder, arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut told = String::new();
    let mut errors = BufReader::new(running.stderr.take().unwrap());
    errors.read_line(&mut told).unwrap();
    assert!(told.starts_with("Studying"), "{told}");
    std::thread::sleep(std::time::Duration::from_millis(after_ms));
    let id = running.id().to_string();
    assert!(
        Command::new("kill")
            .args(["-s", signal, &id])
            .status()
            .unwrap()
            .success()
    );
    errors.read_to_string(&mut told).unwrap();
    (running.wait().unwrap().code().unwrap(), told)
}

/// Interrupted twice and gone on with, a study ends with the bytes of one that was left alone; in between lie valid results of
/// the passes that were done.
#[cfg(unix)]
#[test]
fn regress_an_interrupted_study_goes_on_to_the_same_bytes() {
    let field = field();
    let study = |out| ["study", "field.toml", "--passes", "1500", "--out", out];
    let broken = field.path().join("broken");
    let mut before = 0;
    for _ in 0..2 {
        let told = interrupt_on_its_way(field.path(), &study("broken"), "INT");
        assert!(told.contains("interrupted: "), "{told}");
        let partial = results(&broken);
        assert!(!partial.complete);
        assert!(before < partial.passes && partial.passes < 4000);
        assert!(told.contains(&format!("interrupted: {} of", partial.passes)));
        assert_eq!(partial.passes % 8, 0);
        before = partial.passes;
    }
    let done = rowroom(field.path(), &study("broken"));
    assert_eq!(code(&done), 0, "{}", err(&done));
    assert!(
        err(&done).contains(&format!("going on after {before}")),
        "{}",
        err(&done)
    );
    assert_eq!(code(&rowroom(field.path(), &study("whole"))), 0);
    let whole = files(&field.path().join("whole"));
    assert!(results(&broken).complete);
    assert!(files(&broken) == whole, "the bytes differ");
}

/// A study of its own accord: stopped by its time or by Ctrl-C and gone on with, it decides at the same look.
#[test]
fn regress_time_ends_a_study_that_goes_on_to_the_same_decision() {
    let field = field();
    // So long a pass that the time is over before the first look.
    let long = readme_scenario().replace("\"40 m\"", "\"500 m\"");
    fs::write(field.path().join("field.toml"), long).unwrap();
    let most = ["study", "field.toml", "--most-passes", "1500", "--out"];
    let with =
        |out: &str, extra: &[&str]| rowroom(field.path(), &[&most[..], &[out], extra].concat());
    let mut minutes = 0.002;
    let short = loop {
        let arguments = ["--minutes", &minutes.to_string(), "--threads", "1"];
        let short = with("short", &arguments);
        if !err(&short).contains("too soon") {
            break short;
        }
        minutes *= 2.0;
    };
    assert_eq!(code(&short), 0, "{}", err(&short));
    assert!(err(&short).contains("The time is over"), "{}", err(&short));
    let folder = field.path().join("short");
    let partial = results(&folder);
    assert!(!partial.complete && partial.passes > 0);
    assert!(out(&short).contains("cut short"), "{}", out(&short));

    assert_eq!(code(&with("short", &["--threads", "2"])), 0);
    assert_eq!(code(&with("whole", &[])), 0);
    let whole = results(&field.path().join("whole"));
    assert!(whole.complete && whole.passes >= partial.passes);
    assert!(files(&folder) == files(&field.path().join("whole")));

    // As many passes, told beforehand, give the same bytes.
    let passes = whole.passes.to_string();
    let told = ["study", "field.toml", "--passes", &passes, "--out", "told"];
    assert_eq!(code(&rowroom(field.path(), &told)), 0);
    assert!(files(&folder) == files(&field.path().join("told")));
}

/// Enough is enough, and what is open is told with the passes that it would take.
#[test]
fn regress_a_study_ends_once_it_is_decided() {
    let field = field();
    let with = |allowed: &str, most: &str| {
        let text = readme_scenario().replace(
            "[study]",
            &format!("[study]\nallowed_cut_rate = \"{allowed}\""),
        );
        fs::write(field.path().join("field.toml"), text).unwrap();
        let study = [
            "study",
            "field.toml",
            "--most-passes",
            most,
            "--out",
            allowed,
        ];
        let done = rowroom(field.path(), &study);
        assert_eq!(code(&done), 0, "{}", err(&done));
        (results(&field.path().join(allowed)), out(&done))
    };
    // A locked frame cuts more than that, a guided one hardly any: decided at the first look.
    let (clear, text) = with("40 %", "5000");
    assert_eq!(clear.passes, 64, "{text}");
    assert!(clear.complete && clear.undecided.is_empty());
    // The rate that the PID shows is allowed: few passes cannot tell on which side it lies.
    let percent = format!(
        "{:.3} %",
        100.0 * clear.at_work(Kind::Pid).unwrap().cut.rate
    );
    let (open, text) = with(&percent, "16");
    assert_eq!((open.passes, open.complete), (16, true));
    let pid = open
        .undecided
        .iter()
        .find(|open| open.controller == Kind::Pid && open.speed_m_s == clear.working_speed_m_s);
    assert!(pid.unwrap().passes_needed > 16);
    assert!(text.contains("Not decided"), "{text}");
}

#[test]
fn regress_parts_put_together_are_the_whole() {
    let field = field();
    let study = ["study", "field.toml", "--quiet", "--passes"];
    let part = |passes: &str, part: &str, extra: &[&str]| {
        let done = rowroom(
            field.path(),
            &[&study[..], &[passes, "--part", part], extra].concat(),
        );
        assert_eq!(code(&done), 0, "{}", err(&done));
    };
    // 44 passes are six blocks, the last of them not full.
    for number in ["1/3", "2/3", "3/3"] {
        part("44", number, &["--out", "shares"]);
    }
    let whole = [&study[..], &["44", "--out", "whole"]].concat();
    assert_eq!(code(&rowroom(field.path(), &whole)), 0);
    let share = |number| format!("shares/part_{number}_of_3.json");
    let merge = |parts: &[&str], out: &str| {
        let arguments = [&["merge", "--quiet", "--out", out], parts].concat();
        rowroom(field.path(), &arguments)
    };
    let all = [share(3), share(1), share(2)];
    let all: Vec<&str> = all.iter().map(String::as_str).collect();
    // Nothing but the parts is needed.
    fs::rename(
        field.path().join("field.toml"),
        field.path().join("away.toml"),
    )
    .unwrap();
    let merged = merge(&all, "merged");
    assert_eq!(code(&merged), 0, "{}", err(&merged));
    let whole = files(&field.path().join("whole"));
    assert!(
        files(&field.path().join("merged")) == whole,
        "the bytes differ"
    );
    fs::rename(
        field.path().join("away.toml"),
        field.path().join("field.toml"),
    )
    .unwrap();

    // A part that is there already is left as it is; one of another study is refused.
    let before = files(&field.path().join("shares"));
    part("44", "2/3", &["--out", "shares"]);
    assert!(files(&field.path().join("shares")) == before);
    let other = [&study[..], &["52", "--part", "2/3", "--out", "shares"]].concat();
    let other = rowroom(field.path(), &other);
    assert_eq!(code(&other), 1);
    assert!(err(&other).contains("--out"), "{}", err(&other));
    assert!(files(&field.path().join("shares")) == before);

    part("44", "2/3", &["--out", "seed", "--seed", "9"]);
    part("44", "2/4", &["--out", "four"]);
    for (parts, words) in [
        (
            vec![all[0], all[1]],
            "part_3_of_3.json is one of 3 parts, and these are missing: 2",
        ),
        (
            vec![all[0], all[1], all[2], all[1]],
            "part 1 was given twice",
        ),
        (
            vec![all[0], all[1], "seed/part_2_of_3.json"],
            "differ in the seed",
        ),
        (
            vec![all[0], all[1], "four/part_2_of_4.json"],
            "differ in the number of parts",
        ),
        (
            vec![all[0], "field.toml"],
            "field.toml is no part of a study",
        ),
        (
            vec!["whole/results.json"],
            "results.json is no part of a study",
        ),
    ] {
        let refused = merge(&parts, "refused");
        assert_eq!(code(&refused), 2, "{}", err(&refused));
        assert!(err(&refused).contains(words), "{}", err(&refused));
        assert!(!field.path().join("refused").exists());
    }
}

/// A part that a batch system stopped is not merged; its command goes on from there.
#[cfg(unix)]
#[test]
fn regress_an_interrupted_part_goes_on() {
    let field = field();
    let half = |number, out| {
        let study = ["study", "field.toml", "--passes", "1500", "--part"];
        [&study[..], &[number, "--out", out]].concat()
    };
    let told = interrupt_on_its_way(field.path(), &half("1/2", "broken"), "TERM");
    assert!(told.contains("of this part are done"), "{told}");
    let refused = rowroom(field.path(), &["merge", "broken/part_1_of_2.json"]);
    assert_eq!(code(&refused), 2);
    assert!(
        err(&refused).contains("is not finished"),
        "{}",
        err(&refused)
    );
    for out in ["broken", "alone"] {
        let done = rowroom(field.path(), &half("1/2", out));
        assert_eq!(code(&done), 0, "{}", err(&done));
    }
    let broken = files(&field.path().join("broken"));
    assert!(broken == files(&field.path().join("alone")));
}

/// Both meet the same ground, so their difference is known far better than either rate.
#[test]
fn regress_differences_are_narrower_than_rates() {
    let field = field();
    let study = ["study", "field.toml", "--quiet", "--passes", "64"];
    assert_eq!(code(&rowroom(field.path(), &study)), 0);
    let results = results(&field.path().join("reports/field"));
    let rate = |controller: Kind, speed_m_s: f64| {
        let clearance_m = results.working_clearance_m;
        let rate = results.rate(Stretch::Whole, controller, speed_m_s, clearance_m);
        rate.unwrap().cut
    };
    // Three controllers in pairs; each at three speeds, one after the other.
    assert_eq!(results.differences.len(), 3 + 3 * 2);
    let mut narrower = 0;
    for difference in &results.differences {
        let one = rate(difference.controller, difference.speed_m_s);
        let other = rate(difference.against, difference.against_speed_m_s);
        // Sums of 64 passes, each rounded once.
        let apart = difference.difference - (one.rate - other.rate);
        assert!(apart.abs() < 1e-14, "{apart}");
        assert!(difference.lower <= difference.difference);
        assert!(difference.difference <= difference.upper);
        let unpaired = (one.upper - one.lower).hypot(other.upper - other.lower);
        let paired = difference.upper - difference.lower;
        // Against a locked frame, which cuts most, the other rate hardly counts: no more than a tenth wider.
        assert!(paired < 1.1 * unpaired, "{difference:?} {unpaired}");
        narrower += usize::from(paired < 0.7 * unpaired);
    }
    assert!(2 * narrower > results.differences.len(), "{narrower}");
}

#[cfg(unix)]
#[test]
fn regress_the_bare_command_studies_the_demo_from_an_empty_folder() {
    let folder = TempDir::new().unwrap();
    let (code, told) = interrupt(folder.path(), &[], 0, "INT");
    assert_eq!(code, 130, "{told}");
    assert!(told.contains("interrupted: "), "{told}");
    let report = folder.path().join("reports/demo");
    assert_eq!(
        told.contains("no pass was done"),
        !report.exists(),
        "{told}"
    );
    assert!(!report.exists() || !results(&report).complete);
}

/// Colours are for a terminal: through a pipe nothing but plain words comes out.
#[test]
fn regress_no_colour_goes_through_a_pipe() {
    let field = field();
    let studied = rowroom(field.path(), &["study", "field.toml", "--passes", "3"]);
    let refused = rowroom(field.path(), &["study", "nothing.toml"]);
    for text in [out(&studied), err(&studied), err(&refused)] {
        assert!(!text.is_empty() && !text.contains('\u{1b}'), "{text}");
    }
    let mut forced = binary(field.path(), &["study", "nothing.toml"]);
    let forced = forced.env("CLICOLOR_FORCE", "1").output().unwrap();
    assert!(err(&forced).contains("\u{1b}["), "{}", err(&forced));
}

/// The scenario, read as the command reads it, and its first passes as a run would keep them.
fn passes_so_far(field: &TempDir, passes: u64) -> String {
    let scenario = Scenario::read(&field.path().join("field.toml"), None).unwrap();
    let plan = Plan {
        scenario: &scenario,
        seed: scenario.study().seed,
        until: Until::Passes(passes),
        threads: Some(1),
    };
    let run = run(&plan, None, &Unwatched).unwrap();
    run.saved.to_json().unwrap()
}

#[test]
fn regress_names_of_any_script_are_studied_and_compared() {
    let field = TempDir::new().unwrap();
    for (file, name) in [
        ("one.toml", "Grüne Près Grønkål"),
        ("two.toml", "Поле 🌱 №7"),
    ] {
        let text = readme_scenario().replace("My field", name);
        fs::write(field.path().join(file), text).unwrap();
        let done = rowroom(field.path(), &["study", file, "--passes", "2"]);
        assert_eq!(code(&done), 0, "{}", err(&done));
        assert!(out(&done).contains(name), "{}", out(&done));
    }
    for arguments in [
        &["compare", "reports/one", "reports/two"][..],
        &["compare", "one.toml", "two.toml", "--passes", "8"],
    ] {
        let done = rowroom(field.path(), arguments);
        assert_eq!(code(&done), 0, "{}", err(&done));
        assert!(out(&done).contains("Grønkål"), "{}", out(&done));
    }
}

/// A driver who looks five seconds ahead cuts a tight bend the shorter the faster he drives, until the tractor leaves the row. What is
/// never met counts as cut: the same plants at every speed under every controller.
#[test]
fn regress_plants_of_lost_passes_count_as_cut() {
    let field = field();
    let bent = |speeds: &str| {
        readme_scenario()
            .replace("\"40 m\"", "\"200 m\"")
            .replace(
                "[line.straight]",
                "[line.s_bend]\nstart = \"40 m\"\nlength = \"80 m\"\nradius = \"6 m\"",
            )
            .replace("[driver.hand]", "[driver.hand]\npreview_time = \"5 s\"")
            .replace("[\"4 km/h\", \"8 km/h\", \"12 km/h\"]", speeds)
            .replace("working_speed = \"8 km/h\"", "working_speed = \"16 km/h\"")
    };
    let study = ["study", "field.toml", "--passes", "8", "--out", "bent"];
    let file = field.path().join("field.toml");
    fs::write(&file, bent("[\"4 km/h\", \"8 km/h\", \"16 km/h\"]")).unwrap();
    let done = rowroom(field.path(), &study);
    assert_eq!(code(&done), 0, "{}", err(&done));
    let results = results(&field.path().join("bent"));
    let lost = &results.lost_passes;
    assert!(lost.iter().any(|lost| lost.passes == 8), "{lost:?}");
    assert!(
        lost.iter()
            .all(|lost| lost.speed_m_s > results.speeds_m_s[0])
    );
    assert!(results.warnings.contains(&Warning::LostRow));
    for stretch in Stretch::ALL {
        let rates = || results.rates.iter().filter(|rate| rate.stretch == stretch);
        let plants = rates().next().unwrap().plants;
        assert!(plants > 0 && rates().all(|rate| rate.plants == plants));
    }
    // The bend begins within the first quarter of the row: most of it is never met.
    let fastest = |rate: &&rowroom::results::Rate| rate.speed_m_s == results.speeds_m_s[2];
    for rate in results.whole_rows().filter(fastest) {
        assert!(rate.cut.rate > 0.5, "{rate:?}");
    }
    // A single pass tells the same.
    let pass = ["pass", "field.toml", "--out", "pass", "--speed", "16 km/h"];
    let done = rowroom(field.path(), &pass);
    assert_eq!(code(&done), 0, "{}", err(&done));

    // Where not even the slowest speed stays on the row, nothing is promised.
    fs::write(&file, bent("[\"16 km/h\"]")).unwrap();
    let done = rowroom(field.path(), &["study", "field.toml", "--passes", "8"]);
    assert_eq!(code(&done), 2);
    for words in ["loses the row in 8 of 8 passes", "a bend of 6.0 m radius"] {
        assert!(err(&done).contains(words), "{}", err(&done));
    }
    assert!(!field.path().join("reports").exists());
}

/// A bend right where the tools are lowered throws the tractor off before the first plant: no trace has a sample on the field.
#[test]
fn regress_a_tractor_that_never_comes_onto_the_field_is_told() {
    let field = TempDir::new().unwrap();
    let leeks = fs::read_to_string(repo("scenarios/leeks.toml")).unwrap();
    for (radius, length) in [("8 m", "20 m"), ("8 m", "12 m"), ("6 m", "40 m")] {
        let bend =
            format!("[line.s_bend]\nstart = \"0 m\"\nlength = \"{length}\"\nradius = \"{radius}\"");
        let text = leeks.replace("[line.straight]", &bend);
        fs::write(field.path().join("bend.toml"), text).unwrap();
        let study = ["study", "bend.toml", "--passes", "8"];
        let refused = rowroom(field.path(), &study);
        assert_eq!(code(&refused), 2);
        for words in ["bend.toml: ", "8 of 8 passes", "look at the planned line"] {
            assert!(err(&refused).contains(words), "{}", err(&refused));
        }
        let pass = ["pass", "bend.toml", "--out", &format!("{radius} {length}")];
        let done = rowroom(field.path(), &pass);
        assert_eq!(code(&done), 0, "{}", err(&done));
        let told = out(&done);
        assert!(
            told.contains("100 % of the plants of the whole row cut, 0 % touched"),
            "{told}"
        );
    }
}

#[test]
fn regress_progress_never_goes_silently() {
    let field = field();
    let folder = field.path().join("kept");
    fs::create_dir(&folder).unwrap();
    let so_far = folder.join("so_far.json");
    let text = passes_so_far(&field, 16);
    let study = |passes: &str| {
        let study = ["study", "field.toml", "--out", "kept", "--passes", passes];
        rowroom(field.path(), &study)
    };
    let sums = text.find("\"sums\"").unwrap();
    let digit = sums
        + text[sums..]
            .find(|c: char| ('1'..='8').contains(&c))
            .unwrap();
    let mut changed = text.clone();
    changed.replace_range(digit..=digit, "9");
    let other_seed = ["study", "field.toml", "--out", "kept", "--seed", "9"];
    let decided = ["study", "field.toml", "--out", "kept"];
    for (kept, done, words) in [
        (&text, Some("8"), "it holds 16 passes of this study"),
        (&text, None, "another seed"),
        (&text[..text.len() / 2].to_owned(), Some("24"), "cut short"),
        (&changed, Some("24"), "do not fit their seal"),
        (&String::from("{}"), Some("24"), "something else"),
    ] {
        fs::write(&so_far, kept).unwrap();
        let done = match done {
            Some(passes) => study(passes),
            None => rowroom(field.path(), &other_seed),
        };
        assert_eq!(code(&done), 1, "{}", err(&done));
        for words in [words, "so_far.json", "to begin anew", "--out"] {
            assert!(err(&done).contains(words), "{}", err(&done));
        }
        assert_eq!(&fs::read_to_string(&so_far).unwrap(), kept);
    }
    fs::write(&so_far, &text).unwrap();
    let done = rowroom(field.path(), &decided);
    assert!(err(&done).contains("go on with --passes"), "{}", err(&done));
    let done = study("24");
    assert!(err(&done).contains("going on after 16"), "{}", err(&done));
    assert_eq!(code(&done), 0);
    assert!(!so_far.exists());
    let whole = files(&folder);
    let alone = ["study", "field.toml", "--out", "alone", "--passes", "24"];
    assert_eq!(code(&rowroom(field.path(), &alone)), 0);
    assert!(whole == files(&field.path().join("alone")));
    // A finished study is not replaced by one with fewer passes.
    let fewer = study("8");
    assert_eq!(code(&fewer), 1);
    assert!(
        err(&fewer).contains("a finished study of 24 passes"),
        "{}",
        err(&fewer)
    );
    assert!(files(&folder) == whole);
}

/// Every digit of the sums of a part, one at a time: refused with the file's name.
#[test]
fn regress_no_changed_part_is_put_together() {
    let field = field();
    let part = ["study", "field.toml", "--passes", "8", "--part", "1/1"];
    let part = [&part[..], &["--out", "parts"]].concat();
    assert_eq!(code(&rowroom(field.path(), &part)), 0);
    let text = fs::read_to_string(field.path().join("parts/part_1_of_1.json")).unwrap();
    Saved::from_json(&text).unwrap();
    let sums = text.find("\"sums\"").unwrap();
    let digits: Vec<usize> = (sums..text.len())
        .filter(|&at| text.as_bytes()[at].is_ascii_digit())
        .collect();
    assert!(digits.len() > 10_000);
    for &at in digits.iter().step_by(digits.len() / 200) {
        let mut changed = text.clone();
        let other = if &text[at..=at] == "5" { "6" } else { "5" };
        changed.replace_range(at..=at, other);
        // A last digit beyond what a float holds changes nothing.
        let told = Saved::from_json(&changed).map_err(|why| why.to_string());
        assert!(
            told.as_ref()
                .is_err_and(|why| why.contains("seal") || why.contains("cut short"))
                || told == Saved::from_json(&text).map_err(|why| why.to_string()),
            "at {at}"
        );
    }
    let old = r#"{"saved":{"format":1,"tool":{"name":"rowroom","version":"0.0.9"}}}"#;
    fs::write(field.path().join("old.json"), old).unwrap();
    let refused = rowroom(field.path(), &["merge", "old.json"]);
    assert_eq!(code(&refused), 2);
    for words in ["old.json", "rowroom 0.0.9"] {
        assert!(err(&refused).contains(words), "{}", err(&refused));
    }
}

#[test]
fn regress_two_studies_do_not_share_a_folder() {
    let field = field();
    let folder = field.path().join("shared");
    fs::create_dir(&folder).unwrap();
    let lock = fs::File::create(folder.join(".rowroom-lock")).unwrap();
    lock.lock().unwrap();
    let study = ["study", "field.toml", "--passes", "2", "--out", "shared"];
    let refused = rowroom(field.path(), &study);
    assert_eq!(code(&refused), 1);
    assert!(
        err(&refused).contains("in use by another run"),
        "{}",
        err(&refused)
    );
    // The system frees the lock of a run that was killed.
    drop(lock);
    let done = rowroom(field.path(), &study);
    assert_eq!(code(&done), 0, "{}", err(&done));
    assert!(!folder.join(".rowroom-lock").exists());
}

#[test]
fn regress_no_hours_by_day_are_no_reason_to_lose_a_study() {
    let field = TempDir::new().unwrap();
    let text = fs::read_to_string(repo("scenarios/leeks.toml")).unwrap();
    let hours = |key: &str, text: String| -> String {
        let lines = text.lines().map(|line| {
            if line.starts_with(&format!("{key} = ")) {
                format!("{key} = {}\n", if key == "day_hours" { "0" } else { "6" })
            } else {
                format!("{line}\n")
            }
        });
        lines.collect()
    };
    let text = hours("night_hours", hours("day_hours", text));
    assert!(text.contains("day_hours = 0") && text.contains("night_hours = 6"));
    fs::write(field.path().join("night.toml"), text).unwrap();
    let done = rowroom(field.path(), &["study", "night.toml", "--passes", "8"]);
    assert_eq!(code(&done), 0, "{}", err(&done));
    let night = results(&field.path().join("reports/night"))
        .answers
        .spacing
        .night;
    assert_eq!(night.unwrap().days_without, None);
}

#[test]
fn regress_more_passes_than_sums_can_hold_are_refused() {
    let field = field();
    for passes in ["18446744073709551615", "9223372036854775808", "1000000001"] {
        for more in [&[][..], &["--part", "1/3"]] {
            let study = ["study", "field.toml", "--passes", passes];
            let refused = rowroom(field.path(), &[&study[..], more].concat());
            assert_eq!(code(&refused), 2);
            assert!(
                err(&refused).contains("2..=1000000000"),
                "{}",
                err(&refused)
            );
        }
    }
}

/// A disk that is full takes nothing, and that is said.
#[cfg(target_os = "linux")]
#[test]
fn regress_output_to_a_full_device_ends_with_1() {
    let field = field();
    for arguments in [
        &["schema"][..],
        &["--help"],
        &["--version"],
        &["study", "field.toml", "--passes", "2"],
    ] {
        let full = fs::OpenOptions::new()
            .write(true)
            .open("/dev/full")
            .unwrap();
        let done = binary(field.path(), arguments)
            .stdout(full)
            .output()
            .unwrap();
        assert_eq!(code(&done), 1, "{arguments:?}: {}", err(&done));
    }
}

/// The reader of a long text does not read on: the first Ctrl-C asks, the second ends.
#[cfg(unix)]
#[test]
fn regress_a_second_interrupt_always_ends_the_program() {
    use std::process::Stdio;
    use std::time::Duration;

    let field = field();
    let mut running = binary(field.path(), &["schema"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let interrupt = |id: u32| {
        std::thread::sleep(Duration::from_millis(300));
        let sent = Command::new("kill")
            .args(["-s", "INT", &id.to_string()])
            .status();
        assert!(sent.unwrap().success());
    };
    interrupt(running.id());
    std::thread::sleep(Duration::from_millis(300));
    assert!(running.try_wait().unwrap().is_none(), "it was to be stuck");
    interrupt(running.id());
    assert_eq!(running.wait().unwrap().code(), Some(130));
}

#[test]
fn regress_results_that_contradict_themselves_get_no_page() {
    let field = field();
    let study = ["study", "field.toml", "--passes", "2", "--quiet"];
    assert_eq!(code(&rowroom(field.path(), &study)), 0);
    let mut changed = results(&field.path().join("reports/field"));
    changed.rates[1].cut.lower = 1.0;
    let text = serde_json::to_string(&changed).unwrap();
    fs::write(field.path().join("changed.json"), text).unwrap();
    let refused = rowroom(field.path(), &["compare", "reports/field", "changed.json"]);
    assert_eq!(code(&refused), 2);
    for words in ["changed.json contradicts itself", "rates[1]"] {
        assert!(err(&refused).contains(words), "{}", err(&refused));
    }
}

/// Notes are learned from, and the scenario that is written holds them, with its comments; a study goes on from there. Nothing that is
/// there is touched, and mistakes have their place.
#[test]
fn regress_notes_are_learned_from() {
    let field = field();
    let scenario = format!("# My own.\n{}", readme_field());
    fs::write(field.path().join("field.toml"), &scenario).unwrap();
    let notes = "place,row,left_mm,right_mm,plants,cut\n1,1,36,41,200,3\n2,3,44,31,200,0\n3,2,40,37,200,1\n4,1,33,45,200,0\n";
    fs::write(field.path().join("walk.csv"), notes).unwrap();
    let learn = ["learn", "field.toml", "walk.csv"];
    let done = rowroom(field.path(), &learn);
    assert_eq!(code(&done), 0, "{}", err(&done));
    for words in [
        "4 pairs of gaps at 8 km/h, tools 38 mm from the row",
        "800 plants at 4 places at 8 km/h, tools 38 mm from the row: 4 cut",
        "Before: on 9 farms in 10",
        "Now:    between",
        "rowroom study field_learned.toml",
    ] {
        assert!(out(&done).contains(words), "{}", out(&done));
    }
    let written = fs::read_to_string(field.path().join("field_learned.toml")).unwrap();
    assert!(
        written.starts_with(&scenario[..scenario.len() - 1]),
        "{written}"
    );
    assert!(
        written.contains("[[notes]]\ngaps = [[\"36 mm\", \"41 mm\"]"),
        "{written}"
    );
    let picture = fs::read_to_string(field.path().join("field_learned.svg")).unwrap();
    assert!(picture.contains("<svg") && picture.contains("before the notes"));
    let study = ["study", "field_learned.toml", "--passes", "8", "--quiet"];
    assert_eq!(code(&rowroom(field.path(), &study)), 0);

    let again = rowroom(field.path(), &learn);
    assert_eq!(code(&again), 1);
    assert!(
        err(&again).contains("is there already and was not touched"),
        "{}",
        err(&again)
    );
    let json = rowroom(
        field.path(),
        &[&learn[..], &["--json", "--out", "two.toml"]].concat(),
    );
    let lesson: rowroom::results::lesson::Lesson = serde_json::from_str(&out(&json)).unwrap();
    assert_eq!((lesson.found[0].plants, lesson.found[0].cut), (800, 4));
    assert!(lesson.cut_after.p95 < lesson.cut_before.p95);

    fs::write(
        field.path().join("wrong.csv"),
        "place,row,left_mm,right_mm\n1,1,36,wide\n",
    )
    .unwrap();
    let wrong = rowroom(
        field.path(),
        &["learn", "field.toml", "wrong.csv", "--out", "three.toml"],
    );
    assert_eq!(code(&wrong), 2);
    assert!(
        err(&wrong).contains("wrong.csv:2:1: the right gap \"wide\" is no length"),
        "{}",
        err(&wrong)
    );
    assert!(!field.path().join("three.toml").exists());
}
