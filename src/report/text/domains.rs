//! One domain: leader, data, cadence, followers.

use std::io;
use std::io::Write;

use super::super::document::CadenceDocument;
use super::super::document::ClockDocument;
use super::super::document::Document;
use super::super::document::DomainDocument;
use super::super::format::count;
use super::super::format::duration;
use super::super::format::duration_ns;
use super::super::format::plain;
use super::super::format::things;
use super::super::format::times;
use super::Paper;
use super::paragraph;
use crate::ptp::v2::registry;

/// Beyond this, two clocks do not count from one beginning (chosen).
const DAY_NS: u64 = 86_400_000_000_000;

/// Width of the labels in a domain's block.
const LABEL: usize = 12;

pub(super) fn write(domain: &DomainDocument, document: &Document, out: &mut Paper<'_>) -> io::Result<()> {
    let is_site = document.site_domain.keys.contains(&domain.key);
    let role = match (is_site, document.site_domain.assumed) {
        (true, true) if document.domains.len() > 1 => ", taken for the site's: most devices follow here",
        (true, false) => ", the site's",
        _ => "",
    };
    let transports = domain.transports.join(", ");
    writeln!(out)?;
    let head = format!("PTP {} (version {}, {transports}{role})", plain(&domain.key), domain.ptp_version);
    paragraph(out, 0, "", &head)?;
    leader(domain, out)?;
    let leading = leading_port(domain);
    if let Some(port) = leading {
        line(out, "", &data(port))?;
        series(out, "announce", port.announce.as_ref(), "")?;
        let steps = match port.two_step {
            Some(true) => ", two-step",
            Some(false) => ", one-step",
            None => "",
        };
        series(out, "sync", port.sync.as_ref(), steps)?;
    }
    // With one in line, the leader's own line has named it.
    let named = domain.tenures.last().and_then(|tenure| tenure.won_against.as_ref());
    if domain.succession.len() > 1 || domain.succession.first() != named {
        line(out, "next", &domain.succession.join(", then "))?;
    }
    if domain.rightful.is_some() && domain.leader.is_some() && domain.rightful != domain.leader {
        let rightful = domain.rightful.as_deref().unwrap_or_default();
        line(out, "should lead", &format!("{rightful}, by {}", domain.decided_by.unwrap_or_default()))?;
    }
    answers(domain, out)?;
    path(domain, out)?;
    profile(domain, out)?;
    for note in &domain.notes {
        line(out, "odd", &format!("{} ({})", plain(&note.text), times(note.count)))?;
    }
    Ok(())
}

fn line(out: &mut Paper<'_>, label: &str, text: &str) -> io::Result<()> {
    paragraph(out, 2, &format!("{label:<LABEL$}"), text)
}

fn leader(domain: &DomainDocument, out: &mut Paper<'_>) -> io::Result<()> {
    let Some(leader) = &domain.leader else {
        return line(out, "leader", "nobody at the end of the capture");
    };
    let tenure = domain.tenures.last();
    let won = tenure.map(|tenure| match (&tenure.won_against, tenure.won_on) {
        (Some(other), field) => format!(", won on {field} against {other}"),
        (None, _) => ", the only candidate".to_owned(),
    });
    let since = tenure.map(|tenure| format!(" since {:.3} s", tenure.from_at_s)).unwrap_or_default();
    line(out, "leader", &format!("{leader}{since}{}", won.unwrap_or_default()))
}

/// The port that announces the leader with the fewest steps.
fn leading_port(domain: &DomainDocument) -> Option<&ClockDocument> {
    let offers = domain
        .clocks
        .iter()
        .filter(|clock| clock.grandmaster.is_some() && clock.grandmaster == domain.leader);
    offers.min_by_key(|clock| (clock.steps_removed, clock.announce.is_none()))
}

fn data(port: &ClockDocument) -> String {
    let mut parts = Vec::new();
    if let Some(stratum) = port.stratum {
        let identifier = port.identifier.as_deref().map(plain).unwrap_or_default();
        parts.push(format!("stratum {stratum} ({identifier})"));
        parts.push(format!("preferred {}", if port.preferred == Some(true) { "yes" } else { "no" }));
    }
    if let (Some(one), Some(two)) = (port.priority1, port.priority2) {
        parts.push(format!("priority {one}/{two}"));
    }
    if let Some(class) = port.clock_class {
        parts.push(format!("class {class}"));
    }
    if let Some(accuracy) = port.clock_accuracy {
        let name = registry::clock_accuracy_name(accuracy);
        parts.push(format!("accuracy {}", name.map_or_else(|| format!("0x{accuracy:02x}"), str::to_owned)));
    }
    if let Some(variance) = port.variance {
        parts.push(if port.stratum.is_some() {
            format!("variance {variance}")
        } else {
            format!("variance 0x{variance:04x}")
        });
    }
    if let Some(source) = port.time_source {
        let name = registry::time_source_name(source);
        parts.push(format!("source {}", name.map_or_else(|| format!("0x{source:02x}"), str::to_owned)));
    }
    if let Some(offset) = port.utc_offset_s {
        let valid = port.stratum.is_some() || port.flags.contains(&"current_utc_offset_valid");
        parts.push(format!("UTC offset {offset} s{}", if valid { "" } else { " (not marked valid)" }));
    }
    if let Some(steps) = port.steps_removed.filter(|steps| *steps > 0) {
        parts.push(format!("{} away", things(u64::from(steps), "step")));
    }
    parts.join(", ")
}

