//! What becomes of entries that find no room: those heard least often and longest ago are summed up and counted, so that
//! a capture of ever new clocks takes no more memory than one of a large house.
//!
//! Only [`super::Domains`] folds, which takes in messages in the order of the capture: how that was cut into stretches
//! makes no difference to what is kept.

/// Domains kept, VLANs told apart (chosen: more than twice the 200 of a very large house).
pub const DOMAINS_KEPT: usize = 512;
/// Ports kept, of all domains together (chosen: three times the 5,000 devices of a very large house).
pub const PORTS_KEPT: usize = 16_384;
/// Ports that ask for delay kept, of all domains together; one that asks in both ways counts twice (chosen, as ports).
pub const REQUESTERS_KEPT: usize = 16_384;
/// Events kept, of all domains together (chosen: more than anybody reads).
pub const EVENTS_KEPT: usize = 16_384;
/// Leads that have ended kept, of all domains together (chosen: one every five seconds of a day).
pub const TENURES_KEPT: usize = 16_384;
/// Changes of what it announces that are told of one port (chosen: one that changes all the time must not take the room
/// of the others).
pub(super) const CHANGES_TOLD: u64 = 1024;
/// Rivalries of one domain that are told (chosen: as many as ports are followed in its election).
pub(super) const RIVALRIES_TOLD: usize = 128;
/// Outages of one requester that are told (chosen).
pub(super) const OUTAGES_TOLD: usize = 64;

/// The part of the entries that goes at once where there is no room, so that looking for them costs little each (chosen).
pub(super) const PART: usize = 4;
/// Messages from which an entry counts as often heard, as a power of two: 8 (chosen: invented senders are mostly heard
/// once).
const OFTEN: u32 = 4;

/// What found no room. What came again after it was summed up counts again.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LeftOut {
    /// Domains.
    pub domains: u64,
    /// Ports.
    pub ports: u64,
    /// Messages that those had sent.
    pub messages: u64,
    /// Ports that asked for delay, or were answered.
    pub requesters: u64,
    /// Announces of ports beyond those that are followed in an election.
    pub offers: u64,
    /// Events, ended leads, rivalries and outages.
    pub events: u64,
}

impl LeftOut {
    /// Whether anybody was left out who sent or was answered: what is said of the domains may lack one that matters.
    #[must_use]
    pub const fn is_of_senders(&self) -> bool {
        self.domains > 0 || self.ports > 0 || self.requesters > 0 || self.offers > 0
    }
}

/// How dear an entry is. The cheapest go first: those heard least often, and among those heard about as often the ones
/// heard longest ago.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Worth {
    often: u32,
    heard: u64,
}

impl Worth {
    /// Of an entry with so many messages, the latest of which was number `heard` of the capture.
    pub(super) fn new(messages: u64, heard: u64) -> Self {
        let digits = u64::BITS.saturating_sub(messages.leading_zeros());
        Self { often: digits.min(OFTEN), heard }
    }
}

/// The `count` cheapest of the entries, in no particular order.
pub(super) fn cheapest<K: Ord + Copy>(entries: impl Iterator<Item = (Worth, K)>, count: usize) -> Vec<K> {
    let mut all: Vec<(Worth, K)> = entries.collect();
    if let Some(last) = count.checked_sub(1).filter(|last| *last < all.len()) {
        all.select_nth_unstable(last);
    }
    all.truncate(count);
    all.into_iter().map(|(_, key)| key).collect()
}

/// A count of entries for the report.
pub(super) fn number(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn those_heard_once_go_before_those_heard_often_and_the_longest_idle_first() {
        let entries =
            [("often, long ago", 90, 1), ("once, lately", 1, 9), ("once, long ago", 1, 2), ("twice", 2, 3)];
        let worth = |(name, messages, heard): (&'static str, u64, u64)| (Worth::new(messages, heard), name);
        let gone = |count| {
            let mut gone = cheapest(entries.into_iter().map(worth), count);
            gone.sort_unstable();
            gone
        };
        assert_eq!(gone(1), ["once, long ago"]);
        assert_eq!(gone(2), ["once, lately", "once, long ago"]);
        assert_eq!(gone(3), ["once, lately", "once, long ago", "twice"]);
        assert_eq!((gone(0).len(), gone(9).len()), (0, 4));
    }

    #[test]
    fn from_eight_messages_on_only_the_time_counts() {
        assert!(Worth::new(8, 1) < Worth::new(1_000_000, 2) && Worth::new(1_000_000, 1) < Worth::new(8, 2));
        assert!(Worth::new(7, 9) < Worth::new(8, 1));
    }
}
