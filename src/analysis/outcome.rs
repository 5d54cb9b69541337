//! What a reading comes to.

use super::reading::Settings;
use super::reading::places;
use super::tally::Problem;
use crate::capture::CaptureSummary;
use crate::capture::Gap;
use crate::clock::Clocks;
use crate::devices::Device;
use crate::devices::Owners;
use crate::devices::SiteDomain;
use crate::domains::ClockId;
use crate::domains::DomainKey;
use crate::domains::Domains;
use crate::domains::JournalEntry;
use crate::domains::Silence;
use crate::multicast::GroupUse;
use crate::multicast::Multicast;
use crate::names::Directory;
use crate::observations::Place;
use crate::observations::Watched;
use crate::profiles::ProfileFit;
use crate::streams::Sessions;
use crate::streams::Stream;
use crate::streams::Window;
use crate::streams::Wire;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::viewpoint::Scope;
use crate::viewpoint::Viewpoint;
use std::collections::BTreeMap;

/// Times that stamps run ahead and come back from which they are taken for several clocks' (chosen: more than a few
/// stray ones).
const TO_AND_FRO: u64 = 10;

/// Settings of the capture's clock that can be told from pauses between messages, which are 125 ms apart where a leader
/// sends 8 Syncs a second (chosen: twice that).
pub const LEAST_SETTING: Nanos = Nanos(250_000_000);

/// A file and what could not be read of its frames.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CaptureReport {
    /// What the file said.
    pub summary: CaptureSummary,
    /// Frames that could not be read as they should.
    pub undecodable: u64,
    /// Why, how often, and where first.
    pub problems: BTreeMap<Problem, (u64, Place)>,
}

/// Everything known of a capture.
#[derive(Debug, Clone)]
pub struct Analysis {
    /// Its files, by the index that a [`Place`] names.
    pub captures: Vec<CaptureReport>,
    /// Inputs that could not be read, and why.
    pub unreadable: Vec<(String, String)>,
    /// Whether reading was stopped before the inputs' ends because that was asked for.
    pub is_partial: bool,
    /// Holes between files.
    pub gaps: Vec<Gap>,
    /// What was asked for.
    pub settings: Settings,
    /// Time of the first frame of all; seconds in the report count from here.
    pub origin: Option<CaptureTime>,
    /// Time of the first frame looked at.
    pub start: Option<CaptureTime>,
    /// Latest time looked at.
    pub end: Option<CaptureTime>,
    /// How long the network was watched.
    pub watched: Watched,
    /// Times that stamps ran ahead and came back.
    pub stamps_returned: u64,
    /// Frames looked at.
    pub frames: u64,
    /// Frames outside the span asked for.
    pub frames_outside: u64,
    /// PTP messages decoded, copies left out.
    pub ptp_messages: u64,
    /// PTP frames that a mirror had captured twice.
    pub mirror_copies: u64,
    /// Its domains.
    pub domains: Domains,
    /// How each agrees with the profiles.
    pub profiles: BTreeMap<DomainKey, Vec<ProfileFit>>,
    /// Time in them: the capture's clock and the followers' against each leader.
    pub clocks: Clocks,
    /// Which of them is the site's.
    pub site: SiteDomain,
    /// Its devices, by key.
    pub devices: Vec<Device>,
    /// Which of them owns what.
    pub owners: Owners,
    /// Where it was taken.
    pub viewpoint: Viewpoint,
    /// What would be in view there.
    pub scope: Scope,
    /// Who asks for which groups.
    pub multicast: Multicast,
    /// What the groups on the wire have to do with those asked for.
    pub group_use: GroupUse,
    /// Whose addresses are whose, and what devices call themselves.
    pub directory: Directory,
    /// Streams, sources and the link's load.
    pub wire: Wire,
    /// What senders say of their streams.
    pub sessions: Sessions,
    /// What was asked to be kept and not taken before the reading ended.
    pub remains: Remains,
}

