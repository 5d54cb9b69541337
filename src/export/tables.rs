//! Every table of an export.

use super::table::Column;
use super::table::Table;
use super::table::integer;
use super::table::number;
use super::table::text;

/// Where a time comes from.
const CAPTURE_CLOCK: &str = "time stamp of the frame in the capture file";
/// Where a duration from the first frame comes from.
const FROM_FIRST: &str = "time stamp less that of the capture's first frame";
/// What the second half of an exact value is.
const FRACTION: &str =
    "65536ths of a nanosecond to be added to the column before it, 0 to 65535; empty with it";
/// Where stamps are laid down.
const V2: &str = "IEEE 1588-2008 clause 13, v1: IEEE 1588-2002 clause 8 (from memory)";

const FILE: Column =
    integer("file", "-", "number of the capture file, see captures", "order of the files in time");
const FRAME: Column =
    integer("frame", "-", "number of the frame within its file, from 1", "order of the frames");
const TIME: Column = integer(
    "time_ns",
    "ns",
    "since 1970-01-01 UTC by the capture's clock; empty where the file gives no time",
    CAPTURE_CLOCK,
);
const AT: Column = integer("at_ns", "ns", "since the capture's first frame", FROM_FIRST);
const DOMAIN: Column =
    text("domain", "key of the PTP domain", "versionPTP, sdoId, domainNumber or subdomain, and VLAN");

/// The files that were read.
pub(super) const CAPTURES: Table = Table {
    name: "captures",
    about: "a capture file that was read",
    caution: "Names are as they were typed, or found in a folder.",
    columns: &[
        FILE,
        text("name", "the file", "command line"),
        text("format", "pcap or pcapng", "first octets of the file"),
        integer("packets", "-", "frames in it", "counted"),
        integer("octets", "octets", "original lengths of its frames", "counted"),
        integer("first_ns", "ns", "first frame, since 1970-01-01 UTC; empty without frames", CAPTURE_CLOCK),
        integer("last_ns", "ns", "latest frame, since 1970-01-01 UTC; empty without frames", CAPTURE_CLOCK),
        integer(
            "drops_reported",
            "-",
            "frames the file says were lost; empty where it says nothing",
            "pcapng isb_ifdrop",
        ),
    ],
};

/// PTP messages and the time between them.
pub(super) const MESSAGES: Table = Table {
    name: "messages",
    about: "a PTP message, with the time since the one before it in its series: same port, kind and addressee",
    caution: "A mirror's copies are left out. A long interval may be a loss at the capture point.",
    columns: &[
        DOMAIN,
        text(
            "port",
            "who sent it: clock identity and port number",
            "sourcePortIdentity; v1 sourceUuid and sourcePortId",
        ),
        text("message", "its kind", "messageType; v1 control"),
        text(
            "addressee",
            "group, an IP address, or the port that asked",
            "IP destination, requestingPortIdentity",
        ),
        integer("sequence_id", "-", "its number; of a v1 Delay_Resp that of the request", "sequenceId"),
        integer(
            "log_interval",
            "log2 s",
            "declared interval; empty where not given (0x7F)",
            "logMessageInterval; v1 syncInterval",
        ),
        integer(
            "interval_ns",
            "ns",
            "since the message before it; empty for the first of a series and for one out of turn",
            "worked out",
        ),
        FILE,
        FRAME,
        TIME,
        AT,
    ],
};

/// One way.
pub(super) const SYNC_SAMPLES: Table = Table {
    name: "sync-samples",
    about: "a Sync whose time of sending is known, of any port: one step, or two with its Follow_Up",
    caution: "The way from the port to the capture point is in capture_less_port. One way cannot tell it from an offset; \
        its change over time is the rate of the one clock against the other, and which of the two drifts cannot be told.",
    columns: &[
        DOMAIN,
        text("port", "who sent it", "sourcePortIdentity"),
        integer(
            "origin_s",
            "s",
            "when it says that it was sent, whole seconds of its own timescale",
            "originTimestamp or preciseOriginTimestamp",
        ),
        integer("origin_nanoseconds", "ns", "nanoseconds to be added to origin_s", "the same"),
        integer(
            "correction_ns",
            "ns",
            "corrections of Sync and Follow_Up; empty where one says too big to represent",
            "correctionField",
        ),
        integer("correction_65536ths", "2^-16 ns", FRACTION, "correctionField"),
        integer(
            "capture_less_port_ns",
            "ns",
            "capture's clock less the port's, with the way between them; empty beyond 292 years or without correction",
            "time - origin - correction, IEEE 1588-2008 11.3 (from memory)",
        ),
        integer("capture_less_port_65536ths", "2^-16 ns", FRACTION, "the same"),
        FILE,
        FRAME,
        TIME,
        AT,
    ],
};

