//! What a rule asks before it takes an absence for evidence: would the missing thing be in this capture?
//!
//! [`Scope`] knows what reaches the place. How a domain's own messages go (to groups, to one receiver, over one
//! link only) is known here, and both together answer. No other module decides this.

use std::collections::BTreeSet;

use super::roles::macs;
use super::scope::Scope;
use super::scope::Sight;
use crate::domains::Asks;
use crate::domains::Domain;
use crate::domains::Domains;
use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::domains::PortId;
use crate::domains::Requester;
use crate::observations::Transport;
use crate::strength::Strength;
use crate::units::MacAddress;

/// Devices whose requests go to a group from which the others are taken to do the same (chosen: one may be set up
/// in a way of its own).
const A_HABIT: usize = 2;

/// Whether a missing thing would be in view.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Visibility {
    /// How firmly its absence may be taken.
    pub strength: Strength,
    /// What shows that, or why it may be out of view.
    pub why: &'static str,
}

impl Visibility {
    const fn shown(why: &'static str) -> Self {
        Self { strength: Strength::Shown, why }
    }

    const fn inferred(why: &'static str) -> Self {
        Self { strength: Strength::Inferred, why }
    }

    const fn out_of_view(why: &'static str) -> Self {
        Self { strength: Strength::CannotTell, why }
    }

    /// An answer of the scope's; what was seen of the way is put as `seen`.
    const fn of(sight: Sight, seen: &'static str) -> Self {
        match sight {
            Sight::Yes => Self::shown(seen),
            Sight::Inferred(why) => Self::inferred(why),
            Sight::CannotTell(why) => Self::out_of_view(why),
        }
    }

    /// Whether the absence may be taken for evidence.
    #[must_use]
    pub fn is_in_view(&self) -> bool {
        self.strength != Strength::CannotTell
    }

    /// The answer no firmer than inferred.
    fn at_most_inferred(self) -> Self {
        Self { strength: self.strength.max(Strength::Inferred), ..self }
    }
}

impl Scope {
    /// Whether answers to what `asker` asks in `domain` would be in view.
    #[must_use]
    pub fn can_see_answers(
        &self,
        domain: &Domain,
        asker: PortId,
        mechanism: Mechanism,
        requester: &Requester,
    ) -> Visibility {
        if requester.answered() > 0 {
            return Visibility::shown("earlier answers to the same port were captured");
        }
        let askers = macs(domain, asker);
        let multicast = requester.asks_a_group();
        match mechanism {
            Mechanism::PeerToPeer if multicast => self.can_see_peer_answers(domain, &askers),
            Mechanism::PeerToPeer => self.can_see_unicast_answers(domain, &askers),
            // A capture of event messages alone has requests and no answer at all.
            Mechanism::EndToEnd if self.may_lack_general(domain) => {
                Visibility::of(self.sees_general_messages(), "")
            }
            Mechanism::EndToEnd if !multicast => self.can_see_unicast_answers(domain, &askers),
            Mechanism::EndToEnd => {
                let answered = domain.answered(mechanism);
                if answered.aside.saturating_mul(2) > answered.multicast {
                    // This leader answers the asker alone though the request went to all.
                    return self.can_see_unicast_answers(domain, &askers).at_most_inferred();
                }
                if answered.multicast > 0 {
                    return Visibility::shown("answers to other ports, sent the same way, were captured");
                }
                if domain.leader_macs().iter().any(|mac| self.can_see_multicast_of(*mac) == Sight::Yes) {
                    return Visibility::inferred(
                        "the leader's own messages to the group that answers use were captured",
                    );
                }
                self.can_see_groups_besides(&askers)
            }
        }
    }

    /// Whether a filter may have left the event messages of a domain and taken out the general ones: by UDP port, which
    /// PTP over Ethernet has none of.
    fn may_lack_general(&self, domain: &Domain) -> bool {
        let by_port = domain.transports.iter().any(|transport| *transport != Transport::Ethernet);
        by_port && !self.sees_general_messages().is_in_view()
    }

    /// Unicast answers come from whom the requests went to; by an address that the leader is known under where no
    /// such request is kept.
    fn can_see_unicast_answers(&self, domain: &Domain, askers: &BTreeSet<MacAddress>) -> Visibility {
        let mut pairs: Vec<(MacAddress, MacAddress)> = askers
            .iter()
            .flat_map(|asker| self.unicast_ptp_of(*asker).map(|receiver| (*asker, receiver)))
            .collect();
        if pairs.is_empty() {
            let leaders = domain.leader_macs();
            pairs = askers.iter().flat_map(|asker| leaders.iter().map(|mac| (*asker, *mac))).collect();
        }
        let seen = "unicast of the two was captured in both directions";
        let sights = pairs.into_iter().map(|(one, other)| self.can_see_unicast_between(one, other));
        best(sights.map(|sight| Visibility::of(sight, seen)))
            .unwrap_or(Visibility::out_of_view("the addresses that answers would go between are not known"))
    }

