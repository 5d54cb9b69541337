//! The JSON report's shape: the schema in `docs/report.schema.json` is the library's own, every report fits it, and
//! a second check, written by hand from the contract of the report, holds names and formats fast.
//! `DOWNBEAT_WRITE_SCHEMA=1 cargo test json_schema` writes the schema anew.

use std::fs;
use std::path::Path;

use downbeat::report;
use serde_json::Value;

use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::judged;
use crate::support::judged::in_project;

const SCHEMA: &str = "docs/report.schema.json";

/// Every report the tests know how to make: the file's name and the document.
fn reports() -> Vec<(String, Value)> {
    let mut captures: Vec<(String, Vec<u8>)> = Vec::new();
    for folder in ["captures", "captures/lab", "captures/media", "../shared/captures"] {
        if !in_project(folder).is_dir() {
            println!("passed over: {folder} is not beside the project");
            continue;
        }
        captures.extend(judged::captures_in(&in_project(folder)));
    }
    assert!(captures.len() >= 18, "{}", captures.len());
    captures.push(("no-ptp.pcap".to_owned(), without_ptp()));
    captures.push(("no-frames.pcap".to_owned(), PcapFile::new(Order::Little, PcapKind::Nanoseconds).octets));
    let healthy = fs::read(in_project("captures/playhouse-healthy.pcapng")).unwrap();
    captures.push(("cut.pcapng".to_owned(), healthy[..healthy.len() / 2].to_vec()));
    let mut scratched = healthy;
    let middle = scratched.len() / 2;
    scratched[middle..middle + 600].fill(0xff);
    captures.push(("scratched.pcapng".to_owned(), scratched));
    let mut reports: Vec<(String, Value)> = captures
        .iter()
        .map(|(name, octets)| (name.clone(), judged::files(&[(name, octets.clone())]).value()))
        .collect();
    let several: Vec<(&str, Vec<u8>)> =
        captures.iter().rev().take(4).map(|(name, octets)| (name.as_str(), octets.clone())).collect();
    reports.push(("several files".to_owned(), judged::files(&several).value()));
    let unreadable = [("text", b"no capture".to_vec()), ("no-ptp.pcap", without_ptp())];
    reports.push(("one unreadable".to_owned(), judged::files(&unreadable).value()));
    reports
}

/// ARP once a second.
pub(crate) fn without_ptp() -> Vec<u8> {
    let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
    let mut frame = vec![0xff; 6];
    frame.extend([0x02, 0, 0x5e, 0x10, 0, 0x21, 0x08, 0x06]);
    // An ARP question of 10.20.0.21 for 10.20.0.1 (RFC 826).
    frame.extend([0, 1, 8, 0, 6, 4, 0, 1, 0x02, 0, 0x5e, 0x10, 0, 0x21, 10, 20, 0, 21]);
    frame.extend([0, 0, 0, 0, 0, 0, 10, 20, 0, 1]);
    frame.resize(60, 0);
    for second in 0..30 {
        file.record(1_791_055_680 + second, 0, &frame);
    }
    file.octets
}

#[test]
fn the_committed_schema_is_the_one_the_library_gives() {
    let path = in_project(SCHEMA);
    if std::env::var_os("DOWNBEAT_WRITE_SCHEMA").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, report::schema()).unwrap();
    }
    let committed = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{SCHEMA}: {error}"));
    assert_eq!(committed, report::schema(), "write it anew: DOWNBEAT_WRITE_SCHEMA=1 cargo test json_schema");
}

