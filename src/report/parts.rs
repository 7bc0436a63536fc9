//! Pieces that the pages share.

use super::display::Units;
use super::live::{self, Data};
use super::svg::{CHART_CSS, Picture, twin::Twin};
use base64::{Engine, prelude::BASE64_STANDARD};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

pub(crate) const PAGE_CSS: &str = include_str!("page.css");
const LIVE_CSS: &str = include_str!("live/live.css");
const FILM_CSS: &str = include_str!("live/film.css");
const PAPER_CSS: &str = include_str!("paper.css");

/// Styles of every page that moves.
pub(crate) fn styles_of_pages() -> String {
    [CHART_CSS, PAGE_CSS, LIVE_CSS, FILM_CSS].concat()
}

/// A page that moves, for the screen first: both systems of units, data and script in it, and no network, fonts or other files.
pub fn live_page(title: &str, units: Units, body: Markup, data: &Data<'_>) -> String {
    let styles = styles_of_pages();
    let code = live::code();
    let body = html! {
        (body)
        script #rowroom-data type="application/json" { (PreEscaped(data.json())) }
        script { (PreEscaped(&code)) }
    };
    document(title, units, &styles, Some(&code), body)
}

/// A page for the screen that does not move.
pub fn still_page(title: &str, units: Units, body: Markup) -> String {
    let styles = [CHART_CSS, PAGE_CSS, LIVE_CSS].concat();
    document(title, units, &styles, None, body)
}

/// A page that fits one sheet of paper.
pub fn paper(title: &str, units: Units, body: Markup) -> String {
    let styles = [CHART_CSS, PAGE_CSS, PAPER_CSS].concat();
    document(title, units, &styles, None, body)
}

/// What a page may run is named by its SHA-256 (Content Security Policy Level 3, 2.3.1), so that nothing a file brings in can run.
fn document(title: &str, units: Units, style: &str, script: Option<&str>, body: Markup) -> String {
    let source = |text: &str| format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text)));
    // By their hashes: the page's own style and script run, and nothing that a text of the scenario brings in.
    let policy = format!(
        "default-src 'none'; style-src {}; script-src {}",
        source(style),
        script.map_or("'none'".to_owned(), source)
    );
    html! {
        (DOCTYPE)
        html lang="en" data-units=(units.name()) {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(style)) }
            }
            body { (body) }
        }
    }
    .into_string()
}

/// The choice between both systems of units.
pub fn units_switch(own: Units) -> Markup {
    html! {
        fieldset.units.needs-script {
            legend { "Units" }
            @for (units, name) in [(Units::Metric, "metric"), (Units::Us, "US")] {
                label {
                    input id={ "units-" (units.name()) } type="radio" name="units" value=(units.name()) checked[units == own];
                    " " (name)
                }
            }
        }
    }
}

/// A table that scrolls by itself where it is too wide, with its caption above.
pub fn scroll(label: &str, caption: Markup, table: Markup) -> Markup {
    html! {
        p.caption { (caption) }
        (bare_scroll(label, table))
    }
}

/// The same without a caption.
pub fn bare_scroll(label: &str, table: Markup) -> Markup {
    html! { div.scroll tabindex="0" role="region" aria-label=(label) { (table) } }
}

/// A wide picture; it scrolls by itself where it is too wide, and then says so.
pub fn wide(picture: &Picture) -> Markup {
    figure_of(&picture.title, picture.inline())
}

/// The same in both systems of units.
pub fn wide_twin(picture: &Twin) -> Markup {
    figure_of(picture.title(), picture.inline())
}

fn figure_of(title: &str, drawing: Markup) -> Markup {
    html! { figure {
        p.sideways.soft { "\u{2194} Wider than this screen: push the picture sideways to see all of it." }
        div.scroll.wide tabindex="0" role="region" aria-label=(title) { (drawing) }
    } }
}

/// A key of the scenario; it may break behind its dots and underscores.
pub fn key(key: &str) -> Markup {
    html! { code { @for part in key.split_inclusive(['.', '_']) { (part) wbr; } } }
}

/// A part of the page that unfolds.
pub struct Fold {
    /// Where links go.
    id: &'static str,
    /// Its heading.
    title: &'static str,
    body: Markup,
}

impl Fold {
    /// A part that links reach by its id.
    pub fn new(id: &'static str, title: &'static str, body: Markup) -> Fold {
        Fold { id, title, body }
    }

    /// A link to it. What it points to lies inside, so that browsers unfold the part by themselves.
    pub fn link(&self) -> Markup {
        html! { a href={ "#" (self.id) } { (self.title) } }
    }

    /// The part, folded.
    pub fn markup(&self) -> Markup {
        html! { details.fold {
            summary { h2 { (self.title) } }
            div id=(self.id) { (self.body) }
        } }
    }
}

/// Lines to tick or to follow.
pub fn list(class: &str, lines: &[String]) -> Markup {
    html! { ul class=(class) { @for line in lines { li { (line) } } } }
}
