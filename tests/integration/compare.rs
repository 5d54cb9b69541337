//! `downbeat compare`: captures and saved reports take one path, each kind of difference is told with its weight, and what
//! does not differ is not told.

use std::fs;
use std::path::PathBuf;
use std::process::Output;

use assert_cmd::Command;
use downbeat::analysis::Bound;
use downbeat::analysis::Range;
use downbeat::analysis::Settings;
use downbeat::compare;
use downbeat::compare::Report;
use downbeat::units::Nanos;
use serde_json::Value;
use serde_json::json;

use crate::json_schema::without_ptp;
use crate::support::judged;
use crate::support::judged::in_project;

const HEALTHY: &str = "playhouse-healthy.pcapng";

fn run(arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("downbeat").unwrap();
    command.current_dir(in_project("captures")).arg("compare").args(arguments).output().unwrap()
}

fn status(arguments: &[&str]) -> i32 {
    run(arguments).status.code().unwrap()
}

/// What differs between two reports.
fn changes(before: &Value, after: &Value) -> Vec<Value> {
    let report = |value: &Value| Report::parse(&value.to_string()).unwrap();
    let document = serde_json::to_value(compare::compare(&report(before), &report(after))).unwrap();
    document["changes"].as_array().unwrap().clone()
}

fn of_demo(name: &str) -> Value {
    judged::demo(name).value()
}

/// Kind, field and weight of each.
fn told(changes: &[Value]) -> Vec<(&str, &str, &str)> {
    fn text<'c>(change: &'c Value, key: &str) -> &'c str {
        change[key].as_str().unwrap()
    }
    changes
        .iter()
        .map(|change| (text(change, "kind"), text(change, "field"), text(change, "weight")))
        .collect()
}

#[test]
fn a_report_does_not_differ_from_itself() {
    for name in judged::DEMO {
        let report = of_demo(name);
        assert_eq!(changes(&report, &report), Vec::<Value>::new(), "{name}");
    }
    for (name, octets) in judged::captures_in(&in_project("captures/lab")) {
        let report = judged::files(&[(&name, octets)]).value();
        assert_eq!(changes(&report, &report), Vec::<Value>::new(), "{name}");
    }
}

#[test]
fn two_evenings_differ_in_what_happened() {
    let healthy = of_demo(HEALTHY);
    let drop = changes(&healthy, &of_demo("playhouse-quality-drop.pcapng.gz"));
    let drop = told(&drop);
    for expected in [
        ("verdict-changed", "verdict", "major"),
        ("finding-new", "findings", "major"),
        ("leader-changed", "leader", "major"),
        ("clock-data-changed", "clock_class", "major"),
        ("device-state-changed", "state", "info"),
    ] {
        assert!(drop.contains(&expected), "{expected:?} in {drop:#?}");
    }
    let astray = changes(&healthy, &of_demo("playhouse-wrong-domain.pcapng"));
    let astray = told(&astray);
    for expected in [
        ("finding-new", "findings", "critical"),
        ("device-state-changed", "state", "critical"),
        ("domain-new", "seen", "minor"),
        ("device-gone", "seen", "minor"),
        ("succession-changed", "succession", "minor"),
    ] {
        assert!(astray.contains(&expected), "{expected:?} in {astray:#?}");
    }
    // The other way round the fault is gone.
    let back = changes(&of_demo("playhouse-wrong-domain.pcapng"), &healthy);
    let back = told(&back);
    for expected in [("finding-gone", "findings", "info"), ("domain-gone", "seen", "major")] {
        assert!(back.contains(&expected), "{expected:?} in {back:#?}");
    }
    assert!(!back.iter().any(|(_, _, weight)| *weight == "critical"), "{back:#?}");
}

#[test]
fn the_gravest_come_first() {
    let changes = changes(&of_demo(HEALTHY), &of_demo("playhouse-two-leaders.pcapng"));
    let ranks: Vec<usize> = told(&changes)
        .iter()
        .map(|(_, _, weight)| {
            ["critical", "major", "minor", "info"].iter().position(|w| w == weight).unwrap()
        })
        .collect();
    assert!(ranks.len() > 3 && ranks.is_sorted(), "{ranks:?}");
}

