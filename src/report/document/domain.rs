//! `domains` of the report.

use schemars::JsonSchema;
use serde::Serialize;

use super::PathDocument;
use super::PeerDocument;
use super::ProfileDocument;

/// A PTP domain.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DomainDocument {
    /// Names it in the report: version, sdoId where not 0, number or subdomain, VLAN.
    pub key: String,
    /// `1`, `2.0` or `2.1`; the highest `minorVersionPTP` seen.
    pub ptp_version: &'static str,
    /// `domainNumber`, or the v1 subdomain as text.
    pub domain: serde_json::Value,
    /// `sdoId`; `null` in v1.
    pub sdo_id: Option<u16>,
    /// `udp4`, `udp6`, `ethernet`.
    pub transports: Vec<&'static str>,
    /// The innermost VLAN tag.
    pub vlan: Option<u16>,
    /// Messages by type.
    pub messages: MessageCounts,
    /// The grandmaster elected at the end.
    pub leader: Option<String>,
    /// Who led, from when to when.
    pub tenures: Vec<TenureDocument>,
    /// Who should lead, by the data set comparison of all clocks that could at the end.
    pub rightful: Option<String>,
    /// The field on which that one beats the next.
    pub decided_by: Option<&'static str>,
    /// Who would lead next, best first, as far as they were seen.
    pub succession: Vec<String>,
    /// Ports that sent in the domain.
    pub clocks: Vec<ClockDocument>,
    /// Requests for delay and their answers.
    pub answers: AnswersDocument,
    /// Each port that asked or was answered.
    pub requesters: Vec<RequesterDocument>,
    /// Ports that answer peer-delay requests.
    pub peers: Vec<PeerDocument>,
    /// Odd things in the messages.
    pub notes: Vec<NoteDocument>,
    /// The capture's clock against the leader; `null` where the leader's Sync is not in view.
    pub path: Option<PathDocument>,
    /// How the domain agrees with each profile, best first; inferred, never known.
    pub profiles: Vec<ProfileDocument>,
}

/// Messages by type; Follow_Up of v1 counts as `follow_up`, and so on.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
#[allow(missing_docs, reason = "the fields are the message types' names")]
pub struct MessageCounts {
    pub sync: u64,
    pub follow_up: u64,
    pub delay_req: u64,
    pub delay_resp: u64,
    pub pdelay_req: u64,
    pub pdelay_resp: u64,
    pub pdelay_resp_follow_up: u64,
    pub announce: u64,
    pub signaling: u64,
    pub management: u64,
    /// Messages of a reserved type.
    pub reserved: u64,
}

/// A clock's lead.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TenureDocument {
    /// The grandmaster.
    pub clock: String,
    /// Its beginning, RFC 3339.
    pub from: String,
    /// Its end.
    pub until: String,
    /// Its beginning, seconds from the first frame.
    pub from_at_s: f64,
    /// Its end.
    pub until_at_s: f64,
    /// `announce-timeout`, `better-clock`, `quality-change`, `sync-stopped` or `capture-end`.
    pub ended_by: &'static str,
    /// Whether its Syncs went on for longer than its Announces are waited for, where those had stopped.
    pub sync_went_on: bool,
    /// The field it won on.
    pub won_on: &'static str,
    /// The clock it won against.
    pub won_against: Option<String>,
}

