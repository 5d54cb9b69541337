//! Which of the newest numbers of a sequence have come.

/// Numbers remembered (reference: 1024 or more, which are 100 ms of packets 125 µs apart).
pub(super) const WINDOW: u16 = 1024;
const WORDS: usize = 16;

/// A bit for each number, at its place modulo [`WINDOW`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Window([u64; WORDS]);

const fn place(number: u16) -> (usize, u64) {
    let [high, low] = (number % WINDOW).to_be_bytes();
    let word = (high << 2) | (low >> 6);
    (widened(word), 1 << (low & 63))
}

#[allow(clippy::as_conversions, reason = "a u8 fits a usize, and `usize::from` is not const")]
const fn widened(word: u8) -> usize {
    word as usize
}

impl Window {
    /// Only `number` has come.
    pub(super) fn new(number: u16) -> Self {
        let mut window = Self([0; WORDS]);
        window.set(number);
        window
    }

    pub(super) fn set(&mut self, number: u16) {
        let (word, bit) = place(number);
        if let Some(word) = self.0.get_mut(word) {
            *word |= bit;
        }
    }

    /// Whether `number`, at most [`WINDOW`] behind the newest, has come.
    pub(super) fn has(&self, number: u16) -> bool {
        let (word, bit) = place(number);
        self.0.get(word).is_some_and(|word| word & bit != 0)
    }

    /// So many numbers in a row came, up to `last`, all of them of one word.
    pub(super) fn ran(&mut self, last: u16, count: u16) {
        let (word, bit) = place(last);
        let shift = u32::from(count.saturating_sub(1));
        // From the first one's bit to the last one's.
        let bits = (bit.wrapping_shl(1).wrapping_sub(1)) & !(bit.wrapping_shr(shift).wrapping_sub(1));
        if let Some(word) = self.0.get_mut(word) {
            *word |= bits;
        }
    }

    /// Goes on from the newest number `from` by `by`, and notes that number.
    pub(super) fn forward(&mut self, from: u16, by: u16) {
        if by >= WINDOW {
            self.0 = [0; WORDS];
        } else {
            for step in 1..by {
                let (word, bit) = place(from.wrapping_add(step));
                if let Some(word) = self.0.get_mut(word) {
                    *word &= !bit;
                }
            }
        }
        self.set(from.wrapping_add(by));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_a_row_are_those_set_one_by_one() {
        for first in [0, 1, 62, 63, 64, 1000, 65_472] {
            for count in 1..=64 - first % 64 {
                let (mut at_once, mut one_by_one) = (Window([0; WORDS]), Window([0; WORDS]));
                at_once.ran(first + (count - 1), count);
                (0..count).for_each(|step| one_by_one.set(first + step));
                assert_eq!(at_once, one_by_one, "{count} from {first}");
            }
        }
    }

    #[test]
    fn every_number_has_a_bit_of_its_own_and_skipped_ones_are_forgotten() {
        let mut window = Window::new(65_530);
        window.forward(65_530, 1);
        window.forward(65_531, 9);
        let came: Vec<u16> =
            (0..WINDOW).map(|behind| 4_u16.wrapping_sub(behind)).filter(|n| window.has(*n)).collect();
        assert_eq!(came, [4, 65_531, 65_530]);
        window.forward(4, WINDOW - 1);
        assert!(window.has(4) && !window.has(5) && !window.has(65_531));
        window.forward(1027, WINDOW);
        let came = (0..WINDOW).filter(|behind| window.has(2051 - behind)).count();
        assert_eq!(came, 1);
    }
}
