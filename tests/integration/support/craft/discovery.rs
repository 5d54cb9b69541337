//! What devices say of themselves: multicast DNS (RFC 1035 section 4, RFC 6762), LLDP (IEEE 802.1AB clause 8), DHCP
//! (RFC 2131 section 2, RFC 2132) and ARP (RFC 826); whole Ethernet frames, layouts from memory.
use std::net::Ipv4Addr;

use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::Mac;
use crate::support::craft::frame::ethernet;
use crate::support::craft::frame::group_mac;
use crate::support::craft::frame::udp;
use crate::support::craft::octets::Octets;
use crate::support::craft::octets::length_u16;

const BROADCAST: Mac = [0xFF; 6];
const MDNS_GROUP: Ipv4Addr = Ipv4Addr::new(224, 0, 0, 251);
/// The group that no bridge forwards.
const NEAREST_BRIDGE: Mac = [0x01, 0x80, 0xC2, 0x00, 0x00, 0x0E];
const DNS_A: u16 = 1;
const DNS_SRV: u16 = 33;

/// Who speaks.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Speaker {
    pub(crate) mac: Mac,
    pub(crate) ip: Ipv4Addr,
}

fn length_u8(text: &[u8]) -> u8 {
    u8::try_from(text.len()).expect("a short text")
}

/// A DNS name of these labels, without compression.
fn dns_name(labels: &[&str]) -> Vec<u8> {
    let mut name = Octets::new();
    for label in labels {
        name = name.u8(length_u8(label.as_bytes())).bytes(label.as_bytes());
    }
    name.u8(0).0
}

fn dns_record(name: &[&str], kind: u16, time_to_live: u32, data: &[u8]) -> Vec<u8> {
    // The class IN with the bit that says that the record is the whole set.
    Octets::new()
        .bytes(&dns_name(name))
        .u16(kind)
        .u16(0x8001)
        .u32(time_to_live)
        .u16(length_u16(data.len()))
        .bytes(data)
        .0
}

fn mdns(speaker: Speaker, records: &[Vec<u8>]) -> Vec<u8> {
    let count = u16::try_from(records.len()).expect("few records");
    let message = Octets::new().u16(0).u16(0x8400).u16(0).u16(count).u16(0).u16(0).bytes(&records.concat()).0;
    let way =
        Ipv4Way { source: speaker.ip, destination: MDNS_GROUP, ttl: 255, dscp: 0, identification: 0x4d44 };
    ethernet(group_mac(MDNS_GROUP), speaker.mac, 0x0800, &udp(&way, 5353, 5353, &message))
}

/// A host says its name: an A record of `host`.local; lifetime in seconds, 0 takes it back.
pub(crate) fn mdns_host(speaker: Speaker, host: &str, time_to_live: u32) -> Vec<u8> {
    mdns(speaker, &[dns_record(&[host, "local"], DNS_A, time_to_live, &speaker.ip.octets())])
}

/// A host says that a service runs on it: an SRV record of `instance`.`service`._udp.local.
pub(crate) fn mdns_service(speaker: Speaker, instance: &str, service: &str, host: &str) -> Vec<u8> {
    let data = Octets::new().u16(0).u16(0).u16(5004).bytes(&dns_name(&[host, "local"])).0;
    mdns(speaker, &[dns_record(&[instance, service, "_udp", "local"], DNS_SRV, 120, &data)])
}

/// A switch names itself and its port: Chassis ID (MAC), Port ID (interface name), Time To Live, Port Description, System
/// Name, System Capabilities (bridge, enabled), end.
pub(crate) fn lldp_switch(mac: Mac, chassis: Mac, system: &str, port: &str, description: &str) -> Vec<u8> {
    let tlv = |kind: u16, value: &[u8]| Octets::new().u16(kind << 9 | length_u16(value.len())).bytes(value).0;
    let message = [
        tlv(1, &[&[4], &chassis[..]].concat()),
        tlv(2, &[&[5], port.as_bytes()].concat()),
        tlv(3, &120_u16.to_be_bytes()),
        tlv(4, description.as_bytes()),
        tlv(5, system.as_bytes()),
        tlv(7, &[0, 4, 0, 4]),
        tlv(0, &[]),
    ];
    ethernet(NEAREST_BRIDGE, mac, 0x88CC, &message.concat())
}

/// A DHCPREQUEST of a client that renews its address and says its host name.
pub(crate) fn dhcp_request(speaker: Speaker, host: &str) -> Vec<u8> {
    let message = Octets::new()
        .bytes(&[1, 1, 6, 0])
        .u32(0x4842_5200)
        .u32(0)
        .bytes(&speaker.ip.octets())
        .zeros(12)
        .bytes(&speaker.mac)
        .zeros(10 + 64 + 128)
        .u32(0x6382_5363)
        .bytes(&[53, 1, 3, 12, length_u8(host.as_bytes())])
        .bytes(host.as_bytes())
        .u8(255)
        .0;
    let way = Ipv4Way {
        source: speaker.ip,
        destination: Ipv4Addr::BROADCAST,
        ttl: 64,
        dscp: 0,
        identification: 0x4448,
    };
    ethernet(BROADCAST, speaker.mac, 0x0800, &udp(&way, 68, 67, &message))
}

/// An ARP question for an address; `speaker` claims its own by it.
pub(crate) fn arp_request(speaker: Speaker, target: Ipv4Addr) -> Vec<u8> {
    let message = Octets::new()
        .bytes(&[0, 1, 8, 0, 6, 4, 0, 1])
        .bytes(&speaker.mac)
        .bytes(&speaker.ip.octets())
        .zeros(6)
        .bytes(&target.octets())
        .0;
    ethernet(BROADCAST, speaker.mac, 0x0806, &message)
}
