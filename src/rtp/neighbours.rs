//! Packets with neighbouring numbers: how far the timestamp goes from the one to the other, and how long that takes.

use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Different ways kept, the shortest (chosen). Whichever parts are joined, those that are left were never given up.
const STEPS_KEPT: usize = 16;
/// Longest waits kept (chosen).
const WAITS_KEPT: usize = 8;
/// A way is the stream's own if it is that of so many in ten (chosen).
const DOMINANT: (u64, u64) = (9, 10);
/// Ways up to so many times the most frequent one belong to the stream's run; longer ones are jumps (chosen).
const OWN: u32 = 8;
/// A wait so much longer than what the timestamp says is a pause (chosen).
const PAUSE: i64 = 20_000_000;

/// One way of the timestamp.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Step {
    ticks: i32,
    count: u64,
    /// Time for all of them together.
    elapsed: i64,
}

impl Step {
    const fn order(&self) -> (u32, i32) {
        (self.ticks.unsigned_abs(), self.ticks)
    }
}

/// Counts over packets with neighbouring numbers. Memory: at most 1 KiB.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Neighbours {
    count: u64,
    /// Sum of all ways, and of the time between.
    ticks: i64,
    elapsed: i64,
    /// The shortest ways, in order of their length.
    steps: Vec<Step>,
    /// The longest waits and the ways that went with them, the longest first.
    waits: Vec<(i64, i32)>,
    /// The longest ways back of the capture's clock from one packet to the next, below zero, the longest first.
    backs: Vec<(i64, i32)>,
    /// Waits below are shorter than all of those, once there are as many as are kept.
    long: i64,
    /// Pairs in a row that went the same way and are nowhere else yet.
    open: Step,
}

impl Default for Neighbours {
    fn default() -> Self {
        Self {
            count: 0,
            ticks: 0,
            elapsed: 0,
            steps: Vec::new(),
            waits: Vec::new(),
            backs: Vec::new(),
            long: i64::MIN,
            open: Step::default(),
        }
    }
}

impl Neighbours {
    /// Takes in a pair. What is asked for afterwards is known once this is settled.
    #[inline]
    pub(super) fn push(&mut self, ticks: i32, elapsed: Nanos) {
        if elapsed.0 >= self.long || elapsed.0 < -PAUSE {
            self.look(ticks, elapsed);
        }
        if self.open.ticks != ticks {
            self.settle();
            self.open.ticks = ticks;
        }
        self.open.count += 1;
        self.open.elapsed = self.open.elapsed.saturating_add(elapsed.0);
    }

    /// Keeps a pair if it is one of those that are.
    #[cold]
    fn look(&mut self, ticks: i32, elapsed: Nanos) {
        self.wait(elapsed.0, ticks);
        if elapsed.0 < -PAUSE {
            self.back(elapsed.0, ticks);
        }
    }

    /// Counts what was taken in.
    pub(super) fn settle(&mut self) {
        let open = std::mem::take(&mut self.open);
        if open.count > 0 {
            let count = i64::try_from(open.count).unwrap_or(i64::MAX);
            self.count += open.count;
            self.ticks = self.ticks.saturating_add(i64::from(open.ticks).saturating_mul(count));
            self.elapsed = self.elapsed.saturating_add(open.elapsed);
            self.count_step(open);
        }
    }

    fn wait(&mut self, elapsed: i64, ticks: i32) {
        let place = self.waits.partition_point(|kept| *kept >= (elapsed, ticks));
        self.waits.insert(place, (elapsed, ticks));
        self.waits.truncate(WAITS_KEPT);
        self.long = self.waits.get(WAITS_KEPT - 1).map_or(i64::MIN, |(elapsed, _)| *elapsed);
    }

    #[cold]
    fn back(&mut self, elapsed: i64, ticks: i32) {
        let place = self.backs.partition_point(|kept| *kept <= (elapsed, ticks));
        self.backs.insert(place, (elapsed, ticks));
        self.backs.truncate(WAITS_KEPT);
    }

    fn count_step(&mut self, step: Step) {
        if let Some(known) = self.steps.iter_mut().find(|known| known.ticks == step.ticks) {
            known.count += step.count;
            known.elapsed = known.elapsed.saturating_add(step.elapsed);
            return;
        }
        let place = self.steps.partition_point(|known| known.order() < step.order());
        if place < STEPS_KEPT {
            self.steps.insert(place, step);
            self.steps.truncate(STEPS_KEPT);
        }
    }

