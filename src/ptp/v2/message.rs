//! A whole v2 message.

use super::announce::Announce;
use super::header::Header;
use crate::bytes::DecodeError;
use crate::ptp::Note;
use crate::ptp::PortIdentity;
use crate::units::Timestamp;

/// A message: header, body, what follows, and what was odd.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// The common header.
    pub header: Header,
    /// The fixed body of its type.
    pub body: Body,
    /// What was odd.
    pub notes: Vec<Note>,
    /// Octets after `messageLength`: pads or a frame check sequence.
    pub suffix_octets: usize,
}

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
    /// A reserved `messageType`: nothing is decoded.
    Reserved,
}

pub(super) fn decode(_octets: &[u8]) -> Result<Message, DecodeError> {
    Err(DecodeError::Value { field: "messageType", offset: 0, value: 0, rule: "not decoded yet" })
}
