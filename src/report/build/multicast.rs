//! `multicast` of the document, and its events in words.

use std::collections::BTreeSet;
use std::net::IpAddr;

use super::event::happened;
use super::frame_reference;
use crate::analysis::Analysis;
use crate::multicast::Event;
use crate::multicast::Happening;
use crate::multicast::Host;
use crate::multicast::Membership;
use crate::multicast::Segment;
use crate::multicast::Sources;
use crate::observations::Place;
use crate::report::document::EventDocument;
use crate::report::document::MemberDocument;
use crate::report::document::MembershipDocument;
use crate::report::document::MulticastDocument;
use crate::report::document::QuerierDocument;
use crate::report::document::SharedMacDocument;
use crate::report::format::seconds;
use crate::units::CaptureTime;

pub(super) fn document(analysis: &Analysis) -> MulticastDocument {
    let segments = || analysis.multicast.segments();
    let group_use = &analysis.group_use;
    MulticastDocument {
        queriers: segments().flat_map(|segment| queriers(analysis, segment)).collect(),
        memberships: segments().flat_map(|segment| memberships(analysis, segment)).collect(),
        unrequested: addresses(&group_use.unrequested),
        unrequested_caveats: group_use.unrequested_caveats.clone(),
        idle: addresses(&group_use.idle),
        reports_of_no_group: analysis.multicast.no_groups,
        no_group: analysis.multicast.no_group.map(|address| address.to_string()),
        shared_macs: group_use
            .shared_macs
            .iter()
            .map(|shared| SharedMacDocument {
                mac: shared.mac.to_string(),
                groups: addresses(&shared.groups),
                reserved_for: shared.reserved.map(crate::multicast::Reserved::name),
            })
            .collect(),
    }
}

fn addresses(of: &BTreeSet<IpAddr>) -> Vec<String> {
    of.iter().map(ToString::to_string).collect()
}

fn at_s(analysis: &Analysis, time: CaptureTime) -> f64 {
    seconds(analysis.since_origin(time))
}

fn place_s(analysis: &Analysis, place: Place) -> Option<f64> {
    place.time.map(|time| at_s(analysis, time))
}

fn queriers(analysis: &Analysis, segment: &Segment) -> impl Iterator<Item = QuerierDocument> {
    segment.queriers.values().map(move |querier| QuerierDocument {
        ip: querier.address.to_string(),
        vlan: segment.key.vlan,
        version: querier.version.name(),
        queries: querier.queries,
        interval_s: querier.interval().map(seconds),
        declared_interval_s: querier.declared_interval.map(seconds),
        last_at_s: place_s(analysis, querier.last),
        patience_s: seconds(querier.patience()),
        silent_since_s: querier.silent_since.map(|time| at_s(analysis, time)),
        elected: segment.elected == Some(querier.address),
    })
}

fn memberships(analysis: &Analysis, segment: &Segment) -> impl Iterator<Item = MembershipDocument> {
    segment.groups.iter().map(move |(group, members)| MembershipDocument {
        group: group.to_string(),
        vlan: segment.key.vlan,
        hosts: members.now().map(|(host, _)| host.to_string()).collect(),
        version: members.now().map(|(_, member)| member.version).min().map(crate::multicast::Version::name),
        members: members.by_host.iter().map(|(host, found)| member(analysis, *host, found)).collect(),
    })
}

fn member(analysis: &Analysis, host: Host, found: &Membership) -> MemberDocument {
    let (only_from, all_but) = match &found.sources {
        Some(Sources::Only(sources)) => (Some(addresses(sources)), Vec::new()),
        Some(Sources::AllBut(sources)) => (None, addresses(sources)),
        None => (None, Vec::new()),
    };
    MemberDocument {
        host: host.to_string(),
        mac: found.mac.map(|mac| mac.to_string()),
        version: found.version.name(),
        reports: found.reports,
        only_from,
        all_but,
        first_at_s: place_s(analysis, found.first),
        last_at_s: place_s(analysis, found.last),
        ended_by: found.ended.map(|(ended, _)| ended.name()),
        ended_at_s: found.ended.map(|(_, time)| at_s(analysis, time)),
    }
}

pub(super) fn events(analysis: &Analysis) -> impl Iterator<Item = EventDocument> {
    analysis.multicast.events().iter().map(|event| EventDocument {
        device: device(analysis, event),
        frames: vec![frame_reference(analysis, event.place)],
        ..happened(analysis, event.time, event.what.kind(), words(event))
    })
}

/// The device that an event is about, where it is one of those on the clock.
fn device(analysis: &Analysis, event: &Event) -> Option<String> {
    let host = match event.what {
        Happening::QuerierChanged { after: querier, .. }
        | Happening::QuerierSilent { querier }
        | Happening::QuerierReturned { querier }
        | Happening::QuerierNameless { querier }
        | Happening::QueriersContend { higher: querier, .. } => Host::Ip(querier),
        Happening::Joined { host, .. }
        | Happening::Left { host, .. }
        | Happening::Expired { host, .. }
        | Happening::Unanswered { host, .. } => host,
    };
    let place = match host {
        Host::Ip(ip) => analysis.owners.only_of_ip(ip),
        Host::Mac(mac) => analysis.owners.only_of_mac(mac),
    };
    analysis.devices.get(place?).map(|device| device.key.clone())
}

fn words(event: &Event) -> String {
    let vlan = event.segment.vlan.map(|vlan| format!(" on VLAN {vlan}")).unwrap_or_default();
    match event.what {
        Happening::QuerierChanged { before, after } => {
            format!("{after} asks for group members{vlan} instead of {before}")
        }
        Happening::QuerierSilent { querier } => {
            format!("{querier} has not asked for group members{vlan} for too long")
        }
        Happening::QuerierReturned { querier } => format!("{querier} asks for group members{vlan} again"),
        Happening::QueriersContend { lower, higher } => {
            format!("{higher} goes on asking for group members{vlan} beside {lower}, which is lower")
        }
        Happening::QuerierNameless { querier } => {
            format!("group members are asked for{vlan} from {querier}, and from no address")
        }
        Happening::Unanswered { host, group } => {
            format!(
                "membership of {host} in {group}{vlan} has ended: nobody answered the queries for that group"
            )
        }
        Happening::Joined { host, group } => format!("{host} joins {group}{vlan}"),
        Happening::Left { host, group } => format!("{host} leaves {group}{vlan}"),
        Happening::Expired { host, group } => {
            format!("membership of {host} in {group}{vlan} was not renewed and has run out")
        }
    }
}
