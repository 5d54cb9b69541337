//! `downbeat streams`

use downbeat::report;

use super::arguments::Format;
use super::arguments::Streams;
use super::document;
use super::exit::Status;
use super::output;
use super::terminal;

/// Reads and writes; nothing is judged by the exit status.
pub(crate) fn run(streams: &Streams) -> Result<Status, String> {
    let (document, _) = document::read(&streams.reading)?;
    let style = terminal::style(streams.lettering.ascii, streams.reading.out.is_some());
    output::deliver(streams.reading.out.as_deref(), |mut out| match streams.format {
        Format::Text => report::write_streams(&document, style, &mut out),
        Format::Json => report::write_json(&document, &mut out),
    })?;
    Ok(Status::Clear.of_part(document.span.partial))
}
