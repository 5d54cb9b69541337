//! Streams, sources and the link for the document.

use super::event::happened;
use crate::analysis::Analysis;
use crate::ptp::ClockIdentity;
use crate::report::document::AvtpDocument;
use crate::report::document::EventDocument;
use crate::report::document::HoleDocument;
use crate::report::document::IntervalDocument;
use crate::report::document::LinkDocument;
use crate::report::document::LoadDocument;
use crate::report::document::RtpDocument;
use crate::report::document::SessionDocument;
use crate::report::document::StreamDocument;
use crate::report::document::TwinDocument;
use crate::report::format::duration_ns;
use crate::report::format::rate as rate_text;
use crate::report::format::rfc3339;
use crate::report::format::seconds;
use crate::statistics::Rate;
use crate::statistics::RateWidth;
use crate::streams::Against;
use crate::streams::FlowKey;
use crate::streams::Stream;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Nearer than this to an end of the capture a stream did not begin or end, it was cut (chosen); longer for streams of
/// few packets.
const NEAR_END: Nanos = Nanos::from_seconds(2);
/// Intervals between packets that have to pass before silence is one (chosen).
const INTERVALS: i64 = 20;

/// `None` where the packets span less than the width: what one bin holds then says nothing of a rate.
fn peak(rate: &Rate, width: RateWidth) -> Option<u64> {
    let span = rate.last()?.since(rate.first()?);
    (span >= width.nanos()).then(|| rate.peak(width).map(|peak| peak.rate.0)).flatten()
}

pub(super) fn document(analysis: &Analysis, stream: &Stream) -> StreamDocument {
    let (source, group, port, vlan) = match stream.key {
        FlowKey::Udp { source, destination, port, vlan, .. } => {
            (Some(source.to_string()), Some(destination.to_string()), Some(port), vlan)
        }
        FlowKey::Avtp { vlan, .. } => (None, None, None, vlan),
    };
    let media = stream.media_rate.as_ref();
    StreamDocument {
        key: stream.key.to_string(),
        source_ip: source,
        source_mac: stream.macs.first().map(ToString::to_string),
        source_macs: stream.macs.iter().map(ToString::to_string).collect(),
        device: device_key(analysis, stream),
        group,
        port,
        vlan,
        ssrc: stream.key.ssrc(),
        payload_type: stream.payload_type,
        kind: stream.nature.kind.name(),
        codec: stream.nature.codec.clone(),
        known_by: stream.nature.known_by.name(),
        frames_per_s: stream.nature.frames_per_1000_s.map(thousandths),
        packets: stream.rate.packets(),
        octets: stream.rate.total_octets(),
        first: stream.first().map(rfc3339),
        last: stream.last().map(rfc3339),
        mean_bps: stream.rate.mean().map(|rate| rate.0),
        peak_1s_bps: peak(&stream.rate, RateWidth::Second),
        peak_100ms_bps: peak(&stream.rate, RateWidth::HundredMilliseconds),
        peak_10ms_bps: peak(&stream.rate, RateWidth::TenMilliseconds),
        peak_1ms_bps: peak(&stream.rate, RateWidth::Millisecond),
        payload_mean_bps: stream.payload_mean.map(|rate| rate.0),
        interval_ns: intervals(stream),
        rtp: stream.rtp.map(|rtp| RtpDocument {
            lost: rtp.lost,
            duplicated: rtp.duplicated,
            reordered: rtp.reordered,
            not_captured: rtp.not_captured,
            restarts: rtp.restarts,
            unclear_jumps: rtp.unclear,
            loss_bursts: stream.burst_count,
            jitter_ns: rtp.jitter.map(|jitter| jitter.0),
        }),
        avtp: stream.avtp.map(|avtp| AvtpDocument {
            subtype: avtp.subtype_name(),
            lost: avtp.lost,
            duplicated: avtp.duplicated,
        }),
        clock_rate_hz: stream.nature.clock_rate,
        media_rate_ppm: media.map(|rate| rate.ppm),
        media_rate_sigma_ppm: media.map(|rate| rate.sigma_ppm),
        media_rate_against: media.map(|rate| match rate.against {
            Against::Leader => "leader",
            Against::CaptureClock => "capture-clock",
        }),
        media_offset_ns: media.and_then(|rate| rate.offset).map(|offset| offset.0),
        dscp: stream.dscp.clone(),
        pcp: stream.pcp.clone(),
        ttl: stream.ttl.clone(),
        session: stream.described.as_ref().map(|described| SessionDocument {
            name: described.name.clone(),
            reference_clock: described.reference.map(|identity| ClockIdentity(identity).to_string()),
            reference_domain: described.domain,
            agrees: described.agrees,
            contradictions: stream.contradictions.iter().map(ToString::to_string).collect(),
        }),
        receivers: analysis.receivers_of(stream).map(|hosts| hosts.iter().map(ToString::to_string).collect()),
        receivers_gone: analysis.receivers_gone(stream).iter().map(ToString::to_string).collect(),
        clocked: media.and_then(crate::streams::MediaRate::is_off).map(|off| !off),
        twins: stream
            .twins
            .iter()
            .map(|twin| TwinDocument { key: twin.key.to_string(), delay_ns: twin.delay.0 })
            .collect(),
    }
}

fn device_key(analysis: &Analysis, stream: &Stream) -> Option<String> {
    analysis.sender_of(stream).map(|device| device.key.clone())
}

