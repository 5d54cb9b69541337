//! What a domain shows of the things that profiles lay down.

use std::collections::BTreeSet;

use super::row::Field;
use super::row::Interval;
use crate::domains::Cadence;
use crate::domains::ClockPort;
use crate::domains::DataSet;
use crate::domains::Domain;
use crate::domains::Grant;
use crate::domains::Kind;
use crate::domains::Marks;
use crate::domains::Mechanism;
use crate::domains::TlvKind;
use crate::ptp::v2::MessageType;
use crate::tables::Few;
use crate::units::Nanos;

/// Gaps needed before a median is taken for the interval (chosen).
const LEAST_GAPS: u64 = 8;

/// Of the messages of one kind, those of the rarer way of addressing that are let pass as strays (chosen), in percent.
const STRAY_PERCENT: u64 = 5;

/// Intervals of one kind: what senders declare and what was measured.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Intervals {
    /// Declared, log2 s.
    pub(super) declared: BTreeSet<i8>,
    /// Smallest and largest median of the senders.
    pub(super) measured: Option<(Nanos, Nanos)>,
}

/// How messages of a kind are addressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Casting {
    Multicast,
    Unicast,
    Mixed,
}

/// Reads facts from a domain.
#[derive(Debug, Clone)]
pub(super) struct Facts<'a> {
    pub(super) domain: &'a Domain,
    announce: Intervals,
    sync: Intervals,
    delay_req: Intervals,
    pdelay_req: Intervals,
}

impl<'a> Facts<'a> {
    /// Intervals are worked out once: every profile asks for them, and medians are dear.
    pub(super) fn new(domain: &'a Domain) -> Self {
        let grants = grants(domain);
        Self {
            domain,
            announce: intervals(domain, Interval::Announce, &grants),
            sync: intervals(domain, Interval::Sync, &grants),
            delay_req: intervals(domain, Interval::DelayReq, &grants),
            pdelay_req: intervals(domain, Interval::PdelayReq, &grants),
        }
    }

    /// Intervals of one kind over all senders.
    pub(super) const fn intervals(&self, of: Interval) -> &Intervals {
        match of {
            Interval::Announce => &self.announce,
            Interval::Sync => &self.sync,
            Interval::DelayReq => &self.delay_req,
            Interval::PdelayReq => &self.pdelay_req,
        }
    }

    fn marks(&self) -> impl Iterator<Item = (Kind, &'a Marks)> {
        marks(self.domain)
    }

    fn marks_of(&self, kind: Kind) -> impl Iterator<Item = &'a Marks> {
        self.marks().filter(move |(other, _)| *other == kind).map(|(_, marks)| marks)
    }

    /// Ways of asking for delay that were used.
    pub(super) fn mechanisms(&self) -> BTreeSet<Mechanism> {
        let used = self
            .domain
            .requesters
            .iter()
            .filter(|(_, asked)| asked.seen() > 0 || asked.unseen_requests() > 0);
        used.map(|((_, mechanism), _)| *mechanism).collect()
    }

    /// How messages of `kind` are addressed; `None` where none was seen.
    pub(super) fn casting(&self, kind: Kind) -> Option<Casting> {
        let (mut multicast, mut unicast) = (0_u64, 0_u64);
        for marks in self.marks_of(kind) {
            multicast += marks.multicast;
            unicast += marks.unicast;
        }
        let all = multicast + unicast;
        let is_stray = |count: u64| count.saturating_mul(100) <= all.saturating_mul(STRAY_PERCENT);
        match () {
            () if all == 0 => None,
            () if is_stray(unicast) => Some(Casting::Multicast),
            () if is_stray(multicast) => Some(Casting::Unicast),
            () => Some(Casting::Mixed),
        }
    }

    /// Values of a field in the offers that clocks made.
    pub(super) fn announced(&self, field: Field) -> BTreeSet<u8> {
        let offers = self.domain.ports.values().filter_map(|port| port.offer);
        offers
            .filter_map(|offer| match (offer.data, field) {
                (DataSet::V2(data), Field::Priority1) => Some(data.priority1),
                (DataSet::V2(data), Field::Priority2) => Some(data.priority2),
                (DataSet::V2(data), Field::ClockClass) => Some(data.clock_class),
                (DataSet::V1(data), Field::Stratum) => Some(data.stratum),
                (DataSet::V1(_) | DataSet::V2(_), _) => None,
            })
            .collect()
    }

    /// Messages of `kind` that were read whole, and those of them with any of `tlvs`.
    pub(super) fn carrying(&self, kind: Kind, tlvs: &[TlvKind]) -> (u64, u64) {
        let (mut whole, mut with) = (0_u64, 0_u64);
        for marks in self.marks_of(kind) {
            whole += marks.whole;
            // A message with two of them counts twice, so not more than all.
            let any: u64 = tlvs.iter().filter_map(|tlv| marks.tlvs.get(tlv)).sum();
            with += any.min(marks.whole);
        }
        (whole, with)
    }

    /// Grants of unicast transmission.
    pub(super) fn grants(&self) -> BTreeSet<Grant> {
        grants(self.domain)
    }

    /// `profileIdentity` values told.
    pub(super) fn profile_identities(&self) -> BTreeSet<[u8; 6]> {
        self.marks().flat_map(|(_, marks)| marks.profile_identities.iter().copied()).collect()
    }

    /// Values of a mark over messages of `kinds`, all kinds where that is empty.
    pub(super) fn marked<T: Ord + Copy>(
        &self,
        kinds: &[Kind],
        mark: impl Fn(&Marks) -> &Few<T>,
    ) -> BTreeSet<T> {
        let mut marked = BTreeSet::new();
        for (_, marks) in self.marks().filter(|(kind, _)| kinds.is_empty() || kinds.contains(kind)) {
            marked.extend(mark(marks).keys().copied());
        }
        marked
    }

    /// Step modes of Sync senders.
    pub(super) fn two_step(&self) -> BTreeSet<bool> {
        self.domain.ports.values().filter_map(|port| port.two_step).collect()
    }

    /// From the first message to the latest.
    pub(super) fn length(&self) -> Option<Nanos> {
        Some(self.domain.last.time?.since(self.domain.first.time?))
    }
}

