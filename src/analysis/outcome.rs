//! What a reading comes to.

use super::reading::Settings;
use super::reading::places;
use super::tally::CutPtp;
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
use crate::observations::SetBack;
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

/// Jumps that differ by less than one part of so many are one (chosen).
const ALIKE: i64 = 8;

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
    /// Times that the capture's clock was set back, in capture order.
    pub set_backs: Vec<SetBack>,
    /// From where to where it ran between; empty where it was not set back.
    pub runs: Vec<(CaptureTime, CaptureTime)>,
    /// How long the capture's clock ran, what it ran through twice included.
    pub ran: Nanos,
    /// Times that stamps ran ahead and came back.
    pub stamps_returned: u64,
    /// The smallest and the largest jump that they came back from.
    pub stamps_returned_from: Option<(Nanos, Nanos)>,
    /// Frames looked at.
    pub frames: u64,
    /// Frames outside the span asked for.
    pub frames_outside: u64,
    /// PTP messages decoded, copies left out.
    pub ptp_messages: u64,
    /// Frames of PTP that the capture kept too little of.
    pub cut_ptp: CutPtp,
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

    /// Length of what was looked at, also where the capture's clock was set back between.
    #[must_use]
    pub fn duration(&self) -> Option<Nanos> {
        if self.set_backs.is_empty() { self.length_by_stamps() } else { Some(self.ran) }
    }

    fn length_by_stamps(&self) -> Option<Nanos> {
        Some(self.end?.since(self.start?))
    }

    /// The earliest stamp that was looked at: the capture's clock may have been set back to before the first frame's.
    #[must_use]
    pub fn earliest(&self) -> Option<CaptureTime> {
        self.set_backs.iter().map(|set_back| set_back.to).chain(self.start).min()
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
        let stamps = self.length_by_stamps();
        let off = stamps.map_or(0, |length| length.0.saturating_sub(watched.0).saturating_abs());
        let was_set_back = self.set_backs.iter().any(|set_back| set_back.size().0 >= half.0);
        let is_by_turns = self.most_apart() >= half;
        half.0 >= LEAST_SETTING.0 / 2 && (off >= half.0 || was_set_back || is_by_turns)
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
        self.clocks_apart().map(|apart| {
            format!(
                "the stamps of this capture run ahead by {apart} and come back {} times, as where its interfaces have clocks \
                 of their own",
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

    /// How far the clocks of this capture's interfaces are apart, where it seems to have several.
    #[must_use]
    pub fn clocks_apart(&self) -> Option<String> {
        let (least, most) = self.stamps_returned_from.filter(|_| self.stamps_returned >= TO_AND_FRO)?;
        let is_one = most.0.saturating_sub(least.0) <= most.0 / ALIKE;
        let rounded = |nanos: Nanos| {
            // To hundredths: frames of the two do not come at once.
            let unit = 10_i64.pow(nanos.0.max(1).ilog10().saturating_sub(1));
            Nanos(nanos.0.saturating_add(unit / 2) / unit * unit).as_seconds_text()
        };
        Some(if is_one { format!("about {}", rounded(most)) } else { format!("up to {}", rounded(most)) })
    }

    /// How far two stamps of this capture may be apart by that alone.
    #[must_use]
    pub fn most_apart(&self) -> Nanos {
        let apart = self.stamps_returned_from.filter(|_| self.stamps_returned >= TO_AND_FRO);
        apart.map_or(Nanos::ZERO, |(_, most)| most)
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
