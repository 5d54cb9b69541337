//! What the report says of each demo capture against what is true of it (`captures/truth.json`, read off the run of
//! the seeded model that made the captures).

use std::collections::BTreeMap;
use std::fs;

use serde_json::Value;

use crate::support::judged;
use crate::support::judged::in_project;

/// Evenings on which the lead changes, as the scene in `captures/README.md` tells.
const WITH_A_CHANGE: [&str; 2] = ["playhouse-leader-lost.pcapng", "playhouse-quality-drop.pcapng.gz"];

/// The verdict and, with the default `--fail-on major`, the exit status that the evening deserves.
const VERDICTS: [(&str, &str); 7] = [
    ("playhouse-healthy.pcapng", "sound"),
    ("playhouse-leader-lost.pcapng", "watch"),
    ("playhouse-multicast.pcapng", "fault"),
    ("playhouse-quality-drop.pcapng.gz", "fault"),
    ("playhouse-two-leaders.pcapng", "fault"),
    ("playhouse-v1-beside-v2.pcap", "sound"),
    ("playhouse-wrong-domain.pcapng", "fault"),
];

struct Evening {
    file: String,
    truth: Value,
    report: Value,
}

fn evenings() -> Vec<Evening> {
    let text = fs::read_to_string(in_project("captures/truth.json")).unwrap();
    let truths: Vec<Value> = serde_json::from_str(&text).unwrap();
    assert_eq!(truths.len(), judged::DEMO.len());
    let evening = |truth: Value| {
        let file = truth["file"].as_str().unwrap().to_owned();
        let report = judged::demo(&file).value();
        Evening { file, truth, report }
    };
    truths.into_iter().map(evening).collect()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_else(|| panic!("no list: {value}"))
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("no text: {value}"))
}

/// The domain of the report that has the truth's version and number or subdomain.
fn domain<'a>(evening: &'a Evening, truth: &Value) -> &'a Value {
    let name = |value: &Value| value.as_str().map_or_else(|| value.to_string(), str::to_owned);
    let same = |found: &&Value| {
        found["ptp_version"] == truth["ptp_version"] && name(&found["domain"]) == text(&truth["domain"])
    };
    let mut found = list(&evening.report["domains"]).iter().filter(same);
    let first = found.next().unwrap_or_else(|| panic!("{}: domain {}", evening.file, truth["domain"]));
    assert!(found.next().is_none(), "{}: domain {} twice", evening.file, truth["domain"]);
    first
}

#[test]
fn frames_and_the_span_are_those_of_the_file() {
    for evening in evenings() {
        let (truth, span) = (&evening.truth, &evening.report["span"]);
        for field in ["frames", "first", "last"] {
            assert_eq!(span[field], truth[field], "{} {field}", evening.file);
        }
        assert_eq!(evening.report["captures"][0]["packets"], truth["frames"], "{}", evening.file);
    }
}

#[test]
fn leaders_and_tenures_are_true_to_the_nanosecond() {
    let mut tenures_compared = 0;
    for evening in evenings() {
        let truths = list(&evening.truth["domains"]);
        assert_eq!(list(&evening.report["domains"]).len(), truths.len(), "{}", evening.file);
        for truth in truths {
            let found = domain(&evening, truth);
            let (file, key) = (&evening.file, &found["key"]);
            assert_eq!(found["leader"], truth["leader"], "{file} {key}");
            let (told, happened) = (list(&found["tenures"]), list(&truth["tenures"]));
            assert_eq!(told.len(), happened.len(), "{file} {key}: {told:#?}");
            for (told, happened) in told.iter().zip(happened) {
                // In v1 Sync stands for Announce, in the truth's words too.
                for field in ["clock", "from", "until", "ended_by"] {
                    assert_eq!(told[field], happened[field], "{file} {key} {field}: {told:#}");
                }
                for (told_s, happened_ns) in [("from_at_s", "from_at_ns"), ("until_at_s", "until_at_ns")] {
                    let told_ns = (told[told_s].as_f64().unwrap() * 1e9).round();
                    assert_eq!(Some(told_ns as i64), happened[happened_ns].as_i64(), "{file} {key} {told_s}");
                }
                tenures_compared += 1;
            }
        }
    }
    assert_eq!(tenures_compared, 12);
}

/// The better of the clocks that lead is the one that should: on no evening does the worse one win the election.
#[test]
fn the_clock_that_leads_at_the_end_is_the_rightful_one() {
    for evening in evenings() {
        for truth in list(&evening.truth["domains"]) {
            let found = domain(&evening, truth);
            assert_eq!(found["rightful"], truth["leader"], "{} {}", evening.file, found["key"]);
        }
    }
}

