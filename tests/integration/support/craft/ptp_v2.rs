//! PTP version 2 messages (IEEE 1588-2008 clause 13, tables 18 to 41; from memory, held by real frames below).
use crate::support::craft::frame::Mac;
use crate::support::craft::octets::Octets;
use crate::support::craft::octets::length_u16;

/// Clock identity and port number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct PortIdentity {
    pub(crate) clock: [u8; 8],
    pub(crate) port: u16,
}

impl PortIdentity {
    /// Everyone: the target of a management message to all.
    pub(crate) const ALL: PortIdentity = PortIdentity { clock: [0xff; 8], port: 0xffff };

    /// The first port of the clock whose identity is made of this MAC address (1588-2008 7.5.2.2.2, FF-FE inside).
    pub(crate) fn of_mac([a, b, c, d, e, f]: Mac) -> Self {
        PortIdentity { clock: [a, b, c, 0xff, 0xfe, d, e, f], port: 1 }
    }
}

/// The data set that an Announce carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct DataSet {
    pub(crate) priority1: u8,
    pub(crate) clock_class: u8,
    pub(crate) clock_accuracy: u8,
    pub(crate) variance: u16,
    pub(crate) priority2: u8,
    pub(crate) grandmaster: [u8; 8],
    pub(crate) steps_removed: u16,
    pub(crate) utc_offset_s: i16,
    pub(crate) time_source: u8,
    /// Second octet of flagField: leap, UTC offset valid, PTP timescale, traceable.
    pub(crate) time_flags: u8,
}

/// SMPTE ST 2059-2 synchronization metadata, for the fields that differ between senders.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SynchronizationMetadata {
    /// Frames per second as numerator and denominator.
    pub(crate) frame_rate: (u32, u32),
    /// 0 not in use, 1 free run, 2 cold locking, 3 warm locking, 4 locked.
    pub(crate) locking_status: u8,
    pub(crate) local_offset_s: i32,
}

/// What a message says after its header. Times are nanoseconds since the PTP epoch.
#[derive(Clone, Debug)]
pub(crate) enum Body {
    Sync { origin_ns: i64 },
    DelayReq { origin_ns: i64 },
    PdelayReq { origin_ns: i64 },
    PdelayResp { receipt_ns: i64, requester: PortIdentity },
    FollowUp { origin_ns: i64 },
    DelayResp { receipt_ns: i64, requester: PortIdentity },
    PdelayRespFollowUp { origin_ns: i64, requester: PortIdentity },
    Announce { origin_ns: i64, data: DataSet },
    Signaling { target: PortIdentity, tlvs: Vec<u8> },
    Management { target: PortIdentity, hops: (u8, u8), action: u8, tlvs: Vec<u8> },
}

/// The header's fields that are not given by the body.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Header {
    pub(crate) domain: u8,
    /// flagField as it is on the wire.
    pub(crate) flags: [u8; 2],
    /// Nanoseconds × 2^16.
    pub(crate) correction: i64,
    pub(crate) source: PortIdentity,
    pub(crate) sequence: u16,
    pub(crate) log_interval: i8,
}

pub(crate) const TWO_STEP: u8 = 0x02;
pub(crate) const NOT_STATED: i8 = 0x7f;
pub(crate) const ACTION_GET: u8 = 0;
pub(crate) const ACTION_COMMAND: u8 = 3;
pub(crate) const ACTION_RESPONSE: u8 = 2;

impl Body {
    /// messageType and controlField (1588-2008 tables 19 and 23).
    fn kind(&self) -> (u8, u8) {
        match self {
            Body::Sync { .. } => (0x0, 0),
            Body::DelayReq { .. } => (0x1, 1),
            Body::PdelayReq { .. } => (0x2, 5),
            Body::PdelayResp { .. } => (0x3, 5),
            Body::FollowUp { .. } => (0x8, 2),
            Body::DelayResp { .. } => (0x9, 3),
            Body::PdelayRespFollowUp { .. } => (0xa, 5),
            Body::Announce { .. } => (0xb, 5),
            Body::Signaling { .. } => (0xc, 5),
            Body::Management { .. } => (0xd, 4),
        }
    }

    /// Event messages go to UDP port 319, general ones to 320 (1588-2008 Annex D).
    pub(crate) fn udp_port(&self) -> u16 {
        if self.kind().0 < 0x8 { 319 } else { 320 }
    }

