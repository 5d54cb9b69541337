//! `downbeat compare`

use std::fs;
use std::fs::File;
use std::io;
use std::io::BufRead;
use std::io::Read;
use std::path::Path;

use downbeat::compare;
use downbeat::compare::Report;
use downbeat::report;

use super::arguments::Compare;
use super::arguments::Format;
use super::document;
use super::exit::Status;
use super::inputs;
use super::output;
use super::pipe;
use super::stop;
use super::terminal;

/// Octets in which the first character of a saved report is looked for.
const SNIFFED: u64 = 64;

/// Reads both sides, compares, writes.
pub(crate) fn run(arguments: &Compare) -> Result<Status, String> {
    if arguments.before.as_os_str() == "-" && arguments.after.as_os_str() == "-" {
        return Err("standard input can be one side only".to_owned());
    }
    if let Some(out) = arguments.out.as_deref()
        && [&arguments.before, &arguments.after].into_iter().any(|side| inputs::is_same(out, side))
    {
        return Err(format!("{}: this is one of the two sides; name another file with --out", out.display()));
    }
    stop::listen();
    let before = side(&arguments.before, arguments)?;
    let after = side(&arguments.after, arguments)?;
    let comparison = compare::compare(&before, &after);
    let style = terminal::style(arguments.lettering.ascii, arguments.out.is_some());
    output::deliver(arguments.out.as_deref(), |mut out| match arguments.format {
        Format::Text => compare::write(&comparison, style, &mut out),
        Format::Json => report::write_json(&comparison, &mut out),
    })?;
    let worst = comparison.changes.iter().map(|change| change.weight.severity()).max();
    let without_ptp = before.is_without_ptp() || after.is_without_ptp();
    Ok(Status::of_worst(worst, arguments.fail_on.severity(), without_ptp))
}

/// A saved report, or the report of captures.
fn side(path: &Path, arguments: &Compare) -> Result<Report, String> {
    if is_saved_report(path)? {
        if arguments.anonymity.anonymise {
            return Err(format!(
                "{}: this is a saved report, whose names are in it already; save it with --anonymise and --anonymise-key",
                path.display()
            ));
        }
        if arguments.from.is_some() || arguments.until.is_some() {
            return Err(format!(
                "{}: this is a saved report, of which no part can be taken; name the capture to use --from and --until",
                path.display()
            ));
        }
        let text = if path.as_os_str() == "-" {
            pipe::wait_for(|| io::read_to_string(io::stdin()))
        } else {
            fs::read_to_string(path)
        };
        let text = text.map_err(|error| told(path, &error))?;
        return Report::parse(&text).map_err(|error| format!("{}: {error}", path.display()));
    }
    let (document, _) = document::read(&arguments.reading(path))?;
    document::refuse_partial(document.span.partial)?;
    Report::of(&document)
}

/// Whether the file begins like JSON, which no capture does.
fn is_saved_report(path: &Path) -> Result<bool, String> {
    let is_json = |head: &[u8]| head.trim_ascii_start().first() == Some(&b'{');
    if path.as_os_str() == "-" {
        // What is looked at stays in the buffer, for whoever reads it next.
        return pipe::wait_for(move || Ok(io::stdin().lock().fill_buf().is_ok_and(is_json)))
            .map_err(|error| told(path, &error));
    }
    if !path.is_file() {
        return Ok(false);
    }
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(SNIFFED).read_to_end(&mut head));
    Ok(read.is_ok() && is_json(&head))
}

fn told(path: &Path, error: &io::Error) -> String {
    let what = format!("{}: {error}", path.display());
    if stop::is_asked() { format!("{what}, so nothing is written") } else { what }
}