fn intervals(stream: &Stream) -> Option<IntervalDocument> {
    let intervals = &stream.intervals;
    Some(IntervalDocument {
        every: stream.every?.0,
        median: intervals.quantile(500)?.0,
        p5: intervals.quantile(50)?.0,
        p95: intervals.quantile(950)?.0,
        max: intervals.largest().0,
        count: intervals.count(),
    })
}

#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
fn thousandths(value: u64) -> f64 {
    value as f64 / 1000.0
}

#[allow(
    clippy::as_conversions,
    clippy::cast_precision_loss,
    reason = "the report is where floating point begins"
)]
pub(super) fn share(rate: BitsPerSecond, of: BitsPerSecond) -> f64 {
    rate.0 as f64 / of.0 as f64
}

pub(super) fn sources(analysis: &Analysis) -> Vec<LoadDocument> {
    let speed = analysis.wire.link.speed;
    let of = |ip| {
        let device = analysis.owners.of_ip(ip).and_then(|place| analysis.devices.get(place));
        device.map(|device| device.key.clone())
    };
    let sources = analysis.wire.sources.iter().map(|source| LoadDocument {
        device: of(source.ip),
        source_ip: source.ip.to_string(),
        streams: source.streams,
        mean_bps: source.mean.0,
        peak_1s_bps: peak(&source.rate, RateWidth::Second),
        share_of_link: share(source.mean, speed),
    });
    sources.collect()
}

pub(super) fn link(analysis: &Analysis) -> LinkDocument {
    let link = &analysis.wire.link;
    let mean = link.rate.mean();
    let second = peak(&link.rate, RateWidth::Second).map(BitsPerSecond);
    LinkDocument {
        speed_bps: link.speed.0,
        speed_known_by: link.known_by.name(),
        mean_bps: mean.map(|rate| rate.0),
        peak_1s_bps: second.map(|rate| rate.0),
        peak_100ms_bps: peak(&link.rate, RateWidth::HundredMilliseconds),
        peak_10ms_bps: peak(&link.rate, RateWidth::TenMilliseconds),
        peak_1ms_bps: peak(&link.rate, RateWidth::Millisecond),
        load_mean: mean.map(|rate| share(rate, link.speed)),
        load_peak_1s: second.map(|rate| share(rate, link.speed)),
        flows_left_out: analysis.wire.folded.flows,
        fragments_left_out: analysis.wire.fragments_left_out,
        holes: link
            .holes
            .iter()
            .map(|hole| HoleDocument {
                at_s: seconds(analysis.since_origin(hole.from)),
                length_s: seconds(hole.length()),
            })
            .collect(),
    }
}

/// What happened to streams: began, ended, paused, changed its rate, lost packets in a row, jumped in time.
pub(super) fn events(analysis: &Analysis) -> impl Iterator<Item = EventDocument> {
    analysis.wire.streams.iter().filter(|stream| stream.rtp.is_some()).flat_map(move |stream| {
        let device = device_key(analysis, stream);
        let key = stream.key;
        of_stream(analysis, stream).into_iter().map(move |(time, kind, text)| EventDocument {
            device: device.clone(),
            ..happened(analysis, time, kind, format!("{key} {text}"))
        })
    })
}

/// Descriptions that their senders deleted.
pub(super) fn deletions(analysis: &Analysis) -> impl Iterator<Item = EventDocument> {
    analysis.sessions.deletions().map(move |(time, session)| {
        let by = session.origin.as_ref().map_or("", |origin| origin.address.as_str());
        let text = format!("the description `{}` of {by} is deleted", session.name);
        happened(analysis, time, "session-deleted", text)
    })
}

fn of_stream(analysis: &Analysis, stream: &Stream) -> Vec<(CaptureTime, &'static str, String)> {
    let mut events = Vec::new();
    let mean = stream.intervals.quantile(500).map_or(0, |interval| interval.0);
    let near = NEAR_END.0.max(mean.saturating_mul(INTERVALS)).max(analysis.most_apart().0.saturating_mul(2));
    let (first, last) = (stream.first(), stream.last());
    if let (Some(first), Some(start)) = (first, analysis.start)
        && first.since(start).0 > near
    {
        events.push((first, "stream-started", "begins".to_owned()));
    }
    if let (Some(last), Some(end)) = (last, analysis.end)
        && end.since(last).0 > near
    {
        events.push((last, "stream-stopped", "ends".to_owned()));
    }
    for pause in &stream.pauses {
        let length = duration_ns(pause.until.since(pause.from).0);
        events.push((pause.from, "stream-paused", format!("is silent for {length}")));
    }
    for change in &stream.changes {
        let text = format!("changes from {} to {}", rate_text(change.before.0), rate_text(change.after.0));
        events.push((change.time, "rate-changed", text));
    }
    for burst in &stream.bursts {
        events.push((burst.time, "packets-lost", format!("misses {} packets in a row", burst.missing)));
    }
    for (rate, step) in
        stream.media_rate.iter().flat_map(|rate| rate.steps.iter().map(move |step| (rate, step)))
    {
        let ahead = if step.size.0 < 0 { "back" } else { "ahead" };
        let size = duration_ns(step.size.0.saturating_abs());
        let against = match rate.against {
            Against::Leader => "the leader",
            Against::CaptureClock => "the capture's clock",
        };
        let text = format!("jumps {ahead} by {size} on its media clock against {against}");
        events.push((step.time, "media-step", text));
    }
    events
}
