//! What likely follows from a fault stands behind it, and what does not stands for itself.

use std::sync::Arc;

use downbeat::analysis::Settings;
use downbeat::site;
use serde_json::Value;

use crate::support::judged;
use crate::support::judged::Judged;
use crate::support::judged::captures_in;
use crate::support::judged::in_project;
use crate::support::script::said;
use crate::support::stage::actor;
use crate::support::wire::Sender;
use crate::support::wire::Wire;
use crate::support::wire::follower;
use crate::support::wire::leader;

const SECONDS: i64 = 90;

/// Each finding above info with the id of the one it follows from.
pub(super) fn followings(report: &Value) -> Vec<(String, Option<String>)> {
    let findings = report["findings"].as_array().unwrap();
    let id = |finding: &Value| finding["id"].as_str().unwrap().to_owned();
    let faults = findings.iter().filter(|finding| finding["severity"] != "info");
    faults
        .map(|finding| {
            let cause =
                finding["follows_from"].as_u64().map(|at| id(&findings[usize::try_from(at).unwrap()]));
            (id(finding), cause)
        })
        .collect()
}

/// Causes before what follows from them, which has no effects of its own; groups by their gravest.
fn is_in_order(report: &Value) {
    let findings = report["findings"].as_array().unwrap();
    let grade = |finding: &Value| {
        let severity = finding["severity"].as_str().unwrap();
        ["critical", "major", "minor", "info"].iter().position(|each| *each == severity).unwrap()
    };
    let mut groups: Vec<usize> = Vec::new();
    let mut leading = 0;
    for (index, finding) in findings.iter().enumerate() {
        match finding["follows_from"].as_u64() {
            None => {
                leading = index;
                groups.push(grade(finding));
            }
            Some(at) => {
                assert_eq!(usize::try_from(at).unwrap(), leading);
                let gravest = groups.last_mut().unwrap();
                *gravest = (*gravest).min(grade(finding));
            }
        }
    }
    assert!(groups.is_sorted(), "{groups:?}");
}

/// A leader that answers nobody: the devices that need the clock are off it for that one reason.
fn deaf_leader(also: impl Fn(&mut Wire)) -> Wire {
    let mut wire = Wire::default();
    wire.leads(0..SECONDS, &leader());
    for number in 20..24 {
        wire.asks(0..SECONDS, &follower(number));
    }
    also(&mut wire);
    wire
}

/// What is said of a network by a site file that lists these devices.
fn listing(wire: &Wire, numbers: &[u8]) -> Judged {
    let device = |number: &u8| {
        let clock = actor(*number).id();
        format!("[[device]]\nname = \"lamp {number}\"\nclock = \"{clock}\"\nneeds_clock = true\n")
    };
    let devices: String = numbers.iter().map(device).collect();
    let site = site::parse(&format!("[clock]\ndomain = 0\n{devices}")).unwrap();
    let settings = Settings { site: Some(Arc::new(site)), ..Settings::default() };
    judged::with(settings, &[("made.pcap", wire.capture())])
}

#[test]
fn devices_off_the_clock_follow_from_the_leader_that_answers_nobody() {
    let report = listing(&deaf_leader(|_| {}), &[20, 21, 22, 23]).value();
    let followings = followings(&report);
    assert_eq!(followings[0], ("delay-response-missing".to_owned(), None), "{followings:?}");
    let off: Vec<_> = followings.iter().filter(|(id, _)| id == "site-device-not-on-clock").collect();
    assert_eq!(off.len(), 4, "{followings:?}");
    assert!(off.iter().all(|(_, cause)| cause.as_deref() == Some("delay-response-missing")), "{off:?}");
    is_in_order(&report);
    let because = report["verdict_because"].as_str().unwrap();
    assert_eq!(because, "1 finding needs attention now; 4 more likely follow from it");
}

#[test]
fn a_device_in_another_domain_does_not_follow_from_the_deaf_leader() {
    let stray = Sender::of(actor(30).in_domain(7));
    let wire = deaf_leader(|wire| wire.leads(0..SECONDS, &stray));
    let report = listing(&wire, &[20, 30]).value();
    let followings = followings(&report);
    let cause = |of: &str| {
        let own = report["findings"].as_array().unwrap().iter();
        let mut own = own.filter(|finding| finding["id"] == "site-device-not-on-clock");
        let own = own.find(|finding| finding["title"].as_str().unwrap().starts_with(of)).unwrap();
        let at = own["follows_from"].as_u64().unwrap();
        report["findings"][usize::try_from(at).unwrap()]["id"].as_str().unwrap().to_owned()
    };
    assert_eq!(cause("lamp 20"), "delay-response-missing", "{followings:?}");
    assert_eq!(cause("lamp 30"), "wrong-domain-follower", "{followings:?}");
    is_in_order(&report);
}

