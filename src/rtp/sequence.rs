//! Sequence numbers: what is missing, late, doubled or begun anew, after RFC 3550 appendix A.1.
//!
//! Different from the RFC, because this only looks on: the first packet counts at once (the RFC waits for
//! `MIN_SEQUENTIAL`); duplicates are told from late packets by a window; loss counts missing numbers, which
//! duplicates cannot hide; the packet that a restart was held back for counts; a held number is forgotten
//! when the next one in sequence arrives; a held number is confirmed by one near it (the RFC wants the next); and whether a restart is one, or so much was lost that the numbers look like
//! it, is left to who knows the media clock ([`Losses::breaks`]).

use super::gaps::LONG;
use super::gaps::Losses;
use super::gaps::Run;
use super::gaps::Runs;
use super::neighbours::Neighbours;
use super::pending::Pending;
use super::place::MARK;
use super::place::Place;
use super::window::WINDOW;
use crate::units::CaptureTime;

/// `MAX_DROPOUT`: numbers that may be missing at once (RFC 3550 appendix A.1).
const MAX_DROPOUT: u16 = 3000;
/// `MAX_MISORDER`: how far behind a late packet may be (RFC 3550 appendix A.1).
const MAX_MISORDER: u16 = 100;
/// Missing numbers from which a packet does not run on from the one before (chosen).
const NEAR: u16 = 64;
/// How far a part's numbers must have moved until nothing from before it is left in the window: what came before
/// may reach [`MAX_MISORDER`] beyond the part's first number.
pub(super) const SETTLED: u32 = 1152;
/// Packets that a part logs at least, so that one long gap does not settle it (chosen).
const LEAST_LOGGED: usize = 256;
/// Packets that a part logs at most for a join (chosen: a stream of which each packet comes twice settles).
const MOST_LOGGED: usize = 2560;

/// A packet as its sequence sees it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Numbered {
    /// `sequence number`.
    pub number: u16,
    /// `timestamp`.
    pub timestamp: u32,
    /// When it was captured.
    pub time: CaptureTime,
}

/// What a packet was to the sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrival {
    /// The first packet.
    First,
    /// The next number.
    InOrder,
    /// A later number than the next.
    AfterGap {
        /// Numbers that are missing for now.
        missing: u16,
    },
    /// A number that was missing, or one from just before the first packet.
    Late,
    /// A number that has been there.
    Duplicate,
    /// A number far from the others: a stray, or the first packet after a break.
    Held,
    /// The second packet after a break; it and the one held belong to the new sequence.
    Restart,
}

/// Counts over all sequences of a flow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SequenceCounts {
    /// Packets.
    pub received: u64,
    /// Packets that were the first with their number.
    pub unique: u64,
    /// Numbers from the lowest to the highest of each sequence.
    pub expected: u64,
    /// Packets whose number had been there.
    pub duplicates: u64,
    /// Packets that came after a higher number.
    pub reordered: u64,
    /// Gaps when they opened, filled later or not.
    pub gaps: u64,
    /// Restarts of the sequence as the RFC has them: an outage of 3000 packets or more looks the same.
    pub restarts: u64,
    /// Times that the 16-bit number ran over.
    pub wraps: u64,
    /// Packets that ran on from the newest one, with fewer than 64 missing between.
    pub near: u64,
}

impl SequenceCounts {
    /// Numbers that never came, breaks aside.
    #[must_use]
    pub const fn lost(&self) -> u64 {
        self.expected.saturating_sub(self.unique)
    }

    /// Packets far from the sequence that no other followed.
    #[must_use]
    pub const fn strays(&self) -> u64 {
        self.received.saturating_sub(self.unique).saturating_sub(self.duplicates)
    }

    /// So many that were taken for copies were late.
    const fn come_late(&mut self, packets: u64) {
        self.duplicates = self.duplicates.saturating_sub(packets);
        self.unique += packets;
        self.reordered += packets;
    }

