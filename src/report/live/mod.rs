//! What moves on a page: the data and the script that it carries. The script is plain JavaScript, whole in the page; without it the
//! page is complete. `numbers.js` and `between.js` mirror [`super::display`], [`crate::answers::between`] and [`shown`], text for text.

mod data;
mod film;
mod said;

pub use data::Data;
pub use film::{Film, film, lanes};
pub use said::{Shown, shown};

/// How numbers are said, for other scripts too.
pub(crate) const NUMBERS: &str = include_str!("numbers.js");

/// The switch between the systems of units.
pub(crate) const UNITS: &str = include_str!("units.js");

/// Files of the script in the order in which they stand in the page. All of them share one scope.
const FILES: [&str; 12] = [
    NUMBERS,
    include_str!("between.js"),
    UNITS,
    include_str!("try.js"),
    include_str!("film_pass.js"),
    include_str!("film_marks.js"),
    include_str!("film_ground.js"),
    include_str!("film_view.js"),
    include_str!("film.js"),
    include_str!("note.js"),
    include_str!("folds.js"),
    include_str!("start.js"),
];

/// The script of every page.
pub fn code() -> String {
    format!("(() => {{\n\"use strict\";\n{}}})();\n", FILES.concat())
}
