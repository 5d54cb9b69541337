//! The place, by the signs.
//!
//! Each rule wants a sign that the other places do not give. That one address has all the unicast is not such
//! a sign: unicast PTP has the leader at one end wherever it is captured. So it counts only together with
//! something that is missing between the others and could not be missing at a mirror.

use super::limits;
use super::roles::Roles;
use super::signs::LEAST_FOREIGN_PAIRS;
use super::signs::LEAST_UNANSWERED;
use super::signs::LEAST_UNICAST;
use super::signs::Measured;
use super::signs::Signs;
use super::traffic::Traffic;
use crate::strength::Strength;
use crate::units::MacAddress;

/// Where a capture was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Seat {
    /// On the link of the clock that leads, or inside it.
    AtLeader,
    /// On the link of a device that follows, or inside it.
    AtFollower,
    /// At a mirror port, or on a link between switches: others' unicast passes.
    Mirror,
    /// At a port of a device that is not on the clock, or of an extra host.
    Access,
    /// Not shown.
    #[default]
    Unknown,
}

impl Seat {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::AtLeader => "at-leader",
            Self::AtFollower => "at-follower",
            Self::Mirror => "mirror",
            Self::Access => "access",
            Self::Unknown => "unknown",
        }
    }
}

/// A place, why it is taken for that, and what is out of view there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Viewpoint {
    /// The place.
    pub seat: Seat,
    /// How firmly that is said.
    pub strength: Strength,
    /// The address whose port it is, where it is one address's.
    pub station: Option<MacAddress>,
    /// What shows it; for [`Seat::Unknown`] what was seen and does not suffice.
    pub shown_by: Vec<String>,
    /// What cannot be seen from there, or was not.
    pub cannot_see: Vec<String>,
}

/// An answer before its limits are added.
pub(super) struct Answer {
    pub(super) seat: Seat,
    pub(super) strength: Strength,
    pub(super) station: Option<MacAddress>,
    pub(super) shown_by: Vec<String>,
    /// Whether the capture was taken on the machine itself.
    pub(super) inside: bool,
}

impl Viewpoint {
    /// Judges the place.
    #[must_use]
    pub fn judge(traffic: &Traffic, roles: &Roles, measured: Measured) -> Self {
        let signs = Signs::new(traffic, roles, measured);
        let answer = answer(&signs);
        let cannot_see = limits::of(&answer, &signs);
        let Answer { seat, strength, station, shown_by, .. } = answer;
        Self { seat, strength, station, shown_by, cannot_see }
    }
}

fn answer(signs: &Signs<'_>) -> Answer {
    let marked = signs.marked_own();
    let own = marked.or_else(|| signs.unfinished());
    mirror(signs, own.map(|(mac, _)| mac))
        .or_else(|| {
            let (mac, frames) = own?;
            let (strength, why) = if marked.is_some() {
                (
                    Strength::Shown,
                    format!("the capturing machine marks {frames} frames from {mac} as its own"),
                )
            } else {
                let why = format!(
                    "{frames} datagrams from {mac} alone were captured before their checksum was made"
                );
                (Strength::Inferred, why)
            };
            port_of(signs, mac, strength, vec![why], true)
        })
        .or_else(|| no_way(signs))
        .or_else(|| centre(signs))
        .or_else(|| access(signs, own.map(|(mac, _)| mac)))
        .unwrap_or_else(|| unknown(signs))
}

fn mirror(signs: &Signs<'_>, own: Option<MacAddress>) -> Option<Answer> {
    let found = |strength, why| {
        Some(Answer { seat: Seat::Mirror, strength, station: None, shown_by: vec![why], inside: false })
    };
    let counts = signs.counts;
    if counts.mirrored > 0 && counts.mirrored * 2 >= counts.frames {
        return found(Strength::Shown, "the frames came in ERSPAN, which a switch's mirror makes".to_owned());
    }
    let foreign = if own.is_some() { signs.foreign(own) } else { signs.foreign_to_all() };
    if foreign >= LEAST_FOREIGN_PAIRS {
        let pairs = signs.both_ways().len();
        let why = format!(
            "unicast of {pairs} pairs of devices was captured in both directions, and no one device is in all of them"
        );
        return found(Strength::Inferred, why);
    }
    if signs.has_copies() {
        let why = format!("{} PTP messages were captured twice within 1 ms", signs.measured.copies);
        return found(Strength::Inferred, why);
    }
    None
}

