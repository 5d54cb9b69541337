//! Who takes in a stream: members of its group while it ran, by the sources that they asked for (RFC 3376 section 4.2.12,
//! from memory).

use std::net::Ipv4Addr;

use serde_json::Value;
use serde_json::json;

use crate::support::craft::igmp;
use crate::support::group_wire::*;

/// Of each group's stream, who takes it in.
fn receivers(report: &Value) -> Vec<(&str, &Value)> {
    let streams = report["streams"].as_array().unwrap().iter();
    streams.map(|stream| (stream["group"].as_str().unwrap(), &stream["receivers"])).collect()
}

#[test]
fn who_was_a_member_while_a_stream_ran_receives_it() {
    let other = Ipv4Addr::new(239, 20, 7, 7);
    let report = Wire::default()
        .query(1000, SWITCH)
        .igmp(2000, &igmp::report(CAMERA, AUDIO, 1))
        .igmp(2100, &igmp::report(DESK, PICTURE, 1))
        .igmp(2200, &igmp::report(CAMERA, PICTURE, 1))
        .igmp(5000, &igmp::leave(CAMERA, PICTURE, 1))
        .media(6000, PICTURE)
        .media(6000, AUDIO)
        .media(6000, other)
        .media(6000, Ipv4Addr::new(224, 0, 0, 107))
        .media(8000, AUDIO)
        .media(8000, other)
        .igmp(9000, &igmp::report(DESK, AUDIO, 1))
        .read(60_000);
    // The camera had left one group before, the desk joins the other one after the last packet.
    assert_eq!(
        receivers(&report),
        [
            ("224.0.0.107", &Value::Null),
            ("239.20.1.1", &json!(["10.20.0.21"])),
            ("239.20.2.1", &json!(["10.20.0.61"])),
            ("239.20.7.7", &json!([])),
        ]
    );
}

#[test]
fn who_was_a_member_at_some_time_only_is_told_as_that() {
    let report = Wire::default()
        .query(1000, SWITCH)
        .igmp(2000, &igmp::report(CAMERA, AUDIO, 1))
        .igmp(2100, &igmp::report(DESK, AUDIO, 1))
        .igmp(2200, &igmp::report_v3_of(OTHER_SWITCH, igmp::IS_INCLUDE, AUDIO, &[SENDER], 1))
        .media(3000, AUDIO)
        .igmp(4000, &igmp::leave(CAMERA, AUDIO, 1))
        .igmp(4100, &igmp::report_v3_of(OTHER_SWITCH, igmp::IS_INCLUDE, AUDIO, &[ELSEWHERE], 1))
        .media(9000, AUDIO)
        .igmp(10_000, &igmp::leave(DESK, AUDIO, 1))
        .read(60_000);
    let stream = &report["streams"][0];
    assert_eq!(stream["receivers"], json!(["10.20.0.2", "10.20.0.21", "10.20.0.61"]));
    // The desk left after the last packet.
    assert_eq!(stream["receivers_gone"], json!(["10.20.0.2", "10.20.0.21"]));
}

/// One host's reports may be those of the capture's own port: others' would not be here.
#[test]
fn without_others_reports_nobody_knows_the_receivers() {
    let report = Wire::default()
        .query(1000, SWITCH)
        .igmp(2000, &igmp::report(CAMERA, AUDIO, 1))
        .media(6000, PICTURE)
        .read(60_000);
    assert_eq!(receivers(&report), [("239.20.2.1", &Value::Null)]);
}

/// The source of [`Wire::media`], and another.
const SENDER: Ipv4Addr = Ipv4Addr::new(10, 20, 0, 62);
const ELSEWHERE: Ipv4Addr = Ipv4Addr::new(10, 20, 0, 63);

fn member(report: &Value, group: Ipv4Addr, host: Ipv4Addr) -> &Value {
    let members = self::group(report, group)["members"].as_array().unwrap();
    members.iter().find(|member| member["host"] == host.to_string()).unwrap()
}

