//! `streams`, `sources` and `link` of the report. Bit rates are those of the wire: original length, check sequence,
//! preamble and gap.

use schemars::JsonSchema;
use serde::Serialize;

/// A stream.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct StreamDocument {
    /// Names it in the report.
    pub key: String,
    /// Who sends it; `null` for AVTP.
    pub source_ip: Option<String>,
    /// The first source MAC address.
    pub source_mac: Option<String>,
    /// Every source MAC address, in order of appearance; eight at the most.
    pub source_macs: Vec<String>,
    /// Key of the device that sends it.
    pub device: Option<String>,
    /// The group, or the receiver of unicast; `null` for AVTP.
    pub group: Option<String>,
    /// Destination port.
    pub port: Option<u16>,
    /// Innermost VLAN.
    pub vlan: Option<u16>,
    /// RTP synchronization source.
    pub ssrc: Option<u32>,
    /// RTP payload type; `null` where there are several.
    pub payload_type: Option<u8>,
    /// `audio`, `video`, `ancillary`, `other` (no media) or `unknown`.
    pub kind: &'static str,
    /// Encoding name with channels; several with `or` where the packets fit several.
    pub codec: Option<String>,
    /// How kind, codec and clock rate are known: `sdp`, `payload-type`, `payload-header`,
    /// `inferred`, `unknown`.
    pub known_by: &'static str,
    /// Pictures a second, by the marker bits.
    pub frames_per_s: Option<f64>,
    /// Packets.
    pub packets: u64,
    /// Octets on the wire.
    pub octets: u64,
    /// First packet, RFC 3339.
    pub first: Option<String>,
    /// Last packet.
    pub last: Option<String>,
    /// From the first packet to the last; `null` where no time passed.
    pub mean_bps: Option<u64>,
    /// The fullest second; this and the like `null` where less time passed from the first packet to the last.
    pub peak_1s_bps: Option<u64>,
    /// The fullest tenth of a second.
    pub peak_100ms_bps: Option<u64>,
    /// The fullest hundredth.
    pub peak_10ms_bps: Option<u64>,
    /// The fullest millisecond.
    pub peak_1ms_bps: Option<u64>,
    /// UDP payload only.
    pub payload_mean_bps: Option<u64>,
    /// Time from packet to packet; `null` for one packet.
    pub interval_ns: Option<IntervalDocument>,
    /// What its sequence numbers say; `null` where it is no RTP.
    pub rtp: Option<RtpDocument>,
    /// What the numbers of AVTP say; `null` where it is none, or its packets have no number.
    pub avtp: Option<AvtpDocument>,
    /// Hz of the RTP timestamp.
    pub clock_rate_hz: Option<u32>,
    /// How much faster its media clock runs.
    pub media_rate_ppm: Option<f64>,
    /// Standard error of that.
    pub media_rate_sigma_ppm: Option<f64>,
    /// What that was held against: `leader`, or `capture-clock` where no leader's time was in view.
    pub media_rate_against: Option<&'static str>,
    /// How long after its timestamp's instant a packet passes here; with `mediaclk:direct` and a leader only.
    pub media_offset_ns: Option<i64>,
    /// Differentiated services code points that occur.
    pub dscp: Vec<u8>,
    /// Priorities of its tagged frames that occur.
    pub pcp: Vec<u8>,
    /// TTLs or hop limits that occur.
    pub ttl: Vec<u8>,
    /// Its description, where one was seen.
    pub session: Option<SessionDocument>,
    /// Members of its group while it ran, by their reports; MAC addresses of those that report without an IP address; of
    /// unicast the receiver. `null` where the capture cannot tell.
    pub receivers: Option<Vec<String>>,
    /// Those of `receivers` that were members at some time only: by its end they had left, were not renewed, or asked for
    /// other sources.
    pub receivers_gone: Vec<String>,
    /// Whether its media clock runs at the leader's rate; `null` where that cannot be told.
    pub clocked: Option<bool>,
    /// The same stream on other paths.
    pub twins: Vec<TwinDocument>,
}

/// What AVTP's numbers of eight bits say (IEEE 1722-2016 clause 4.4.4, from memory).
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct AvtpDocument {
    /// The subtype's name, else its number: `AAF`, `CVF`, `CRF` (a clock reference) …
    pub subtype: String,
    /// Numbers that never came, at the least: of an outage of more than 256 packets only the rest is counted.
    pub lost: u64,
    /// Packets with the number of the one before.
    pub duplicated: u64,
}

