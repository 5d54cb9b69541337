//! What does not follow from a fault that is there as well, beside what does.

use std::net::Ipv4Addr;

use serde_json::Value;

use super::causes::followings;
use crate::support::craft::ptp_v2::Body;
use crate::support::judged;
use crate::support::media::Scene;
use crate::support::membership::SWITCH;
use crate::support::script::said;
use crate::support::stage::actor;
use crate::support::wire::Sender;
use crate::support::wire::Wire;
use crate::support::wire::follower;
use crate::support::wire::leader;
use crate::support::wire::number;
use crate::support::wire::origin;
use crate::support::wire::referenced;

/// What the first finding of `id` follows from; `None` where it stands for itself.
fn cause_of(report: &Value, id: &str) -> Option<String> {
    let followings = followings(report);
    let found = followings.iter().find(|(of, _)| of == id);
    found.unwrap_or_else(|| panic!("no {id} in {followings:?}")).1.clone()
}

/// A leader whose followers are answered, and one that is not, from its beginning on.
fn one_unanswered(seconds: i64) -> Wire {
    let mut wire = Wire::default();
    wire.leads(0..seconds, &leader());
    for each in 20..24 {
        wire.follows(0..seconds, &follower(each), &leader());
    }
    wire.asks(0..seconds, &follower(39));
    wire
}

/// A second sender under the identity of a follower, with numbers of its own.
fn duplicate(wire: &mut Wire, seconds: i64, of: u8) {
    let mut twin = follower(71);
    twin.actor.port = actor(of).port;
    for second in 0..seconds {
        let us = second * 1_000_000 + 777_000;
        wire.put(us, &twin, number(second + 5000), &Body::DelayReq { origin_ns: 0 });
        let body = Body::DelayResp { receipt_ns: origin(us), requester: twin.actor.port };
        wire.put(us + 1000, &leader(), number(second + 5000), &body);
    }
}

#[test]
fn a_followers_identity_used_twice_explains_nothing_of_who_leads() {
    let mut wire = one_unanswered(60);
    duplicate(&mut wire, 60, 20);
    wire.leads(0..60, &follower(9));
    let report = wire.report();
    assert_eq!(cause_of(&report, "duplicate-clock-identity"), None);
    assert_eq!(cause_of(&report, "two-masters-one-domain"), None);
    assert_eq!(cause_of(&report, "delay-response-missing"), None);
}

#[test]
fn one_device_that_is_not_answered_does_not_follow_from_what_all_suffer_from() {
    let mut wire = one_unanswered(60);
    wire.leads(0..60, &follower(9));
    let report = wire.report();
    assert_eq!(cause_of(&report, "two-masters-one-domain"), None);
    assert_eq!(cause_of(&report, "delay-response-missing"), None);
}

/// All are unanswered while two lead: from when on decides.
#[test]
fn what_was_there_long_before_a_fault_does_not_follow_from_it() {
    for (rival_from, cause) in [(0, Some("two-masters-one-domain")), (100, None)] {
        let mut wire = Wire::default();
        wire.leads(0..200, &leader());
        for each in 20..24 {
            wire.asks(0..200, &follower(each));
        }
        wire.leads(rival_from..200, &follower(9));
        let report = wire.report();
        assert_eq!(cause_of(&report, "delay-response-missing").as_deref(), cause, "{rival_from}");
    }
}

#[test]
fn a_standby_in_holdover_is_not_why_the_leader_falls_silent() {
    let mut standby = Sender::of(referenced(2));
    standby.actor.data.clock_class = 7;
    let mut wire = Wire::default();
    for round in (0..180).step_by(30) {
        wire.leads(round..round + 15, &leader());
        wire.leads(round + 19..round + 30, &standby);
    }
    let report = wire.report();
    assert!(!said(&report, "grandmaster-in-holdover").is_empty(), "{}", report["findings"]);
    assert_eq!(cause_of(&report, "grandmaster-flapping"), None);
}

