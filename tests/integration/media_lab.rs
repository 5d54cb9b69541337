//! A capture of real senders (GStreamer, ffmpeg) and receivers behind a Linux bridge that snoops and queries, made by
//! `tests/lab/media.py`: the report against what scapy 2.8.0 counts in the same file (`tests/data/scapy-streams.json`),
//! what tcpdump 4.99.3 counted, what the firewall dropped and whom the bridge took for members (`captures/media/media.json`).

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fs;
use std::io::Read;
use std::sync::LazyLock;

use jiff::Timestamp;
use serde_json::Value;

use crate::support::judged;
use crate::support::judged::in_project;

const CAPTURE: &str = "captures/media/media.pcap.gz";
const COUNTED: &str = include_str!("../data/scapy-streams.json");

static REPORT: LazyLock<Value> = LazyLock::new(|| {
    let octets = fs::read(in_project(CAPTURE)).unwrap();
    judged::files(&[("media.pcap.gz", octets)]).value()
});

fn counted() -> Value {
    serde_json::from_str(COUNTED).unwrap()
}

fn told() -> Value {
    serde_json::from_slice(&fs::read(in_project("captures/media/media.json")).unwrap()).unwrap()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_else(|| panic!("no list: {value}"))
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("no text: {value}"))
}

fn stream(group: &str, port: u64) -> &'static Value {
    let is_it = |stream: &&Value| stream["group"] == group && stream["port"] == port;
    list(&REPORT["streams"]).iter().find(is_it).unwrap_or_else(|| panic!("{group}:{port}"))
}

fn nanoseconds(instant: &Value) -> i128 {
    text(instant).parse::<Timestamp>().unwrap().as_nanosecond()
}

#[test]
fn rates_loss_and_marking_are_those_that_scapy_counts() {
    let counted = counted();
    let streams = counted["streams"].as_object().unwrap();
    assert_eq!(streams.len(), 4);
    for (key, theirs) in streams {
        let (group, port) = key.rsplit_once(':').unwrap();
        let ours = stream(group, port.parse().unwrap());
        for name in [
            "packets",
            "octets",
            "mean_bps",
            "peak_1s_bps",
            "peak_100ms_bps",
            "peak_10ms_bps",
            "peak_1ms_bps",
            "dscp",
            "ttl",
        ] {
            // The fullest bin of those that begin at whole seconds may hold less than the mean of all.
            let least = if name.starts_with("peak") { theirs["mean_bps"].as_u64() } else { None };
            let wanted = match (theirs[name].as_u64(), least) {
                (Some(theirs), Some(mean)) => Value::from(theirs.max(mean)),
                _ => theirs[name].clone(),
            };
            assert_eq!(ours[name], wanted, "{key} {name}");
        }
        for (name, as_theirs) in
            [("lost", "lost"), ("duplicated", "duplicated"), ("reordered", "out_of_order")]
        {
            assert_eq!(ours["rtp"][name], theirs[as_theirs], "{key} {name}");
        }
        for (name, as_theirs) in [("first", "first_ns"), ("last", "last_ns")] {
            assert_eq!(
                nanoseconds(&ours[name]),
                i128::from(theirs[as_theirs].as_i64().unwrap()),
                "{key} {name}"
            );
        }
        assert_eq!(ours["payload_type"], theirs["payload_types"][0], "{key}");
    }
    let frames = REPORT["captures"][0]["packets"].as_u64();
    assert_eq!(frames, counted["frames"].as_u64());
}

#[test]
fn what_the_firewall_dropped_is_what_is_missing() {
    let told = told();
    let audio = stream(text(&told["lost"]["group"]), 5004);
    assert_eq!(audio["rtp"]["lost"], told["lost"]["packets"]);
    assert_eq!(told["tcpdump"]["dropped"], 0);
    let by_tcpdump = told["counted_by_tcpdump"].as_object().unwrap();
    let mut compared = 0;
    for (group, packets) in by_tcpdump.iter().filter(|(group, _)| group.starts_with("239.")) {
        let ours = list(&REPORT["streams"])
            .iter()
            .find(|stream| stream["group"] == *group && !stream["rtp"].is_null());
        assert_eq!(&ours.unwrap()["packets"], packets, "{group}");
        compared += 1;
    }
    assert_eq!(compared, 4);
}

