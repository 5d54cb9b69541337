//! `flags` of a v1 header (layout checked against an open-source IEEE 1588-2002 implementation).

/// `flags`, bit 0 is the lowest bit of octet 35.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Flags(pub u16);

impl Flags {
    const NAMES: [(u16, &'static str); 7] = [
        (0x0001, "leap61"),
        (0x0002, "leap59"),
        (0x0004, "boundary_clock"),
        (0x0008, "assist"),
        (0x0010, "ext_sync"),
        (0x0020, "parent_stats"),
        (0x0040, "sync_burst"),
    ];

    /// Names of the flags that are set, lowest bit first.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        Self::NAMES.into_iter().filter(move |(mask, _)| self.0 & mask != 0).map(|(_, name)| name)
    }

    /// Both octets as they are, bits without a name included.
    #[must_use]
    pub const fn raw(self) -> u16 {
        self.0
    }

    /// `PTP_LI_61`: the day's last minute has 61 s.
    #[must_use]
    pub const fn leap61(self) -> bool {
        self.0 & 0x0001 != 0
    }

    /// `PTP_LI_59`: the day's last minute has 59 s.
    #[must_use]
    pub const fn leap59(self) -> bool {
        self.0 & 0x0002 != 0
    }

    /// `PTP_BOUNDARY_CLOCK`: the sender is a boundary clock.
    #[must_use]
    pub const fn boundary_clock(self) -> bool {
        self.0 & 0x0004 != 0
    }

    /// `PTP_ASSIST`: a Follow_Up will come. Senders are known that send one with this bit clear.
    #[must_use]
    pub const fn assist(self) -> bool {
        self.0 & 0x0008 != 0
    }

    /// `PTP_EXT_SYNC`: the sender takes its time from outside.
    #[must_use]
    pub const fn ext_sync(self) -> bool {
        self.0 & 0x0010 != 0
    }

    /// `PARENT_STATS`: `estimatedMasterVariance` and `estimatedMasterDrift` are valid.
    #[must_use]
    pub const fn parent_stats(self) -> bool {
        self.0 & 0x0020 != 0
    }

    /// `PTP_SYNC_BURST`: burst mode.
    #[must_use]
    pub const fn sync_burst(self) -> bool {
        self.0 & 0x0040 != 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_bit_has_its_name_and_its_method_and_no_other() {
        type Row = (u16, &'static str, fn(Flags) -> bool);
        let rows: [Row; 7] = [
            (0, "leap61", Flags::leap61),
            (1, "leap59", Flags::leap59),
            (2, "boundary_clock", Flags::boundary_clock),
            (3, "assist", Flags::assist),
            (4, "ext_sync", Flags::ext_sync),
            (5, "parent_stats", Flags::parent_stats),
            (6, "sync_burst", Flags::sync_burst),
        ];
        for bit in 0..16_u16 {
            let flags = Flags(1 << bit);
            let row = rows.iter().find(|row| row.0 == bit);
            assert_eq!(
                flags.names().collect::<Vec<_>>(),
                row.map(|row| row.1).into_iter().collect::<Vec<_>>()
            );
            for (other, name, method) in rows {
                assert_eq!(method(flags), other == bit, "{name} on bit {bit}");
            }
        }
    }
}
