//! A queue of mostly one entry, which lies where the queue itself does.

use std::collections::VecDeque;

/// Entries in the order they came.
#[derive(Debug, Clone)]
pub struct Queue<T> {
    /// The oldest. There are no others without it.
    first: Option<T>,
    rest: VecDeque<T>,
}

impl<T> Default for Queue<T> {
    fn default() -> Self {
        Self { first: None, rest: VecDeque::new() }
    }
}

impl<T> Queue<T> {
    /// Adds the latest entry.
    pub fn push_back(&mut self, entry: T) {
        if self.first.is_none() {
            self.first = Some(entry);
        } else {
            self.rest.push_back(entry);
        }
    }

    /// Takes the oldest entry.
    pub fn pop_front(&mut self) -> Option<T> {
        std::mem::replace(&mut self.first, self.rest.pop_front())
    }

    /// The oldest entry.
    #[must_use]
    pub const fn front(&self) -> Option<&T> {
        self.first.as_ref()
    }

    /// Takes the entry at a place.
    pub fn remove(&mut self, index: usize) -> Option<T> {
        match index.checked_sub(1) {
            None => self.pop_front(),
            Some(index) => self.rest.remove(index),
        }
    }

    /// Where the first entry is that is so, from the oldest on.
    pub fn position(&self, mut is_so: impl FnMut(&T) -> bool) -> Option<usize> {
        if is_so(self.first.as_ref()?) {
            return Some(0);
        }
        self.rest.iter().position(is_so).map(|index| index + 1)
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        usize::from(self.first.is_some()) + self.rest.len()
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.first.is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn it_is_a_queue(steps in prop::collection::vec((0_u8..4, 0_usize..4, any::<u8>()), 0..60)) {
            let mut queue = Queue::default();
            let mut known = VecDeque::new();
            for (step, index, entry) in steps {
                match step {
                    0 => prop_assert_eq!(queue.pop_front(), known.pop_front()),
                    1 => prop_assert_eq!(queue.remove(index), known.remove(index)),
                    _ => {
                        queue.push_back(entry);
                        known.push_back(entry);
                    }
                }
                prop_assert_eq!((queue.len(), queue.is_empty()), (known.len(), known.is_empty()));
                prop_assert_eq!(queue.front(), known.front());
                prop_assert_eq!(queue.position(|entry| *entry < 64), known.iter().position(|entry| *entry < 64));
            }
        }
    }
}
