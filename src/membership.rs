//! What a record of an IGMPv3 or MLDv2 report does: both protocols number it alike.

/// `Record Type` (RFC 3376 section 4.2.12, RFC 3810 section 5.2.12).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RecordType {
    /// 1 `MODE_IS_INCLUDE`.
    ModeIsInclude,
    /// 2 `MODE_IS_EXCLUDE`.
    ModeIsExclude,
    /// 3 `CHANGE_TO_INCLUDE_MODE`; without sources the host leaves.
    ChangeToIncludeMode,
    /// 4 `CHANGE_TO_EXCLUDE_MODE`; without sources the host joins for any source.
    ChangeToExcludeMode,
    /// 5 `ALLOW_NEW_SOURCES`.
    AllowNewSources,
    /// 6 `BLOCK_OLD_SOURCES`.
    BlockOldSources,
    /// Any other value.
    Unknown(u8),
}

impl RecordType {
    pub(crate) const fn from_wire(value: u8) -> Self {
        match value {
            1 => Self::ModeIsInclude,
            2 => Self::ModeIsExclude,
            3 => Self::ChangeToIncludeMode,
            4 => Self::ChangeToExcludeMode,
            5 => Self::AllowNewSources,
            6 => Self::BlockOldSources,
            other => Self::Unknown(other),
        }
    }

    pub(crate) const fn wants(self, no_sources: bool) -> Option<bool> {
        match self {
            Self::ModeIsInclude | Self::ChangeToIncludeMode => Some(!no_sources),
            Self::ModeIsExclude | Self::ChangeToExcludeMode => Some(true),
            Self::AllowNewSources if !no_sources => Some(true),
            Self::AllowNewSources | Self::BlockOldSources | Self::Unknown(_) => None,
        }
    }

    /// The RFC's name.
    #[must_use]
    pub const fn name(self) -> Option<&'static str> {
        Some(match self {
            Self::ModeIsInclude => "MODE_IS_INCLUDE",
            Self::ModeIsExclude => "MODE_IS_EXCLUDE",
            Self::ChangeToIncludeMode => "CHANGE_TO_INCLUDE_MODE",
            Self::ChangeToExcludeMode => "CHANGE_TO_EXCLUDE_MODE",
            Self::AllowNewSources => "ALLOW_NEW_SOURCES",
            Self::BlockOldSources => "BLOCK_OLD_SOURCES",
            Self::Unknown(_) => return None,
        })
    }
}
