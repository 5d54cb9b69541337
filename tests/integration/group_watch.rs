//! Queriers, members over time and the groups on the wire, on made sequences whose truth is known to the nanosecond.
//! Timers: RFC 3376 sections 8.4 and 8.5, from memory.

use std::net::Ipv4Addr;

use serde_json::Value;
use serde_json::json;

use crate::support::craft::frame::ethernet_tagged;
use crate::support::craft::frame::group_mac;
use crate::support::craft::igmp;
use crate::support::group_wire::*;

#[test]
fn a_querier_is_silent_one_millisecond_after_its_time_and_not_at_it() {
    let asked = || Wire::default().query(1000, SWITCH).query(126_000, SWITCH);
    // 2 times 125 s and half of 10 s after the last query.
    let patient = asked().read(126_000 + 255_000);
    assert_eq!(kinds(&patient), []);
    assert_eq!(querier(&patient, "10.20.0.1")["silent_since_s"], Value::Null);
    let silent = asked().read(126_000 + 255_001);
    assert_eq!(kinds(&silent), [(381.0, "querier-silent")]);
    let told = querier(&silent, "10.20.0.1");
    assert_eq!(told["silent_since_s"], 381.0);
    assert_eq!(
        [&told["version"], &told["queries"], &told["interval_s"], &told["last_at_s"], &told["patience_s"]],
        [&json!("IGMPv2"), &json!(2), &json!(125.0), &json!(126.0), &json!(255.0)]
    );
    // Behind the frames at 0 to 120 s, and the first query.
    assert_eq!(silent["events"][0]["frames"], json!([15]));
}

/// Version 3 tells its interval and robustness: 2 times 20 s and half of 5 s.
#[test]
fn a_querier_that_declares_its_interval_is_measured_by_it() {
    let asked = || Wire::default().igmp(1000, &igmp::general_query_v3(SWITCH, 50, 20, 1));
    assert_eq!(kinds(&asked().read(43_500)), []);
    let silent = asked().read(43_501);
    assert_eq!(kinds(&silent), [(43.5, "querier-silent")]);
    let told = querier(&silent, "10.20.0.1");
    assert_eq!(told["declared_interval_s"], 20.0);
    assert_eq!((&told["interval_s"], &told["version"]), (&Value::Null, &json!("IGMPv3")));
}

/// A querier that starts asks every 31.25 s at first (RFC 3376 section 8.6) and is not silent for going on more slowly.
#[test]
fn the_quick_queries_of_a_start_shorten_nobodys_time() {
    let report = Wire::default()
        .query(1000, SWITCH)
        .query(32_250, SWITCH)
        .query(63_500, SWITCH)
        .query(188_500, SWITCH)
        .read(400_000);
    assert_eq!(kinds(&report), []);
    assert_eq!(querier(&report, "10.20.0.1")["interval_s"], 31.25);
}

#[test]
fn the_lower_address_takes_over_and_the_higher_one_does_not() {
    let report = Wire::default().query(1000, OTHER_SWITCH).query(30_000, SWITCH).read(60_000);
    assert_eq!(
        events(&report),
        [(30.0, "querier-changed", "10.20.0.1 asks for group members instead of 10.20.0.2")]
    );
    assert_eq!(querier(&report, "10.20.0.1")["elected"], true);
    assert_eq!(querier(&report, "10.20.0.2")["elected"], false);
    let report = Wire::default().query(1000, SWITCH).query(30_000, OTHER_SWITCH).read(60_000);
    assert_eq!(kinds(&report), []);
    assert_eq!(querier(&report, "10.20.0.1")["elected"], true);
}

#[test]
fn the_higher_address_takes_over_after_the_silence_and_a_querier_may_return() {
    let report = Wire::default().query(1000, SWITCH).query(300_000, OTHER_SWITCH).read(310_000);
    assert_eq!(kinds(&report), [(256.0, "querier-silent"), (300.0, "querier-changed")]);
    let report = Wire::default().query(1000, SWITCH).query(300_000, SWITCH).read(310_000);
    assert_eq!(kinds(&report), [(256.0, "querier-silent"), (300.0, "querier-returned")]);
    assert_eq!(querier(&report, "10.20.0.1")["silent_since_s"], Value::Null);
}

