//! The report: one plain [`Document`], built once from an analysis, and one file per way of writing it.
//!
//! The document's shape is the JSON report; its field names are the product's interface.

mod build;
mod document;
mod format;
mod json;
mod page;
mod plot;
mod series;
mod text;

pub use build::{document, fit_document, series};
pub use document::*;
pub use format::plain;
pub use json::{fit_schema, schema, write as write_json};
pub use page::write as write_page;
pub use series::{DomainSeries, LoadSeries, LossMark, Sample, SampleSeries, Series, SourceSeries, StepMark};
pub use text::write as write_text;
pub use text::{write_fit, write_streams};
