//! One message captured twice with other marks: on another VLAN, or with another code point.
//!
//! Octet-identical copies within a millisecond are taken out before, so what is left was changed or delayed on the way.
//! Memory: the latest message of at most [`SERIES`] series, at most [`KEPT`] pairs of each sort.

use std::collections::BTreeMap;

use super::key::DomainName;
use super::key::PortId;
use super::port::ClockPort;
use super::sync_checks::Met;
use crate::observations::Path;
use crate::observations::Place;
use crate::observations::Transport;
use crate::ptp::v2;
use crate::tables::Slots;
use crate::units::Nanos;
use crate::units::Timestamp;

/// Kinds of messages that are followed: Announce, Sync, Follow_Up, Delay_Req.
const KINDS: usize = 4;

/// Series followed (chosen).
const SERIES: usize = 4096;

/// Pairs kept of each sort (chosen).
const KEPT: usize = 64;

/// How far apart two captures of one message may be (chosen: less than the shortest interval in use, 1/128 s, takes to
/// come round to the same number; more than any queue holds).
const WINDOW: Nanos = Nanos(500_000_000);

#[derive(Debug, Clone, Copy)]
struct Latest {
    number: u16,
    place: Place,
    vlan: Option<u16>,
    dscp: Option<u8>,
    transport: Transport,
    /// The time it carries, where that is filled: what tells a copy from another message with its number.
    time: Option<Timestamp>,
}

/// What was captured twice.
#[derive(Debug, Clone, Default)]
pub struct Sightings {
    /// The latest message of each kind that is followed, of each port.
    latest: Slots<(DomainName, PortId), [Option<Latest>; KINDS]>,
    /// How many there are.
    series: usize,
    /// Messages of a port captured on two VLANs, the smaller first; `None` is untagged.
    pub vlans: BTreeMap<(DomainName, PortId, Option<u16>, Option<u16>), Met>,
    /// Messages of a port captured with two code points, as first and then as captured again.
    pub code_points: BTreeMap<(DomainName, PortId, u8, u8), Met>,
}

impl Sightings {
    pub(super) fn record(
        &mut self,
        name: DomainName,
        sender: &mut ClockPort,
        message: &v2::Message,
        place: Place,
        path: &Path,
    ) {
        let kind = match message.header.message_type {
            v2::MessageType::Announce => 0,
            v2::MessageType::Sync => 1,
            v2::MessageType::FollowUp => 2,
            v2::MessageType::DelayReq => 3,
            _ => return,
        };
        let port = sender.port;
        let has_room = self.series < SERIES;
        let Some(number) = sender.sighted.or_else(|| self.number((name, port), has_room)) else { return };
        sender.sighted = Some(number);
        let latest = self.latest.at_mut(number).and_then(|latest| latest.get_mut(kind));
        let number = message.header.sequence_id;
        let time = carried(&message.body);
        let (vlan, dscp, transport) = (path.vlan, path.dscp, path.transport);
        let here = Latest { number, place, vlan, dscp, transport, time };
        let Some(latest) = latest else { return };
        let is_known = latest.is_some();
        // Mostly another number.
        let before = latest.filter(|before| before.number == number);
        let is_same = |before: &Latest| {
            before.time == time && before.transport == transport && is_near(before.place, place)
        };
        if is_known || has_room {
            self.series += usize::from(!is_known);
            *latest = Some(here);
        }
        if let Some(before) = before.filter(is_same) {
            if before.vlan != here.vlan {
                // A clock may serve two VLANs with like numbers; like times are another matter.
                if time.is_some() {
                    let pair = (name, port, before.vlan.min(here.vlan), before.vlan.max(here.vlan));
                    met(&mut self.vlans, pair, place);
                }
            } else if let (Some(first), Some(again)) = (before.dscp, here.dscp)
                && first != again
            {
                met(&mut self.code_points, (name, port, first, again), place);
            }
        }
    }

    /// Where the latest messages of a port are kept.
    fn number(&mut self, port: (DomainName, PortId), has_room: bool) -> Option<u32> {
        let known = self.latest.find(&port);
        known.or_else(|| has_room.then(|| self.latest.number(port, Default::default)))
    }
}

fn met<K: Ord>(counts: &mut BTreeMap<K, Met>, key: K, place: Place) {
    if counts.len() < KEPT || counts.contains_key(&key) {
        counts.entry(key).or_default().at(place);
    }
}

/// The time of sending that a message carries; 0 is none.
fn carried(body: &v2::Body) -> Option<Timestamp> {
    let time = match body {
        v2::Body::Sync { origin_timestamp } | v2::Body::DelayReq { origin_timestamp } => *origin_timestamp,
        v2::Body::FollowUp { precise_origin_timestamp } => *precise_origin_timestamp,
        _ => return None,
    };
    (!time.is_zero()).then_some(time)
}

fn is_near(one: Place, other: Place) -> bool {
    one.time.zip(other.time).is_some_and(|(one, other)| other.since(one).0.abs() <= WINDOW.0)
}
