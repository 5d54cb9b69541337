//! `downbeat timeline`

use downbeat::report;
use downbeat::timeline;
use downbeat::timeline::Filter;

use super::arguments::Format;
use super::arguments::Timeline;
use super::document;
use super::exit::Status;
use super::output;

/// Reads, puts in order, writes.
pub(crate) fn run(arguments: &Timeline) -> Result<Status, String> {
    let (document, _) = document::read(&arguments.reading())?;
    let filter = Filter {
        domains: arguments.domain.clone(),
        devices: arguments.device.clone(),
        kinds: arguments.kind.clone(),
    };
    let timeline = timeline::timeline(&document, &filter)?;
    output::deliver(arguments.out.as_deref(), |mut out| match arguments.format {
        Format::Text => timeline::write(&timeline, &mut out),
        Format::Json => report::write_json(&timeline, &mut out),
        Format::Html => Err(std::io::Error::other(super::arguments::NO_PAGE)),
    })?;
    Ok(if document.span.ptp_messages == 0 { Status::CannotTell } else { Status::Clear })
}
