//! Small captures of PTP over Ethernet, message by message.

use serde_json::Value;

use super::craft::capture_file;
use super::craft::capture_file::CapturedFrame;
use super::craft::frame;
use super::craft::frame::Mac;
use super::craft::ptp_v2;
use super::craft::ptp_v2::Body;
use super::judged;
use super::stage::Actor;
use super::stage::BEGINNING;

/// A capture of PTP over Ethernet in the making.
#[derive(Default)]
pub(crate) struct Script(pub(crate) Vec<CapturedFrame>);

impl Script {
    pub(crate) fn send(
        &mut self,
        ms: i64,
        (actor, mac): (&Actor, Mac),
        sequence: u16,
        log_interval: i8,
        body: &Body,
    ) {
        let header = ptp_v2::Header {
            domain: actor.domain,
            flags: [0, 0],
            correction: 0,
            source: actor.port,
            sequence,
            log_interval,
        };
        let message = ptp_v2::encode(&header, body);
        let octets = frame::ethernet([0x01, 0x1B, 0x19, 0, 0, 0], mac, 0x88F7, &message);
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
                self.send(ms + 5 + i64::from(eighth) * 125, who, sequence, -3, &Body::Sync { origin_ns: 0 });
            }
        }
    }

    pub(crate) fn asks(&mut self, seconds: i64, who: &Actor) {
        for (sequence, second) in (0_u16..).zip(0..seconds) {
            self.send(second * 1000 + 333, (who, who.mac), sequence, 0x7F, &Body::DelayReq { origin_ns: 0 });
        }
    }

    pub(crate) fn report(mut self) -> Value {
        self.0.sort_by_key(|frame| frame.stamp_ns);
        judged::files(&[("made.pcap", capture_file::pcap(262_144, &self.0))]).value()
    }
}

/// The severities of a rule's findings, or "cannot tell".
pub(crate) fn said(report: &Value, id: &str) -> Vec<String> {
    let of = |part: &str| report[part].as_array().unwrap().iter().filter(|item| item["id"] == id).cloned();
    let found: Vec<String> =
        of("findings").map(|finding| finding["severity"].as_str().unwrap().to_owned()).collect();
    if found.is_empty() { of("not_judged").map(|_| "cannot tell".to_owned()).collect() } else { found }
}