#[test]
fn messages_are_counted_by_type_and_none_is_invented() {
    for evening in evenings() {
        for truth in list(&evening.truth["domains"]) {
            let found = domain(&evening, truth);
            let counted: BTreeMap<&str, u64> = found["messages"]
                .as_object()
                .unwrap()
                .iter()
                .map(|(kind, count)| (kind.as_str(), count.as_u64().unwrap()))
                .filter(|(_, count)| *count > 0)
                .collect();
            let sent: BTreeMap<&str, u64> = truth["messages"]
                .as_object()
                .unwrap()
                .iter()
                .map(|(kind, count)| (kind.as_str(), count.as_u64().unwrap()))
                .collect();
            assert_eq!(counted, sent, "{} {}", evening.file, found["key"]);
        }
    }
}

#[test]
fn devices_are_in_their_true_states() {
    for evening in evenings() {
        let worse_half = followers_of_rivals(&evening);
        let mut told: BTreeMap<&str, &Value> = BTreeMap::new();
        for device in list(&evening.report["devices"]) {
            for mac in list(&device["macs"]) {
                assert!(told.insert(text(mac), device).is_none(), "{}: {mac} is two devices", evening.file);
            }
        }
        for truth in list(&evening.truth["devices"]) {
            let (file, mac) = (&evening.file, text(&truth["mac"]));
            let state = told.remove(mac).map(|device| text(&device["state"]));
            let silent = truth["ptp_frames"] == 0;
            match truth["state"].as_str() {
                // Takes no part: unknown to the report, or known and not judged.
                None => assert!(matches!(state, None | Some("unproven")), "{file} {mac}: {state:?}"),
                // Nothing in the capture can show the state of one that said nothing.
                Some(_) if silent => {
                    assert!(matches!(state, None | Some("unproven")), "{file} {mac}: {state:?}");
                }
                Some("following") if worse_half.contains(&mac) => {
                    assert!(matches!(state, Some("following" | "unproven")), "{file} {mac}: {state:?}");
                }
                Some(right) => assert_eq!(state, Some(right), "{file} {mac}"),
            }
        }
        assert!(told.is_empty(), "{}: devices that are not there: {:?}", evening.file, told.keys());
    }
}

/// MAC addresses of the devices that follow a rival: they follow, and whom they should is the question.
fn followers_of_rivals(evening: &Evening) -> Vec<&str> {
    let rivals: Vec<&Value> =
        list(&evening.truth["domains"]).iter().flat_map(|domain| list(&domain["rivals"])).collect();
    let devices = list(&evening.truth["devices"]).iter();
    devices.filter(|device| rivals.contains(&&device["leader"])).map(|device| text(&device["mac"])).collect()
}

#[test]
fn followers_are_said_to_follow_their_true_leader() {
    let mut compared = 0;
    for evening in evenings() {
        for truth in list(&evening.truth["devices"]).iter().filter(|device| device["state"] == "following") {
            let of_it = |device: &&Value| list(&device["macs"]).contains(&truth["mac"]);
            let Some(device) = list(&evening.report["devices"]).iter().find(of_it) else { continue };
            if device["state"] == "following" {
                assert_eq!(device["leader"], truth["leader"], "{} {}", evening.file, truth["mac"]);
                compared += 1;
            }
        }
    }
    assert!(compared > 60, "{compared} followers compared");
}

#[test]
fn findings_above_info_are_the_planted_faults_and_no_others() {
    for evening in evenings() {
        let file = evening.file.as_str();
        let mut planted: Vec<(&str, &str)> = list(&evening.truth["faults"])
            .iter()
            .map(|fault| (text(&fault["id"]), text(&fault["mac"])))
            .collect();
        let mut found = Vec::new();
        for finding in list(&evening.report["findings"]) {
            let (id, severity) = (text(&finding["id"]), text(&finding["severity"]));
            if severity == "info" {
                continue;
            }
            if id == "leader-changed" {
                assert!(WITH_A_CHANGE.contains(&file) && severity == "minor", "{file}: {finding:#}");
                continue;
            }
            // The core switch is no device of the report: it takes no part in the clock.
            let meant = || planted.iter().find(|(planted, _)| *planted == id).map_or("", |(_, mac)| mac);
            found.push((id, finding["device"].as_str().unwrap_or_else(meant)));
        }
        planted.sort_unstable();
        found.sort_unstable();
        assert_eq!(found, planted, "{file}");
    }
}

#[test]
fn a_change_of_leader_is_told_where_there_is_one() {
    for evening in evenings() {
        let told = list(&evening.report["findings"]).iter().any(|finding| finding["id"] == "leader-changed");
        assert_eq!(told, WITH_A_CHANGE.contains(&evening.file.as_str()), "{}", evening.file);
    }
}

#[test]
fn verdicts_suit_the_evenings() {
    for (file, verdict) in VERDICTS {
        assert_eq!(judged::demo(file).value()["verdict"], verdict, "{file}");
    }
}

