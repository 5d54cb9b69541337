//! Where a sequence stands, which is what decides about its next packet.

use super::gaps::Runs;
use super::sequence::Numbered;
use super::window::Window;
use crate::units::Nanos;

/// How far behind a packet may be whose timestamp is behind in step with its number: half the numbers there are…
const FAR: u16 = 1 << 15;
/// … and how late it may be (chosen: longer than any queue holds a packet; who begins anew with the numbers and the
/// timestamps that it had before seldom does so sooner).
const LATEST: Nanos = Nanos::from_seconds(2);
/// The step of the timestamp is taken over so many numbers or twice as many (chosen: a picture or so).
pub(super) const MARK: u16 = 64;
/// What decides about the next packet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Place {
    /// The packet with the highest number.
    pub(super) highest: Numbered,
    pub(super) window: Window,
    /// How far the lowest number is below the highest, at most [`super::sequence::SETTLED`].
    pub(super) below: u32,
    /// Two packets some numbers back, the older one first: what the numbers' step in time and timestamp is.
    pub(super) marks: [Numbered; 2],
    /// What the next number would confirm as the first packet after a break.
    pub(super) held: Option<Numbered>,
    pub(super) runs: Runs,
}

impl Place {
    pub(super) fn new(packet: Numbered) -> Self {
        let window = Window::new(packet.number);
        Self { highest: packet, window, below: 0, marks: [packet; 2], held: None, runs: Runs::default() }
    }

    pub(super) fn mark(&mut self, packet: Numbered) {
        let [_, newer] = self.marks;
        if packet.number / MARK != newer.number / MARK {
            self.marks = [newer, packet];
        }
    }

    /// Whether a packet so far behind is as old as its number says, and late by no more than a way may hold it.
    pub(super) fn is_late(&self, packet: &Numbered, behind: u16) -> bool {
        let [from, _] = self.marks;
        let numbers = i64::from(self.highest.number.wrapping_sub(from.number));
        let step = |whole: i64| whole.saturating_mul(i64::from(behind)).checked_div(numbers);
        let ticks = i64::from(self.highest.timestamp.wrapping_sub(from.timestamp).cast_signed());
        let older = i64::from(self.highest.timestamp.wrapping_sub(packet.timestamp).cast_signed());
        let took = self.highest.time.since(from.time).0;
        let (Some(due), Some(sent)) = (step(ticks), step(took)) else { return false };
        // Pictures have more packets or fewer: half of it either way (chosen).
        let in_step = older.saturating_sub(due).saturating_abs() <= (due / 2).saturating_add(ticks);
        let late = packet.time.since(self.highest.time).0.saturating_add(sent);
        behind < FAR && ticks > 0 && took >= 0 && older > 0 && in_step && late <= LATEST.0
    }
}
