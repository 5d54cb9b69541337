//! Ctrl+C: reading stops, and what was read so far is reported. Once more ends the program at once.

use std::io;
use std::sync::atomic::AtomicBool;
use std::sync::atomic::Ordering;

use downbeat::capture::Stopped;

use super::output;

/// Exit status of a program that SIGINT has ended: 128 and its number (common practice of shells, no source).
const INTERRUPTED: i32 = 130;

static IS_ASKED: AtomicBool = AtomicBool::new(false);

/// Listens from now on. Where that cannot be had, Ctrl+C ends the program as ever.
pub(crate) fn listen() {
    drop(ctrlc::set_handler(|| {
        if IS_ASKED.swap(true, Ordering::Relaxed) {
            output::abandon(INTERRUPTED);
        }
    }));
}

/// Whether reading is to stop.
pub(crate) fn is_asked() -> bool {
    IS_ASKED.load(Ordering::Relaxed)
}

/// Whether reading is to go on.
pub(crate) fn go_on() -> io::Result<()> {
    if is_asked() { Err(io::Error::other(Stopped)) } else { Ok(()) }
}
