//! Captures of several interfaces, whose clocks differ, that are of one network or of several, or that see what passes
//! twice: what must not be taken for a fault of a sender.

use serde_json::Value;

use crate::support::craft::capture_file::Interface;
use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::actor;

const TWO: [Interface; 2] = [
    Interface { name: "port0", filter: "", snap_octets: 262_144 },
    Interface { name: "port1", filter: "", snap_octets: 262_144 },
];

/// Ids of findings above info.
fn faults(report: &Value) -> Vec<String> {
    let findings = report["findings"].as_array().unwrap().iter();
    findings
        .filter(|finding| finding["severity"] != "info")
        .map(|finding| finding["id"].to_string())
        .collect()
}

#[test]
fn two_leaders_at_two_interfaces_may_lead_networks_of_their_own() {
    let (red, blue) = (actor(1).class(6), actor(2).class(7));
    for (interface, expected) in [(0, "critical"), (1, "cannot tell")] {
        let mut script = Script::default();
        script.leads(0, 30, (&red, red.mac), 0);
        let first = script.0.len();
        script.leads(50, 30, (&blue, blue.mac), 0);
        script.at_interface(first, interface, 0);
        let report = script.report_in(&TWO);
        assert_eq!(said(&report, "two-masters-one-domain"), [expected]);
        let rivals = report["devices"].as_array().unwrap().iter().filter(|device| device["state"] == "rival");
        assert_eq!(rivals.count(), usize::from(interface == 0));
    }
}

#[test]
fn one_identity_at_two_interfaces_may_be_two_legs_of_one_device() {
    let leader = actor(1);
    for (interface, expected) in [(0, "critical"), (1, "cannot tell")] {
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 100);
        let first = script.0.len();
        script.leads(40, 30, (&leader, [0x02, 0, 0x5E, 0x10, 0, 0x99]), 30_000);
        script.at_interface(first, interface, 0);
        assert_eq!(said(&script.report_in(&TWO), "duplicate-clock-identity"), [expected]);
    }
}

#[test]
fn what_is_captured_twice_is_sent_once() {
    let leader = actor(1);
    for (later_ms, ahead_ms) in
        [0, 2, 5, 60, 200].into_iter().flat_map(|ms| [(ms, 0), (0, ms), (0, ms * 1000)])
    {
        let mut script = Script::default();
        for copy in 0..2 {
            let first = script.0.len();
            script.leads(i64::from(copy) * later_ms, 60, (&leader, leader.mac), 0);
            script.at_interface(first, copy, i64::from(copy) * ahead_ms);
        }
        let report = script.report_in(&TWO);
        assert!(faults(&report).is_empty(), "{later_ms} {ahead_ms}: {:?}", faults(&report));
        let tenures = report["domains"][0]["tenures"].as_array().unwrap().len();
        assert_eq!(tenures, 1, "{later_ms} {ahead_ms}");
    }
}

/// Requests of half the followers, and what is answered to them, at an interface whose clock is ahead.
#[test]
fn interfaces_whose_clocks_differ_show_no_fault() {
    let leader = actor(1);
    for ahead_ms in [-3_600_000, -5000, -200, 200, 5000, 3_600_000] {
        let mut script = Script::default();
        script.leads(0, 60, (&leader, leader.mac), 0);
        script.asks(60, &actor(2));
        script.asks(60, &actor(4));
        let first = script.0.len();
        script.asks(60, &actor(3));
        script.at_interface(first, 1, ahead_ms);
        for follower in [2, 3, 4] {
            script.answers(60, &leader, &actor(follower));
        }
        let report = script.report_in(&TWO);
        assert!(faults(&report).is_empty(), "{ahead_ms}: {:?}", faults(&report));
        assert_eq!(report["domains"][0]["leader"], leader.id().to_string(), "{ahead_ms}");
    }
}

/// A mirror that takes tags off one direction.
#[test]
fn requests_without_the_tag_of_their_leader_are_not_leaderless() {
    let leader = actor(1);
    for (tagged, expected) in [(true, "cannot tell"), (false, "critical")] {
        let mut script = Script::default();
        if tagged {
            script.leads(0, 80, (&leader, leader.mac), 0);
            script.tag(10);
        }
        script.asks(80, &actor(2));
        script.asks(80, &actor(3));
        assert_eq!(said(&script.report(), "no-grandmaster"), [expected], "{tagged}");
    }
}

/// A tap whose two directions are stamped by two clocks: the way to the leader cannot be measured by them.
#[test]
fn a_tap_with_a_clock_for_each_direction_measures_no_path() {
    let leader = actor(1);
    for (interface, measured) in [(0, true), (1, false)] {
        let mut script = Script::default();
        script.leads(0, 60, (&leader, leader.mac), 0);
        script.answers(60, &leader, &actor(2));
        let first = script.0.len();
        script.asks(60, &actor(2));
        script.at_interface(first, interface, if interface == 0 { 0 } else { 3 });
        let report = script.report_in(&TWO);
        let delay = &report["domains"][0]["path"]["mean_path_delay_ns"];
        assert_eq!(delay["count"].as_u64().is_some_and(|count| count > 10), measured, "{delay}");
    }
}

/// One device on two networks, each Sync on both, with numbers of its own on each.
#[test]
fn the_same_time_on_two_legs_does_not_stand_still() {
    let leader = actor(1);
    let mut script = Script::default();
    for (leg, first_number) in [(0, 100), (1, 30_000)] {
        let first = script.0.len();
        script.leads(0, 30, (&leader, leader.mac), first_number);
        script.at_interface(first, leg, 0);
    }
    assert!(said(&script.report_in(&TWO), "zero-or-odd-origin").is_empty());
}

/// Each frame at the other interface than the one before, an hour apart.
#[test]
fn a_capture_that_goes_to_and_fro_between_two_clocks_shows_no_fault() {
    let leader = actor(1);
    for ahead_ms in [-5000, 5000, 3_600_000] {
        let mut script = Script::default();
        script.leads(0, 60, (&leader, leader.mac), 0);
        for follower in [2, 3] {
            script.asks(60, &actor(follower));
            script.answers(60, &leader, &actor(follower));
        }
        script.by_turns(ahead_ms);
        let report = script.report_in(&TWO);
        assert!(faults(&report).is_empty(), "{ahead_ms}: {:?}", faults(&report));
        assert_eq!(said(&report, "declared-interval-differs"), ["cannot tell"], "{ahead_ms}");
    }
}