/// Also where other messages between show the silence before the querier does.
#[test]
fn a_querier_returns_though_its_silence_was_noticed_before() {
    let proxy = Ipv4Addr::UNSPECIFIED;
    let report =
        Wire::default().query(1000, SWITCH).query(280_000, proxy).query(300_000, SWITCH).read(310_000);
    assert_eq!(kinds(&report), [(256.0, "querier-silent"), (300.0, "querier-returned")]);
}

#[test]
fn a_query_without_an_address_wins_nothing() {
    let report = Wire::default().query(1000, Ipv4Addr::UNSPECIFIED).query(2000, SWITCH).read(60_000);
    assert_eq!(kinds(&report), []);
    assert_eq!(querier(&report, "0.0.0.0")["elected"], false);
    assert_eq!(querier(&report, "10.20.0.1")["elected"], true);
}

#[test]
fn each_vlan_has_its_own_querier() {
    let mac = [2, 0, 0x5e, 0x10, 0, 1];
    let tagged = |vlan, from| {
        ethernet_tagged(group_mac(ALL), mac, (6, vlan), 0x0800, &igmp::general_query(from, 100, 1))
    };
    let report =
        Wire::default().frame(1000, tagged(10, OTHER_SWITCH)).frame(2000, tagged(20, SWITCH)).read(60_000);
    assert_eq!(kinds(&report), []);
    for (ip, vlan) in [("10.20.0.1", 20), ("10.20.0.2", 10)] {
        let told = querier(&report, ip);
        assert_eq!((&told["vlan"], &told["elected"]), (&json!(vlan), &json!(true)), "{ip}");
    }
}

#[test]
fn an_answer_is_no_join_and_an_unasked_report_is_one() {
    let report = Wire::default()
        .igmp(9000, &igmp::report(Ipv4Addr::new(10, 20, 0, 9), AUDIO, 1))
        .query(20_000, SWITCH)
        .igmp(29_000, &igmp::report(CAMERA, AUDIO, 1))
        .igmp(40_000, &igmp::report(DESK, AUDIO, 1))
        .igmp(41_000, &igmp::report(DESK, AUDIO, 2))
        .read(60_000);
    // The first may answer a query from before the capture.
    assert_eq!(events(&report), [(40.0, "member-joined", "10.20.0.61 joins 239.20.1.1")]);
    let told = group(&report, AUDIO);
    assert_eq!(told["hosts"], json!(["10.20.0.9", "10.20.0.21", "10.20.0.61"]));
    assert_eq!(told["version"], "IGMPv2");
    assert_eq!(told["members"][2]["reports"], 2);
}

#[test]
fn who_left_and_answers_again_has_joined_again() {
    let report = Wire::default()
        .query(1000, SWITCH)
        .igmp(2000, &igmp::report(CAMERA, AUDIO, 1))
        .igmp(3000, &igmp::leave(CAMERA, AUDIO, 2))
        .igmp(4000, &igmp::report(CAMERA, AUDIO, 3))
        .igmp(5000, &igmp::report(CAMERA, AUDIO, 4))
        .read(60_000);
    assert_eq!(kinds(&report), [(3.0, "member-left"), (4.0, "member-joined")]);
}

#[test]
fn version_3_says_itself_what_is_a_join() {
    let report = Wire::default()
        .igmp(2000, &igmp::report_v3(CAMERA, igmp::IS_MEMBER, AUDIO, 1))
        .igmp(3000, &igmp::report_v3(DESK, igmp::JOINS, AUDIO, 1))
        .igmp(40_000, &igmp::report_v3(CAMERA, igmp::LEAVES, AUDIO, 1))
        .igmp(40_500, &igmp::report_v3(CAMERA, igmp::LEAVES, AUDIO, 2))
        .read(60_000);
    assert_eq!(kinds(&report), [(3.0, "member-joined"), (40.0, "member-left")]);
    let told = group(&report, AUDIO);
    assert_eq!(told["hosts"], json!(["10.20.0.61"]));
    let left = &told["members"][0];
    assert_eq!((&left["ended_by"], &left["ended_at_s"]), (&json!("left"), &json!(40.0)));
}

#[test]
fn a_leave_ends_a_membership_also_where_the_report_was_before_the_capture() {
    let report = Wire::default().igmp(5000, &igmp::leave(CAMERA, AUDIO, 1)).read(60_000);
    assert_eq!(events(&report), [(5.0, "member-left", "10.20.0.21 leaves 239.20.1.1")]);
    let told = group(&report, AUDIO);
    assert_eq!((&told["hosts"], &told["version"]), (&json!([]), &Value::Null));
    assert_eq!(report["multicast"]["idle"], json!([]));
}

