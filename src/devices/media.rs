//! What a device's media say of its clock.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;

use super::device::Device;
use super::device::State;
use super::owners::Owners;
use crate::sdp::MediaClock;
use crate::streams::Kind;
use crate::streams::Stream;
use crate::strength::Strength;
use crate::units::MacAddress;
use crate::units::Nanos;

/// A capture shorter than this may have missed the requests of a follower (chosen: the slowest profiles ask every
/// 16 s).
const LEAST_SPAN: Nanos = Nanos::from_seconds(35);
/// Senders without PTP that are named as devices (chosen).
const MOST_SENDERS: usize = 1024;

/// What the capture could show of senders' PTP.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MediaView {
    /// Its length.
    pub span: Nanos,
    /// Whether there is a leader at all.
    pub leader_seen: bool,
    /// Whether requests of any follower pass.
    pub requests_seen: bool,
}

/// Adds what the media clocks show: devices that are adrift by them, and senders without PTP, which become devices of
/// their own.
pub fn judge_media(devices: &mut Vec<Device>, streams: &[Stream], view: MediaView) {
    let sent = Sent::of(streams);
    for device in devices.iter_mut() {
        by_rate(device, &sent.by(device));
    }
    if view.leader_seen {
        add_senders(devices, streams, view);
        devices.sort_by(|a, b| a.key.cmp(&b.key));
    }
}

/// The stream farthest off, of those that a leader's time was held against.
fn farthest<'a>(streams: impl Iterator<Item = &'a Stream>) -> Option<(&'a Stream, f64)> {
    let measured = streams.filter_map(|stream| {
        let rate = stream.media_rate.as_ref().filter(|rate| rate.is_off().is_some())?;
        Some((stream, rate.ppm))
    });
    measured.max_by(|one, other| one.1.abs().total_cmp(&other.1.abs()))
}

/// Whether its description says that its clock is the leader's.
fn is_direct(stream: &Stream) -> bool {
    let described = stream.described.as_ref();
    described.is_some_and(|described| matches!(described.media_clock, Some(MediaClock::Direct { .. })))
}

/// Whether a stream is meant to keep the leader's time. Compressed pictures often keep an encoder's own, by design.
fn is_timed(stream: &Stream) -> bool {
    let codec = stream.nature.codec.as_ref();
    is_direct(stream)
        || stream.nature.kind == Kind::Audio
        || codec.is_some_and(|codec| codec.eq_ignore_ascii_case("raw"))
}

/// A stream that its description says to run on its own clock shows nothing of the device's.
fn runs_free(stream: &Stream) -> bool {
    stream.described.as_ref().is_some_and(|described| described.media_clock == Some(MediaClock::Sender))
}

/// Streams with RTP by whom they come from, in order.
struct Sent<'a> {
    streams: &'a [Stream],
    by_ip: BTreeMap<IpAddr, Vec<usize>>,
    by_mac: BTreeMap<MacAddress, Vec<usize>>,
}

impl<'a> Sent<'a> {
    fn of(streams: &'a [Stream]) -> Self {
        let mut sent = Self { streams, by_ip: BTreeMap::new(), by_mac: BTreeMap::new() };
        for (place, stream) in streams.iter().enumerate().filter(|(_, stream)| stream.rtp.is_some()) {
            if let Some(ip) = stream.source() {
                sent.by_ip.entry(ip).or_default().push(place);
            }
            if let Some(mac) = stream.macs.first() {
                sent.by_mac.entry(*mac).or_default().push(place);
            }
        }
        sent
    }

    /// Those that a device sends, in order.
    fn by(&self, device: &Device) -> Vec<&'a Stream> {
        let by_ip = device.ips.iter().filter_map(|ip| self.by_ip.get(ip));
        let by_mac = device.macs.iter().filter_map(|mac| self.by_mac.get(mac));
        let places: BTreeSet<usize> = by_ip.chain(by_mac).flatten().copied().collect();
        let all = places.into_iter().filter_map(|place| self.streams.get(place));
        all.filter(|stream| device.sends(stream)).collect()
    }
}

