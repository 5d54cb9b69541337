//! What is in an export, for programs.

use serde::Serialize;

use super::table::Table;

/// The manifest's file.
pub(super) const MANIFEST: &str = "export.json";

/// The `schema` of this document.
pub const SCHEMA: &str = "downbeat.export/1";

/// An export.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Manifest {
    /// Always `downbeat.export/1`.
    pub schema: &'static str,
    /// What wrote it.
    pub version: &'static str,
    /// The captures, in time order.
    pub captures: Vec<String>,
    /// How long a window is.
    pub window_ns: i64,
    /// Its files but this one.
    pub files: Vec<FileEntry>,
}

/// A file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FileEntry {
    /// Its name.
    pub file: String,
    /// `csv`, `parquet`, `svg`, `png` or `markdown`.
    pub format: &'static str,
    /// The table it holds; `null` where it holds none.
    pub table: Option<&'static str>,
    /// Rows of that.
    pub rows: Option<u64>,
    /// Columns of that.
    pub columns: Vec<ColumnEntry>,
    /// What it shows.
    pub about: String,
}

/// A column.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ColumnEntry {
    /// Its name.
    pub name: &'static str,
    /// `integer`, `number` or `text`.
    pub kind: &'static str,
    /// Its unit, `-` for none.
    pub unit: &'static str,
}

impl FileEntry {
    pub(super) fn of_table(table: &'static Table, format: &'static str, rows: u64) -> Self {
        let column = |column: &super::table::Column| ColumnEntry {
            name: column.name,
            kind: column.kind.name(),
            unit: column.unit,
        };
        Self {
            file: format!("{}.{format}", table.name),
            format,
            table: Some(table.name),
            rows: Some(rows),
            columns: table.columns.iter().map(column).collect(),
            about: table.about.to_owned(),
        }
    }

    pub(super) fn of_other(file: String, format: &'static str, about: String) -> Self {
        Self { file, format, table: None, rows: None, columns: Vec::new(), about }
    }
}
