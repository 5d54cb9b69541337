//! Small captures of PTP over Ethernet, message by message.

use std::collections::BTreeMap;

use serde_json::Value;

use super::craft::capture_file;
use super::craft::capture_file::CapturedFrame;
use super::craft::capture_file::Interface;
use super::craft::frame;
use super::craft::frame::Mac;
use super::craft::ptp_v2;
use super::craft::ptp_v2::Body;
use super::judged;
use super::stage::Actor;
use super::stage::BEGINNING;

/// A capture of PTP over Ethernet in the making.
#[derive(Default)]
pub(crate) struct Script(pub(crate) Vec<CapturedFrame>, BTreeMap<u32, i64>);

impl Script {
    pub(crate) fn send(
        &mut self,
        ms: i64,
        (actor, mac): (&Actor, Mac),
        sequence: u16,
        log_interval: i8,
        body: &Body,
    ) {
        let announces = matches!(body, Body::Announce { .. });
        let header = ptp_v2::Header {
            domain: actor.domain,
            flags: [actor.flags[0], if announces { actor.data.time_flags } else { 0 }],
            correction: 0,
            source: actor.port,
            sequence,
            log_interval,
        };
        let mut message = ptp_v2::encode(&header, body);
        message[0] |= actor.major_sdo_id << 4;
        message[1] |= actor.minor_version << 4;
        self.octets(ms, mac, &message);
    }

    /// A message of these octets.
    pub(crate) fn octets(&mut self, ms: i64, mac: Mac, message: &[u8]) {
        let octets = frame::ethernet([0x01, 0x1B, 0x19, 0, 0, 0], mac, 0x88F7, message);
        self.0.push(CapturedFrame { stamp_ns: BEGINNING.0 + ms * 1_000_000, interface: 0, octets });
    }

    /// Announce every second, Sync eight times a second, for `seconds`, the numbers from `first` on.
    pub(crate) fn leads(&mut self, from_ms: i64, seconds: i64, who: (&Actor, Mac), first: u16) {
        for (number, second) in (0_u16..).zip(0..seconds) {
            let ms = from_ms + second * 1000;
            self.send(
                ms,
                who,
                first.wrapping_add(number),
                0,
                &Body::Announce { origin_ns: 0, data: who.0.data },
            );
            for eighth in 0..8_u16 {
                let sequence = first.wrapping_add(number.wrapping_mul(8)).wrapping_add(eighth);
                let at = ms + 5 + i64::from(eighth) * 125;
                // On the PTP timescale it counts in TAI, 37 s ahead of the capture's UTC.
                let ahead = if who.0.data.time_flags & 0x08 == 0 { 0 } else { 37_000_000_000 };
                let origin_ns = BEGINNING.0 + at * 1_000_000 + ahead;
                self.send(at, who, sequence, -3, &Body::Sync { origin_ns });
            }
        }
    }

    /// Announce each second for `seconds`, and Sync each eighth of a second in the first `syncing` of them.
    pub(crate) fn leads_syncing(&mut self, seconds: i64, syncing: i64, who: (&Actor, Mac)) {
        for (number, second) in (0_u16..).zip(0..seconds) {
            let body = Body::Announce { origin_ns: 0, data: who.0.data };
            self.send(second * 1000, who, number, 0, &body);
            for eighth in (0..8_u16).filter(|_| second < syncing) {
                let ms = second * 1000 + 5 + i64::from(eighth) * 125;
                let origin_ns = BEGINNING.0 + ms * 1_000_000;
                self.send(ms, who, number * 8 + eighth, -3, &Body::Sync { origin_ns });
            }
        }
    }

    /// `count` Announces, one `every_ms`, that declare the actor's interval.
    pub(crate) fn announces(&mut self, from_ms: i64, (count, every_ms): (u16, i64), who: &Actor, first: u16) {
        for number in 0..count {
            let body = Body::Announce { origin_ns: 0, data: who.data };
            let ms = from_ms + i64::from(number) * every_ms;
            self.send(ms, (who, who.mac), first.wrapping_add(number), who.log_interval, &body);
        }
    }

