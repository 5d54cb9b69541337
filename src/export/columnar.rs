//! Apache Parquet, by its column writers: every column is optional, and an empty cell is a null.

use std::fs::File;
use std::io;
use std::io::BufWriter;
use std::path::Path;
use std::sync::Arc;

use parquet::basic::Compression;
use parquet::basic::LogicalType;
use parquet::basic::Repetition;
use parquet::basic::Type as Physical;
use parquet::data_type::ByteArray;
use parquet::data_type::ByteArrayType;
use parquet::data_type::DoubleType;
use parquet::data_type::Int64Type;
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::Type;

use super::table::Cell;
use super::table::Column;
use super::table::Kind;
use super::table::Table;

/// Rows held before they are written as a group (chosen: 5 to 10 MB a table).
const GROUP: usize = 65_536;

/// One file.
pub(super) struct ColumnarFile {
    to: SerializedFileWriter<BufWriter<File>>,
    columns: Vec<Values>,
    rows: usize,
}

/// What is held of a column: the values there are, and for each row whether there is one.
struct Values {
    held: Held,
    is_there: Vec<i16>,
}

enum Held {
    Integers(Vec<i64>),
    Numbers(Vec<f64>),
    Texts(Vec<ByteArray>),
}

impl Values {
    fn of(kind: Kind) -> Self {
        let held = match kind {
            Kind::Integer => Held::Integers(Vec::new()),
            Kind::Number => Held::Numbers(Vec::new()),
            Kind::Text => Held::Texts(Vec::new()),
        };
        Self { held, is_there: Vec::new() }
    }

    fn push(&mut self, cell: &Cell<'_>) -> io::Result<()> {
        match (&mut self.held, cell) {
            (_, Cell::Nothing) => {
                self.is_there.push(0);
                return Ok(());
            }
            (Held::Integers(values), Cell::Integer(value)) => values.push(*value),
            (Held::Numbers(values), Cell::Number(value)) => values.push(*value),
            (Held::Texts(values), Cell::Text(text)) => values.push(text.as_bytes().to_vec().into()),
            _ => return Err(io::Error::other("a cell is of another kind than its column")),
        }
        self.is_there.push(1);
        Ok(())
    }
}

fn field(column: &Column) -> Result<Arc<Type>, ParquetError> {
    let (physical, logical) = match column.kind {
        Kind::Integer => (Physical::INT64, None),
        Kind::Number => (Physical::DOUBLE, None),
        Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
    };
    Type::primitive_type_builder(column.name, physical)
        .with_repetition(Repetition::OPTIONAL)
        .with_logical_type(logical)
        .build()
        .map(Arc::new)
}

/// The error of the file where it is one.
fn as_io(error: ParquetError) -> io::Error {
    match error {
        ParquetError::External(inner) => match inner.downcast::<io::Error>() {
            Ok(error) => *error,
            Err(other) => io::Error::other(other),
        },
        other => io::Error::other(other),
    }
}

impl ColumnarFile {
    pub(super) fn create(path: &Path, table: &Table) -> io::Result<Self> {
        let file = BufWriter::new(File::create_new(path)?);
        let fields: Result<Vec<_>, _> = table.columns.iter().map(field).collect();
        let schema = fields
            .and_then(|fields| Type::group_type_builder(table.name).with_fields(fields).build())
            .map_err(as_io)?;
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_created_by(concat!("downbeat ", env!("CARGO_PKG_VERSION")).to_owned())
            .build();
        let to = SerializedFileWriter::new(file, Arc::new(schema), Arc::new(properties)).map_err(as_io)?;
        let columns = table.columns.iter().map(|column| Values::of(column.kind)).collect();
        Ok(Self { to, columns, rows: 0 })
    }

    pub(super) fn row(&mut self, cells: &[Cell<'_>]) -> io::Result<()> {
        for (column, cell) in self.columns.iter_mut().zip(cells) {
            column.push(cell)?;
        }
        self.rows += 1;
        if self.rows >= GROUP { self.write_group().map_err(as_io) } else { Ok(()) }
    }

    fn write_group(&mut self) -> Result<(), ParquetError> {
        if self.rows == 0 {
            return Ok(());
        }
        let mut group = self.to.next_row_group()?;
        for column in &mut self.columns {
            let Some(mut to) = group.next_column()? else { break };
            let is_there = std::mem::take(&mut column.is_there);
            let levels = Some(is_there.as_slice());
            match &mut column.held {
                Held::Integers(values) => {
                    to.typed::<Int64Type>().write_batch(values, levels, None)?;
                    values.clear();
                }
                Held::Numbers(values) => {
                    to.typed::<DoubleType>().write_batch(values, levels, None)?;
                    values.clear();
                }
                Held::Texts(values) => {
                    to.typed::<ByteArrayType>().write_batch(values, levels, None)?;
                    values.clear();
                }
            }
            to.close()?;
        }
        group.close()?;
        self.rows = 0;
        Ok(())
    }

    pub(super) fn finish(mut self) -> io::Result<()> {
        self.write_group().map_err(as_io)?;
        let to = self.to.into_inner().map_err(as_io)?;
        to.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()
    }
}
