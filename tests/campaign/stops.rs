//! Studies that are stopped at any moment and gone on with: they end with the bytes of one that was left alone.

use std::thread;

use crate::case::{Case, Verdict};
use crate::judge;

/// Stops a study up to five times, in every third case without notice.
pub fn case(case: &mut Case) -> Verdict {
    let prepared = case.prepared;
    let long = &prepared.long[case.dice.below(prepared.long.len())];
    case.write("long.toml", long.text.as_bytes());
    let mut command: Vec<&str> = long.command.iter().map(String::as_str).collect();
    command.extend(["--out", "out"]);
    let kills = case.dice.once_in(3);
    let mut faults = Vec::new();
    for _ in 0..case.dice.from(1, 5) {
        let before = case.files("out");
        let mut running = case.start(&command);
        thread::sleep(long.takes.mul_f64(1.1 * case.dice.share()));
        let way = case.dice.of(&["INT", "TERM"]);
        if kills {
            let _ = running.child.kill();
        } else {
            running.signal(way);
        }
        let ran = running.end(case.program.limit);
        case.note(&command, if kills { "KILL" } else { way }, &ran);
        let mut files = case.files("out");
        if kills {
            // What was on its way may lie there until the next run.
            files.retain(|name, _| !judge::is_temporary(name));
        } else if ran.code.is_some() {
            faults.extend(judge::ended(&ran));
            if ran.code == Some(130) && !ran.told().starts_with("interrupted: ") {
                faults.push(format!("stopped without a word: {}", ran.told()));
            }
        } else if files != before {
            // Before the program listens, a signal ends it at once; later none may.
            faults.push(format!("ended by signal {:?}", ran.signal));
        }
        faults.extend(judge::whole(&files));
    }
    let ran = case.run(&command);
    faults.extend(judge::ended(&ran));
    if ran.code != Some(0) {
        faults.push(format!("does not go on: {}", ran.told()));
    }
    faults.extend(judge::same(&long.files, &case.files("out")));
    Verdict::new(&ran, faults)
}