    /// A request each second that `leader` answers 1 ms later.
    pub(crate) fn follows(&mut self, seconds: i64, who: &Actor, leader: &Actor) {
        self.asks(seconds, who);
        for (sequence, second) in (0_u16..).zip(0..seconds) {
            let body = Body::DelayResp { receipt_ns: 0, requester: who.port };
            self.send(second * 1000 + 334, (leader, leader.mac), sequence, 0, &body);
        }
    }

    pub(crate) fn asks(&mut self, seconds: i64, who: &Actor) {
        for (sequence, second) in (0_u16..).zip(0..seconds) {
            self.send(second * 1000 + 333, (who, who.mac), sequence, 0x7F, &Body::DelayReq { origin_ns: 0 });
        }
    }

    /// The answers to all that [`asks`](Self::asks) asks, a millisecond later.
    pub(crate) fn answers(&mut self, seconds: i64, leader: &Actor, asker: &Actor) {
        for (sequence, second) in (0_u16..).zip(0..seconds) {
            let receipt_ns = BEGINNING.0 + (second * 1000 + 333) * 1_000_000 + 900;
            let body = Body::DelayResp { receipt_ns, requester: asker.port };
            self.send(second * 1000 + 334, (leader, leader.mac), sequence, 0, &body);
        }
    }

    /// Captures one frame at each of two interfaces by turns.
    pub(crate) fn by_turns(&mut self, ahead_ms: i64) {
        self.0.sort_by_key(|frame| frame.stamp_ns);
        for (frame, interface) in self.0.iter_mut().zip([0, 1].into_iter().cycle()) {
            frame.interface = interface;
        }
        self.1.insert(1, ahead_ms * 1_000_000);
    }

    /// Puts what was sent so far into a VLAN.
    pub(crate) fn tag(&mut self, vlan: u16) {
        for frame in &mut self.0 {
            let [high, low] = vlan.to_be_bytes();
            frame.octets.splice(12..12, [0x81, 0x00, high, low]);
        }
    }

    pub(crate) fn report(self) -> Value {
        self.report_in(&[Interface { name: "port0", filter: "", snap_octets: 262_144 }])
    }

    /// The report of a capture with these interfaces.
    pub(crate) fn report_in(mut self, interfaces: &[Interface]) -> Value {
        // In the order in which they passed, whatever the interfaces' clocks say.
        self.0.sort_by_key(|frame| frame.stamp_ns);
        for frame in &mut self.0 {
            frame.stamp_ns += self.1.get(&frame.interface).copied().unwrap_or(0);
        }
        judged::files(&[("made.pcapng", capture_file::pcapng("", interfaces, &self.0))]).value()
    }

    /// What was sent from index `first` on, as captured at interface `interface`, whose clock is `ahead_ms` ahead.
    pub(crate) fn at_interface(&mut self, first: usize, interface: u32, ahead_ms: i64) {
        for frame in self.0.iter_mut().skip(first) {
            frame.interface = interface;
        }
        self.1.insert(interface, ahead_ms * 1_000_000);
    }
}

/// The severities of a rule's findings, or "cannot tell".
pub(crate) fn said(report: &Value, id: &str) -> Vec<String> {
    let of = |part: &str| report[part].as_array().unwrap().iter().filter(|item| item["id"] == id).cloned();
    let found: Vec<String> =
        of("findings").map(|finding| finding["severity"].as_str().unwrap().to_owned()).collect();
    if found.is_empty() { of("not_judged").map(|_| "cannot tell".to_owned()).collect() } else { found }
}

/// The title of the first finding of a rule; empty where there is none.
pub(crate) fn text(report: &Value, id: &str) -> String {
    let found = report["findings"].as_array().unwrap().iter().find(|finding| finding["id"] == id);
    found.map(|finding| finding["title"].as_str().unwrap().to_owned()).unwrap_or_default()
}

/// What the evidence of the first finding of a rule says, a line each.
pub(crate) fn evidence(report: &Value, id: &str) -> String {
    let found = report["findings"].as_array().unwrap().iter().find(|finding| finding["id"] == id);
    let texts = found.into_iter().flat_map(|finding| finding["evidence"].as_array().unwrap());
    texts.map(|item| item["text"].as_str().unwrap()).collect::<Vec<_>>().join("\n")
}
