//! One port that offers a grandmaster, with the timers that decide whether it counts.

use super::candidate::Candidate;
use super::tenure::EndedBy;
use super::views::Views;
use crate::observations::Place;
use crate::observations::Watched;
use crate::observations::Way;
use crate::timing::FOREIGN_MASTER_TIME_WINDOW;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Announce intervals without an Announce before a clock is given up (`announceReceiptTimeout`).
/// Not on the wire, so assumed. Source: 1588-2008 7.7.3.1, default profile J.3 (from memory).
pub const ANNOUNCE_RECEIPT_TIMEOUT: i64 = 3;

/// Sync intervals without a Sync before a v1 clock is given up (`PTP_SYNC_RECEIPT_TIMEOUT`).
/// Source: an open-source IEEE 1588-2002 implementation; clause not opened.
pub const V1_SYNC_RECEIPT_TIMEOUT: i64 = 10;

/// `stepsRemoved` from which an Announce never qualifies. Source: 1588-2008 9.3.2.5 (from memory).
pub const MAX_STEPS_REMOVED: u16 = 255;

/// Latest places of capture that are remembered of a port (chosen: interfaces of one capture, and not the files of a
/// ring that follow one another).
const WAYS: usize = 4;

/// A point of the capture.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Moment {
    /// What the capture's clock said.
    pub time: CaptureTime,
    /// The frame.
    pub place: Place,
    /// How long the network had been watched.
    pub watched: Watched,
    /// Where it was captured.
    pub way: Way,
}

/// An offer with what the timers need.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Offer {
    /// What is offered.
    pub candidate: Candidate,
    /// The message's `sequenceId`.
    pub sequence_id: u16,
    /// The sender's interval.
    pub interval: Nanos,
    /// The interval that it declares; its own pace where it declares none.
    pub declared: Nanos,
    /// Receipt timeout, in intervals.
    pub receipt_timeout: i64,
    /// Whether one offer qualifies (gPTP has no foreign-master qualification; 802.1AS 10.3, from memory).
    pub qualifies_at_once: bool,
    /// Whether silence means that Sync stopped (v1).
    pub is_v1: bool,
    /// Whether clocks with a reference may lead side by side.
    pub several_may_lead: bool,
}

/// A port that has offered a grandmaster.
#[derive(Debug, Clone)]
pub struct Announcer {
    /// The latest offer.
    pub candidate: Candidate,
    /// First offer of the present run; a run ends with a silence beyond the receipt timeout.
    pub run_first: CaptureTime,
    /// The frame of that.
    pub run_first_place: Place,
    /// Offers in the present run.
    pub run_count: u64,
    /// Latest offer.
    pub last: CaptureTime,
    /// The frame of that.
    pub last_place: Place,
    /// Whether it may have been announcing before the capture began.
    pub present_from_start: bool,
    /// Times it went on announcing after a silence of more than twice what it declares.
    pub pauses: u64,
    /// How long the network had been watched at the latest offer, and at the latest Sync of the same port.
    heard: Watched,
    ways: Vec<Way>,
    counted_on: bool,
    last_sequence_id: u16,
    last_sync: Option<Watched>,
    /// Whether a better clock has led since its latest offer, before it was given up.
    pub(super) better_leads: bool,
    pub(super) beside_since: Option<Moment>,
    /// Index of the rivalry that it is in.
    pub(super) rivalry: Option<usize>,
    interval: Nanos,
    receipt_timeout: i64,
    qualified: bool,
    is_v1: bool,
    several_may_lead: bool,
    /// When the files in which it was heard end, once the reading has ended and others go on.
    view_ends: Option<CaptureTime>,
}

impl Announcer {
    pub(super) fn new(now: Moment, offer: Offer) -> Self {
        // One and a half intervals: one until its next Announce, half for the jitter that 1588-2008 7.7.2.1
        // allows (from memory).
        let head = Nanos(offer.interval.0.saturating_mul(3) / 2);
        let present_from_start = now.watched.since(&Watched::default(), offer.interval) <= head;
        Self {
            candidate: offer.candidate,
            run_first: now.time,
            run_first_place: now.place,
            run_count: 1,
            last: now.time,
            last_place: now.place,
            present_from_start,
            pauses: 0,
            heard: now.watched,
            ways: vec![now.way],
            counted_on: false,
            last_sequence_id: offer.sequence_id,
            last_sync: None,
            better_leads: false,
            beside_since: None,
            rivalry: None,
            interval: offer.interval,
            receipt_timeout: offer.receipt_timeout,
            qualified: present_from_start || offer.qualifies_at_once,
            is_v1: offer.is_v1,
            several_may_lead: offer.several_may_lead,
            view_ends: None,
        }
    }

    /// Takes in where the files end in which it was heard.
    pub(super) fn end_view(&mut self, views: &Views) {
        self.view_ends = views.end_of(self.ways.iter().map(|way| way.file));
    }

    /// When the files in which it was heard end, where others go on after it.
    #[must_use]
    pub const fn view_ends(&self) -> Option<CaptureTime> {
        self.view_ends
    }

