//! What sources and the link carry.

use std::collections::BTreeMap;
use std::net::IpAddr;

use super::flow::Silence;
use super::stream::Stream;
use super::trace::Trace;
use crate::statistics::Rate;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// The speed a link is taken to have where nothing says (chosen: what most such networks are made of).
pub const ASSUMED_SPEED: BitsPerSecond = BitsPerSecond(1_000_000_000);

/// How the link's speed is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpeedKnownBy {
    /// The user gave it.
    Settings,
    /// The capture file says so (pcapng `if_speed`).
    CaptureFile,
    /// It is assumed.
    Assumed,
}

impl SpeedKnownBy {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Settings => "settings",
            Self::CaptureFile => "capture-file",
            Self::Assumed => "assumed",
        }
    }
}

/// The link the capture was taken on: all its frames, in both directions together.
#[derive(Debug, Clone)]
pub struct Link {
    /// Its speed.
    pub speed: BitsPerSecond,
    /// How that is known.
    pub known_by: SpeedKnownBy,
    /// Octets on the wire over time.
    pub rate: Rate,
    /// Those octets in at most 128 bins over the capture.
    pub trace: Trace,
    /// Times in which nothing at all was captured though others would have come: the capture missed them, or its clock was
    /// set ahead. They count for no mean.
    pub holes: Vec<Silence>,
}

impl Link {
    /// How much of a time was watched: all of it but for the holes.
    #[must_use]
    pub fn watched_between(&self, from: CaptureTime, until: CaptureTime) -> Nanos {
        let within = |hole: &Silence| hole.until.min(until).since(hole.from.max(from)).max(Nanos::ZERO);
        let holes = self.holes.iter().map(within).fold(Nanos::ZERO, Nanos::saturating_add);
        Nanos(until.since(from).0.saturating_sub(holes.0))
    }
}

/// What one source sends.
#[derive(Debug, Clone)]
pub struct Source {
    /// Its address.
    pub ip: IpAddr,
    /// Streams, media or not.
    pub streams: u64,
    /// Mean of the streams' octets over the time that was watched.
    pub mean: BitsPerSecond,
    /// Octets on the wire over time, of all its streams together.
    pub rate: Rate,
}

/// The sources of the streams, by address; `rates` holds each one's octets over time.
pub(super) fn sources(streams: &[Stream], rates: &BTreeMap<IpAddr, Rate>) -> Vec<Source> {
    let mut counts: BTreeMap<IpAddr, u64> = BTreeMap::new();
    for ip in streams.iter().filter_map(Stream::source) {
        *counts.entry(ip).or_default() += 1;
    }
    let source = |(ip, streams)| {
        let rate = rates.get(&ip)?.clone();
        Some(Source { ip, streams, mean: rate.mean().unwrap_or(BitsPerSecond(0)), rate })
    };
    counts.into_iter().filter_map(source).collect()
}