/// Both ways.
pub(super) const OFFSET_SAMPLES: Table = Table {
    name: "offset-samples",
    about: "an answered Delay_Req related to the Syncs around it: both ways between a port and the capture point",
    caution: "Off by half the difference of the two ways: one capture point cannot tell an offset from an uneven path. \
        Frame and time are those of the request; its exchange is in delay-exchanges.",
    columns: &[
        DOMAIN,
        text("port", "whose time it is told against: who answered", "sourcePortIdentity of the Delay_Resp"),
        integer(
            "capture_less_port_ns",
            "ns",
            "capture's clock less the port's; empty beyond 292 years",
            "half the difference of both ways, IEEE 1588-2008 11.3 (from memory)",
        ),
        integer("capture_less_port_65536ths", "2^-16 ns", FRACTION, "the same"),
        integer(
            "mean_path_delay_ns",
            "ns",
            "delay between port and capture point; empty beyond 292 years",
            "half the sum of both ways, IEEE 1588-2008 11.3 (from memory)",
        ),
        integer("mean_path_delay_65536ths", "2^-16 ns", FRACTION, "the same"),
        FILE,
        FRAME,
        TIME,
        AT,
    ],
};

/// Requests with answers.
pub(super) const DELAY_EXCHANGES: Table = Table {
    name: "delay-exchanges",
    about: "a request for delay with its answer: Delay_Req with Delay_Resp, Pdelay_Req with Pdelay_Resp",
    caution: "Requests without an answer are in messages only; an answer may have passed elsewhere. \
        requester_less_responder has the way between the two and the latency of the requester's stamp in it, both to the \
        negative side, and most devices leave that stamp 0.",
    columns: &[
        DOMAIN,
        text("mechanism", "delay_req (to the leader) or pdelay_req (to the neighbour)", "messageType"),
        text("requester", "who asked", "sourcePortIdentity of the request"),
        text("responder", "who answered", "sourcePortIdentity of the answer"),
        integer("sequence_id", "-", "number of both", "sequenceId"),
        integer("answered_ns", "ns", "when the answer was captured, since 1970-01-01 UTC", CAPTURE_CLOCK),
        integer(
            "response_time_ns",
            "ns",
            "from request to answer; below 0 where a mirror re-ordered them",
            "worked out",
        ),
        integer(
            "request_origin_s",
            "s",
            "requester's own time, whole seconds; empty where it left it 0",
            "originTimestamp of the request",
        ),
        integer("request_origin_nanoseconds", "ns", "to be added to it", "the same"),
        integer(
            "received_s",
            "s",
            "when the responder received it, whole seconds; empty where it left it 0",
            "receiveTimestamp or requestReceiptTimestamp",
        ),
        integer("received_nanoseconds", "ns", "to be added to it", "the same"),
        integer(
            "request_correction_ns",
            "ns",
            "correction of the request as captured; empty where too big to represent",
            "correctionField",
        ),
        integer("request_correction_65536ths", "2^-16 ns", FRACTION, "correctionField"),
        integer(
            "response_correction_ns",
            "ns",
            "correction of the answer; empty where too big to represent",
            "correctionField",
        ),
        integer("response_correction_65536ths", "2^-16 ns", FRACTION, "correctionField"),
        integer(
            "requester_less_responder_ns",
            "ns",
            "requester's clock less the responder's, by their own stamps; delay_req only; empty where one is missing",
            "origin - received + answer's correction",
        ),
        integer("requester_less_responder_65536ths", "2^-16 ns", FRACTION, "the same"),
        FILE,
        FRAME,
        TIME,
        AT,
    ],
};

/// Peers.
pub(super) const PEER_DELAYS: Table = Table {
    name: "peer-delays",
    about: "a peer-delay exchange whose responder told how long it held it",
    caution: "link_delay is between capture point and responder, not between the two peers, and takes the responder's \
        clock to run at the capture's rate. Frame and time are those of the request.",
    columns: &[
        DOMAIN,
        text("responder", "who answered", "sourcePortIdentity of the Pdelay_Resp"),
        integer(
            "turnaround_ns",
            "ns",
            "how long it held the exchange, by its own clock",
            "stamps and corrections of the answer, IEEE 1588-2008 11.4 (from memory)",
        ),
        integer("turnaround_65536ths", "2^-16 ns", FRACTION, "the same"),
        integer(
            "link_delay_ns",
            "ns",
            "half of what the capture saw it take, less the turnaround",
            "IEEE 1588-2008 11.4 (from memory)",
        ),
        integer("link_delay_65536ths", "2^-16 ns", FRACTION, "the same"),
        FILE,
        FRAME,
        TIME,
        AT,
    ],
};

