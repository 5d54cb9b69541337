//! The report as JSON, and the schema of that.

use std::io;
use std::io::Write;

use schemars::JsonSchema;
use serde::Serialize;

use super::document::Document;
use super::document::FitDocument;
use super::explain::ExplainDocument;

/// Writes a document as indented JSON with a line break at its end.
///
/// # Errors
/// Where `out` cannot be written.
pub fn write(document: &impl Serialize, out: &mut impl Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, document)?;
    out.write_all(b"\n")
}

/// The JSON schema of the report, indented, with a line break at its end.
#[must_use]
pub fn schema() -> String {
    schema_of::<Document>()
}

/// The JSON schema of the answer of `downbeat fit`, likewise.
#[must_use]
pub fn fit_schema() -> String {
    schema_of::<FitDocument>()
}

/// The JSON schema of the answer of `downbeat explain`, likewise.
#[must_use]
pub fn explain_schema() -> String {
    schema_of::<ExplainDocument>()
}

pub(crate) fn schema_of<T: JsonSchema>() -> String {
    let settings = schemars::generate::SchemaSettings::default().for_serialize();
    let schema = settings.into_generator().into_root_schema_for::<T>();
    // A schema is plain JSON, so this cannot fail; an empty one would fail the test that compares it.
    serde_json::to_string_pretty(&schema).map(|text| text + "\n").unwrap_or_default()
}
