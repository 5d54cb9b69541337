//! The report: one plain [`Document`], built once from an analysis, and one file per way of writing it.
//!
//! The document's shape is the JSON report; its field names are the product's interface.

mod anonymous;
mod build;
mod document;
mod explain;
mod format;
mod json;
mod page;
mod plot;
mod series;
mod site_file;
mod text;

pub use build::{document, fit_document, series};
pub use document::*;
pub use explain::{ExplainDocument, ExplainedRule, explain, write as write_explanation};
pub use format::plain;
pub(crate) use format::{address_digits, duration, duration_ns, ptp_messages};
pub(crate) use json::schema_of;
pub use json::{explain_schema, fit_schema, schema, write as write_json};
pub use page::write as write_page;
pub use plot::{Picture, pictures, pictures_with};
pub use series::{
    DomainSeries, HoleMark, IntervalClass, LoadSeries, LossMark, OTHERS_KEPT, PeakMark, PortSeries,
    RivalSpan, Sample, SampleSeries, Series, SourceSeries, StepMark,
};
pub use site_file::write as write_site_file;
pub use text::write as write_text;
pub use text::write_in_style as write_text_in_style;
pub(crate) use text::{Paper, notice, paragraph};
pub use text::{Style, write_fit, write_streams};
