//! `leg-missing-or-identical`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::streams::FlowKey;
use crate::streams::Stream;
use crate::units::Nanos;

/// How long a stream ran (reference: 5 s).
const LONG: Nanos = Nanos::from_seconds(5);

/// Both legs of a stream take one way.
pub(super) struct LegMissingOrIdentical;

impl Rule for LegMissingOrIdentical {
    fn id(&self) -> &'static str {
        "leg-missing-or-identical"
    }

    fn summary(&self) -> &'static str {
        "both legs of a stream pass one place in one network: what breaks the one breaks the other"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look where the sender's two ports are plugged in: the legs should share no switch",
            "where this is a mirror of both networks, nothing is wrong",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "legs on separate ways: SMPTE ST 2022-7 (from memory)",
            "one capture of one place, both legs in one VLAN for 5 s (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        // Files of several places are meant to show both ways.
        if analysis.captures.len() > 1 {
            return Outcome::Quiet;
        }
        let found = analysis.wire.streams.iter().filter_map(|stream| self.finding(analysis, stream));
        Outcome::from_findings(found.collect())
    }
}

const fn vlan(key: &FlowKey) -> Option<u16> {
    match key {
        FlowKey::Udp { vlan, .. } | FlowKey::Avtp { vlan, .. } => *vlan,
    }
}

impl LegMissingOrIdentical {
    fn finding(&self, analysis: &Analysis, stream: &Stream) -> Option<Finding> {
        let long = stream.first().zip(stream.last()).is_some_and(|(first, last)| last.since(first) >= LONG);
        // Once for each pair; one of a pair is a unicast copy where the groups differ in kind.
        let twin = stream.twins.iter().find(|twin| {
            twin.key > stream.key
                && vlan(&twin.key) == vlan(&stream.key)
                && twin.key.is_multicast()
                && stream.key.is_multicast()
        });
        let twin = twin.filter(|_| long)?;
        let title = format!("{}: its other leg, {}, takes the same way", stream.key, twin.key);
        let text = format!(
            "{} packets compared; the other leg comes {} later",
            twin.compared,
            twin.delay.as_seconds_text()
        );
        let evidence = vec![Evidence::at(None, text)];
        // A mirror may show two networks without their tags.
        let tagged = vlan(&stream.key).is_some();
        let severity = if tagged { Severity::Minor } else { Severity::Info };
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence);
        Some(finding.about_stream(analysis, stream))
    }
}
