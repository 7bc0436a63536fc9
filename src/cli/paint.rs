//! Colours, on a terminal alone: what is printed elsewhere is plain (and nowhere coloured where NO_COLOR is set).

use std::io::{self, Write};

use anstyle::{AnsiColor, Style};
use rowroom::quote::is_control;
use rowroom::report::three_answers::HEADINGS;

const HEADING: Style = AnsiColor::Green.on_default().bold();
const WARNING: Style = AnsiColor::Yellow.on_default();
const ERROR: Style = AnsiColor::Red.on_default().bold();

/// Writes words to standard output.
pub fn out(text: &str) -> io::Result<()> {
    let mut out = anstream::stdout().lock();
    out.write_all(painted(text).as_bytes())?;
    out.flush()
}

/// Writes words to standard error; if that fails there is nobody to tell.
pub fn err(text: &str) {
    let mut err = anstream::stderr().lock();
    let _ = err.write_all(painted(text).as_bytes());
}

/// The text with its opening words in colour, line by line. Control characters, which may stand in a name or a file, would command
/// the terminal: a mark takes the place of each.
fn painted(text: &str) -> String {
    let harmless = |c: char| {
        if is_control(c) && c != '\n' {
            '\u{fffd}'
        } else {
            c
        }
    };
    let text: String = text.chars().map(harmless).collect();
    text.split_inclusive('\n').map(line).collect()
}

fn line(text: &str) -> String {
    let opening = |words: &str| text.starts_with(words) && text[words.len()..].starts_with(':');
    let (style, length) = if let Some(heading) = HEADINGS.iter().find(|heading| opening(heading)) {
        (HEADING, heading.len() + 1)
    } else if opening("Warning") {
        (WARNING, "Warning:".len())
    } else if opening("error") {
        (ERROR, "error:".len())
    } else {
        return text.to_owned();
    };
    let (head, tail) = text.split_at(length);
    format!("{style}{head}{style:#}{tail}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_control_characters_never_reach_the_terminal() {
        let text = painted("Leeks\u{1b}[2J\r\u{9b}31m\ttwo\nline\u{7f}\u{202e}\n");
        assert_eq!(
            text,
            "Leeks\u{fffd}[2J\u{fffd}\u{fffd}31m\u{fffd}two\nline\u{fffd}\u{fffd}\n"
        );
    }

    #[test]
    fn prop_opening_words_alone_are_coloured() {
        let text = "Leeks\nHow fast: 8 km/h. How fast: no\nWarning: soil\nerror: none\nWarnings\n";
        let painted = painted(text);
        assert_eq!(painted.matches("\u{1b}[0m").count(), 3);
        assert!(painted.contains("How fast:\u{1b}[0m 8 km/h. How fast: no\n"));
        assert!(painted.ends_with("Warnings\n"));
        assert_eq!(anstream::adapter::strip_str(&painted).to_string(), text);
    }
}
