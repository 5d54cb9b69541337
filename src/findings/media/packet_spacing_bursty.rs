//! `packet-spacing-bursty`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::duration;
use crate::streams::Kind;
use crate::streams::Stream;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Packets of a stream (reference: 1000).
const PACKETS: u64 = 1000;

/// Packet times between neighbours that one in 100 may exceed (reference: 3).
const TIMES: i64 = 3;

/// An audio stream's packets come in bursts.
pub(super) struct PacketSpacingBursty;

impl Rule for PacketSpacingBursty {
    fn id(&self) -> &'static str {
        "packet-spacing-bursty"
    }

    fn summary(&self) -> &'static str {
        "an audio stream's packets come in bursts while another one's come evenly"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "at the sender: is it software on a busy machine? give its audio a hardware output, or a larger packet time",
            "set receivers of this stream to a longer buffer",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "senders keep the packet time: AES67 (from memory)",
            "one interval of 100 beyond 3 packet times, 1000 packets, less than one of 1000 lost (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let audio: Vec<(&Stream, Nanos, Nanos)> = analysis.wire.streams.iter().filter_map(spacing).collect();
        let is_bursty = |(_, packet, reached): &&(&Stream, Nanos, Nanos)| reached.0 > packet.0 * TIMES;
        let bursty: Vec<_> = audio.iter().filter(is_bursty).collect();
        if bursty.is_empty() {
            return Outcome::Quiet;
        }
        // Where nothing comes evenly, the capturing host may have stamped in batches.
        let even = audio
            .iter()
            .any(|one| !is_bursty(&one) && bursty.iter().all(|other| other.0.source() != one.0.source()));
        if !even {
            return Outcome::CannotTell(
                "audio comes in bursts, and the capturing host may have stamped it so: no other audio comes evenly".to_owned(),
            );
        }
        let found = bursty
            .into_iter()
            .map(|(stream, packet, reached)| self.finding(analysis, stream, *packet, *reached));
        Outcome::from_findings(found.collect())
    }
}

/// A stream's packet time, and the interval that 99 of 100 keep to.
fn spacing(stream: &Stream) -> Option<(&Stream, Nanos, Nanos)> {
    let rtp = stream.rtp.as_ref()?;
    let whole = rtp.lost.saturating_mul(1000) < rtp.expected;
    if stream.nature.kind != Kind::Audio || stream.rate.packets() < PACKETS || !whole {
        return None;
    }
    let step = stream.packets.step.filter(|step| *step > 0)?;
    let clock = stream.nature.clock_rate.map(i64::from).filter(|rate| *rate > 0)?;
    let packet = Nanos(i64::from(step).saturating_mul(NANOS_PER_SECOND).checked_div(clock)?);
    Some((stream, packet, stream.intervals.quantile(990)?))
}

impl PacketSpacingBursty {
    fn finding(&self, analysis: &Analysis, stream: &Stream, packet: Nanos, reached: Nanos) -> Finding {
        let title = format!(
            "{}: its packets come in bursts, up to {} apart at {} a packet",
            stream.key,
            duration(reached),
            duration(packet)
        );
        let text = format!(
            "99 % of the intervals are up to {}, the largest {}",
            duration(reached),
            duration(stream.intervals.largest())
        );
        let evidence = vec![Evidence::at(None, text)];
        let finding = Finding::of(self, (Severity::Minor, Strength::Inferred), title, evidence);
        finding.about_stream(analysis, stream)
    }
}
