//! Domains for the document.

use super::frame_reference;
use crate::analysis::Analysis;
use crate::domains::Cadence;
use crate::domains::ClockPort;
use crate::domains::DataSet;
use crate::domains::Domain;
use crate::domains::DomainName;
use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::domains::PortId;
use crate::domains::Requester;
use crate::domains::Standing;
use crate::domains::Tenure;
use crate::ptp::v1;
use crate::ptp::v2::tlv::SynchronizationMetadata;
use crate::report::document::AnswersDocument;
use crate::report::document::CadenceDocument;
use crate::report::document::ClockDocument;
use crate::report::document::DomainDocument;
use crate::report::document::MessageCounts;
use crate::report::document::NoteDocument;
use crate::report::document::RequesterDocument;
use crate::report::document::SourceDocument;
use crate::report::document::SpreadDocument;
use crate::report::document::SynchronizationMetadataDocument;
use crate::report::document::TenureDocument;
use crate::report::format::rfc3339;
use crate::report::format::seconds;
use crate::statistics::Summary;
use crate::units::CaptureTime;
use crate::units::LogInterval;

pub(super) fn document(analysis: &Analysis, domain: &Domain) -> DomainDocument {
    let end = analysis.end.unwrap_or(CaptureTime(i64::MAX));
    let standing = Standing::at_end(domain);
    let leader = domain.election.leader();
    DomainDocument {
        key: domain.key.to_string(),
        ptp_version: version(domain),
        domain: match domain.key.name {
            DomainName::Number { number, .. } => number.into(),
            DomainName::Subdomain(octets) => v1::subdomain_text(&octets).into(),
        },
        sdo_id: match domain.key.name {
            DomainName::Number { sdo_id, .. } => Some(sdo_id),
            DomainName::Subdomain(_) => None,
        },
        transports: domain.transports.iter().map(|transport| transport.name()).collect(),
        vlan: domain.key.vlan,
        messages: messages(domain),
        leader: leader.map(|leader| leader.to_string()),
        tenures: domain.election.tenures().map(|tenure| tenure_document(analysis, tenure, end)).collect(),
        rightful: standing.rightful().map(|clock| clock.to_string()),
        decided_by: standing.decided_by().map(crate::domains::DecidedBy::name),
        succession: standing.succession(leader).map(|clock| clock.to_string()).collect(),
        clocks: domain.ports.values().map(|port| clock(analysis, port)).collect(),
        answers: answers(domain),
        requesters: domain
            .requesters
            .iter()
            .map(|(key, requester)| self::requester(domain, *key, requester))
            .collect(),
        peers: analysis.clocks.peers(&domain.key).iter().map(super::path::peer).collect(),
        notes: domain
            .notes
            .iter()
            .map(|(note, (count, place))| NoteDocument {
                text: note.to_string(),
                count: *count,
                first: frame_reference(analysis, *place),
            })
            .collect(),
        path: analysis.clocks.path(&domain.key).map(|path| super::path::path(analysis, path)),
        profiles: super::path::profiles(analysis.profiles_of(&domain.key)),
    }
}

fn version(domain: &Domain) -> &'static str {
    let newest = domain.ports.values().flat_map(|port| &port.minor_versions).max();
    match (domain.key.is_v1(), newest) {
        (true, _) => "1",
        (false, Some(minor)) if *minor > 0 => "2.1",
        (false, _) => "2.0",
    }
}

fn messages(domain: &Domain) -> MessageCounts {
    MessageCounts {
        sync: domain.count(Kind::Sync),
        follow_up: domain.count(Kind::FollowUp),
        delay_req: domain.count(Kind::DelayReq),
        delay_resp: domain.count(Kind::DelayResp),
        pdelay_req: domain.count(Kind::PdelayReq),
        pdelay_resp: domain.count(Kind::PdelayResp),
        pdelay_resp_follow_up: domain.count(Kind::PdelayRespFollowUp),
        announce: domain.count(Kind::Announce),
        signaling: domain.count(Kind::Signaling),
        management: domain.count(Kind::Management),
        reserved: domain.count(Kind::Reserved),
    }
}

fn tenure_document(analysis: &Analysis, tenure: &Tenure, end: CaptureTime) -> TenureDocument {
    let until = tenure.until.unwrap_or(end);
    TenureDocument {
        clock: tenure.clock.to_string(),
        from: rfc3339(tenure.from),
        until: rfc3339(until),
        from_at_s: seconds(analysis.since_origin(tenure.from)),
        until_at_s: seconds(analysis.since_origin(until)),
        ended_by: tenure.ended_by.name(),
        sync_went_on: tenure.sync_went_on,
        won_on: tenure.won_on.name(),
        won_against: tenure.won_against.map(|clock| clock.to_string()),
    }
}

