//! What the report says of captures of a real daemon against what the daemons themselves said
//! (`captures/lab/*.json`, described in `tests/lab/README.md`).
//!
//! With `DOWNBEAT_LAB` set to a folder that `tests/lab/run --all` has just written, the same holds of what is there: every
//! scenario has to be in it.

mod daemons;
mod snooping;

use std::collections::BTreeMap;
use std::env;
use std::fs;
use std::path::Path;
use std::path::PathBuf;
use std::sync::LazyLock;

use jiff::Timestamp;
use serde_json::Value;

use crate::support::judged;
use crate::support::judged::in_project;

/// All that `tests/lab/run --list` names.
const SCENARIOS: [&str; 13] = [
    "boundary",
    "deaf-leader",
    "failover",
    "healthy",
    "hybrid",
    "ipv6",
    "passive-standby",
    "peer-delay-ethernet",
    "querier-lost",
    "snooping",
    "two-leaders",
    "wrong-domain",
    "wrong-domain-slave-only",
];

struct Scenario {
    name: String,
    truth: Value,
    /// One report for each capture.
    reports: Vec<(String, Value)>,
}

static ALL: LazyLock<Vec<Scenario>> = LazyLock::new(|| {
    let folder = folder();
    SCENARIOS.iter().map(|name| scenario(&folder, name)).collect()
});

/// Where captures and truth are.
fn folder() -> PathBuf {
    env::var_os("DOWNBEAT_LAB")
        .map_or_else(|| in_project("captures/lab"), |folder| in_project("").join(folder))
}

fn scenarios() -> &'static [Scenario] {
    &ALL
}

fn scenario(folder: &Path, name: &str) -> Scenario {
    let path = folder.join(format!("{name}.json"));
    let truth = fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let truth: Value = serde_json::from_slice(&truth).unwrap();
    let report = |capture: &Value| {
        let name = text(&capture["file"]);
        let octets = fs::read(folder.join(name)).unwrap();
        (name.to_owned(), judged::files(&[(name, octets)]).value())
    };
    let reports: Vec<_> = list(&truth["captures"]).iter().map(report).collect();
    assert!(!reports.is_empty() && truth["scenario"] == name, "{name}");
    Scenario { name: name.to_owned(), reports, truth }
}

/// No scenario is compared that this file does not name.
#[test]
fn every_scenario_of_the_folder_is_one_of_these() {
    let entries = fs::read_dir(folder()).unwrap().map(|entry| entry.unwrap().path());
    let names = entries.filter(|path| path.extension().is_some_and(|ext| ext == "json"));
    let mut names: Vec<String> =
        names.map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned()).collect();
    names.sort();
    assert_eq!(names, SCENARIOS);
    for Scenario { name, truth, .. } in scenarios() {
        assert_eq!(truth["surprises"], serde_json::json!([]), "{name}");
    }
}

/// Seconds of a stamp, from the beginning of a month before all captures.
fn seconds(stamp: &Value) -> f64 {
    let at: Timestamp = text(stamp).parse().unwrap();
    at.duration_since("2026-11-01T00:00:00Z".parse().unwrap()).as_secs_f64()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_else(|| panic!("no list: {value}"))
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("no text: {value}"))
}

fn domain(report: &Value, number: u64) -> Option<&Value> {
    list(&report["domains"]).iter().find(|domain| domain["domain"].as_u64() == Some(number))
}

#[test]
fn leaders_are_those_the_daemons_name() {
    let mut compared = 0;
    for Scenario { name, truth, reports } in scenarios() {
        for (number, leader) in truth["expected"]["leaders"].as_object().unwrap() {
            for (file, report) in reports {
                let found = domain(report, number.parse().unwrap());
                let found = found.unwrap_or_else(|| panic!("{name} {file}: no domain {number}"));
                assert_eq!(&found["leader"], leader, "{name} {file} domain {number}");
                compared += 1;
            }
        }
    }
    assert!(compared >= 12, "{compared}");
}

#[test]
fn tenures_are_those_of_the_daemons_logs() {
    let mut compared = 0;
    for Scenario { name, truth, reports } in scenarios() {
        let mut expected: BTreeMap<u64, Vec<&Value>> = BTreeMap::new();
        for tenure in list(&truth["expected"]["tenures"]) {
            expected.entry(tenure["domain"].as_u64().unwrap()).or_default().push(tenure);
        }
        for (number, expected) in expected {
            for (file, report) in reports {
                let found = list(&domain(report, number).unwrap()["tenures"]);
                let what = format!("{name} {file} domain {number}");
                let matched = found.iter().map(|tenure| place_of(tenure, &expected, &what));
                let mut matched: Vec<usize> = matched.collect();
                compared += matched.len();
                let in_order = matched.is_sorted_by(|a, b| a < b);
                assert!(in_order, "{what}: {found:#?}");
                // Spans shorter than what the log can tell need not be seen on the wire.
                let short = |at: &usize| expected[*at]["shorter_than_tolerance"] == true;
                matched.extend((0..expected.len()).filter(short));
                matched.sort_unstable();
                matched.dedup();
                assert_eq!(matched.len(), expected.len(), "{what}: {found:#?}");
            }
        }
    }
    assert!(compared >= 14, "{compared}");
}