/// The healthy evening with the value at a pointer replaced.
fn with(pointer: &str, value: Value) -> Value {
    let mut report = of_demo(HEALTHY);
    *report.pointer_mut(pointer).unwrap_or_else(|| panic!("{pointer}")) = value;
    report
}

/// Place of the leader's port among the clocks, and of a follower among the devices.
fn places() -> (usize, usize) {
    let report = of_demo(HEALTHY);
    let domain = &report["domains"][0];
    let clocks = domain["clocks"].as_array().unwrap();
    let leader = clocks.iter().position(|clock| clock["clock"] == domain["leader"]).unwrap();
    let devices = report["devices"].as_array().unwrap();
    (leader, devices.iter().position(|device| device["state"] == "following").unwrap())
}

#[test]
fn each_difference_is_told_once_with_its_weight() {
    let (clock, device) = places();
    let clock = |key: &str| format!("/domains/0/clocks/{clock}/{key}");
    let device = |key: &str| format!("/devices/{device}/{key}");
    for (pointer, value, kind, field, weight) in [
        (clock("priority1"), json!(100), "clock-data-changed", "priority1", "major"),
        (clock("utc_offset_s"), json!(36), "clock-data-changed", "utc_offset_s", "major"),
        (clock("two_step"), json!(false), "clock-data-changed", "two_step", "minor"),
        (clock("time_source"), json!(144), "clock-data-changed", "time_source", "minor"),
        (clock("announce/declared_s"), json!(2.0), "interval-changed", "announce.declared_s", "major"),
        (clock("sync/median_s"), json!(0.25), "interval-changed", "sync.median_s", "minor"),
        ("/domains/0/leader".to_owned(), Value::Null, "leader-changed", "leader", "critical"),
        (
            "/domains/0/path/mean_path_delay_ns".to_owned(),
            json!({"median": 90_000, "p5": 89_000, "p95": 91_000, "min": 88_000, "max": 92_000, "count": 500}),
            "delay-shifted",
            "path.mean_path_delay_ns",
            "minor",
        ),
        (
            "/domains/0/path/sync_jitter_ns".to_owned(),
            json!({"median": 90_000, "p5": 1000, "p95": 900_000, "min": 0, "max": 990_000, "count": 500}),
            "jitter-shifted",
            "path.sync_jitter_ns",
            "minor",
        ),
        (device("state"), json!("unanswered"), "device-state-changed", "state", "critical"),
        (device("state"), json!("unproven"), "device-state-changed", "state", "minor"),
        (device("ips"), json!(["10.20.0.99"]), "device-address-changed", "ips", "minor"),
        ("/viewpoint/kind".to_owned(), json!("access"), "viewpoint-changed", "viewpoint", "info"),
        ("/verdict".to_owned(), json!("cannot-tell"), "verdict-changed", "verdict", "minor"),
    ] {
        let changes = changes(&of_demo(HEALTHY), &with(&pointer, value));
        assert_eq!(told(&changes), [(kind, field, weight)], "{pointer}: {changes:#?}");
        assert!(changes[0]["text"].as_str().unwrap().len() > 10);
        assert_ne!(changes[0]["before"], changes[0]["after"], "{pointer}");
    }
}

#[test]
fn what_one_side_does_not_know_is_no_difference() {
    let (clock, _) = places();
    for pointer in [
        format!("/domains/0/clocks/{clock}/priority1"),
        format!("/domains/0/clocks/{clock}/announce"),
        "/domains/0/path".to_owned(),
        "/domains/0/path/mean_path_delay_ns".to_owned(),
    ] {
        assert_eq!(
            changes(&of_demo(HEALTHY), &with(&pointer, Value::Null)),
            Vec::<Value>::new(),
            "{pointer}"
        );
    }
}

