//! `downbeat check`

use downbeat::analysis::Range;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::capture::Joined;
use downbeat::findings;
use downbeat::report;

use super::arguments::Check;
use super::arguments::Format;
use super::exit::Status;
use super::inputs;
use super::output;
use super::progress::Progress;

/// Reads, judges, writes.
pub(crate) fn run(check: &Check) -> Result<Status, String> {
    check.refuse_empty_span()?;
    let progress = Progress::new();
    let found = inputs::find(&check.files, &progress)?;
    for warning in &found.warnings {
        eprintln!("downbeat: {}", report::plain(warning));
    }
    if let Some(out) = check.out.as_deref().filter(|out| out.is_file() && found.holds(out)) {
        return Err(format!("{}: this is one of the captures; name another file with --out", out.display()));
    }
    let settings = Settings { domain: check.domain, range: Range { from: check.from, until: check.until } };
    let mut reading = Reading::new(settings);
    let mut joined = Joined::new(found.inputs);
    while let Some((file, record)) = joined.next_record() {
        reading.push(file, &record);
    }
    progress.finish();
    let files = joined.finish();
    for (name, error) in &files.unreadable {
        eprintln!("downbeat: {}", report::plain(&format!("{name}: {error}")));
    }
    if files.captures.is_empty() {
        return Err("none of the inputs can be read as a capture".to_owned());
    }
    let analysis = reading.finish(files);
    let judgement = findings::judge(&analysis);
    let document = report::document(&analysis, &judgement);
    output::deliver(check.out.as_deref(), |mut out| match check.format {
        Format::Text => report::write_text(&document, &mut out),
        Format::Json => report::write_json(&document, &mut out),
    })?;
    Ok(Status::of(&judgement, check.fail_on.severity()))
}