    fn encode(&self) -> Vec<u8> {
        let row = Octets::new();
        let written = match self {
            Body::Sync { origin_ns } | Body::DelayReq { origin_ns } | Body::FollowUp { origin_ns } => {
                timestamp(row, *origin_ns)
            }
            Body::PdelayReq { origin_ns } => timestamp(row, *origin_ns).zeros(10),
            Body::PdelayResp { receipt_ns: time_ns, requester }
            | Body::DelayResp { receipt_ns: time_ns, requester }
            | Body::PdelayRespFollowUp { origin_ns: time_ns, requester } => {
                identity(timestamp(row, *time_ns), *requester)
            }
            Body::Announce { origin_ns, data } => timestamp(row, *origin_ns)
                .i16(data.utc_offset_s)
                .u8(0)
                .u8(data.priority1)
                .u8(data.clock_class)
                .u8(data.clock_accuracy)
                .u16(data.variance)
                .u8(data.priority2)
                .bytes(&data.grandmaster)
                .u16(data.steps_removed)
                .u8(data.time_source),
            Body::Signaling { target, tlvs } => identity(row, *target).bytes(tlvs),
            Body::Management { target, hops, action, tlvs } => {
                identity(row, *target).u8(hops.0).u8(hops.1).u8(*action).u8(0).bytes(tlvs)
            }
        };
        written.0
    }
}

/// The whole message, header first.
pub(crate) fn encode(header: &Header, body: &Body) -> Vec<u8> {
    let (kind, control) = body.kind();
    let octets = body.encode();
    let row = Octets::new()
        .u8(kind)
        .u8(2)
        .u16(length_u16(34 + octets.len()))
        .u8(header.domain)
        .u8(0)
        .bytes(&header.flags)
        .i64(header.correction)
        .zeros(4);
    identity(row, header.source).u16(header.sequence).u8(control).i8(header.log_interval).bytes(&octets).0
}

fn timestamp(row: Octets, time_ns: i64) -> Octets {
    let seconds = u64::try_from(time_ns.div_euclid(1_000_000_000)).expect("not before the epoch");
    let nanoseconds = u32::try_from(time_ns.rem_euclid(1_000_000_000)).expect("below a second");
    row.u48(seconds).u32(nanoseconds)
}

fn identity(row: Octets, identity: PortIdentity) -> Octets {
    row.bytes(&identity.clock).u16(identity.port)
}

fn tlv(kind: u16, value: &[u8]) -> Vec<u8> {
    Octets::new().u16(kind).u16(length_u16(value.len())).bytes(value).0
}

/// A MANAGEMENT TLV (1588-2008 15.5.2): managementId and its data.
pub(crate) fn management_tlv(id: u16, data: &[u8]) -> Vec<u8> {
    tlv(0x0001, &Octets::new().u16(id).bytes(data).0)
}

pub(crate) const CURRENT_DATA_SET: u16 = 0x2001;

/// CURRENT_DATA_SET (1588-2008 15.5.3.4.1): the sender's own idea of its offset and path delay.
pub(crate) fn current_data_set(steps_removed: u16, offset_ns: i64, mean_path_delay_ns: i64) -> Vec<u8> {
    Octets::new().u16(steps_removed).i64(offset_ns << 16).i64(mean_path_delay_ns << 16).0
}

/// The synchronization metadata TLV (SMPTE ST 2059-2; layout from two independent public decoders).
pub(crate) fn synchronization_metadata_tlv(metadata: &SynchronizationMetadata) -> Vec<u8> {
    let value = Octets::new()
        .bytes(&[0x68, 0x97, 0xe8, 0x00, 0x00, 0x01])
        .u32(metadata.frame_rate.0)
        .u32(metadata.frame_rate.1)
        .u8(metadata.locking_status)
        .u8(0)
        .i32(metadata.local_offset_s)
        .i32(0)
        .u48(0)
        .u48(0)
        .u48(0)
        .i32(metadata.local_offset_s)
        .u8(0)
        .u8(0);
    tlv(0x0003, &value.0)
}

/// REQUEST_UNICAST_TRANSMISSION (1588-2008 16.1.4.1) for one message type.
pub(crate) fn request_unicast_tlv(message_type: u8, log_period: i8, duration_s: u32) -> Vec<u8> {
    tlv(0x0004, &Octets::new().u8(message_type << 4).i8(log_period).u32(duration_s).0)
}
