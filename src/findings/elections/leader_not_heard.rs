//! `leader-not-heard`

use std::fmt;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::Unheard;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::media_witness::whole_streams;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::transmit_cycle;
use crate::findings::words::duration;

/// Spans shown (chosen).
const SHOWN: usize = 8;

/// The leader was away for a while, and nobody led meanwhile.
pub(super) struct LeaderNotHeard;

impl Rule for LeaderNotHeard {
    fn id(&self) -> &'static str {
        "leader-not-heard"
    }

    fn summary(&self) -> &'static str {
        "the leader was not heard for a while, though others went on sending, and nobody led meanwhile"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "where its numbers went on: look at the way from the leader to here (link, queues, spanning tree, snooping)",
            "where they did not: look at the leader's log at that time: restart, link, power",
            "a second clock that may lead takes over in such a time",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "announceReceiptTimeout 3: IEEE 1588-2008 7.7.3.1, J.3 (from memory); half an interval more for jitter (chosen)",
            "more than 2 requests of each other device meanwhile, or streams that came whole; more in a row than chance loses once in 10^8 (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if let Some(why) = analysis.clocks_disagree() {
            return Outcome::CannotTell(why);
        }
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            let all = domain.unheard();
            for port in domain.ports.values() {
                // Such a cycle is told as a whole.
                if transmit_cycle::of(port).is_some() {
                    continue;
                }
                let of_port = all.iter().filter(|span| span.port == port.port);
                let told = of_port.filter_map(|span| Some((span, Witness::of(analysis, span)?)));
                let (went_on, away): (Vec<Told<'_>>, Vec<Told<'_>>) =
                    told.partition(|(span, _)| span.syncs_went_on);
                findings.extend(self.finding(analysis, domain, &away, Severity::Major));
                findings.extend(self.finding(analysis, domain, &went_on, Severity::Minor));
            }
        }
        Outcome::from_findings(findings)
    }
}

/// What shows that the capture missed nothing meanwhile.
#[derive(Debug, Clone, Copy)]
enum Witness {
    /// Requests of others.
    Requests(u64),
    /// The leader's own Sync.
    Sync,
    /// Streams that came whole.
    Streams(usize),
}

type Told<'a> = (&'a Unheard, Witness);

impl Witness {
    /// `None` where nothing does.
    fn of(analysis: &Analysis, span: &Unheard) -> Option<Self> {
        if span.asked_on {
            return Some(Self::Requests(span.asked));
        }
        if span.syncs_went_on {
            return Some(Self::Sync);
        }
        let streams = whole_streams(analysis, span.before, span.after);
        (streams > 0).then_some(Self::Streams(streams))
    }

    /// What went on.
    const fn name(self) -> &'static str {
        match self {
            Self::Requests(_) => "requests of others",
            Self::Sync => "its Sync",
            Self::Streams(_) => "media of others",
        }
    }
}

impl fmt::Display for Witness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Requests(asked) => write!(f, "{asked} requests of others meanwhile"),
            Self::Sync => write!(f, "its Sync went on"),
            Self::Streams(1) => write!(f, "1 stream came whole meanwhile"),
            Self::Streams(n) => write!(f, "{n} streams came whole meanwhile"),
        }
    }
}

impl LeaderNotHeard {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        spans: &[Told<'_>],
        severity: Severity,
    ) -> Option<Finding> {
        let (longest, witness) = spans.iter().max_by_key(|(span, _)| span.length)?;
        let when =
            |place: crate::observations::Place| place.time.map(|time| at(analysis, time)).unwrap_or_default();
        let (from, until) = (when(longest.before), when(longest.after));
        let what = if longest.syncs_went_on { "no Announce of the leader" } else { "the leader" };
        let heard = if longest.syncs_went_on { "was heard" } else { "was not heard" };
        let more = match spans.len() {
            1 => String::new(),
            n => format!(", the longest of {n} times"),
        };
        let title = format!(
            "{}: {what} {} {heard} from {from} to {until}{more}; {} went on",
            domain.key,
            longest.clock,
            witness.name()
        );
        let evidence = spans.iter().take(SHOWN).map(|(span, witness)| {
            let why = match span.skipped {
                Some(0) => "no number is skipped: it sent nothing".to_owned(),
                Some(skipped) => format!("{skipped} numbers are skipped: it sent, and nothing came here"),
                None => "its numbers began anew".to_owned(),
            };
            let text = format!(
                "nothing for {} from {}, and {witness}; {why}",
                duration(span.length),
                when(span.before)
            );
            Evidence::at(Some(span.before), text)
        });
        let finding = Finding::of(self, (severity, Strength::Shown), title, evidence.collect());
        Some(finding.in_domain(domain.key).about_clock(analysis, longest.port.clock))
    }
}