fn by_rate(device: &mut Device, own: &[&Stream]) {
    let own: Vec<&Stream> = own.iter().copied().filter(|stream| !runs_free(stream)).collect();
    // What is meant to be timed first: beside it, compressed pictures that run free say nothing of the device.
    let timed = farthest(own.iter().copied().filter(|stream| is_timed(stream)));
    let Some((stream, ppm)) = timed.or_else(|| farthest(own.iter().copied())) else { return };
    device.media_rate_ppm = Some(ppm);
    let Some(rate) = stream.media_rate.as_ref().filter(|rate| rate.is_off() == Some(true)) else { return };
    let direct = is_direct(stream);
    let replaced = matches!(
        device.state,
        State::Following | State::Relaying | State::StandingBy | State::Unproven | State::Adrift
    );
    let reason = format!(
        "the media clock of {} runs {ppm:+.3} ppm (standard error {:.3}) against the leader",
        stream.key, rate.sigma_ppm
    );
    if replaced && is_timed(stream) {
        // Without its word that the stream follows PTP, the sender may mean it to run free.
        device.strength = if direct { Strength::Shown } else { Strength::Inferred };
        if device.state != State::Adrift {
            let before = device.state.name();
            device.reasons.insert(0, reason);
            device.reasons.push(format!("by its messages alone it would be {before}"));
        } else {
            device.reasons.push(reason);
        }
        device.state = State::Adrift;
    } else {
        device.reasons.push(reason);
    }
}

fn add_senders(devices: &mut Vec<Device>, streams: &[Stream], view: MediaView) {
    let is_media = |stream: &&Stream| {
        stream.rtp.is_some() && matches!(stream.nature.kind, Kind::Audio | Kind::Video | Kind::Unknown)
    };
    let owners = Owners::of(devices);
    let strangers = streams.iter().filter(is_media).filter(|stream| owners.of_stream(stream).is_none());
    let mut by_source: BTreeMap<IpAddr, Vec<&Stream>> = BTreeMap::new();
    for stream in strangers {
        if let Some(source) = stream.source() {
            by_source.entry(source).or_default().push(stream);
        }
    }
    let mut keys: BTreeSet<String> = devices.iter().map(|device| device.key.clone()).collect();
    for (source, own) in by_source.into_iter().take(MOST_SENDERS) {
        let device = sender(source, &own, view, &keys);
        keys.insert(device.key.clone());
        devices.push(device);
    }
}

/// A sender without PTP.
fn sender(source: IpAddr, own: &[&Stream], view: MediaView, keys: &BTreeSet<String>) -> Device {
    let rate = farthest(own.iter().copied());
    let (state, strength, reason) = if view.span < LEAST_SPAN || !view.requests_seen {
        let why = if view.requests_seen {
            format!("the capture is shorter than {} s", LEAST_SPAN.0 / 1_000_000_000)
        } else {
            "no follower's requests pass here".to_owned()
        };
        (State::Unproven, Strength::CannotTell, format!("sends media and no PTP, but {why}"))
    } else if rate.is_some_and(|(stream, _)| {
        stream.media_rate.as_ref().is_some_and(|rate| rate.is_off() == Some(false))
    }) {
        let reason =
            "sends media at the leader's rate and no PTP: it may ask by a way that does not pass here";
        (State::Unproven, Strength::CannotTell, reason.to_owned())
    } else {
        let reason = format!(
            "sends media and no PTP in {} s, while others' requests pass here; by design where a stream is not timed by PTP",
            view.span.0 / 1_000_000_000
        );
        (State::Unclocked, Strength::Inferred, reason)
    };
    let macs: BTreeSet<_> = own.iter().flat_map(|stream| stream.macs.iter().copied()).collect();
    // A router's address stands on the frames of many, and other devices may have it for their key.
    let mac = macs.first().filter(|_| macs.len() == 1).map(ToString::to_string);
    let key = mac.filter(|key| !keys.contains(key)).unwrap_or_else(|| source.to_string());
    Device {
        key,
        name: None,
        macs,
        ips: BTreeSet::from([source]),
        clocks: BTreeSet::new(),
        domains: BTreeSet::new(),
        leader: None,
        in_domain: None,
        time: None,
        state,
        strength,
        media_rate_ppm: rate.map(|(_, ppm)| ppm),
        withheld: Vec::new(),
        reasons: vec![reason],
    }
}
