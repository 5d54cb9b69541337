//! Times that follow from declared intervals.

use crate::units::LogInterval;
use crate::units::Nanos;

/// `FOREIGN_MASTER_TIME_WINDOW`: announce intervals in which a new leader must be heard twice
/// (`FOREIGN_MASTER_THRESHOLD` 2; IEEE 1588-2008 9.3.2.4.4 and 9.3.2.4.5, from memory).
pub const FOREIGN_MASTER_TIME_WINDOW: i64 = 4;

/// `announceReceiptTimeout` · 2^`logAnnounceInterval` (IEEE 1588-2008 7.7.3.1, from memory); a port may wait up to
/// one announce interval more. `None` where the interval is not given or beyond [`Nanos`].
#[must_use]
pub fn announce_receipt_timeout(interval: LogInterval, announce_receipt_timeout: u8) -> Option<Nanos> {
    interval.nanos()?.0.checked_mul(i64::from(announce_receipt_timeout)).map(Nanos)
}

/// [`FOREIGN_MASTER_TIME_WINDOW`] announce intervals; `None` as for [`announce_receipt_timeout`].
#[must_use]
pub fn foreign_master_time_window(interval: LogInterval) -> Option<Nanos> {
    interval.nanos()?.0.checked_mul(FOREIGN_MASTER_TIME_WINDOW).map(Nanos)
}
