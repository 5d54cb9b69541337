//! Whether a certain thing would be in view: what a rule asks before it takes an absence for evidence.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use super::judge::Seat;
use super::judge::Viewpoint;
use super::limits::LEAST_FRAMES;
use super::traffic::Counts;
use super::traffic::Pair;
use super::traffic::Station;
use super::traffic::Traffic;
use crate::units::CaptureTime;
use crate::units::MacAddress;

/// An answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sight {
    /// It was seen.
    Yes,
    /// It would be seen, by what shows that.
    Inferred(&'static str),
    /// It may not be in view, and why: its absence is no evidence.
    CannotTell(&'static str),
}

impl Sight {
    /// Whether an absence may be taken for evidence.
    #[must_use]
    pub const fn is_in_view(self) -> bool {
        !matches!(self, Self::CannotTell(_))
    }
}

/// What was seen of whom, for questions.
#[derive(Debug, Clone, PartialEq)]
pub struct Scope {
    seat: Seat,
    station: Option<MacAddress>,
    counts: Counts,
    pairs: BTreeMap<(MacAddress, MacAddress), Pair>,
    stations: BTreeMap<MacAddress, Station>,
    /// Those with unicast in both directions with somebody.
    both_ways: BTreeSet<MacAddress>,
}

impl Scope {
    /// From the traffic and the place that it was judged to show.
    #[must_use]
    pub fn new(traffic: &Traffic, viewpoint: &Viewpoint) -> Self {
        let pairs = traffic.pairs();
        let both_ways = pairs
            .keys()
            .filter(|(one, other)| pairs.contains_key(&(*other, *one)))
            .map(|(one, _)| *one)
            .collect();
        Self {
            seat: viewpoint.seat,
            station: viewpoint.station,
            counts: traffic.counts,
            pairs,
            stations: traffic.stations(),
            both_ways,
        }
    }

    /// Time of the latest frame that a station sent.
    #[must_use]
    pub fn last_heard(&self, sender: MacAddress) -> Option<CaptureTime> {
        self.stations.get(&sender).and_then(|station| station.latest)
    }

    /// The station at whose port the capture was taken, where that shows.
    #[must_use]
    pub const fn station(&self) -> Option<MacAddress> {
        self.station
    }

    /// Whether any frame of `sender` was captured.
    #[must_use]
    pub fn has_seen(&self, sender: MacAddress) -> bool {
        self.stations.contains_key(&sender)
    }

    /// Where the capture was taken.
    #[must_use]
    pub const fn seat(&self) -> Seat {
        self.seat
    }

    fn has_both_ways(&self, mac: MacAddress) -> bool {
        self.both_ways.contains(&mac)
    }

    /// Whether the capture was taken at the port of one of `macs`, and frames of others were captured as well.
    pub(super) fn is_at_one_of(&self, macs: &BTreeSet<MacAddress>) -> bool {
        let is_at_port = matches!(self.seat, Seat::AtLeader | Seat::AtFollower);
        is_at_port && self.stations.len() > 1 && self.station.is_some_and(|own| macs.contains(&own))
    }

    /// Whom `mac` sent PTP by unicast.
    pub(super) fn unicast_ptp_of(&self, mac: MacAddress) -> impl Iterator<Item = MacAddress> {
        let all = (mac, MacAddress([0; 6]))..=(mac, MacAddress([0xFF; 6]));
        self.pairs.range(all).filter(|(_, pair)| pair.ptp > 0).map(|((_, receiver), _)| *receiver)
    }

    /// Whether `mac` sent peer-delay messages to the group that no bridge forwards.
    pub(super) fn sends_on_one_link(&self, mac: MacAddress) -> bool {
        self.stations.get(&mac).is_some_and(|station| station.ptp_one_link > 0)
    }

    /// How many sent messages that no bridge forwards.
    pub(super) fn speakers_on_one_link(&self) -> usize {
        self.stations.values().filter(|station| station.ptp_one_link > 0).count()
    }

    /// Whether multicast PTP came from anybody else than `macs` and the station whose port this is.
    pub(super) fn sees_multicast_besides(&self, macs: &BTreeSet<MacAddress>) -> bool {
        let is_other = |mac: &MacAddress| !macs.contains(mac) && Some(*mac) != self.station;
        self.stations.iter().any(|(mac, station)| is_other(mac) && station.ptp_multicast > 0)
    }

    /// Whether unicast of `mac` with anybody would be here.
    #[must_use]
    pub fn can_see_unicast_of(&self, mac: MacAddress) -> Sight {
        if self.is_at_one_of(&BTreeSet::from([mac])) {
            return Sight::Inferred("the capture was taken at its port");
        }
        if self.seat == Seat::Mirror && self.has_both_ways(mac) {
            return Sight::Inferred("its unicast was captured in both directions");
        }
        Sight::CannotTell("unicast of others does not reach the port where this was captured")
    }

    /// Whether PTP multicast that `sender` sends would be here. The group reaches this place where others' does.
    #[must_use]
    pub fn can_see_multicast_of(&self, sender: MacAddress) -> Sight {
        if self.stations.get(&sender).is_some_and(|station| station.ptp_multicast > 0) {
            return Sight::Yes;
        }
        let is_other = |mac: MacAddress| mac != sender && Some(mac) != self.station;
        if self.stations.iter().any(|(mac, station)| is_other(*mac) && station.ptp_multicast > 0) {
            return Sight::Inferred("multicast PTP of another device was captured");
        }
        if self.station == Some(sender) {
            return Sight::Inferred("the capture was taken at its port");
        }
        Sight::CannotTell(
            "no multicast PTP of another device was captured: this port may not have joined its group",
        )
    }

    /// Whether unicast between two stations would be here, both ways.
    #[must_use]
    pub fn can_see_unicast_between(&self, one: MacAddress, other: MacAddress) -> Sight {
        let (there, back) = (self.pairs.contains_key(&(one, other)), self.pairs.contains_key(&(other, one)));
        if there && back {
            return Sight::Yes;
        }
        if matches!(self.seat, Seat::AtLeader | Seat::AtFollower)
            && let Some(own) = self.station.filter(|own| *own == one || *own == other)
        {
            // What it sends and what others send, groups included, show that both directions are captured.
            return if self.stations.contains_key(&own) && self.stations.len() > 1 {
                Sight::Inferred("the capture was taken at the port of one of the two")
            } else {
                Sight::CannotTell("one direction of the port where this was captured is missing")
            };
        }
        // What the one sends passes here on its way to the other, and what the other sends to third ones passes
        // here too; a switch sends both directions of a pair the same way.
        if (there && self.has_both_ways(other)) || (back && self.has_both_ways(one)) {
            return Sight::Inferred(
                "one direction was captured, and of the other device both directions with others",
            );
        }
        if there || back {
            return Sight::CannotTell("unicast of the two was captured in one direction only");
        }
        match self.seat {
            Seat::Mirror if self.has_both_ways(one) || self.has_both_ways(other) => {
                Sight::Inferred("unicast of one of the two with others was captured both ways")
            }
            Seat::Mirror => {
                Sight::CannotTell("no unicast of either was captured: the mirror may not cover their ports")
            }
            Seat::AtLeader | Seat::AtFollower | Seat::Access => {
                Sight::CannotTell("unicast of others does not reach the port where this was captured")
            }
            Seat::Unknown => Sight::CannotTell(
                "where this was captured is not known, and no unicast of the two was captured",
            ),
        }
    }

    /// Whether peer-delay messages of `sender` would be here.
    #[must_use]
    pub fn can_see_peer_delay_of(&self, sender: MacAddress) -> Sight {
        if self.stations.get(&sender).is_some_and(|station| station.ptp_one_link > 0) {
            return Sight::Yes;
        }
        if self.station == Some(sender) {
            return Sight::Inferred("the capture was taken at its port");
        }
        Sight::CannotTell("peer-delay messages stay on one link")
    }

    /// Whether PTP event messages (Sync, requests) are here at all.
    #[must_use]
    pub fn sees_event_messages(&self) -> Sight {
        if self.counts.ptp_event > 0 {
            return Sight::Yes;
        }
        Sight::CannotTell(if self.counts.ptp_general > 0 {
            "general messages were captured and no event message: a capture filter may have taken them out"
        } else {
            "no PTP was captured"
        })
    }

    /// Whether PTP general messages (Announce, answers) are here at all.
    #[must_use]
    pub fn sees_general_messages(&self) -> Sight {
        if self.counts.ptp_general > 0 {
            return Sight::Yes;
        }
        // A filter by UDP port leaves neither media nor group membership.
        let is_unfiltered = self.counts.other_udp > 0 && self.counts.reports > 0;
        Sight::CannotTell(if self.counts.ptp_event > 0 && is_unfiltered {
            "event messages were captured and no general message, but other traffic, which no filter by port leaves: \
             nobody sends them, or the leader's direction is missing"
        } else if self.counts.ptp_event > 0 {
            "event messages were captured and no general message: a capture filter may have taken them out"
        } else {
            "no PTP was captured"
        })
    }

    /// Whether a filter took out what is not PTP. Never [`Sight::Yes`], and no filter is never shown: traffic of
    /// some kind does not show that no other kind was taken out.
    #[must_use]
    pub fn is_filtered(&self) -> Sight {
        let ptp = self.counts.ptp_event + self.counts.ptp_general;
        if self.counts.frames < LEAST_FRAMES {
            return Sight::CannotTell("too few frames");
        }
        if ptp == self.counts.frames {
            return Sight::Inferred("nothing but PTP was captured");
        }
        Sight::CannotTell("other traffic than PTP was captured as well")
    }

    /// Whether both directions of a conversation are here. Where not, no unicast request can be called unanswered.
    #[must_use]
    pub fn sees_both_directions(&self) -> Sight {
        if self.pairs.keys().any(|(one, other)| one != other && self.pairs.contains_key(&(*other, *one))) {
            return Sight::Yes;
        }
        Sight::CannotTell(if self.pairs.is_empty() {
            "no unicast was captured"
        } else {
            "unicast was captured in one direction only"
        })
    }

    /// Whether VLAN tags are kept. Adapters and cooked captures take them off.
    #[must_use]
    pub fn sees_vlan_tags(&self) -> Sight {
        if self.counts.tagged > 0 {
            return Sight::Yes;
        }
        Sight::CannotTell(if self.counts.cooked > 0 {
            "this kind of capture leaves tags out"
        } else {
            "no tag was captured: there is none, or the adapter took it off"
        })
    }

    /// Frames to everybody.
    #[must_use]
    pub const fn broadcasts(&self) -> u64 {
        self.counts.broadcast
    }

    /// Whether media and other UDP traffic is here at all.
    #[must_use]
    pub fn sees_other_udp(&self) -> Sight {
        if self.counts.other_udp > 0 {
            return Sight::Yes;
        }
        Sight::CannotTell(
            "no UDP but PTP was captured: it is not sent, does not come this way, or was filtered out",
        )
    }

    /// Whether queries for group members would be here. They go to every port of a VLAN (RFC 4541 section 2.1.1, from memory).
    #[must_use]
    pub fn sees_igmp_queries(&self) -> Sight {
        if self.counts.queries > 0 {
            return Sight::Yes;
        }
        if self.counts.reports > 0 {
            return Sight::Inferred(
                "membership reports were captured, so that kind of traffic was not filtered out",
            );
        }
        Sight::CannotTell("no membership traffic was captured: a capture filter may have taken it out")
    }

    /// Whether membership reports of others would be here. A switch that prunes sends them towards the querier
    /// only (RFC 4541 section 2.1.1, from memory), so one host's may be its own port's.
    #[must_use]
    pub fn sees_igmp_reports(&self) -> Sight {
        let reporting =
            |(mac, station): &(&MacAddress, &Station)| station.reports > 0 && Some(**mac) != self.station;
        match self.stations.iter().filter(reporting).count() {
            0 => Sight::CannotTell("no membership report of another host was captured"),
            1 => Sight::CannotTell("reports of one host only were captured, perhaps at its own port"),
            _ => Sight::Yes,
        }
    }
}