#[test]
fn a_stranger_of_worse_class_that_takes_the_lead_is_a_fault_with_its_effects() {
    for (class, severity) in [(248, "major"), (6, "info")] {
        let mut stranger = Sender::of(referenced(77));
        stranger.actor.data.priority1 = 1;
        stranger.actor.data.clock_class = class;
        let mut wire = Wire::default();
        wire.leads(0..42, &leader());
        wire.leads(40..100, &stranger);
        wire.follows(0..42, &follower(20), &leader());
        wire.follows(44..100, &follower(20), &stranger);
        let report = wire.report();
        assert_eq!(said(&report, "rogue-master"), [severity], "{class}");
        let cause = cause_of(&report, "leader-changed");
        assert_eq!(cause.is_some(), class == 248, "{cause:?}");
    }
}

/// It begins its numbers anew with each of its starts, each after it has lost the lead by its silence.
fn restarts(wire: &mut Wire, times: i64, every: i64, on_for: i64) {
    let sender = Sender { two_step: false, ..leader() };
    for start in (0..times).map(|run| run * every) {
        for second in 0..on_for {
            let us = (start + second) * 1_000_000;
            wire.put(us, &sender, number(second), &Body::Announce { origin_ns: 0, data: sender.actor.data });
            for eighth in 0..8 {
                let us = us + 5_000 + eighth * 125_000;
                wire.put(us, &sender, number(second * 8 + eighth), &Body::Sync { origin_ns: origin(us) });
            }
        }
    }
}

#[test]
fn a_leader_that_loses_the_lead_by_its_restarts_is_named_with_their_period() {
    let mut wire = Wire::default();
    restarts(&mut wire, 6, 20, 14);
    let worse = follower(12);
    for start in 0..6 {
        wire.leads(start * 20 + 17..start * 20 + 20, &worse);
    }
    let report = wire.report();
    assert_eq!(said(&report, "leader-restarts"), ["major"], "{}", report["findings"]);
    let findings = report["findings"].as_array().unwrap();
    let own = findings.iter().find(|finding| finding["id"] == "leader-restarts").unwrap();
    let title = own["title"].as_str().unwrap();
    assert!(title.contains("5 times") && title.contains("about every 20.000 s"), "{title}");
    assert_eq!(cause_of(&report, "grandmaster-flapping").as_deref(), Some("leader-restarts"));
}

#[test]
fn a_leader_that_yields_and_begins_anew_later_did_not_restart() {
    let mut wire = Wire::default();
    restarts(&mut wire, 2, 60, 20);
    let mut better = Sender::of(referenced(3));
    better.actor.data.priority1 = 1;
    wire.leads(15..55, &better);
    assert!(said(&wire.report(), "leader-restarts").is_empty());
}

/// Starts, sends one Sync without its time, waits 17 s: its numbers go on.
#[test]
fn nobody_leading_in_the_end_follows_from_the_leaders_fault_cycle() {
    let sender = leader();
    let mut wire = Wire::default();
    for start in 0..6 {
        for second in 0..4 {
            let us = (start * 20 + second) * 1_000_000;
            let body = Body::Announce { origin_ns: 0, data: sender.actor.data };
            wire.put(us, &sender, number(start * 4 + second), &body);
        }
        let us = (start * 20 + 3) * 1_000_000 + 5000;
        wire.put(us, &sender, number(start), &Body::Sync { origin_ns: 0 });
    }
    for each in 20..24 {
        wire.asks(0..120, &follower(each));
    }
    let report = wire.report();
    assert_eq!(cause_of(&report, "master-transmit-fault-cycle"), None);
    assert_eq!(cause_of(&report, "no-grandmaster").as_deref(), Some("master-transmit-fault-cycle"));
}

