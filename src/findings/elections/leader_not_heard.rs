//! `leader-not-heard`

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
                let own = |went_on: bool| -> Vec<&Unheard> {
                    let of_port = all.iter().filter(|span| {
                        span.port == port.port && (span.asked_on || others_went_on(analysis, span).is_some())
                    });
                    of_port.filter(|span| span.syncs_went_on == went_on).collect()
                };
                for (spans, severity) in [(own(false), Severity::Major), (own(true), Severity::Minor)] {
                    findings.extend(self.finding(analysis, domain, &spans, severity));
                }
            }
        }
        Outcome::from_findings(findings)
    }
}

/// What shows that the capture missed nothing meanwhile, where nobody asked.
fn others_went_on(analysis: &Analysis, span: &Unheard) -> Option<String> {
    if span.syncs_went_on {
        return Some("its Sync went on".to_owned());
    }
    match whole_streams(analysis, span.before, span.after) {
        0 => None,
        1 => Some("1 stream came whole meanwhile".to_owned()),
        n => Some(format!("{n} streams came whole meanwhile")),
    }
}

impl LeaderNotHeard {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        spans: &[&Unheard],
        severity: Severity,
    ) -> Option<Finding> {
        let longest = spans.iter().max_by_key(|span| span.length)?;
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
            match others_went_on(analysis, longest).filter(|_| !longest.asked_on) {
                None => "requests of others",
                Some(_) if longest.syncs_went_on => "its Sync",
                Some(_) => "media of others",
            }
        );
        let evidence = spans.iter().take(SHOWN).map(|span| {
            let why = match span.skipped {
                Some(0) => "no number is skipped: it sent nothing".to_owned(),
                Some(skipped) => format!("{skipped} numbers are skipped: it sent, and nothing came here"),
                None => "its numbers began anew".to_owned(),
            };
            let meanwhile = others_went_on(analysis, span)
                .filter(|_| !span.asked_on)
                .unwrap_or_else(|| format!("{} requests of others meanwhile", span.asked));
            let text = format!(
                "nothing for {} from {}, and {meanwhile}; {why}",
                duration(span.length),
                when(span.before)
            );
            Evidence::at(Some(span.before), text)
        });
        let finding = Finding::of(self, (severity, Strength::Shown), title, evidence.collect());
        Some(finding.in_domain(domain.key).about_clock(analysis, longest.port.clock))
    }
}
