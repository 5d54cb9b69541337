//! The data set comparison of both versions: which of two offers is better, and which field decided.
//!
//! v2: 1588-2008 9.3.4, Figures 27 and 28 (from memory; order checked against an open-source stack).
//! v1: 1588-2002 7.6.4 (clause not opened; order taken from an open-source implementation).

use std::cmp::Ordering;

use super::candidate::Candidate;
use super::candidate::DataSet;
use super::candidate::DataSetV1;
use super::candidate::DataSetV2;
use super::key::PortId;

/// v1 variances no further apart than this count as similar (1588-2002 7.6.4, clause not opened).
const V1_SIMILAR_VARIANCE: u32 = 256;

/// Above this v1 stratum, variance, boundary clock and UUID decide between different grandmasters.
const V1_REFERENCE_STRATUM: u8 = 2;

/// Which of the two is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The first.
    First,
    /// The second.
    Second,
    /// The first, as the shorter or lower-numbered way to the same grandmaster.
    FirstByTopology,
    /// The second, likewise.
    SecondByTopology,
    /// Neither: the receiver hears its own message (the standard's error-1).
    OwnMessage,
    /// Neither: the same message twice (the standard's error-2).
    SameMessage,
    /// v1: the first is the newer of two messages of one source.
    FirstNewer,
    /// v1: the second is the newer.
    SecondNewer,
}

impl Verdict {
    /// The order of the two, better first; equal where neither is.
    #[must_use]
    pub const fn order(self) -> Ordering {
        match self {
            Self::First | Self::FirstByTopology | Self::FirstNewer => Ordering::Less,
            Self::Second | Self::SecondByTopology | Self::SecondNewer => Ordering::Greater,
            Self::OwnMessage | Self::SameMessage => Ordering::Equal,
        }
    }
}

/// The field that decided, with the report's names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DecidedBy {
    /// There was nothing to compare with.
    OnlyCandidate,
    /// v1 `grandmasterPreferred`.
    Preferred,
    /// v1 `grandmasterClockStratum`.
    Stratum,
    /// v1 `grandmasterClockIdentifier`, by rank.
    Identifier,
    /// v2 `grandmasterPriority1`.
    Priority1,
    /// v2 `clockClass`.
    ClockClass,
    /// v2 `clockAccuracy`.
    ClockAccuracy,
    /// v2 `offsetScaledLogVariance`, v1 `grandmasterClockVariance`.
    Variance,
    /// v1 `grandmasterIsBoundaryClock`.
    BoundaryClock,
    /// v2 `grandmasterPriority2`.
    Priority2,
    /// v2 `grandmasterIdentity`, v1 `grandmasterClockUuid`.
    Identity,
    /// `stepsRemoved`.
    StepsRemoved,
    /// The sender's port identity.
    Sender,
    /// The receiver's port number.
    ReceiverPort,
    /// v1 `grandmasterSequenceId` or `sequenceId`.
    Sequence,
}

impl DecidedBy {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::OnlyCandidate => "only-candidate",
            Self::Preferred => "preferred",
            Self::Stratum => "stratum",
            Self::Identifier => "identifier",
            Self::Priority1 => "priority1",
            Self::ClockClass => "clock_class",
            Self::ClockAccuracy => "clock_accuracy",
            Self::Variance => "variance",
            Self::BoundaryClock => "boundary_clock",
            Self::Priority2 => "priority2",
            Self::Identity => "identity",
            Self::StepsRemoved => "steps_removed",
            Self::Sender => "sender",
            Self::ReceiverPort => "receiver_port",
            Self::Sequence => "sequence",
        }
    }
}

/// A comparison's outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Comparison {
    /// Which is better.
    pub verdict: Verdict,
    /// What decided.
    pub decided_by: DecidedBy,
}

/// Where each of the two was received. A capture point is no clock, so it passes `None` and the comparison
/// then ends at the sender's identity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Receiver {
    /// The port that received the first.
    pub first: PortId,
    /// The port that received the second.
    pub second: PortId,
}

/// Compares two offers of one domain.
#[must_use]
pub fn compare(first: &Candidate, second: &Candidate, receiver: Option<Receiver>) -> Comparison {
    match (first.data, second.data) {
        (DataSet::V2(a), DataSet::V2(b)) => {
            if first.grandmaster == second.grandmaster {
                same_grandmaster(first, second, receiver)
            } else {
                different_grandmasters(first, second, a, b)
            }
        }
        (DataSet::V1(a), DataSet::V1(b)) => compare_v1(first, second, a, b, receiver),
        // One domain key holds one version, so this is unreachable; an order keeps it harmless.
        _ => by(first.sender.cmp(&second.sender), DecidedBy::Sender),
    }
}

fn by(order: Ordering, decided_by: DecidedBy) -> Comparison {
    let verdict = match order {
        Ordering::Less => Verdict::First,
        Ordering::Greater => Verdict::Second,
        Ordering::Equal => Verdict::SameMessage,
    };
    Comparison { verdict, decided_by }
}

fn by_topology(order: Ordering, decided_by: DecidedBy) -> Comparison {
    let verdict = match order {
        Ordering::Less => Verdict::FirstByTopology,
        Ordering::Greater => Verdict::SecondByTopology,
        Ordering::Equal => Verdict::SameMessage,
    };
    Comparison { verdict, decided_by }
}

fn first_difference(steps: &[(Ordering, DecidedBy)]) -> Option<Comparison> {
    steps.iter().find(|(order, _)| order.is_ne()).map(|(order, field)| by(*order, *field))
}

