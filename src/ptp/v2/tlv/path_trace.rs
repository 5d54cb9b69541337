//! PATH_TRACE (1588-2008 16.2, from memory; layout checked against an open-source implementation).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::ClockIdentity;
use crate::ptp::v2::fields;

/// Octets of one entry.
const ENTRY_OCTETS: usize = 8;

/// The clocks an Announce came through: first the grandmaster, last the sender before this one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PathTrace {
    /// `pathSequence`. An identity that is there twice shows a loop.
    pub path_sequence: Vec<ClockIdentity>,
}

impl PathTrace {
    /// Reads whole entries as long as there are any; an empty list is one, a piece of a single entry is not.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let mut path_sequence = Vec::new();
        let is_empty = cursor.rest().is_empty();
        while cursor.rest().len() >= ENTRY_OCTETS {
            path_sequence.push(fields::clock_identity(cursor, "pathSequence")?);
        }
        if path_sequence.is_empty() && !is_empty {
            path_sequence.push(fields::clock_identity(cursor, "pathSequence")?);
        }
        Ok(Self { path_sequence })
    }
}

#[cfg(test)]
mod tests {
    use super::super::Tlv;
    use super::super::testing;
    use super::super::types;
    use super::*;
    use crate::ptp::Note;

    #[test]
    fn a_path_lists_its_clocks_in_wire_order() {
        let value = testing::octets("02005efffe100001 02005efffe100002");
        let (tlv, notes) = testing::decode(types::PATH_TRACE, &value);
        let path_sequence = vec![
            ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 1]),
            ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 2]),
        ];
        assert_eq!(tlv, Tlv::PathTrace(PathTrace { path_sequence }));
        assert_eq!(notes, []);
    }

    #[test]
    fn an_empty_path_is_a_path() {
        let (tlv, notes) = testing::decode(types::PATH_TRACE, &[]);
        assert_eq!(tlv, Tlv::PathTrace(PathTrace { path_sequence: Vec::new() }));
        assert_eq!(notes, []);
    }

    #[test]
    fn a_piece_of_an_entry_is_too_short_alone_and_an_extension_after_a_whole_one() {
        let value = testing::octets("02005efffe100001 0200");
        let (tlv, notes) = testing::decode(types::PATH_TRACE, &value);
        let Tlv::PathTrace(path) = tlv else { panic!("{tlv:?}") };
        assert_eq!(path.path_sequence, [ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 1])]);
        assert_eq!(notes, [Note::TlvExtended { tlv_type: types::PATH_TRACE, extra_octets: 2 }]);
        let (tlv, notes) = testing::decode(types::PATH_TRACE, &value[..6]);
        assert_eq!(tlv, Tlv::Other { tlv_type: types::PATH_TRACE, length: 6 });
        assert_eq!(notes, [Note::TlvTooShort { tlv_type: types::PATH_TRACE, length: 6 }]);
    }
}
