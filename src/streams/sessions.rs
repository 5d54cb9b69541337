//! What senders say of their streams: descriptions seen in the capture, and the stream each speaks of.

use std::collections::BTreeMap;
use std::net::IpAddr;

use super::key::FlowKey;
use crate::sdp::MediaClock;
use crate::sdp::PtpDomain;
use crate::sdp::PtpSource;
use crate::sdp::ReferenceClock;
use crate::sdp::RtpMap;
use crate::sdp::Session;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Descriptions kept (chosen).
const KEPT: usize = 4096;

/// Versions kept of one session, the latest (chosen).
const VERSIONS_KEPT: usize = 16;

/// When what is known from elsewhere was said.
const ALWAYS: CaptureTime = CaptureTime(i64::MIN);

/// What names a session: `username`, `sess-id` and address of `o=`.
type Name = (Option<String>, String, String);

/// What names an announcement: its source, and the `msg id hash` (RFC 2974 section 6, from memory).
type Announcement = (IpAddr, u16);

/// A description, or that it was deleted, from a time on.
#[derive(Debug, Clone)]
struct Version {
    from: CaptureTime,
    session: Option<Session>,
}

/// Descriptions by what names a session, each with its versions. Of a stream that one stands which was said last during
/// its life.
#[derive(Debug, Clone, Default)]
pub struct Sessions {
    by_name: BTreeMap<Name, Vec<Version>>,
    /// The session of each SAP announcement.
    announced: BTreeMap<Announcement, Name>,
}

/// A section of a description, and how long it stood.
#[derive(Debug, Clone, Copy)]
pub(super) struct Section<'a> {
    session: &'a Session,
    index: usize,
    from: CaptureTime,
    until: CaptureTime,
    /// Whether nothing was said of its session before.
    is_first: bool,
}

/// The sections of descriptions by the address and port they name.
pub(super) type Sections<'a> = BTreeMap<(IpAddr, u16), Vec<Section<'a>>>;

/// What a description says of one stream.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Described {
    /// `s=`.
    pub name: String,
    /// `media` of the section: `audio`, `video` …
    pub kind: String,
    /// The payload types of the `m=` line; empty where it has others than numbers.
    pub payload_types: Vec<u8>,
    /// `a=ptime`.
    pub packet_time: Option<Nanos>,
    /// `a=rtpmap` of the stream's payload type.
    pub map: Option<RtpMap>,
    /// The grandmaster of `a=ts-refclk:ptp=`.
    pub reference: Option<[u8; 8]>,
    /// Whether the reference is PTP, whoever's.
    pub is_ptp: bool,
    /// Its domain's number.
    pub domain: Option<u8>,
    /// Whether that is a leader that was seen, in that domain; `None` where no grandmaster is named or no leader was
    /// seen.
    pub agrees: Option<bool>,
    /// `a=mediaclk`.
    pub media_clock: Option<MediaClock>,
}

fn name_of(session: &Session) -> Option<Name> {
    let origin = session.origin.as_ref()?;
    Some((origin.username.clone(), origin.session_id.clone(), origin.address.clone()))
}

impl Sessions {
    /// Takes in a description heard at `time`, or known from elsewhere.
    pub fn push(&mut self, session: Session, time: Option<CaptureTime>) {
        if let Some(name) = name_of(&session) {
            self.say(name, Some(session), time);
        }
    }

    /// Takes in a description that SAP announces.
    pub fn announce(&mut self, session: Session, time: Option<CaptureTime>, by: Announcement) {
        let Some(name) = name_of(&session) else { return };
        if self.announced.len() < KEPT || self.announced.contains_key(&by) {
            self.announced.insert(by, name.clone());
        }
        self.say(name, Some(session), time);
    }

    /// Takes in that SAP deletes an announcement.
    pub fn delete(&mut self, time: Option<CaptureTime>, announcement: Announcement) {
        if let Some(name) = self.announced.remove(&announcement) {
            self.say(name, None, time);
        }
    }

    fn say(&mut self, name: Name, session: Option<Session>, time: Option<CaptureTime>) {
        if self.by_name.len() >= KEPT && !self.by_name.contains_key(&name) {
            return;
        }
        let versions = self.by_name.entry(name).or_default();
        if versions.last().is_some_and(|last| last.session == session) {
            return;
        }
        if versions.len() >= VERSIONS_KEPT {
            versions.remove(0);
        }
        versions.push(Version { from: time.unwrap_or(ALWAYS), session });
    }

