//! The JSON report's shape, `downbeat.report/1`. Absent knowledge is `null`, never 0.

mod capture;
mod device;
mod domain;
mod event;
mod fit;
mod multicast;
mod path;
mod stream;
mod viewpoint;

pub use capture::{CaptureDocument, DamageDocument, ProblemDocument};
pub use device::{DeviceDocument, StateName, StrengthName};
pub use domain::{
    AnswersDocument, CadenceDocument, ClockDocument, DomainDocument, MessageCounts, NoteDocument,
    RequesterDocument, SourceDocument, SpreadDocument, SynchronizationMetadataDocument, TenureDocument,
};
pub use event::{
    EventDocument, EvidenceDocument, FindingDocument, FrameReference, NotJudgedDocument, SeverityName,
    VerdictName,
};
pub use fit::{FIT_SCHEMA, FitDocument, PlannedDocument};
pub use multicast::{
    MemberDocument, MembershipDocument, MulticastDocument, QuerierDocument, SharedMacDocument,
};
pub use stream::{
    AvtpDocument, HoleDocument, IntervalDocument, LinkDocument, LoadDocument, RtpDocument, SessionDocument,
    StreamDocument, TwinDocument,
};
pub use viewpoint::{SeatName, SwitchPortDocument, ViewpointDocument};

pub use path::{
    DeviationDocument, DeviceOffsetDocument, PathDocument, PeerDocument, ProfileDocument, StabilityDocument,
    StretchDocument,
};

use schemars::JsonSchema;
use serde::Serialize;

/// The `schema` of this document.
pub const SCHEMA: &str = "downbeat.report/1";

/// A whole report.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(title = "downbeat.report/1", deny_unknown_fields)]
pub struct Document {
    /// Always `downbeat.report/1`.
    pub schema: &'static str,
    /// What wrote it.
    pub tool: Tool,
    /// The files that were read, in time order.
    pub captures: Vec<CaptureDocument>,
    /// Files that could not be read.
    pub unreadable: Vec<UnreadableDocument>,
    /// Holes between files.
    pub gaps: Vec<GapDocument>,
    /// First and last instant that were looked at.
    pub span: SpanDocument,
    /// The answer in one word.
    pub verdict: VerdictName,
    /// Why, in one sentence.
    pub verdict_because: String,
    /// What to do where nothing could be told.
    pub verdict_next: Vec<&'static str>,
    /// Where the captures were taken.
    pub viewpoint: ViewpointDocument,
    /// The site's domain, and whether it was assumed.
    pub site_domain: SiteDomainDocument,
    /// PTP domains.
    pub domains: Vec<DomainDocument>,
    /// Devices that sent PTP, or were answered.
    pub devices: Vec<DeviceDocument>,
    /// What flows, by key.
    pub streams: Vec<StreamDocument>,
    /// Who sends it.
    pub sources: Vec<LoadDocument>,
    /// Who asks for which groups.
    pub multicast: MulticastDocument,
    /// The link the capture was taken on, all its frames.
    pub link: LinkDocument,
    /// What happened, in time order.
    pub events: Vec<EventDocument>,
    /// What is wrong, the gravest first.
    pub findings: Vec<FindingDocument>,
    /// Rules that this capture could not decide.
    pub not_judged: Vec<NotJudgedDocument>,
    /// What to keep in mind before acting on this.
    pub caution: &'static str,
}

/// Something the report's contract names and this version does not work out; always `null`.
#[derive(Debug, Clone, Copy, Default, Serialize, JsonSchema)]
pub struct Absent;

/// What wrote the report.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Tool {
    /// `downbeat`.
    pub name: &'static str,
    /// Its version.
    pub version: &'static str,
}

/// A file that could not be read.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct UnreadableDocument {
    /// As it was named.
    pub file: String,
    /// Why.
    pub text: String,
}

/// A hole between files.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct GapDocument {
    /// The file before it.
    pub after_file: String,
    /// The file after it.
    pub before_file: String,
    /// Latest stamp before it, RFC 3339.
    pub from: String,
    /// First stamp after it, RFC 3339.
    pub until: String,
    /// Its length.
    pub duration_s: f64,
}

/// What was looked at.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SpanDocument {
    /// First frame, RFC 3339 of the capture's clock.
    pub first: Option<String>,
    /// Latest frame.
    pub last: Option<String>,
    /// From the one to the other.
    pub duration_s: Option<f64>,
    /// Frames looked at.
    pub frames: u64,
    /// Frames left out by `--from` and `--until`.
    pub frames_outside: u64,
    /// PTP messages decoded, without copies.
    pub ptp_messages: u64,
    /// Frames to PTP's ports, or of its Ethertype, of which the capture kept too little to read the message.
    pub ptp_frames_cut: u64,
    /// Octets of each frame that would have let every one be read; `null` where none was cut.
    pub ptp_octets_wanted: Option<u64>,
    /// PTP frames captured twice by a mirror and counted once.
    pub mirror_copies: u64,
    /// Whether reading was stopped by hand before the files' ends: all else is of the frames before that.
    pub partial: bool,
    /// What found no room, summed up; `null` where everything was kept.
    pub left_out: Option<LeftOutDocument>,
}

/// What found no room. Those heard least often and longest ago go first; one that came again counts again.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct LeftOutDocument {
    /// PTP domains.
    pub domains: u64,
    /// Clock ports.
    pub ports: u64,
    /// PTP messages that those ports had sent.
    pub ptp_messages: u64,
    /// Ports that asked for delay, or were answered.
    pub requesters: u64,
    /// Announces of ports beyond those that an election follows.
    pub announces: u64,
    /// Events of domains, ended leads and rivalries.
    pub events: u64,
    /// Flows.
    pub flows: u64,
    /// Queriers, members of groups, and their events.
    pub memberships: u64,
    /// Names and addresses.
    pub names: u64,
}

/// The site's domain.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SiteDomainDocument {
    /// What the site file calls the site.
    pub site: Option<String>,
    /// Its keys; several where it is seen on several VLANs.
    pub keys: Vec<String>,
    /// Whether it was assumed, as the one that most devices follow in.
    pub assumed: bool,
}