#[test]
fn a_profile_that_fitted_and_fits_no_more_is_told_with_the_reason() {
    let healthy = of_demo(HEALTHY);
    let profiles = healthy["domains"][0]["profiles"].as_array().unwrap();
    let fits = profiles.iter().position(|profile| profile["fits"] == true).unwrap();
    let mut after = healthy.clone();
    let profile = &mut after["domains"][0]["profiles"][fits];
    profile["fits"] = json!(false);
    profile["deviations"] = json!([{"item": "domainNumber", "seen": "9", "expected": "0 to 3", "source": "", "confidence": "verified"}]);
    let changes = changes(&healthy, &after);
    assert_eq!(told(&changes)[0].0, "profile-fit-changed");
    assert_eq!(told(&changes)[0].2, "major");
    assert!(changes[0]["text"].as_str().unwrap().contains("domainNumber 9, not 0 to 3"), "{changes:#?}");
}

#[test]
fn a_device_on_the_clock_that_is_gone_weighs_less_from_another_place() {
    let (_, device) = places();
    let mut gone = of_demo(HEALTHY);
    gone["devices"].as_array_mut().unwrap().remove(device);
    assert_eq!(told(&changes(&of_demo(HEALTHY), &gone)), [("device-gone", "seen", "major")]);
    gone["viewpoint"]["kind"] = json!("access");
    let elsewhere = changes(&of_demo(HEALTHY), &gone);
    assert!(told(&elsewhere).contains(&("device-gone", "seen", "minor")), "{elsewhere:#?}");
    let new = changes(&gone, &of_demo(HEALTHY));
    assert!(told(&new).contains(&("device-new", "seen", "minor")), "{new:#?}");
}

/// A device is the same by its clock, whatever its address has become.
#[test]
fn a_device_with_another_address_is_the_same_by_its_clock() {
    let (_, device) = places();
    let renamed = with(&format!("/devices/{device}/key"), json!("02:00:5e:10:00:ee"));
    assert_eq!(changes(&of_demo(HEALTHY), &renamed), Vec::<Value>::new());
}

fn stream(group: &str, key: &str, mean_bps: u64) -> Value {
    json!({"key": key, "source_ip": "10.20.0.21", "group": group, "port": 5004, "vlan": null, "kind": "video",
        "codec": "raw", "mean_bps": mean_bps, "dscp": [34], "clocked": true})
}

#[test]
fn streams_are_compared_where_both_reports_hold_them() {
    let before =
        with("/streams", json!([stream("239.20.2.1", "a", 100_000_000), stream("239.20.2.2", "b", 1000)]));
    let mut changed = stream("239.20.2.1", "another ssrc", 120_000_000);
    changed["dscp"] = json!([0]);
    changed["clocked"] = json!(false);
    changed["codec"] = json!("jxsv");
    let after = with("/streams", json!([changed, stream("239.20.2.3", "c", 1000)]));
    let differing = changes(&before, &after);
    assert_eq!(
        told(&differing),
        [
            ("stream-clock-changed", "clocked", "critical"),
            ("stream-gone", "seen", "major"),
            ("stream-coding-changed", "codec", "major"),
            ("stream-rate-changed", "mean_bps", "minor"),
            ("stream-marking-changed", "dscp", "minor"),
            ("stream-new", "seen", "minor"),
        ]
    );
    let nearly =
        with("/streams", json!([stream("239.20.2.1", "a", 109_000_000), stream("239.20.2.2", "b", 1000)]));
    assert_eq!(changes(&before, &nearly), Vec::<Value>::new());
    // One side knows nothing of streams: that is said, and no stream is gone.
    let report = |value: &Value| Report::parse(&value.to_string()).unwrap();
    let unknown = compare::compare(&report(&before), &report(&with("/streams", Value::Null)));
    assert!(unknown.changes.is_empty());
    assert_eq!(unknown.not_compared.len(), 1);
}