#[test]
fn exit_statuses_suit_the_verdicts() {
    for (file, verdict) in VERDICTS {
        let status = if verdict == "fault" { 1 } else { 0 };
        let mut command = assert_cmd::Command::cargo_bin("downbeat").unwrap();
        command.arg("check").arg(in_project("captures").join(file)).assert().code(status);
    }
}

/// Changes of membership of one kind, as the events tell them: when, and what is said.
fn told_changes(evening: &Evening, kind: &str) -> Vec<(i64, String)> {
    let events = list(&evening.report["events"]).iter().filter(|event| event["kind"] == kind);
    events.map(|event| (nanoseconds(&event["at_s"]), text(&event["text"]).to_owned())).collect()
}

fn nanoseconds(seconds: &Value) -> i64 {
    (seconds.as_f64().unwrap() * 1e9).round() as i64
}

#[test]
fn queriers_and_changes_of_membership_are_true_to_the_nanosecond() {
    let mut changes = 0;
    for evening in evenings() {
        let (file, truth) = (&evening.file, &evening.truth["multicast"]);
        let told = list(&evening.report["multicast"]["queriers"]);
        assert_eq!(told.len(), usize::from(!truth["last_query_at_ns"].is_null()), "{file}");
        if let [querier] = told {
            assert_eq!(querier["ip"], truth["querier"], "{file}");
            assert_eq!(querier["queries"], truth["queries"], "{file}");
            assert_eq!(
                Some(nanoseconds(&querier["last_at_s"])),
                truth["last_query_at_ns"].as_i64(),
                "{file}"
            );
            let silent = querier["silent_since_s"].as_f64().map(|_| nanoseconds(&querier["silent_since_s"]));
            assert_eq!(silent, truth["silent_at_ns"].as_i64(), "{file}");
        }
        for (kind, key, words) in [
            ("member-joined", "joins", "HOST joins GROUP"),
            ("member-left", "leaves", "HOST leaves GROUP"),
            ("membership-expired", "expiries", "membership of HOST in GROUP was not renewed and has run out"),
        ] {
            let change = |change: &Value| {
                let words = words.replace("HOST", text(&change["host"]));
                (change["at_ns"].as_i64().unwrap(), words.replace("GROUP", text(&change["group"])))
            };
            let mut happened: Vec<(i64, String)> = list(&truth[key]).iter().map(change).collect();
            happened.sort();
            let mut told = told_changes(&evening, kind);
            told.sort();
            assert_eq!(told, happened, "{file} {kind}");
            changes += told.len();
        }
    }
    assert_eq!(changes, 10);
}

#[test]
fn groups_without_members_and_without_senders_are_the_true_ones() {
    let mut found = 0;
    for evening in evenings() {
        let (told, truth) = (&evening.report["multicast"], &evening.truth["multicast"]);
        for key in ["unrequested", "idle"] {
            assert_eq!(told[key], truth[key], "{} {key}", evening.file);
            found += list(&told[key]).len();
        }
        // Only where every member was heard to answer does nobody's asking show anything.
        let caveats = !list(&told["unrequested_caveats"]).is_empty();
        assert_eq!(caveats, evening.file == "playhouse-two-leaders.pcapng", "{}", evening.file);
    }
    assert!(found > 5, "{found} groups");
}

#[test]
fn devices_are_called_what_they_call_themselves() {
    let mut compared = 0;
    for evening in evenings() {
        for truth in list(&evening.truth["devices"]) {
            let of_it = |device: &&Value| list(&device["macs"]).contains(&truth["mac"]);
            let Some(device) = list(&evening.report["devices"]).iter().find(of_it) else { continue };
            assert_eq!(device["name"], truth["called"], "{} {}", evening.file, truth["mac"]);
            assert_eq!(device["named_by"], truth["called_by"], "{} {}", evening.file, truth["mac"]);
            compared += usize::from(!truth["called"].is_null());
        }
    }
    assert_eq!(compared, 3);
}

#[test]
fn a_second_address_and_the_switch_port_are_found_and_one_mac_for_two_groups() {
    let report = judged::demo("playhouse-multicast.pcapng").value();
    let encoder = |device: &&Value| device["key"] == "02:00:5e:10:00:31";
    let encoder = list(&report["devices"]).iter().find(encoder).unwrap();
    assert_eq!(encoder["ips"], serde_json::json!(["10.20.0.31", "10.20.0.131"]));
    let port = &report["viewpoint"]["switch_ports"][0];
    assert_eq!((text(&port["system"]), text(&port["port"])), ("core switch", "ge-24"));
    assert_eq!(
        report["multicast"]["shared_macs"],
        serde_json::json!([{
            "mac": "01:00:5e:14:01:01", "groups": ["239.20.1.1", "239.148.1.1"], "reserved_for": null
        }])
    );
}
