//! `downbeat check`

use downbeat::findings;
use downbeat::report;

use super::arguments::Check;
use super::arguments::Format;
use super::document;
use super::exit::Status;
use super::output;

/// Reads, judges, writes.
pub(crate) fn run(check: &Check) -> Result<Status, String> {
    let analysis = document::analyse(&check.reading)?;
    let judgement = findings::judge(&analysis);
    let document = report::document(&analysis, &judgement);
    output::deliver(check.reading.out.as_deref(), |mut out| match check.reading.format {
        Format::Text => report::write_text(&document, &mut out),
        Format::Json => report::write_json(&document, &mut out),
        Format::Html => report::write_page(&document, &report::series(&analysis), &mut out),
    })?;
    Ok(Status::of(&judgement, check.fail_on.severity()))
}
