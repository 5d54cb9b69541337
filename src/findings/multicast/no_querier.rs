//! `no-querier`

use super::named;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::loss;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Happening;
use crate::multicast::Querier;
use crate::multicast::Segment;
use crate::units::Nanos;
use crate::viewpoint::Sight;

/// The query interval of RFC 3376 section 8.2 (from memory); a shorter capture shows nothing.
const QUERY_INTERVAL: Nanos = Nanos::from_seconds(125);

/// How long nobody may ask, where nothing says how often they do (reference: 2 × 125 s + 10 s, and a margin).
const SILENCE: Nanos = Nanos::from_seconds(300);

/// Nobody asks for the members of multicast groups.
pub(super) struct NoQuerier;

impl Rule for NoQuerier {
    fn id(&self) -> &'static str {
        "no-querier"
    }

    fn summary(&self) -> &'static str {
        "nobody asks for the members of groups, or nobody asks any more: switches that prune forget them"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "turn on one querier in each VLAN with multicast, on the core switch, with an address of that VLAN",
            "ask the switches whether they prune multicast (IGMP snooping): where they do, streams and clock stop within minutes",
            "where the querier's interval was set longer than 125 s, capture for three intervals",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "RFC 3376 8.4 and 8.5, RFC 2236 8.4 and 8.5 (260 s, 255 s); RFC 4541 2.1.1 (from memory)",
            "300 s without a query where none was seen at all (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut why = None;
        for segment in analysis.multicast.segments().filter(|segment| !segment.key.is_ipv6) {
            // A proxy without an address keeps members alive as well.
            let speaks = segment.queriers.values().any(|querier| !is_overdue(analysis, querier));
            let latest = segment.queriers.values().max_by_key(|querier| querier.last.time);
            match latest {
                _ if speaks => {}
                Some(querier) if is_unheard(analysis, querier) => {
                    findings.push(self.stopped(analysis, segment, querier));
                }
                Some(_) => {
                    why = Some("queries stopped, or they are among what the capture missed".to_owned());
                }
                None => match never(analysis) {
                    Ok(length) => findings.push(self.never_asked(segment, length)),
                    Err(reason) => why = why.or(reason),
                },
            }
        }
        match why.filter(|_| findings.is_empty()) {
            Some(why) => Outcome::CannotTell(why),
            None => Outcome::from_findings(findings),
        }
    }
}

/// How long nobody asked, in a capture that would show it; else why it would not, where that is worth a word.
fn never(analysis: &Analysis) -> Result<Nanos, Option<String>> {
    let length = analysis.watched_for(QUERY_INTERVAL);
    if length < QUERY_INTERVAL {
        return Err(None);
    }
    if length < SILENCE {
        return Err(Some(format!(
            "nobody asked for group members in {}, which takes {} to show something",
            length.as_seconds_text(),
            SILENCE.as_seconds_text()
        )));
    }
    match analysis.scope.sees_igmp_queries() {
        Sight::CannotTell(why) => Err(Some(why.to_owned())),
        Sight::Yes | Sight::Inferred(_) if loss::is_much(analysis) => {
            Err(Some("no query was captured, and much else is missing".to_owned()))
        }
        Sight::Yes | Sight::Inferred(_) => Ok(length),
    }
}

/// Whether it is silent, or the next query is long due by the clock, in a hole of the capture.
fn is_overdue(analysis: &Analysis, querier: &Querier) -> bool {
    let silence = querier.last.time.zip(analysis.end).map(|(last, end)| end.since(last));
    querier.silent_since.is_some() || silence.is_some_and(|silence| silence > querier.patience())
}

/// Whether the network was watched, after its last query, for as long as others wait before they take over.
fn is_unheard(analysis: &Analysis, querier: &Querier) -> bool {
    let patience = querier.patience();
    let Some((last, end)) = querier.last.time.zip(analysis.end) else { return false };
    // Stamps from before the beginning: the capture's clock was set back, and its end is no end.
    if querier.silent_since.is_none()
        || analysis.start.is_some_and(|start| last < start)
        || analysis.watched_for(patience) <= patience
    {
        return false;
    }
    let length = analysis.duration().unwrap_or(Nanos::ZERO);
    // Holes of the capture, wherever they lie.
    let hidden = length.0.saturating_sub(analysis.watched_for(patience).0).max(0);
    end.since(last).0.saturating_sub(hidden) > patience.0 && !loss::is_much(analysis)
}

impl NoQuerier {
    fn stopped(&self, analysis: &Analysis, segment: &Segment, querier: &Querier) -> Finding {
        let gone =
            analysis.multicast.events().iter().filter(|event| {
                event.segment == segment.key && matches!(event.what, Happening::Expired { .. })
            });
        let gone = gone.count();
        let last = querier.last.time.map(|time| at(analysis, time)).unwrap_or_default();
        let title = format!(
            "{}: {} asked for group members until {last} and then no more",
            named(segment.key),
            querier.address
        );
        let every = querier.declared_interval.or_else(|| querier.interval());
        let every = every.map(|every| format!(", one every {}", every.as_seconds_text())).unwrap_or_default();
        let mut evidence = vec![Evidence::at(
            Some(querier.last),
            format!(
                "{} queries of {}{every}; others wait {} before they take over, and nobody did",
                querier.queries,
                querier.address,
                querier.patience().as_seconds_text()
            ),
        )];
        if gone > 0 {
            evidence
                .push(Evidence::at(None, format!("{gone} memberships were not renewed and have run out")));
        }
        Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence)
    }

    fn never_asked(&self, segment: &Segment, length: Nanos) -> Finding {
        let title = format!("{}: nobody asks for group members", named(segment.key));
        let groups = segment.groups.len();
        let text =
            format!("reports for {groups} groups, and no general query in {}", length.as_seconds_text());
        // Without a switch that prunes all of it goes everywhere, and nothing stops.
        Finding::of(self, (Severity::Major, Strength::Inferred), title, vec![Evidence::at(None, text)])
    }
}
