//! IEEE 802.1Q tags, stacked to any depth.

/// A tag's control information with the Ethertype that announced it (IEEE 802.1Q 9.6, from memory;
/// layout checked on a captured QinQ frame).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct VlanTag {
    /// Tag protocol identifier: 0x8100, 0x88A8, or 0x9100 (an older habit for stacked tags).
    pub tpid: u16,
    /// `PCP`, priority code point, 0 to 7.
    pub pcp: u8,
    /// `DEI`, drop eligible indicator.
    pub dei: bool,
    /// `VID`, 12 bits; 0 is a priority tag, which names no VLAN.
    pub vid: u16,
}

impl VlanTag {
    /// From the two octets after the tag's Ethertype.
    #[must_use]
    pub fn from_tci(tpid: u16, tci: u16) -> Self {
        let [high, _] = tci.to_be_bytes();
        Self { tpid, pcp: high >> 5, dei: high & 0x10 != 0, vid: tci & 0x0FFF }
    }
}

/// The tags of one frame, outermost first. The first [`Vlans::KEPT`] are held, the others counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Vlans {
    kept: [VlanTag; Self::KEPT],
    count: u16,
    inner_id: u16,
}

impl Vlans {
    /// Tags held in place.
    pub const KEPT: usize = 4;

    /// An untagged frame.
    pub const NONE: Self =
        Self { kept: [VlanTag { tpid: 0, pcp: 0, dei: false, vid: 0 }; Self::KEPT], count: 0, inner_id: 0 };

    /// Adds a tag inside those there.
    pub(super) fn push(&mut self, tag: VlanTag) {
        if let Some(place) = self.kept.get_mut(usize::from(self.count)) {
            *place = tag;
        }
        self.count = self.count.saturating_add(1);
        if tag.vid != 0 {
            self.inner_id = tag.vid;
        }
    }

    /// The tags held, outermost first; at most [`Vlans::KEPT`].
    #[must_use]
    pub fn tags(&self) -> &[VlanTag] {
        self.kept.get(..usize::from(self.count)).unwrap_or(&self.kept)
    }

    /// How many more tags followed those held.
    #[must_use]
    pub fn more(&self) -> usize {
        usize::from(self.count).saturating_sub(Self::KEPT)
    }

    /// The VLAN the frame belongs to: the innermost `VID` that is not 0. `None` where untagged or only
    /// priority-tagged.
    #[must_use]
    pub fn inner_id(&self) -> Option<u16> {
        (self.inner_id != 0).then_some(self.inner_id)
    }

    /// `PCP` of the outermost tag, which is the one a switch on the way goes by.
    #[must_use]
    pub fn pcp(&self) -> Option<u8> {
        self.tags().first().map(|tag| tag.pcp)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_priority_tag_names_no_vlan_but_has_a_priority() {
        let mut vlans = Vlans::default();
        assert_eq!((vlans.inner_id(), vlans.pcp(), vlans.tags().len()), (None, None, 0));
        vlans.push(VlanTag::from_tci(0x8100, 0xE000));
        assert_eq!((vlans.inner_id(), vlans.pcp()), (None, Some(7)));
    }

    #[test]
    fn tags_beyond_the_kept_ones_are_counted_and_the_innermost_id_is_known() {
        let mut vlans = Vlans::default();
        for vid in 1..=6 {
            vlans.push(VlanTag::from_tci(0x88A8, 0x7000 | vid));
        }
        assert_eq!(vlans.tags().iter().map(|tag| tag.vid).collect::<Vec<_>>(), [1, 2, 3, 4]);
        assert_eq!((vlans.more(), vlans.inner_id(), vlans.pcp()), (2, Some(6), Some(3)));
        assert!(vlans.tags()[0].dei);
    }
}
