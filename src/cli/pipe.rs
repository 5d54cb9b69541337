//! A pipe that may stay silent: a thread of its own waits for it, so that Ctrl+C ends the reading meanwhile.

use std::io;
use std::io::Read;
use std::sync::mpsc;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::RecvTimeoutError;
use std::sync::mpsc::SyncSender;
use std::thread;
use std::time::Duration;

use super::stop;

/// Octets of a block: as many as the capture reader asks for at once, and more than a pipe gives (Linux's holds 64 KiB, pipe(7)).
const BLOCK: usize = 256 << 10;

/// Addresses that are read to are multiples of this: elsewhere some kernels copy more slowly, see the capture reader's buffer.
const PAGE: usize = 4096;

/// Blocks that go round: while one is looked at, the next one fills (chosen).
const BLOCKS: usize = 2;

/// Time between two looks at whether to go on, while nothing comes (chosen: no one notices it).
const PATIENCE: Duration = Duration::from_millis(50);

/// Octets that came at once: those between `taken` and `filled` are still wanted.
#[derive(Default)]
struct Block {
    storage: Vec<u8>,
    taken: usize,
    filled: usize,
}

impl Block {
    fn new() -> Self {
        Self { storage: vec![0; PAGE + BLOCK], taken: 0, filled: 0 }
    }

    /// Fills it anew; without a single octet at the source's end.
    fn fill(&mut self, source: &mut impl Read) -> io::Result<()> {
        let first = self.storage.as_ptr().align_offset(PAGE).min(PAGE);
        let room = self.storage.get_mut(first..first + BLOCK).unwrap_or_default();
        let count = loop {
            match source.read(room) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                read => break read?.min(BLOCK),
            }
        };
        self.taken = first;
        self.filled = first + count;
        Ok(())
    }

    fn wanted(&self) -> &[u8] {
        self.storage.get(self.taken..self.filled).unwrap_or_default()
    }
}

/// What a thread reads elsewhere. It is never further ahead than the blocks that go round.
pub(crate) struct Pipe {
    full: Receiver<io::Result<Block>>,
    empty: SyncSender<Block>,
    block: Block,
}

impl Pipe {
    /// Opens a source and reads it; opening may have to wait as well, as that of a named pipe does for whoever writes.
    pub(crate) fn new<R: Read>(open: impl FnOnce() -> io::Result<R> + Send + 'static) -> io::Result<Self> {
        let (fill, full) = mpsc::sync_channel(BLOCKS);
        let (empty, used) = mpsc::sync_channel(BLOCKS);
        for _ in 0..BLOCKS {
            // There is room for all of them.
            drop(empty.try_send(Block::new()));
        }
        thread::Builder::new().name("pipe".to_owned()).spawn(move || {
            let ended = open().and_then(|source| pass_on(source, &used, &fill));
            if let Err(error) = ended {
                // Nobody wants to know where reading has ended before.
                drop(fill.send(Err(error)));
            }
        })?;
        Ok(Self { full, empty, block: Block::default() })
    }
}

/// Reads to the end, or until nobody listens any more.
fn pass_on(
    mut source: impl Read,
    used: &Receiver<Block>,
    fill: &SyncSender<io::Result<Block>>,
) -> io::Result<()> {
    while let Ok(mut block) = used.recv() {
        block.fill(&mut source)?;
        if block.wanted().is_empty() || fill.send(Ok(block)).is_err() {
            break;
        }
    }
    Ok(())
}

impl Read for Pipe {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.block.wanted().is_empty() {
            let Some(block) = next(&self.full)? else { return Ok(0) };
            let used = std::mem::replace(&mut self.block, block?);
            if !used.storage.is_empty() {
                // Whoever fills it may have come to the end meanwhile.
                drop(self.empty.send(used));
            }
        }
        let count = self.block.wanted().read(into)?;
        self.block.taken += count;
        Ok(count)
    }
}

/// What comes next, `None` where nothing will come; an error where reading is to stop before.
fn next<T>(coming: &Receiver<T>) -> io::Result<Option<T>> {
    loop {
        stop::go_on()?;
        match coming.recv_timeout(PATIENCE) {
            Ok(next) => return Ok(Some(next)),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Ok(None),
        }
    }
}

