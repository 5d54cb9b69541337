//! `downbeat timeline`

use downbeat::pseudonyms::Kind;
use downbeat::report;
use downbeat::timeline;
use downbeat::timeline::Filter;

use super::arguments::Format;
use super::arguments::Timeline;
use super::document;
use super::exit::Status;
use super::output;
use super::terminal;

/// Reads, puts in order, writes.
pub(crate) fn run(arguments: &Timeline) -> Result<Status, String> {
    let (document, _) = document::read(&arguments.reading())?;
    let filter = Filter {
        domains: arguments.domain.clone(),
        devices: arguments.device.iter().map(|device| stand_in(arguments, device)).collect(),
        kinds: arguments.kind.clone(),
    };
    let timeline = timeline::timeline(&document, &filter)?;
    let style = terminal::style(arguments.lettering.ascii, arguments.out.is_some());
    output::deliver(arguments.out.as_deref(), |mut out| match arguments.format {
        Format::Text => timeline::write(&timeline, style, &mut out),
        Format::Json => report::write_json(&timeline, &mut out),
    })?;
    let nothing = document.span.ptp_messages == 0;
    Ok(if nothing { Status::CannotTell } else { Status::Clear }.of_part(document.span.partial))
}

/// What a device is called in the report that is filtered.
fn stand_in(arguments: &Timeline, device: &str) -> String {
    let Some(with) = arguments.anonymity.pseudonyms() else { return device.to_owned() };
    let as_address = with.text(device);
    if as_address == device { with.name(Kind::Name, device) } else { as_address }
}