#[test]
fn who_asks_for_another_source_only_does_not_receive_a_stream() {
    let report = Wire::default()
        .query(1000, SWITCH)
        .igmp(2000, &igmp::report_v3_of(CAMERA, igmp::IS_INCLUDE, AUDIO, &[SENDER], 1))
        .igmp(2100, &igmp::report_v3_of(DESK, igmp::IS_INCLUDE, AUDIO, &[ELSEWHERE], 1))
        .igmp(2200, &igmp::report_v3_of(OTHER_SWITCH, igmp::IS_MEMBER, AUDIO, &[SENDER], 1))
        .media(6000, AUDIO)
        .media(8000, AUDIO)
        .read(60_000);
    assert_eq!(receivers(&report), [("239.20.1.1", &json!(["10.20.0.21"]))]);
    let told = |host| {
        let member = member(&report, AUDIO, host);
        (member["only_from"].clone(), member["all_but"].clone())
    };
    assert_eq!(told(CAMERA), (json!(["10.20.0.62"]), json!([])));
    assert_eq!(told(DESK), (json!(["10.20.0.63"]), json!([])));
    assert_eq!(told(OTHER_SWITCH), (json!(null), json!(["10.20.0.62"])));
    // All three are members of the group all the same.
    assert_eq!(group(&report, AUDIO)["hosts"].as_array().unwrap().len(), 3);
}

#[test]
fn who_turns_to_another_source_has_received_both() {
    let report = Wire::default()
        .igmp(2000, &igmp::report_v3_of(DESK, igmp::ALLOWS, AUDIO, &[ELSEWHERE], 1))
        .igmp(20_000, &igmp::report_v3_of(DESK, igmp::ALLOWS, AUDIO, &[SENDER], 2))
        .igmp(20_000, &igmp::report_v3_of(DESK, igmp::BLOCKS, AUDIO, &[ELSEWHERE], 3))
        .igmp(21_000, &igmp::report_v3_of(CAMERA, igmp::IS_INCLUDE, PICTURE, &[SENDER], 1))
        .media(22_000, AUDIO)
        .media(23_000, AUDIO)
        .read(60_000);
    assert_eq!(receivers(&report), [("239.20.1.1", &json!(["10.20.0.61"]))]);
    assert_eq!(member(&report, AUDIO, DESK)["only_from"], json!(["10.20.0.62"]));
    assert_eq!(kinds(&report)[0], (2.0, "member-joined"));
}

/// RFC 3376 section 5.1: who asked for some sources leaves by taking the last of them back.
#[test]
fn who_takes_its_last_source_back_has_left() {
    let report = Wire::default()
        .igmp(2000, &igmp::report_v3_of(DESK, igmp::ALLOWS, AUDIO, &[SENDER, ELSEWHERE], 1))
        .igmp(20_000, &igmp::report_v3_of(DESK, igmp::BLOCKS, AUDIO, &[SENDER], 2))
        .igmp(30_000, &igmp::report_v3_of(DESK, igmp::BLOCKS, AUDIO, &[ELSEWHERE], 3))
        .igmp(30_500, &igmp::report_v3_of(DESK, igmp::BLOCKS, AUDIO, &[ELSEWHERE], 4))
        .igmp(40_000, &igmp::report_v3_of(DESK, igmp::ALLOWS, AUDIO, &[SENDER], 5))
        .igmp(50_000, &igmp::report_v3_of(CAMERA, igmp::BLOCKS, AUDIO, &[SENDER], 6))
        .read(60_000);
    // The camera's word alone says nothing: what it asked for before is not known.
    let told = [(2.0, "member-joined"), (30.0, "member-left"), (40.0, "member-joined")];
    assert_eq!(kinds(&report), told);
    assert_eq!(group(&report, AUDIO)["members"].as_array().unwrap().len(), 1);
    assert_eq!(member(&report, AUDIO, DESK)["only_from"], json!(["10.20.0.62"]));
}

/// Who asks for all sources but one is a member whatever it takes back.
#[test]
fn who_turns_sources_away_from_all_stays_a_member() {
    let report = Wire::default()
        .igmp(2000, &igmp::report_v3_of(DESK, igmp::JOINS, AUDIO, &[], 1))
        .igmp(20_000, &igmp::report_v3_of(DESK, igmp::BLOCKS, AUDIO, &[SENDER], 2))
        .read(60_000);
    assert_eq!(kinds(&report), [(2.0, "member-joined")]);
    assert_eq!(group(&report, AUDIO)["hosts"], json!(["10.20.0.61"]));
    assert_eq!(member(&report, AUDIO, DESK)["all_but"], json!(["10.20.0.62"]));
}
