//! Pieces that the pages share.

use super::svg::{CHART_CSS, Picture};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const PAGE_CSS: &str = include_str!("page.css");
const PAPER_CSS: &str = include_str!("paper.css");

/// A page of its own, without network, fonts or scripts.
pub fn page(title: &str, body: Markup) -> String {
    document(title, &[CHART_CSS, PAGE_CSS], body)
}

/// The same for a page that fits one sheet of paper.
pub fn paper(title: &str, body: Markup) -> String {
    document(title, &[CHART_CSS, PAGE_CSS, PAPER_CSS], body)
}

fn document(title: &str, styles: &[&str], body: Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { @for style in styles { (PreEscaped(style)) } }
            }
            body { (body) }
        }
    }
    .into_string()
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

/// A wide picture; it scrolls by itself where it is too wide.
pub fn wide(picture: &Picture) -> Markup {
    html! { figure { div.scroll.wide tabindex="0" role="region" aria-label=(picture.title) { (picture.inline()) } } }
}

/// Lines to tick or to follow.
pub fn list(class: &str, lines: &[String]) -> Markup {
    html! { ul class=(class) { @for line in lines { li { (line) } } } }
}
