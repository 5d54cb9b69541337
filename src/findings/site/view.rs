//! Whether a device that follows the site's clock would have been seen: what the rules about listed devices ask before
//! they take an absence for evidence.

use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::devices::listed;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::domains::Mechanism;
use crate::domains::Requester;
use crate::site::ListedDevice;
use crate::site::Site;
use crate::units::LogInterval;
use crate::units::Nanos;
use crate::viewpoint::Seat;

/// Requests in a row that a follower would have to leave out to stay unseen (chosen, as many as make "unanswered" firm).
const REQUESTS_LEFT_OUT: i64 = 8;

/// Interval of requests where the leader does not say: the longest that the default profile allows is 32 Sync
/// intervals (1588-2008 J.3 and 7.7.2.4, from memory), rarely more than this (chosen).
const ASSUMED_INTERVAL: Nanos = Nanos::from_seconds(4);

/// Followers whose requests must have been seen for a third one's to be missed: one's alone may be those of the port
/// where the capture was taken.
const OTHERS: usize = 2;

/// What is known of an entry of the site file.
pub(in crate::findings) enum Presence<'a> {
    /// It takes part in PTP, or sends media.
    Known(&'a Device),
    /// Frames of it were captured, and no PTP.
    WithoutPtp,
    /// Nothing of it was captured.
    Unseen,
}

pub(in crate::findings) fn presence<'a>(analysis: &'a Analysis, entry: &ListedDevice) -> Presence<'a> {
    if let Some(device) = listed(&analysis.devices, entry) {
        return Presence::Known(device);
    }
    match entry.known_mac().filter(|mac| analysis.scope.has_seen(*mac)) {
        Some(_) => Presence::WithoutPtp,
        None => Presence::Unseen,
    }
}

/// What the site file says, where one was given.
pub(in crate::findings) fn site(analysis: &Analysis) -> Option<&Site> {
    analysis.settings.site.as_deref()
}

/// What shows that requests of a further follower would be in this capture; the error says why its absence says nothing.
pub(in crate::findings) fn would_see_a_follower(analysis: &Analysis) -> Result<&'static str, String> {
    let domains: Vec<&Domain> =
        analysis.domains.iter().filter(|domain| analysis.site.is(&domain.key)).collect();
    let Some(leader) = domains.iter().find_map(|domain| domain.election.leader()) else {
        return Err("nobody leads the site's domain here, so nobody would be seen to follow".to_owned());
    };
    if domains.iter().any(|domain| has_boundary_clock(domain)) {
        return Err(
            "a boundary clock is in the site's domain: what follows it is not seen beyond it".to_owned()
        );
    }
    let requesters: Vec<(ClockId, &Requester)> = domains
        .iter()
        .flat_map(|domain| &domain.requesters)
        .filter(|((port, how), _)| *how == Mechanism::EndToEnd && port.clock != leader)
        .map(|((port, _), requester)| (port.clock, requester))
        .collect();
    let multicast: BTreeSet<ClockId> = requesters
        .iter()
        .filter(|(_, requester)| requester.multicast() > 0)
        .map(|(clock, _)| *clock)
        .collect();
    let some_unicast = requesters
        .iter()
        .any(|(_, requester)| requester.seen() > requester.multicast() || requester.is_answered_unseen());
    let answered: BTreeSet<ClockId> = requesters
        .iter()
        .filter(|(_, requester)| requester.seen() > 0 && requester.answered() > 0)
        .map(|(clock, _)| *clock)
        .collect();
    let shown_by = if analysis.scope.seat() == Seat::AtLeader && answered.len() >= OTHERS {
        "the capture was taken at the leader, to which every follower's requests go"
    } else if some_unicast {
        return Err("requests go unicast here, and those of other devices may not pass this place".to_owned());
    } else if multicast.len() >= OTHERS {
        "multicast requests of other followers were captured"
    } else {
        return Err(
            "requests of fewer than two followers were captured: others' may not pass this place".to_owned()
        );
    };
    let asked_for = requesters.iter().filter_map(|(_, requester)| requester.asked_for());
    let interval = asked_for.filter_map(LogInterval::nanos).max().unwrap_or(ASSUMED_INTERVAL);
    let need = interval.saturating_mul(REQUESTS_LEFT_OUT);
    if analysis.watched_for(interval) < need {
        return Err(format!(
            "{} of capture are needed to miss a follower's requests",
            need.as_seconds_text()
        ));
    }
    Ok(shown_by)
}

fn has_boundary_clock(domain: &Domain) -> bool {
    domain.election.announcers().values().any(|announcer| announcer.candidate.steps_removed > 0)
}

/// Why a device that needs the clock is not shown to have it, where that is so and nothing speaks against it either.
pub(in crate::findings) fn unproven(device: &Device) -> Option<String> {
    match device.state {
        State::Leading | State::Relaying | State::Following if device.strength != Strength::CannotTell => {
            None
        }
        State::Rival | State::Astray | State::Unanswered | State::Adrift | State::Unclocked => None,
        state => Some(format!("{}: {}", state.name(), device.reasons.join("; "))),
    }
}

/// Devices that the site file lists as needing the clock and that this capture neither shows on it nor off it: name
/// and why.
pub(in crate::findings) fn unproven_devices(analysis: &Analysis) -> Vec<(&str, String)> {
    let Some(site) = site(analysis) else { return Vec::new() };
    let view = would_see_a_follower(analysis);
    let needing = site.devices.iter().filter(|entry| entry.needs_clock);
    let why = needing.filter_map(|entry| {
        let why = match presence(analysis, entry) {
            Presence::Known(device) => unproven(device),
            Presence::WithoutPtp | Presence::Unseen => view.as_ref().err().cloned(),
        };
        Some((entry.name.as_str(), why?))
    });
    why.collect()
}

/// Names with their reasons, those of one reason together.
pub(in crate::findings) fn by_reason(names: &[(&str, String)]) -> String {
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for (name, why) in names {
        match reasons.iter_mut().find(|(reason, _)| reason == why) {
            Some((_, of)) => of.push(name),
            None => reasons.push((why, vec![name])),
        }
    }
    let texts = reasons.iter().map(|(why, names)| format!("{} ({why})", names.join(", ")));
    texts.collect::<Vec<_>>().join("; ")
}
