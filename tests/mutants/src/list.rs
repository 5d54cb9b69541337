//! What cargo-mutants lists with `--list --json`.

use proc_macro2::LineColumn;
use serde::Deserialize;

/// Counted from 1.
#[derive(Debug, Clone, Copy, Deserialize)]
pub(crate) struct Position {
    line: usize,
    column: usize,
}

impl Position {
    /// As the parser has it: columns from 0.
    pub(crate) fn of_parser(self) -> (usize, usize) {
        (self.line, self.column.saturating_sub(1))
    }
}

pub(crate) fn place(at: LineColumn) -> (usize, usize) {
    (at.line, at.column)
}

#[derive(Debug, Clone, Copy, Deserialize)]
pub(crate) struct Span {
    pub(crate) start: Position,
}

/// One mistake.
#[derive(Debug, Deserialize)]
pub(crate) struct Listed {
    pub(crate) file: String,
    pub(crate) genre: String,
    pub(crate) replacement: String,
    pub(crate) span: Span,
}
