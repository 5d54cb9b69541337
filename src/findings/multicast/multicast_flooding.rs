//! `multicast-flooding`

use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Host;
use crate::multicast::Segment;
use crate::multicast::is_link_local;
use crate::streams::Stream;
use crate::units::BitsPerSecond;
use crate::units::MacAddress;
use crate::units::Nanos;
use crate::viewpoint::Seat;

/// What is worth a word (chosen: a stream of two channels).
const LEAST: BitsPerSecond = BitsPerSecond(1_000_000);

/// What a port of 100 Mb/s, the slowest in use, can hardly take (chosen: 70 % of it).
const HEAVY: BitsPerSecond = BitsPerSecond(70_000_000);

/// Streams that came for so long count (reference: 10 s).
const LONG: Nanos = Nanos::from_seconds(10);

/// Streams in the evidence (chosen).
const NAMED: usize = 8;

/// Multicast reaches a port that did not ask for it.
pub(super) struct MulticastFlooding;

impl Rule for MulticastFlooding {
    fn id(&self) -> &'static str {
        "multicast-flooding"
    }

    fn summary(&self) -> &'static str {
        "groups that a device did not ask for reach its port"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "turn on pruning (IGMP snooping) and one querier in this VLAN; look whether the switch's group table is full",
            "block groups that nobody asked for only once the querier works: till then that would stop them all",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "RFC 4541 2.1.2 (from memory)",
            "streams of 10 s, 1 Mb/s together; major from 70 Mb/s, 70 % of the slowest port in use (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let seat = analysis.scope.seat();
        let Some(own) = analysis.scope.station() else { return Outcome::Quiet };
        if !matches!(seat, Seat::Access | Seat::AtFollower | Seat::AtLeader) {
            return Outcome::Quiet;
        }
        let uninvited: Vec<&Stream> =
            analysis.wire.streams.iter().filter(|stream| is_uninvited(analysis, stream, own)).collect();
        let sum = uninvited
            .iter()
            .filter_map(|stream| stream.rate.mean())
            .fold(BitsPerSecond(0), BitsPerSecond::saturating_add);
        if sum < LEAST {
            return Outcome::Quiet;
        }
        if let Err(why) = would_know(analysis, own) {
            return Outcome::CannotTell(why.to_owned());
        }
        Outcome::Broken(vec![self.finding(analysis, own, &uninvited, sum)])
    }
}

/// Whether a stream comes here from elsewhere, to a group that the station did not name.
fn is_uninvited(analysis: &Analysis, stream: &Stream, own: MacAddress) -> bool {
    let Some(group) = stream.key.group().filter(|group| group.is_ipv4() && !is_link_local(*group)) else {
        return false;
    };
    let long = stream.first().zip(stream.last()).is_some_and(|(first, last)| last.since(first) >= LONG);
    long && !stream.macs.contains(&own)
        && !analysis.multicast.segments().any(|segment| named(segment, group, own))
}

/// Whether the station asked for a group, or another's answer may have spared it that.
fn named(segment: &Segment, group: IpAddr, own: MacAddress) -> bool {
    let members = segment.groups.get(&group).into_iter().flat_map(|members| &members.by_host);
    let mut members = members.map(|(host, member)| {
        member.mac == Some(own) || *host == Host::Mac(own) || member.version.suppresses()
    });
    members.any(|is_it| is_it)
}

/// Whether the station would have named its groups in this capture, and is no way to the querier.
fn would_know(analysis: &Analysis, own: MacAddress) -> Result<(), &'static str> {
    let queriers = || analysis.multicast.segments().flat_map(|segment| segment.queriers.values());
    if queriers().next().is_none() {
        return Err("nobody asked the device for its groups, so it had no reason to name them");
    }
    let asks = queriers().any(|querier| analysis.directory.ips_of(own).contains(&querier.address));
    if asks {
        return Err("the device itself asks for group members, so all groups go to it");
    }
    let answered = queriers().any(|querier| {
        let due = querier.first.time.map(|first| first.plus(querier.response()));
        due.zip(analysis.end).is_some_and(|(due, end)| due < end)
    });
    let reports = analysis.multicast.segments().any(|segment| {
        segment.groups.values().any(|members| members.by_host.values().any(|member| member.mac == Some(own)))
    });
    match (answered, reports) {
        (false, _) => Err("the capture ends before the device's answer to a query was due"),
        (_, false) => Err("no membership report of the device was captured: what it sends may be missing"),
        (true, true) => Ok(()),
    }
}

impl MulticastFlooding {
    fn finding(
        &self,
        analysis: &Analysis,
        own: MacAddress,
        uninvited: &[&Stream],
        sum: BitsPerSecond,
    ) -> Finding {
        let severity = if sum >= HEAVY { Severity::Major } else { Severity::Minor };
        let count = match uninvited {
            [_] => "a stream it did not ask for reaches".to_owned(),
            several => format!("{} streams it did not ask for reach", several.len()),
        };
        let title =
            format!("{own}: {count} its port, {}.{:01} Mb/s in all", sum.0 / 1_000_000, sum.0 / 100_000 % 10);
        let evidence = uninvited.iter().take(NAMED).map(|stream| {
            let mean = stream.rate.mean().map_or(0, |mean| mean.0 / 1000);
            Evidence::at(None, format!("{}: {mean} kb/s", stream.key))
        });
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence.collect());
        let device = analysis.owners.of_mac(own).and_then(|place| analysis.devices.get(place));
        Finding {
            device: device.map(|device| device.key.clone()),
            stream: uninvited.first().map(|stream| stream.key),
            ..finding
        }
    }
}