/// 2 times 125 s and 10 s after the last report (RFC 3376 section 8.4).
#[test]
fn a_membership_runs_out_when_nobody_renews_it() {
    let joined = || Wire::default().igmp(20_000, &igmp::report(CAMERA, AUDIO, 1));
    assert_eq!(kinds(&joined().read(280_000)), [(20.0, "member-joined")]);
    let report = joined().read(280_001);
    assert_eq!(kinds(&report), [(20.0, "member-joined"), (280.0, "membership-expired")]);
    let told = group(&report, AUDIO);
    assert_eq!(told["hosts"], json!([]));
    assert_eq!(told["members"][0]["ended_by"], "expired");
}

/// In version 2 a member keeps quiet when another has answered (RFC 2236 section 3), in version 3 none does.
#[test]
fn another_members_report_renews_version_2_and_not_version_3() {
    let quiet = Wire::default()
        .igmp(20_000, &igmp::report(CAMERA, AUDIO, 1))
        .igmp(200_000, &igmp::report(DESK, AUDIO, 1))
        .read(460_000);
    let joins = [(20.0, "member-joined"), (200.0, "member-joined")];
    assert_eq!(kinds(&quiet), joins);
    assert_eq!(group(&quiet, AUDIO)["hosts"], json!(["10.20.0.21", "10.20.0.61"]));
    let version_3 = Wire::default()
        .igmp(20_000, &igmp::report_v3(CAMERA, igmp::JOINS, AUDIO, 1))
        .igmp(200_000, &igmp::report_v3(DESK, igmp::IS_MEMBER, AUDIO, 1))
        .read(460_000);
    assert_eq!(kinds(&version_3), [joins[0], joins[1], (280.0, "membership-expired")]);
    assert_eq!(group(&version_3, AUDIO)["hosts"], json!(["10.20.0.61"]));
}

#[test]
fn a_group_that_was_forgotten_is_joined_anew() {
    let report = Wire::default()
        .igmp(20_000, &igmp::report(CAMERA, AUDIO, 1))
        .igmp(400_000, &igmp::report(DESK, AUDIO, 1))
        .igmp(410_000, &igmp::report(CAMERA, AUDIO, 1))
        .read(420_000);
    assert_eq!(
        kinds(&report),
        [
            (20.0, "member-joined"),
            (280.0, "membership-expired"),
            (400.0, "member-joined"),
            (410.0, "member-joined")
        ]
    );
}

#[test]
fn link_local_groups_are_members_only_groups_and_nothing_else() {
    let mdns = Ipv4Addr::new(224, 0, 0, 251);
    let report = Wire::default()
        .igmp(20_000, &igmp::report(CAMERA, mdns, 1))
        .media(21_000, Ipv4Addr::new(224, 0, 0, 107))
        .read(400_000);
    assert_eq!(kinds(&report), []);
    assert_eq!(group(&report, mdns)["members"][0]["ended_by"], "expired");
    for key in ["idle", "unrequested", "shared_macs"] {
        assert_eq!(report["multicast"][key], json!([]), "{key}");
    }
}

#[test]
fn groups_are_held_against_what_was_asked_for() {
    let report = Wire::default()
        .query(1000, SWITCH)
        .igmp(2000, &igmp::report(CAMERA, AUDIO, 1))
        .igmp(3000, &igmp::report(DESK, PICTURE, 1))
        .media(4000, AUDIO)
        .media(5000, Ipv4Addr::new(239, 20, 7, 7))
        .read(60_000);
    let multicast = &report["multicast"];
    assert_eq!(multicast["idle"], json!(["239.20.2.1"]));
    assert_eq!(multicast["unrequested"], json!(["239.20.7.7"]));
    assert_eq!(multicast["unrequested_caveats"], json!([]));
}

