//! Media that arrived whole shows that the capture missed nothing meanwhile.

use crate::analysis::Analysis;
use crate::observations::Place;
use crate::streams::Stream;
use crate::units::CaptureTime;

/// Loss of a stream, per mille of its packets, up to which it is whole (chosen).
const WHOLE_PER_MILLE: u64 = 1;

/// Packets of a stream that are due in the span (chosen: of 100 that come none is missing by chance).
const DUE: i128 = 100;

/// How many streams went on from before `before` until past `after`, none of whose packets between is known to be
/// missing.
pub(super) fn whole_streams(analysis: &Analysis, before: Place, after: Place) -> usize {
    let Some((from, until)) = before.time.zip(after.time) else { return 0 };
    analysis.wire.streams.iter().filter(|stream| is_whole(stream, from, until)).count()
}

fn is_whole(stream: &Stream, from: CaptureTime, until: CaptureTime) -> bool {
    let (Some(rtp), Some(first), Some(last)) = (stream.rtp, stream.first(), stream.last()) else {
        return false;
    };
    let life = i128::from(last.since(first).0.max(1));
    let due = i128::from(rtp.expected) * i128::from(until.since(from).0) / life;
    let few = rtp.lost.saturating_mul(1000) <= rtp.expected.saturating_mul(WHOLE_PER_MILLE);
    let broken = stream.pauses.iter().map(|pause| (pause.from, pause.until));
    let burst = stream.bursts.iter().map(|burst| (burst.from, burst.time));
    let all_told = u64::try_from(stream.bursts.len()) == Ok(stream.burst_count);
    let is_hit = broken.chain(burst).any(|(began, ended)| began < until && from < ended);
    first <= from && last >= until && due >= DUE && few && all_told && !is_hit && !rtp.estimated
}