fn clock(analysis: &Analysis, port: &ClockPort) -> ClockDocument {
    let offer = port.offer;
    let two = offer.and_then(|offer| match offer.data {
        DataSet::V2(data) => Some(data),
        DataSet::V1(_) => None,
    });
    let one = offer.and_then(|offer| match offer.data {
        DataSet::V1(data) => Some(data),
        DataSet::V2(_) => None,
    });
    let properties = port.time_properties;
    // What two senders under one identity send has no interval.
    let is_one_sender = port.twins.two().is_none();
    let series = |kind| port.series(kind).map(|series| cadence(series, is_one_sender));
    ClockDocument {
        clock: port.port.clock.to_string(),
        port: port.port.port,
        grandmaster: offer.map(|offer| offer.grandmaster.to_string()),
        steps_removed: offer.map(|offer| offer.steps_removed),
        priority1: two.map(|data| data.priority1),
        priority2: two.map(|data| data.priority2),
        clock_class: two.map(|data| data.clock_class),
        clock_accuracy: two.map(|data| data.clock_accuracy),
        variance: two.map(|data| i32::from(data.variance)).or(one.map(|data| i32::from(data.variance))),
        preferred: one.map(|data| data.preferred),
        stratum: one.map(|data| data.stratum),
        identifier: one.map(|data| identifier(analysis, &data.identifier)),
        boundary_clock: one.map(|data| data.is_boundary_clock),
        time_source: properties.and_then(|properties| properties.time_source),
        utc_offset_s: properties.map(|properties| properties.current_utc_offset),
        flags: properties
            .and_then(|properties| properties.flags)
            .map(|flags| flags.names().collect())
            .unwrap_or_default(),
        announce: series(Kind::Announce),
        sync: series(Kind::Sync),
        delay_req: series(Kind::DelayReq),
        delay_resp: series(Kind::DelayResp),
        pdelay_req: series(Kind::PdelayReq),
        two_step: port.two_step,
        synchronization_metadata: port.synchronization_metadata.map(metadata),
        first: port.first.time.map(rfc3339),
        last: port.last.time.map(rfc3339),
        sources: port
            .addresses
            .keys()
            .map(|address| SourceDocument {
                mac: address.mac.map(|mac| mac.to_string()),
                ip: address.ip.map(|ip| ip.to_string()),
            })
            .collect(),
    }
}

fn requester(
    domain: &Domain,
    (port, mechanism): (PortId, Mechanism),
    requester: &Requester,
) -> RequesterDocument {
    let (name, kind) = match mechanism {
        Mechanism::EndToEnd => ("delay_req", Kind::DelayReq),
        Mechanism::PeerToPeer => ("pdelay_req", Kind::PdelayReq),
    };
    let series = domain.ports.get(&port).and_then(|port| port.series(kind));
    RequesterDocument {
        port: port.to_string(),
        mechanism: name,
        seen: requester.seen(),
        multicast: requester.multicast(),
        answered: requester.answered(),
        unanswered: requester.unanswered(),
        response_time_ns: requester.response_time().summary().map(spread_document),
        asked_for_s: requester.asked_for().and_then(LogInterval::nanos).map(seconds),
        median_s: series.and_then(|series| series.gaps().median()).map(seconds),
    }
}

fn metadata(metadata: SynchronizationMetadata) -> SynchronizationMetadataDocument {
    SynchronizationMetadataDocument {
        default_system_frame_rate: format!(
            "{}/{}",
            metadata.default_system_frame_rate_numerator, metadata.default_system_frame_rate_denominator
        ),
        locking_status: metadata.master_locking_status,
        current_local_offset_s: metadata.current_local_offset_s,
        jump_s: metadata.jump_seconds,
    }
}

fn cadence(cadence: &Cadence, is_one_sender: bool) -> CadenceDocument {
    CadenceDocument {
        declared_s: cadence.declared_interval().map(seconds),
        median_s: cadence.gaps().median().filter(|_| is_one_sender).map(seconds),
        count: cadence.count(),
        missed: cadence.missed(),
    }
}

fn answers(domain: &Domain) -> AnswersDocument {
    let total = |of: fn(&Requester) -> u64| domain.requesters.values().map(of).sum();
    AnswersDocument {
        requesters: domain.requesters.values().map(|requester| u64::from(requester.seen() > 0)).sum(),
        answered: total(Requester::answered),
        unanswered: total(Requester::unanswered),
        response_time_ns: domain.response_times().summary().map(spread_document),
    }
}

pub(super) const fn spread_document(summary: Summary) -> SpreadDocument {
    SpreadDocument {
        median: summary.median.0,
        p5: summary.p5.0,
        p95: summary.p95.0,
        min: summary.min.0,
        max: summary.max.0,
        count: summary.count,
    }
}

/// A clock identifier of version 1, which is free text where it is none of the standard's.
fn identifier(analysis: &Analysis, octets: &[u8; 4]) -> String {
    if analysis.settings.pseudonyms.is_some() && v1::clock_identifier_name(octets).is_none() {
        return "other".to_owned();
    }
    v1::clock_identifier_text(octets)
}
