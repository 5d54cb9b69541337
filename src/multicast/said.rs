//! IGMP and MLD in common words.

use std::net::IpAddr;

use crate::igmp;
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
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Word {
    pub(super) group: IpAddr,
    pub(super) sense: Sense,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sense {
    /// A member; whether new is not said.
    Member,
    /// A member since now.
    Joins,
    Leaves,
    /// A change among sources that does not say whether any is left.
    Unclear,
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

fn one(version: Version, group: impl Into<IpAddr>, sense: Sense) -> Said {
    Said::Report(version, vec![Word { group: group.into(), sense }])
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
        igmp::Body::ReportV1 { group } => one(Version::Igmp1, *group, Sense::Member),
        igmp::Body::ReportV2 { group } => one(Version::Igmp2, *group, Sense::Member),
        igmp::Body::Leave { group } => one(Version::Igmp2, *group, Sense::Leaves),
        igmp::Body::ReportV3 { records } => {
            let word = |record: &igmp::GroupRecord| {
                let changes = matches!(
                    record.record_type,
                    igmp::RecordType::ChangeToIncludeMode
                        | igmp::RecordType::ChangeToExcludeMode
                        | igmp::RecordType::AllowNewSources
                );
                Word { group: record.group.into(), sense: sense(record.wants(), changes) }
            };
            Said::Report(Version::Igmp3, records.iter().map(word).collect())
        }
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
        mld::Body::ReportV1 { group } => one(Version::Mld1, *group, Sense::Member),
        mld::Body::Done { group } => one(Version::Mld1, *group, Sense::Leaves),
        mld::Body::ReportV2 { records } => {
            let word = |record: &mld::AddressRecord| {
                let changes = matches!(
                    record.record_type,
                    mld::RecordType::ChangeToIncludeMode
                        | mld::RecordType::ChangeToExcludeMode
                        | mld::RecordType::AllowNewSources
                );
                Word { group: record.group.into(), sense: sense(record.wants(), changes) }
            };
            Said::Report(Version::Mld2, records.iter().map(word).collect())
        }
    }
}

const fn sense(wants: Option<bool>, changes: bool) -> Sense {
    match (wants, changes) {
        (Some(true), true) => Sense::Joins,
        (Some(true), false) => Sense::Member,
        (Some(false), _) => Sense::Leaves,
        (None, _) => Sense::Unclear,
    }
}
