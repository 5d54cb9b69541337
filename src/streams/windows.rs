//! Octets in windows of one width, of the link and of each flow, handed out window by window.
//!
//! Nothing is added up over the capture here: for those who want every window. Windows begin at multiples of their width
//! on the capture's clock, and none opens twice: what was stamped before the open one counts in it, as it does in rates.

use std::collections::HashMap;

use super::key::FlowKey;
use super::packet;
use super::table::FLOWS_KEPT;
use crate::capture::Record;
use crate::frame::Frame;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::units::wire_octets;

/// Who sent what is in a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Carried {
    /// All frames of the link, those of the flows too.
    Link,
    /// One flow.
    Flow(FlowKey),
    /// Flows beyond the first [`FLOWS_KEPT`] of the window.
    Rest,
}

/// What a window held of one of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// Where it begins.
    pub start: CaptureTime,
    /// Whose.
    pub carried: Carried,
    /// Frames.
    pub packets: u64,
    /// Octets on the wire.
    pub octets: u64,
    /// Octets of UDP payload; 0 for the link.
    pub payload_octets: u64,
}

#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    packets: u64,
    octets: u64,
    payload: u64,
}

impl Sum {
    const fn add(&mut self, octets: u64, payload: u64) {
        self.packets = self.packets.saturating_add(1);
        self.octets = self.octets.saturating_add(octets);
        self.payload = self.payload.saturating_add(payload);
    }
}

/// The open window and those that were closed and not yet taken. Memory: one sum for each flow of a window.
#[derive(Debug, Clone)]
pub struct Windows {
    width: Nanos,
    open: Option<i64>,
    link: Sum,
    flows: HashMap<FlowKey, Sum>,
    rest: Sum,
    closed: Vec<Window>,
}

impl Windows {
    /// None yet, of `width` each; less than a nanosecond is taken for one.
    #[must_use]
    pub fn of_width(width: Nanos) -> Self {
        Self {
            width: width.max(Nanos(1)),
            open: None,
            link: Sum::default(),
            flows: HashMap::new(),
            rest: Sum::default(),
            closed: Vec::new(),
        }
    }

    /// Takes in the next frame; one without a time is in no window.
    pub fn record(&mut self, record: &Record<'_>, frame: &Frame<'_>) {
        let Some(time) = record.time else { return };
        let index = time.0.div_euclid(self.width.0);
        if self.open.is_none_or(|open| index > open) {
            self.close();
            self.open = Some(index);
        }
        let fcs = record.fcs_octets.is_some_and(|octets| octets > 0);
        self.link.add(wire_octets(record.original_len, fcs), 0);
        let Some((key, packet, _)) = packet::of(record, time, frame) else { return };
        let is_new = self.flows.len() >= FLOWS_KEPT && !self.flows.contains_key(&key);
        let sum = if is_new { &mut self.rest } else { self.flows.entry(key).or_default() };
        sum.add(u64::from(packet.wire), u64::from(packet.udp_payload));
    }

    /// The windows that were closed since this was asked before; flows in order within each.
    pub fn take(&mut self) -> Vec<Window> {
        std::mem::take(&mut self.closed)
    }

    /// Closes the open window.
    pub fn close(&mut self) {
        let Some(open) = self.open.take() else { return };
        let start = CaptureTime(open.saturating_mul(self.width.0));
        let mut flows: Vec<(FlowKey, Sum)> = self.flows.drain().collect();
        flows.sort_unstable_by_key(|(key, _)| *key);
        let rest = std::mem::take(&mut self.rest);
        let all = [(Carried::Link, std::mem::take(&mut self.link))]
            .into_iter()
            .chain(flows.into_iter().map(|(key, sum)| (Carried::Flow(key), sum)))
            .chain((rest.packets > 0).then_some((Carried::Rest, rest)));
        self.closed.extend(all.map(|(carried, sum)| Window {
            start,
            carried,
            packets: sum.packets,
            octets: sum.octets,
            payload_octets: sum.payload,
        }));
    }
}