    /// The latest descriptions, by what names them.
    pub fn iter(&self) -> impl Iterator<Item = &Session> {
        self.by_name.values().filter_map(|versions| versions.iter().rev().find_map(|it| it.session.as_ref()))
    }

    /// Descriptions that were deleted, each with its time and what it said last.
    pub fn deletions(&self) -> impl Iterator<Item = (CaptureTime, &Session)> {
        self.by_name.values().flat_map(|versions| {
            versions.windows(2).filter_map(|pair| match pair {
                [Version { session: Some(session), .. }, Version { from, session: None }] => {
                    Some((*from, session))
                }
                _ => None,
            })
        })
    }

    /// The sections of all descriptions by the address and port they name.
    pub(super) fn by_address(&self) -> Sections<'_> {
        let mut sections = Sections::new();
        for versions in self.by_name.values() {
            let ends = versions.iter().skip(1).map(|next| next.from).chain([CaptureTime(i64::MAX)]);
            for ((nth, version), until) in versions.iter().enumerate().zip(ends) {
                let Some(session) = &version.session else { continue };
                let from = version.from;
                for (index, media) in session.media.iter().enumerate() {
                    for connection in session.connections_of(media) {
                        let section = Section { session, index, from, until, is_first: nth == 0 };
                        sections.entry((connection.address, media.port)).or_default().push(section);
                    }
                }
            }
        }
        sections
    }
}

/// What is said of a flow in its life: by the section of its group and port that names its source, else its payload type,
/// else the only one there is; of several of these by the latest.
pub(super) fn described(
    sections: &Sections<'_>,
    (key, first, last): (&FlowKey, CaptureTime, CaptureTime),
    payload_type: Option<u8>,
    leaders: &[(Option<u8>, [u8; 8])],
) -> Option<Described> {
    let FlowKey::Udp { source, destination, port, .. } = key else { return None };
    let candidates = sections.get(&(*destination, *port))?;
    let fits = |section: &Section<'_>| {
        let Section { session, index, from, until, .. } = *section;
        // A stream that ended before its description was first heard may have been described before the capture began.
        let is_of_its_life = from <= last && until > first;
        if !is_of_its_life && (until <= first || !section.is_first) {
            return None;
        }
        let media = session.media.get(index)?;
        let filters = session.source_filters_of(media);
        let named = filters.iter().any(|filter| filter.sources.contains(source));
        if !filters.is_empty() && !named {
            return None;
        }
        let origin = session.origin.as_ref().is_some_and(|origin| origin.address == source.to_string());
        let map = media.rtp_maps.iter().find(|map| Some(map.payload_type) == payload_type);
        Some((named, is_of_its_life, origin, map.is_some(), from))
    };
    let Section { session, index, .. } = candidates
        .iter()
        .filter_map(|candidate| Some((fits(candidate)?, candidate)))
        .max_by_key(|(fit, _)| *fit)
        .map(|(_, candidate)| *candidate)?;
    let media = session.media.get(index)?;
    let ptp = session.reference_clocks_of(media).iter().find_map(|clock| match clock {
        ReferenceClock::Ptp { source: PtpSource::Grandmaster { grandmaster_identity, domain }, .. } => {
            Some((*grandmaster_identity, domain))
        }
        _ => None,
    });
    let reference = ptp.as_ref().map(|(identity, _)| *identity);
    let domain = ptp.and_then(|(_, domain)| match domain {
        Some(PtpDomain::Number(number)) => Some(*number),
        _ => None,
    });
    let clocks = session.reference_clocks_of(media);
    let is_ptp = clocks.iter().any(|clock| matches!(clock, ReferenceClock::Ptp { .. }));
    let is_named = |leader: &(Option<u8>, [u8; 8])| {
        Some(leader.1) == reference && (domain.is_none() || leader.0 == domain)
    };
    let agrees = reference.filter(|_| !leaders.is_empty()).map(|_| leaders.iter().any(is_named));
    Some(Described {
        agrees,
        name: session.name.clone(),
        kind: media.kind.clone(),
        payload_types: media
            .formats
            .iter()
            .map(|format| format.parse().ok())
            .collect::<Option<_>>()
            .unwrap_or_default(),
        packet_time: media.packet_time,
        map: media.rtp_maps.iter().find(|map| Some(map.payload_type) == payload_type).cloned(),
        reference,
        is_ptp,
        domain,
        media_clock: session.media_clock_of(media).cloned(),
    })
}
