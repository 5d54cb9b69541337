//! Frames of real captures against values worked out by other readers.

use crate::frames::{assert_prefix, ethernet};
use crate::support::reference::{hex, json, shared, walk};

#[test]
fn a_captured_frame_with_two_tags_is_read() {
    let Some(file) = shared("reference/check-values/lldp-vlan.json") else { return };
    let vectors = json(&file);
    let vectors = vectors["vectors"].as_array().unwrap();
    let vector = vectors.iter().find(|vector| vector["id"] == "VLAN-QinQ-1").unwrap();
    let octets = hex(vector["frame_hex"].as_str().unwrap());
    let frame = ethernet(&octets);
    for (tag, side) in frame.vlans.tags().iter().zip(["outer", "inner"]) {
        let expected = &vector["decoded"][side];
        assert_eq!(format!("{:04x}", tag.tpid), expected["tpid"].as_str().unwrap());
        assert_eq!(u64::from(tag.pcp), expected["pcp"].as_u64().unwrap());
        assert_eq!(u64::from(tag.dei), expected["dei"].as_u64().unwrap());
        assert_eq!(u64::from(tag.vid), expected["vid"].as_u64().unwrap());
    }
    assert_eq!((frame.vlans.tags().len(), frame.vlans.inner_id()), (2, Some(2001)));
    assert_eq!((frame.ethertype, frame.stop), (Some(0x0806), None));
}

#[test]
fn captured_ptp_frames_have_the_addresses_that_three_other_readers_saw() {
    let Some(file) = shared("reference/check-values/ptp-v2-real.json") else { return };
    let vectors = json(&file);
    let vectors = vectors["vectors"].as_array().unwrap();
    assert!(vectors.len() >= 30);
    for vector in vectors {
        let id = &vector["id"];
        let octets = hex(vector["frame_hex"].as_str().unwrap());
        let expected = &vector["network"];
        let frame = ethernet(&octets);
        assert_eq!(frame.stop, None, "{id}");
        assert_eq!(frame.source_mac.unwrap().to_string(), expected["srcMac"].as_str().unwrap(), "{id}");
        assert_eq!(frame.destination_mac.unwrap().to_string(), expected["dstMac"].as_str().unwrap(), "{id}");
        if let Some(source) = expected["ipSrc"].as_str() {
            let (network, udp) = (frame.network.unwrap(), frame.udp.unwrap());
            assert_eq!(network.source.to_string(), source, "{id}");
            assert_eq!(network.destination.to_string(), expected["ipDst"].as_str().unwrap(), "{id}");
            let numbers = [
                (u64::from(network.ttl), "ttl"),
                (u64::from(network.dscp), "dscp"),
                (u64::from(udp.source_port), "udpSrc"),
                (u64::from(udp.destination_port), "udpDst"),
                (u64::from(udp.length), "udpLength"),
            ];
            for (value, name) in numbers {
                assert_eq!(value, expected[name].as_u64().unwrap(), "{id} {name}");
            }
        } else {
            assert_eq!(
                format!("{:04x}", frame.ethertype.unwrap()),
                expected["etherType"].as_str().unwrap(),
                "{id}"
            );
        }
    }
}

#[test]
fn captured_frames_are_read_to_the_end_and_survive_a_cut_anywhere() {
    for (name, count, ethertype) in [
        ("802.1ad_QinQ.pcap", 2, 0x0806),
        ("IGMP_V2.pcap", 18, 0x0800),
        ("igmpv3-queries.pcap", 6, 0x0800),
        ("ptp.pcap", 5, 0x0800),
        ("ptp_ethernet.pcap", 205, 0x88F7),
        ("ptp_management.pcap", 10, 0x88F7),
        ("ptp_v2_1.pcap", 38, 0x88F7),
    ] {
        let Some(file) = shared(&format!("captures/{name}")) else { return };
        let records = walk(&file);
        assert_eq!(records.len(), count, "{name}");
        for octets in records {
            let whole = ethernet(octets);
            assert_eq!((whole.ethertype, whole.stop), (Some(ethertype), None), "{name}");
            for length in 0..octets.len() {
                assert_prefix(name, &ethernet(&octets[..length]), &whole);
            }
        }
    }
}