/// Reports of one host only, no query, or no time for answers: that nobody asked shows nothing.
#[test]
fn a_group_nobody_asked_for_comes_with_what_speaks_against_it() {
    let caveats = |wire: Wire, until| {
        let report = wire.media(5000, PICTURE).read(until);
        assert_eq!(report["multicast"]["unrequested"], json!(["239.20.2.1"]));
        report["multicast"]["unrequested_caveats"].as_array().unwrap().len()
    };
    let reports = |wire: Wire| {
        wire.igmp(2000, &igmp::report(CAMERA, AUDIO, 1)).igmp(3000, &igmp::report(DESK, AUDIO, 1))
    };
    assert_eq!(caveats(Wire::default(), 60_000), 2);
    assert_eq!(caveats(reports(Wire::default()), 60_000), 1);
    assert_eq!(caveats(reports(Wire::default().query(1000, SWITCH)), 10_999), 1);
    assert_eq!(caveats(reports(Wire::default().query(1000, SWITCH)), 11_000), 0);
    let one_host = Wire::default().query(1000, SWITCH).igmp(2000, &igmp::report(CAMERA, AUDIO, 1));
    assert_eq!(caveats(one_host, 60_000), 1);
}

/// RFC 1112 section 6.4: 23 bits of the group are in the address.
#[test]
fn groups_that_share_an_address_are_told_with_whom() {
    let report = Wire::default()
        .media(1000, AUDIO)
        .igmp(2000, &igmp::report(DESK, Ipv4Addr::new(239, 148, 1, 1), 1))
        .media(3000, Ipv4Addr::new(239, 0, 1, 129))
        .media(4000, Ipv4Addr::new(239, 128, 0, 251))
        .media(5000, PICTURE)
        .read(60_000);
    assert_eq!(
        report["multicast"]["shared_macs"],
        json!([
            { "mac": "01:00:5e:00:00:fb", "groups": ["239.128.0.251"], "reserved_for": "link-local" },
            { "mac": "01:00:5e:00:01:81", "groups": ["239.0.1.129"], "reserved_for": "ptp" },
            { "mac": "01:00:5e:14:01:01", "groups": ["239.20.1.1", "239.148.1.1"], "reserved_for": null },
        ])
    );
    let ptp_alone = Wire::default().media(1000, Ipv4Addr::new(224, 0, 1, 129)).read(60_000);
    assert_eq!(ptp_alone["multicast"]["shared_macs"], json!([]));
}

/// The machine that captures was paused: of what came meanwhile nothing is known.
#[test]
fn a_hole_of_the_whole_capture_silences_no_querier_and_ends_no_membership() {
    let before = || {
        Wire::default()
            .query(1000, SWITCH)
            .igmp(2000, &igmp::report(CAMERA, AUDIO, 1))
            .igmp(3000, &igmp::report_v3(DESK, igmp::IS_MEMBER, PICTURE, 1))
    };
    let paused = before().idle(0, 100_000).idle(1_100_000, 1_355_000).read_as_it_is();
    assert_eq!(kinds(&paused), []);
    assert_eq!(querier(&paused, "10.20.0.1")["silent_since_s"], Value::Null);
    assert_eq!(group(&paused, AUDIO)["hosts"], json!(["10.20.0.21"]));
    assert_eq!(group(&paused, PICTURE)["hosts"], json!(["10.20.0.61"]));
    // An answer to what was asked in the hole is no join.
    let answered = before().idle(0, 100_000).idle(1_100_000, 1_200_000);
    let answered = answered.igmp(1_109_000, &igmp::report(DESK, AUDIO, 1)).read_as_it_is();
    assert_eq!(kinds(&answered), []);
    // Behind the hole a silence is one once it is long enough alone.
    let long = before().idle(0, 100_000).idle(1_100_000, 1_361_000).read_as_it_is();
    let ends = [(1355.0, "querier-silent"), (1360.0, "membership-expired"), (1360.0, "membership-expired")];
    assert_eq!(kinds(&long), ends);
    // Where something passed all the time, the querier was silent.
    let whole = before().read(1_355_000);
    assert_eq!(
        kinds(&whole),
        [(256.0, "querier-silent"), (262.0, "membership-expired"), (263.0, "membership-expired")]
    );
}