/// The audio sender makes 48 samples of 2 channels of 3 octets a packet, ffmpeg announces its H.264 by SAP, the pictures
/// of the encoder come five times a second.
#[test]
fn streams_are_what_the_senders_were_told_to_send() {
    let audio = stream("239.20.1.1", 5004);
    assert_eq!((text(&audio["kind"]), text(&audio["known_by"])), ("audio", "inferred"));
    assert_eq!((text(&audio["codec"]), audio["clock_rate_hz"].as_u64()), ("L24 x2 or L16 x3", Some(48_000)));
    let picture = stream("239.20.2.1", 5006);
    assert_eq!((text(&picture["codec"]), text(&picture["known_by"])), ("H264", "sdp"));
    assert!((picture["frames_per_s"].as_f64().unwrap() - 25.0).abs() < 0.1, "{picture}");
    assert_eq!(picture["session"]["name"], "No Name");
    let raw = stream("239.20.3.1", 5008);
    assert_eq!((text(&raw["codec"]), text(&raw["known_by"])), ("raw", "payload-header"));
    let store = stream("239.20.4.1", 5010);
    assert_eq!((text(&store["codec"]), text(&store["known_by"])), ("H265", "payload-header"));
    assert!((raw["frames_per_s"].as_f64().unwrap() - 5.0).abs() < 0.1, "{raw}");
}

/// The same capture without the frames of one UDP port.
fn without(port: u16) -> Vec<u8> {
    let mut octets = Vec::new();
    let packed = fs::read(in_project(CAPTURE)).unwrap();
    flate2::read::GzDecoder::new(packed.as_slice()).read_to_end(&mut octets).unwrap();
    let mut kept = octets[..24].to_vec();
    let mut rest = &octets[24..];
    while !rest.is_empty() {
        let length = usize::try_from(u32::from_le_bytes(rest[8..12].try_into().unwrap())).unwrap();
        let (record, after) = rest.split_at(16 + length);
        // Ethernet without tags, IPv4 without options.
        let is_it =
            record.get(16 + 36..16 + 38) == Some(&port.to_be_bytes()) && record.get(16 + 23) == Some(&17);
        if !is_it {
            kept.extend(record);
        }
        rest = after;
    }
    kept
}

#[test]
fn without_its_announcements_the_h264_stream_is_known_by_its_payload_headers() {
    let report = judged::files(&[("media.pcap", without(9875))]).value();
    let is_it = |stream: &&Value| stream["group"] == "239.20.2.1" && stream["port"] == 5006;
    let picture = list(&report["streams"]).iter().find(is_it).unwrap();
    assert_eq!((text(&picture["codec"]), text(&picture["known_by"])), ("H264", "payload-header"));
    assert_eq!((&picture["session"], &picture["clock_rate_hz"]), (&Value::Null, &Value::from(90_000)));
}

/// Who joined and left when, by scapy: the first of each host's repeated reports.
fn changes(counted: &Value, kind: &str) -> BTreeMap<(String, String), i128> {
    let mut found = BTreeMap::new();
    for change in list(&counted["igmp"][kind]) {
        let key = (text(&change["host"]).to_owned(), text(&change["group"]).to_owned());
        let at = i128::from(change["at_ns"].as_i64().unwrap());
        found.entry(key).or_insert(at);
    }
    found
}

/// The same by the report's events.
fn events(kind: &str, verb: &str) -> BTreeMap<(String, String), i128> {
    let mut found = BTreeMap::new();
    for event in list(&REPORT["events"]).iter().filter(|event| event["kind"] == kind) {
        let (host, group) = text(&event["text"]).split_once(verb).unwrap();
        let before = found.insert((host.to_owned(), group.to_owned()), nanoseconds(&event["time"]));
        assert_eq!(before, None, "{host} {group} twice");
    }
    found
}