/// How far a median may be from the declared interval and still be called as declared: 30 %, what 1588-2008 7.7.2.1
/// lets a mean differ (from memory).
const INTERVAL_TOLERANCE: f64 = 0.3;

fn series(out: &mut Paper<'_>, label: &str, series: Option<&CadenceDocument>, tail: &str) -> io::Result<()> {
    let Some(series) = series else { return Ok(()) };
    let agrees = series
        .declared_s
        .zip(series.median_s)
        .is_none_or(|(declared, median)| (median - declared).abs() <= declared * INTERVAL_TOLERANCE);
    let declared = series.declared_s.map_or_else(
        || "no interval declared".to_owned(),
        |s| {
            if agrees {
                format!("every {} as declared", duration(s))
            } else {
                format!("declares every {}", duration(s))
            }
        },
    );
    let measured = series.median_s.map_or_else(
        || if series.count == 1 { "seen once" } else { "at a pace that does not show" }.to_owned(),
        |s| format!("{} {}", if agrees { "median" } else { "but sends every" }, duration(s)),
    );
    let text = format!(
        "{declared}, {measured}, {} seen, {} missed{tail}",
        count(series.count),
        count(series.missed)
    );
    line(out, label, &text)
}

fn answers(domain: &DomainDocument, out: &mut Paper<'_>) -> io::Result<()> {
    let answers = &domain.answers;
    if answers.answered + answers.unanswered == 0 {
        return Ok(());
    }
    let median = answers.response_time_ns.as_ref().map(|spread| spread.median);
    let time = median.map(|ns| format!(", after {} (median)", duration_ns(ns))).unwrap_or_default();
    let text = format!(
        "from {}; {} answered, {} not{time}",
        things(answers.requesters, "port"),
        count(answers.answered),
        count(answers.unanswered)
    );
    line(out, "requests", &text)
}

/// The capture's clock against the leader, in two lines.
fn path(domain: &DomainDocument, out: &mut Paper<'_>) -> io::Result<()> {
    let Some(path) = &domain.path else { return Ok(()) };
    let residual = path.residual_offset_ns.unwrap_or(path.offset_ns.median);
    let (size, side) =
        (duration_ns(residual.saturating_abs()), if residual < 0 { "behind" } else { "ahead of" });
    let (ours, theirs) = match path.timescales {
        "capture-utc-leader-tai" => (" (UTC)", " (TAI less 37 s)"),
        "capture-tai-leader-utc" => (" (TAI less 37 s)", " (UTC)"),
        "unrelated" if residual.unsigned_abs() > DAY_NS => ("", ", which counts from another epoch"),
        _ => ("", ""),
    };
    let whom = if path.is_relayed { format!("that of {}", path.port) } else { "the leader's".to_owned() };
    let relay = if path.is_relayed { ", a boundary clock: its own error is in it" } else { "" };
    line(out, "capture", &format!("its clock{ours} is {size} {side} {whom}{theirs}{relay}"))?;
    let rate_text = match (path.rate_ppm, path.rate_sigma_ppm) {
        (Some(ppm), Some(sigma)) if path.rate_is_seen == Some(true) => format!("{}; ", rate(ppm, sigma)),
        (Some(ppm), Some(sigma)) => format!("no rate to be seen ({}); ", rate(ppm, sigma)),
        _ => String::new(),
    };
    let way = match (&path.mean_path_delay_ns, path.at_leader) {
        (_, true) => format!("captured at {}", if path.is_relayed { "that port" } else { "the leader" }),
        (Some(delay), false) => {
            format!("path delay {} of {} exchanges", duration_ns(delay.median), count(delay.count))
        }
        (None, false) if path.exchanges > 0 => {
            format!("path too short to be told from none, of {} only", things(path.exchanges, "exchange"))
        }
        (None, false) => {
            "no request to the leader with its answer in view, so the way from it is in the offset".to_owned()
        }
    };
    let jitter = path.sync_jitter_ns.as_ref().map(|jitter| {
        format!("; Sync jitter {} (median), {} (95 %)", duration_ns(jitter.median), duration_ns(jitter.p95))
    });
    line(out, "", &format!("{rate_text}{way}{}", jitter.unwrap_or_default()))?;
    match &path.stretch {
        None => Ok(()),
        Some(stretch) => {
            let (from, until) = (stretch.from_at_s, stretch.until_at_s);
            line(
                out,
                "",
                &format!(
                    "time jumped: these are of {from:.3} s to {until:.3} s, the longest stretch without"
                ),
            )
        }
    }
}

/// A rate and its standard error, that rounded up: no error is none.
pub(in crate::report) fn rate(ppm: f64, sigma_ppm: f64) -> String {
    format!("{} ± {:.3} ppm", super::super::format::ppm(ppm), (sigma_ppm * 1000.0).ceil() / 1000.0)
}

/// The profiles that fit, or the nearest.
fn profile(domain: &DomainDocument, out: &mut Paper<'_>) -> io::Result<()> {
    let Some(best) = domain.profiles.first() else { return Ok(()) };
    let fitting: Vec<&str> = domain.profiles.iter().filter(|fit| fit.fits).map(|fit| fit.name).collect();
    let text = if !fitting.is_empty() {
        format!("fits {}", fitting.join(", "))
    } else if best.seen_enough {
        let against: Vec<String> = best
            .deviations
            .iter()
            .take(3)
            .map(|deviation| format!("{} {}, not {}", deviation.item, deviation.seen, deviation.expected))
            .collect();
        format!("nearest {}: {}", best.name, plain(&against.join("; ")))
    } else {
        return Ok(());
    };
    line(out, "profile", &text)
}
