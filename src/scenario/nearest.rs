//! What was meant by a word that is no name.

/// No name of the language is longer, in bytes, and a longer word is never one misspelt.
const LONGEST_WORD: usize = 64;

/// Names that come near enough to a word to be meant, nearest first.
pub(super) fn nearest<'a>(word: &str, names: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    if word.len() > LONGEST_WORD {
        return None;
    }
    let word = word.to_lowercase();
    names
        .map(|name| (strsim::jaro_winkler(&word, &name.to_lowercase()), name))
        .filter(|(likeness, _)| *likeness >= 0.84)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}