    const fn join(&mut self, other: &Self) {
        self.received += other.received;
        self.unique += other.unique;
        self.expected += other.expected;
        self.duplicates += other.duplicates;
        self.reordered += other.reordered;
        self.gaps += other.gaps;
        self.restarts += other.restarts;
        self.wraps += other.wraps;
        self.near += other.near;
    }
}

/// What was counted.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Sums {
    counts: SequenceCounts,
    longest_gap: u16,
    neighbours: Neighbours,
    losses: Losses,
    pending: Pending,
}

impl Sums {
    fn join(&mut self, right: &Self) {
        self.counts.join(&right.counts);
        self.longest_gap = self.longest_gap.max(right.longest_gap);
        self.neighbours.join(&right.neighbours);
        let filled = self.pending.join(&right.pending, right.counts.restarts > 0, &mut self.losses);
        self.counts.come_late(filled);
        self.losses.join(&right.losses);
    }
}

/// How a packet runs on from the one held.
enum On {
    Ahead(u16),
    Behind(u32),
}

/// The RFC wants the next number; here one near by will do, as packets may come out of order or be lost then too.
fn from_held(held: u16, number: u16) -> Option<On> {
    let (forward, behind) = (number.wrapping_sub(held), held.wrapping_sub(number));
    match (forward, behind) {
        (0, _) => None,
        (1..=NEAR, _) => Some(On::Ahead(forward)),
        (_, 1..MAX_MISORDER) => Some(On::Behind(u32::from(behind))),
        _ => None,
    }
}

#[derive(Debug, Clone, Default)]
struct Core {
    place: Option<Place>,
    sums: Sums,
    /// Packets that were next in turn and are neither in `place`, but for the highest, nor in `sums` yet. All are of the
    /// [`MARK`] numbers of the highest one.
    plain: u16,
    /// Whether the next number would be one of those: nothing is missing, and nothing held.
    is_plain: bool,
}

impl Core {
    /// Takes in the packet that nearly every one is: the next number, shortly after the one before. What it does is what the
    /// long way would do; whether it was one.
    #[inline]
    fn next(&mut self, packet: Numbered) -> bool {
        let Some(place) = self.place.as_mut().filter(|_| self.is_plain) else { return false };
        let before = place.highest;
        let elapsed = packet.time.since(before.time);
        let is_next = packet.number == before.number.wrapping_add(1)
            && !packet.number.is_multiple_of(MARK)
            && elapsed < LONG;
        if is_next {
            place.highest = packet;
            self.plain += 1;
            self.sums.neighbours.push(packet.timestamp.wrapping_sub(before.timestamp).cast_signed(), elapsed);
        }
        is_next
    }

    /// Puts what [`Self::next`] took in where the long way looks for it.
    fn settle(&mut self) {
        let plain = std::mem::take(&mut self.plain);
        if let Some(place) = self.place.as_mut().filter(|_| plain > 0) {
            let counts = &mut self.sums.counts;
            let packets = u64::from(plain);
            counts.received += packets;
            counts.unique += packets;
            counts.expected += packets;
            counts.near += packets;
            place.window.ran(place.highest.number, plain);
            place.below = place.below.saturating_add(u32::from(plain)).min(SETTLED);
            self.sums.pending.forward(plain);
        }
        self.sums.neighbours.settle();
    }

    fn push(&mut self, packet: Numbered) -> Arrival {
        if self.next(packet) {
            return Arrival::InOrder;
        }
        self.settle();
        let arrival = self.push_any(packet);
        self.is_plain =
            self.place.as_ref().is_some_and(|place| place.held.is_none() && place.runs.is_empty());
        arrival
    }

