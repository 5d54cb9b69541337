//! Rules about elections and domains: made captures on which each fires, and near misses.

use crate::support::craft::frame::Mac;
use crate::support::craft::ptp_v2::Body;
use crate::support::script::Script;
use crate::support::script::said;
use crate::support::stage::Actor;
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

/// Some count their Announces anew at each lead; a device that restarted does so with its Syncs as well.
#[test]
fn announces_that_begin_anew_while_syncs_count_on_are_no_restart() {
    let leader = actor(1);
    let mut script = Script::default();
    script.leads(0, 60, (&leader, leader.mac), 0);
    let mut announces = 0_u16;
    for frame in script.0.iter_mut().filter(|frame| frame.octets[14] & 0x0F == 0x0B) {
        frame.octets[44..46].copy_from_slice(&(announces % 20).to_be_bytes());
        announces += 1;
    }
    assert_eq!(announces, 60);
    assert!(said(&script.report(), "leader-restarts").is_empty());
}

/// Numbers that count on show that the leader was there, whoever lost its Announces.
#[test]
fn a_leader_whose_announces_are_lost_on_the_way_is_not_said_to_come_and_go() {
    let leader = actor(1);
    let mut script = Script::default();
    script.leads(0, 300, (&leader, leader.mac), 0);
    let mut number = 0;
    script.0.retain(|_| {
        number = (number * 1_103_515_245 + 12_345) % 2_147_483_648_u64;
        (number >> 16) % 10 >= 4
    });
    let report = script.report();
    assert_eq!(report["domains"][0]["tenures"].as_array().unwrap().len(), 1);
    assert!(said(&report, "grandmaster-flapping").is_empty() && said(&report, "leader-changed").is_empty());
}

#[test]
fn clocks_that_differ_in_their_identity_alone_are_named() {
    for (priority2, expected) in [(128, vec!["minor"]), (129, vec![])] {
        let (one, mut other) = (actor(1), actor(2));
        other.data.priority2 = priority2;
        let mut script = Script::default();
        // The other one yields: it announces until it has heard the first.
        script.leads(0, 30, (&one, one.mac), 0);
        script.announces(100, (2, 1000), &other, 0);
        let report = script.report();
        assert_eq!(said(&report, "election-decided-by-identity"), expected, "{priority2}");
        assert!(said(&report, "two-masters-one-domain").is_empty());
    }
    let mut alone = Script::default();
    alone.leads(0, 30, (&actor(1), actor(1).mac), 0);
    assert!(said(&alone.report(), "election-decided-by-identity").is_empty());
}

#[test]
fn a_clock_without_reference_that_beats_one_with_it_is_named() {
    // priority1 of the leader, its class, class of the other: the rule's answer.
    let rows = [
        (100, 248, 6, vec!["major"]),
        (100, 187, 14, vec!["major"]),
        (100, 7, 6, vec![]),
        (100, 248, 248, vec![]),
        (100, 248, 187, vec![]),
    ];
    for (priority1, class, theirs, expected) in rows {
        let (mut winner, reference) = (actor(2).class(class), actor(1).class(theirs));
        winner.data.priority1 = priority1;
        let mut script = Script::default();
        script.leads(0, 30, (&winner, winner.mac), 0);
        script.announces(100, (2, 1000), &reference, 0);
        assert_eq!(said(&script.report(), "unexpected-winner"), expected, "{class} {theirs}");
    }
}

#[test]
fn a_reference_that_fell_silent_is_a_failover_and_no_lost_election() {
    let (mut backup, reference) = (actor(2), actor(1).class(6));
    backup.data.priority1 = 128;
    let mut script = Script::default();
    script.leads(0, 20, (&reference, reference.mac), 0);
    script.leads(24_000, 20, (&backup, backup.mac), 0);
    assert!(said(&script.report(), "unexpected-winner").is_empty());
}

