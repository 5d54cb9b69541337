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

#[cfg(test)]
mod tests {
    use super::super::Tlv;
    use super::super::testing;
    use super::super::types;
    use super::*;

    fn grant() -> Tlv {
        Tlv::GrantUnicastTransmission(UnicastGrant {
            message_type: MessageType::DelayResp,
            log_inter_message_period: LogInterval(-4),
            duration_field_s: 300,
            renewal_invited: true,
        })
    }

    #[test]
    fn a_request_names_type_period_and_duration() {
        let value = testing::octets("b0 01 0000012c");
        let request = UnicastRequest {
            message_type: MessageType::Announce,
            log_inter_message_period: LogInterval(1),
            duration_field_s: 300,
        };
        let tlv_type = types::REQUEST_UNICAST_TRANSMISSION;
        assert_eq!(testing::decode(tlv_type, &value), (Tlv::RequestUnicastTransmission(request), vec![]));
        testing::assert_every_shorter_value_is_kept_as_type_and_length(tlv_type, &value);
        testing::assert_a_longer_value_is_noted(tlv_type, &value);
    }

    #[test]
    fn a_grant_also_says_whether_to_ask_again() {
        let value = testing::octets("90 fc 0000012c 00 01");
        let tlv_type = types::GRANT_UNICAST_TRANSMISSION;
        assert_eq!(testing::decode(tlv_type, &value), (grant(), vec![]));
        testing::assert_every_shorter_value_is_kept_as_type_and_length(tlv_type, &value);
        testing::assert_a_longer_value_is_noted(tlv_type, &value);
    }

    #[test]
    fn reserved_bits_of_a_grant_change_nothing() {
        let value = testing::octets("9f fc 0000012c ff ff");
        assert_eq!(testing::decode(types::GRANT_UNICAST_TRANSMISSION, &value), (grant(), vec![]));
    }

    #[test]
    fn a_cancel_says_who_gives_up() {
        let value = testing::octets("02 00");
        let cancel =
            UnicastCancel { message_type: MessageType::Sync, maintain_request: false, maintain_grant: true };
        assert_eq!(
            testing::decode(types::CANCEL_UNICAST_TRANSMISSION, &value),
            (Tlv::CancelUnicastTransmission(cancel), vec![])
        );
        let cancel = UnicastCancel { maintain_request: true, maintain_grant: false, ..cancel };
        // Bits 2 and 3 and the second octet are reserved.
        let value = testing::octets("0d ff");
        let tlv_type = types::ACKNOWLEDGE_CANCEL_UNICAST_TRANSMISSION;
        let expected = Tlv::AcknowledgeCancelUnicastTransmission(cancel);
        assert_eq!(testing::decode(tlv_type, &value), (expected, vec![]));
        testing::assert_every_shorter_value_is_kept_as_type_and_length(tlv_type, &value);
        testing::assert_a_longer_value_is_noted(tlv_type, &value);
    }
}