    fn push_any(&mut self, packet: Numbered) -> Arrival {
        let counts = &mut self.sums.counts;
        counts.received += 1;
        let Some(place) = &mut self.place else {
            self.begin(packet);
            return Arrival::First;
        };
        let number = packet.number;
        if let Some(held) = place.held
            && let Some(on) = from_held(held.number, number)
        {
            counts.restarts += 1;
            self.sums.pending.broken(&mut self.sums.losses);
            place.runs.close_all(&mut self.sums.losses);
            let runs = Runs::after_break(place.highest, held);
            self.begin(held);
            if let Some(place) = &mut self.place {
                place.runs = runs;
            }
            match on {
                On::Ahead(by) => self.forward(packet, by),
                On::Behind(by) => self.behind(packet, by),
            };
            return Arrival::Restart;
        }
        let forward = number.wrapping_sub(place.highest.number);
        let behind = place.highest.number.wrapping_sub(number);
        if forward != 0 && forward < MAX_DROPOUT {
            return self.forward(packet, forward);
        }
        let is_older = packet.timestamp.wrapping_sub(place.highest.timestamp).cast_signed() <= 0;
        // After a while newer packets may have such numbers once more.
        if behind < MAX_MISORDER && (is_older || packet.time.since(place.highest.time) < LONG) {
            return self.behind(packet, u32::from(behind));
        }
        // A copy that comes late; who begins anew with a number that was there has another timestamp.
        if behind < WINDOW && is_older && place.window.has(number) {
            counts.duplicates += 1;
            return Arrival::Duplicate;
        }
        if place.is_late(&packet, behind) {
            return self.far(packet, behind);
        }
        match place.held {
            Some(held) if held.number == number => {
                counts.duplicates += 1;
                Arrival::Duplicate
            }
            _ => {
                place.held = Some(packet);
                Arrival::Held
            }
        }
    }

    fn begin(&mut self, packet: Numbered) {
        self.place = Some(Place::new(packet));
        self.sums.counts.unique += 1;
        self.sums.counts.expected += 1;
    }

    fn forward(&mut self, packet: Numbered, by: u16) -> Arrival {
        let Some(place) = &mut self.place else { return Arrival::First };
        let Sums { counts, longest_gap, neighbours, losses, pending } = &mut self.sums;
        let before = std::mem::replace(&mut place.highest, packet);
        counts.wraps += u64::from(packet.number < before.number);
        counts.unique += 1;
        counts.expected += u64::from(by);
        place.window.forward(before.number, by);
        place.below = place.below.saturating_add(u32::from(by)).min(SETTLED);
        place.held = None;
        place.mark(packet);
        pending.forward(by);
        let missing = by.wrapping_sub(1);
        counts.near += u64::from(missing < NEAR);
        if missing > 0 {
            counts.gaps += 1;
            *longest_gap = missing.max(*longest_gap);
        } else {
            let ticks = packet.timestamp.wrapping_sub(before.timestamp).cast_signed();
            neighbours.push(ticks, packet.time.since(before.time));
        }
        place.runs.open(Run { before, after: packet, last: packet.number.wrapping_sub(1), missing });
        if !place.runs.is_empty() {
            place.runs.close(packet.number, place.below, MAX_MISORDER, losses, pending);
        }
        if missing == 0 { Arrival::InOrder } else { Arrival::AfterGap { missing } }
    }

    /// A packet beyond what is held open for late ones.
    fn far(&mut self, packet: Numbered, behind: u16) -> Arrival {
        let Some(place) = &mut self.place else { return Arrival::First };
        let counts = &mut self.sums.counts;
        if place.below < SETTLED && u32::from(behind) > place.below {
            // From before the first one; what else was sent then says nothing.
            counts.unique += 1;
            counts.expected += 1;
            counts.reordered += 1;
            return Arrival::Late;
        }
        if !place.runs.fill(packet.number) && !self.sums.pending.fill(behind) {
            counts.duplicates += 1;
            return Arrival::Duplicate;
        }
        counts.unique += 1;
        counts.reordered += 1;
        Arrival::Late
    }

    fn behind(&mut self, packet: Numbered, behind: u32) -> Arrival {
        let Some(place) = &mut self.place else { return Arrival::First };
        let counts = &mut self.sums.counts;
        if place.window.has(packet.number) {
            counts.duplicates += 1;
            return Arrival::Duplicate;
        }
        place.window.set(packet.number);
        counts.unique += 1;
        counts.reordered += 1;
        if behind > place.below {
            let further = behind - place.below;
            counts.expected += u64::from(further);
            place.runs.began_earlier(further);
            let missing = u16::try_from(further - 1).unwrap_or_default();
            let last = packet.number.wrapping_add(missing);
            place.runs.open_first(Run { before: packet, after: packet, last, missing });
            place.below = behind;
        } else if !place.runs.is_empty() {
            place.runs.fill(packet.number);
        }
        Arrival::Late
    }
}