/// As in the elections: a stray stamp, and a clock that is set.
#[test]
fn a_clock_that_runs_ahead_or_is_set_silences_no_querier() {
    const HOUR: u32 = 3_600_000;
    let asked = || {
        let wire = (0..3).fold(Wire::default(), |wire, round| {
            let at_ms = 1000 + round * 125_000;
            let wire = wire.query(at_ms, SWITCH);
            wire.igmp(at_ms + 2000, &igmp::report_v3(CAMERA, igmp::IS_MEMBER, AUDIO, 1))
        });
        let mut wire = wire.idle(0, 300_000);
        wire.frames.sort_by_key(|(at_ms, _)| *at_ms);
        wire
    };
    let quiet = asked().read_as_it_is();
    assert_eq!(kinds(&quiet), []);
    let count = asked().frames.len();
    // That the capture's clock was set is told of the capture.
    let of_groups = |report: &Value| -> Vec<String> {
        let kinds = kinds(report).into_iter().map(|(_, kind)| kind.to_owned());
        kinds.filter(|kind| kind != "time-step").collect()
    };
    for index in 1..count {
        let stray = asked().stamped(|at, at_ms| if at == index { at_ms + HOUR } else { at_ms });
        let set = asked().stamped(|at, at_ms| if at >= index { at_ms + HOUR } else { at_ms });
        let set_back = asked().stamped(|at, at_ms| if at < index { at_ms + HOUR } else { at_ms });
        for report in [stray, set, set_back] {
            assert_eq!(of_groups(&report), Vec::<String>::new(), "{index}");
            assert_eq!(querier(&report, "10.20.0.1")["silent_since_s"], Value::Null);
            assert_eq!(group(&report, AUDIO)["hosts"], json!(["10.20.0.21"]));
        }
    }
    // The near miss: a silence beside a stray stamp is still told.
    let silent = asked().idle(310_000, 600_000);
    let silent = silent.stamped(|at, at_ms| if at == 20 { at_ms + HOUR } else { at_ms });
    assert_eq!(kinds(&silent), [(506.0, "querier-silent"), (513.0, "membership-expired")]);
}

/// Where queries alone were captured, the time between them is no hole.
#[test]
fn queries_alone_still_show_their_interval() {
    let report = (0..5).fold(Wire::default(), |wire, round| wire.query(1000 + round * 125_000, SWITCH));
    let report = report.read_as_it_is();
    assert_eq!(querier(&report, "10.20.0.1")["interval_s"], 125.0);
}

#[test]
fn two_that_go_on_asking_contend_and_one_that_steps_back_does_not() {
    let both = |higher: u32| {
        let wire = (0..6).fold(Wire::default(), |wire, round| wire.query(1000 + round * 125_000, SWITCH));
        (0..higher).fold(wire, |wire, round| wire.query(11_000 + round * 125_000, OTHER_SWITCH)).read(700_000)
    };
    let events_of = |report: &Value| {
        events(report).iter().map(|(at, kind, text)| format!("{at} {kind} {text}")).collect::<Vec<_>>()
    };
    let words =
        "querier-contention 10.20.0.2 goes on asking for group members beside 10.20.0.1, which is lower";
    assert_eq!(events_of(&both(3)), [format!("261 {words}")]);
    assert_eq!(events_of(&both(6)), [format!("261 {words}")]);
    assert_eq!(events_of(&both(2)), [""; 0]);
    let said = |report: &Value| {
        let findings = report["findings"].as_array().unwrap();
        findings.iter().any(|finding| finding["id"] == "querier-contention-or-move")
    };
    assert!(said(&both(3)));
    assert!(!said(&both(2)));
    // One that takes over from the other, time and again, does not contend.
    let turns = (0..4).fold(Wire::default(), |wire, round| {
        wire.query(1000 + round * 600_000, SWITCH).query(301_000 + round * 600_000, OTHER_SWITCH)
    });
    assert!(kinds(&turns.read(2_300_000)).iter().all(|(_, kind)| *kind != "querier-contention"));
}

#[test]
fn a_querier_without_an_address_is_told_where_nobody_else_asks() {
    let nameless =
        || Wire::default().query(1000, Ipv4Addr::UNSPECIFIED).query(126_000, Ipv4Addr::UNSPECIFIED);
    assert_eq!(
        events(&nameless().read(300_000)),
        [(1.0, "querier-without-address", "group members are asked for from 0.0.0.0, and from no address")]
    );
    // Another may ask in what is not in view.
    assert_eq!(kinds(&nameless().read(250_000)), []);
    assert_eq!(kinds(&nameless().query(200_000, SWITCH).read(300_000)), []);
}

