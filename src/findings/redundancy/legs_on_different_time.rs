//! `legs-on-different-time`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::ptp::ClockIdentity;
use crate::streams::Stream;
use crate::units::Nanos;

/// Receivers of the narrow class bear so much between the legs (ST 2022-7, from memory: 10 ms).
const NARROW: Nanos = Nanos(10_000_000);

/// The legs of a stream name different clocks, or come far apart.
pub(super) struct LegsOnDifferentTime;

impl Rule for LegsOnDifferentTime {
    fn id(&self) -> &'static str {
        "legs-on-different-time"
    }

    fn summary(&self) -> &'static str {
        "the two legs of a stream come farther apart than receivers bear, or name different clocks"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look how far apart in time the receivers take the legs, and what delays the later one",
            "where the networks have leaders of their own, see that both follow one reference",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["SMPTE ST 2022-7, class of 10 ms (from memory)", "the median of the packets compared (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.wire.streams.iter().filter_map(|stream| self.finding(analysis, stream));
        Outcome::from_findings(found.collect())
    }
}

/// The clock that a stream's description names.
fn reference(stream: &Stream) -> Option<ClockIdentity> {
    stream.described.as_ref()?.reference.map(ClockIdentity)
}

impl LegsOnDifferentTime {
    fn finding(&self, analysis: &Analysis, stream: &Stream) -> Option<Finding> {
        // Once for each pair.
        let twin = stream.twins.iter().find(|twin| twin.key > stream.key)?;
        let other = analysis.wire.streams.iter().find(|other| other.key == twin.key)?;
        let mut evidence = Vec::new();
        // Files of several places have several clocks, so the distance there is not the network's.
        let apart = twin.delay.0.saturating_abs();
        if apart > NARROW.0 && !analysis.may_be_of_several_places() {
            let text = format!(
                "{} packets compared: {} comes {} {} {}",
                twin.compared,
                twin.key,
                Nanos(apart).as_seconds_text(),
                if twin.delay.0 < 0 { "before" } else { "after" },
                stream.key
            );
            evidence.push(Evidence::at(None, text));
        }
        let is_late = !evidence.is_empty();
        let clocks = reference(stream).zip(reference(other)).filter(|(one, other)| one != other);
        if let Some((one, other)) = clocks {
            let text = format!("described by the time of {one}, and the other leg by that of {other}");
            evidence.push(Evidence::at(None, text));
        }
        if evidence.is_empty() {
            return None;
        }
        // Two clocks on one reference are right.
        let severity = if is_late { Severity::Major } else { Severity::Info };
        let what = if is_late {
            format!("{} apart", Nanos(apart).as_seconds_text())
        } else {
            "described by different clocks".to_owned()
        };
        let title = format!("{}: its legs are {what}", stream.key);
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence);
        Some(finding.about_stream(analysis, stream))
    }
}