#[test]
fn announces_that_nobody_accepts_are_named() {
    let leader = actor(1);
    for (steps, expected) in [(1, vec![]), (254, vec![]), (255, vec!["major"])] {
        let relay = actor(2).relays(&leader, steps);
        let mut script = Script::default();
        script.announces(0, (10, 1000), &relay, 0);
        assert_eq!(said(&script.report(), "announce-not-qualified"), expected, "{steps}");
    }
}

#[test]
fn announces_too_rare_for_what_they_declare_are_named_once() {
    // Announces, time between them in ms, where one is lost: the rule's answer.
    let rows = [
        (10, 5000, false, vec!["major"]),
        (10, 3900, false, vec![]),
        (5, 5000, false, vec![]),
        (10, 5000, true, vec![]),
    ];
    for (count, every, lost, expected) in rows {
        let leader = actor(1);
        let mut script = Script::default();
        script.announces(0, (count, every), &leader, 0);
        if lost {
            script.0.remove(4);
        }
        // Somebody else is heard all the time.
        script.asks(50, &actor(9));
        let report = script.report();
        assert_eq!(said(&report, "announce-not-qualified"), expected, "{count} {every}");
        assert!(said(&report, "declared-interval-differs").is_empty(), "{count} {every}");
    }
    let mut longer = Script::default();
    longer.announces(0, (25, 5000), &actor(1), 0);
    longer.asks(120, &actor(9));
    let report = longer.report();
    assert!(said(&report, "announce-not-qualified").is_empty());
    assert_eq!(said(&report, "declared-interval-differs"), ["major"]);
}

/// The leader announces every 2 s, the other waits 3 times 250 ms and then leads until the next.
#[test]
fn a_clock_that_leads_between_the_leaders_announces_is_told_as_a_mismatch() {
    for (own, in_spells, expected) in [(-2, true, "mismatch"), (-2, false, "two"), (0, true, "two")] {
        let mut leader = actor(1).every(1);
        leader.data.priority1 = 100;
        let other = actor(2).every(own);
        let mut script = Script::default();
        script.announces(0, (20, 2000), &leader, 0);
        for sync in 0..320 {
            let body = Body::Sync { origin_ns: 0 };
            script.send(i64::from(sync) * 125, (&leader, leader.mac), sync, -3, &body);
        }
        let mut sequence = 0;
        for spell in 0..19 {
            let count = if in_spells { 4 } else { 8 };
            script.announces(spell * 2000 + 900, (count, 250), &other, sequence);
            sequence += count;
        }
        let report = script.report();
        let told = |id| said(&report, id).len();
        let both = (told("announce-interval-mismatch"), told("two-masters-one-domain"));
        assert_eq!(both, if expected == "mismatch" { (1, 0) } else { (0, 1) }, "{own} {in_spells}");
    }
}

#[test]
fn a_long_chain_is_noted_by_its_length() {
    let leader = actor(1);
    let rows = [(4, vec![]), (5, vec!["info"]), (15, vec!["info"]), (16, vec!["minor"])];
    for (steps, expected) in rows {
        let relay = actor(2).relays(&leader, steps);
        let mut script = Script::default();
        script.announces(0, (10, 1000), &relay, 0);
        assert_eq!(said(&script.report(), "excess-steps-removed"), expected, "{steps}");
    }
}

#[test]
fn an_announce_that_goes_round_is_a_ring_only_while_its_clock_is_silent() {
    for (alive, steps, expected) in
        [(false, [2, 4, 6, 8], vec!["critical"]), (true, [2, 4, 6, 8], vec![]), (false, [2, 3, 2, 3], vec![])]
    {
        let leader = actor(1);
        let mut script = Script::default();
        script.announces(0, (if alive { 40 } else { 5 }, 1000), &leader, 0);
        for (part, steps) in (0_u16..).zip(steps) {
            let relay = actor(2).relays(&leader, steps);
            script.announces(10_000 + i64::from(part) * 5000, (5, 1000), &relay, part * 5);
        }
        let severities = said(&script.report(), "excess-steps-removed");
        let grave: Vec<String> = severities.into_iter().filter(|severity| severity != "info").collect();
        assert_eq!(grave, expected, "{alive} {steps:?}");
    }
}

