//! Members of groups by the report against those that the bridge passed the groups on to, and what the daemons say when
//! it does no more.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use serde_json::Value;

use super::Scenario;
use super::list;
use super::scenarios;
use super::seconds;
use super::text;

/// The group of all PTP messages but peer delay.
const PTP: &str = "224.0.1.129";
/// The kernel's timers of some seconds run out up to 0.64 s late (a 64th of the range they are in, at 100 Hz; Linux,
/// kernel/time/timer.c, from memory), and a busy processor adds to it; the report says when they should.
const LATE_S: f64 = 1.0;
/// A report of membership is stamped by the kernel in the capture, and by whoever watches the bridge when it has a processor
/// to run on: 0.06 s later at most on a busy machine, by measurement (the limit is chosen).
const TOGETHER_S: f64 = 0.25;
/// A leader is given up three to four Announce intervals of 1 s after its last Announce, which came up to one interval
/// before the bridge passed no more on (ptp4l 3.1.1; half a second for a busy processor is chosen).
const GIVEN_UP_S: (f64, f64) = (1.5, 5.5);

fn of(name: &str) -> (&'static Scenario, &'static Value) {
    let scenario = scenarios().iter().find(|each| each.name == name).unwrap();
    (scenario, &scenario.reports[0].1)
}

fn ip<'a>(truth: &'a Value, node: &Value) -> &'a str {
    text(&list(&truth["nodes"]).iter().find(|each| each["name"] == *node).unwrap()["ip"])
}

/// When each host became a member of PTP's group, or ceased to be one, in the capture, by the bridge.
fn by_bridge(scenario: &Scenario, is_member: bool) -> Vec<(&str, f64)> {
    let changes = list(&scenario.truth["bridge_members"]).iter();
    let wanted = changes.filter(|change| change["group"] == PTP && change["is_member"] == is_member);
    let told = wanted.map(|change| (ip(&scenario.truth, &change["node"]), change["at_s"].as_f64().unwrap()));
    told.filter(|(_, at)| *at >= 0.0).collect()
}

/// The same by the report's events of one kind.
fn by_report(report: &Value, kind: &str, verb: &str) -> Vec<(String, f64)> {
    let events = list(&report["events"]).iter().filter(|event| event["kind"] == kind);
    let told = events.filter_map(|event| {
        let host = text(&event["text"]).split_whitespace().find(|word| word.starts_with("192.168."))?;
        text(&event["text"]).contains(verb).then(|| (host.to_owned(), event["at_s"].as_f64().unwrap()))
    });
    told.collect()
}

fn end(report: &Value) -> f64 {
    report["span"]["duration_s"].as_f64().unwrap()
}

/// Pairs of the same host, each by both; those near the end may be seen by one alone.
fn agree(bridge: &[(&str, f64)], report: &[(String, f64)], late: f64, end: f64, what: &str) -> usize {
    let is_near = |(host, at): &(&str, f64), (other, told): &(String, f64)| {
        host == other && (-TOGETHER_S..=late).contains(&(at - told))
    };
    let mut pairs = 0;
    for each in bridge {
        let same = report.iter().filter(|told| is_near(each, told)).count();
        assert!(
            same == 1 || (same == 0 && each.1 > end - late),
            "{what}: {each:?} by the bridge, {report:?}"
        );
        pairs += same;
    }
    for told in report {
        let is_told = bridge.iter().any(|each| is_near(each, told));
        assert!(is_told || told.1 > end - late, "{what}: {told:?} by the report, {bridge:?} by the bridge");
    }
    pairs
}

#[test]
fn memberships_end_and_begin_when_the_bridge_says_so() {
    for (name, fewest_ended, fewest_joined) in [("snooping", 0, 0), ("querier-lost", 4, 2)] {
        let (scenario, report) = of(name);
        let expired = by_report(report, "membership-expired", PTP);
        let ended = agree(&by_bridge(scenario, false), &expired, LATE_S, end(report), "ended");
        assert!(ended >= fewest_ended, "{name}: {ended}");
        let joined = by_report(report, "member-joined", PTP);
        let joined = agree(&by_bridge(scenario, true), &joined, TOGETHER_S, end(report), "joined");
        assert!(joined >= fewest_joined, "{name}: {joined}");
    }
}

#[test]
fn members_at_the_end_are_those_that_the_bridge_holds() {
    for (name, fewest) in [("snooping", 4), ("querier-lost", 0)] {
        let (Scenario { truth, .. }, report) = of(name);
        let mut held = BTreeMap::new();
        for change in list(&truth["bridge_members"]).iter().filter(|change| change["group"] == PTP) {
            let at = change["at_s"].as_f64().unwrap();
            held.insert(ip(truth, &change["node"]), (change["is_member"] == true, at));
        }
        // What changes near the end may be seen by one alone.
        let near_end = |host: &&str| held.get(host).is_some_and(|(_, at)| *at > end(report) - LATE_S);
        let ours = list(&report["multicast"]["memberships"]).iter().find(|row| row["group"] == PTP).unwrap();
        let ours: BTreeSet<&str> =
            list(&ours["hosts"]).iter().map(text).filter(|host| !near_end(host)).collect();
        let bridges = held.iter().filter(|(_, (is_member, _))| *is_member).map(|(host, _)| *host);
        assert_eq!(ours, bridges.filter(|host| !near_end(host)).collect::<BTreeSet<_>>(), "{name}");
        assert!(ours.len() >= fewest, "{name}: {ours:?}");
    }
}

