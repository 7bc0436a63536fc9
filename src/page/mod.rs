//! The page that is the whole tool: one file with the library as a WebAssembly module in it, which opens by a double click.
//!
//! A page cannot call Rust, only pass bytes: a [`Desk`] takes requests and gives answers, in the module that `src/page/module/` builds of
//! the library as in the program. A request is a line of JSON that says what is wanted, and what belongs to it behind that line; so is an
//! answer.
//! `file` (with the feature `program`) puts module, scripts, styles and scenarios into `rowroom.html`.
//!
//! The page's threads have no memory in common. Each has a desk of its own; passes go from one to the other as parts of a study
//! ([`crate::montecarlo::saved::Saved`]), so that a rate that the page shows has the bits of the program's.

mod desk;
#[cfg(feature = "program")]
pub mod file;
mod language;

pub use desk::Desk;
