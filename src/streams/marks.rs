//! Markings and senders of a flow, as sets.

use crate::units::MacAddress;

/// Source MAC addresses kept of one flow (chosen).
const MACS_KEPT: usize = 8;
/// Stands for a frame without a tag among the priorities.
const UNTAGGED: u8 = 8;

/// Every value that occurred.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Marks {
    dscp: u64,
    pcp: u16,
    ttl: [u128; 2],
    macs: Vec<MacAddress>,
}

impl Marks {
    pub(super) fn push(&mut self, dscp: u8, ttl: u8, pcp: Option<u8>, mac: Option<MacAddress>) {
        self.dscp |= 1_u64.checked_shl(u32::from(dscp)).unwrap_or(0);
        self.pcp |= 1_u16.checked_shl(u32::from(pcp.unwrap_or(UNTAGGED))).unwrap_or(0);
        let [low, high] = &mut self.ttl;
        let half = if ttl < 128 { low } else { high };
        *half |= 1_u128 << (ttl & 127);
        if let Some(mac) = mac
            && self.macs.last() != Some(&mac)
        {
            self.add_mac(mac);
        }
    }

    fn add_mac(&mut self, mac: MacAddress) {
        if self.macs.len() < MACS_KEPT && !self.macs.contains(&mac) {
            self.macs.push(mac);
        }
    }

    pub(super) fn join(&mut self, right: &Self) {
        self.dscp |= right.dscp;
        self.pcp |= right.pcp;
        for (left, right) in self.ttl.iter_mut().zip(right.ttl) {
            *left |= right;
        }
        for mac in &right.macs {
            self.add_mac(*mac);
        }
    }

    pub(super) fn dscp(&self) -> Vec<u8> {
        (0..64).filter(|value| self.dscp >> value & 1 == 1).collect()
    }

    /// Priorities of tagged frames.
    pub(super) fn pcp(&self) -> Vec<u8> {
        (0..8).filter(|value| self.pcp >> value & 1 == 1).collect()
    }

    pub(super) fn ttl(&self) -> Vec<u8> {
        let [low, high] = self.ttl;
        let is_set = |value: &u8| {
            let half = if *value < 128 { low } else { high };
            half >> (value & 127) & 1 == 1
        };
        (0..=u8::MAX).filter(is_set).collect()
    }

    /// In order of appearance.
    pub(super) fn macs(&self) -> &[MacAddress] {
        &self.macs
    }
}