/// A port that sent in the domain. Fields of the other PTP version are `null`.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct ClockDocument {
    /// The clock.
    pub clock: String,
    /// Its port.
    pub port: u16,
    /// The grandmaster it announces.
    pub grandmaster: Option<String>,
    /// `stepsRemoved`.
    pub steps_removed: Option<u16>,
    /// `grandmasterPriority1`.
    pub priority1: Option<u8>,
    /// `grandmasterPriority2`.
    pub priority2: Option<u8>,
    /// `clockClass`.
    pub clock_class: Option<u8>,
    /// `clockAccuracy`.
    pub clock_accuracy: Option<u8>,
    /// `offsetScaledLogVariance`, v1 `grandmasterClockVariance`.
    pub variance: Option<i32>,
    /// v1 `grandmasterPreferred`.
    pub preferred: Option<bool>,
    /// v1 `grandmasterClockStratum`.
    pub stratum: Option<u8>,
    /// v1 `grandmasterClockIdentifier`.
    pub identifier: Option<String>,
    /// v1 `grandmasterIsBoundaryClock`.
    pub boundary_clock: Option<bool>,
    /// `timeSource`.
    pub time_source: Option<u8>,
    /// `currentUtcOffset`.
    pub utc_offset_s: Option<i16>,
    /// Flags of its latest Announce.
    pub flags: Vec<&'static str>,
    /// Its Announces.
    pub announce: Option<CadenceDocument>,
    /// Its Syncs.
    pub sync: Option<CadenceDocument>,
    /// Its Delay_Reqs.
    pub delay_req: Option<CadenceDocument>,
    /// Its Delay_Resps.
    pub delay_resp: Option<CadenceDocument>,
    /// Its Pdelay_Reqs.
    pub pdelay_req: Option<CadenceDocument>,
    /// Whether its Sync is two-step.
    pub two_step: Option<bool>,
    /// SMPTE ST 2059-2 metadata it sent.
    pub synchronization_metadata: Option<SynchronizationMetadataDocument>,
    /// First message, RFC 3339.
    pub first: Option<String>,
    /// Latest message.
    pub last: Option<String>,
    /// Addresses it sent from.
    pub sources: Vec<SourceDocument>,
}

/// A series of messages.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct CadenceDocument {
    /// Interval that the messages declare.
    pub declared_s: Option<f64>,
    /// Median interval measured.
    pub median_s: Option<f64>,
    /// Messages seen.
    pub count: u64,
    /// Messages that `sequenceId` says were sent between those.
    pub missed: u64,
}

/// An address pair.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SourceDocument {
    /// Source MAC address.
    pub mac: Option<String>,
    /// Source IP address.
    pub ip: Option<String>,
}

/// Requests of a domain.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct AnswersDocument {
    /// Ports that asked.
    pub requesters: u64,
    /// Requests seen with their answer.
    pub answered: u64,
    /// Requests without an answer within 2 s, the capture's last 2 s left out.
    pub unanswered: u64,
    /// Time from request to answer as captured.
    pub response_time_ns: Option<SpreadDocument>,
}

/// A port that asked for delay, or was answered.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RequesterDocument {
    /// The port.
    pub port: String,
    /// `delay_req` or `pdelay_req`.
    pub mechanism: &'static str,
    /// Requests seen.
    pub seen: u64,
    /// Of those, to a group address.
    pub multicast: u64,
    /// Requests seen with their answer.
    pub answered: u64,
    /// Requests without an answer within 2 s, the capture's last 2 s left out.
    pub unanswered: u64,
    /// Time from request to answer as captured.
    pub response_time_ns: Option<SpreadDocument>,
    /// The least mean interval that the leader asks for (`logMessageInterval` of Delay_Resp).
    pub asked_for_s: Option<f64>,
    /// The median interval between its requests.
    pub median_s: Option<f64>,
}

/// SMPTE ST 2059-2 synchronization metadata, the latest.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SynchronizationMetadataDocument {
    /// `defaultSystemFrameRate` as numerator/denominator.
    pub default_system_frame_rate: String,
    /// `masterLockingStatus`: 0 not in use, 1 free run, 2 cold locking, 3 warm locking, 4 locked (from memory).
    pub locking_status: u8,
    /// `currentLocalOffset`.
    pub current_local_offset_s: i32,
    /// `jumpSeconds`.
    pub jump_s: i32,
}

/// Order statistics by nearest rank.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
#[allow(missing_docs, reason = "the fields are the statistics' names")]
pub struct SpreadDocument {
    pub median: i64,
    pub p5: i64,
    pub p95: i64,
    pub min: i64,
    pub max: i64,
    pub count: u64,
}

/// Something odd in the messages of a domain.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct NoteDocument {
    /// What.
    pub text: String,
    /// Messages it was met in.
    pub count: u64,
    /// The first of them.
    pub first: super::FrameReference,
}
