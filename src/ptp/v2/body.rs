//! The fixed body of each message type (1588-2008 clause 13, from memory; layouts checked on real captures but for
//! Pdelay_Resp, Pdelay_Resp_Follow_Up and Signaling, which were checked against an open-source implementation).

use std::fmt;

use super::announce::Announce;
use super::fields;
use super::header::MessageType;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::ClockIdentity;
use crate::ptp::Note;
use crate::ptp::PortIdentity;
use crate::units::NANOS_PER_SECOND;
use crate::units::Timestamp;

/// The fixed body of each message type.
#[derive(Debug, Clone, PartialEq)]
pub enum Body {
    /// Sync: `originTimestamp`.
    Sync {
        /// `originTimestamp`; reserved in gPTP two-step.
        origin_timestamp: Timestamp,
    },
    /// Delay_Req: `originTimestamp`, 0 allowed.
    DelayReq {
        /// `originTimestamp`.
        origin_timestamp: Timestamp,
    },
    /// Pdelay_Req: `originTimestamp`, 0 allowed.
    PdelayReq {
        /// `originTimestamp`.
        origin_timestamp: Timestamp,
    },
    /// Pdelay_Resp.
    PdelayResp {
        /// `requestReceiptTimestamp`.
        request_receipt_timestamp: Timestamp,
        /// `requestingPortIdentity`.
        requesting_port_identity: PortIdentity,
    },
    /// Follow_Up.
    FollowUp {
        /// `preciseOriginTimestamp`.
        precise_origin_timestamp: Timestamp,
    },
    /// Delay_Resp.
    DelayResp {
        /// `receiveTimestamp`.
        receive_timestamp: Timestamp,
        /// `requestingPortIdentity`.
        requesting_port_identity: PortIdentity,
    },
    /// Pdelay_Resp_Follow_Up.
    PdelayRespFollowUp {
        /// `responseOriginTimestamp`.
        response_origin_timestamp: Timestamp,
        /// `requestingPortIdentity`.
        requesting_port_identity: PortIdentity,
    },
    /// Announce.
    Announce(Announce),
    /// Signaling; what it says is in its TLVs.
    Signaling {
        /// `targetPortIdentity`.
        target_port_identity: PortIdentity,
    },
    /// Management; what it asks or tells is in its TLV.
    Management {
        /// `targetPortIdentity`.
        target_port_identity: PortIdentity,
        /// `startingBoundaryHops`.
        starting_boundary_hops: u8,
        /// `boundaryHops`, counted down by each boundary clock on the way.
        boundary_hops: u8,
        /// `actionField`.
        action: Action,
    },
    /// A reserved `messageType`: nothing is decoded.
    Reserved,
}

/// `actionField` of a Management message, 4 bits (1588-2008 Table 38, from memory; 0 and 2 seen in real captures).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Action {
    /// 0: asks for a value; a data field that follows is a filler.
    Get,
    /// 1: sets a value.
    Set,
    /// 2: answers a GET or SET.
    Response,
    /// 3: starts an event.
    Command,
    /// 4: answers a COMMAND.
    Acknowledge,
    /// 5 to 15.
    Reserved(u8),
}

impl Action {
    /// The action that the low four bits of `nibble` name.
    #[must_use]
    pub const fn from_nibble(nibble: u8) -> Self {
        match nibble & 0x0F {
            0 => Self::Get,
            1 => Self::Set,
            2 => Self::Response,
            3 => Self::Command,
            4 => Self::Acknowledge,
            other => Self::Reserved(other),
        }
    }

    /// The value on the wire, 0 to 15.
    #[must_use]
    pub const fn nibble(self) -> u8 {
        match self {
            Self::Get => 0,
            Self::Set => 1,
            Self::Response => 2,
            Self::Command => 3,
            Self::Acknowledge => 4,
            Self::Reserved(nibble) => nibble & 0x0F,
        }
    }
}

impl fmt::Display for Action {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Get => "GET",
            Self::Set => "SET",
            Self::Response => "RESPONSE",
            Self::Command => "COMMAND",
            Self::Acknowledge => "ACKNOWLEDGE",
            Self::Reserved(nibble) => return write!(f, "reserved {nibble}"),
        })
    }
}

impl Body {
    /// Octets of the fixed body, after the header.
    pub(super) const fn octets(message_type: MessageType) -> usize {
        match message_type {
            MessageType::Sync | MessageType::DelayReq | MessageType::FollowUp | MessageType::Signaling => 10,
            MessageType::PdelayReq
            | MessageType::PdelayResp
            | MessageType::DelayResp
            | MessageType::PdelayRespFollowUp => 20,
            MessageType::Announce => 30,
            MessageType::Management => 14,
            MessageType::Reserved(_) => 0,
        }
    }

