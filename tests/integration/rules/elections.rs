//! Rules about elections and domains: made captures on which each fires, and near misses.

use crate::support::craft::frame::Mac;
use crate::support::craft::ptp_v2::Body;
use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::actor;

const TWIN: Mac = [0x02, 0x00, 0x5E, 0x10, 0x00, 0x99];

#[test]
fn one_identity_from_two_devices_is_a_critical_fault() {
    let leader = actor(1);
    let mut script = Script::default();
    script.leads(0, 30, (&leader, leader.mac), 100);
    script.leads(40, 30, (&leader, TWIN), 30_000);
    let report = script.report();
    assert_eq!(said(&report, "duplicate-clock-identity"), ["critical"]);
    assert_eq!(report["verdict"], "fault");
    let finding = &report["findings"][0];
    for address in ["02:00:5e:10:00:01", "02:00:5e:10:00:99"] {
        assert!(finding["title"].as_str().unwrap().contains(address), "{finding}");
    }
    // Their numbers alternate, which is no restart and no pace of one sender.
    assert!(
        said(&report, "leader-restarts").is_empty() && said(&report, "declared-interval-differs").is_empty()
    );
}

#[test]
fn a_device_swapped_for_one_of_the_same_identity_is_no_duplicate() {
    let leader = actor(1);
    let mut script = Script::default();
    script.leads(0, 30, (&leader, leader.mac), 100);
    script.leads(31_000, 30, (&leader, TWIN), 30_000);
    assert!(said(&script.report(), "duplicate-clock-identity").is_empty());
}

#[test]
fn a_leader_that_begins_anew_again_and_again_is_named() {
    let leader = actor(1);
    for (restarts, expected) in [(0, vec![]), (1, vec!["minor"]), (4, vec!["major"])] {
        let mut script = Script::default();
        for run in 0..=restarts {
            script.leads(run * 20_000, 19, (&leader, leader.mac), 0);
        }
        assert_eq!(said(&script.report(), "leader-restarts"), expected, "{restarts}");
    }
}

#[test]
fn numbers_that_wrap_or_are_lost_are_no_restart() {
    let leader = actor(1);
    let mut script = Script::default();
    script.leads(0, 60, (&leader, leader.mac), 65_500);
    script.0.retain(|frame| (frame.stamp_ns / 1_000_000_000) % 7 != 3);
    assert!(said(&script.report(), "leader-restarts").is_empty());
}

#[test]
fn requests_of_one_device_alone_are_no_lost_leader() {
    for (askers, seconds, expected) in [(1, 80, "cannot tell"), (2, 40, "cannot tell"), (2, 80, "critical")] {
        let mut script = Script::default();
        for number in 0..askers {
            script.asks(seconds, &actor(number + 1));
        }
        assert_eq!(said(&script.report(), "no-grandmaster"), [expected], "{askers} {seconds}");
    }
}

/// Answers to clocks that never asked: many made-up ones an answer each, or one as a mirror of one direction shows.
#[test]
fn an_answer_or_two_make_nobody_a_follower() {
    let leader = actor(1);
    for (askers, answers, expected) in [(40, 1, "unproven"), (40, 2, "unproven"), (1, 3, "following")] {
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 100);
        for asker in 0..askers {
            for number in 0..answers {
                let requester = actor(100 + asker).port;
                let body = Body::DelayResp { receipt_ns: 0, requester };
                let ms = 2000 + i64::from(number) * 1000 + i64::from(asker);
                script.send(ms, (&leader, leader.mac), number, 0, &body);
            }
        }
        let report = script.report();
        let states: Vec<&str> = report["devices"]
            .as_array()
            .unwrap()
            .iter()
            .map(|device| device["state"].as_str().unwrap())
            .collect();
        assert_eq!(
            states.iter().filter(|state| **state == expected).count(),
            usize::from(askers),
            "{states:?}"
        );
        assert_eq!(states.len(), usize::from(askers) + 1);
    }
}

/// G.8275.1 (from memory): domains 24 to 43 over Ethernet, `priority1` 128, class up to 127.
#[test]
fn telecom_clocks_with_a_reference_may_lead_side_by_side() {
    for (domain, class, expected) in [(24, 6, 0), (24, 140, 1), (0, 6, 1), (23, 6, 1), (43, 6, 0), (44, 6, 1)]
    {
        let (one, other) = (actor(1).class(6).in_domain(domain), actor(2).class(class).in_domain(domain));
        let mut script = Script::default();
        script.leads(0, 30, (&one, one.mac), 0);
        script.leads(40, 30, (&other, other.mac), 0);
        assert_eq!(said(&script.report(), "two-masters-one-domain").len(), expected, "{domain} {class}");
    }
}
