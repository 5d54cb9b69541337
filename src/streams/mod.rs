//! What is on the wire: streams, who sends them, and what the link carries.
//!
//! [`Streams`] takes in all frames and joins like the rest of a stretch; [`Streams::conclude`] tells what its flows are.
//! Bit rates are those of the wire, by original lengths, so a capture that cut its frames gives the same ones. A
//! fragmented datagram counts with its first fragment only.

mod contradiction;
mod describe;
mod flow;
mod intervals;
mod key;
mod load;
mod marks;
mod media;
mod media_clock;
mod minima;
mod packet;
mod picked;
mod seen;
mod sessions;
mod signs;
mod stream;
mod table;
mod trace;
mod twins;

pub use contradiction::Contradiction;
pub use describe::{Kind, KnownBy, Nature};
pub use flow::Silence;
pub use intervals::Intervals;
pub use key::FlowKey;
pub use load::{ASSUMED_SPEED, Link, Source, SpeedKnownBy};
pub use media::Burst;
pub use media_clock::{Against, MEDIA_LIMIT_PPM, MediaRate, MediaStep};
pub use seen::Seen;
pub use sessions::{Described, Sessions};
pub use stream::{Packets, RtpCounts, Stream, Twin};
pub use table::{FLOWS_KEPT, Folded};
pub use trace::RateChange;
pub use trace::Trace;

use crate::capture::Record;
use crate::clock::LeaderTime;
use crate::frame::Frame;
use crate::statistics::Rate;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// The flows of a stretch of frames. Memory: at most 27 KiB for each of [`FLOWS_KEPT`] flows.
#[derive(Debug, Clone, Default)]
pub struct Streams {
    table: table::Table,
    link: Rate,
    link_trace: Trace,
    /// First and last frame, and times without any.
    heard: Option<(CaptureTime, CaptureTime)>,
    silences: Vec<Silence>,
    untimed: u64,
}

/// Silences of the whole capture that are kept (chosen).
const SILENCES_KEPT: usize = 64;

/// What streams are held against.
#[derive(Debug, Clone, Copy)]
pub struct Context<'a> {
    /// Descriptions that were seen.
    pub sessions: &'a Sessions,
    /// The time of the site's leader.
    pub leader: Option<LeaderTime<'a>>,
    /// Leaders that were seen: domain number and identity.
    pub leaders: &'a [(Option<u8>, [u8; 8])],
    /// The coarsest step of a stamp.
    pub resolution: Nanos,
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
    /// Flows that found no room in the table.
    pub folded: Folded,
    /// Frames without a time, which are in no stream.
    pub untimed: u64,
}

impl Streams {
    /// Those of a capture's beginning: what follows can be joined to them, and nothing can come before, which saves what a
    /// part keeps for that.
    #[must_use]
    pub fn from_the_beginning() -> Self {
        let mut streams = Self::default();
        streams.table.is_beginning = true;
        streams
    }

    /// Takes in the next frame; whether it belongs to a flow.
    pub fn record(&mut self, record: &Record<'_>, frame: &Frame<'_>) -> bool {
        let Some(time) = record.time else {
            self.untimed += 1;
            return false;
        };
        self.carry(time, packet::wire(record));
        let Some((key, packet, payload)) = packet::of(record, time, frame) else { return false };
        self.table.push(key, &packet, payload);
        true
    }

    /// Counts a frame for the link.
    fn carry(&mut self, time: CaptureTime, wire: u32) {
        self.hear(time);
        self.link.push(time, u64::from(wire));
        self.link_trace.push(time, u64::from(wire));
    }

    /// Notes that something was captured.
    fn hear(&mut self, time: CaptureTime) {
        let (first, last) = self.heard.unwrap_or((time, time));
        if time.since(last) > flow::PAUSE && self.silences.len() < SILENCES_KEPT {
            self.silences.push(Silence { from: last, until: time });
        }
        self.heard = Some((first, time));
    }

    /// This stretch and the one after it as one.
    #[must_use]
    pub fn join(mut self, right: Self) -> Self {
        self.table.join(right.table);
        if let Some((first, last)) = right.heard {
            self.hear(first);
            self.silences.extend(right.silences);
            self.silences.truncate(SILENCES_KEPT);
            self.heard = self.heard.map(|(first, _)| (first, last));
        }
        // Where time goes far back at a cut, a peak may differ; nothing else does.
        let _exact: bool = self.link.join(&right.link);
        self.link_trace.join(right.link_trace);
        self.untimed += right.untimed;
        self
    }

    /// What the flows are.
    #[must_use]
    pub fn conclude(self, context: Context<'_>) -> Wire {
        let (flows, rates, folded) = self.table.into_parts();
        let grounds = stream::Grounds {
            sections: context.sessions.by_address(),
            leader: context.leader,
            leaders: context.leaders,
            resolution: context.resolution,
        };
        let mut streams = stream::streams(flows, &grounds);
        for stream in &mut streams {
            stream.pauses.retain(|pause| !pause.is_of_all(&self.silences));
        }
        twins::find(&mut streams);
        let sources = load::sources(&streams, &rates);
        let (speed, known_by) = match (context.link_speed, context.file_speed) {
            (Some(speed), _) => (speed, SpeedKnownBy::Settings),
            (None, Some(speed)) => (speed, SpeedKnownBy::CaptureFile),
            (None, None) => (ASSUMED_SPEED, SpeedKnownBy::Assumed),
        };
        let link = Link { speed, known_by, rate: self.link, trace: self.link_trace };
        Wire { streams, sources, link, folded, untimed: self.untimed }
    }
}
