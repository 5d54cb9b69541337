//! What is on the wire: streams, who sends them, and what the link carries.
//!
//! [`Streams`] takes in all frames and joins like the rest of a stretch; [`Streams::conclude`] tells what its flows are.
//! Bit rates are those of the wire, by original lengths, so a capture that cut its frames gives the same ones. A
//! later fragment counts for the flow of its datagram's first one; where that was not seen it is left out and counted.

mod contradiction;
mod describe;
mod flow;
mod fragments;
mod intervals;
mod key;
mod load;
mod marks;
mod media;
mod media_clock;
mod minima;
mod numbers;
mod outages;
mod packet;
mod picked;
mod seen;
mod sessions;
mod signs;
mod silences;
mod stream;
mod table;
mod trace;
mod twins;
mod windows;

pub use contradiction::Contradiction;
pub use describe::{Kind, KnownBy, Nature};
pub use flow::Silence;
pub use intervals::Intervals;
pub use key::FlowKey;
pub use load::{ASSUMED_SPEED, Link, Source, SpeedKnownBy};
pub use media_clock::{Against, MEDIA_LIMIT_PPM, MediaRate, MediaStep};
pub use numbers::AvtpCounts;
pub use seen::{Noted, Seen};
pub use sessions::{Described, Sessions};
pub use stream::{Packets, RtpCounts, Stream, Twin};
pub use table::{FLOWS_KEPT, Folded};
pub use trace::RateChange;
pub use trace::Trace;
pub use windows::{Carried, Window, Windows};

pub use crate::rtp::Burst;

use std::collections::BTreeMap;
use std::net::IpAddr;

use crate::capture::Record;
use crate::clock::LeaderTime;
use crate::clock::SetBacks;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::statistics::Rate;
use crate::statistics::Run;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// So near to where the capture's clock was set to a silence ends with that (chosen: frames may be out of order by as much).
const BEGINNING: Nanos = Nanos(crate::units::NANOS_PER_SECOND / 32);

/// The flows of a stretch of frames. Memory: at most 36 KiB for each of [`FLOWS_KEPT`] flows.
#[derive(Debug, Clone, Default)]
pub struct Streams {
    table: table::Table,
    link: Rate,
    link_trace: Trace,
    /// Times without any frame.
    silences: silences::Silences,
    untimed: u64,
    fragments: fragments::Fragments,
}

/// What streams are held against.
#[derive(Debug, Clone, Copy)]
pub struct Context<'a> {
    /// Descriptions that were seen.
    pub sessions: &'a Sessions,
    /// The time of the site's leader.
    pub leader: Option<LeaderTime<'a>>,
    /// The same of every version 2 domain by its number, the site's first.
    pub by_domain: &'a [(u8, LeaderTime<'a>)],
    /// The domain's number of each address whose device takes part in one only.
    pub homes: &'a BTreeMap<IpAddr, u8>,
    /// Leaders that were seen: domain number and identity.
    pub leaders: &'a [(Option<u8>, [u8; 8])],
    /// The coarsest step of a stamp.
    pub resolution: Nanos,
    /// Times that the capture's clock was set back: the latest stamp before and the first after.
    pub set_backs: SetBacks<'a>,
    /// From where to where it ran between; empty where it was not set back.
    pub runs: &'a [(CaptureTime, CaptureTime)],
    /// The link's speed as the user gave it.
    pub link_speed: Option<BitsPerSecond>,
    /// The link's speed as the capture file has it.
    pub file_speed: Option<BitsPerSecond>,
}

/// What was on the wire.
#[derive(Debug, Clone)]
pub struct Wire {
    /// Streams by key.
    pub streams: Vec<Stream>,
    /// Their sources by address.
    pub sources: Vec<Source>,
    /// All frames.
    pub link: Link,
    /// Times in which nothing at all was captured, in order; the longest ones.
    pub silences: Vec<Silence>,
    /// Flows that found no room in the table.
    pub folded: Folded,
    /// Frames without a time, which are in no stream.
    pub untimed: u64,
    /// Later fragments of UDP to groups whose first fragment was not seen; they are in no stream.
    pub fragments_left_out: u64,
}

impl Streams {
    /// Those of a capture's beginning: what follows can be joined to them, and nothing can come before, which saves what a
    /// part keeps for that.
    #[must_use]
    pub fn from_the_beginning() -> Self {
        let mut streams = Self::default();
        streams.table.is_beginning = true;
        streams.fragments.is_beginning = true;
        streams
    }

