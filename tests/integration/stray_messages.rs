//! What a few odd messages or a mistyped option must not be blown up to.

use downbeat::analysis::Settings;
use serde_json::Value;

use crate::support::craft::capture_file;
use crate::support::craft::capture_file::CapturedFrame;
use crate::support::craft::frame;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::judged;
use crate::support::judged::in_project;
use crate::support::stage::Actor;
use crate::support::stage::BEGINNING;
use crate::support::stage::actor;

const HEALTHY: &str = "playhouse-healthy.pcapng";

fn of_kind<'a>(report: &'a Value, id: &str) -> Vec<&'a Value> {
    report["findings"].as_array().unwrap().iter().filter(|finding| finding["id"] == id).collect()
}

#[test]
fn a_domain_named_that_is_not_there_is_one_finding_and_not_one_for_every_device() {
    let octets = std::fs::read(in_project("captures").join(HEALTHY)).unwrap();
    let settings = Settings { domain: Some(5), ..Settings::default() };
    let report = judged::with(settings, &[(HEALTHY, octets)]).value();
    let found = of_kind(&report, "wrong-domain-follower");
    assert_eq!(found.len(), 1);
    let astray = report["devices"].as_array().unwrap().iter().filter(|device| device["state"] == "astray");
    assert_eq!(found[0]["evidence"].as_array().unwrap().len(), astray.count());
    assert!(found[0]["title"].as_str().unwrap().contains("domain 5, which is not in this capture"));
}

/// A capture of Announces over Ethernet: sender and time in ms.
fn announces(sent: &[(&Actor, i64)]) -> Vec<u8> {
    let frames: Vec<CapturedFrame> = (0_u16..)
        .zip(sent)
        .map(|(sequence, (actor, ms))| {
            let header = ptp_v2::Header {
                domain: actor.domain,
                flags: actor.flags,
                correction: 0,
                source: actor.port,
                sequence,
                log_interval: actor.log_interval,
            };
            let message = ptp_v2::encode(&header, &Body::Announce { origin_ns: 0, data: actor.data });
            let octets = frame::ethernet([0x01, 0x1B, 0x19, 0, 0, 0], actor.mac, 0x88F7, &message);
            CapturedFrame { stamp_ns: BEGINNING.0 + ms * 1_000_000, interface: 0, octets }
        })
        .collect();
    capture_file::pcap(262_144, &frames)
}

#[test]
fn a_single_stray_announce_in_another_domain_is_no_lost_leader() {
    let (leader, stray) = (actor(1), actor(2).in_domain(77));
    for (strays, findings) in [(1, 0), (3, 1)] {
        let mut sent: Vec<(&Actor, i64)> = (0..40).map(|second| (&leader, second * 1000)).collect();
        sent.extend((0..strays).map(|second| (&stray, second * 1000 + 100)));
        sent.sort_by_key(|(_, ms)| *ms);
        let report = judged::files(&[("stray.pcap", announces(&sent))]).value();
        assert_eq!(of_kind(&report, "no-grandmaster").len(), findings, "{strays}");
    }
}

#[test]
fn a_sender_that_keeps_another_interval_than_it_declares_is_not_printed_as_declared() {
    for (every, expected) in
        [(1000, "every 1 s as declared"), (4000, "declares every 1 s, but sends every 4 s")]
    {
        let leader = actor(1);
        let sent: Vec<(&Actor, i64)> = (0..15).map(|number| (&leader, number * every)).collect();
        let text = judged::files(&[("pace.pcap", announces(&sent))]).text;
        assert!(text.contains(expected), "{text}");
    }
}
