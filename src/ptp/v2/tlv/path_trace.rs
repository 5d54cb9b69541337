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