fn marks(domain: &Domain) -> impl Iterator<Item = (Kind, &Marks)> {
    domain.ports.values().flat_map(|port| port.marks.iter().map(|(kind, marks)| (*kind, marks)))
}

fn grants(domain: &Domain) -> BTreeSet<Grant> {
    marks(domain).flat_map(|(_, marks)| marks.grants.iter().copied()).collect()
}

fn intervals(domain: &Domain, of: Interval, grants: &BTreeSet<Grant>) -> Intervals {
    let mut intervals = Intervals::default();
    for port in domain.ports.values() {
        let declared = port.series(declaring(of)).and_then(Cadence::declared);
        intervals.declared.extend(declared.map(|interval| interval.0));
        let median = measured(port, of);
        intervals.measured = match (intervals.measured, median) {
            (Some((low, high)), Some(median)) => Some((low.min(median), high.max(median))),
            (before, median) => before.or(median.map(|median| (median, median))),
        };
    }
    let granted = grants.iter().filter(|grant| granted_kind(of) == Some(grant.message_type));
    intervals.declared.extend(granted.map(|grant| grant.log_inter_message_period.0));
    intervals
}

/// The kind whose `logMessageInterval` declares the interval (1588-2008 Table 24, from memory).
const fn declaring(of: Interval) -> Kind {
    match of {
        Interval::Announce => Kind::Announce,
        Interval::Sync => Kind::Sync,
        Interval::DelayReq => Kind::DelayResp,
        Interval::PdelayReq => Kind::PdelayReq,
    }
}

/// The message type whose unicast grant sets the interval.
const fn granted_kind(of: Interval) -> Option<MessageType> {
    match of {
        Interval::Announce => Some(MessageType::Announce),
        Interval::Sync => Some(MessageType::Sync),
        Interval::DelayReq => Some(MessageType::DelayResp),
        Interval::PdelayReq => None,
    }
}

fn measured(port: &ClockPort, of: Interval) -> Option<Nanos> {
    let kind = match of {
        Interval::Announce => Kind::Announce,
        Interval::Sync => Kind::Sync,
        Interval::DelayReq => Kind::DelayReq,
        Interval::PdelayReq => Kind::PdelayReq,
    };
    // Unicast to several receivers is one series here, so its gaps are not the interval. Requests go to one receiver.
    let is_one_way_out = matches!(of, Interval::DelayReq | Interval::PdelayReq)
        || port.marks.get(&kind).is_some_and(|marks| marks.unicast == 0);
    let gaps = port.series(kind)?.gaps();
    // Nor are the gaps between the messages of two senders under one identity.
    (is_one_way_out && port.twins.two().is_none() && gaps.count() >= LEAST_GAPS)
        .then(|| gaps.median())
        .flatten()
}
