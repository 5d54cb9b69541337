//! Octets of one part of a file, held for as long as somebody looks at them.

use std::io;
use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;
use std::ops::Range;

use super::buffer::PAGE;
use super::order::position;

/// Octets read at once behind a part's end, for its last record.
const TAIL: usize = 16 << 10;

/// A part's octets, at an aligned address as [`super::buffer`] has it. To be used again and again.
#[derive(Debug, Default)]
pub(super) struct Block {
    storage: Vec<u8>,
    begin: usize,
    end: usize,
    /// Offset in the file of the first octet.
    at: u64,
    /// Whether the file ends where this ends.
    ended: bool,
}

impl Block {
    /// What is held.
    #[inline]
    pub(super) fn octets(&self) -> &[u8] {
        self.storage.get(self.begin..self.end).unwrap_or_default()
    }

    /// Offset in the file of the first octet.
    pub(super) const fn at(&self) -> u64 {
        self.at
    }

    /// Whether the file ends where this ends.
    pub(super) const fn ended(&self) -> bool {
        self.ended
    }

    /// Reads what stands in `range` of the file, as far as it is there.
    pub(super) fn read(&mut self, source: &mut (impl Read + Seek), range: Range<u64>) -> io::Result<()> {
        let wanted = usize::try_from(range.end.saturating_sub(range.start)).unwrap_or(usize::MAX);
        self.at = range.start;
        self.ended = false;
        self.begin = 0;
        self.end = 0;
        let room = wanted.saturating_add(2 * TAIL).saturating_add(PAGE);
        if self.storage.len() < room {
            self.storage = vec![0; room];
        }
        self.begin = self.storage.as_ptr().align_offset(PAGE).min(PAGE);
        self.end = self.begin;
        source.seek(SeekFrom::Start(range.start))?;
        self.extend(source, wanted)
    }

    /// Reads on until `wanted` octets are held or the file has ended; a little more than that where it was not enough.
    pub(super) fn hold(&mut self, source: &mut (impl Read + Seek), wanted: usize) -> io::Result<()> {
        if wanted <= self.octets().len() || self.ended {
            return Ok(());
        }
        source.seek(SeekFrom::Start(self.at.saturating_add(position(self.octets().len()))))?;
        self.extend(source, wanted.next_multiple_of(TAIL))
    }

    fn extend(&mut self, source: &mut impl Read, wanted: usize) -> io::Result<()> {
        let until = self.begin.saturating_add(wanted);
        if self.storage.len() < until {
            // What is held keeps its place in the storage, though its address may lose its alignment.
            self.storage.resize(until, 0);
        }
        while self.end < until {
            let Some(room) = self.storage.get_mut(self.end..until) else { break };
            match source.read(room) {
                Ok(0) => {
                    self.ended = true;
                    break;
                }
                Ok(count) => self.end = self.end.saturating_add(count).min(until),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    #[test]
    fn a_part_and_what_follows_it_are_those_of_the_file() {
        let file: Vec<u8> = (0..100_000_u32).flat_map(u32::to_be_bytes).collect();
        let mut source = Cursor::new(file.clone());
        let mut block = Block::default();
        for (from, until, more) in
            [(0, 1000, 5000), (4096, 70_000, 70_001), (399_000, 500_000, 500_001), (7, 7, 9)]
        {
            block.read(&mut source, from..until).unwrap();
            assert_eq!(block.octets().as_ptr().align_offset(PAGE), 0);
            block.hold(&mut source, more).unwrap();
            let from = usize::try_from(from).unwrap();
            let held = block.octets();
            assert!(held.len() >= more || block.ended());
            assert_eq!(held, &file[from..from + held.len()]);
            assert_eq!(block.ended(), from + more > file.len());
        }
    }
}