#[test]
fn every_report_fits_the_schema() {
    let schema: Value = serde_json::from_str(&report::schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for (name, document) in reports() {
        let errors: Vec<String> = validator
            .iter_errors(&document)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{name}: {errors:#?}");
    }
}

/// A schema that lets anything pass would agree with every report.
#[test]
fn the_schema_refuses_what_the_report_never_says() {
    let schema: Value = serde_json::from_str(&report::schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let right = judged::demo("playhouse-two-leaders.pcapng").value();
    assert!(validator.is_valid(&right));
    for (pointer, wrong) in [
        ("/verdict", Value::from("well")),
        ("/span/frames", Value::from("many")),
        ("/devices/0/state", Value::from("lost")),
        ("/findings/0/severity", Value::from(1)),
        ("/domains/0/messages", Value::from(7)),
        ("/captures", Value::Null),
    ] {
        let mut document = right.clone();
        *document.pointer_mut(pointer).unwrap() = wrong;
        assert!(!validator.is_valid(&document), "{pointer}");
    }
    let mut more = right.clone();
    more.as_object_mut().unwrap().insert("surprise".to_owned(), Value::Null);
    assert!(!validator.is_valid(&more));
    let mut less = right;
    less.as_object_mut().unwrap().remove("verdict");
    assert!(!validator.is_valid(&less));
}

// Section 3 of the contract, by hand: which keys stand where.

const TOP: &str = "schema tool captures verdict viewpoint domains devices streams sources multicast link events \
findings not_judged";
const CAPTURE: &str = "file format compression packets octets first last duration_s resolution_ns snapped \
undecodable time_backsteps drops_reported link_types damage";
const DOMAIN: &str = "key ptp_version domain sdo_id transports vlan messages leader tenures rightful decided_by \
succession clocks path profiles";
const MESSAGES: &str = "sync follow_up delay_req delay_resp pdelay_req pdelay_resp pdelay_resp_follow_up announce \
signaling management";
const TENURE: &str = "clock from until from_at_s until_at_s ended_by won_on";
const CLOCK: &str = "clock port steps_removed priority1 priority2 clock_class clock_accuracy variance time_source \
utc_offset_s flags announce sync delay_req delay_resp two_step first last sources";
const CADENCE: &str = "declared_s median_s count missed";
const DEVICE: &str = "key name named_by vendor_prefix macs ips clocks domains leader state strength reasons \
offset_ns media_rate_ppm";
const EVENT: &str = "time at_s kind domain device text frames";
const FINDING: &str = "id severity strength domain device stream title evidence next sources";
const EVIDENCE: &str = "file frame time text";

const STREAM: &str = "key source_ip source_mac device group port vlan ssrc payload_type kind codec packets octets first \
last mean_bps peak_1s_bps peak_100ms_bps peak_1ms_bps payload_mean_bps rtp clock_rate_hz media_rate_ppm \
media_rate_sigma_ppm media_offset_ns dscp pcp ttl session receivers clocked";
const RTP: &str = "lost duplicated reordered restarts jitter_ns";
const SOURCE: &str = "device source_ip streams mean_bps peak_1s_bps share_of_link";
const LINK: &str = "speed_bps mean_bps peak_1s_bps peak_100ms_bps peak_1ms_bps load_mean load_peak_1s";

fn holds(value: &Value, keys: &str, what: &str) {
    let object = value.as_object().unwrap_or_else(|| panic!("{what} is no object: {value}"));
    for key in keys.split_whitespace() {
        assert!(object.contains_key(key), "{what} has no {key}");
    }
}

fn each<'a>(value: &'a Value, what: &str) -> std::slice::Iter<'a, Value> {
    value.as_array().unwrap_or_else(|| panic!("{what} is no list: {value}")).iter()
}

fn one_of(value: &Value, names: &str, what: &str) {
    let name = value.as_str().unwrap_or_else(|| panic!("{what}: {value}"));
    assert!(names.split('|').any(|known| known == name), "{what}: {name}");
}

#[test]
fn every_key_of_the_contract_is_there() {
    for (name, document) in reports() {
        holds(&document, TOP, &name);
        assert_eq!(document["schema"], "downbeat.report/1");
        holds(&document["tool"], "name version", &name);
        one_of(&document["verdict"], "sound|watch|fault|cannot-tell", &name);
        for capture in each(&document["captures"], "captures") {
            holds(capture, CAPTURE, &name);
            one_of(&capture["format"], "pcap|pcapng", &name);
            for damage in each(&capture["damage"], "damage") {
                holds(damage, "offset text", &name);
            }
        }
        for domain in each(&document["domains"], "domains") {
            domain_is_whole(domain, &name);
        }
        for device in each(&document["devices"], "devices") {
            holds(device, DEVICE, &name);
            let states =
                "leading|relaying|following|standing-by|rival|unanswered|astray|adrift|unclocked|unproven";
            one_of(&device["state"], states, &name);
            one_of(&device["strength"], "shown|inferred|cannot-tell", &name);
        }
        for stream in each(&document["streams"], "streams") {
            holds(stream, STREAM, &name);
            one_of(&stream["kind"], "audio|video|ancillary|other|unknown", &name);
            if !stream["rtp"].is_null() {
                holds(&stream["rtp"], RTP, &name);
            }
        }
        for source in each(&document["sources"], "sources") {
            holds(source, SOURCE, &name);
        }
        holds(&document["link"], LINK, &name);
        for event in each(&document["events"], "events") {
            holds(event, EVENT, &name);
        }
        for finding in each(&document["findings"], "findings") {
            holds(finding, FINDING, &name);
            one_of(&finding["severity"], "critical|major|minor|info", &name);
            one_of(&finding["strength"], "shown|inferred", &name);
            assert!(each(&finding["next"], "next").len() > 0, "{name}: {} says nothing to do", finding["id"]);
            assert!(
                each(&finding["sources"], "sources").len() > 0,
                "{name}: {} has no source",
                finding["id"]
            );
            assert!(
                each(&finding["evidence"], "evidence").len() > 0,
                "{name}: {} shows nothing",
                finding["id"]
            );
            for evidence in each(&finding["evidence"], "evidence") {
                holds(evidence, EVIDENCE, &name);
            }
        }
        for rule in each(&document["not_judged"], "not_judged") {
            holds(rule, "id why", &name);
        }
    }
}

fn domain_is_whole(domain: &Value, name: &str) {
    holds(domain, DOMAIN, name);
    holds(&domain["messages"], MESSAGES, name);
    one_of(&domain["ptp_version"], "1|2.0|2.1", name);
    for transport in each(&domain["transports"], "transports") {
        one_of(transport, "udp4|udp6|ethernet", name);
    }
    for tenure in each(&domain["tenures"], "tenures") {
        holds(tenure, TENURE, name);
        let ends = "announce-timeout|better-clock|quality-change|sync-stopped|capture-end";
        one_of(&tenure["ended_by"], ends, name);
    }
    for clock in each(&domain["clocks"], "clocks") {
        holds(clock, CLOCK, name);
        for series in ["announce", "sync", "delay_req", "delay_resp"] {
            if !clock[series].is_null() {
                holds(&clock[series], CADENCE, name);
            }
        }
        for source in each(&clock["sources"], "sources") {
            holds(source, "mac ip", name);
        }
    }
}

/// Whether `text` has the form of `pattern`: `x` is a lower-case hex digit, `9` a digit, all else itself.
fn has_form(text: &str, pattern: &str) -> bool {
    text.len() == pattern.len()
        && text.bytes().zip(pattern.bytes()).all(|(octet, form)| match form {
            b'x' => matches!(octet, b'0'..=b'9' | b'a'..=b'f'),
            b'9' => octet.is_ascii_digit(),
            form => octet == form,
        })
}

const INSTANT: &str = "9999-99-99T99:99:99.999999999Z";
const MAC: &str = "xx:xx:xx:xx:xx:xx";
const CLOCK_IDENTITY: &str = "xx-xx-xx-xx-xx-xx-xx-xx";

/// Calls `visit` with the key and value of every member of every object.
fn members(value: &Value, visit: &mut impl FnMut(&str, &Value)) {
    match value {
        Value::Object(object) => {
            for (key, value) in object {
                visit(key, value);
                members(value, visit);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| members(item, visit)),
        _ => {}
    }
}

#[test]
fn instants_addresses_and_identities_have_their_one_form() {
    let (mut instants, mut identities) = (0, 0);
    for (name, document) in reports() {
        members(&document, &mut |key, value| {
            let texts = || value.as_array().into_iter().flatten().chain([value]).filter_map(Value::as_str);
            match key {
                "first" | "last" | "from" | "until" | "time" => {
                    // `notes[].first` is a frame.
                    for text in texts() {
                        assert!(has_form(text, INSTANT), "{name} {key}: {text}");
                        instants += 1;
                    }
                }
                "mac" | "macs" => {
                    texts().for_each(|text| assert!(has_form(text, MAC), "{name} {key}: {text}"));
                }
                "clock" | "clocks" | "leader" | "rightful" | "succession" | "grandmaster" | "won_against" => {
                    for text in texts() {
                        let known = has_form(text, CLOCK_IDENTITY) || has_form(text, MAC);
                        assert!(known, "{name} {key}: {text}");
                        identities += 1;
                    }
                }
                _ => {}
            }
        });
        for domain in each(&document["domains"], "domains") {
            let form = if domain["ptp_version"] == "1" { MAC } else { CLOCK_IDENTITY };
            for clock in each(&domain["clocks"], "clocks") {
                assert!(has_form(clock["clock"].as_str().unwrap(), form), "{name}: {}", clock["clock"]);
            }
        }
    }
    assert!(instants > 500 && identities > 500, "{instants} instants, {identities} identities");
}

/// A number that is a quantity says its unit in the key's ending, and a key with such an ending holds a number.
#[test]
fn quantities_carry_their_unit_in_the_key() {
    const ENDINGS: [&str; 4] = ["_ns", "_s", "_bps", "_ppm"];
    // Deviations of fractional frequency are plain numbers (NIST SP 1065).
    // So are fractions of the link's speed.
    const FRACTIONS: [&str; 5] = ["adev", "mdev", "share_of_link", "load_mean", "load_peak_1s"];
    const SPREAD: [&str; 4] = ["median", "p5", "p95", "count"];
    let mut seen = 0;
    for (name, document) in reports() {
        members(&document, &mut |key, value| {
            if ENDINGS.iter().any(|ending| key.ends_with(ending)) {
                let spread = value.as_object().is_some_and(|object| {
                    SPREAD.iter().all(|field| object.get(*field).is_some_and(Value::is_number))
                });
                assert!(value.is_null() || value.is_number() || spread, "{name} {key}: {value}");
                seen += 1;
            } else if value.is_f64() && !FRACTIONS.contains(&key) {
                panic!("{name}: {key} is a quantity without a unit: {value}");
            }
        });
    }
    assert!(seen > 500, "{seen}");
}

/// Frame numbers count from 1, within what the file holds; with several files each frame names its file.
#[test]
fn frames_are_numbers_or_name_their_file() {
    let mut seen = 0;
    for (name, document) in reports() {
        let captures = document["captures"].as_array().unwrap();
        for frame in each(&document["events"], "events").flat_map(|event| each(&event["frames"], "frames")) {
            let (file, number) = match frame {
                Value::Object(object) => (object["file"].as_str(), object["frame"].as_u64()),
                number => (captures[0]["file"].as_str(), number.as_u64()),
            };
            assert_eq!(frame.is_object(), captures.len() > 1, "{name}: {frame}");
            let capture = captures.iter().find(|capture| capture["file"].as_str() == file).unwrap();
            let number = number.unwrap();
            assert!(number >= 1 && number <= capture["packets"].as_u64().unwrap(), "{name}: {frame}");
            seen += 1;
        }
    }
    assert!(seen > 20, "{seen}");
}

#[test]
fn the_schema_file_says_its_name() {
    let schema: Value = serde_json::from_slice(&fs::read(Path::new(&in_project(SCHEMA))).unwrap()).unwrap();
    assert_eq!(schema["title"], "downbeat.report/1");
}
