//! The window over a stream: octets read and not yet done with.

use std::io;
use std::io::Read;

/// Octets asked for at once: still in the cache when they are walked.
const BLOCK: usize = 256 << 10;

/// Room for the unfinished record before the block, at the start.
const CARRY: usize = 64 << 10;

/// Addresses reads go to are multiples of this. On some processors the kernel's copy is four times slower
/// to an address 1 to 16 octets past a page start, and that is where a large heap block begins.
pub(super) const PAGE: usize = 4096;

/// A buffer that reads to an aligned place in its middle and moves the unfinished record just before it.
///
/// Invariant: `start <= end <= storage.len()`. Memory: `BLOCK` + `CARRY` + a page, the carry growing to the
/// longest record asked for.
#[derive(Debug)]
pub(super) struct Buffer {
    storage: Vec<u8>,
    middle: usize,
    limit: usize,
    start: usize,
    end: usize,
    offset: u64,
    ended: bool,
}

impl Buffer {
    pub(super) fn new() -> Self {
        let mut buffer =
            Self { storage: Vec::new(), middle: 0, limit: 0, start: 0, end: 0, offset: 0, ended: false };
        buffer.allocate(CARRY);
        buffer
    }

    /// What was read and is not done with.
    pub(super) fn window(&self) -> &[u8] {
        self.storage.get(self.start..self.end).unwrap_or_default()
    }

    /// Offset of the window's first octet in the stream.
    pub(super) const fn offset(&self) -> u64 {
        self.offset
    }

    /// Whether the stream ends where the window ends.
    pub(super) const fn ended(&self) -> bool {
        self.ended
    }

    /// Gives up the first `count` octets of the window.
    pub(super) fn consume(&mut self, count: usize) {
        let count = count.min(self.end - self.start);
        self.start += count;
        self.offset = self.offset.saturating_add(super::order::position(count));
    }

    /// Goes on at another place of the stream; the source has to be there.
    pub(super) fn restart(&mut self, offset: u64) {
        self.start = self.middle;
        self.end = self.middle;
        self.offset = offset;
        self.ended = false;
    }

    /// Reads until the window holds `need` octets or the stream has ended.
    pub(super) fn fill(&mut self, source: &mut impl Read, need: usize) -> io::Result<()> {
        while self.end - self.start < need && !self.ended {
            self.make_room(need);
            let Some(room) = self.storage.get_mut(self.end..self.limit) else { break };
            match source.read(room) {
                Ok(0) => self.ended = true,
                Ok(count) => self.end = (self.end + count).min(self.limit),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    /// Sees to it that `end < limit`.
    fn make_room(&mut self, need: usize) {
        let held = self.end - self.start;
        if held == 0 {
            self.start = self.middle;
            self.end = self.middle;
        } else if self.end >= self.limit {
            if held > self.middle {
                let held_octets = self.window().to_vec();
                self.allocate(need.max(held));
                self.start = self.middle.saturating_sub(held);
                if let Some(place) = self.storage.get_mut(self.start..self.middle) {
                    place.copy_from_slice(&held_octets);
                }
            } else {
                let to = self.middle - held;
                self.storage.copy_within(self.start..self.end, to);
                self.start = to;
            }
            self.end = self.middle;
        }
    }

    fn allocate(&mut self, carry: usize) {
        let carry = carry.next_multiple_of(PAGE);
        self.storage = vec![0; PAGE + carry + BLOCK];
        // Less than a page for a plain pointer to octets; the `min` keeps a refusal (`usize::MAX`) harmless.
        let aligned = self.storage.as_ptr().align_offset(PAGE).min(PAGE);
        self.middle = aligned + carry;
        self.limit = self.middle + BLOCK;
        self.start = self.middle;
        self.end = self.middle;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct AddressCheck {
        reads: usize,
    }

    impl Read for AddressCheck {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            assert_eq!(into.as_ptr().align_offset(PAGE), 0, "read number {} is not page-aligned", self.reads);
            self.reads += 1;
            into.fill(u8::try_from(self.reads % 251).unwrap());
            Ok(into.len())
        }
    }

    #[test]
    fn reads_go_to_aligned_addresses_and_the_rest_is_kept() {
        let mut source = AddressCheck { reads: 0 };
        let mut buffer = Buffer::new();
        for need in [1, 1000, BLOCK + 1, 2 * BLOCK + 77, 100] {
            buffer.fill(&mut source, need).unwrap();
            assert!(buffer.window().len() >= need);
            let last = *buffer.window().last().unwrap();
            let whole = buffer.window().len();
            buffer.consume(whole - 999);
            buffer.fill(&mut source, 1000).unwrap();
            assert_eq!(buffer.window()[..999], vec![last; 999]);
            assert_eq!(buffer.window()[999], last + 1);
        }
        assert_eq!(
            buffer.offset() + u64::try_from(buffer.window().len()).unwrap(),
            u64::try_from(source.reads * BLOCK).unwrap()
        );
    }
}