/// RFC 2236 section 3 and RFC 3376 section 6.4.2, from memory: a second for each answer, two queries.
#[test]
fn members_that_do_not_answer_for_their_group_are_forgotten() {
    let left = || {
        Wire::default()
            .query(1000, SWITCH)
            .igmp(2000, &igmp::report(CAMERA, AUDIO, 1))
            .igmp(3000, &igmp::report(DESK, PICTURE, 1))
            .igmp(20_000, &igmp::leave(DESK, AUDIO, 1))
            .igmp(20_100, &igmp::group_query(SWITCH, AUDIO, 10, 1))
    };
    let twice = || left().igmp(21_100, &igmp::group_query(SWITCH, AUDIO, 10, 2));
    let gone = twice().read(60_000);
    let ended =
        "membership of 10.20.0.21 in 239.20.1.1 has ended: nobody answered the queries for that group";
    assert_eq!(
        events(&gone),
        [(20.0, "member-left", "10.20.0.61 leaves 239.20.1.1"), (22.1, "membership-expired", ended),]
    );
    assert_eq!(group(&gone, AUDIO)["hosts"], json!([]));
    assert_eq!(group(&gone, AUDIO)["members"][0]["ended_by"], "unanswered");
    // The other group is still asked for, and this one no more.
    assert_eq!(gone["multicast"]["idle"], json!(["239.20.2.1"]));
    // One query, an answer in the last moment, and no time for it.
    let camera = json!(["10.20.0.21"]);
    assert_eq!(group(&left().read(60_000), AUDIO)["hosts"], camera);
    let answered = twice().igmp(22_100, &igmp::report(CAMERA, AUDIO, 2)).read(60_000);
    assert_eq!(group(&answered, AUDIO)["hosts"], camera);
    assert_eq!(group(&twice().read(22_100), AUDIO)["hosts"], camera);
    // Who answers too late has joined anew.
    let late = twice().igmp(40_000, &igmp::report(CAMERA, AUDIO, 2)).read(60_000);
    assert_eq!(kinds(&late)[2], (40.0, "member-joined"));
}

#[test]
fn reports_for_what_is_no_group_are_counted_and_are_no_memberships() {
    let stage = Ipv4Addr::new(10, 20, 0, 77);
    let report = Wire::default()
        .igmp(20_000, &igmp::report(CAMERA, stage, 1))
        .igmp(21_000, &igmp::leave(CAMERA, Ipv4Addr::new(240, 0, 0, 1), 1))
        .igmp(22_000, &igmp::report_v3(CAMERA, igmp::JOINS, Ipv4Addr::UNSPECIFIED, 1))
        .igmp(23_000, &igmp::report(CAMERA, Ipv4Addr::new(239, 255, 255, 255), 1))
        .read(60_000);
    let multicast = &report["multicast"];
    assert_eq!(multicast["reports_of_no_group"], 3);
    assert_eq!(multicast["no_group"], "10.20.0.77");
    assert_eq!(multicast["memberships"].as_array().unwrap().len(), 1);
    assert_eq!(kinds(&report), [(23.0, "member-joined")]);
    assert_eq!(multicast["idle"], json!(["239.255.255.255"]));
}

#[test]
fn a_broken_message_is_a_problem_of_the_capture_and_changes_nothing() {
    let mut broken = igmp::report(CAMERA, AUDIO, 1);
    broken.truncate(24 + 6);
    // The header says how long the packet is.
    broken[3] = 30;
    let report = Wire::default().igmp(20_000, &broken).read(60_000);
    assert_eq!(report["captures"][0]["undecodable"], 1);
    let text = report["captures"][0]["problems"][0]["text"].as_str().unwrap();
    assert_eq!(text, "IGMP message ends inside Group Address");
    assert_eq!(report["multicast"]["memberships"], json!([]));
}

/// Reports that come when a query was due and none was captured may answer it; at any other time they are joins.
#[test]
fn a_report_that_may_answer_a_query_that_was_not_captured_is_no_join() {
    let host = Ipv4Addr::new(10, 20, 0, 61);
    let group = Ipv4Addr::new(239, 20, 1, 1);
    // Queries every 125 s, that at 251 s missing.
    for (at_ms, joins) in [(255_000, 0), (261_500, 0), (200_000, 1), (265_000, 1)] {
        let report = Wire::default()
            .query(1000, SWITCH)
            .query(126_000, SWITCH)
            .igmp(at_ms, &igmp::report(host, group, 7))
            .query(376_000, SWITCH)
            .read(380_000);
        let told = kinds(&report).iter().filter(|(_, kind)| *kind == "member-joined").count();
        assert_eq!(told, joins, "{at_ms}");
    }
}
