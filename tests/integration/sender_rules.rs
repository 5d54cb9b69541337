//! Rules about how a sender counts and keeps time: made captures on which each fires, and near misses.

use serde_json::Value;

use crate::support::craft::capture_file;
use crate::support::craft::capture_file::CapturedFrame;
use crate::support::craft::frame;
use crate::support::craft::frame::Mac;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::judged;
use crate::support::stage::Actor;
use crate::support::stage::BEGINNING;
use crate::support::stage::actor;

/// A capture of PTP over Ethernet in the making.
#[derive(Default)]
struct Script(Vec<CapturedFrame>);

impl Script {
    fn send(&mut self, ms: i64, (actor, mac): (&Actor, Mac), sequence: u16, log_interval: i8, body: &Body) {
        let header = ptp_v2::Header {
            domain: actor.domain,
            flags: [0, 0],
            correction: 0,
            source: actor.port,
            sequence,
            log_interval,
        };
        let message = ptp_v2::encode(&header, body);
        let octets = frame::ethernet([0x01, 0x1B, 0x19, 0, 0, 0], mac, 0x88F7, &message);
        self.0.push(CapturedFrame { stamp_ns: BEGINNING.0 + ms * 1_000_000, interface: 0, octets });
    }

    /// Announce every second, Sync eight times a second, for `seconds`, the numbers from `first` on.
    fn leads(&mut self, from_ms: i64, seconds: i64, who: (&Actor, Mac), first: u16) {
        for (number, second) in (0_u16..).zip(0..seconds) {
            let ms = from_ms + second * 1000;
            self.send(
                ms,
                who,
                first.wrapping_add(number),
                0,
                &Body::Announce { origin_ns: 0, data: who.0.data },
            );
            for eighth in 0..8_u16 {
                let sequence = first.wrapping_add(number.wrapping_mul(8)).wrapping_add(eighth);
                self.send(ms + 5 + i64::from(eighth) * 125, who, sequence, -3, &Body::Sync { origin_ns: 0 });
            }
        }
    }

    fn asks(&mut self, seconds: i64, who: &Actor) {
        for (sequence, second) in (0_u16..).zip(0..seconds) {
            self.send(second * 1000 + 333, (who, who.mac), sequence, 0x7F, &Body::DelayReq { origin_ns: 0 });
        }
    }

    fn report(mut self) -> Value {
        self.0.sort_by_key(|frame| frame.stamp_ns);
        judged::files(&[("made.pcap", capture_file::pcap(262_144, &self.0))]).value()
    }
}

/// The severities of a rule's findings, or "cannot tell".
fn said(report: &Value, id: &str) -> Vec<String> {
    let of = |part: &str| report[part].as_array().unwrap().iter().filter(|item| item["id"] == id).cloned();
    let found: Vec<String> =
        of("findings").map(|finding| finding["severity"].as_str().unwrap().to_owned()).collect();
    if found.is_empty() { of("not_judged").map(|_| "cannot tell".to_owned()).collect() } else { found }
}

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
fn a_leader_that_announces_slower_than_it_declares_is_named_and_never_lost() {
    let leader = actor(1);
    for (every, expected) in [(1000, vec![]), (1250, vec![]), (1400, vec!["major"]), (4000, vec!["major"])] {
        let mut script = Script::default();
        for number in 0..30_u16 {
            let ms = i64::from(number) * every;
            let body = Body::Announce { origin_ns: 0, data: leader.data };
            script.send(ms, (&leader, leader.mac), number, 0, &body);
        }
        let report = script.report();
        assert_eq!(said(&report, "declared-interval-differs"), expected, "{every}");
        assert_eq!(report["domains"][0]["tenures"].as_array().unwrap().len(), 1, "{every}");
    }
}

#[test]
fn a_flood_of_announces_is_named() {
    let leader = actor(1);
    let mut script = Script::default();
    for number in 0..5000_u16 {
        let body = Body::Announce { origin_ns: 0, data: leader.data };
        script.send(i64::from(number) * 4, (&leader, leader.mac), number, 0, &body);
    }
    assert_eq!(said(&script.report(), "declared-interval-differs"), ["major"]);
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
