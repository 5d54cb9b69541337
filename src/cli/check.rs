//! `downbeat check`

use downbeat::report;

use super::arguments::Check;
use super::arguments::Format;
use super::document;
use super::exit::Status;
use super::output;

/// Reads, judges, writes.
pub(crate) fn run(check: &Check) -> Result<Status, String> {
    let (document, judgement) = document::read(&check.reading)?;
    output::deliver(check.reading.out.as_deref(), |mut out| match check.reading.format {
        Format::Text => report::write_text(&document, &mut out),
        Format::Json => report::write_json(&document, &mut out),
    })?;
    Ok(Status::of(&judgement, check.fail_on.severity()))
}
