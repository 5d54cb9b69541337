//! What devices are called, by whom, and which addresses are theirs; and that no name drives a terminal.

use std::net::Ipv4Addr;

use serde_json::Value;
use serde_json::json;

use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::craft::discovery;
use crate::support::craft::discovery::Speaker;
use crate::support::craft::frame;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::judged;
use crate::support::judged::Judged;

const BOX: Speaker = Speaker { mac: [2, 0, 0x5e, 0x10, 0, 0x62], ip: Ipv4Addr::new(10, 20, 0, 62) };
const ROUTER: Speaker = Speaker { mac: [2, 0, 0x5e, 0x10, 0, 0xfe], ip: Ipv4Addr::new(10, 20, 0, 1) };
const PTP_GROUP: Ipv4Addr = Ipv4Addr::new(224, 0, 1, 129);
const HOSTILE: &str = "\u{1b}[2Jbox\n\u{202e}SOUND: all is well";

/// A delay request of a clock, from `mac`, by UDP.
fn ptp_frame(mac: frame::Mac, ip: Ipv4Addr, clock: frame::Mac, sequence: u16) -> Vec<u8> {
    let header = ptp_v2::Header {
        domain: 0,
        flags: [0, 0],
        correction: 0,
        source: PortIdentity::of_mac(clock),
        sequence,
        log_interval: ptp_v2::NOT_STATED,
    };
    let payload = ptp_v2::encode(&header, &ptp_v2::Body::DelayReq { origin_ns: 0 });
    let way =
        frame::Ipv4Way { source: ip, destination: PTP_GROUP, ttl: 1, dscp: 46, identification: sequence };
    frame::ethernet(frame::group_mac(PTP_GROUP), mac, 0x0800, &frame::udp(&way, 319, 319, &payload))
}

fn read(frames: &[Vec<u8>]) -> Judged {
    let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
    for (second, octets) in (0..).zip(frames) {
        file.record(1_791_055_680 + second, 0, octets);
    }
    judged::files(&[("made.pcap", file.octets)])
}

/// The only device of a capture in which the stage box sends PTP and these frames come as well.
fn stage_box(frames: &[Vec<u8>]) -> Value {
    let all = [&[ptp_frame(BOX.mac, BOX.ip, BOX.mac, 1)], frames].concat();
    let report = read(&all).value();
    let devices = report["devices"].as_array().unwrap();
    assert_eq!(devices.len(), 1);
    devices[0].clone()
}

fn named(frames: &[Vec<u8>]) -> (Option<String>, Option<String>) {
    let device = stage_box(frames);
    let text = |key: &str| device[key].as_str().map(ToOwned::to_owned);
    (text("name"), text("named_by"))
}

fn by(name: &str, source: &str) -> (Option<String>, Option<String>) {
    (Some(name.to_owned()), Some(source.to_owned()))
}

#[test]
fn a_device_that_says_nothing_has_no_name() {
    assert_eq!(named(&[]), (None, None));
}

#[test]
fn names_are_believed_in_order_whatever_came_first() {
    let mdns = discovery::mdns_host(BOX, "stage-box", 120);
    let lldp = discovery::lldp_switch(BOX.mac, BOX.mac, "box by LLDP", "eth0", "");
    let dhcp = discovery::dhcp_request(BOX, "box-by-dhcp");
    assert_eq!(named(&[mdns.clone(), lldp.clone(), dhcp.clone()]), by("stage-box", "mdns"));
    assert_eq!(named(&[dhcp.clone(), lldp.clone(), mdns]), by("stage-box", "mdns"));
    assert_eq!(named(&[dhcp.clone(), lldp]), by("box by LLDP", "lldp"));
    assert_eq!(named(&[dhcp]), by("box-by-dhcp", "dhcp"));
}

#[test]
fn a_service_names_its_host_where_the_host_does_not() {
    let service = discovery::mdns_service(BOX, "Stage box", "_stage", "box-host");
    assert_eq!(named(std::slice::from_ref(&service)), by("box-host", "mdns"));
    assert_eq!(named(&[discovery::mdns_host(BOX, "stage-box", 120), service]), by("stage-box", "mdns"));
}

#[test]
fn the_later_name_counts_and_one_that_is_taken_back_is_none() {
    let first = discovery::mdns_host(BOX, "stage-box", 120);
    assert_eq!(named(&[first, discovery::mdns_host(BOX, "stage-box-2", 120)]), by("stage-box-2", "mdns"));
    assert_eq!(named(&[discovery::mdns_host(BOX, "stage-box", 0)]), (None, None));
}

