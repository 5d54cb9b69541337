//! Capture formats are written in the order of the machine that wrote them; this reads either.

/// The byte order of a file or section.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ByteOrder {
    Big,
    Little,
}

impl ByteOrder {
    pub(super) fn u16_at(self, octets: &[u8], at: usize) -> Option<u16> {
        let raw = *octets.get(at..)?.first_chunk()?;
        Some(match self {
            Self::Big => u16::from_be_bytes(raw),
            Self::Little => u16::from_le_bytes(raw),
        })
    }

    pub(super) fn u32_at(self, octets: &[u8], at: usize) -> Option<u32> {
        let raw = *octets.get(at..)?.first_chunk()?;
        Some(match self {
            Self::Big => u32::from_be_bytes(raw),
            Self::Little => u32::from_le_bytes(raw),
        })
    }

    pub(super) fn u64_at(self, octets: &[u8], at: usize) -> Option<u64> {
        let raw = *octets.get(at..)?.first_chunk()?;
        Some(match self {
            Self::Big => u64::from_be_bytes(raw),
            Self::Little => u64::from_le_bytes(raw),
        })
    }

    pub(super) fn i64_at(self, octets: &[u8], at: usize) -> Option<i64> {
        let raw = *octets.get(at..)?.first_chunk()?;
        Some(match self {
            Self::Big => i64::from_be_bytes(raw),
            Self::Little => i64::from_le_bytes(raw),
        })
    }
}

/// A length field as a size in memory.
pub(super) fn size(length: u32) -> usize {
    usize::try_from(length).unwrap_or(usize::MAX)
}

/// A size in memory as a position in a file.
pub(super) fn position(size: usize) -> u64 {
    u64::try_from(size).unwrap_or(u64::MAX)
}
