//! The answer of `downbeat fit` in words and numbers.

use std::cmp::Ordering;
use std::collections::BTreeSet;

use super::stream;
use super::stream::share;
use crate::analysis::Analysis;
use crate::fit::Answer;
use crate::fit::Fit;
use crate::fit::Growth;
use crate::fit::LEAST_LENGTH;
use crate::fit::Planned;
use crate::report::anonymous::anonymous;
use crate::report::document::FIT_SCHEMA;
use crate::report::document::FitDocument;
use crate::report::document::PlannedDocument;
use crate::report::format::count;
use crate::report::format::duration_ns;
use crate::report::format::holes;
use crate::report::format::per_cent;
use crate::report::format::per_cent_up;
use crate::report::format::rate;
use crate::report::format::seconds;
use crate::report::format::things;
use crate::streams::SpeedKnownBy;
use crate::streams::Stream;
use crate::units::BitsPerSecond;
use crate::units::Nanos;

/// A capture shorter than this says little of peaks (chosen).
const SHORT: Nanos = Nanos::from_seconds(60);

/// The document of an answer.
#[must_use]
pub fn fit_document(analysis: &Analysis, fit: &Fit) -> FitDocument {
    anonymous(plain_document(analysis, fit), analysis.settings.pseudonyms.as_ref())
}

fn plain_document(analysis: &Analysis, fit: &Fit) -> FitDocument {
    let of_link = |rate| share(rate, fit.now.speed);
    FitDocument {
        schema: FIT_SCHEMA,
        files: analysis.captures.iter().map(|capture| capture.summary.file.clone()).collect(),
        link: stream::link(analysis),
        keep_free: f64::from(fit.keep_free.millionths()) / 1e6,
        planned: fit.planned.iter().map(planned).collect(),
        duration_s: seconds(fit.now.length),
        is_short: fit.now.length < SHORT,
        load_now_mean: of_link(fit.now.mean),
        load_now_peak_1s: of_link(fit.now.peak),
        load_then_mean: of_link(fit.mean_then),
        load_then_peak_1s: of_link(fit.peak_then),
        load_then_peak_1ms: of_link(fit.burst_then()),
        usable_bps: fit.usable.0,
        mean_then_bps: fit.mean_then.0,
        peak_1s_then_bps: fit.peak_then.0,
        free_then: free(fit.mean_then, fit.now.speed),
        answer: fit.answer.name(),
        arithmetic: arithmetic(fit),
        caveats: caveats(analysis, fit),
    }
}

/// What is free of a link: a fraction of whole bits, so that no slip of floating point shows.
#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
fn free(used: BitsPerSecond, of: BitsPerSecond) -> f64 {
    let free = i128::from(of.0) - i128::from(used.0);
    free as f64 / of.0 as f64
}

fn planned(planned: &Planned) -> PlannedDocument {
    PlannedDocument {
        name: planned.name.clone(),
        count: planned.count,
        rate_bps: planned.rate.0,
        direction: planned.direction.map(crate::fit::Direction::name),
    }
}

fn arithmetic(fit: &Fit) -> Vec<String> {
    let now = &fit.now;
    let of_link = |value: BitsPerSecond| format!("{} ({})", rate(value.0), per_cent_up(value.0, now.speed.0));
    let free = per_cent(f64::from(fit.keep_free.millionths()) / 1e6);
    let mut lines = vec![
        format!("link: {} less {free} to keep free = {}", rate(now.speed.0), rate(fit.usable.0)),
        format!("now: mean {}, fullest second {}", of_link(now.mean), of_link(now.peak)),
    ];
    for planned in &fit.planned {
        let direction =
            planned.direction.map(|direction| format!(", {}", direction.name())).unwrap_or_default();
        lines.push(format!(
            "planned: {} x {} = {} ({}{direction})",
            count(u64::from(planned.count)),
            rate(planned.rate.0),
            rate(planned.total().0),
            planned.name
        ));
    }
    if fit.planned.iter().any(|planned| planned.direction.is_some()) {
        lines.push(format!("planned in the fuller direction: {}", rate(fit.added.0)));
    }
    let mut more = rate(fit.added.0);
    if let Some(growth) = fit.growth {
        lines.push(growth_words(&growth));
        more.push_str(&format!(" + {}", rate(growth.added().0)));
    }
    for (what, before, then) in
        [("mean", now.mean, fit.mean_then), ("fullest second", now.peak, fit.peak_then)]
    {
        let limit = rate(fit.usable.0);
        let held = match then.cmp(&fit.usable) {
            Ordering::Less => format!("at most {limit}"),
            Ordering::Equal => format!("exactly {limit}, which fits"),
            Ordering::Greater => {
                format!("above {limit} by {}", rate(then.0.saturating_sub(fit.usable.0)))
            }
        };
        lines.push(format!("then, {what}: {} + {more} = {}, {held}", rate(before.0), of_link(then)));
    }
    lines.push(match fit.room() {
        Some(room) => format!("room beside the fullest second of now: {}", rate(room.0)),
        None => "room beside the fullest second of now: none, it is above that already".to_owned(),
    });
    lines
}