/// The sequence of one flow: one SSRC. Memory: at most 21 KiB, 24 KiB more where it loses much, and 72 KiB more where
/// something may come before.
#[derive(Debug, Clone, Default)]
pub struct Sequence {
    core: Core,
    log: Vec<Numbered>,
    /// How far the numbers moved while they were logged.
    moved: u32,
    /// The state after the log's last packet, once the log is complete; the sums of the core go on from there.
    logged: Option<Core>,
    is_beginning: bool,
    inexact: bool,
}

impl Sequence {
    /// Says that no part comes before this one, so that nothing has to be kept for one. It can then be joined with what
    /// follows and no more with what was before.
    pub fn begin(&mut self) {
        self.is_beginning = true;
        self.log = Vec::new();
    }

    /// Adds a packet in order of arrival.
    #[inline]
    pub fn push(&mut self, packet: Numbered) -> Arrival {
        if self.is_beginning && self.core.next(packet) {
            return Arrival::InOrder;
        }
        self.push_any(packet)
    }

    fn push_any(&mut self, packet: Numbered) -> Arrival {
        let arrival = self.core.push(packet);
        if !self.is_beginning && self.logged.is_none() {
            self.log.push(packet);
            // One jump, as after a first packet that came late, settles nothing.
            match arrival {
                Arrival::InOrder => self.moved += 1,
                Arrival::AfterGap { missing } if missing < NEAR => self.moved += 1 + u32::from(missing),
                Arrival::Restart => self.moved = 0,
                _ => {}
            }
            if (self.moved >= SETTLED && self.log.len() >= LEAST_LOGGED) || self.log.len() >= MOST_LOGGED {
                self.core.settle();
                let sums = std::mem::take(&mut self.core.sums);
                self.logged = Some(Core { place: self.core.place.clone(), sums, ..Core::default() });
            }
        }
        arrival
    }

    /// Adds what followed of the same flow, and says whether the result is what one pass gives. Where it is
    /// not, the left part had better walk the right one's packets itself; the counts are then an estimate.
    #[must_use]
    pub fn join(&mut self, right: &Self) -> bool {
        for packet in &right.log {
            self.push(*packet);
        }
        let mut exact = !right.inexact;
        if let Some(logged) = &right.logged {
            self.core.settle();
            let mut core = right.core.clone();
            core.settle();
            exact &= self.core.place == logged.place;
            self.core.sums.join(&core.sums);
            self.core.is_plain = core.is_plain;
            self.core.place = core.place;
        }
        self.inexact |= !exact;
        exact
    }

    /// Everything together.
    fn sums(&self) -> Sums {
        let mut sums = self.logged.as_ref().map(|logged| logged.sums.clone()).unwrap_or_default();
        let mut core = self.core.clone();
        core.settle();
        sums.join(&core.sums);
        sums
    }

    /// The counts.
    #[must_use]
    pub fn counts(&self) -> SequenceCounts {
        self.sums().counts
    }

    /// Most numbers missing at once when a gap opened.
    #[must_use]
    pub fn longest_gap(&self) -> u16 {
        self.core.sums.longest_gap.max(self.logged.as_ref().map_or(0, |logged| logged.sums.longest_gap))
    }

    /// Packets with neighbouring numbers.
    #[must_use]
    pub fn neighbours(&self) -> Neighbours {
        self.sums().neighbours
    }

    /// What is missing, with what late packets could still fill were there more.
    #[must_use]
    pub fn losses(&self) -> Losses {
        let Sums { mut losses, mut pending, .. } = self.sums();
        pending.close(&mut losses);
        if let Some(place) = &self.core.place {
            place.runs.clone().close_all(&mut losses);
        }
        losses
    }
}

#[cfg(test)]
mod tests;