#[test]
fn a_device_with_another_sdo_id_is_told_as_that_and_not_as_another_domain() {
    let leader = actor(1);
    for (sdo, domain, expected) in [(1, 0, ("critical", 0)), (1, 5, ("", 1)), (0, 0, ("", 0))] {
        let mut stray = actor(9).in_domain(domain);
        stray.major_sdo_id = sdo;
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 0);
        script.follows(30, &actor(2), &leader);
        script.follows(30, &actor(3), &leader);
        script.asks(30, &stray);
        let report = script.report();
        assert_eq!(said(&report, "sdo-id-mismatch").concat(), expected.0, "{sdo} {domain}");
        assert_eq!(said(&report, "wrong-domain-follower").len(), expected.1, "{sdo} {domain}");
    }
}

#[test]
fn a_bridge_port_that_measures_its_link_by_gptp_is_only_noted() {
    let leader = actor(1);
    let mut bridge = actor(9);
    bridge.major_sdo_id = 1;
    let mut script = Script::default();
    script.leads(0, 30, (&leader, leader.mac), 0);
    script.follows(30, &actor(2), &leader);
    for sequence in 0..30 {
        let body = Body::PdelayReq { origin_ns: 0 };
        script.send(i64::from(sequence) * 1000, (&bridge, bridge.mac), sequence, 0, &body);
    }
    let report = script.report();
    assert_eq!(said(&report, "sdo-id-mismatch"), ["info"]);
    assert!(said(&report, "wrong-domain-follower").is_empty());
}

#[test]
fn answers_that_go_by_the_minor_version_are_named() {
    // Minor version of those that are answered, of those that are not, how many of the latter: the rule's answer.
    for (answered, deaf, count, expected) in
        [(1, 0, 2, vec!["major"]), (1, 0, 1, vec![]), (1, 1, 2, vec![]), (0, 1, 2, vec![])]
    {
        let of = |number, minor_version| Actor { minor_version, ..actor(number) };
        let leader = of(1, 1);
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 0);
        for number in [2, 3] {
            script.follows(30, &of(number, answered), &leader);
        }
        for number in 0..count {
            script.asks(30, &of(10 + number, deaf));
        }
        assert_eq!(
            said(&script.report(), "minor-version-intolerance"),
            expected,
            "{answered} {deaf} {count}"
        );
    }
}

#[test]
fn a_better_clock_that_is_there_and_stays_silent_is_named() {
    for (still_there, better, expected) in
        [(true, true, vec!["major"]), (false, true, vec![]), (true, false, vec![])]
    {
        let (mut one, mut standby, worse) = (actor(1), actor(2), actor(3));
        one.data.priority1 = 100;
        standby.data.priority1 = if better { 110 } else { 200 };
        let mut script = Script::default();
        script.leads(0, 20, (&one, one.mac), 0);
        script.announces(100, (2, 1000), &standby, 0);
        script.leads(24_000, 40, (&worse, worse.mac), 0);
        if still_there {
            script.asks(64, &standby);
        }
        assert_eq!(said(&script.report(), "stuck-passive-or-backup"), expected, "{still_there} {better}");
    }
}

/// 5 s of silence (chosen) before the capture's end.
#[test]
fn a_leader_that_is_not_heard_in_the_last_moments_is_not_called_lost() {
    for (silent_s, expected) in [(4, "cannot tell"), (8, "critical")] {
        let leader = actor(1);
        let mut script = Script::default();
        script.leads(0, 30, (&leader, leader.mac), 0);
        for follower in [2, 3] {
            script.asks(30 + silent_s, &actor(follower));
        }
        assert_eq!(said(&script.report(), "no-grandmaster"), [expected], "{silent_s}");
    }
}