fn growth_words(growth: &Growth) -> String {
    let a_second = |per_1000_s: u64| format!("{}.{}", per_1000_s / 1000, per_1000_s % 1000 / 100);
    format!(
        "PTP: {} {} {} times a second together; with {} more {}, and with the answers {} x {} = {}",
        things(growth.followers, "follower"),
        if growth.followers == 1 { "asks" } else { "ask" },
        a_second(growth.requests_per_1000_s),
        growth.more,
        a_second(growth.requests_then_per_1000_s()),
        growth.more,
        rate(growth.each.0),
        rate(growth.added().0)
    )
}

/// Speeds of the link by the capture files, where those are several.
fn told_speeds(analysis: &Analysis) -> Vec<String> {
    let all = analysis.captures.iter().flat_map(|capture| &capture.summary.link_speeds);
    let told: BTreeSet<u64> = all.map(|speed| speed.0).collect();
    told.into_iter().map(rate).collect()
}

/// Streams of which most packets are in the capture twice: of those half are doubles.
fn doubled(analysis: &Analysis) -> usize {
    let is_doubled = |stream: &&Stream| {
        let double = stream.rtp.map_or(0, |rtp| rtp.duplicated);
        double > 0 && double.saturating_mul(5) >= stream.rate.packets().saturating_mul(2)
    };
    analysis.wire.streams.iter().filter(is_doubled).count()
}

fn caveats(analysis: &Analysis, fit: &Fit) -> Vec<String> {
    let mut caveats = vec![
        "one capture shows one link: every other link that the streams cross has to be looked at as well"
            .to_owned(),
        "frames of both directions are counted together against the speed of one: where both were captured, each \
         direction carries less"
            .to_owned(),
    ];
    let speed = rate(fit.now.speed.0);
    match fit.now.speed_known_by {
        SpeedKnownBy::Settings => {}
        SpeedKnownBy::CaptureFile => {
            caveats.push(format!("{speed} is the speed of the port that captured, by the capture file"));
        }
        SpeedKnownBy::Assumed => {
            caveats.push(match told_speeds(analysis).as_slice() {
                [] | [_] => format!("{speed} is assumed; say what it is with --link-speed"),
                told => format!(
                    "the capture files tell several speeds ({}), so none of them was taken: {speed} is assumed; say what it \
                     is with --link-speed",
                    told.join(", ")
                ),
            });
        }
    }
    caveats.extend(holes(&stream::link(analysis).holes));
    let length = duration_ns(fit.now.length.0);
    if fit.now.length < LEAST_LENGTH {
        caveats.push(format!(
            "{length} were watched, which holds no whole second: neither a mean nor a fullest second of it says what \
             the link carries. Capture for {} or more, for {} at the least (chosen)",
            duration_ns(SHORT.0),
            duration_ns(LEAST_LENGTH.0)
        ));
    } else if fit.now.length < SHORT {
        caveats.push(format!(
            "{length} were watched: there may be fuller seconds outside it; {} or more show more of them (chosen)",
            duration_ns(SHORT.0)
        ));
    }
    let burst = fit.burst_then();
    if burst > fit.now.speed && fit.answer != Answer::DoesNotFit {
        caveats.push(format!(
            "the fullest millisecond would ask for {}: frames then wait in the switch, or are lost where its memory is short",
            rate(burst.0)
        ));
    }
    if analysis.mirror_copies.saturating_mul(2) > analysis.ptp_messages {
        caveats.push(
            "the mirror captured frames twice, and all of them count: the link carries less, down to half"
                .to_owned(),
        );
    } else if let doubled @ 1.. = doubled(analysis) {
        caveats.push(format!(
            "{} captured twice, and both count: the link carries less",
            if doubled == 1 { "1 stream was".to_owned() } else { format!("{doubled} streams were") }
        ));
    }
    if fit.growth.is_none() {
        caveats.push(
            "no follower's requests are in view, so PTP messages of new followers are not counted".to_owned(),
        );
    }
    caveats
}
