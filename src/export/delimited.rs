//! Comma-separated values (RFC 4180), safe to open in a spreadsheet.

use std::borrow::Cow;
use std::fs::File;
use std::io;
use std::io::BufWriter;
use std::io::Write;
use std::path::Path;

use super::table::Cell;
use super::table::Table;

/// One file.
pub(super) struct DelimitedFile {
    to: csv::Writer<BufWriter<File>>,
}

impl DelimitedFile {
    pub(super) fn create(path: &Path, table: &Table) -> io::Result<Self> {
        let mut to = csv::Writer::from_writer(BufWriter::new(File::create_new(path)?));
        to.write_record(table.columns.iter().map(|column| column.name))?;
        Ok(Self { to })
    }

    pub(super) fn row(&mut self, cells: &[Cell<'_>]) -> io::Result<()> {
        for cell in cells {
            match cell {
                Cell::Nothing => self.to.write_field("")?,
                Cell::Integer(value) => self.to.write_field(value.to_string())?,
                Cell::Number(value) => self.to.write_field(value.to_string())?,
                Cell::Text(text) => self.to.write_field(harmless(text).as_ref())?,
            }
        }
        self.to.write_record(None::<&[u8]>)?;
        Ok(())
    }

    pub(super) fn finish(self) -> io::Result<()> {
        let mut to = self.to.into_inner().map_err(csv::IntoInnerError::into_error)?;
        to.flush()?;
        to.get_ref().sync_all()
    }
}

/// Text that no spreadsheet takes for a formula: an apostrophe before what could begin one (OWASP, "CSV Injection", from
/// memory: = + - @, tab, carriage return; line feed and the wide forms of the signs are taken with them, chosen).
fn harmless(text: &str) -> Cow<'_, str> {
    let begins_formula =
        |c: char| matches!(c, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠');
    if text.starts_with(begins_formula) { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_begins_a_formula_gets_an_apostrophe_and_nothing_else_does() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "＋1", "－1", "＠1"] {
            assert_eq!(harmless(text), format!("'{text}"));
        }
        for text in ["", "1=1", "a-b", " =1", "'=1", "02:00:5e:10:00:21", "Bühne -links"] {
            assert_eq!(harmless(text), text);
        }
    }
}
