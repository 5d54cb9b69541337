//! Captures: which profile each domain of them is taken for.

use std::fmt::Write;
use std::io::Cursor;
use std::path::Path;

use downbeat::analysis::Analysis;
use downbeat::analysis::Reading;
use downbeat::analysis::Settings;
use downbeat::capture::Input;
use downbeat::capture::Joined;
use downbeat::profiles::score;

use crate::support::reference::shared;

fn analyse(octets: Vec<u8>) -> Analysis {
    let mut joined = Joined::new(vec![Input::once("capture", Cursor::new(octets))]);
    let mut reading = Reading::new(Settings::default());
    while let Some((file, record)) = joined.next_record() {
        reading.push(file, &record);
    }
    reading.finish(joined.finish())
}

fn committed(name: &str) -> Analysis {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures").join(name);
    analyse(std::fs::read(&path).unwrap())
}

/// Each domain with its ranking: name, `+` where it fits, points; then what speaks against the best.
fn ranking(analysis: &Analysis) -> String {
    let mut text = String::new();
    for domain in analysis.domains.iter() {
        let scored = score(domain);
        let names: Vec<String> = scored
            .iter()
            .map(|fit| format!("{}{}{}", fit.name, if fit.fits { "+" } else { " " }, fit.points))
            .collect();
        writeln!(text, "{}: {}", domain.key, names.join(", ")).unwrap();
        let best = &scored[0];
        for deviation in &best.deviations {
            let (item, seen, expected) = (&deviation.item, &deviation.seen, &deviation.expected);
            writeln!(text, "  {item}: {seen}; expected {expected} ({})", deviation.confidence.name())
                .unwrap();
        }
        for off in &best.off_defaults {
            writeln!(text, "  {}: {}; default {}", off.item, off.seen, off.expected).unwrap();
        }
    }
    text
}

fn best(analysis: &Analysis) -> Vec<(String, &'static str, bool)> {
    let first = |domain| score(domain).remove(0);
    analysis
        .domains
        .iter()
        .map(|domain| (domain, first(domain)))
        .map(|(d, f)| (d.key.to_string(), f.name, f.fits))
        .collect()
}

#[test]
fn demo_captures_are_ranked_as_their_snapshots_say() {
    for name in [
        "playhouse-healthy.pcapng",
        "playhouse-leader-lost.pcapng",
        "playhouse-quality-drop.pcapng.gz",
        "playhouse-two-leaders.pcapng",
        "playhouse-v1-beside-v2.pcap",
        "playhouse-wrong-domain.pcapng",
    ] {
        insta::assert_snapshot!(name, ranking(&committed(name)));
    }
}

#[test]
fn lab_captures_are_ranked_as_their_snapshots_say() {
    for name in ["healthy.pcap", "peer-delay-ethernet.pcap", "hybrid.pcap", "ipv6.pcap", "boundary-br1.pcap"]
    {
        insta::assert_snapshot!(name, ranking(&committed(&format!("lab/{name}"))));
    }
}

#[test]
fn the_demo_house_runs_what_both_media_standards_allow() {
    let expected = [("v2 domain 0".to_owned(), "aes67-st2059-2", true)];
    for name in ["playhouse-healthy.pcapng", "playhouse-leader-lost.pcapng", "playhouse-two-leaders.pcapng"] {
        assert_eq!(best(&committed(name)), expected, "{name}");
    }
    let strayed = ("v2 domain 127".to_owned(), "st2059-2", true);
    assert_eq!(best(&committed("playhouse-wrong-domain.pcapng")), [expected[0].clone(), strayed]);
}

#[test]
fn a_daemon_with_peer_delay_over_ethernet_is_nearest_to_the_peer_to_peer_default() {
    let analysis = committed("lab/peer-delay-ethernet.pcap");
    // Its Sync goes out 8 times a second, which the profile does not allow.
    assert_eq!(best(&analysis), [("v2 domain 0".to_owned(), "default-p2p", false)]);
}

#[test]
fn open_captures_are_judged_without_inventing_what_they_do_not_show() {
    for name in ["ptp.pcap", "ptp_ethernet.pcap", "ptp_management.pcap", "ptp_v2_1.pcap"] {
        let Some(octets) = shared(&format!("captures/{name}")) else { return };
        insta::assert_snapshot!(name, ranking(&analyse(octets)));
    }
}
