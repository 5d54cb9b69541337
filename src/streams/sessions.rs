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
use crate::units::Nanos;

/// Descriptions kept (chosen).
const KEPT: usize = 4096;

/// Descriptions by what names a session: `username`, `sess-id` and address of `o=`. The latest one stands.
#[derive(Debug, Clone, Default)]
pub struct Sessions {
    by_origin: BTreeMap<(Option<String>, String, String), Session>,
}

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

impl Sessions {
    /// Takes in a description.
    pub fn push(&mut self, session: Session) {
        let Some(origin) = &session.origin else { return };
        let key = (origin.username.clone(), origin.session_id.clone(), origin.address.clone());
        if self.by_origin.len() < KEPT || self.by_origin.contains_key(&key) {
            self.by_origin.insert(key, session);
        }
    }

    /// The descriptions, by what names them.
    pub fn iter(&self) -> impl Iterator<Item = &Session> {
        self.by_origin.values()
    }

    /// The sections of all descriptions by the address and port they name.
    pub(super) fn by_address(&self) -> BTreeMap<(IpAddr, u16), Vec<(&Session, usize)>> {
        let mut sections: BTreeMap<(IpAddr, u16), Vec<(&Session, usize)>> = BTreeMap::new();
        for session in self.by_origin.values() {
            for (index, media) in session.media.iter().enumerate() {
                for connection in session.connections_of(media) {
                    sections.entry((connection.address, media.port)).or_default().push((session, index));
                }
            }
        }
        sections
    }
}

/// What is said of a flow: by the section of its group and port that names its source, else its payload type, else
/// the only one there is.
pub(super) fn described(
    sections: &BTreeMap<(IpAddr, u16), Vec<(&Session, usize)>>,
    key: &FlowKey,
    payload_type: Option<u8>,
    leaders: &[(Option<u8>, [u8; 8])],
) -> Option<Described> {
    let FlowKey::Udp { source, destination, port, .. } = key else { return None };
    let candidates = sections.get(&(*destination, *port))?;
    let fits = |(session, index): &(&Session, usize)| {
        let media = session.media.get(*index)?;
        let filters = session.source_filters_of(media);
        let named = filters.iter().any(|filter| filter.sources.contains(source));
        if !filters.is_empty() && !named {
            return None;
        }
        let origin = session.origin.as_ref().is_some_and(|origin| origin.address == source.to_string());
        let map = media.rtp_maps.iter().find(|map| Some(map.payload_type) == payload_type);
        Some((named, origin, map.is_some()))
    };
    let (session, index) = candidates
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
