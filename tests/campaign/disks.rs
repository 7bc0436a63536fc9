//! Disks that are full from the n-th byte on, and readers that take nothing: a failure changes nothing, and the same command
//! without it gives the same bytes.

use std::path::Path;

use crate::case::{Case, Verdict};
use crate::judge::{self, Files};
use crate::prepared::PASSES;
use crate::run::Around;

/// Whether this system has such disks.
pub fn possible() -> bool {
    cfg!(unix)
}

/// One failing writer.
pub fn case(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    case.write("field.toml", prepared.field.as_bytes());
    case.write_all("whole", &prepared.whole);
    case.write_all("parts", &prepared.parts);
    let none = Files::new();
    let study = [
        "study",
        "field.toml",
        "--passes",
        PASSES,
        "--threads",
        "1",
        "--out",
        "out",
    ];
    let part: Files = [(
        "part_1_of_2.json".to_owned(),
        prepared.parts["part_1_of_2.json"].clone(),
    )]
    .into();
    let merge = [
        "merge",
        "parts/part_1_of_2.json",
        "parts/part_2_of_2.json",
        "--out",
        "out",
    ];
    let (command, before, wanted): (Vec<&str>, &Files, &Files) = match case.dice.below(6) {
        0 => (study.into(), &none, &prepared.whole),
        1 => (study.into(), &prepared.stopped, &prepared.whole),
        2 => ([&study[..], &["--part", "1/2"]].concat(), &none, &part),
        3 => (merge.into(), &none, &prepared.whole),
        4 => (
            vec!["pass", "field.toml", "--out", "out"],
            &none,
            &prepared.pass,
        ),
        _ => (
            vec!["compare", "whole", "whole", "--out", "out"],
            &none,
            &prepared.comparison,
        ),
    };
    case.write_all("out", before);
    let mut faults = Vec::new();
    let first = if Path::new("/dev/full").exists() && case.dice.once_in(4) {
        // Files are written before the answer is printed, so they may be there.
        let ran = case.run_in(
            &command,
            Around {
                redirected: ">/dev/full",
                ..Around::default()
            },
        );
        faults.extend(judge::ended(&ran));
        if ran.code != Some(1) || !ran.told().contains("printed") {
            faults.push(format!(
                "exit code {:?} though nobody can read the answer",
                ran.code
            ));
        }
        ran
    } else {
        // Blocks of 512 or of 1024 bytes, by the shell.
        let most = wanted.values().map(Vec::len).max().unwrap_or(0) / 512 + 2;
        let end = case.dice.of(&[most, 40]);
        let blocks = case.dice.below(end);
        let limited = format!("trap '' XFSZ; ulimit -f {blocks};");
        let ran = case.run_in(
            &command,
            Around {
                before: &limited,
                ..Around::default()
            },
        );
        faults.extend(judge::ended(&ran));
        faults.extend(judge::names(&ran, &["out"]));
        // Progress may be saved; whether it is of use, the next run shows.
        let but_progress = |mut files: Files| {
            files.remove("so_far.json");
            files
        };
        faults.extend(judge::untouched(
            &ran,
            &but_progress(before.clone()),
            &but_progress(case.files("out")),
        ));
        if !matches!(ran.code, Some(0 | 1)) {
            faults.push(format!("exit code {:?} on a full disk", ran.code));
        }
        ran
    };
    let ran = case.run(&command);
    faults.extend(judge::ended(&ran));
    if ran.code != Some(0) {
        faults.push(format!("does not run after a full disk: {}", ran.told()));
    }
    faults.extend(judge::same(wanted, &case.files("out")));
    Verdict::new(&first, faults)
}
