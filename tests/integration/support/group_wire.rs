//! A network on which groups are asked for, sent to and left, and what the report says of it.

use std::net::Ipv4Addr;

use serde_json::Value;

use crate::support::capture_writer::Order;
use crate::support::capture_writer::PcapFile;
use crate::support::capture_writer::PcapKind;
use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::ethernet;
use crate::support::craft::frame::group_mac;
use crate::support::craft::frame::udp;
use crate::support::craft::igmp;
use crate::support::judged;

pub(crate) const SWITCH: Ipv4Addr = Ipv4Addr::new(10, 20, 0, 1);
pub(crate) const OTHER_SWITCH: Ipv4Addr = Ipv4Addr::new(10, 20, 0, 2);
pub(crate) const CAMERA: Ipv4Addr = Ipv4Addr::new(10, 20, 0, 21);
pub(crate) const DESK: Ipv4Addr = Ipv4Addr::new(10, 20, 0, 61);
pub(crate) const AUDIO: Ipv4Addr = Ipv4Addr::new(239, 20, 1, 1);
pub(crate) const PICTURE: Ipv4Addr = Ipv4Addr::new(239, 20, 2, 1);
pub(crate) const ALL: Ipv4Addr = Ipv4Addr::new(224, 0, 0, 1);

/// A capture in the making: what was sent when, in milliseconds from its first frame.
#[derive(Default)]
pub(crate) struct Wire {
    pub(crate) frames: Vec<(u32, Vec<u8>)>,
}

impl Wire {
    pub(crate) fn igmp(self, at_ms: u32, packet: &[u8]) -> Self {
        let host = packet[15];
        self.frame(at_ms, ethernet(group_mac(ALL), [2, 0, 0x5e, 0x10, 0, host], 0x0800, packet))
    }

    pub(crate) fn frame(mut self, at_ms: u32, octets: Vec<u8>) -> Self {
        self.frames.push((at_ms, octets));
        self
    }

    pub(crate) fn query(self, at_ms: u32, from: Ipv4Addr) -> Self {
        self.igmp(at_ms, &igmp::general_query(from, 100, 1))
    }

    /// A datagram of media.
    pub(crate) fn media(self, at_ms: u32, group: Ipv4Addr) -> Self {
        let way = Ipv4Way {
            source: Ipv4Addr::new(10, 20, 0, 62),
            destination: group,
            ttl: 15,
            dscp: 34,
            identification: 1,
        };
        let octets =
            ethernet(group_mac(group), [2, 0, 0x5e, 0x10, 0, 0x62], 0x0800, &udp(&way, 5004, 5004, &[0; 40]));
        self.frame(at_ms, octets)
    }

    /// A frame that says nothing, each 10 s from `from_ms` and at `until_ms`.
    pub(crate) fn idle(mut self, from_ms: u32, until_ms: u32) -> Self {
        let octets = ethernet([0xff; 6], [2, 0, 0x5e, 0x10, 0, 0xff], 0x88B5, &[0; 46]);
        let times = (from_ms..until_ms).step_by(10_000).chain([until_ms]);
        self.frames.extend(times.map(|at_ms| (at_ms, octets.clone())));
        self
    }

    /// As a capture from 0 to `until_ms` in which something passes all the time.
    pub(crate) fn read(self, until_ms: u32) -> Value {
        self.idle(0, until_ms).read_as_it_is()
    }

    pub(crate) fn read_as_it_is(mut self) -> Value {
        self.frames.sort_by_key(|(at_ms, _)| *at_ms);
        self.stamped(|_, at_ms| at_ms)
    }

    /// In the order of the frames, with stamps of the capture's own.
    pub(crate) fn stamped(self, stamp: impl Fn(usize, u32) -> u32) -> Value {
        let mut file = PcapFile::new(Order::Little, PcapKind::Nanoseconds);
        for (index, (at_ms, octets)) in self.frames.iter().enumerate() {
            let at_ms = stamp(index, *at_ms);
            file.record(1_791_055_680 + at_ms / 1000, at_ms % 1000 * 1_000_000, octets);
        }
        judged::files(&[("made.pcap", file.octets)]).value()
    }
}

/// Events but for holes of the capture: when, what, in words.
pub(crate) fn events(report: &Value) -> Vec<(f64, &str, &str)> {
    let list = report["events"].as_array().unwrap().iter();
    let list = list.filter(|event| event["kind"] != "capture-hole");
    list.map(|event| {
        let text = |key: &str| event[key].as_str().unwrap();
        (event["at_s"].as_f64().unwrap(), text("kind"), text("text"))
    })
    .collect()
}

pub(crate) fn kinds(report: &Value) -> Vec<(f64, &str)> {
    events(report).into_iter().map(|(at, kind, _)| (at, kind)).collect()
}

pub(crate) fn querier<'a>(report: &'a Value, ip: &str) -> &'a Value {
    let mut list = report["multicast"]["queriers"].as_array().unwrap().iter();
    list.find(|querier| querier["ip"] == ip).unwrap()
}

pub(crate) fn group(report: &Value, group: Ipv4Addr) -> &Value {
    let mut list = report["multicast"]["memberships"].as_array().unwrap().iter();
    list.find(|membership| membership["group"] == group.to_string()).unwrap()
}