#[test]
fn a_lead_lost_to_holdover_stands_under_the_holdover() {
    let report = judged::demo("playhouse-quality-drop.pcapng.gz").value();
    let followings = followings(&report);
    let changed = followings.iter().find(|(id, _)| id == "leader-changed").unwrap();
    assert_eq!(changed.1.as_deref(), Some("grandmaster-in-holdover"));
    is_in_order(&report);
}

/// The change of leader is over long before the other fault begins.
#[test]
fn what_was_over_before_a_fault_began_stands_for_itself() {
    let second = follower(2);
    let mut wire = Wire::default();
    wire.leads(0..20, &leader());
    wire.leads(24..150, &second);
    wire.follows(30..150, &follower(20), &second);
    // Long after it a worse clock begins to lead beside.
    let worse = follower(9);
    wire.leads(80..150, &worse);
    let report = wire.report();
    assert!(!said(&report, "two-masters-one-domain").is_empty(), "{}", report["findings"]);
    let followings = followings(&report);
    let changed = followings.iter().find(|(id, _)| id == "leader-changed").unwrap();
    assert_eq!(changed.1, None, "{followings:?}");
    is_in_order(&report);
}

/// The text says what to do about the cause once, and names the effects in a line each.
#[test]
fn the_text_tells_effects_under_their_cause() {
    let text = listing(&deaf_leader(|_| {}), &[20, 21, 22, 23]).text;
    let lines: Vec<&str> = text.lines().collect();
    let at =
        |words: &str| lines.iter().position(|line| line.contains(words)).unwrap_or_else(|| panic!("{text}"));
    // The third line at the latest says what to do.
    assert!(lines[..3].iter().any(|line| line.starts_with("  do first: ")), "{text}");
    let (cause, tells) = (at("delay-response-missing"), at("likely follows from it"));
    assert!(cause < at("  do: ") && at("  do: ") < tells, "{text}");
    assert!(lines[tells + 1].starts_with("    critical, "), "{text}");
    assert!(lines[tells + 1].contains("site-device-not-on-clock"), "{text}");
}

/// One cause told of many devices: the first three with evidence, the others in a line, their rows in the table named.
#[test]
fn the_text_tells_what_is_alike_of_many_devices_briefly() {
    let mut wire = Wire::default();
    wire.leads(0..SECONDS, &leader());
    for number in 20..24 {
        wire.follows(0..SECONDS, &follower(number), &leader());
    }
    for number in 40..50 {
        wire.asks(0..SECONDS, &follower(number));
    }
    let text = judged::files(&[("made.pcap", wire.capture())]).text;
    let count = |words: &str| text.lines().filter(|line| line.contains(words)).count();
    assert_eq!(count("critical, shown: delay-response-missing"), 3, "{text}");
    assert_eq!(count("  the same of others"), 1, "{text}");
    // By the address that the table has, with its own behind it.
    for number in 40..50 {
        assert!(text.contains(&format!("192.168.20.{number} (02:00:5e:10:00:{number:02x}) asks")), "{text}");
    }
    assert_eq!(count("  source: IEEE 1588-2008 11.3"), 1, "{text}");
    assert!(text.contains("and 5 more unanswered: 192.168.20.45, 192.168.20.46"), "{text}");
}

#[test]
fn a_device_that_is_answered_in_part_is_not_said_to_get_no_answer() {
    let mut wire = Wire::default();
    wire.leads(0..SECONDS, &leader());
    wire.follows(0..SECONDS, &follower(20), &leader());
    wire.follows(0..30, &follower(21), &leader());
    wire.asks(30..SECONDS, &follower(21));
    let report = wire.report();
    let findings = report["findings"].as_array().unwrap();
    let own = findings.iter().find(|finding| finding["id"] == "delay-response-missing").unwrap();
    assert!(own["title"].as_str().unwrap().contains("an answer to 30 of 90 requests only"), "{own}");
}

#[test]
fn every_committed_capture_has_its_findings_in_order() {
    for folder in ["captures", "captures/lab"] {
        for (name, octets) in captures_in(&in_project(folder)) {
            is_in_order(&judged::files(&[(&name, octets)]).value());
        }
    }
}