/// Time from packet to packet; percentiles are exact where intervals are alike, else off by an eighth at the most.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct IntervalDocument {
    /// The mean from packet to packet as they were sent, lost ones included, where that agrees with the median; else the
    /// median.
    pub every: i64,
    /// 50th percentile.
    pub median: i64,
    /// 5th percentile.
    pub p5: i64,
    /// 95th percentile.
    pub p95: i64,
    /// The largest, exact.
    pub max: i64,
    /// Intervals.
    pub count: u64,
}

/// What RTP's sequence numbers and timestamps say (RFC 3550 appendix A).
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct RtpDocument {
    /// Numbers that never came.
    pub lost: u64,
    /// Packets whose number had been there.
    pub duplicated: u64,
    /// Packets that came after a higher number.
    pub reordered: u64,
    /// Numbers missing across times in which nothing at all was captured: nobody can say whether they were lost.
    pub not_captured: u64,
    /// Restarts of the sequence.
    pub restarts: u64,
    /// Jumps of the sequence of which it cannot be told whether packets were lost or the source began anew.
    pub unclear_jumps: u64,
    /// Times that three or more packets in a row were missing.
    pub loss_bursts: u64,
    /// Interarrival jitter after the last packet; `null` where the clock rate is not known.
    pub jitter_ns: Option<i64>,
}

/// A stream's description.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct SessionDocument {
    /// The session's name.
    pub name: String,
    /// The grandmaster it names.
    pub reference_clock: Option<String>,
    /// That clock's domain.
    pub reference_domain: Option<u8>,
    /// Whether that is a leader of this capture, in that domain.
    pub agrees: Option<bool>,
    /// What it says of payload type, clock rate, octets or time of a packet that the packets speak against; kind, codec and
    /// clock rate of the stream are then those of the packets, unless the time of a packet is all.
    pub contradictions: Vec<String>,
}

/// The other leg of a stream that comes on two paths.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct TwinDocument {
    /// Its key.
    pub key: String,
    /// How much later its packets come, at the median.
    pub delay_ns: i64,
}

/// What one source sends.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct LoadDocument {
    /// Key of the device.
    pub device: Option<String>,
    /// Its address.
    pub source_ip: String,
    /// Streams, media or not.
    pub streams: u64,
    /// From its first packet to its last.
    pub mean_bps: u64,
    /// The fullest second; this and the like `null` where less time passed from the first packet to the last.
    pub peak_1s_bps: Option<u64>,
    /// The mean as a fraction of the link's speed.
    pub share_of_link: f64,
}

/// The link.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct LinkDocument {
    /// Its speed.
    pub speed_bps: u64,
    /// How that is known: `settings`, `capture-file` or `assumed`.
    pub speed_known_by: &'static str,
    /// From the first frame to the last without `holes`, all directions together.
    pub mean_bps: Option<u64>,
    /// The fullest second; this and the like `null` where less time passed from the first packet to the last.
    pub peak_1s_bps: Option<u64>,
    /// The fullest tenth of a second.
    pub peak_100ms_bps: Option<u64>,
    /// The fullest hundredth.
    pub peak_10ms_bps: Option<u64>,
    /// The fullest millisecond.
    pub peak_1ms_bps: Option<u64>,
    /// The mean as a fraction of the speed.
    pub load_mean: Option<f64>,
    /// The fullest second as a fraction of the speed.
    pub load_peak_1s: Option<f64>,
    /// Flows that found no room in the table and are in no stream.
    pub flows_left_out: u64,
    /// Later fragments of datagrams to groups whose first fragment was not seen: they are in no stream.
    pub fragments_left_out: u64,
    /// Times in which nothing at all was captured though others would have come: the capture missed them, or its clock was
    /// set ahead. They count for no mean, the streams' and the sources' among them.
    pub holes: Vec<HoleDocument>,
}

/// A time in which nothing was captured.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct HoleDocument {
    /// When it begins, in seconds from the first frame of the capture.
    pub at_s: f64,
    /// How long it is.
    pub length_s: f64,
}
