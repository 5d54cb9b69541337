//! `downbeat fit`

use downbeat::fit;
use downbeat::fit::KeepFree;
use downbeat::fit::Now;
use downbeat::report;

use super::arguments::Fit;
use super::arguments::Format;
use super::document;
use super::exit::Status;
use super::output;

/// Reads, adds up, writes.
pub(crate) fn run(arguments: &Fit) -> Result<Status, String> {
    arguments.reading.refuse_page()?;
    let analysis = document::analyse(&arguments.reading)?;
    let now = Now::of(&analysis).ok_or("no time passes in the capture, so it shows no load")?;
    let planned = arguments.add.clone();
    let followers = planned.iter().map(|planned| u64::from(planned.count)).sum();
    let growth = fit::Growth::of(&analysis, followers);
    let keep_free = arguments.keep_free.unwrap_or(KeepFree::USUAL);
    let fit = fit::Fit::of(now, keep_free, planned, growth);
    let document = report::fit_document(&analysis, &fit);
    output::deliver(arguments.reading.out.as_deref(), |mut out| match arguments.reading.format {
        Format::Text => report::write_fit(&document, &mut out),
        Format::Json => report::write_json(&document, &mut out),
        Format::Html => Err(std::io::Error::other(super::arguments::NO_PAGE)),
    })?;
    Ok(match fit.answer {
        fit::Answer::Fits => Status::Clear,
        fit::Answer::OnlyIfPeaksDoNotMeet | fit::Answer::DoesNotFit => Status::Findings,
    })
}
