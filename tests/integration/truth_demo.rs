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
const VERDICTS: [(&str, &str); 6] = [
    ("playhouse-healthy.pcapng", "sound"),
    ("playhouse-leader-lost.pcapng", "watch"),
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
    assert_eq!(tenures_compared, 11);
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
            found.push((id, text(&finding["device"])));
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