fn different_grandmasters(first: &Candidate, second: &Candidate, a: DataSetV2, b: DataSetV2) -> Comparison {
    let steps = [
        (a.priority1.cmp(&b.priority1), DecidedBy::Priority1),
        (a.clock_class.cmp(&b.clock_class), DecidedBy::ClockClass),
        (a.clock_accuracy.cmp(&b.clock_accuracy), DecidedBy::ClockAccuracy),
        (a.variance.cmp(&b.variance), DecidedBy::Variance),
        (a.priority2.cmp(&b.priority2), DecidedBy::Priority2),
    ];
    first_difference(&steps)
        .unwrap_or_else(|| by(first.grandmaster.cmp(&second.grandmaster), DecidedBy::Identity))
}

fn same_grandmaster(first: &Candidate, second: &Candidate, receiver: Option<Receiver>) -> Comparison {
    let (a, b) = (first.steps_removed, second.steps_removed);
    if a.abs_diff(b) >= 2 {
        return by(a.cmp(&b), DecidedBy::StepsRemoved);
    }
    let Some(receiver) = receiver else {
        return by_topology(a.cmp(&b), DecidedBy::StepsRemoved).or_by_sender(first, second);
    };
    match a.cmp(&b) {
        Ordering::Less => {
            nearer_by_one(receiver.second, second.sender, Verdict::First, Verdict::FirstByTopology)
        }
        Ordering::Greater => {
            nearer_by_one(receiver.first, first.sender, Verdict::Second, Verdict::SecondByTopology)
        }
        Ordering::Equal if first.sender != second.sender => {
            by_topology(first.sender.cmp(&second.sender), DecidedBy::Sender)
        }
        Ordering::Equal => {
            by_topology(receiver.first.port.cmp(&receiver.second.port), DecidedBy::ReceiverPort)
        }
    }
}

/// One step apart: the nearer wins; the farther offer's receiver and sender say whether outright.
fn nearer_by_one(receiver: PortId, sender: PortId, outright: Verdict, topology: Verdict) -> Comparison {
    let verdict = match receiver.cmp(&sender) {
        Ordering::Less => outright,
        Ordering::Greater => topology,
        Ordering::Equal => Verdict::OwnMessage,
    };
    Comparison { verdict, decided_by: DecidedBy::StepsRemoved }
}

impl Comparison {
    fn or_by_sender(self, first: &Candidate, second: &Candidate) -> Self {
        if self.verdict == Verdict::SameMessage {
            by_topology(first.sender.cmp(&second.sender), DecidedBy::Sender)
        } else {
            self
        }
    }
}

fn compare_v1(
    first: &Candidate,
    second: &Candidate,
    a: DataSetV1,
    b: DataSetV1,
    receiver: Option<Receiver>,
) -> Comparison {
    let same = first.grandmaster == second.grandmaster && a.grandmaster_port == b.grandmaster_port;
    if !same {
        let steps = [
            (b.preferred.cmp(&a.preferred), DecidedBy::Preferred),
            (a.stratum.cmp(&b.stratum), DecidedBy::Stratum),
            (rank(a.identifier).cmp(&rank(b.identifier)), DecidedBy::Identifier),
        ];
        if let Some(decided) = first_difference(&steps) {
            return decided;
        }
        if a.stratum > V1_REFERENCE_STRATUM {
            let far = i32::from(a.variance).abs_diff(i32::from(b.variance)) > V1_SIMILAR_VARIANCE;
            let variance = if far { a.variance.cmp(&b.variance) } else { Ordering::Equal };
            let steps = [
                (variance, DecidedBy::Variance),
                (b.is_boundary_clock.cmp(&a.is_boundary_clock), DecidedBy::BoundaryClock),
                (first.grandmaster.cmp(&second.grandmaster), DecidedBy::Identity),
            ];
            if let Some(decided) = first_difference(&steps) {
                return decided;
            }
        }
    }
    same_grandmaster_v1(first, second, a, b, receiver)
}

fn same_grandmaster_v1(
    first: &Candidate,
    second: &Candidate,
    a: DataSetV1,
    b: DataSetV1,
    receiver: Option<Receiver>,
) -> Comparison {
    let (near, far) = (first.steps_removed, second.steps_removed);
    if near.abs_diff(far) >= 2 {
        return by(near.cmp(&far), DecidedBy::StepsRemoved);
    }
    if near != far {
        let Some(receiver) = receiver else {
            return by_topology(near.cmp(&far), DecidedBy::StepsRemoved);
        };
        return if near < far {
            nearer_by_one(receiver.second, second.sender, Verdict::First, Verdict::FirstByTopology)
        } else {
            nearer_by_one(receiver.first, first.sender, Verdict::Second, Verdict::SecondByTopology)
        };
    }
    if first.sender != second.sender {
        return by_topology(first.sender.cmp(&second.sender), DecidedBy::Sender);
    }
    let newer =
        newer(a.grandmaster_sequence_id, b.grandmaster_sequence_id).then(newer(a.sequence_id, b.sequence_id));
    let verdict = match newer {
        Ordering::Less => Verdict::FirstNewer,
        Ordering::Greater => Verdict::SecondNewer,
        Ordering::Equal => Verdict::SameMessage,
    };
    Comparison { verdict, decided_by: DecidedBy::Sequence }
}

/// `Less` where `a` is the newer of two 16-bit sequence numbers that wrap.
fn newer(a: u16, b: u16) -> Ordering {
    match a.wrapping_sub(b) {
        0 => Ordering::Equal,
        1..=0x7FFF => Ordering::Less,
        _ => Ordering::Greater,
    }
}

/// Rank of a v1 clock identifier, lower is better (order from an open-source implementation).
fn rank(identifier: [u8; 4]) -> u8 {
    match &identifier {
        b"ATOM" | b"GPS\0" => 1,
        b"NTP\0" => 2,
        b"HAND" => 3,
        b"INIT" => 4,
        b"DFLT" => 5,
        _ => 6,
    }
}
