//! `session-without-stream`

use std::collections::BTreeSet;
use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::sdp::Session;
use crate::units::Nanos;

/// How long nothing came (reference: 5 s; chosen: a stream that starts late is none that is missing).
const WATCHED: Nanos = Nanos::from_seconds(30);

/// A session is announced, its group is asked for, and nothing comes.
pub(super) struct SessionWithoutStream;

impl Rule for SessionWithoutStream {
    fn id(&self) -> &'static str {
        "session-without-stream"
    }

    fn summary(&self) -> &'static str {
        "a session is announced and its group asked for, and nothing is sent to it"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look whether the sender is on and sends this stream",
            "capture at the sender's port: where the stream is there, the network keeps it back",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "session announcements: RFC 2974; membership: RFC 3376 (from memory)",
            "30 s of capture, and a receiver's report for the group in view (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if analysis.watched_for(Nanos::from_seconds(1)) < WATCHED {
            return Outcome::Quiet;
        }
        let found = analysis.sessions.iter().filter_map(|session| self.finding(analysis, session));
        Outcome::from_findings(found.collect())
    }
}

/// Groups of a session that were asked for and that nothing came to; without a receiver in view, nothing is missing here.
fn missing(analysis: &Analysis, session: &Session) -> BTreeSet<IpAddr> {
    let connections = session.media.iter().flat_map(|media| session.connections_of(media));
    let groups = connections.map(|connection| connection.address);
    groups.filter(|group| analysis.group_use.idle.contains(group)).collect()
}

impl SessionWithoutStream {
    fn finding(&self, analysis: &Analysis, session: &Session) -> Option<Finding> {
        let missing = missing(analysis, session);
        let groups: Vec<String> = missing.iter().map(ToString::to_string).collect();
        if groups.is_empty() {
            return None;
        }
        let title =
            format!("session {:?} is announced and nothing comes to {}", session.name, groups.join(", "));
        let origin = session.origin.as_ref().map(|origin| origin.address.as_str()).unwrap_or_default();
        let text = format!("announced by {origin}; a receiver in view asked for the group");
        let evidence = vec![Evidence::at(None, text)];
        Some(Finding::of(self, (Severity::Minor, Strength::Inferred), title, evidence))
    }
}
