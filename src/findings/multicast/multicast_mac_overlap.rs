//! `multicast-mac-overlap`

use std::collections::BTreeSet;
use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Reserved;
use crate::multicast::SharedMac;

/// Addresses that are told one by one (chosen).
const TOLD: usize = 8;
/// Groups named in a title (chosen).
const NAMED: usize = 4;

/// One MAC address stands for several groups in use.
pub(super) struct MulticastMacOverlap;

impl Rule for MulticastMacOverlap {
    fn id(&self) -> &'static str {
        "multicast-mac-overlap"
    }

    fn summary(&self) -> &'static str {
        "groups in use have one MAC address, or that of PTP or of groups that go everywhere"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give one of the groups another address: the last 23 bits must differ",
            "leave out 239.0.0.x, 239.128.0.x, 239.0.1.x and 239.128.1.x: they meet PTP's groups and those that go everywhere",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["23 of 28 bits of a group make its MAC address: RFC 1112 6.4 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.group_use.shared_macs.iter().map(|shared| self.finding(analysis, shared));
        Outcome::from_findings(self.summed_up(found.collect()))
    }
}

impl MulticastMacOverlap {
    /// The gravest, and the rest as one.
    fn summed_up(&self, mut found: Vec<Finding>) -> Vec<Finding> {
        found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        if found.len() <= TOLD {
            return found;
        }
        let rest = found.split_off(TOLD);
        let severity = rest.first().map_or(Severity::Minor, |finding| finding.severity);
        let title = format!("{} more MAC addresses stand for several groups in use", rest.len());
        let evidence =
            vec![Evidence::at(None, "all of them are among the shared MAC addresses of the JSON report")];
        found.push(Finding::of(self, (severity, Strength::Shown), title, evidence));
        found
    }
}

impl MulticastMacOverlap {
    fn finding(&self, analysis: &Analysis, shared: &SharedMac) -> Finding {
        let sent: BTreeSet<IpAddr> = analysis
            .wire
            .streams
            .iter()
            .filter_map(|stream| stream.key.group())
            .filter(|group| shared.groups.contains(group))
            .collect();
        let names: Vec<String> = shared.groups.iter().take(NAMED).map(ToString::to_string).collect();
        let more = shared.groups.len().saturating_sub(NAMED);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        let with = match shared.reserved {
            Some(Reserved::Ptp) => ", which is that of PTP's groups",
            Some(Reserved::LinkLocal) => ", which is that of groups that switches pass to everybody",
            None => "",
        };
        let title = format!("{}{more} go to {}{with}", names.join(", "), shared.mac);
        let streams = analysis
            .wire
            .streams
            .iter()
            .filter(|stream| stream.key.group().is_some_and(|group| shared.groups.contains(&group)));
        let mut evidence: Vec<Evidence> = streams
            .take(NAMED)
            .map(|stream| {
                let first = stream.first().map(|time| at(analysis, time)).unwrap_or_default();
                Evidence::at(None, format!("{} from {first} on", stream.key))
            })
            .collect();
        if evidence.is_empty() {
            evidence.push(Evidence::at(None, "asked for, and nothing sent to them in this capture"));
        }
        let reserved = shared.reserved.is_some() && !sent.is_empty();
        let severity = if reserved || sent.len() > 1 { Severity::Major } else { Severity::Minor };
        let mut finding = Finding::of(self, (severity, Strength::Shown), title, evidence);
        finding.stream = analysis
            .wire
            .streams
            .iter()
            .find(|stream| stream.key.group().is_some_and(|group| sent.contains(&group)))
            .map(|stream| stream.key);
        finding
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(count: usize) -> Vec<Finding> {
        let finding = |index: usize| {
            let severity = if index == 20 { Severity::Major } else { Severity::Minor };
            Finding::of(&MulticastMacOverlap, (severity, Strength::Shown), index.to_string(), Vec::new())
        };
        MulticastMacOverlap.summed_up((0..count).map(finding).collect())
    }

    #[test]
    fn beyond_eight_the_rest_is_one_finding_and_the_gravest_stay() {
        assert_eq!(found(8).len(), 8);
        let many = found(260);
        assert_eq!(many.len(), 9);
        assert!(many.first().is_some_and(|first| first.severity == Severity::Major && first.title == "20"));
        assert!(many.last().is_some_and(|last| last.title.starts_with("252 more MAC addresses")));
    }
}