    /// Reads the body of a `message_type` that begins with a time of less than a second's nanoseconds; `octets` follow the
    /// header.
    pub(super) fn plain(octets: &[u8], message_type: MessageType) -> Option<Self> {
        let (time, rest) = octets.split_first_chunk()?;
        let time = plain_time(time)?;
        let requesting = || {
            let [i0, i1, i2, i3, i4, i5, i6, i7, port_0, port_1] = *rest.first_chunk()?;
            let clock_identity = ClockIdentity([i0, i1, i2, i3, i4, i5, i6, i7]);
            Some(PortIdentity { clock_identity, port_number: u16::from_be_bytes([port_0, port_1]) })
        };
        Some(match message_type {
            MessageType::Sync => Self::Sync { origin_timestamp: time },
            MessageType::DelayReq => Self::DelayReq { origin_timestamp: time },
            MessageType::FollowUp => Self::FollowUp { precise_origin_timestamp: time },
            MessageType::DelayResp => {
                Self::DelayResp { receive_timestamp: time, requesting_port_identity: requesting()? }
            }
            MessageType::PdelayReq => {
                requesting()?;
                Self::PdelayReq { origin_timestamp: time }
            }
            MessageType::PdelayResp => {
                Self::PdelayResp { request_receipt_timestamp: time, requesting_port_identity: requesting()? }
            }
            MessageType::PdelayRespFollowUp => Self::PdelayRespFollowUp {
                response_origin_timestamp: time,
                requesting_port_identity: requesting()?,
            },
            MessageType::Announce
            | MessageType::Signaling
            | MessageType::Management
            | MessageType::Reserved(_) => return None,
        })
    }

    /// Reads the body of `message_type`; `cursor` stands behind the header.
    pub(super) fn decode(
        cursor: &mut Cursor<'_>,
        message_type: MessageType,
        notes: &mut Vec<Note>,
    ) -> Result<Self, DecodeError> {
        const REQUESTING: &str = "requestingPortIdentity";
        Ok(match message_type {
            MessageType::Sync => {
                Self::Sync { origin_timestamp: fields::timestamp(cursor, "originTimestamp", notes)? }
            }
            MessageType::DelayReq => {
                Self::DelayReq { origin_timestamp: fields::timestamp(cursor, "originTimestamp", notes)? }
            }
            MessageType::PdelayReq => {
                let origin_timestamp = fields::timestamp(cursor, "originTimestamp", notes)?;
                cursor.skip("reserved", 10)?;
                Self::PdelayReq { origin_timestamp }
            }
            MessageType::PdelayResp => Self::PdelayResp {
                request_receipt_timestamp: fields::timestamp(cursor, "requestReceiptTimestamp", notes)?,
                requesting_port_identity: fields::port_identity(cursor, REQUESTING)?,
            },
            MessageType::FollowUp => Self::FollowUp {
                precise_origin_timestamp: fields::timestamp(cursor, "preciseOriginTimestamp", notes)?,
            },
            MessageType::DelayResp => Self::DelayResp {
                receive_timestamp: fields::timestamp(cursor, "receiveTimestamp", notes)?,
                requesting_port_identity: fields::port_identity(cursor, REQUESTING)?,
            },
            MessageType::PdelayRespFollowUp => Self::PdelayRespFollowUp {
                response_origin_timestamp: fields::timestamp(cursor, "responseOriginTimestamp", notes)?,
                requesting_port_identity: fields::port_identity(cursor, REQUESTING)?,
            },
            MessageType::Announce => Self::Announce(Announce::decode(cursor, notes)?),
            MessageType::Signaling => {
                Self::Signaling { target_port_identity: fields::port_identity(cursor, "targetPortIdentity")? }
            }
            MessageType::Management => Self::management(cursor, notes)?,
            MessageType::Reserved(_) => Self::Reserved,
        })
    }

