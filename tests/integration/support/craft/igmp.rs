//! IGMPv2 (RFC 2236) and IGMPv3 (RFC 3376 section 4) messages in IPv4 with the Router Alert option (RFC 2113) and TTL 1.
use std::net::Ipv4Addr;

use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::checksum;
use crate::support::craft::frame::ipv4;
use crate::support::craft::octets::Octets;

const ROUTER_ALERT: [u8; 4] = [0x94, 0x04, 0x00, 0x00];
const ALL_SYSTEMS: Ipv4Addr = Ipv4Addr::new(224, 0, 0, 1);
const ALL_ROUTERS: Ipv4Addr = Ipv4Addr::new(224, 0, 0, 2);
const ALL_V3_ROUTERS: Ipv4Addr = Ipv4Addr::new(224, 0, 0, 22);
/// Network control, as queriers mark their traffic (common practice, no source).
const CLASS_SELECTOR_6: u8 = 48;

/// A general query; `max_response` in tenths of a second.
pub(crate) fn general_query(source: Ipv4Addr, max_response: u8, identification: u16) -> Vec<u8> {
    packet(source, ALL_SYSTEMS, identification, 0x11, max_response, Ipv4Addr::UNSPECIFIED)
}

/// A query for one group, sent to it; `max_response` in tenths of a second.
pub(crate) fn group_query(
    source: Ipv4Addr,
    group: Ipv4Addr,
    max_response: u8,
    identification: u16,
) -> Vec<u8> {
    packet(source, group, identification, 0x11, max_response, group)
}

/// A membership report, sent to the group itself.
pub(crate) fn report(source: Ipv4Addr, group: Ipv4Addr, identification: u16) -> Vec<u8> {
    packet(source, group, identification, 0x16, 0, group)
}

/// A leave, sent to all routers.
pub(crate) fn leave(source: Ipv4Addr, group: Ipv4Addr, identification: u16) -> Vec<u8> {
    packet(source, ALL_ROUTERS, identification, 0x17, 0, group)
}

/// A general query of version 3 with robustness 2; `max_response` in tenths of a second and `interval` in seconds, both
/// below 128, where the code is the value.
pub(crate) fn general_query_v3(
    source: Ipv4Addr,
    max_response: u8,
    interval: u8,
    identification: u16,
) -> Vec<u8> {
    assert!(max_response < 128 && interval < 128);
    let message = Octets::new().u8(0x11).u8(max_response).u16(0).u32(0).u8(2).u8(interval).u16(0).0;
    wrapped(source, ALL_SYSTEMS, identification, message)
}

/// `MODE_IS_INCLUDE`, `MODE_IS_EXCLUDE`, `CHANGE_TO_INCLUDE_MODE`, `CHANGE_TO_EXCLUDE_MODE`, `ALLOW_NEW_SOURCES` and
/// `BLOCK_OLD_SOURCES`; without sources the second to fourth are the answer of a member, a leave and a join.
pub(crate) const IS_INCLUDE: u8 = 1;
pub(crate) const IS_MEMBER: u8 = 2;
pub(crate) const LEAVES: u8 = 3;
pub(crate) const JOINS: u8 = 4;
pub(crate) const ALLOWS: u8 = 5;
pub(crate) const BLOCKS: u8 = 6;

/// A report of version 3 with one record without sources, sent to all version 3 routers.
pub(crate) fn report_v3(source: Ipv4Addr, record: u8, group: Ipv4Addr, identification: u16) -> Vec<u8> {
    report_v3_of(source, record, group, &[], identification)
}

/// The same with sources.
pub(crate) fn report_v3_of(
    source: Ipv4Addr,
    record: u8,
    group: Ipv4Addr,
    sources: &[Ipv4Addr],
    identification: u16,
) -> Vec<u8> {
    let count = u16::try_from(sources.len()).unwrap();
    let record = Octets::new().u8(record).u8(0).u16(count).bytes(&group.octets());
    let record = sources.iter().fold(record, |record, source| record.bytes(&source.octets()));
    let message = Octets::new().u8(0x22).u8(0).u16(0).u16(0).u16(1).bytes(&record.0).0;
    wrapped(source, ALL_V3_ROUTERS, identification, message)
}

fn packet(
    source: Ipv4Addr,
    destination: Ipv4Addr,
    identification: u16,
    kind: u8,
    max_response: u8,
    group: Ipv4Addr,
) -> Vec<u8> {
    let message = Octets::new().u8(kind).u8(max_response).u16(0).bytes(&group.octets()).0;
    wrapped(source, destination, identification, message)
}

fn wrapped(source: Ipv4Addr, destination: Ipv4Addr, identification: u16, mut message: Vec<u8>) -> Vec<u8> {
    let sum = checksum(&[&message]);
    message[2..4].copy_from_slice(&sum.to_be_bytes());
    let way = Ipv4Way { source, destination, ttl: 1, dscp: CLASS_SELECTOR_6, identification };
    ipv4(&way, 2, &ROUTER_ALERT, &message)
}

/// RFC 2236 section 2; the checksum of 16 00 .. .. ef 14 01 01 worked by hand: 1600 + ef14 + 0101 = 10615, folded
/// 0616, complement f9e9.
#[test]
fn a_report_has_the_checksum_worked_by_hand() {
    let packet = report(Ipv4Addr::new(10, 20, 0, 41), Ipv4Addr::new(239, 20, 1, 1), 7);
    assert_eq!(packet[24..], [0x16, 0x00, 0xf9, 0xe9, 0xef, 0x14, 0x01, 0x01]);
    assert_eq!(packet[0], 0x46);
}
