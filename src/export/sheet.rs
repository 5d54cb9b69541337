//! A table in the making, in every format that is asked for.

use std::io;
use std::path::Path;
use std::sync::Arc;

use super::Formats;
use super::columnar::ColumnarFile;
use super::delimited::DelimitedFile;
use super::manifest::FileEntry;
use super::table::Cell;
use super::table::Table;
use crate::pseudonyms::Pseudonyms;

pub(super) struct Sheet {
    table: &'static Table,
    delimited: Option<DelimitedFile>,
    columnar: Option<ColumnarFile>,
    rows: u64,
    /// What stands for addresses, where nobody is to learn them.
    pseudonyms: Option<Arc<Pseudonyms>>,
}

/// The error with the table it befell.
fn of(table: &'static Table) -> impl Fn(io::Error) -> io::Error {
    move |error| io::Error::new(error.kind(), format!("{}: {error}", table.name))
}

impl Sheet {
    pub(super) fn create(table: &'static Table, formats: Formats, folder: &Path) -> io::Result<Self> {
        let path = |ending: &str| folder.join(format!("{}.{ending}", table.name));
        let delimited = formats.csv.then(|| DelimitedFile::create(&path("csv"), table)).transpose();
        let columnar = formats.parquet.then(|| ColumnarFile::create(&path("parquet"), table)).transpose();
        Ok(Self {
            table,
            delimited: delimited.map_err(of(table))?,
            columnar: columnar.map_err(of(table))?,
            rows: 0,
            pseudonyms: None,
        })
    }

    /// The same with addresses exchanged, for cells that do not come from a report.
    pub(super) fn veiled(mut self, pseudonyms: Option<&Arc<Pseudonyms>>) -> Self {
        self.pseudonyms = pseudonyms.cloned();
        self
    }

    /// Writes a row, which has as many cells as the table has columns.
    pub(super) fn row<const CELLS: usize>(&mut self, mut cells: [Cell<'_>; CELLS]) -> io::Result<()> {
        if self.table.columns.len() != CELLS {
            return Err(of(self.table)(io::Error::other("a row has other cells than the table has columns")));
        }
        if let Some(with) = &self.pseudonyms {
            for text in cells.iter_mut().filter_map(Cell::text) {
                *text = with.text(text).into();
            }
        }
        if let Some(file) = &mut self.delimited {
            file.row(&cells).map_err(of(self.table))?;
        }
        if let Some(file) = &mut self.columnar {
            file.row(&cells).map_err(of(self.table))?;
        }
        self.rows += 1;
        Ok(())
    }

    pub(super) fn finish(self, into: &mut Vec<FileEntry>) -> io::Result<()> {
        if let Some(file) = self.delimited {
            file.finish().map_err(of(self.table))?;
            into.push(FileEntry::of_table(self.table, "csv", self.rows));
        }
        if let Some(file) = self.columnar {
            file.finish().map_err(of(self.table))?;
            into.push(FileEntry::of_table(self.table, "parquet", self.rows));
        }
        Ok(())
    }
}
