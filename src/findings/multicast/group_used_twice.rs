//! `group-used-twice`

use std::collections::BTreeMap;
use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::FlowKey;
use crate::streams::Stream;
use crate::units::Nanos;

/// How long both must come at the same time (reference: 5 s).
const TOGETHER: Nanos = Nanos::from_seconds(5);

/// Two send media to one group and port.
pub(super) struct GroupUsedTwice;

impl Rule for GroupUsedTwice {
    fn id(&self) -> &'static str {
        "group-used-twice"
    }

    fn summary(&self) -> &'static str {
        "two media streams go to one group and port at the same time: receivers get both"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give one of the streams another group; the address plan should hold each group once",
            "where both are meant to be there, receivers have to ask for one source (IGMPv3, 232.x.y.z)",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "common practice, no source; groups of one source: RFC 4607 (from memory)",
            "both there for 5 s; RTP only, legs of one stream left out (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut by_group: BTreeMap<(IpAddr, u16, Option<u16>), Vec<&Stream>> = BTreeMap::new();
        for stream in analysis.wire.streams.iter().filter(|stream| stream.rtp.is_some()) {
            if let FlowKey::Udp { destination, port, vlan, .. } = stream.key
                && destination.is_multicast()
                && !is_of_one_source(destination)
            {
                by_group.entry((destination, port, vlan)).or_default().push(stream);
            }
        }
        let found = by_group.into_iter().filter_map(|((group, port, _), streams)| {
            let (one, other) = pair(&streams)?;
            Some(self.finding(analysis, (group, port), one, other))
        });
        Outcome::from_findings(found.collect())
    }
}

/// 232.0.0.0/8 (RFC 4607): receivers name the source.
const fn is_of_one_source(group: IpAddr) -> bool {
    matches!(group, IpAddr::V4(group) if group.octets()[0] == 232)
}

/// The first two that come at the same time and are not one.
fn pair<'a>(streams: &[&'a Stream]) -> Option<(&'a Stream, &'a Stream)> {
    streams.iter().enumerate().find_map(|(index, one)| {
        let others = streams.iter().skip(index + 1);
        let other = others.filter(|other| differ(one, other)).find(|other| together(one, other))?;
        Some((*one, *other))
    })
}

/// Senders differ, or one sends two of a kind; kinds that differ may share a session (RFC 3550).
fn differ(one: &Stream, other: &Stream) -> bool {
    let is_leg = one.twins.iter().any(|twin| twin.key == other.key);
    let is_kind = one.payload_type == other.payload_type;
    !is_leg && (one.source() != other.source() || is_kind)
}

fn together(one: &Stream, other: &Stream) -> bool {
    let span = |stream: &Stream| stream.first().zip(stream.last());
    let Some((ours, theirs)) = span(one).zip(span(other)) else { return false };
    ours.1.min(theirs.1).since(ours.0.max(theirs.0)) >= TOGETHER
}

impl GroupUsedTwice {
    fn finding(
        &self,
        analysis: &Analysis,
        (group, port): (IpAddr, u16),
        one: &Stream,
        other: &Stream,
    ) -> Finding {
        let who = |stream: &Stream| stream.source().map(|ip| ip.to_string()).unwrap_or_default();
        let title = if one.source() == other.source() {
            format!("{group} port {port}: {} sends two streams there", who(one))
        } else {
            format!("{group} port {port}: {} and {} both send there", who(one), who(other))
        };
        let line = |stream: &Stream| {
            let time = |time: Option<_>| time.map(|time| at(analysis, time)).unwrap_or_default();
            let text = format!(
                "{}: {} packets from {} to {}",
                stream.key,
                stream.rate.packets(),
                time(stream.first()),
                time(stream.last())
            );
            Evidence::at(None, text)
        };
        let one_place = !analysis.may_be_of_several_places();
        let strength = if one_place { Strength::Shown } else { Strength::Inferred };
        let finding = Finding::of(self, (Severity::Critical, strength), title, vec![line(one), line(other)]);
        finding.about_stream(analysis, other)
    }
}