#[test]
fn addresses_that_a_device_claims_are_its_own() {
    let second = Speaker { ip: Ipv4Addr::new(10, 30, 0, 62), ..BOX };
    let arp = |speaker| discovery::arp_request(speaker, ROUTER.ip);
    let device = stage_box(&[arp(BOX), arp(second)]);
    assert_eq!(device["ips"], json!(["10.20.0.62", "10.30.0.62"]));
    // Its name may go by any of them.
    assert_eq!(named(&[arp(BOX), arp(second), discovery::mdns_host(second, "box", 120)]), by("box", "mdns"));
    // An address that two claim is nobody's.
    let rival = Speaker { mac: ROUTER.mac, ..second };
    assert_eq!(stage_box(&[arp(BOX), arp(second), arp(rival)])["ips"], json!(["10.20.0.62"]));
}

/// The router's address stands on the frames of what is behind it.
#[test]
fn a_device_behind_a_router_has_neither_its_name_nor_its_addresses() {
    let behind = Ipv4Addr::new(10, 40, 0, 7);
    let clock = [2, 0, 0x5e, 0x10, 0, 0x77];
    let report = read(&[
        ptp_frame(ROUTER.mac, behind, clock, 1),
        discovery::arp_request(ROUTER, BOX.ip),
        discovery::lldp_switch(ROUTER.mac, ROUTER.mac, "router", "1", ""),
        discovery::dhcp_request(ROUTER, "router"),
    ])
    .value();
    let device = &report["devices"][0];
    assert_eq!(device["ips"], json!(["10.40.0.7"]));
    assert_eq!(device["name"], Value::Null);
}

#[test]
fn the_switch_port_is_told_where_one_switch_says_it() {
    let lldp = |last, port| {
        let mac = [2, 0, 0x5e, 0x10, 0, last];
        discovery::lldp_switch(mac, mac, "core switch", port, "mirror")
    };
    let one = read(&[ptp_frame(BOX.mac, BOX.ip, BOX.mac, 1), lldp(0xfe, "ge-7"), lldp(0xfe, "ge-7")]);
    assert_eq!(
        one.value()["viewpoint"]["switch_ports"],
        json!([{ "mac": "02:00:5e:10:00:fe", "system": "core switch", "port": "ge-7", "port_description": "mirror" }])
    );
    assert!(one.text.contains("hangs on     core switch, port ge-7 (mirror), by its LLDP"), "{}", one.text);
    let two = read(&[lldp(0xfe, "ge-7"), lldp(0xfd, "ge-8")]);
    assert!(two.text.contains("LLDP from    core switch") && !two.text.contains("hangs on"), "{}", two.text);
}

#[test]
fn hostile_names_reach_the_terminal_as_escapes_and_the_json_as_they_came() {
    let frames = [
        ptp_frame(BOX.mac, BOX.ip, BOX.mac, 1),
        discovery::dhcp_request(BOX, HOSTILE),
        discovery::lldp_switch(ROUTER.mac, ROUTER.mac, HOSTILE, HOSTILE, HOSTILE),
    ];
    let names = [
        discovery::mdns_host(BOX, HOSTILE, 120),
        discovery::mdns_service(BOX, HOSTILE, "_stage", HOSTILE),
        discovery::lldp_switch(BOX.mac, BOX.mac, HOSTILE, HOSTILE, HOSTILE),
    ];
    for name in std::iter::once(None).chain(names.map(Some)) {
        let judged = read(&frames.iter().cloned().chain(name).collect::<Vec<_>>());
        let hostile = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
        assert!(!judged.text.chars().any(hostile), "{:?}", judged.text);
        assert!(!judged.text.lines().any(|line| line.starts_with("SOUND: all is well")), "{}", judged.text);
        assert!(judged.text.contains("\\u{1b}[2Jbox\\u{a}"), "{}", judged.text);
        assert!(!judged.json.chars().any(|c| c.is_ascii_control() && c != '\n'));
        let name = judged.value()["devices"][0]["name"].clone();
        assert!(name.as_str().unwrap().starts_with("\u{1b}[2Jbox"), "{name}");
    }
}

#[test]
fn a_name_without_end_is_cut() {
    let long = "b".repeat(255);
    let judged = read(&[ptp_frame(BOX.mac, BOX.ip, BOX.mac, 1), discovery::dhcp_request(BOX, &long)]);
    assert_eq!(judged.value()["devices"][0]["name"], long);
    assert!(judged.text.lines().all(|line| line.chars().count() <= 80), "{}", judged.text);
}
