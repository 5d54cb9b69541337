//! README.md of the folder, from the same description that the files are written by.

use std::fmt::Write;

use super::manifest::FileEntry;
use super::manifest::Manifest;
use super::table::Table;
use super::tables::STAMPS;
use super::tables::TABLES;
use crate::report::plain;

/// The README of an export.
pub(super) fn write(manifest: &Manifest) -> String {
    let mut text = String::from("# Measured series of a capture\n\n");
    let _ = writeln!(text, "Written by downbeat {} from:\n", manifest.version);
    for capture in &manifest.captures {
        let _ = writeln!(text, "- `{}`", plain(capture).replace('`', "'"));
    }
    text.push_str("\n## Files\n\n| file | rows | a row is, or the picture shows |\n| --- | ---: | --- |\n");
    for file in &manifest.files {
        let FileEntry { file, rows, about, .. } = file;
        let rows = rows.map(|rows| rows.to_string()).unwrap_or_default();
        let _ = writeln!(text, "| {file} | {rows} | {} |", cell(about));
    }
    let _ = writeln!(text, "| export.json | | the same as this page, for programs |");
    text.push('\n');
    text.push_str(&conventions());
    text.push_str("\n## Tables\n");
    for table in TABLES {
        text.push('\n');
        text.push_str(&description(table));
    }
    text
}

/// What holds for every table; docs/exports.md has it too.
#[must_use]
pub fn conventions() -> String {
    format!(
        "\
## What holds for every table

- CSV is UTF-8 with commas, a line of names first (RFC 4180). Parquet holds the same rows and columns, integers as INT64,
  text as UTF-8, compressed with Snappy.
- Nothing known is an empty cell, a null in Parquet; it is never 0.
- Integers are exact. A value finer than a nanosecond stands in two columns: whole nanoseconds, rounded down, and 65536ths
  of a nanosecond (the unit of PTP corrections) to be added. Keep to integers: as floating point, and in a spreadsheet
  beyond 15 digits, nanoseconds since 1970 lose their last three digits; the columns `at_ns` are short enough.
- Times are of the capture's clock, which may be wrong itself. Stamps in messages are of their sender's timescale, for PTP
  mostly TAI, 37 s ahead of UTC since 2017. Their layout: {STAMPS}.
- Frames and files are counted from 1. The frames of an offset sample and of its exchange are the same.
- Text from packets is shown with control characters as escapes. In CSV, text that a spreadsheet could take for a formula
  (beginning with = + - @) begins with an apostrophe more than in Parquet.
- PNG pictures are drawn with a font of their own, the same on every machine. For letters that it lacks (Chinese, Japanese,
  Korean among them) stand question marks there, and the picture says so: the address beside them finds the name in the
  table of devices, and SVG pictures hold it.
- Only what was read is here: `--from` and `--until` cut it. A capture that lost frames has fewer samples than the wire.
- These files hold addresses and names of the site, like the capture itself.
"
    )
}

/// A table's heading, what it is, and its columns.
#[must_use]
pub fn description(table: &Table) -> String {
    let mut text = format!("### {}\n\nA row is {}.\n{}\n\n", table.name, table.about, table.caution);
    text.push_str("| column | holds | unit | what it says | source |\n| --- | --- | --- | --- | --- |\n");
    for column in table.columns {
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} |",
            column.name,
            column.kind.name(),
            column.unit,
            cell(column.about),
            cell(column.source)
        );
    }
    text
}

/// Text in a cell of a Markdown table.
fn cell(text: &str) -> String {
    text.replace('|', "\\|").replace('<', "&lt;")
}