/// Two senders announce as one, one shortly after the other: between their messages are gaps of 79 and of 921 ms.
#[test]
fn a_leaders_identity_used_twice_changes_no_leader() {
    let mut twin = leader();
    twin.actor.mac[5] = 0x71;
    let mut wire = Wire::default();
    wire.leads(0..60, &leader());
    for second in 0..60 {
        let body = Body::Announce { origin_ns: 0, data: twin.actor.data };
        wire.put(second * 1_000_000 + 79_000, &twin, number(second + 5000), &body);
    }
    let report = wire.report();
    assert!(!said(&report, "duplicate-clock-identity").is_empty(), "{}", report["findings"]);
    let events = report["events"].as_array().unwrap();
    let kinds: Vec<&str> = events.iter().map(|event| event["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["leader-elected"]);
    assert!(said(&report, "leader-changed").is_empty());
    // Nor have the two a pace in common.
    let clocks = report["domains"][0]["clocks"].as_array().unwrap();
    let own = clocks.iter().find(|clock| !clock["announce"].is_null()).unwrap();
    assert_eq!((&own["announce"]["declared_s"], &own["announce"]["median_s"]), (&1.0.into(), &Value::Null));
}

#[test]
fn domains_that_differ_in_their_vlan_alone_are_told_once() {
    let tagged = |number: u8, vlan| Sender { vlan: Some(vlan), ..Sender::of(referenced(number)) };
    for (domain, cause) in [(0, Some("vlan-split-or-leak")), (1, None)] {
        let mut wire = Wire::default();
        for (vlan, lead, first) in [(10, 1, 20), (20, 2, 30)] {
            let leads = tagged(lead, vlan);
            wire.leads(0..60, &leads);
            for each in first..first + 3 {
                wire.follows(0..60, &Sender { vlan: Some(vlan), ..follower(each) }, &leads);
            }
        }
        // A third domain that is led makes them several however the VLANs are joined.
        if domain != 0 {
            let other = Sender::of(referenced(3).in_domain(domain));
            wire.leads(0..60, &other);
            wire.follows(0..60, &Sender::of(actor(40).in_domain(domain)), &other);
        }
        assert_eq!(cause_of(&wire.report(), "several-domains-in-use").as_deref(), cause, "{domain}");
    }
}

/// A switch asks for members twice and then no more; who named the group is forgotten at 62.9 s. From 65 s on the leader
/// hears no request, and from `rival_from` on another one leads beside it.
fn queried_no_more(group: Ipv4Addr, rival_from: i64) -> Value {
    let mut wire = Wire::default();
    wire.leads(0..150, &leader());
    wire.leads(rival_from..150, &follower(9));
    let mut scene = Scene::default();
    for each in [20, 21] {
        wire.follows(0..65, &follower(each), &leader());
        wire.asks(65..150, &follower(each));
    }
    for second in [1, 21] {
        scene.query(second, SWITCH, 20);
        for member in [leader().actor.mac[5], 9, 20, 21] {
            scene.report(second, member, group);
        }
    }
    scene.frames.extend(wire.0);
    judged::files(&[("made.pcap", scene.file(65_535))]).value()
}

#[test]
fn what_begins_when_switches_have_forgotten_ptps_members_follows_from_the_lost_querier() {
    let (ptp, audio) = (Ipv4Addr::new(224, 0, 1, 129), Ipv4Addr::new(239, 20, 1, 1));
    let querier = Some("no-querier");
    for (group, rival_from, rivals, unanswered) in [
        (ptp, 66, querier, querier),
        // It led beside the leader when its membership still held.
        (ptp, 40, None, querier),
        // What was forgotten is no group of PTP.
        (audio, 66, None, Some("two-masters-one-domain")),
    ] {
        let report = queried_no_more(group, rival_from);
        assert_eq!(said(&report, "no-querier"), ["critical"], "{group} {rival_from}");
        assert_eq!(cause_of(&report, "two-masters-one-domain").as_deref(), rivals, "{group} {rival_from}");
        assert_eq!(
            cause_of(&report, "delay-response-missing").as_deref(),
            unanswered,
            "{group} {rival_from}"
        );
    }
}
