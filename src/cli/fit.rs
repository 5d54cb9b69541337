//! `downbeat fit`

use downbeat::fit;
use downbeat::fit::KeepFree;
use downbeat::fit::Now;
use downbeat::fit::Planned;
use downbeat::pseudonyms::Kind;
use downbeat::report;
use downbeat::site;

use super::arguments::Fit;
use super::arguments::Format;
use super::document;
use super::exit::Status;
use super::output;
use super::terminal;

/// Reads, adds up, writes.
pub(crate) fn run(arguments: &Fit) -> Result<Status, String> {
    let analysis = document::analyse(&arguments.reading)?;
    document::refuse_partial(analysis.is_partial)?;
    let now = Now::of(&analysis).ok_or("no time passes in the capture, so it shows no load")?;
    let site = analysis.settings.site.as_deref();
    let mut planned: Vec<Planned> =
        site.map(|site| site.planned.iter().map(listed).collect()).unwrap_or_default();
    // Those of the site file have stand-ins already.
    planned.extend(arguments.add.iter().cloned().map(|mut planned| {
        if let Some(with) = &analysis.settings.pseudonyms {
            planned.name = with.name(Kind::Plan, &planned.name);
        }
        planned
    }));
    if planned.is_empty() {
        return Err(
            "nothing is planned: name streams with --add, or as [[planned]] in the site file".to_owned()
        );
    }
    let followers = planned.iter().map(|planned| u64::from(planned.count)).sum();
    let growth = fit::Growth::of(&analysis, followers);
    let of_site = site.and_then(|site| KeepFree::from_millionths(site.link.keep_free_millionths?));
    let keep_free = arguments.keep_free.or(of_site).unwrap_or(KeepFree::USUAL);
    let fit = fit::Fit::of(now, keep_free, planned, growth);
    let document = report::fit_document(&analysis, &fit);
    let style = terminal::style(arguments.lettering.ascii, arguments.reading.out.is_some());
    output::deliver(arguments.reading.out.as_deref(), |mut out| match arguments.format {
        Format::Text => report::write_fit(&document, style, &mut out),
        Format::Json => report::write_json(&document, &mut out),
    })?;
    Ok(match fit.answer {
        fit::Answer::Fits => Status::Clear,
        fit::Answer::OnlyIfPeaksDoNotMeet | fit::Answer::DoesNotFit => Status::Findings,
        fit::Answer::CannotTell => Status::CannotTell,
    })
}

/// Streams as the site file plans them.
fn listed(planned: &site::PlannedLoad) -> Planned {
    Planned {
        name: planned.name.clone(),
        count: planned.count,
        rate: planned.rate,
        direction: planned.direction.map(|direction| match direction {
            site::Direction::In => fit::Direction::In,
            site::Direction::Out => fit::Direction::Out,
        }),
    }
}
