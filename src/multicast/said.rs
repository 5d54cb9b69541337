//! IGMP and MLD in common words.

use std::net::IpAddr;

use super::sources::Change;
use crate::igmp;
use crate::membership::Record;
use crate::membership::RecordType;
use crate::mld;
use crate::observations::Observation;
use crate::observations::What;
use crate::units::Nanos;

/// A protocol and its version.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Version {
    /// RFC 1112 appendix I.
    Igmp1,
    /// RFC 2236.
    Igmp2,
    /// RFC 3376.
    Igmp3,
    /// RFC 2710.
    Mld1,
    /// RFC 3810.
    Mld2,
}

impl Version {
    /// The name in reports.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Igmp1 => "IGMPv1",
            Self::Igmp2 => "IGMPv2",
            Self::Igmp3 => "IGMPv3",
            Self::Mld1 => "MLDv1",
            Self::Mld2 => "MLDv2",
        }
    }

    /// Whether a member keeps quiet where another one on its link has answered (RFC 2236 section 3, RFC 2710
    /// section 4; RFC 3376 section 1 has none of it).
    #[must_use]
    pub const fn suppresses(self) -> bool {
        matches!(self, Self::Igmp1 | Self::Igmp2 | Self::Mld1)
    }
}

/// A query.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Question {
    pub(super) version: Version,
    /// Whether all groups are asked for.
    pub(super) is_general: bool,
    /// The group whose members are to answer or to be forgotten: one is asked for, from whatever source, and routers are
    /// not told to keep their timers (RFC 3376 section 6.6.1, from memory).
    pub(super) pressed: Option<IpAddr>,
    pub(super) max_response: Nanos,
    /// The interval that the querier declares; 0 counts as not told.
    pub(super) interval: Option<Nanos>,
    /// The robustness variable that it declares; 0 = not told.
    pub(super) robustness: Option<i64>,
}

/// What a host says of one group.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Word {
    pub(super) group: IpAddr,
    pub(super) change: Change,
    /// Whether it says that this is new.
    pub(super) is_new: bool,
}

pub(super) enum Said {
    Query(Question),
    Report(Version, Vec<Word>),
}

/// What an observation says, and whether of IPv6 groups.
pub(super) fn of(observation: &Observation) -> Option<(bool, Said)> {
    match &observation.what {
        What::Igmp(message) => Some((false, igmp(message)?)),
        What::Mld(message) => Some((true, mld(message))),
        _ => None,
    }
}

/// What version 1 or 2 says: all sources or none.
fn one(version: Version, group: impl Into<IpAddr>, is_member: bool) -> Said {
    let change = if is_member { Change::AllBut(Vec::new()) } else { Change::Only(Vec::new()) };
    Said::Report(version, vec![Word { group: group.into(), change, is_new: !is_member }])
}

fn words<A: Copy + Into<IpAddr>>(records: &[Record<A>]) -> Vec<Word> {
    let word = |record: &Record<A>| {
        let sources = record.sources.iter().map(|source| (*source).into()).collect();
        word(record.record_type, record.group.into(), sources)
    };
    records.iter().map(word).collect()
}

fn word(record_type: RecordType, group: IpAddr, sources: Vec<IpAddr>) -> Word {
    let (change, is_new) = match record_type {
        RecordType::ModeIsInclude => (Change::Only(sources), false),
        RecordType::ModeIsExclude => (Change::AllBut(sources), false),
        RecordType::ChangeToIncludeMode => (Change::Only(sources), true),
        RecordType::ChangeToExcludeMode => (Change::AllBut(sources), true),
        RecordType::AllowNewSources => (Change::Allow(sources), true),
        RecordType::BlockOldSources => (Change::Block(sources), true),
        RecordType::Unknown(_) => (Change::Unknown, false),
    };
    Word { group, change, is_new }
}

fn igmp(message: &igmp::Message) -> Option<Said> {
    Some(match &message.body {
        igmp::Body::Query(query) => Said::Query(Question {
            version: match query.version {
                1 => Version::Igmp1,
                2 => Version::Igmp2,
                _ => Version::Igmp3,
            },
            is_general: query.group.is_none(),
            pressed: query
                .group
                .filter(|_| {
                    query.v3.as_ref().is_none_or(|v3| v3.sources.is_empty() && !v3.suppress_router_processing)
                })
                .map(IpAddr::from),
            max_response: query.max_response_time(),
            interval: query.query_interval().filter(|interval| interval.0 > 0),
            robustness: query.v3.as_ref().map(|v3| i64::from(v3.qrv)).filter(|qrv| *qrv > 0),
        }),
        igmp::Body::ReportV1 { group } => one(Version::Igmp1, *group, true),
        igmp::Body::ReportV2 { group } => one(Version::Igmp2, *group, true),
        igmp::Body::Leave { group } => one(Version::Igmp2, *group, false),
        igmp::Body::ReportV3 { records } => Said::Report(Version::Igmp3, words(records)),
        igmp::Body::Other { .. } => return None,
    })
}

fn mld(message: &mld::Message) -> Said {
    match &message.body {
        mld::Body::Query(query) => Said::Query(Question {
            version: if query.version == 1 { Version::Mld1 } else { Version::Mld2 },
            is_general: query.group.is_none(),
            pressed: query
                .group
                .filter(|_| {
                    query.v2.as_ref().is_none_or(|v2| v2.sources.is_empty() && !v2.suppress_router_processing)
                })
                .map(IpAddr::from),
            max_response: query.max_response_time(),
            interval: query.query_interval().filter(|interval| interval.0 > 0),
            robustness: query.v2.as_ref().map(|v2| i64::from(v2.qrv)).filter(|qrv| *qrv > 0),
        }),
        mld::Body::ReportV1 { group } => one(Version::Mld1, *group, true),
        mld::Body::Done { group } => one(Version::Mld1, *group, false),
        mld::Body::ReportV2 { records } => Said::Report(Version::Mld2, words(records)),
    }
}