const START: Column = integer(
    "start_ns",
    "ns",
    "where the window begins, since 1970-01-01 UTC by the capture's clock",
    "multiple of width_ns",
);
const START_AT: Column = integer(
    "start_at_ns",
    "ns",
    "where it begins, since the first frame; below 0 for the first window",
    "worked out",
);
const WIDTH: Column = integer("width_ns", "ns", "how long the window is", "--window");
const BPS: Column =
    integer("wire_bps", "b/s", "octets in bits a second, as if the window were full", "octets * 8 / width");
const WIRE_OCTETS: Column = integer(
    "wire_octets",
    "octets",
    "on the wire: check sequence 4, preamble and start 8, gap 12 counted",
    "original length + 24, IEEE 802.3 clauses 3 and 4 (from memory)",
);

/// What the link carries.
pub(super) const LINK_RATES: Table = Table {
    name: "link-rates",
    about: "a window of the link: all captured frames, both directions",
    caution: "First and last window are cut by the capture's ends. Windows without a frame have no row.",
    columns: &[START, START_AT, WIDTH, integer("packets", "-", "frames", "counted"), WIRE_OCTETS, BPS],
};

/// What streams carry.
pub(super) const STREAM_RATES: Table = Table {
    name: "stream-rates",
    about: "a window of a stream in which it sent",
    caution: "Windows without a packet have no row: they count as 0. First and last window are cut. A fragmented datagram \
        counts with its first fragment only. Streams beyond the first 12000 of a window are together in (others).",
    columns: &[
        text("stream", "key of the stream, or (others)", "addresses, port, VLAN and SSRC"),
        START,
        START_AT,
        WIDTH,
        integer("packets", "-", "packets", "counted"),
        WIRE_OCTETS,
        BPS,
        integer("payload_octets", "octets", "UDP payload", "length in the UDP header less 8 (RFC 768)"),
    ],
};

/// What streams are.
pub(super) const STREAMS: Table = Table {
    name: "streams",
    about: "a stream of the whole capture; the JSON report says more",
    caution: "kind and codec are inferred where known_by says so.",
    columns: &[
        text("stream", "its key", "addresses, port, VLAN and SSRC"),
        text("device", "key of the device that sends it; empty where none is known", "addresses"),
        text("source_ip", "who sends it; empty for AVTP", "IP header"),
        text("group", "group or receiver; empty for AVTP", "IP header"),
        integer("port", "-", "destination port; empty for AVTP", "UDP header"),
        integer("vlan", "-", "innermost VLAN; empty without one", "IEEE 802.1Q tag"),
        integer("ssrc", "-", "synchronization source; empty where it is no RTP", "RFC 3550 section 5.1"),
        text("kind", "audio, video, ancillary, other or unknown", "see known_by"),
        text("codec", "encoding; empty where not known", "see known_by"),
        text("known_by", "sdp, payload-type, payload-header, inferred or unknown", "docs/json.md"),
        integer("packets", "-", "packets", "counted"),
        integer("wire_octets", "octets", "on the wire", "original length + 24"),
        integer("mean_bps", "b/s", "first packet to last; empty where no time passed", "worked out"),
        integer("lost", "-", "numbers that never came; empty where it is no RTP", "RFC 3550 appendix A.3"),
        integer(
            "jitter_ns",
            "ns",
            "interarrival jitter after the last packet; empty where the clock rate is not known",
            "RFC 3550 section 6.4.1",
        ),
        number(
            "media_rate_ppm",
            "10^-6",
            "how much faster its media clock runs; empty where that cannot be told",
            "RTP timestamps against the leader or the capture's clock",
        ),
    ],
};

/// Devices.
pub(super) const DEVICES: Table = Table {
    name: "devices",
    about: "a device, judged over the whole capture",
    caution: "A state rests on this capture point. Names are what devices call themselves, or the site file's.",
    columns: &[
        text("device", "its key", "addresses"),
        text("name", "what it is called; empty where nothing says", "see named_by"),
        text("named_by", "how that is known", "docs/json.md"),
        text(
            "state",
            "leading, relaying, following, standing-by, rival, unanswered, astray, adrift, unclocked or unproven",
            "README of downbeat",
        ),
        text("strength", "shown, inferred or cannot-tell", "README of downbeat"),
        text("leader", "clock it follows; empty where not known", "answers to its requests"),
        text("reasons", "why, with semicolons between", "docs/json.md"),
        text("macs", "its MAC addresses, with blanks between", "frames, neighbour protocols"),
        text("ips", "its IP addresses, with blanks between", "frames, neighbour protocols"),
        text("clocks", "its clocks, with blanks between", "PTP messages"),
        integer(
            "offset_median_ns",
            "ns",
            "its clock less the leader's; empty where it does not tell",
            "see offset_basis",
        ),
        integer("offset_uncertainty_ns", "ns", "how far that may be off", "docs/json.md"),
        text("offset_basis", "management, request-origin, peer-delay or media-clock", "docs/json.md"),
    ],
};

