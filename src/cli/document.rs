//! From captures to the document, for every command that reads some.

use std::sync::Arc;

use downbeat::analysis;
use downbeat::analysis::Analysis;
use downbeat::analysis::Range;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::capture::Input;
use downbeat::capture::JoinedSummary;
use downbeat::findings;
use downbeat::findings::Judgement;
use downbeat::report;
use downbeat::report::Document;

use super::arguments::ReadingArguments;
use super::inputs;
use super::progress::Progress;
use super::site_file;
use super::stop;

/// Reads and judges.
pub(crate) fn read(arguments: &ReadingArguments) -> Result<(Document, Judgement), String> {
    let analysis = analyse(arguments)?;
    let judgement = findings::judge(&analysis);
    let document = report::document(&analysis, &judgement);
    Ok((document, judgement))
}

/// Reads.
pub(crate) fn analyse(arguments: &ReadingArguments) -> Result<Analysis, String> {
    analyse_with(arguments, |reading, inputs| Ok(analysis::read(reading, inputs, arguments.threads.get())))
}

/// Refuses what would be taken for the whole and is of a part: nothing says so where these go.
pub(crate) fn refuse_partial(is_partial: bool) -> Result<(), String> {
    if is_partial {
        return Err("reading was stopped by hand before the captures' ends, so nothing is written".to_owned());
    }
    Ok(())
}

/// Reads in the way of `pass`, which takes all records into the reading.
pub(crate) fn analyse_with(
    arguments: &ReadingArguments,
    pass: impl FnOnce(&mut Reading, Vec<Input>) -> Result<JoinedSummary, String>,
) -> Result<Analysis, String> {
    arguments.refuse_empty_span()?;
    stop::listen();
    let site = arguments.site.as_deref().map(site_file::read).transpose()?;
    let progress = Progress::new();
    let found = inputs::find(&arguments.files, &progress)?;
    for warning in &found.warnings {
        eprintln!("downbeat: {}", report::plain(warning));
    }
    let out = arguments.out.as_deref().filter(|out| out.is_file());
    if let Some(out) = out.filter(|out| found.holds(out)) {
        return Err(format!("{}: this is one of the captures; name another file with --out", out.display()));
    }
    if let Some(out) =
        out.filter(|out| arguments.site.as_deref().is_some_and(|site| inputs::is_same(out, site)))
    {
        return Err(format!("{}: this is the site file; name another file with --out", out.display()));
    }
    let settings = Settings {
        link_speed: arguments.link_speed,
        domain: arguments.domain,
        site: site.map(Arc::new),
        range: Range { from: arguments.from, until: arguments.until },
        pseudonyms: arguments.anonymity.pseudonyms(),
    };
    let mut reading = Reading::new(settings);
    let files = pass(&mut reading, found.inputs)?;
    progress.finish();
    for (name, error) in &files.unreadable {
        eprintln!("downbeat: {}", report::plain(&format!("{name}: {error}")));
    }
    if files.captures.is_empty() {
        return Err("none of the inputs can be read as a capture".to_owned());
    }
    Ok(reading.finish(files))
}