/// The place at the port of `mac`, by its part on the clock; `None` for a machine that has none, since that may
/// sit at a mirror port as well.
fn port_of(
    signs: &Signs<'_>,
    mac: MacAddress,
    strength: Strength,
    mut shown_by: Vec<String>,
    inside: bool,
) -> Option<Answer> {
    let roles = signs.roles;
    let (seat, part) = if roles.relays.contains(&mac) {
        (Seat::Unknown, "passes another clock's time on: towards its leader or its followers is not shown")
    } else if roles.leaders.contains(&mac) {
        (Seat::AtLeader, "is the leader's")
    } else if roles.followers.contains(&mac) {
        (Seat::AtFollower, "asks for delay as a follower does")
    } else {
        return None;
    };
    shown_by.push(format!("{mac} {part}"));
    let strength = if seat == Seat::Unknown { Strength::CannotTell } else { strength };
    Some(Answer { seat, strength, station: Some(mac), shown_by, inside })
}

/// The delay between the capture point and the leader is none.
fn no_way(signs: &Signs<'_>) -> Option<Answer> {
    let mut leaders = signs.roles.leaders.iter();
    let leader = leaders.next().copied().filter(|_| leaders.next().is_none())?;
    if !signs.is_no_way() || signs.foreign(Some(leader)) > 0 {
        return None;
    }
    let delay = signs.measured.mean_path_delay?;
    let why =
        format!("the mean path delay between here and the leader is {} ns, which is no way at all", delay.0);
    Some(Answer {
        seat: Seat::AtLeader,
        strength: Strength::Inferred,
        station: Some(leader),
        shown_by: vec![why],
        inside: false,
    })
}

/// One device is at one end of all unicast, and something between the others is missing.
fn centre(signs: &Signs<'_>) -> Option<Answer> {
    let mut confined =
        signs.centres().into_iter().filter_map(|mac| signs.confined_to(mac).map(|why| (mac, why)));
    let (mac, why) = confined.next().filter(|_| confined.next().is_none())?;
    let share = format!("{mac} is at one end of nearly all unicast");
    let at_port = port_of(signs, mac, Strength::Inferred, vec![share.clone(), why.clone()], false);
    at_port.or_else(|| {
        // Where nothing that it sends was captured, its PTP may be missing as the rest is.
        let speaks = signs.roles.speakers.contains(&mac) || !signs.stations.contains_key(&mac);
        let (seat, strength, part) = if speaks {
            (Seat::Unknown, Strength::CannotTell, "may take part in PTP, and its part is not shown")
        } else {
            (Seat::Access, Strength::Inferred, "sends no PTP")
        };
        let shown_by = vec![share, why, format!("{mac} {part}")];
        Some(Answer { seat, strength, station: Some(mac), shown_by, inside: false })
    })
}

/// Questions to all are there and replies to others are not.
fn access(signs: &Signs<'_>, own: Option<MacAddress>) -> Option<Answer> {
    let unanswered = signs.unanswered_without(own);
    // A mirror of one direction has the questions without the replies too, but much other unicast.
    let has_others = signs.foreign(own) > 0 || signs.foreign_frames(own) >= LEAST_UNICAST;
    if unanswered < LEAST_UNANSWERED || has_others {
        return None;
    }
    let mut shown_by = vec![format!(
        "{unanswered} address questions between other devices were captured without their replies"
    )];
    let none = signs.counts.unicast == 0;
    shown_by.push(
        if none { "no unicast at all was captured" } else { "no unicast of others was captured both ways" }
            .to_owned(),
    );
    Some(Answer {
        seat: Seat::Access,
        strength: Strength::Inferred,
        station: own,
        shown_by,
        inside: own.is_some(),
    })
}

fn unknown(signs: &Signs<'_>) -> Answer {
    let mut seen = Vec::new();
    let both_ways = signs.both_ways();
    let counts = signs.counts;
    match (counts.unicast, both_ways.len()) {
        (0, _) => seen.push("no unicast was captured, and that is what tells places apart".to_owned()),
        (_, 0) => seen.push("unicast was captured in one direction only".to_owned()),
        (_, pairs) => {
            seen.push(format!("unicast of {pairs} pairs of devices was captured both ways"));
            for centre in signs.centres() {
                let part = if signs.roles.leaders.contains(&centre) {
                    ", the leader, as unicast PTP is everywhere"
                } else {
                    ""
                };
                seen.push(format!("{centre} is at one end of nearly all of it{part}"));
            }
        }
    }
    let senders = signs.stations.values().filter(|station| station.ptp_multicast > 0).count();
    if senders > 1 {
        seen.push(format!(
            "multicast PTP of {senders} devices was captured, as at any port that joined its group"
        ));
    }
    let reporting = signs.stations.values().filter(|station| station.reports > 0).count();
    if reporting > 1 {
        seen.push(format!(
            "membership reports of {reporting} hosts were captured: a mirror, the querier's side, or a switch that does not prune"
        ));
    }
    if let [one, other] = signs.peers()[..] {
        seen.push(format!(
            "peer delay of {one} and {other} alone was captured: as a rule it stays on their link"
        ));
    }
    Answer {
        seat: Seat::Unknown,
        strength: Strength::CannotTell,
        station: None,
        shown_by: seen,
        inside: false,
    }
}