#[test]
fn members_join_and_leave_when_scapy_sees_it() {
    let counted = counted();
    let local = |changes: BTreeMap<(String, String), i128>| -> BTreeMap<(String, String), i128> {
        changes.into_iter().filter(|((_, group), _)| !group.starts_with("224.0.0.")).collect()
    };
    let joins = local(changes(&counted, "joins"));
    assert_eq!(joins.len(), 5);
    assert_eq!(events("member-joined", " joins "), joins);
    let leaves = local(changes(&counted, "leaves"));
    assert_eq!(leaves.len(), 2);
    assert_eq!(events("member-left", " leaves "), leaves);
    // And when the receivers were told to: within a second.
    for step in list(&told()["steps"]) {
        let changes = if step["action"] == "join" { &joins } else { &leaves };
        let key = (text(&step["host"]).to_owned(), text(&step["group"]).to_owned());
        let late = changes[&key] - i128::from(step["at_ns"].as_i64().unwrap());
        assert!((0..1_000_000_000).contains(&late), "{key:?}: {late} ns late");
    }
}

/// Whom the bridge passes each group on to, at four seconds of the run.
#[test]
fn members_are_those_that_the_bridge_holds() {
    let (told, joins, leaves) =
        (told(), events("member-joined", " joins "), events("member-left", " leaves "));
    let hosts: BTreeMap<&str, &str> =
        list(&told["steps"]).iter().map(|step| (text(&step["node"]), text(&step["host"]))).collect();
    // The first step was at the second second.
    let began = i128::from(told["steps"][0]["at_ns"].as_i64().unwrap()) - 2_000_000_000;
    let moments = told["bridge_members"].as_object().unwrap();
    assert_eq!(moments.len(), 4);
    for (second, groups) in moments {
        let at = began + second.parse::<i128>().unwrap() * 1_000_000_000;
        let mut bridge = BTreeSet::new();
        for (group, names) in groups.as_object().unwrap() {
            bridge.extend(list(names).iter().map(|name| (hosts[text(name)].to_owned(), group.clone())));
        }
        let is_member =
            |key: &(String, String)| joins[key] < at && leaves.get(key).is_none_or(|left| *left > at);
        let ours: BTreeSet<_> = joins.keys().filter(|key| is_member(key)).cloned().collect();
        assert_eq!(ours, bridge, "second {second}");
    }
}

#[test]
fn the_bridge_is_the_querier_and_the_streams_have_their_receivers() {
    let (told, counted) = (told(), counted());
    let queriers = list(&REPORT["multicast"]["queriers"]);
    assert_eq!(queriers.len(), 1);
    for key in ["ip", "version"] {
        assert_eq!(queriers[0][key], told["querier"][key]);
    }
    let general =
        list(&counted["igmp"]["queries"]).iter().filter(|query| query["group"] == "0.0.0.0").count();
    assert_eq!(queriers[0]["queries"].as_u64(), u64::try_from(general).ok());
    let interval = queriers[0]["interval_s"].as_f64().unwrap();
    assert!((interval - told["querier"]["interval_s"].as_f64().unwrap()).abs() < 0.5, "{interval}");
    for (group, port, hosts) in [
        ("239.20.1.1", 5004, &["192.168.22.21", "192.168.22.22", "192.168.22.23"][..]),
        ("239.20.2.1", 5006, &["192.168.22.22"]),
        ("239.20.3.1", 5008, &["192.168.22.23"]),
        ("239.20.4.1", 5010, &[]),
    ] {
        let receivers: Vec<&str> = list(&stream(group, port)["receivers"]).iter().map(text).collect();
        assert_eq!(receivers, hosts, "{group}");
    }
    // Nobody asked for the pictures of the store, nor for session announcements.
    assert_eq!(REPORT["multicast"]["unrequested"], serde_json::json!(["239.20.4.1", "239.255.255.255"]));
    assert_eq!(REPORT["multicast"]["unrequested_caveats"], serde_json::json!([]));
    assert_eq!(REPORT["multicast"]["idle"], serde_json::json!([]));
}
