//! `downbeat streams`

use downbeat::report;

use super::arguments::Format;
use super::arguments::Streams;
use super::document;
use super::exit::Status;
use super::output;

/// Reads and writes; nothing is judged by the exit status.
pub(crate) fn run(streams: &Streams) -> Result<Status, String> {
    streams.reading.refuse_page()?;
    let (document, _) = document::read(&streams.reading)?;
    output::deliver(streams.reading.out.as_deref(), |mut out| match streams.reading.format {
        Format::Text => report::write_streams(&document, &mut out),
        Format::Json => report::write_json(&document, &mut out),
        Format::Html => Err(std::io::Error::other(super::arguments::NO_PAGE)),
    })?;
    Ok(Status::Clear)
}
