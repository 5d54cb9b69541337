//! Rows of what is measured, written as it is read: nothing of it is held.

use std::collections::HashMap;
use std::io;
use std::path::Path;
use std::sync::Arc;

use super::Formats;
use super::manifest::FileEntry;
use super::sheet::Sheet;
use super::table::Cell;
use super::tables;
use crate::analysis::Remains;
use crate::domains::Addressee;
use crate::domains::DomainKey;
use crate::domains::ExchangeEntry;
use crate::domains::JournalEntry;
use crate::domains::Mechanism;
use crate::domains::MessageEntry;
use crate::domains::Noted;
use crate::domains::PortId;
use crate::domains::SyncEntry;
use crate::observations::Place;
use crate::pseudonyms::Pseudonyms;
use crate::report::plain;
use crate::streams::Carried;
use crate::streams::FlowKey;
use crate::streams::Window;
use crate::timing::ScaledNanos;
use crate::timing::delay_to_capture;
use crate::timing::follower_offset_from_response;
use crate::units::CaptureTime;
use crate::units::LogInterval;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// Names kept in writing; where there are more, they are written anew (chosen: a few MB).
const NAMES_KEPT: usize = 20_000;
/// Where flows beyond those that are kept apart are.
const OTHERS: &str = "(others)";

/// The tables of what is measured.
pub(super) struct Measured {
    messages: Sheet,
    syncs: Sheet,
    offsets: Sheet,
    exchanges: Sheet,
    peers: Sheet,
    link: Sheet,
    streams: Sheet,
    window: Nanos,
    names: Names,
}

/// What keys are called, so that each is put into words once.
#[derive(Default)]
struct Names {
    domains: HashMap<DomainKey, String>,
    ports: HashMap<PortId, String>,
    flows: HashMap<FlowKey, String>,
}

/// The word for a key; the text of a version 1 subdomain comes from packets.
fn named<K: std::hash::Hash + Eq + Copy + ToString>(names: &mut HashMap<K, String>, key: K) -> String {
    if names.len() >= NAMES_KEPT {
        names.clear();
    }
    names.entry(key).or_insert_with(|| plain(&key.to_string())).clone()
}

/// Whole nanoseconds and what is over, as two cells; nothing beyond 64 bits.
pub(super) fn exact<'a>(value: Option<ScaledNanos>) -> [Cell<'a>; 2] {
    let split = value.and_then(|value| {
        let whole = i64::try_from(value.0.div_euclid(1 << 16)).ok()?;
        let over = i64::try_from(value.0.rem_euclid(1 << 16)).ok()?;
        Some([whole.into(), over.into()])
    });
    split.unwrap_or([Cell::Nothing, Cell::Nothing])
}

/// Seconds and nanoseconds of a stamp in a message.
fn stamp<'a>(stamp: Option<Timestamp>) -> [Cell<'a>; 2] {
    stamp.map_or([Cell::Nothing, Cell::Nothing], |stamp| [stamp.seconds.into(), stamp.nanoseconds.into()])
}

fn correction<'a>(corrections: &[TimeInterval]) -> [Cell<'a>; 2] {
    exact(ScaledNanos::total(corrections))
}

/// File, frame, time, and time since the first frame.
fn place<'a>(place: Place, origin: Option<CaptureTime>) -> [Cell<'a>; 4] {
    let at = place.time.zip(origin).map(|(time, origin)| time.since(origin).0);
    [(i64::from(place.file) + 1).into(), place.frame.into(), place.time.map(|time| time.0).into(), at.into()]
}

impl Measured {
    pub(super) fn create(
        formats: Formats,
        window: Nanos,
        folder: &Path,
        pseudonyms: Option<&Arc<Pseudonyms>>,
    ) -> io::Result<Self> {
        let sheet = |table| Ok::<_, io::Error>(Sheet::create(table, formats, folder)?.veiled(pseudonyms));
        Ok(Self {
            messages: sheet(&tables::MESSAGES)?,
            syncs: sheet(&tables::SYNC_SAMPLES)?,
            offsets: sheet(&tables::OFFSET_SAMPLES)?,
            exchanges: sheet(&tables::DELAY_EXCHANGES)?,
            peers: sheet(&tables::PEER_DELAYS)?,
            link: sheet(&tables::LINK_RATES)?,
            streams: sheet(&tables::STREAM_RATES)?,
            window,
            names: Names::default(),
        })
    }

    /// Writes what was taken in since the last time.
    pub(super) fn take(&mut self, remains: &Remains, origin: Option<CaptureTime>) -> io::Result<()> {
        for entry in &remains.journal {
            self.entry(entry, origin)?;
        }
        for window in &remains.windows {
            self.window(window, origin)?;
        }
        Ok(())
    }

