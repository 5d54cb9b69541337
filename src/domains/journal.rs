//! Every message, sample and exchange as it was taken in, for those who want them all and not what is made of them.
//!
//! Nothing is kept unless it is asked for, and what is kept is meant to be taken soon: it grows with the capture.

use super::cadence::Addressee;
use super::key::DomainKey;
use super::key::PortId;
use super::pairing::TimedSync;
use super::port::Kind;
use super::requests::Mechanism;
use super::samples::Exchange;
use crate::observations::Place;
use crate::timing::ScaledNanos;
use crate::timing::TwoWay;
use crate::units::LogInterval;
use crate::units::Nanos;

/// A message with its place in its series.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MessageEntry {
    /// Where it was captured.
    pub place: Place,
    /// Who sent it.
    pub port: PortId,
    /// What it is.
    pub kind: Kind,
    /// Whom it is for.
    pub addressee: Addressee,
    /// Its number; of a v1 Delay_Resp that of the request.
    pub sequence_id: u16,
    /// `logMessageInterval`, or the v1 Sync interval.
    pub declared: LogInterval,
    /// Time since the message before it in its series; `None` for the first one and for one out of turn.
    pub gap: Option<Nanos>,
}

/// A Sync whose time of sending is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SyncEntry {
    /// Who sent it.
    pub port: PortId,
    /// Its stamps and corrections.
    pub sync: TimedSync,
}

/// A request for delay with its answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ExchangeEntry {
    /// Who asked.
    pub asker: PortId,
    /// By which mechanism.
    pub mechanism: Mechanism,
    /// The number of both.
    pub sequence_id: u16,
    /// What was seen.
    pub exchange: Exchange,
}

/// An exchange related to the Syncs around it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OffsetEntry {
    /// Whose time it is told against.
    pub port: PortId,
    /// Which it is.
    pub related: Related,
}

/// Both ways of the path between a port and the capture point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Related {
    /// The request.
    pub place: Place,
    /// What was seen of both ways.
    pub both: TwoWay,
}

/// A peer-delay exchange whose length the responder told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PeerDelayEntry {
    /// Who answered.
    pub port: PortId,
    /// What came out.
    pub held: Held,
}

/// How long a responder held an exchange, and how far it is from here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Held {
    /// The request.
    pub place: Place,
    /// By the responder's clock.
    pub turnaround: ScaledNanos,
    /// Delay between capture point and responder; `None` beyond 127 bits.
    pub link_delay: Option<ScaledNanos>,
}

/// Something that was taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noted {
    /// A message.
    Message(MessageEntry),
    /// A Sync whose time of sending is known.
    Sync(SyncEntry),
    /// An answered request.
    Exchange(ExchangeEntry),
    /// One of those related to Syncs.
    Offset(OffsetEntry),
    /// A peer's exchange with its length.
    PeerDelay(PeerDelayEntry),
}

/// What was taken in, with its domain, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JournalEntry {
    /// The domain.
    pub domain: DomainKey,
    /// What.
    pub noted: Noted,
}

/// Entries, where they are asked for.
#[derive(Debug, Clone, Default)]
pub(super) struct Journal {
    pub(super) is_kept: bool,
    pub(super) entries: Vec<Noted>,
}

impl Journal {
    pub(super) fn note(&mut self, noted: impl FnOnce() -> Noted) {
        if self.is_kept {
            self.entries.push(noted());
        }
    }

    pub(super) fn relate(&mut self, port: PortId, related: impl IntoIterator<Item = Related>) {
        for related in related {
            self.note(|| Noted::Offset(OffsetEntry { port, related }));
        }
    }
}