    pub(super) fn hear(&mut self, now: Moment, offer: Offer) {
        let gap = now.watched.since(&self.heard, self.interval);
        if gap > offer.declared.saturating_mul(2) {
            self.pauses += 1;
        }
        if self.is_alive(&now.watched) {
            self.run_count += 1;
            self.qualified |= gap <= offer.interval.saturating_mul(FOREIGN_MASTER_TIME_WINDOW);
        } else {
            self.counted_on = self.has_counted_on(&now, &offer);
            self.run_first = now.time;
            self.run_first_place = now.place;
            self.run_count = 1;
            self.present_from_start = false;
            self.qualified = offer.qualifies_at_once;
            self.beside_since = None;
            self.rivalry = None;
        }
        self.candidate = offer.candidate;
        self.interval = offer.interval;
        self.receipt_timeout = offer.receipt_timeout;
        self.last = now.time;
        self.last_place = now.place;
        self.heard = now.watched;
        self.last_sequence_id = offer.sequence_id;
        self.ways.retain(|way| *way != now.way);
        if self.ways.len() >= WAYS {
            self.ways.remove(0);
        }
        self.ways.push(now.way);
        self.better_leads = false;
    }

    /// Whether its numbers say that it went on announcing while nothing was heard: as many are missing as there was
    /// time for, give or take three in ten (1588-2008 7.7.2.1, from memory).
    fn has_counted_on(&self, now: &Moment, offer: &Offer) -> bool {
        let sent = i64::from(offer.sequence_id.wrapping_sub(self.last_sequence_id));
        let time = now.time.since(self.last).0;
        let due = sent.saturating_mul(self.interval.0);
        sent > 1
            && sent < 0x8000
            && (due.saturating_sub(time)).saturating_mul(10).saturating_abs() <= due.saturating_mul(3)
    }

    /// Whether its latest run began with numbers that say that it had been there all along.
    pub(super) const fn counted_on(&self) -> bool {
        self.counted_on
    }

    pub(super) fn hear_sync(&mut self, watched: Watched) {
        self.last_sync = Some(watched);
    }

    /// How long the network had been watched at its latest offer.
    pub(super) const fn heard_at(&self) -> Watched {
        self.heard
    }

    /// Whether it was captured where `other` was; else both may lead networks of their own.
    pub(super) fn is_captured_with(&self, other: &Self) -> bool {
        self.ways.iter().any(|way| other.ways.contains(way))
    }

    /// How long a receiver waits for its next offer: the receipt timeout.
    #[must_use]
    pub const fn timeout(&self) -> Nanos {
        self.interval.saturating_mul(self.receipt_timeout)
    }

    /// When a receiver gives this port up: the receipt timeout after its latest offer.
    #[must_use]
    pub const fn timeout_at(&self) -> CaptureTime {
        self.last.plus(self.timeout())
    }

    /// For how long it has been lost; negative while it counts. It is given up half an interval after its receipt
    /// timeout, so that jitter after two lost messages is not taken for a timeout (chosen).
    pub(super) fn lost_for(&self, now: &Watched) -> Nanos {
        let patience = self.timeout().saturating_add(Nanos(self.interval.0 / 2));
        self.silent_for(now).saturating_add(-patience)
    }

    /// For how long nothing of it came where it would have been captured.
    pub(super) fn silent_for(&self, now: &Watched) -> Nanos {
        let silent = now.since(&self.heard, self.interval);
        self.view_ends.map_or(silent, |end| silent.min(end.since(self.last)))
    }

    /// Whether it still counts at `now`.
    #[must_use]
    pub fn is_alive(&self, now: &Watched) -> bool {
        self.lost_for(now) <= Nanos::ZERO
    }

    /// Whether a receiver would consider it.
    #[must_use]
    pub const fn is_qualified(&self) -> bool {
        self.qualified && self.can_qualify()
    }

    /// Whether enough offers of this kind would qualify it.
    pub(super) const fn can_qualify(&self) -> bool {
        self.candidate.steps_removed < MAX_STEPS_REMOVED
    }

    /// The interval that its timers use.
    #[must_use]
    pub const fn interval(&self) -> Nanos {
        self.interval
    }

    /// How long it may go on beside a better clock before that is no hand-over any more: qualification of the
    /// better one and its receipt timeout (reference: 4 intervals and the timeout, chosen).
    #[must_use]
    pub const fn hand_over(&self) -> Nanos {
        self.interval.saturating_mul(FOREIGN_MASTER_TIME_WINDOW + self.receipt_timeout)
    }

    /// Whether, silent as it is, it yielded to a better clock rather than being lost.
    #[must_use]
    pub const fn yielded(&self) -> bool {
        self.better_leads
    }

    /// Whether its grandmaster may lead beside `leader`: both have a reference, in a domain of a profile that lets
    /// them (G.8275.1 6.3, `clockClass` up to 127; from memory).
    pub(super) const fn may_lead_beside(&self, leader: &Candidate) -> bool {
        self.several_may_lead && self.candidate.is_telecom_reference() && leader.is_telecom_reference()
    }

    /// Whether it had given Sync and stopped, while its Announces went on for longer than their timeout.
    #[must_use]
    pub fn sync_stopped(&self) -> bool {
        self.last_sync.is_some_and(|last| self.heard.since(&last, self.interval) > self.timeout())
    }

    /// Why a tenure of this port's grandmaster ends when the port falls silent.
    pub(super) fn silence_reason(&self) -> EndedBy {
        if self.is_v1 || self.sync_stopped() { EndedBy::SyncStopped } else { EndedBy::AnnounceTimeout }
    }
}
