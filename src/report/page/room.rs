//! Room for a customer's name and a note, on the screen and by hand on paper.

use maud::{Markup, html};

/// Two fields that a reader fills in; with a script the page can be saved with them.
pub fn room() -> Markup {
    html! {
        section.room aria-label="Name and note" {
            div {
                label for="note-customer" { "For" }
                input #note-customer type="text" autocomplete="off";
            }
            div {
                label for="note-text" { "Note" }
                textarea #note-text rows="2" {}
            }
            button #note-save.needs-script type="button" { "Save a copy with this name and note" }
        }
    }
}
