//! The four TLVs of unicast negotiation (1588-2008 16.1, from memory; layouts checked against an open-source
//! implementation).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::v2::MessageType;
use crate::units::LogInterval;

/// REQUEST_UNICAST_TRANSMISSION.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnicastRequest {
    /// `messageType` asked for.
    pub message_type: MessageType,
    /// `logInterMessagePeriod`.
    pub log_inter_message_period: LogInterval,
    /// `durationField`, s.
    pub duration_field_s: u32,
}

/// GRANT_UNICAST_TRANSMISSION.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnicastGrant {
    /// `messageType` granted.
    pub message_type: MessageType,
    /// `logInterMessagePeriod`.
    pub log_inter_message_period: LogInterval,
    /// `durationField`, s; 0 denies.
    pub duration_field_s: u32,
    /// `R`: asking again before the end is likely to be granted.
    pub renewal_invited: bool,
}

/// CANCEL_UNICAST_TRANSMISSION and ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnicastCancel {
    /// `messageType` given up.
    pub message_type: MessageType,
    /// `maintainRequest` (2019).
    pub maintain_request: bool,
    /// `maintainGrant` (2019).
    pub maintain_grant: bool,
}

/// `messageType` is in the high nibble here.
fn message_type(octet: u8) -> MessageType {
    MessageType::from_nibble(octet >> 4)
}

impl UnicastRequest {
    /// Offset 0 `messageType`, 1 `logInterMessagePeriod`, 2 `durationField`.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        Ok(Self {
            message_type: message_type(cursor.u8("messageType")?),
            log_inter_message_period: LogInterval(cursor.i8("logInterMessagePeriod")?),
            duration_field_s: cursor.u32("durationField")?,
        })
    }
}

impl UnicastGrant {
    /// As a request; then 6 reserved, 7 `R` in bit 0.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let UnicastRequest { message_type, log_inter_message_period, duration_field_s } =
            UnicastRequest::decode(cursor)?;
        cursor.skip("reserved", 1)?;
        let renewal_invited = cursor.u8("R")? & 1 != 0;
        Ok(Self { message_type, log_inter_message_period, duration_field_s, renewal_invited })
    }
}

impl UnicastCancel {
    /// Offset 0 `messageType` and the two flags, 1 reserved.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let first = cursor.u8("messageType")?;
        cursor.skip("reserved", 1)?;
        Ok(Self {
            message_type: message_type(first),
            maintain_request: first & 0x01 != 0,
            maintain_grant: first & 0x02 != 0,
        })
    }
}
