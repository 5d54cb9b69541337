//! Healthy networks as a bad capture shows them: frames lost, senders cut off, stamps coarse. None of it is a fault of
//! the network.

use downbeat::units::CaptureTime;
use serde_json::Value;

use crate::support::craft::random::Random;
use crate::support::kept::Capture;
use crate::support::kept::Kept;

const HEALTHY: [&str; 8] = [
    "playhouse-healthy.pcapng",
    "lab/healthy.pcap",
    "lab/hybrid.pcap",
    "lab/ipv6.pcap",
    "lab/passive-standby.pcap",
    "lab/peer-delay-ethernet.pcap",
    "lab/boundary-br0.pcap",
    "lab/boundary-br1.pcap",
];

/// Networks whose one fault, a leader that is away for a while, is none of these rules' matter.
const LEADER_AWAY: [&str; 2] = ["playhouse-leader-lost.pcapng", "lab/failover.pcap"];

/// The rules that are held to silence here; the others have tests of their own.
const RULES: [&str; 60] = [
    "boundary-clock-offset",
    "broadcast-or-unknown-load",
    "correction-field-wrong",
    "damaged-or-odd-ptp-frames",
    "declared-interval-differs",
    "delay-mechanism-mismatch",
    "delay-request-flood",
    "delay-request-stops",
    "delay-response-misaddressed",
    "dscp-missing-or-inconsistent",
    "dscp-rewritten",
    "follow-up-missing",
    "follow-up-order-or-delay",
    "follower-deaf",
    "follower-hunting",
    "follower-restarts",
    "follower-silent",
    "follower-takes-over",
    "format-or-rate-mismatch",
    "group-used-twice",
    "implausible-path-delay",
    "ip-or-mac-conflict",
    "leader-not-heard",
    "layer2-ptp-dropped-by-snooping",
    "leg-missing-or-identical",
    "legs-on-different-time",
    "link-near-full",
    "low-headroom-for-new-endpoints",
    "master-transmit-fault-cycle",
    "media-clock-rate-off",
    "member-without-report",
    "multicast-flooding",
    "multicast-mac-overlap",
    "multicast-outside-plan",
    "multicast-unicast-mismatch",
    "no-querier",
    "packet-spacing-bursty",
    "peer-delay-several-responders",
    "peer-response-out-of-time",
    "profile-mixture-on-one-domain",
    "ptp-load-on-master",
    "querier-contention-or-move",
    "querier-version-or-timer-mix",
    "querier-without-address",
    "rate-off-profile",
    "rtp-loss-or-reorder",
    "rtp-offset-not-from-ptp",
    "rtp-timestamp-step",
    "session-description-clock-mismatch",
    "session-without-stream",
    "software-stamped-master",
    "sync-delay-variation",
    "sync-gaps",
    "too-many-identities",
    "transport-mismatch",
    "ttl-too-small",
    "two-step-flag-wrong",
    "unicast-lease-expired",
    "vlan-split-or-leak",
    "zero-or-odd-origin",
];

/// Findings of these rules above info, as the records left of a capture show.
fn false_alarms(capture: &Capture, records: &[Kept]) -> Vec<String> {
    let report: Value = serde_json::from_str(&capture.report_of(records)).unwrap();
    let findings = report["findings"].as_array().unwrap().iter();
    let alarms = findings
        .filter(|finding| finding["severity"] != "info" && RULES.iter().any(|rule| finding["id"] == *rule));
    alarms.map(|finding| finding["title"].as_str().unwrap().to_owned()).collect()
}

fn source(record: &Kept) -> &[u8] {
    &record.octets[6..12]
}

#[test]
fn lost_frames_are_no_fault_of_the_network() {
    for name in HEALTHY.into_iter().chain(LEADER_AWAY) {
        let capture = Capture::open(name);
        for lost_percent in [1, 10, 50, 70] {
            let mut random = Random::seeded(7 + u64::try_from(lost_percent).unwrap());
            let left: Vec<Kept> =
                capture.records.iter().filter(|_| random.between(0, 99) >= lost_percent).cloned().collect();
            assert_eq!(false_alarms(&capture, &left), Vec::<String>::new(), "{name} {lost_percent} %");
        }
    }
}

#[test]
fn a_sender_that_is_not_in_view_or_leaves_it_is_no_fault_of_the_network() {
    for name in HEALTHY {
        let capture = Capture::open(name);
        let mut senders: Vec<Vec<u8>> =
            capture.records.iter().map(|record| source(record).to_vec()).collect();
        senders.sort();
        senders.dedup();
        let half = capture.records.len() / 2;
        for sender in senders.into_iter().take(8) {
            for from in [0, half] {
                let records = capture.records.iter().enumerate();
                let left = records.filter(|(index, record)| *index < from || source(record) != sender);
                let left: Vec<Kept> = left.map(|(_, record)| record.clone()).collect();
                assert_eq!(false_alarms(&capture, &left), Vec::<String>::new(), "{name} {sender:x?} {from}");
            }
        }
    }
}

#[test]
fn coarse_or_noisy_stamps_are_no_fault_of_the_network() {
    for name in HEALTHY {
        let capture = Capture::open(name);
        for (step, noise) in [(1_000, 0), (1_000_000, 0), (1, 300_000)] {
            let mut random = Random::seeded(11);
            let mut records = capture.records.clone();
            for record in &mut records {
                let late = random.between(0, noise);
                record.time = record.time.map(|CaptureTime(ns)| CaptureTime(ns / step * step + late));
            }
            assert_eq!(false_alarms(&capture, &records), Vec::<String>::new(), "{name} {step} {noise}");
        }
    }
}

#[test]
fn a_hole_in_the_capture_is_no_fault_of_the_network() {
    for name in HEALTHY.into_iter().chain(LEADER_AWAY) {
        let capture = Capture::open(name);
        let third = capture.records.len() / 3;
        let records = capture.records.iter().enumerate();
        let left = records.filter(|(index, _)| !(third..2 * third).contains(index));
        let left: Vec<Kept> = left.map(|(_, record)| record.clone()).collect();
        assert_eq!(false_alarms(&capture, &left), Vec::<String>::new(), "{name}");
    }
}

#[test]
fn messages_that_a_filter_took_out_are_no_fault_of_the_network() {
    for name in HEALTHY.into_iter().chain(["playhouse-v1-beside-v2.pcap"]) {
        let capture = Capture::open(name);
        for port in [319_u16, 320] {
            // The destination port of UDP behind untagged Ethernet and an IPv4 header without options.
            let is_there = |record: &&Kept| record.octets.get(36..38) != Some(&port.to_be_bytes());
            let left: Vec<Kept> = capture.records.iter().filter(is_there).cloned().collect();
            assert_eq!(false_alarms(&capture, &left), Vec::<String>::new(), "{name} {port}");
        }
    }
}