    fn management(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<Self, DecodeError> {
        let target_port_identity = fields::port_identity(cursor, "targetPortIdentity")?;
        let starting_boundary_hops = cursor.u8("startingBoundaryHops")?;
        let boundary_hops = cursor.u8("boundaryHops")?;
        let action = Action::from_nibble(cursor.u8("actionField")?);
        cursor.skip("reserved", 1)?;
        if let Action::Reserved(nibble) = action {
            notes.push(Note::ReservedValue { field: "actionField", value: u64::from(nibble) });
        }
        Ok(Self::Management { target_port_identity, starting_boundary_hops, boundary_hops, action })
    }
}

/// A timestamp whose nanoseconds are less than a second's.
fn plain_time(octets: &[u8; 10]) -> Option<Timestamp> {
    let [s0, s1, s2, s3, s4, s5, n0, n1, n2, n3] = *octets;
    let seconds = u64::from_be_bytes([0, 0, s0, s1, s2, s3, s4, s5]);
    let nanoseconds = u32::from_be_bytes([n0, n1, n2, n3]);
    (i64::from(nanoseconds) < NANOS_PER_SECOND).then_some(Timestamp { seconds, nanoseconds })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PORT: &str = "02005efffe100001 0203";
    const TIME: &str = "010203040506 3b9ac9ff";
    /// One nanosecond more than a `nanosecondsField` may hold.
    const LATE: &str = "010203040506 3b9aca00";

    fn port() -> PortIdentity {
        let clock_identity = ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 1]);
        PortIdentity { clock_identity, port_number: 0x0203 }
    }

    fn time(nanoseconds: u32) -> Timestamp {
        Timestamp { seconds: 0x0102_0304_0506, nanoseconds }
    }

    fn octets(hex: &str) -> Vec<u8> {
        let digits: String = hex.split_whitespace().collect();
        (0..digits.len()).step_by(2).map(|at| u8::from_str_radix(&digits[at..at + 2], 16).unwrap()).collect()
    }

    fn decode(message_type: MessageType, hex: &str) -> (Body, Vec<Note>) {
        let octets = octets(hex);
        let mut cursor = Cursor::new(&octets);
        let mut notes = Vec::new();
        let body = Body::decode(&mut cursor, message_type, &mut notes).unwrap();
        assert_eq!(cursor.offset(), Body::octets(message_type), "octets read");
        assert!(cursor.rest().is_empty());
        (body, notes)
    }

    /// Each type that carries a timestamp: its octets around the time, the time's field, the body.
    fn timed(nanoseconds: u32) -> Vec<(MessageType, String, &'static str, Body)> {
        let time = time(nanoseconds);
        let requesting_port_identity = port();
        vec![
            (MessageType::Sync, String::new(), "originTimestamp", Body::Sync { origin_timestamp: time }),
            (
                MessageType::DelayReq,
                String::new(),
                "originTimestamp",
                Body::DelayReq { origin_timestamp: time },
            ),
            (
                MessageType::PdelayReq,
                "00".repeat(10),
                "originTimestamp",
                Body::PdelayReq { origin_timestamp: time },
            ),
            (
                MessageType::PdelayResp,
                PORT.to_owned(),
                "requestReceiptTimestamp",
                Body::PdelayResp { request_receipt_timestamp: time, requesting_port_identity },
            ),
            (
                MessageType::FollowUp,
                String::new(),
                "preciseOriginTimestamp",
                Body::FollowUp { precise_origin_timestamp: time },
            ),
            (
                MessageType::DelayResp,
                PORT.to_owned(),
                "receiveTimestamp",
                Body::DelayResp { receive_timestamp: time, requesting_port_identity },
            ),
            (
                MessageType::PdelayRespFollowUp,
                PORT.to_owned(),
                "responseOriginTimestamp",
                Body::PdelayRespFollowUp { response_origin_timestamp: time, requesting_port_identity },
            ),
        ]
    }

    #[test]
    fn every_timed_body_is_read_field_by_field() {
        for (message_type, rest, _, expected) in timed(999_999_999) {
            assert_eq!(decode(message_type, &format!("{TIME} {rest}")), (expected, vec![]), "{message_type}");
        }
    }

    #[test]
    fn nanoseconds_beyond_a_second_are_kept_and_noted_by_field() {
        for (message_type, rest, field, expected) in timed(1_000_000_000) {
            let notes = vec![Note::NanosecondsOutOfRange { field }];
            assert_eq!(decode(message_type, &format!("{LATE} {rest}")), (expected, notes), "{message_type}");
        }
    }

    #[test]
    fn the_reserved_half_of_a_pdelay_req_changes_nothing() {
        let expected = Body::PdelayReq { origin_timestamp: time(999_999_999) };
        let hex = format!("{TIME} {}", "ff".repeat(10));
        assert_eq!(decode(MessageType::PdelayReq, &hex), (expected, vec![]));
    }

    #[test]
    fn signaling_names_its_target() {
        let expected = Body::Signaling { target_port_identity: port() };
        assert_eq!(decode(MessageType::Signaling, PORT), (expected, vec![]));
    }

    #[test]
    fn management_reads_hops_and_the_low_nibble_of_action() {
        for (octet, action) in [
            ("00", Action::Get),
            ("01", Action::Set),
            ("f2", Action::Response),
            ("03", Action::Command),
            ("a4", Action::Acknowledge),
        ] {
            let expected = Body::Management {
                target_port_identity: port(),
                starting_boundary_hops: 5,
                boundary_hops: 4,
                action,
            };
            let hex = format!("{PORT} 05 04 {octet} ff");
            assert_eq!(decode(MessageType::Management, &hex), (expected, vec![]));
        }
    }

    #[test]
    fn a_reserved_action_is_kept_and_noted() {
        let (body, notes) = decode(MessageType::Management, &format!("{PORT} 05 04 05 00"));
        assert!(matches!(body, Body::Management { action: Action::Reserved(5), .. }));
        assert_eq!(notes, [Note::ReservedValue { field: "actionField", value: 5 }]);
    }

    #[test]
    fn every_action_nibble_goes_to_an_action_and_back() {
        for nibble in 0..16 {
            assert_eq!(Action::from_nibble(nibble).nibble(), nibble);
        }
        assert_eq!(Action::Acknowledge.to_string(), "ACKNOWLEDGE");
        assert_eq!(Action::Reserved(9).to_string(), "reserved 9");
    }
}