    /// The neighbour's answers stay on the link of the asker, so the capture must be on that link.
    fn can_see_peer_answers(&self, domain: &Domain, askers: &BTreeSet<MacAddress>) -> Visibility {
        let stays = askers.iter().any(|mac| self.sends_on_one_link(*mac));
        let answered = domain.answered(Mechanism::PeerToPeer).multicast > 0;
        if !stays && answered {
            return Visibility::inferred("peer-delay answers to other ports were captured");
        }
        if self.is_at_one_of(askers) {
            return Visibility::inferred("the capture was taken at its port");
        }
        // Two that speak on it: that is the link. More: several links, and which of them is whole is not shown.
        if stays && answered && self.speakers_on_one_link() == 2 {
            return Visibility::inferred("peer-delay answers on this link were captured");
        }
        Visibility::out_of_view("peer-delay messages stay on one link, and its other end was not captured")
    }

    /// Whether those that follow in `domain` would be seen to do so: their requests, or the answers.
    #[must_use]
    pub fn can_see_followers(&self, domains: &Domains, domain: &Domain) -> Visibility {
        let leaders = domain.leader_macs();
        if domain.key.is_gptp() || domain.leader_asks_peers() {
            return Visibility::out_of_view("its followers would ask their neighbours, each on its own link");
        }
        if !self.sees_event_messages().is_in_view() {
            return Visibility::of(self.sees_event_messages(), "");
        }
        let unicast = leaders.iter().map(|mac| self.can_see_unicast_of(*mac));
        let unicast = best(unicast.map(|sight| Visibility::of(sight, "its unicast was captured")));
        if let Some(unicast) = unicast.filter(Visibility::is_in_view) {
            return unicast.at_most_inferred();
        }
        if domain.key.is_v1() && self.sees_multicast_besides(leaders) {
            // 1588-2002 knows no unicast (from memory).
            return Visibility::inferred("version 1 asks by multicast, and others' multicast was captured");
        }
        let own = domain.asks();
        let all = domains.iter().map(Domain::asks).fold(Asks::default(), |all, asks| Asks {
            groups: all.groups + asks.groups,
            alone: all.alone + asks.alone,
        });
        if (own.groups > 0 && own.alone == 0) || (all.groups >= A_HABIT && all.alone == 0) {
            return Visibility::inferred(
                "the requests that were captured go to a group, and theirs would too",
            );
        }
        Visibility::out_of_view("followers that ask by unicast would not be seen from here")
    }

    /// Whether the leader of `domain`, in which `asker` asks, would be in view if there were one.
    #[must_use]
    pub fn can_see_leader(&self, domain: &Domain, asker: PortId, requester: &Requester) -> Visibility {
        if self.may_lack_general(domain) && !domain.key.is_v1() {
            return Visibility::of(self.sees_general_messages(), "");
        }
        let askers = macs(domain, asker);
        if !requester.asks_a_group() {
            // Who asks one receiver may hear that one's Announces by unicast too.
            return self.can_see_unicast_answers(domain, &askers);
        }
        self.can_see_groups_besides(&askers)
    }

    /// That the askers' own multicast is here says nothing: this may be their port, one way.
    fn can_see_groups_besides(&self, askers: &BTreeSet<MacAddress>) -> Visibility {
        if self.sees_multicast_besides(askers) {
            return Visibility::inferred("multicast PTP of other devices was captured");
        }
        Visibility::out_of_view(
            "no multicast PTP of another device was captured: this port may not have joined its group",
        )
    }

    /// Whether further Announces (v1: Syncs) of `port`, which announced, would be in view.
    #[must_use]
    pub fn can_see_announces(&self, domain: &Domain, port: PortId) -> Visibility {
        let kind = if domain.key.is_v1() { Kind::Sync } else { Kind::Announce };
        let marks = domain.ports.get(&port).and_then(|port| port.marks.get(&kind));
        if marks.is_some_and(|marks| marks.multicast > 0) {
            return Visibility::shown("its earlier ones went to a group and were captured");
        }
        Visibility::out_of_view("it announced to single receivers, and may now do so where this is not seen")
    }

    /// Whether Syncs of `port`, which announces, would be in view.
    #[must_use]
    pub fn can_see_syncs(&self, domain: &Domain, port: PortId) -> Visibility {
        if !self.sees_event_messages().is_in_view() {
            return Visibility::of(self.sees_event_messages(), "");
        }
        let senders = macs(domain, port);
        let groups = senders.iter().map(|mac| self.can_see_multicast_of(*mac));
        let group = best(groups.map(|sight| Visibility::of(sight, "its multicast was captured")))
            .unwrap_or(Visibility::out_of_view("its address is not known"));
        // Syncs go the way the requests go: followers that ask one receiver may be served one by one.
        let asks = domain.asks();
        let alone = domain
            .requesters
            .iter()
            .filter(|(_, requester)| requester.seen() > 0 && !requester.asks_a_group())
            .flat_map(|((asker, _), _)| macs(domain, *asker))
            .flat_map(|asker| senders.iter().map(move |sender| (asker, *sender)))
            .map(|(asker, sender)| self.can_see_unicast_between(asker, sender));
        match (asks.groups, asks.alone) {
            (0, 0) => Visibility::out_of_view(
                "nobody's requests were captured: the time may go to each follower alone, out of view",
            ),
            (1.., 0) => group.at_most_inferred(),
            _ => best(alone.map(|sight| Visibility::of(sight, "unicast with a follower was captured")))
                .unwrap_or(Visibility::out_of_view("the followers' addresses are not known"))
                .at_most_inferred(),
        }
    }
}

/// The firmest.
fn best(all: impl Iterator<Item = Visibility>) -> Option<Visibility> {
    all.min_by_key(|visibility| visibility.strength)
}