#[test]
fn the_querier_is_who_asks_and_silent_from_when_it_was_silenced() {
    for name in ["snooping", "querier-lost"] {
        let (Scenario { truth, .. }, report) = of(name);
        let told = &truth["querier"];
        let [found] = list(&report["multicast"]["queriers"]) else { panic!("{name}") };
        for key in ["ip", "version"] {
            assert_eq!(found[key], told[key], "{name} {key}");
        }
        let interval = told["interval_s"].as_f64().unwrap();
        assert_eq!(found["declared_interval_s"].as_f64(), Some(interval), "{name}");
        let last = found["last_at_s"].as_f64().unwrap();
        // The next query is due within an interval, and the kernel's timers are late.
        let due = match told["silenced"]["at_s"].as_f64() {
            Some(silenced) => {
                let patience = interval * told["robustness"].as_f64().unwrap()
                    + told["response_s"].as_f64().unwrap() / 2.0;
                let silent = found["silent_since_s"].as_f64().unwrap();
                assert!((silent - last - patience).abs() < 0.001, "{silent}, last {last}");
                assert!(last <= silenced + TOGETHER_S, "{last} after {silenced}");
                silenced
            }
            None => {
                assert!(found["silent_since_s"].is_null(), "{found}");
                end(report)
            }
        };
        assert!(due - last <= interval + LATE_S, "{name}: last {last}, due {due}");
    }
}

/// Log lines of nodes that gave up a leader in the capture: node's address and second of the capture.
fn given_up(truth: &Value) -> Vec<(&str, f64)> {
    let changes = list(&truth["state_changes"]).iter();
    let lost = changes.filter(|change| {
        change["from"] == "UNCALIBRATED"
            && text(&change["text"]).ends_with("ANNOUNCE_RECEIPT_TIMEOUT_EXPIRES")
    });
    let told = lost.map(|change| (ip(truth, &change["node"]), change["at_s"].as_f64().unwrap()));
    told.filter(|(_, at)| *at >= 0.0).collect()
}

/// Each time that a membership runs out by the report, the host's own log says a little later that it hears the leader
/// no more; and never otherwise.
#[test]
fn daemons_lose_the_leader_whenever_their_membership_has_run_out() {
    let (Scenario { truth, .. }, report) = of("snooping");
    assert_eq!(given_up(truth), []);
    assert!(by_report(report, "membership-expired", PTP).is_empty());

    let (Scenario { truth, .. }, report) = of("querier-lost");
    let leader = list(&truth["nodes"]).iter().find(|node| node["role"] == "leader").unwrap();
    let lost = given_up(truth);
    let mut ran_out = by_report(report, "membership-expired", PTP);
    ran_out.retain(|(host, _)| leader["ip"] != *host.as_str());
    let is_near = |(host, at): &(&str, f64), (other, told): &(String, f64)| {
        host == other && (GIVEN_UP_S.0..=GIVEN_UP_S.1).contains(&(at - told))
    };
    for told in &ran_out {
        let same = lost.iter().filter(|each| is_near(each, told)).count();
        let is_late = told.1 > end(report) - GIVEN_UP_S.1;
        assert!(same == 1 || (same == 0 && is_late), "{told:?} by the report, logs {lost:?}");
    }
    for each in &lost {
        assert!(ran_out.iter().any(|told| is_near(each, told)), "{each:?} by its log, {ran_out:?}");
    }
    assert!(lost.len() >= 3, "{lost:?}");
}

/// The standby's log says when it took the lead beside the leader, and the leader's counter shows that no request reached
/// it from when it was no member any more.
#[test]
fn what_comes_of_it_is_seen_when_the_daemons_say_so() {
    let (scenario, report) = of("querier-lost");
    let Scenario { truth, .. } = scenario;
    let node = |role: &str| list(&truth["nodes"]).iter().find(|node| node["role"] == role).unwrap();
    let (leader, standby) = (node("leader"), node("standby"));

    let begins: Vec<&Value> =
        list(&report["events"]).iter().filter(|event| event["kind"] == "rival-began").collect();
    let [began] = begins[..] else { panic!("{begins:?}") };
    let took = list(&truth["state_changes"]).iter().rfind(|change| {
        change["node"] == standby["name"] && change["to"] == "MASTER" && change["at_s"].as_f64() >= Some(0.0)
    });
    // It announces as it takes the lead.
    let apart = seconds(&began["time"]) - seconds(&took.unwrap()["at"]);
    assert!((-0.01..=LATE_S).contains(&apart), "{apart}");

    let gone = by_bridge(scenario, false).into_iter().find(|(host, _)| leader["ip"] == *host).unwrap().1;
    let stopped: Vec<f64> = list(&report["events"])
        .iter()
        .filter(|event| event["kind"] == "answers-stopped")
        .map(|event| event["at_s"].as_f64().unwrap())
        .collect();
    assert!(stopped.len() >= 2, "{stopped:?}");
    for at in stopped {
        // Requests are up to two seconds apart, and one that has given the leader up asks again when it has joined anew.
        assert!((-TOGETHER_S..=2.0 + GIVEN_UP_S.1 + 3.0).contains(&(at - gone)), "{at}, gone {gone}");
    }
}

#[test]
fn all_that_comes_of_a_lost_querier_stands_under_it() {
    let (_, report) = of("querier-lost");
    let findings = list(&report["findings"]);
    let place = findings.iter().position(|finding| finding["id"] == "no-querier").unwrap();
    for id in ["two-masters-one-domain", "delay-response-missing"] {
        let effect = findings.iter().find(|finding| finding["id"] == id).unwrap();
        assert_eq!(effect["follows_from"].as_u64(), u64::try_from(place).ok(), "{id}");
    }
}
