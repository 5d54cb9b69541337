//! Packets of one millisecond in a row.

use super::rate::MILLISECOND_NS;
use crate::units::CaptureTime;

/// Packets in a row that fell into one millisecond, none before the one that went before: what they add up to is all that a
/// [`Rate`](super::Rate) has to know of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Run {
    pub(super) first: CaptureTime,
    pub(super) last: CaptureTime,
    /// The millisecond, counted since 1970, and where it ends, ns.
    pub(super) index: i64,
    pub(super) until: i64,
    pub(super) first_octets: u64,
    pub(super) octets: u64,
    pub(super) packets: u64,
}

impl Run {
    /// One packet.
    #[inline]
    #[must_use]
    pub const fn of(at: CaptureTime, octets: u64) -> Self {
        let index = at.0.div_euclid(MILLISECOND_NS);
        let until = index.saturating_mul(MILLISECOND_NS).saturating_add(MILLISECOND_NS);
        Self { first: at, last: at, index, until, first_octets: octets, octets, packets: 1 }
    }

    /// One packet that does not belong to this run, but nearly always to the millisecond after it.
    #[inline]
    #[must_use]
    pub const fn next(&self, at: CaptureTime, octets: u64) -> Self {
        let until = self.until.saturating_add(MILLISECOND_NS);
        if at.0 >= self.until && at.0 < until {
            let index = self.index + 1;
            return Self { first: at, last: at, index, until, first_octets: octets, octets, packets: 1 };
        }
        Self::of(at, octets)
    }

    /// Takes in the next packet, where it belongs to the run.
    #[inline]
    #[must_use]
    pub const fn takes(&mut self, at: CaptureTime, octets: u64) -> bool {
        let belongs = at.0 >= self.last.0 && at.0 < self.until;
        if belongs {
            self.last = at;
            self.octets = self.octets.saturating_add(octets);
            self.packets += 1;
        }
        belongs
    }

    /// From where to where the millisecond reaches, ns.
    pub(super) const fn millisecond(&self) -> (i64, i64) {
        (self.until.saturating_sub(MILLISECOND_NS), self.until)
    }

    /// Time of the first packet.
    #[must_use]
    pub const fn first(&self) -> CaptureTime {
        self.first
    }

    /// Time of the last packet, less than a millisecond later.
    #[must_use]
    pub const fn last(&self) -> CaptureTime {
        self.last
    }

    /// All octets.
    #[must_use]
    pub const fn octets(&self) -> u64 {
        self.octets
    }
}
