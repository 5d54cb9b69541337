//! What is out of view at each place, in the words of the report.
//!
//! By place: common practice, no source. Membership reports go towards the querier only: RFC 4541 section 2.1.1, from memory.

use super::judge::Answer;
use super::judge::Seat;
use super::signs::Signs;

/// Frames from which it says something that all of them are PTP (chosen).
pub(super) const LEAST_FRAMES: u64 = 100;

const AT_LEADER: [&str; 4] = [
    "whether its messages reach anybody",
    "devices behind boundary clocks: only the boundary clock's own port asks here",
    "membership reports of other hosts, unless the querier is this way",
    "peer delay beyond this link",
];
const AT_FOLLOWER: [&str; 4] = [
    "unicast of others: their delay requests and answers, where those go unicast",
    "faults and losses at other ports",
    "membership reports of other hosts, unless the querier is this way",
    "whether the way to the leader and back differ",
];
const MIRROR: [&str; 3] = [
    "traffic between devices that does not pass the mirrored ports or link",
    "losses at the devices' own ports",
    "exact times: queueing at a mirror adds microseconds to milliseconds and can swap the directions",
];
const ACCESS: [&str; 4] = [
    "unicast of others: unicast PTP, delay requests and answers that go unicast",
    "groups this port has not joined: on a switch that prunes multicast, silence here is none elsewhere",
    "membership reports of other hosts",
    "peer delay of others",
];
const UNKNOWN: [&str; 1] =
    ["unicast between devices, groups this port has not joined and peer delay, unless the file holds them"];

pub(super) fn of(answer: &Answer, signs: &Signs<'_>) -> Vec<String> {
    let place: &[&str] = match answer.seat {
        Seat::AtLeader => &AT_LEADER,
        Seat::AtFollower => &AT_FOLLOWER,
        Seat::Mirror => &MIRROR,
        Seat::Access => &ACCESS,
        Seat::Unknown => &UNKNOWN,
    };
    let mut limits: Vec<String> = place.iter().map(|text| (*text).to_owned()).collect();
    let counts = signs.counts;
    if looks_filtered(signs) {
        limits.push("anything but PTP: none was captured, a capture filter may have taken it out".to_owned());
    }
    if counts.ptp_general > 0 && counts.ptp_event == 0 {
        limits.push(
            "PTP event messages: none was captured, a capture filter may have taken them out".to_owned(),
        );
    }
    if counts.ptp_event > 0 && counts.ptp_general == 0 {
        limits.push(
            "PTP general messages: none was captured, a capture filter may have taken them out".to_owned(),
        );
    }
    if counts.unicast > 0 && signs.both_ways().is_empty() {
        limits.push("the other direction of unicast: each pair was captured one way only".to_owned());
    }
    if counts.cooked > 0 {
        limits.push(
            "VLAN tags and destination MAC addresses, which this kind of capture leaves out".to_owned(),
        );
    }
    if answer.inside {
        limits.push("when this machine's own frames really left: they are stamped before that".to_owned());
    }
    if signs.measured.places > 1 {
        limits.push("whether all files were taken at one place".to_owned());
    }
    if signs.overflow > 0 {
        limits.push(format!("who talks to whom in {} frames: more addresses than are kept", signs.overflow));
    }
    limits
}

/// Whether nothing but PTP is there.
pub(super) fn looks_filtered(signs: &Signs<'_>) -> bool {
    let counts = signs.counts;
    counts.frames >= LEAST_FRAMES && counts.ptp_event + counts.ptp_general == counts.frames
}
