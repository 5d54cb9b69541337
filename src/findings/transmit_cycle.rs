//! A leader that starts, fails and waits, again and again: what two rules ask.

use crate::domains::Cadence;
use crate::domains::ClockPort;
use crate::domains::Kind;
use crate::domains::Silence;
use crate::units::Nanos;

/// Silences of like length that make a cycle (reference: 3 cycles).
const CYCLES: usize = 3;

/// How far the lengths may differ from their median, per cent (chosen: the wait is a fixed timer, the election before
/// and after is not).
const SPREAD_PERCENT: i64 = 30;

/// The shortest wait that is taken for a fault timer (chosen: common timers are 5 to 16 s).
const SHORTEST: Nanos = Nanos::from_seconds(4);

/// A cycle of starts and silences.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::findings) struct Cycle {
    /// The silences.
    pub(in crate::findings) silences: Vec<Silence>,
    /// Their middle length.
    pub(in crate::findings) wait: Nanos,
    /// Two-step Syncs without their Follow_Up.
    pub(in crate::findings) without: u64,
    /// All Syncs.
    pub(in crate::findings) syncs: u64,
}

/// The cycle of a port that announces, sends Syncs whose Follow_Up mostly does not come, and falls silent.
pub(in crate::findings) fn of(port: &ClockPort) -> Option<Cycle> {
    let pairing = port.samples.as_deref()?.pairing();
    let (without, syncs) = (pairing.without_follow_up(), port.count(Kind::Sync));
    let missed = port.series(Kind::Sync).map_or(0, Cadence::missed);
    // Where frames are lost on the way or by the capture, Syncs are missing as well.
    if without == 0 || without < pairing.paired() || without < missed {
        return None;
    }
    // A sender that has stopped uses no numbers up.
    let stopped = |silence: &Silence| silence.skipped.unwrap_or(0) == 0 && silence.length >= SHORTEST;
    let long = port.silences(Kind::Announce).iter().copied().filter(stopped);
    let silences: Vec<Silence> = long.collect();
    let mut lengths: Vec<Nanos> = silences.iter().map(|silence| silence.length).collect();
    lengths.sort_unstable();
    let wait = *lengths.get(lengths.len() / 2)?;
    let allowed = wait.0.saturating_mul(SPREAD_PERCENT) / 100;
    let alike = lengths.iter().filter(|length| length.0.saturating_sub(wait.0).abs() <= allowed).count();
    (alike >= CYCLES && alike.saturating_mul(10) >= lengths.len().saturating_mul(8)).then_some(Cycle {
        silences,
        wait,
        without,
        syncs,
    })
}
