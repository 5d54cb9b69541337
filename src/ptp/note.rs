//! What was odd about a message that could still be decoded.

use std::fmt;

/// Something a message holds that the standard does not allow or does not define. The value is kept as it is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Note {
    /// `nanosecondsField` of the named field is 10⁹ or more.
    NanosecondsOutOfRange {
        /// The field, in the standard's spelling.
        field: &'static str,
    },
    /// A TLV's `lengthField` is odd or runs past `messageLength`; it and what follows are not read.
    TlvBroken {
        /// `tlvType`.
        tlv_type: u16,
        /// Octets from the message's start.
        offset: usize,
        /// What is wrong.
        why: &'static str,
    },
    /// A TLV's value is shorter than its type's layout, so it is kept as type and length.
    TlvTooShort {
        /// `tlvType`.
        tlv_type: u16,
        /// `lengthField`.
        length: u16,
    },
    /// A TLV's value is longer than the layout known here; the known part is decoded.
    TlvExtended {
        /// `tlvType`.
        tlv_type: u16,
        /// Octets beyond the known layout.
        extra_octets: usize,
    },
    /// A reserved or unknown value in a field whose values are listed.
    ReservedValue {
        /// The field, in the standard's spelling.
        field: &'static str,
        /// What it holds.
        value: u64,
    },
    /// The capture kept fewer octets than `messageLength` says, and the cut lies after the fixed body: TLVs
    /// from the cut on are not read.
    CutByCapture {
        /// `messageLength`.
        message_length: u16,
        /// Octets the capture kept.
        available: usize,
    },
    /// A v1 message whose `control` and `messageType` do not belong together.
    ClassMismatch,
    /// A v1 time whose sign bit is set where an instant is meant.
    NegativeTime {
        /// The field, in the standard's spelling.
        field: &'static str,
    },
    /// v1 management parameters shorter than their key's layout, so they are kept as key and length.
    ParametersTooShort {
        /// `managementMessageKey`.
        key: u8,
        /// `parameterLength`.
        length: u16,
    },
    /// v1 management parameters longer than the layout known here; the known part is decoded.
    ParametersExtended {
        /// `managementMessageKey`.
        key: u8,
        /// Octets beyond the known layout.
        extra_octets: usize,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NanosecondsOutOfRange { field } => write!(f, "{field} has 10^9 nanoseconds or more"),
            Self::TlvBroken { tlv_type, offset, why } => {
                write!(f, "TLV 0x{tlv_type:04x} at offset {offset}: {why}")
            }
            Self::TlvTooShort { tlv_type, length } => {
                write!(f, "TLV 0x{tlv_type:04x}: {length} octets are too few for its type")
            }
            Self::TlvExtended { tlv_type, extra_octets } => {
                write!(f, "TLV 0x{tlv_type:04x}: {extra_octets} octets beyond the known layout")
            }
            Self::ReservedValue { field, value } => write!(f, "{field} holds the reserved value {value}"),
            Self::CutByCapture { message_length, available } => {
                write!(f, "the capture kept {available} of the message's {message_length} octets")
            }
            Self::ClassMismatch => write!(f, "messageType and control do not belong together"),
            Self::NegativeTime { field } => write!(f, "{field} lies before the epoch"),
            Self::ParametersTooShort { key, length } => {
                write!(f, "managementMessageKey {key}: {length} octets are too few for its parameters")
            }
            Self::ParametersExtended { key, extra_octets } => {
                write!(f, "managementMessageKey {key}: {extra_octets} octets beyond the known layout")
            }
        }
    }
}