    /// Takes in the next frame; whether it belongs to a flow.
    pub fn record(&mut self, record: &Record<'_>, frame: &Frame<'_>) -> bool {
        let Some(time) = record.time else {
            self.untimed += 1;
            return false;
        };
        self.carry(time, packet::wire(record));
        let fragment = fragments::of(frame);
        if let Some((Fragment::Later, datagram)) = fragment {
            return self.later(datagram, fragments::Part { time, wire: packet::wire(record) });
        }
        let found = packet::of(record, time, frame);
        if let Some((_, datagram)) = fragment {
            self.fragments.first(datagram, found.as_ref().map(|(key, ..)| *key));
        }
        let Some((key, packet, payload)) = found else { return false };
        self.table.push(key, &packet, payload);
        true
    }

    /// Counts a frame for the link.
    fn carry(&mut self, time: CaptureTime, wire: u32) {
        self.silences.hear(time);
        self.link.push(time, u64::from(wire));
        self.link_trace.push(time, u64::from(wire));
    }

    /// The same for a run of frames.
    fn carry_run(&mut self, run: &Run) {
        // Between the two lies less than what counts as a silence, and those between them are in no silence that is left.
        self.silences.hear(run.first());
        self.silences.hear(run.last());
        self.link.push_run(run);
        self.link_trace.push(run.first(), run.octets());
    }

    /// Takes in a later fragment; whether it belongs to a flow.
    fn later(&mut self, datagram: fragments::Datagram, part: fragments::Part) -> bool {
        let fragments::Belongs::To(Some(key)) = self.fragments.later(datagram, part) else { return false };
        self.table.part(key, part);
        true
    }

    /// This stretch and the one after it as one.
    #[must_use]
    pub fn join(mut self, right: Self) -> Self {
        for (key, part) in self.fragments.join(right.fragments) {
            self.table.part(key, part);
        }
        self.table.join(right.table);
        self.silences.join(&right.silences);
        // Where time goes far back at a cut, a peak may differ; nothing else does.
        let _exact: bool = self.link.join(&right.link);
        self.link_trace.join(right.link_trace);
        self.untimed += right.untimed;
        self
    }

    /// What the flows are.
    #[must_use]
    pub fn conclude(self, context: Context<'_>) -> Wire {
        let (flows, mut rates, folded) = self.table.into_parts();
        let mut holes = self.silences.holes(self.link.packets());
        holes.retain(|hole| !is_jumped_over(hole, self.link.first(), context.set_backs));
        let set_backs = u64::try_from(context.set_backs.len()).unwrap_or(u64::MAX);
        let spans = || holes.iter().map(|hole| (hole.from, hole.until));
        let mut link_rate = self.link.clone();
        link_rate.heed_set_backs(set_backs);
        link_rate.leave_out(spans());
        for rate in rates.values_mut() {
            rate.heed_set_backs(set_backs);
            rate.leave_out(spans());
        }
        let grounds = stream::Grounds {
            sections: context.sessions.by_address(),
            leader: context.leader,
            by_domain: context.by_domain,
            homes: context.homes,
            leaders: context.leaders,
            resolution: context.resolution,
            silences: self.silences.all(),
            shortest: self.silences.shortest(),
            link: &self.link,
            set_backs: context.set_backs,
            runs: context.runs,
        };
        let mut streams = stream::streams(flows, &grounds);
        for stream in &mut streams {
            stream.pauses.retain(|pause| !pause.is_of_all(self.silences.all()));
            stream.leave_out(&holes);
        }
        twins::find(&mut streams);
        let sources = load::sources(&streams, &rates);
        let (speed, known_by) = match (context.link_speed, context.file_speed) {
            (Some(speed), _) => (speed, SpeedKnownBy::Settings),
            (None, Some(speed)) => (speed, SpeedKnownBy::CaptureFile),
            (None, None) => (ASSUMED_SPEED, SpeedKnownBy::Assumed),
        };
        let link = Link { speed, known_by, rate: link_rate, trace: self.link_trace, holes };
        Wire {
            streams,
            sources,
            link,
            silences: {
                let all = self.silences.all().iter().copied();
                all.filter(|each| !is_jumped_over(each, self.link.first(), context.set_backs)).collect()
            },
            folded,
            untimed: self.untimed,
            fragments_left_out: self.fragments.left_out(),
        }
    }
}

/// Whether time did not run through a silence: what comes after it, the capture's clock was set back to, or began with.
fn is_jumped_over(silence: &Silence, first: Option<CaptureTime>, set_backs: SetBacks<'_>) -> bool {
    let begins_there = |begin: CaptureTime| silence.until.since(begin).0.saturating_abs() <= BEGINNING.0;
    !set_backs.is_empty() && set_backs.iter().map(|(_, to)| *to).chain(first).any(begins_there)
}