/// Octets of Ethernet with a tag, IPv4 and UDP before a message of PTP, and its header (IEEE 802.3, RFC 791, RFC 768,
/// 1588-2008 13.3; from memory).
const LEAST_KEPT: u32 = 18 + 20 + 8 + 34;

/// Everything that was taken in, where it is asked for, as far as it was not taken yet.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Remains {
    /// Messages, samples and exchanges, each domain's in order.
    pub journal: Vec<JournalEntry>,
    /// Windows, each one's link first and then its flows.
    pub windows: Vec<Window>,
}

impl Analysis {
    /// How a domain agrees with the profiles, best first.
    #[must_use]
    pub fn profiles_of(&self, key: &DomainKey) -> &[ProfileFit] {
        self.profiles.get(key).map(Vec::as_slice).unwrap_or_default()
    }

    /// Length of what was looked at.
    #[must_use]
    pub fn duration(&self) -> Option<Nanos> {
        Some(self.end?.since(self.start?))
    }

    /// How long the network was watched for messages that come every `interval`: pauses of the whole capture and
    /// jumps of its clock do not count.
    #[must_use]
    pub fn watched_for(&self, interval: Nanos) -> Nanos {
        self.watched.since(&Watched::default(), interval)
    }

    /// Whether the capture's clock may have been set by about `size`, or nothing have been captured for that long: the
    /// stamps span more, or less, than the network was watched for. A jump of that size is nobody else's then.
    /// Always `false` below [`LEAST_SETTING`].
    #[must_use]
    pub fn may_have_been_set_by(&self, size: Nanos) -> bool {
        let half = Nanos(size.0.saturating_abs() / 2);
        let watched = self.watched_for(half);
        let off = self.duration().map_or(0, |length| length.0.saturating_sub(watched.0).saturating_abs());
        half.0 >= LEAST_SETTING.0 / 2 && off >= half.0
    }

    /// To how many octets frames were kept, where that is too few to read the header of a PTP message over UDP.
    #[must_use]
    pub fn cut_before_ptp(&self) -> Option<u32> {
        let cut = self.captures.iter().filter_map(|capture| capture.summary.snapped_to);
        cut.max().filter(|kept| *kept < LEAST_KEPT)
    }

    /// Whether its files may be of several places, so that one message may be in it more than once, changed on its way:
    /// files of the same time. Pieces that follow one another are of one place.
    #[must_use]
    pub fn may_be_of_several_places(&self) -> bool {
        places(self.captures.iter().map(|capture| &capture.summary)) > 1
    }

    /// Why times of this capture cannot be compared with one another, where that is so: its stamps go to and fro, as where
    /// interfaces have clocks of their own.
    #[must_use]
    pub fn clocks_disagree(&self) -> Option<String> {
        (self.stamps_returned >= TO_AND_FRO).then(|| {
            format!(
                "the stamps of this capture run ahead and come back {} times, as where its interfaces have clocks of their \
                 own",
                self.stamps_returned
            )
        })
    }

    /// Whether nothing at all was captured for part of a silence.
    #[must_use]
    pub fn is_in_hole(&self, silence: &Silence) -> bool {
        let Some((before, after)) = silence.before.time.zip(silence.after.time) else { return false };
        self.wire.link.holes.iter().any(|hole| hole.from < after && before < hole.until)
    }

    /// Seconds of the capture that have passed at `time`.
    #[must_use]
    pub fn since_origin(&self, time: CaptureTime) -> Nanos {
        self.origin.map_or(Nanos::ZERO, |origin| time.since(origin))
    }

    /// The device that sends a stream.
    #[must_use]
    pub fn sender_of(&self, stream: &Stream) -> Option<&Device> {
        self.devices.get(self.owners.of_stream(stream)?)
    }

    /// The device that owns a clock.
    #[must_use]
    pub fn device_of(&self, clock: ClockId) -> Option<&Device> {
        self.devices.get(self.owners.of_clock(clock)?)
    }
}
