//! Missing numbers that a packet far behind may still fill, and packets so late that they belong to what came before a
//! part.

use super::gaps::Losses;
use super::gaps::Run;

/// Holes kept, the latest (chosen: 24 KiB of a stream that loses as many).
const KEPT: usize = 512;
/// Packets from before a part that are kept for a join (chosen: 32 KiB).
const UNPLACED_KEPT: usize = 4096;
/// What nothing from before a break reaches across (chosen: more than all numbers).
const BREAK: i64 = 1 << 20;

/// A run of missing numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Hole {
    run: Run,
    /// Where its last number lies, counted from the first of all.
    at: i64,
}

/// The holes of a stretch, in order of their numbers.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Pending {
    holes: Vec<Hole>,
    /// How far the numbers moved.
    moved: i64,
    /// Where packets lie that came before the stretch's first number, counted from that.
    unplaced: Vec<i64>,
}

impl Pending {
    pub(super) fn forward(&mut self, by: u16) {
        self.moved = self.moved.saturating_add(i64::from(by));
    }

    /// Takes a run the last number of which lies so far behind.
    pub(super) fn take(&mut self, run: Run, behind: u16, losses: &mut Losses) {
        if run.missing == 0 {
            losses.take(&run);
            return;
        }
        self.holes.push(Hole { run, at: self.moved.saturating_sub(i64::from(behind)) });
        self.keep(KEPT, losses);
    }

    fn keep(&mut self, most: usize, losses: &mut Losses) {
        let going = self.holes.len().saturating_sub(most);
        for hole in self.holes.drain(..going) {
            losses.take(&hole.run);
        }
    }

    /// Whether the number so far behind was missing; it then is no more. One from before the stretch is kept.
    pub(super) fn fill(&mut self, behind: u16) -> bool {
        self.fill_at(self.moved.saturating_sub(i64::from(behind)))
    }

    fn fill_at(&mut self, at: i64) -> bool {
        let holds = |hole: &Hole| at <= hole.at && at > hole.at.saturating_sub(i64::from(hole.run.missing));
        let Some(place) = self.holes.iter().position(holds) else {
            if at < 0 && self.unplaced.len() < UNPLACED_KEPT {
                self.unplaced.push(at);
            }
            return false;
        };
        let hole = self.holes.remove(place);
        let above = u16::try_from(hole.at.saturating_sub(at)).unwrap_or_default();
        for (run, at) in hole.run.split(above).into_iter().zip([hole.at, at.saturating_sub(1)]) {
            if run.missing > 0 {
                self.holes.insert(place, Hole { run, at });
            }
        }
        true
    }

    /// Nothing of what is missing will come.
    pub(super) fn close(&mut self, losses: &mut Losses) {
        self.keep(0, losses);
    }

    /// Notes that a new sequence begins.
    pub(super) fn broken(&mut self, losses: &mut Losses) {
        self.close(losses);
        self.moved = self.moved.saturating_add(BREAK);
    }

    /// Adds what followed, and says how many of its packets filled what was missing here.
    pub(super) fn join(&mut self, right: &Self, is_broken: bool, losses: &mut Losses) -> u64 {
        let mut filled = 0;
        for at in &right.unplaced {
            filled += u64::from(self.fill_at(self.moved.saturating_add(*at)));
        }
        let room = if is_broken { 0 } else { KEPT.saturating_sub(right.holes.len()) };
        self.keep(room, losses);
        let moved = self.moved;
        self.holes.extend(right.holes.iter().map(|hole| Hole { at: hole.at.saturating_add(moved), ..*hole }));
        self.moved = moved.saturating_add(right.moved);
        filled
    }
}