/// States with a beginning and an end.
pub(super) const DEVICE_STATES: Table = Table {
    name: "device-states",
    about: "a span in which a device was in a state whose beginning and end the capture shows: leading, rival, unanswered",
    caution: "Other states are said of the whole capture only, in devices. A span that begins with the capture may have begun \
        before it.",
    columns: &[
        text("device", "key of the device; empty where none has the clock", "addresses"),
        DOMAIN,
        text("clock", "the clock, or for unanswered the port that asks", "PTP messages"),
        text(
            "state",
            "leading, rival or unanswered",
            "elections, Announces beside a better clock, requests in a row without answer",
        ),
        integer("from_ns", "ns", "its beginning, since 1970-01-01 UTC", CAPTURE_CLOCK),
        integer("from_at_ns", "ns", "its beginning, since the first frame", FROM_FIRST),
        integer(
            "until_ns",
            "ns",
            "its end, since 1970-01-01 UTC; empty where it lasts to the capture's end",
            CAPTURE_CLOCK,
        ),
        integer(
            "until_at_ns",
            "ns",
            "its end, since the first frame; empty where it lasts to the capture's end",
            FROM_FIRST,
        ),
        text("ended_by", "what ended it; empty for unanswered", "docs/json.md"),
    ],
};

/// What happened.
pub(super) const EVENTS: Table = Table {
    name: "events",
    about: "something that happened, in time order",
    caution: "The timeline (downbeat timeline) says what belongs together.",
    columns: &[
        integer("time_ns", "ns", "when, since 1970-01-01 UTC", CAPTURE_CLOCK),
        integer("at_ns", "ns", "when, since the first frame", FROM_FIRST),
        text("kind", "its kind", "docs/json.md"),
        text("domain", "key of its domain; empty where it is of none", "docs/json.md"),
        text("device", "key of its device; empty where it is of none", "docs/json.md"),
        text("text", "what happened", "docs/json.md"),
        text("frames", "frames that show it, as file:frame with blanks between", "order of the frames"),
    ],
};

/// What is wrong.
pub(super) const FINDINGS: Table = Table {
    name: "findings",
    about: "a finding, the gravest first",
    caution: "Advice for people who know the site; downbeat explain says what a finding cannot know.",
    columns: &[
        integer("finding", "-", "its number from 1, for evidence", "order"),
        text("id", "its rule", "downbeat explain"),
        text("severity", "critical, major, minor or info", "downbeat explain"),
        text("strength", "shown or inferred", "downbeat explain"),
        text("domain", "key of its domain; empty where it is of none", "docs/json.md"),
        text("device", "key of its device; empty where it is of none", "docs/json.md"),
        text("stream", "key of its stream; empty where it is of none", "docs/json.md"),
        text("title", "who, what, how much", "downbeat explain"),
        text("next", "what to do, with semicolons between", "downbeat explain"),
        text("sources", "where rule and limits come from, with semicolons between", "downbeat explain"),
    ],
};

/// What shows it.
pub(super) const EVIDENCE: Table = Table {
    name: "evidence",
    about: "something that shows a finding",
    caution: "Frame and time are empty where it is not one frame that shows it.",
    columns: &[
        integer("finding", "-", "number of the finding", "findings"),
        text("file", "name of the capture file; empty where it is not one frame", "captures"),
        integer("frame", "-", "number of the frame within its file, from 1", "order of the frames"),
        integer("time_ns", "ns", "since 1970-01-01 UTC", CAPTURE_CLOCK),
        text("text", "what it shows", "downbeat explain"),
    ],
};

/// Every table, in the order of the README.
pub const TABLES: [&Table; 14] = [
    &CAPTURES,
    &SYNC_SAMPLES,
    &OFFSET_SAMPLES,
    &DELAY_EXCHANGES,
    &PEER_DELAYS,
    &MESSAGES,
    &LINK_RATES,
    &STREAM_RATES,
    &STREAMS,
    &DEVICES,
    &DEVICE_STATES,
    &EVENTS,
    &FINDINGS,
    &EVIDENCE,
];

/// What the README says of stamps in messages.
pub(super) const STAMPS: &str = V2;
