//! Spans of time: a clock's lead, and a lead beside a better clock.

use super::candidate::Candidate;
use super::comparison::DecidedBy;
use super::key::ClockId;
use super::key::PortId;
use crate::observations::Place;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Why a tenure ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EndedBy {
    /// The leader's Announces stopped for longer than its receipt timeout.
    AnnounceTimeout,
    /// A better clock appeared.
    BetterClock,
    /// The leader's own data got worse than another's.
    QualityChange,
    /// The leader's Sync stopped (in v1, where Sync also announces, every silence is this).
    SyncStopped,
    /// It did not end before the capture did.
    CaptureEnd,
}

impl EndedBy {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::AnnounceTimeout => "announce-timeout",
            Self::BetterClock => "better-clock",
            Self::QualityChange => "quality-change",
            Self::SyncStopped => "sync-stopped",
            Self::CaptureEnd => "capture-end",
        }
    }
}

/// One clock's lead of a domain, as announced.
///
/// It begins at the first Announce of the run that led to it where nobody led, and at the instant of
/// qualification (the second Announce) where it took over from a live leader. It ends at the leader's last
/// Announce where that fell silent, else where the next begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tenure {
    /// The grandmaster.
    pub clock: ClockId,
    /// What was offered when it began.
    pub candidate: Candidate,
    /// What was offered last.
    pub latest: Candidate,
    /// When it began.
    pub from: CaptureTime,
    /// The frame that began it.
    pub from_place: Place,
    /// When it ended; `None` while it is open.
    pub until: Option<CaptureTime>,
    /// The last frame of it.
    pub until_place: Option<Place>,
    /// Why it ended; [`EndedBy::CaptureEnd`] while it is open.
    pub ended_by: EndedBy,
    /// The field it won on.
    pub won_on: DecidedBy,
    /// The clock it won against, if there was one.
    pub won_against: Option<ClockId>,
    /// Whether its Syncs went on for longer than Announces are waited for, where those had stopped.
    pub sync_went_on: bool,
    /// Whether the leader's numbers say that it had gone on announcing when it was not heard before.
    pub(super) counted_on: bool,
}

impl Tenure {
    pub(super) fn new(
        candidate: Candidate,
        from: CaptureTime,
        from_place: Place,
        (won_on, won_against): (DecidedBy, Option<ClockId>),
    ) -> Self {
        Self {
            clock: candidate.grandmaster,
            candidate,
            latest: candidate,
            from,
            from_place,
            until: None,
            until_place: None,
            ended_by: EndedBy::CaptureEnd,
            won_on,
            won_against,
            sync_went_on: false,
            counted_on: false,
        }
    }

    /// Whether `next` is the same clock's lead again, after no longer than `patience` or without it having stopped.
    pub(super) fn is_resumed_by(&self, next: &Self, patience: Nanos) -> bool {
        let fell_silent = matches!(self.ended_by, EndedBy::AnnounceTimeout | EndedBy::SyncStopped);
        let away = self.until.map(|until| next.from.since(until));
        self.clock == next.clock
            && fell_silent
            && (next.counted_on || away.is_some_and(|away| away <= patience))
    }

    /// Takes in what became of the lead in its continuation `next`.
    pub(super) fn go_on_as(&mut self, next: &Self) {
        self.latest = next.latest;
        self.until = next.until;
        self.until_place = next.until_place;
        self.ended_by = next.ended_by;
    }

    pub(super) fn close(&mut self, until: CaptureTime, place: Place, ended_by: EndedBy) {
        self.until = Some(until.max(self.from));
        self.until_place = Some(place);
        self.ended_by = ended_by;
    }
}

/// A port that went on offering a worse grandmaster beside the leader, beyond a hand-over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rivalry {
    /// The port that offers it.
    pub port: PortId,
    /// The grandmaster it offers.
    pub clock: ClockId,
    /// The better clock that led meanwhile.
    pub leader: ClockId,
    /// The field on which the leader is better.
    pub decided_by: DecidedBy,
    /// Its first offer beside a better leader.
    pub since: CaptureTime,
    /// The frame of that.
    pub since_place: Place,
    /// Its latest offer.
    pub until: CaptureTime,
    /// The frame of that.
    pub until_place: Place,
    /// Offers beyond the hand-over.
    pub count: u64,
    /// Whether the two were captured at no interface in common, so that each may lead a network of its own.
    pub apart: bool,
}