/// Index of the expected tenure that `found` is.
fn place_of(found: &Value, expected: &[&Value], what: &str) -> usize {
    let near = |expected: &Value, end: &str, tolerance: &str| {
        let apart = found[end].as_f64().unwrap() - expected[end].as_f64().unwrap();
        apart.abs() <= expected[tolerance].as_f64().unwrap()
    };
    let same = |expected: &&&Value| {
        found["clock"] == expected["clock"]
            && found["ended_by"] == expected["ended_by"]
            && near(expected, "from_at_s", "tolerance_s")
            && near(expected, "until_at_s", "until_tolerance_s")
    };
    let place = expected.iter().position(|tenure| same(&tenure));
    place.unwrap_or_else(|| panic!("{what}: {found:#} is none of {expected:#?}"))
}

#[test]
fn messages_are_as_many_as_another_program_counts() {
    for Scenario { name, truth, reports } in scenarios() {
        for (capture, (file, report)) in list(&truth["captures"]).iter().zip(reports) {
            assert_eq!(report["span"]["frames"], capture["frames"], "{name} {file}");
            let counts = capture["messages"].as_object().unwrap();
            assert_eq!(list(&report["domains"]).len(), counts.len(), "{name} {file}");
            for (number, sent) in counts {
                let found = domain(report, number.parse().unwrap()).unwrap();
                let found = found["messages"].as_object().unwrap();
                let found: BTreeMap<&String, &Value> =
                    found.iter().filter(|(_, count)| count.as_u64() != Some(0)).collect();
                let sent: BTreeMap<&String, &Value> = sent.as_object().unwrap().iter().collect();
                assert_eq!(found, sent, "{name} {file} domain {number}");
            }
        }
    }
}

/// In `boundary` each capture shows one side; a node counts as right where either side says so.
#[test]
fn devices_are_in_a_state_that_the_scenario_allows() {
    let mut compared = 0;
    for Scenario { name, truth, reports } in scenarios() {
        let states = truth["expected"]["states"].as_object().unwrap();
        let has_rival = states.values().any(|state| list(&state["any_of"]).iter().any(|any| any == "rival"));
        for node in list(&truth["nodes"]) {
            let node_name = text(&node["name"]);
            let expected = &states[node_name];
            let mut allowed: Vec<&str> = list(&expected["any_of"]).iter().map(text).collect();
            if has_rival && allowed == ["following"] {
                // "Following" asks for one leader in the domain; with two that both answer, a capture cannot
                // tell whom a device follows.
                allowed.push("unproven");
            }
            let is_it =
                |device: &&Value| list(&device["macs"]).iter().any(|mac| list(&node["macs"]).contains(mac));
            let states: Vec<&str> = reports
                .iter()
                .filter_map(|(_, report)| list(&report["devices"]).iter().find(is_it))
                .map(|device| text(&device["state"]))
                .collect();
            if states.is_empty() {
                // One that sends no PTP is not among the devices, which says no more than `unproven`.
                assert!(allowed.contains(&"unproven"), "{name} {node_name}: not seen, allowed {allowed:?}");
            } else {
                let right = states.iter().any(|state| allowed.contains(state));
                assert!(right, "{name} {node_name}: {states:?}, allowed {allowed:?} ({})", expected["why"]);
            }
            compared += 1;
        }
    }
    assert!(compared > 40, "{compared}");
}

/// Findings by the scenarios' own words: what each was set up to show.
#[test]
fn what_is_wrong_in_a_scenario_is_found_and_nothing_else() {
    for Scenario { name, reports, .. } in scenarios() {
        let expected: &[&str] = match name.as_str() {
            "wrong-domain" => &["wrong-domain-follower"],
            "two-leaders" => &["two-masters-one-domain"],
            "deaf-leader" => &["delay-response-missing"],
            // What to do about the first is told first: the others are under it.
            "querier-lost" => &["no-querier", "two-masters-one-domain", "delay-response-missing"],
            _ => &[],
        };
        for (file, report) in reports {
            let grave = list(&report["findings"])
                .iter()
                .filter(|finding| matches!(text(&finding["severity"]), "critical" | "major"));
            let found: Vec<&str> = grave.map(|finding| text(&finding["id"])).collect();
            assert_eq!(found, expected, "{name} {file}");
        }
    }
}
