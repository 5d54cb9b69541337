//! `downbeat timeline`: all events in order, related ones together with their cause, filters, text and JSON.

use std::fs;
use std::process::Output;

use assert_cmd::Command;
use downbeat::timeline;
use serde_json::Value;

use crate::json_schema::without_ptp;
use crate::support::judged;
use crate::support::judged::in_project;

const LOST: &str = "playhouse-leader-lost.pcapng";

fn run(arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("downbeat").unwrap();
    command.current_dir(in_project("captures")).arg("timeline").args(arguments).output().unwrap()
}

fn json(arguments: &[&str]) -> Value {
    let output = run(&[arguments, &["--format", "json"]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn text(arguments: &[&str]) -> String {
    String::from_utf8(run(arguments).stdout).unwrap()
}

#[test]
fn its_events_are_those_of_the_report_and_each_is_in_one_incident() {
    for name in judged::DEMO {
        let timeline = json(&[name]);
        let report = judged::demo(name).value();
        assert_eq!(timeline["events"], report["events"], "{name}");
        let incidents = timeline["incidents"].as_array().unwrap();
        let mut seen: Vec<u64> = incidents
            .iter()
            .flat_map(|incident| incident["events"].as_array().unwrap())
            .map(|index| index.as_u64().unwrap())
            .collect();
        seen.sort_unstable();
        let all: Vec<u64> = (0..report["events"].as_array().unwrap().len() as u64).collect();
        assert_eq!(seen, all, "{name}");
    }
}

#[test]
fn a_lost_leader_and_its_successor_are_one_incident_with_the_gap_between_them() {
    let timeline = json(&[LOST]);
    let incidents = timeline["incidents"].as_array().unwrap();
    let lost: Vec<&Value> = incidents
        .iter()
        .filter(|incident| incident["because"].as_str().unwrap().contains("fell silent"))
        .collect();
    let [lost] = lost.as_slice() else { panic!("{incidents:#?}") };
    assert_eq!(
        lost["because"],
        "the leader 02-00-5e-ff-fe-10-00-01 fell silent; 02-00-5e-ff-fe-10-00-02 leads 3.186 s after its last message"
    );
    assert_eq!(lost["events"].as_array().unwrap().len(), 2);
    let gap = lost["until_at_s"].as_f64().unwrap() - lost["from_at_s"].as_f64().unwrap();
    assert!((gap - 3.186).abs() < 0.001, "{gap}");
    // Its return three quarters of a minute later is another.
    assert!(incidents.last().unwrap()["because"].as_str().unwrap().contains("took over from"));
}

#[test]
fn worse_data_is_the_cause_of_the_change_it_brings() {
    let timeline = json(&["playhouse-quality-drop.pcapng.gz"]);
    let incidents = timeline["incidents"].as_array().unwrap();
    let change = incidents.iter().find(|incident| incident["events"].as_array().unwrap().len() == 2).unwrap();
    let because = change["because"].as_str().unwrap();
    assert!(
        because.starts_with("02-00-5e-ff-fe-10-00-01 announced worse data; 02-00-5e-ff-fe-10-00-02 leads")
    );
    assert!(because.ends_with("by clock_class"), "{because}");
}

#[test]
fn filters_take_events_out_and_leave_causes_right() {
    let kind = json(&[LOST, "--kind", "leader-changed"]);
    let events = kind["events"].as_array().unwrap();
    assert_eq!(events.len(), 2);
    assert!(events.iter().all(|event| event["kind"] == "leader-changed"));
    // The cause is the silence, which the filter does not show.
    assert!(kind["incidents"][0]["because"].as_str().unwrap().contains("fell silent"));
    assert_eq!(kind["incidents"][0]["events"], serde_json::json!([0]));
    for device in ["02:00:5e:10:00:02", "10.20.0.12", "02-00-5E-FF-FE-10-00-02"] {
        let one = json(&[LOST, "--device", device]);
        let events = one["events"].as_array().unwrap();
        assert!(
            !events.is_empty() && events.iter().all(|event| event["device"] == "02:00:5e:10:00:02"),
            "{device}"
        );
    }
    let both = json(&["playhouse-wrong-domain.pcapng", "--domain", "0", "--domain", "127"]);
    let astray = json(&["playhouse-wrong-domain.pcapng", "--domain", "127"]);
    let all = json(&["playhouse-wrong-domain.pcapng"]);
    let domains = all["events"].as_array().unwrap().iter().filter(|event| !event["domain"].is_null());
    assert_eq!(both["events"], Value::from(domains.cloned().collect::<Vec<_>>()));
    assert!(astray["events"].as_array().unwrap().iter().all(|event| event["domain"] == "v2 domain 127"));
    let v1 = json(&["playhouse-v1-beside-v2.pcap", "--domain", "_dflt"]);
    assert!(v1["events"].as_array().unwrap().iter().all(|event| event["domain"] == "v1 _DFLT"));
}

#[test]
fn a_device_is_found_by_the_name_the_site_file_gives() {
    let folder = tempfile::tempdir().unwrap();
    let site = folder.path().join("site.toml");
    fs::write(&site, "[[device]]\nname = \"house clock\"\nmac = \"02:00:5e:10:00:01\"\n").unwrap();
    let named = json(&[LOST, "--site", site.to_str().unwrap(), "--device", "House Clock"]);
    assert!(named["events"].as_array().unwrap().len() >= 2);
}

#[test]
fn a_device_is_found_by_its_address_however_it_is_written() {
    let by = |address: &str| json(&[LOST, "--device", address])["events"].clone();
    let known = by("02:00:5e:10:00:01");
    assert!(!known.as_array().unwrap().is_empty());
    for address in ["02-00-5E-10-00-01", "02005e100001", "0200.5e10.0001"] {
        assert_eq!(by(address), known, "{address}");
    }
}

#[test]
fn what_is_not_there_is_answered_with_the_nearest() {
    for (arguments, near) in [
        (["--kind", "leader-change"], "leader-changed"),
        (["--device", "02:00:5e:10:00:0l"], "02:00:5e:10:00:01"),
        (["--domain", "1"], "v2 domain 0"),
    ] {
        let output = run(&[&[LOST][..], &arguments].concat());
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty());
        let told = String::from_utf8(output.stderr).unwrap();
        assert!(told.contains(near), "{arguments:?}: {told}");
    }
}

#[test]
fn the_text_holds_both_times_of_every_event_and_fits_the_terminal() {
    for name in judged::DEMO {
        let text = text(&[name]);
        for event in judged::demo(name).value()["events"].as_array().unwrap() {
            let at = format!(
                "{:>10.3}  {}",
                event["at_s"].as_f64().unwrap(),
                &event["time"].as_str().unwrap()[11..23]
            );
            assert!(text.contains(&at), "{name}: {at}\n{text}");
        }
        for line in text.lines() {
            assert!(line.chars().count() <= 80 || line.contains(name), "{line}");
        }
    }
    insta::with_settings!({snapshot_path => "snapshots", prepend_module_to_snapshot => false, omit_expression => true}, {
        insta::assert_snapshot!("timeline-playhouse-leader-lost", text(&[LOST]));
    });
}

#[test]
fn without_ptp_the_status_is_cannot_tell() {
    let folder = tempfile::tempdir().unwrap();
    let none = folder.path().join("none.pcap");
    fs::write(&none, without_ptp()).unwrap();
    let output = run(&[none.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(3));
    assert!(String::from_utf8(output.stdout).unwrap().contains("nothing happened"));
}

#[test]
fn every_timeline_fits_its_schema() {
    let committed = "docs/timeline.schema.json";
    if std::env::var_os("DOWNBEAT_WRITE_SCHEMA").is_some() {
        fs::write(in_project(committed), timeline::schema()).unwrap();
    }
    assert_eq!(fs::read_to_string(in_project(committed)).unwrap(), timeline::schema());
    let schema: Value = serde_json::from_str(&timeline::schema()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for name in judged::DEMO {
        let document = json(&[name]);
        assert_eq!(document["schema"], timeline::SCHEMA);
        let errors: Vec<String> = validator.iter_errors(&document).map(|error| error.to_string()).collect();
        assert!(errors.is_empty(), "{name}: {errors:?}");
    }
    let mut wrong = json(&[LOST]);
    wrong["incidents"][0]["because"] = Value::Null;
    assert!(!validator.is_valid(&wrong));
}

/// A kind that the program can tell and the filter does not know could not be asked for.
#[test]
fn every_kind_of_the_documentation_is_known() {
    let documented = fs::read_to_string(in_project("docs/json.md")).unwrap();
    let listed = documented.split("`events[].kind`:").nth(1).unwrap().split(".\n").next().unwrap();
    let listed: Vec<&str> = listed.split('`').skip(1).step_by(2).collect();
    let mut known = timeline::KINDS.to_vec();
    let mut listed = listed;
    known.sort_unstable();
    listed.sort_unstable();
    listed.dedup();
    assert_eq!(known, listed);
}
