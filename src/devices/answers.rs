//! Whether this capture could have shown an answer. An absence counts only where it could.

use super::device::Strength;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::domains::Requester;

/// Whether answers to one requester would be in view.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Visibility {
    /// How firmly an absence may be taken.
    pub strength: Strength,
    /// What shows that.
    pub shown_by: &'static str,
}

impl Visibility {
    /// Looks at what else of the domain is in view.
    #[must_use]
    pub fn of(domain: &Domain, mechanism: Mechanism, requester: &Requester) -> Self {
        let multicast = requester.multicast().saturating_mul(2) > requester.seen();
        let (answers, multicast_answers) = domain.answered(mechanism);
        match (mechanism, multicast) {
            _ if requester.answered() > 0 => {
                Self { strength: Strength::Shown, shown_by: "earlier answers to the same port were captured" }
            }
            (Mechanism::EndToEnd, true) if multicast_answers > 0 => Self {
                strength: Strength::Shown,
                shown_by: "answers to other ports, sent the same way, were captured",
            },
            (Mechanism::EndToEnd, true) if domain.count(Kind::Announce) > 0 || domain.key.is_v1() => Self {
                strength: Strength::Inferred,
                shown_by: "the leader's own messages to the group that answers use were captured",
            },
            (_, false) if answers > multicast_answers => Self {
                strength: Strength::Inferred,
                shown_by: "unicast answers to other ports were captured",
            },
            (Mechanism::PeerToPeer, true) if answers > 0 => Self {
                strength: Strength::Inferred,
                shown_by: "peer-delay answers on this link were captured",
            },
            _ => Self {
                strength: Strength::CannotTell,
                shown_by: "no answer to anybody was captured by the way these requests go",
            },
        }
    }
}
