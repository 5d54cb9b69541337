//! Tables that the script can sort and filter; without it they are in the report's own order.

use maud::Markup;
use maud::html;

use super::safe::foreign;
use crate::report::format::count;

/// Rows of a table at the most (chosen: what a browser sorts at once); the JSON report has all.
pub(super) const ROWS: usize = 1000;

/// A cell.
pub(super) struct Cell {
    shown: Markup,
    by: By,
}

/// What a cell is sorted by.
#[derive(Clone, Copy)]
enum By {
    Text,
    Number(f64),
    /// It comes last, whichever way.
    Missing,
}

impl Cell {
    /// Markup sorted by its text.
    pub(super) fn markup(shown: Markup) -> Self {
        Self { shown, by: By::Text }
    }

    /// The report's own words.
    pub(super) fn text(text: &str) -> Self {
        Self::markup(html! { (text) })
    }

    /// Words of a file or a packet.
    pub(super) fn foreign(text: &str) -> Self {
        Self::markup(html! { (foreign(text)) })
    }

    /// Markup sorted by a number.
    pub(super) fn sorted(shown: Markup, by: f64) -> Self {
        Self { shown, by: By::Number(by) }
    }

    /// A number that may be missing; what is missing comes last, whichever way is sorted.
    pub(super) fn number(text: Option<String>, by: Option<f64>) -> Self {
        Self {
            shown: html! { (text.unwrap_or_else(|| "–".to_owned())) },
            by: by.map_or(By::Missing, By::Number),
        }
    }
}

/// A table in a region of its own that scrolls where it is wider than the page.
pub(super) fn table(id: &str, caption: &str, columns: &[&str], rows: Vec<Vec<Cell>>) -> Markup {
    let with_filter = rows.len() > 5;
    html! {
        div.table data-table=(id) {
            @if with_filter {
                p.filter hidden {
                    label for={ (id) "-filter" } { "Filter " (caption.to_lowercase()) }
                    input type="search" id={ (id) "-filter" } autocomplete="off" spellcheck="false";
                    span role="status" {}
                }
            }
            div.scroll role="region" aria-label=(caption) tabindex="0" {
                table id={ (id) "-table" } {
                    caption { (caption) }
                    thead { tr { @for column in columns { th scope="col" { (column) } } } }
                    tbody {
                        @for row in rows {
                            tr {
                                @for cell in row {
                                    @match cell.by {
                                        By::Number(by) => { td.number data-by=(by) { (cell.shown) } }
                                        By::Missing => { td.number data-by="" { (cell.shown) } }
                                        By::Text => td { (cell.shown) },
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What is left out of a table of so many.
pub(super) fn more(all: usize) -> Markup {
    let more = u64::try_from(all.saturating_sub(ROWS)).unwrap_or(u64::MAX);
    html! { @if more > 0 { p { "and " (count(more)) " more, which the JSON report has" } } }
}