    fn entry(&mut self, entry: &JournalEntry, origin: Option<CaptureTime>) -> io::Result<()> {
        let domain = named(&mut self.names.domains, entry.domain);
        match entry.noted {
            Noted::Message(message) => self.message(domain, message, origin),
            Noted::Sync(sync) => self.sync(domain, sync, origin),
            Noted::Exchange(exchange) => self.exchange(domain, exchange, origin),
            Noted::Offset(offset) => {
                let port = named(&mut self.names.ports, offset.port);
                let [ns, over] = exact(Some(offset.related.both.offset()));
                let [delay_ns, delay_over] = exact(Some(offset.related.both.mean_path_delay()));
                let [file, frame, time, at] = place(offset.related.place, origin);
                self.offsets.row([
                    domain.into(),
                    port.into(),
                    ns,
                    over,
                    delay_ns,
                    delay_over,
                    file,
                    frame,
                    time,
                    at,
                ])
            }
            Noted::PeerDelay(peer) => {
                let port = named(&mut self.names.ports, peer.port);
                let [held_ns, held_over] = exact(Some(peer.held.turnaround));
                let [delay_ns, delay_over] = exact(peer.held.link_delay);
                let [file, frame, time, at] = place(peer.held.place, origin);
                self.peers.row([
                    domain.into(),
                    port.into(),
                    held_ns,
                    held_over,
                    delay_ns,
                    delay_over,
                    file,
                    frame,
                    time,
                    at,
                ])
            }
        }
    }

    fn message(
        &mut self,
        domain: String,
        message: MessageEntry,
        origin: Option<CaptureTime>,
    ) -> io::Result<()> {
        let port = named(&mut self.names.ports, message.port);
        let addressee = match message.addressee {
            Addressee::Group => "group".to_owned(),
            Addressee::Address(address) => address.to_string(),
            Addressee::Asker(asker) => named(&mut self.names.ports, asker),
        };
        let declared = (message.declared != LogInterval::NOT_GIVEN).then_some(i64::from(message.declared.0));
        let [file, frame, time, at] = place(message.place, origin);
        self.messages.row([
            domain.into(),
            port.into(),
            message.kind.name().into(),
            addressee.into(),
            message.sequence_id.into(),
            declared.into(),
            message.gap.map(|gap| gap.0).into(),
            file,
            frame,
            time,
            at,
        ])
    }

    fn sync(&mut self, domain: String, entry: SyncEntry, origin: Option<CaptureTime>) -> io::Result<()> {
        let SyncEntry { port, sync } = entry;
        let port = named(&mut self.names.ports, port);
        let corrections = [sync.sync_correction, sync.follow_up_correction];
        let [origin_s, origin_ns] = stamp(Some(sync.sent));
        let [correction_ns, correction_over] = correction(&corrections);
        let [ns, over] = exact(delay_to_capture(sync.sent, sync.seen, &corrections));
        let [file, frame, time, at] = place(sync.place, origin);
        self.syncs.row([
            domain.into(),
            port.into(),
            origin_s,
            origin_ns,
            correction_ns,
            correction_over,
            ns,
            over,
            file,
            frame,
            time,
            at,
        ])
    }

    fn exchange(
        &mut self,
        domain: String,
        entry: ExchangeEntry,
        origin: Option<CaptureTime>,
    ) -> io::Result<()> {
        let exchange = entry.exchange;
        let requester = named(&mut self.names.ports, entry.asker);
        let responder = named(&mut self.names.ports, exchange.responder);
        let mechanism = match entry.mechanism {
            Mechanism::EndToEnd => "delay_req",
            Mechanism::PeerToPeer => "pdelay_req",
        };
        let apart = exchange
            .origin
            .zip(exchange.received)
            .filter(|_| entry.mechanism == Mechanism::EndToEnd)
            .and_then(|(origin, received)| {
                follower_offset_from_response(
                    origin,
                    received,
                    exchange.response_correction,
                    ScaledNanos::ZERO,
                )
            });
        let [origin_s, origin_ns] = stamp(exchange.origin);
        let [received_s, received_ns] = stamp(exchange.received);
        let [request_ns, request_over] = correction(&[exchange.request_correction]);
        let [response_ns, response_over] = correction(&[exchange.response_correction]);
        let [apart_ns, apart_over] = exact(apart);
        let [file, frame, time, at] = place(exchange.place, origin);
        self.exchanges.row([
            domain.into(),
            mechanism.into(),
            requester.into(),
            responder.into(),
            entry.sequence_id.into(),
            exchange.answered.0.into(),
            exchange.answered.since(exchange.asked).0.into(),
            origin_s,
            origin_ns,
            received_s,
            received_ns,
            request_ns,
            request_over,
            response_ns,
            response_over,
            apart_ns,
            apart_over,
            file,
            frame,
            time,
            at,
        ])
    }

    fn window(&mut self, window: &Window, origin: Option<CaptureTime>) -> io::Result<()> {
        let start = window.start.0;
        let at = origin.map(|origin| window.start.since(origin).0);
        let width = self.window.0.max(1);
        let octets = i64::try_from(window.octets).unwrap_or(i64::MAX);
        // Every width that can be asked for divides a second.
        let bps = octets.saturating_mul(8).saturating_mul(NANOS_PER_SECOND / width);
        let stream = match window.carried {
            Carried::Link => {
                return self.link.row([
                    start.into(),
                    at.into(),
                    width.into(),
                    window.packets.into(),
                    octets.into(),
                    bps.into(),
                ]);
            }
            Carried::Flow(key) => named(&mut self.names.flows, key),
            Carried::Rest => OTHERS.to_owned(),
        };
        self.streams.row([
            stream.into(),
            start.into(),
            at.into(),
            width.into(),
            window.packets.into(),
            octets.into(),
            bps.into(),
            window.payload_octets.into(),
        ])
    }

    pub(super) fn finish(self, into: &mut Vec<FileEntry>) -> io::Result<()> {
        for sheet in
            [self.syncs, self.offsets, self.exchanges, self.peers, self.messages, self.link, self.streams]
        {
            sheet.finish(into)?;
        }
        Ok(())
    }
}