    /// Adds what followed; both are settled.
    pub(super) fn join(&mut self, right: &Self) {
        self.count += right.count;
        self.ticks = self.ticks.saturating_add(right.ticks);
        self.elapsed = self.elapsed.saturating_add(right.elapsed);
        for (elapsed, ticks) in &right.waits {
            self.wait(*elapsed, *ticks);
        }
        for (elapsed, ticks) in &right.backs {
            self.back(*elapsed, *ticks);
        }
        for step in &right.steps {
            self.count_step(*step);
        }
    }

    /// Pairs.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// The time between all of them together.
    #[must_use]
    pub const fn elapsed(&self) -> Nanos {
        Nanos(self.elapsed)
    }

    /// Pairs whose timestamp stayed.
    #[must_use]
    pub fn still(&self) -> u64 {
        self.steps.iter().find(|step| step.ticks == 0).map_or(0, |step| step.count)
    }

    /// Whether the timestamp went, from one packet to the next, by about `by` ticks more than it is used to, or whether that
    /// cannot be told.
    #[must_use]
    pub fn may_jump(&self, by: i64, tolerance: i64) -> bool {
        let Some(own) = self.most_frequent().map(|most| i64::from(most.ticks)) else { return true };
        let is_by = |ticks: i32, used: i64| {
            let more = i64::from(ticks).saturating_sub(used);
            more.saturating_sub(by).saturating_abs() <= tolerance
        };
        // The last packet of a picture goes on as those of a picture do.
        let used = [own, 0];
        let shown = self.steps.iter().filter(|step| step.ticks != 0 && i64::from(step.ticks) != own);
        let mut shown = shown.filter(|step| used.iter().any(|used| is_by(step.ticks, *used)));
        self.steps.len() >= STEPS_KEPT || shown.next().is_some()
    }

    /// The way that nine of ten pairs whose timestamp moves go, ticks.
    #[must_use]
    pub fn step(&self) -> Option<i32> {
        let moved = self.count.saturating_sub(self.still());
        let most = self.most_frequent()?;
        (most.count.saturating_mul(DOMINANT.1) >= moved.saturating_mul(DOMINANT.0)).then_some(most.ticks)
    }

    fn most_frequent(&self) -> Option<&Step> {
        self.steps.iter().filter(|step| step.ticks != 0).max_by_key(|step| step.count)
    }

    /// Ticks a second as measured over all pairs; `None` where the capture's clock went back between, by which any rate may
    /// come out.
    #[must_use]
    pub fn rate(&self) -> Option<u64> {
        if !self.backs.is_empty() {
            return None;
        }
        per_second(i128::from(self.ticks), i128::from(self.elapsed))
    }

    /// Ticks a second without jumps of the timestamp, without pauses as far as a clock of `rate` Hz has them, and without
    /// the capture's clock being set back.
    #[must_use]
    pub fn rate_without_jumps(&self, rate: u32) -> Option<u64> {
        let most = self.most_frequent()?.ticks.unsigned_abs();
        let is_own = |ticks: i32| ticks >= 0 && ticks.unsigned_abs() <= most.saturating_mul(OWN);
        let (mut ticks, mut elapsed) = (0_i128, 0_i128);
        for step in self.steps.iter().filter(|step| is_own(step.ticks)) {
            ticks += i128::from(step.ticks) * i128::from(step.count);
            elapsed += i128::from(step.elapsed);
        }
        for (wait, way) in self.waits.iter().filter(|(_, way)| is_own(*way)) {
            let due = i64::from(*way).checked_mul(NANOS_PER_SECOND)?.checked_div(i64::from(rate))?;
            let over = wait.saturating_sub(due);
            if over > PAUSE.saturating_add(due.saturating_mul(4)) {
                elapsed -= i128::from(over);
            }
        }
        for (back, way) in self.backs.iter().filter(|(_, way)| is_own(*way)) {
            let due = i64::from(*way).checked_mul(NANOS_PER_SECOND)?.checked_div(i64::from(rate))?;
            elapsed += i128::from(due.saturating_sub(*back));
        }
        per_second(ticks, elapsed)
    }
}

fn per_second(ticks: i128, elapsed: i128) -> Option<u64> {
    let scaled = ticks.checked_mul(i128::from(NANOS_PER_SECOND))?;
    u64::try_from(scaled.checked_div(elapsed)?).ok().filter(|rate| *rate > 0)
}
