//! What a port told others by management (1588-2008 15.4, from memory), and how its own answers were addressed.
//!
//! Memory: at most [`ORDER_LIMIT`] different orders a port.

use super::key::PortId;
use crate::observations::Place;
use crate::ptp::v2;

/// Different orders of one port that are kept (chosen).
const ORDER_LIMIT: usize = 64;

/// One SET or COMMAND, and how often it was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Order {
    /// SET or COMMAND.
    pub action: v2::Action,
    /// `managementId`.
    pub management_id: u16,
    /// Whom it was meant for.
    pub target: PortId,
    /// Messages.
    pub count: u64,
    /// The first of them.
    pub first: Place,
}

/// Management messages of one port that are no questions.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Orders {
    given: Vec<Order>,
    multicast_answers: u64,
}

impl Orders {
    /// Takes in a management message. A COMMAND without a MANAGEMENT TLV, as SMPTE ST 2059-2 metadata is sent, orders
    /// nothing.
    pub(super) fn hear(
        &mut self,
        place: Place,
        (action, target): (v2::Action, PortId),
        multicast: bool,
        message: &v2::Message,
    ) {
        match action {
            v2::Action::Response | v2::Action::Acknowledge if multicast => self.multicast_answers += 1,
            v2::Action::Set | v2::Action::Command => {
                for tlv in &message.tlvs {
                    if let v2::Tlv::Management(management) = tlv
                        && let Some(management_id) = management.management_id
                    {
                        self.note(Order { action, management_id, target, count: 1, first: place });
                    }
                }
            }
            _ => {}
        }
    }

    fn note(&mut self, order: Order) {
        let same = |known: &&mut Order| {
            (known.action, known.management_id, known.target)
                == (order.action, order.management_id, order.target)
        };
        if let Some(known) = self.given.iter_mut().find(same) {
            known.count += 1;
        } else if self.given.len() < ORDER_LIMIT {
            self.given.push(order);
        }
    }

    /// SETs and COMMANDs, in the order of their first.
    #[must_use]
    pub fn given(&self) -> &[Order] {
        &self.given
    }

    /// Answers that went to a group.
    #[must_use]
    pub const fn multicast_answers(&self) -> u64 {
        self.multicast_answers
    }
}