/// What `work` comes to, unless reading is to stop before it is done.
pub(crate) fn wait_for<T: Send + 'static>(
    work: impl FnOnce() -> io::Result<T> + Send + 'static,
) -> io::Result<T> {
    let (done, outcome) = mpsc::sync_channel(1);
    thread::Builder::new().name("wait".to_owned()).spawn(move || {
        // Nobody wants to know where reading has ended before.
        drop(done.send(work()));
    })?;
    next(&outcome)?.unwrap_or_else(|| Err(io::Error::other("reading ended before its time")))
}

#[cfg(test)]
#[allow(clippy::as_conversions, clippy::unwrap_used, reason = "a test that panics is a test that fails")]
mod tests {
    use super::*;

    /// Gives octets by pieces of a few, and an error at the end if there is one.
    struct Pieces(Vec<Vec<u8>>, Option<io::ErrorKind>);

    impl Read for Pieces {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            if self.0.is_empty() {
                return self.1.take().map_or(Ok(0), |kind| Err(kind.into()));
            }
            let piece = self.0.remove(0);
            (&piece[..]).read(into)
        }
    }

    fn piped(pieces: Pieces) -> Pipe {
        Pipe::new(move || Ok(pieces)).unwrap()
    }

    #[test]
    fn all_octets_come_in_their_order_whatever_they_come_in() {
        let octets: Vec<u8> = (0..3 * BLOCK).map(|at| (at % 251) as u8).collect();
        for piece in [1000, BLOCK - 1, BLOCK] {
            let pieces = octets.chunks(piece).map(<[u8]>::to_vec).collect();
            let mut read = Vec::new();
            piped(Pieces(pieces, None)).read_to_end(&mut read).unwrap();
            assert!(read == octets, "{piece}");
        }
    }

    #[test]
    fn an_interrupted_reading_goes_on_and_a_failed_one_is_told_behind_what_came_before() {
        let mut read = Vec::new();
        let mut failing = piped(Pieces(vec![vec![1, 2, 3]], Some(io::ErrorKind::ConnectionReset)));
        let told = failing.read_to_end(&mut read).unwrap_err();
        assert_eq!((told.kind(), &read[..]), (io::ErrorKind::ConnectionReset, &[1, 2, 3][..]));
        assert_eq!(failing.read(&mut [0; 8]).unwrap(), 0);
        let mut interrupted = piped(Pieces(vec![vec![1]], Some(io::ErrorKind::Interrupted)));
        assert_eq!(interrupted.read_to_end(&mut Vec::new()).unwrap(), 1);
    }

    #[test]
    fn a_source_that_cannot_be_opened_says_so_when_it_is_read() {
        let mut pipe = Pipe::new(|| Err::<io::Empty, _>(io::ErrorKind::PermissionDenied.into())).unwrap();
        assert_eq!(pipe.read(&mut [0; 8]).unwrap_err().kind(), io::ErrorKind::PermissionDenied);
    }

    /// Counts what is asked of it and never ends.
    struct Endless(std::sync::Arc<std::sync::atomic::AtomicUsize>);

    impl Read for Endless {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            self.0.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
            Ok(into.len())
        }
    }

    #[test]
    fn no_more_is_read_ahead_than_the_blocks_hold() {
        let asked = std::sync::Arc::default();
        let source = Endless(std::sync::Arc::clone(&asked));
        let mut pipe = Pipe::new(move || Ok(source)).unwrap();
        let asked = || {
            thread::sleep(Duration::from_millis(100));
            asked.load(std::sync::atomic::Ordering::SeqCst)
        };
        assert_eq!(asked(), BLOCKS);
        // The block that is looked at is out; its fellow is full.
        assert_eq!(pipe.read(&mut [0; 8]).unwrap(), 8);
        assert_eq!(asked(), BLOCKS);
        pipe.read_exact(&mut vec![0; BLOCK]).unwrap();
        assert_eq!(asked(), BLOCKS + 1);
    }

    #[test]
    fn what_is_waited_for_comes_with_its_failure() {
        assert_eq!(wait_for(|| Ok(7)).unwrap(), 7);
        let failed = wait_for(|| Err::<u8, _>(io::ErrorKind::NotFound.into()));
        assert_eq!(failed.unwrap_err().kind(), io::ErrorKind::NotFound);
    }
}
