//! What the capture's own clock does is no fault of the network: stray stamps, and a clock that is set.

use serde_json::Value;

use crate::support::craft::random::Random;
use crate::support::kept::Capture;
use crate::support::kept::Kept;
use downbeat::units::CaptureTime;

const SECOND: i64 = 1_000_000_000;
const HOUR: i64 = 3600 * SECOND;
const DAY: i64 = 24 * HOUR;

fn moved(record: &mut Kept, by: i64) {
    record.time = record.time.map(|time| CaptureTime(time.0 + by));
}

/// What is said of the network: the verdict, who led and why no longer, the findings, and the devices' states. That
/// nothing was captured for a while is said of the capture.
fn said(report: &str) -> Vec<String> {
    let report: Value = serde_json::from_str(report).unwrap();
    let list = |of: &Value, part: &str| of[part].as_array().cloned().unwrap_or_default();
    let mut said = vec![format!("verdict {}", report["verdict"])];
    for domain in list(&report, "domains") {
        for tenure in list(&domain, "tenures") {
            said.push(format!("{} {} {}", domain["key"], tenure["clock"], tenure["ended_by"]));
        }
    }
    let findings = list(&report, "findings");
    let of_the_capture = |id: &Value| id == "capture-drops" || id == "capture-clock-step";
    let findings = findings.iter().filter(|finding| !of_the_capture(&finding["id"]));
    said.extend(findings.map(|finding| format!("{} {}", finding["id"], finding["severity"])));
    said.extend(
        list(&report, "devices").iter().map(|device| format!("{} {}", device["key"], device["state"])),
    );
    said
}

fn assert_same(capture: &Capture, changed: &[Kept], what: &str) {
    let (before, after) = (said(&capture.report_of(&capture.records)), said(&capture.report_of(changed)));
    assert!(before.len() > 2, "{before:?}");
    for (before, after) in before.iter().zip(&after) {
        assert_eq!(before, after, "{what}");
    }
    assert_eq!(before.len(), after.len(), "{what}: {after:?}");
}

const QUIET: [&str; 2] = ["playhouse-healthy.pcapng", "lab/healthy.pcap"];

/// A few places in a capture, the same at every run, none within `margin` records of an end.
fn places(capture: &Capture, margin: usize) -> Vec<usize> {
    let mut random = Random::seeded(20_261_125);
    let room = u64::try_from(capture.records.len() - 2 * margin).unwrap();
    (0..6).map(|_| margin + usize::try_from(random.next() % room).unwrap()).collect()
}

#[test]
fn one_stray_stamp_changes_no_word_about_the_network() {
    for name in QUIET {
        let capture = Capture::open(name);
        for index in places(&capture, 1) {
            for by in [DAY, HOUR, 5 * SECOND, 2 * SECOND, -2 * SECOND, -5 * SECOND, -HOUR, -DAY] {
                let mut records = capture.records.clone();
                moved(&mut records[index], by);
                assert_same(&capture, &records, &format!("{name}: record {index} moved by {by} ns"));
            }
        }
    }
}

#[test]
fn a_stray_stamp_on_the_first_record_changes_no_word_about_the_network() {
    for name in QUIET {
        let capture = Capture::open(name);
        for by in [-DAY, -HOUR, -5 * SECOND, -2 * SECOND] {
            let mut records = capture.records.clone();
            moved(&mut records[0], by);
            assert_same(&capture, &records, &format!("{name}: the first record moved by {by} ns"));
        }
    }
}

#[test]
fn a_clock_that_is_set_changes_no_word_about_the_network() {
    for name in QUIET {
        let capture = Capture::open(name);
        for index in places(&capture, 1) {
            for by in [DAY, HOUR, 5 * SECOND, 2 * SECOND, -2 * SECOND, -5 * SECOND, -HOUR, -DAY] {
                let mut records = capture.records.clone();
                records[index..].iter_mut().for_each(|record| moved(record, by));
                assert_same(&capture, &records, &format!("{name}: set by {by} ns at record {index}"));
            }
        }
    }
}

/// The near miss: what did happen is still told.
#[test]
fn a_lost_leader_is_told_where_the_capture_clock_was_set_beside() {
    let capture = Capture::open("playhouse-leader-lost.pcapng");
    for by in [HOUR, 5 * SECOND, -5 * SECOND, -HOUR] {
        let mut records = capture.records.clone();
        let tenth = records.len() / 10;
        records[tenth..].iter_mut().for_each(|record| moved(record, by));
        assert_same(&capture, &records, &format!("set by {by} ns"));
    }
    assert!(said(&capture.report_of(&capture.records)).iter().any(|line| line.contains("announce-timeout")));
}