/// Saves the report of a demo capture.
fn saved(folder: &tempfile::TempDir, name: &str) -> PathBuf {
    let path = folder.path().join(format!("{name}.json"));
    fs::write(&path, judged::demo(name).json).unwrap();
    path
}

#[test]
fn saved_reports_and_captures_take_one_path() {
    let folder = tempfile::tempdir().unwrap();
    let other = "playhouse-two-leaders.pcapng";
    let (before, after) = (saved(&folder, HEALTHY), saved(&folder, other));
    let (before, after) = (before.to_str().unwrap(), after.to_str().unwrap());
    let sides = [[HEALTHY, other], [before, other], [HEALTHY, after], [before, after]];
    let outputs = sides.map(|[one, two]| run(&[one, two, "--format", "json"]));
    for output in &outputs {
        assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
        assert_eq!(output.stdout, outputs[0].stdout);
    }
}

#[test]
fn a_side_may_come_by_standard_input_as_a_capture_or_as_a_report() {
    let capture = fs::read(in_project("captures").join("playhouse-two-leaders.pcapng")).unwrap();
    let report = judged::demo("playhouse-two-leaders.pcapng").json.into_bytes();
    let expected = run(&[HEALTHY, "playhouse-two-leaders.pcapng", "--format", "json"]).stdout;
    // The name of the side is all that may differ.
    let plain = |octets: Vec<u8>| {
        String::from_utf8(octets).unwrap().replace("\"-\"", "\"playhouse-two-leaders.pcapng\"")
    };
    for octets in [capture, report] {
        let mut command = Command::cargo_bin("downbeat").unwrap();
        let command = command.current_dir(in_project("captures")).write_stdin(octets);
        let output = command.args(["compare", HEALTHY, "-", "--format", "json"]).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
        assert_eq!(plain(output.stdout), String::from_utf8(expected.clone()).unwrap());
    }
}

