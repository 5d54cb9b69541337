//! What people and programs read, word for word. A changed report shows as a changed snapshot:
//! `INSTA_UPDATE=always cargo test snapshots` writes them anew.

use serde_json::Value;

use crate::json_schema::without_ptp;
use crate::support::judged;

/// Columns of a terminal that the text keeps to; a file name that is longer stays whole.
const COLUMNS: usize = 80;

/// A healthy report is read at a glance.
const HEALTHY_LINES: usize = 48;

fn snapshot(name: &str, content: &str) {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("snapshots");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, content));
}

#[test]
fn text_reports_read_as_agreed() {
    for name in judged::DEMO {
        snapshot(&format!("text-{}", name.split('.').next().unwrap()), &judged::demo(name).text);
    }
    snapshot("text-no-ptp", &judged::files(&[("no-ptp.pcap", without_ptp())]).text);
}

#[test]
fn the_report_about_streams_reads_as_agreed() {
    for name in ["playhouse-healthy", "playhouse-v1-beside-v2"] {
        let file =
            std::fs::read_dir(judged::in_project("captures")).unwrap().map(|entry| entry.unwrap().path());
        let path =
            file.filter(|path| path.to_string_lossy().contains(&format!("{name}.pcap"))).min().unwrap();
        let output = assert_cmd::Command::cargo_bin("downbeat")
            .unwrap()
            .current_dir(path.parent().unwrap())
            .arg("streams")
            .arg(path.file_name().unwrap())
            .output()
            .unwrap();
        assert!(output.status.success());
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(text.lines().all(|line| line.chars().count() <= COLUMNS), "{text}");
        snapshot(&format!("streams-{name}"), &text);
    }
}

#[test]
fn the_json_report_reads_as_agreed() {
    let mut document = judged::demo("playhouse-wrong-domain.pcapng").value();
    document["tool"]["version"] = Value::from("[version]");
    for domain in document["domains"].as_array_mut().unwrap() {
        // One clock of each domain shows the shape; the others are like it.
        domain["clocks"].as_array_mut().unwrap().truncate(1);
    }
    let devices = document["devices"].as_array_mut().unwrap();
    devices.retain(|device| device["state"] != "following");
    snapshot("json-playhouse-wrong-domain", &serde_json::to_string_pretty(&document).unwrap());
}

#[test]
fn text_fits_the_terminal() {
    for folder in ["captures", "captures/lab"] {
        for (name, octets) in judged::captures_in(&judged::in_project(folder)) {
            for line in judged::files(&[(&name, octets)]).text.lines() {
                let width = line.chars().count();
                assert!(width <= COLUMNS || line.contains(&name), "{name}: {width} columns: {line}");
            }
        }
    }
}

#[test]
fn a_healthy_report_is_short() {
    let lines = judged::demo("playhouse-healthy.pcapng").text.lines().count();
    assert!(lines <= HEALTHY_LINES, "{lines} lines");
}

#[test]
fn the_same_capture_gives_the_same_octets() {
    for name in judged::DEMO {
        let (one, two) = (judged::demo(name), judged::demo(name));
        assert_eq!(one.text, two.text, "{name}");
        assert_eq!(one.json, two.json, "{name}");
    }
}
