//! PTP version 1 messages (IEEE 1588-2002 annex D layouts, from memory and from an open implementation's offsets).
use crate::support::craft::frame::Mac;
use crate::support::craft::octets::Octets;

/// Who sends, in which subdomain.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Header {
    /// 16 octets, NUL padded.
    pub(crate) subdomain: [u8; 16],
    pub(crate) source: Mac,
    pub(crate) sequence: u16,
    pub(crate) flags: u16,
}

/// `_DFLT`, the default subdomain on 224.0.1.129.
pub(crate) const DEFAULT_SUBDOMAIN: [u8; 16] = *b"_DFLT\0\0\0\0\0\0\0\0\0\0\0";
pub(crate) const BOUNDARY_CLOCK: u16 = 0x0004;
/// A Follow_Up will come.
pub(crate) const ASSIST: u16 = 0x0008;
/// estimatedMasterVariance and estimatedMasterDrift are valid.
pub(crate) const PARENT_STATS: u16 = 0x0020;

/// A clock as Sync and Delay_Req describe it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ClockData {
    pub(crate) uuid: Mac,
    pub(crate) stratum: u8,
    pub(crate) identifier: [u8; 4],
    pub(crate) variance: i16,
}

/// The body that Sync and Delay_Req share.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SyncBody {
    pub(crate) origin_ns: i64,
    pub(crate) utc_offset_s: i16,
    pub(crate) grandmaster: ClockData,
    pub(crate) grandmaster_sequence: u16,
    pub(crate) grandmaster_preferred: bool,
    pub(crate) grandmaster_is_boundary_clock: bool,
    pub(crate) log_sync_interval: i8,
    pub(crate) local: ClockData,
    pub(crate) steps_removed: u16,
    pub(crate) parent: Mac,
    pub(crate) estimated_variance: i16,
    pub(crate) estimated_drift: i32,
    pub(crate) utc_reasonable: bool,
}

impl SyncBody {
    /// Of a grandmaster without a time, second by second.
    pub(crate) const fn of(clock: ClockData) -> Self {
        Self {
            origin_ns: 0,
            utc_offset_s: 37,
            grandmaster: clock,
            grandmaster_sequence: 1,
            grandmaster_preferred: false,
            grandmaster_is_boundary_clock: false,
            log_sync_interval: 0,
            local: clock,
            steps_removed: 0,
            parent: clock.uuid,
            estimated_variance: 0,
            estimated_drift: 0,
            utc_reasonable: true,
        }
    }
}

/// Port of every clock here; single-port clocks count from 1.
const PORT: u16 = 1;
/// sourceCommunicationTechnology: Ethernet.
const ETHERNET: u8 = 1;

fn header(header: &Header, event: bool, control: u8) -> Octets {
    Octets::new()
        .u16(1)
        .u16(1)
        .bytes(&header.subdomain)
        .u8(if event { 1 } else { 2 })
        .u8(ETHERNET)
        .bytes(&header.source)
        .u16(PORT)
        .u16(header.sequence)
        .u8(control)
        .u8(0)
        .u16(header.flags)
        .zeros(4)
}

fn timestamp(row: Octets, time_ns: i64) -> Octets {
    let seconds = u32::try_from(time_ns.div_euclid(1_000_000_000)).expect("version 1 counts 32-bit seconds");
    let nanoseconds = i32::try_from(time_ns.rem_euclid(1_000_000_000)).expect("below a second");
    row.u32(seconds).i32(nanoseconds)
}

pub(crate) fn sync(head: &Header, body: &SyncBody) -> Vec<u8> {
    sync_like(header(head, true, 0), body)
}

pub(crate) fn delay_req(head: &Header, body: &SyncBody) -> Vec<u8> {
    sync_like(header(head, true, 1), body)
}

fn sync_like(row: Octets, body: &SyncBody) -> Vec<u8> {
    timestamp(row, body.origin_ns)
        .u16(0)
        .i16(body.utc_offset_s)
        .u8(0)
        .u8(ETHERNET)
        .bytes(&body.grandmaster.uuid)
        .u16(PORT)
        .u16(body.grandmaster_sequence)
        .zeros(3)
        .u8(body.grandmaster.stratum)
        .bytes(&body.grandmaster.identifier)
        .zeros(2)
        .i16(body.grandmaster.variance)
        .u8(0)
        .u8(u8::from(body.grandmaster_preferred))
        .u8(0)
        .u8(u8::from(body.grandmaster_is_boundary_clock))
        .zeros(3)
        .i8(body.log_sync_interval)
        .zeros(2)
        .i16(body.local.variance)
        .zeros(2)
        .u16(body.steps_removed)
        .zeros(3)
        .u8(body.local.stratum)
        .bytes(&body.local.identifier)
        .u8(0)
        .u8(ETHERNET)
        .bytes(&body.parent)
        .zeros(2)
        .u16(PORT)
        .zeros(2)
        .i16(body.estimated_variance)
        .i32(body.estimated_drift)
        .zeros(3)
        .u8(u8::from(body.utc_reasonable))
        .0
}

/// Follow_Up to the Sync whose sequenceId is `associated`.
pub(crate) fn follow_up(head: &Header, associated: u16, origin_ns: i64) -> Vec<u8> {
    timestamp(header(head, false, 2).zeros(2).u16(associated), origin_ns).0
}

/// Delay_Resp to `requester`, whose Delay_Req had the sequenceId `associated`.
pub(crate) fn delay_resp(head: &Header, receipt_ns: i64, requester: Mac, associated: u16) -> Vec<u8> {
    timestamp(header(head, false, 3), receipt_ns)
        .u8(0)
        .u8(ETHERNET)
        .bytes(&requester)
        .u16(PORT)
        .u16(associated)
        .0
}
