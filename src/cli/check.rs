//! `downbeat check`

use downbeat::findings;
use downbeat::report;

use super::arguments::Check;
use super::arguments::ReportFormat;
use super::document;
use super::exit::Status;
use super::output;
use super::terminal;

/// Reads, judges, writes.
pub(crate) fn run(check: &Check) -> Result<Status, String> {
    let analysis = document::analyse(&check.reading)?;
    let judgement = findings::judge(&analysis);
    let document = report::document(&analysis, &judgement);
    output::deliver(check.reading.out.as_deref(), |mut out| match check.format {
        ReportFormat::Text => {
            let style = terminal::style(check.lettering.ascii, check.reading.out.is_some());
            report::write_text_in_style(&document, &report::series(&analysis), style, &mut out)
        }
        ReportFormat::Json => report::write_json(&document, &mut out),
        ReportFormat::Html => report::write_page(&document, &report::series(&analysis), &mut out),
    })?;
    Ok(Status::of(&judgement, check.fail_on.severity()).of_part(analysis.is_partial))
}
