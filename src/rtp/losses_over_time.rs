//! Where losses were, over the whole of a stream however many they are: neighbours in time are put together.
//!
//! Cells begin at multiples of their width, and the width doubles where there are too many, so what is kept depends on the
//! losses alone, not on their order and not on where the capture was cut.

use super::gaps::Burst;
use crate::units::CaptureTime;

/// Cells kept of one stream (chosen: 4 KiB, and at least half as many marks in a picture a thousand pixels wide).
const MOST: usize = 128;
/// The narrowest cell, ns (chosen: 2^20, a millisecond).
const NARROWEST: i64 = 1 << 20;

/// Losses in a row that lie near one another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LossCell {
    /// When the packet after the first of them came.
    pub first: CaptureTime,
    /// When the packet after the last of them came; the same where it is one.
    pub last: CaptureTime,
    /// How many they are.
    pub bursts: u64,
    /// How many packets are missing in all of them.
    pub missing: u64,
}

impl From<Burst> for LossCell {
    fn from(burst: Burst) -> Self {
        Self { first: burst.time, last: burst.time, bursts: 1, missing: burst.missing }
    }
}

/// All losses in a row, near ones together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LossesOverTime {
    width: i64,
    /// By the number of their cell, which is that of their times divided by the width.
    cells: Vec<(i64, LossCell)>,
}

impl Default for LossesOverTime {
    fn default() -> Self {
        Self { width: NARROWEST, cells: Vec::new() }
    }
}

impl LossesOverTime {
    /// Takes a loss.
    pub fn push(&mut self, burst: Burst) {
        self.insert(burst.into());
        self.fit();
    }

    /// Adds others.
    pub fn join(&mut self, right: &Self) {
        while self.width < right.width {
            self.widen();
        }
        for (_, cell) in &right.cells {
            self.insert(*cell);
        }
        self.fit();
    }

    /// In order of time.
    pub fn cells(&self) -> impl Iterator<Item = LossCell> {
        self.cells.iter().map(|(_, cell)| *cell)
    }

    /// How many losses they are.
    #[must_use]
    pub fn bursts(&self) -> u64 {
        self.cells().fold(0, |sum, cell| sum.saturating_add(cell.bursts))
    }

    /// A cell's losses lie within one of the width of now, as widths double.
    fn insert(&mut self, cell: LossCell) {
        let index = cell.first.0.div_euclid(self.width);
        match self.cells.binary_search_by_key(&index, |(index, _)| *index) {
            Ok(place) => {
                if let Some((_, kept)) = self.cells.get_mut(place) {
                    kept.first = kept.first.min(cell.first);
                    kept.last = kept.last.max(cell.last);
                    kept.bursts = kept.bursts.saturating_add(cell.bursts);
                    kept.missing = kept.missing.saturating_add(cell.missing);
                }
            }
            Err(place) => self.cells.insert(place, (index, cell)),
        }
    }

    fn fit(&mut self) {
        while self.cells.len() > MOST {
            self.widen();
        }
    }

    fn widen(&mut self) {
        self.width = self.width.saturating_mul(2);
        for (_, cell) in std::mem::take(&mut self.cells) {
            self.insert(cell);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn burst(ms: i64, missing: u64) -> Burst {
        let time = CaptureTime(ms * 1_000_000);
        Burst { from: time, time, missing }
    }

    fn of<'a>(bursts: impl IntoIterator<Item = &'a Burst>) -> LossesOverTime {
        let mut losses = LossesOverTime::default();
        bursts.into_iter().for_each(|burst| losses.push(*burst));
        losses
    }

    #[test]
    fn few_losses_are_kept_one_by_one_and_many_cover_the_whole_time() {
        let few: Vec<Burst> = (0..100).map(|n| burst(n * 7000, 3)).collect();
        let told: Vec<(CaptureTime, u64)> = of(&few).cells().map(|cell| (cell.last, cell.bursts)).collect();
        assert_eq!(told, few.iter().map(|burst| (burst.time, 1)).collect::<Vec<_>>());
        // A day: many in its first minute, one in its last.
        let day = 86_400_000;
        let mut many: Vec<Burst> = (0..60_000).map(|ms| burst(ms, 3)).collect();
        many.push(burst(day, 5));
        let losses = of(&many);
        let cells: Vec<LossCell> = losses.cells().collect();
        assert!((64..=MOST).contains(&cells.len()), "{}", cells.len());
        assert_eq!(losses.bursts(), 60_001);
        let last = cells.last().unwrap();
        assert_eq!((last.first.0, last.bursts, last.missing), (day * 1_000_000, 1, 5));
    }

    proptest! {
        #[test]
        fn what_is_kept_depends_on_the_losses_alone(
            at in prop::collection::vec((-1_000_000_i64..100_000_000, 3_u64..100), 0..600), cut in 0_usize..600,
        ) {
            let bursts: Vec<Burst> = at.iter().map(|(ms, missing)| burst(*ms, *missing)).collect();
            let whole = of(&bursts);
            let (left, right) = bursts.split_at(cut.min(bursts.len()));
            let mut joined = of(left);
            joined.join(&of(right));
            prop_assert_eq!(&joined, &whole);
            prop_assert_eq!(&of(bursts.iter().rev()), &whole);
            prop_assert_eq!(whole.bursts(), u64::try_from(bursts.len()).unwrap());
            let missing: u64 = whole.cells().map(|cell| cell.missing).sum();
            prop_assert_eq!(missing, at.iter().map(|(_, missing)| missing).sum::<u64>());
            prop_assert!(whole.cells().count() <= MOST);
        }
    }
}
