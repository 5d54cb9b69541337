//! Packets picked by their sequence number, so that two captures of one stream pick the same ones.

use super::minima::Stamp;

/// Packets kept of one stream (chosen: 6 KiB).
const MOST: usize = 256;

/// Packets whose sequence number is a multiple of a power of two, which grows where there are too many.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Picked {
    /// Sequence numbers with any of these bits set are left out.
    mask: u16,
    packets: Vec<(u16, Stamp)>,
}

impl Picked {
    #[inline]
    pub(super) fn push(&mut self, sequence: u16, stamp: Stamp) {
        if sequence & self.mask == 0 {
            self.keep(sequence, stamp);
        }
    }

    fn keep(&mut self, sequence: u16, stamp: Stamp) {
        self.packets.push((sequence, stamp));
        self.thin();
    }

    fn thin(&mut self) {
        while self.packets.len() > MOST && self.mask != u16::MAX {
            self.coarsen(self.mask << 1 | 1);
        }
        // With the coarsest mask one packet in 65 536 is left; the earliest stay.
        self.packets.truncate(MOST);
    }

    fn coarsen(&mut self, mask: u16) {
        self.mask = mask;
        self.packets.retain(|(sequence, _)| sequence & mask == 0);
    }

    pub(super) fn join(&mut self, right: &Self) {
        if right.mask > self.mask {
            self.coarsen(right.mask);
        }
        let mask = self.mask;
        self.packets.extend(right.packets.iter().filter(|(sequence, _)| sequence & mask == 0));
        self.thin();
    }

    pub(super) const fn mask(&self) -> u16 {
        self.mask
    }

    pub(super) fn packets(&self) -> &[(u16, Stamp)] {
        &self.packets
    }
}