/// Before the leader is lost the evening is a good one.
#[test]
fn a_span_is_taken_of_each_capture_and_of_no_saved_report() {
    let lost = "playhouse-leader-lost.pcapng";
    let whole = run(&[HEALTHY, lost, "--format", "json"]);
    let part = run(&[HEALTHY, lost, "--until", "10", "--format", "json"]);
    let is_told = |output: &Output| String::from_utf8_lossy(&output.stdout).contains("leader-changed");
    assert!(is_told(&whole) && !is_told(&part), "{}", String::from_utf8_lossy(&part.stdout));
    let folder = tempfile::tempdir().unwrap();
    let report = saved(&folder, HEALTHY);
    let output = run(&[report.to_str().unwrap(), lost, "--until", "10"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8(output.stderr).unwrap().contains("saved report"));
}

#[test]
fn the_exit_status_is_that_of_the_gravest_change() {
    assert_eq!(status(&[HEALTHY, HEALTHY]), 0);
    // A stream is gone, which is major, and the lead went and came back, which is minor.
    assert_eq!(status(&[HEALTHY, "playhouse-leader-lost.pcapng"]), 1);
    assert_eq!(status(&[HEALTHY, "playhouse-leader-lost.pcapng", "--fail-on", "critical"]), 0);
    assert_eq!(status(&[HEALTHY, "playhouse-two-leaders.pcapng", "--fail-on", "critical"]), 1);
    assert_eq!(status(&[HEALTHY, "playhouse-two-leaders.pcapng", "--fail-on", "never"]), 0);
    let folder = tempfile::tempdir().unwrap();
    let none = folder.path().join("none.pcap");
    fs::write(&none, without_ptp()).unwrap();
    assert_eq!(status(&[none.to_str().unwrap(), none.to_str().unwrap()]), 3);
    assert_eq!(status(&[HEALTHY, none.to_str().unwrap()]), 1);
}

#[test]
fn what_is_no_report_is_told() {
    let folder = tempfile::tempdir().unwrap();
    for (name, text, says) in [
        ("other.json", "{\"schema\": \"downbeat.timeline/1\"}", "downbeat.timeline/1"),
        ("bare.json", "{}", "has no schema"),
        ("half.json", "{\"schema\": \"downbeat.report/1\", \"captures\": 7}", "no whole report"),
        ("cut.json", "{\"schema\": ", "no JSON"),
    ] {
        let path = folder.path().join(name);
        fs::write(&path, text).unwrap();
        let output = run(&[HEALTHY, path.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(2), "{name}");
        assert!(output.stdout.is_empty());
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.contains(says) && told.contains(name), "{name}: {told}");
    }
    assert_eq!(status(&["-", "-"]), 2);
    assert_eq!(status(&[HEALTHY]), 2);
    let saved = saved(&folder, HEALTHY);
    let saved = saved.to_str().unwrap();
    assert_eq!(status(&[saved, HEALTHY, "--out", saved]), 2);
    assert!(Report::parse(&fs::read_to_string(saved).unwrap()).is_ok());
}

#[test]
fn text_from_a_saved_report_cannot_drive_the_terminal_and_fits_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut report = of_demo(HEALTHY);
    report["devices"][0]["name"] = json!("\u{1b}[2Jname");
    report["devices"][0]["state"] = json!("rival");
    let path = folder.path().join("hostile.json");
    fs::write(&path, report.to_string()).unwrap();
    let output = run(&[HEALTHY, path.to_str().unwrap()]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("\\u{1b}[2Jname") && !text.contains('\u{1b}'), "{text}");
    let text = String::from_utf8(run(&[HEALTHY, "playhouse-quality-drop.pcapng.gz"]).stdout).unwrap();
    assert!(text.lines().count() > 10 && text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

#[test]
fn every_comparison_fits_its_schema() {
    let committed = "docs/compare.schema.json";
    if std::env::var_os("DOWNBEAT_WRITE_SCHEMA").is_some() {
        fs::write(in_project(committed), compare::schema()).unwrap();
    }
    assert_eq!(fs::read_to_string(in_project(committed)).unwrap(), compare::schema());
    let schema: Value = serde_json::from_str(&compare::schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for name in judged::DEMO {
        let output = run(&[HEALTHY, name, "--format", "json"]);
        let document: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(document["schema"], compare::SCHEMA);
        let errors: Vec<String> = validator.iter_errors(&document).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{name}: {errors:?}");
        let mut wrong = document;
        wrong["changes"] = json!([{"kind": "leader-changed"}]);
        assert!(!validator.is_valid(&wrong));
    }
}

/// The two halves of a steady capture are of one network on one day: no delay, offset or jitter has shifted.
#[test]
fn the_halves_of_a_steady_capture_show_no_shift() {
    let mut compared = 0;
    let mut captures = judged::captures_in(&in_project("captures/lab"));
    captures.extend(
        judged::DEMO.map(|name| (name.to_owned(), fs::read(in_project("captures").join(name)).unwrap())),
    );
    for (name, octets) in
        captures.into_iter().filter(|(name, _)| name.contains("healthy") || name.contains("beside"))
    {
        let half = |from: Option<i64>, until: Option<i64>| {
            let bound = |s: Option<i64>| s.map(|s| Bound::FromStart(Nanos::from_seconds(s)));
            let range = Range { from: bound(from), until: bound(until) };
            judged::with(Settings { range, ..Settings::default() }, &[(&name, octets.clone())]).value()
        };
        let length =
            judged::files(&[(&name, octets.clone())]).value()["span"]["duration_s"].as_f64().unwrap();
        let middle = (length / 2.0) as i64;
        let (one, two) = (half(None, Some(middle)), half(Some(middle), None));
        let changes = changes(&one, &two);
        let shifted: Vec<&Value> =
            changes.iter().filter(|change| change["kind"].as_str().unwrap().ends_with("-shifted")).collect();
        assert!(shifted.is_empty(), "{name}: {shifted:#?}");
        compared += 1;
    }
    assert!(compared >= 3, "{compared}");
}
