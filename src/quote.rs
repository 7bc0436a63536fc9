//! Texts of others in messages: short, and without characters that a terminal or a page obeys.

/// Most characters of a quoted text.
const MOST_CHARS: usize = 60;

/// True of what is obeyed rather than shown: control characters, newline and tab among them, and those that turn the
/// direction of writing.
pub fn is_control(letter: char) -> bool {
    letter.is_control()
        || matches!(
            letter,
            '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
        )
}

/// The text with each such character as its number, `\u{1b}`.
pub fn escaped(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for letter in text.chars() {
        if is_control(letter) {
            shown.extend(letter.escape_unicode());
        } else {
            shown.push(letter);
        }
    }
    shown
}

/// The same, cut where it is long.
pub fn quoted(text: &str) -> String {
    match text.char_indices().nth(MOST_CHARS) {
        Some((cut, _)) => escaped(&text[..cut]) + "...",
        None => escaped(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_nothing_quoted_is_obeyed_or_long() {
        assert_eq!(quoted("0,2 m²"), "0,2 m²");
        assert_eq!(
            quoted("a\u{1b}[2J\r\n\u{9b}1m\u{7f}\u{202e}\u{2069}\u{200f}"),
            "a\\u{1b}[2J\\u{d}\\u{a}\\u{9b}1m\\u{7f}\\u{202e}\\u{2069}\\u{200f}"
        );
        // Sixty letters of two bytes each.
        assert_eq!(quoted(&"ä".repeat(60)), "ä".repeat(60));
        assert_eq!(quoted(&"ä".repeat(1 << 20)), "ä".repeat(60) + "...");
    }
}
