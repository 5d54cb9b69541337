//! Every decoder of a single message, chosen by the first octet; and frames, by the fast way and the general one.

use std::net::Ipv6Addr;

use downbeat::arp;
use downbeat::avtp;
use downbeat::capture::LinkType;
use downbeat::capture::Record;
use downbeat::compare::Report;
use downbeat::dhcp;
use downbeat::dns;
use downbeat::frame;
use downbeat::frame::Frame;
use downbeat::frame::Tunnel;
use downbeat::igmp;
use downbeat::lldp;
use downbeat::mld;
use downbeat::observations;
use downbeat::ptp;
use downbeat::report;
use downbeat::rtp;
use downbeat::rtsp;
use downbeat::sap;
use downbeat::sdp;
use downbeat::site;
use downbeat::units::CaptureTime;

/// Link types that are read, and one that is not.
const LINKS: [u16; 9] = [0, 1, 12, 101, 108, 113, 228, 276, 9999];

/// What the first octet stands for, modulo their number. New ones go to the end, or the corpus changes its meaning.
const DECODERS: [fn(&[u8]); 14] = [
    frames,
    both_ways,
    ptp_message,
    rtp_packet,
    igmp_message,
    mld_message,
    dns_message,
    lldp_message,
    dhcp_message,
    neighbours,
    session,
    announcement,
    answer,
    site_file,
];

/// One message: the first octet says of what kind.
pub fn messages(data: &[u8]) {
    let Some((kind, octets)) = super::choice(data) else { return };
    let kind = usize::from(kind);
    match DECODERS.get(kind % (DECODERS.len() + 1)) {
        Some(decode) => decode(octets),
        None => saved_report(octets),
    }
}

fn record(link: u16, octets: &[u8], cut: u8) -> Record<'_> {
    Record {
        number: 1,
        time: Some(CaptureTime(1_700_000_000_000_000_000)),
        link: LinkType(link),
        interface: 0,
        original_len: octets.len() as u32 + u32::from(cut),
        fcs_octets: (cut & 0x80 != 0).then_some(4),
        octets,
    }
}

/// A whole frame to what is observed in it.
fn frames(octets: &[u8]) {
    let Some((choice, octets)) = super::choice(octets) else { return };
    let record =
        record(LINKS[usize::from(choice & 0x0F) % LINKS.len()], octets, choice & 0x80 | choice >> 4 & 3);
    let frame = frame::decode(&record);
    assert!(frame.payload.len() <= octets.len() && frame.fingerprint_octets.len() <= octets.len());
    assert!(frame.tunnels.iter().count() <= 4);
    let _ = observations::from_frame(0, &record, &frame);
}

/// An Ethernet frame as it is, where most take the fast way, and within GRE, where the general way is taken.
fn both_ways(octets: &[u8]) {
    const ROOM: usize = 65_535 - 24;
    let octets = octets.get(..octets.len().min(ROOM)).unwrap_or_default();
    let bare = record(1, octets, 0);
    let bare = frame::decode(&bare);
    if bare.tunnels.iter().next().is_some() {
        return;
    }
    let mut wrapped = vec![2, 0, 0, 0, 0, 1, 2, 0, 0, 0, 0, 2, 8, 0, 0x45, 0];
    wrapped.extend((octets.len() as u16 + 24).to_be_bytes());
    wrapped.extend([0, 0, 0, 0, 64, 47, 0, 0, 10, 0, 0, 1, 10, 0, 0, 2, 0, 0, 0x65, 0x58]);
    wrapped.extend(octets);
    let outer = record(1, &wrapped, 0);
    let inner = frame::decode(&outer);
    assert_eq!(inner.tunnels.iter().collect::<Vec<_>>(), [Tunnel::Gre]);
    assert_eq!(bare, Frame { tunnels: bare.tunnels, ..inner });
}

fn ptp_message(octets: &[u8]) {
    let strict = ptp::decode(octets);
    let lenient = ptp::decode_snapped(octets);
    if let Ok(message) = &strict {
        assert_eq!(Ok(message), lenient.as_ref());
        // What is not read of the message cannot change it, and a copy is equal to it.
        assert_eq!(ptp::decode(octets).as_ref(), Ok(message));
    }
    let shown = format!("{strict:?}{lenient:?}");
    assert!(shown.len() < 64 * octets.len() + 4096, "{} octets of text for {}", shown.len(), octets.len());
}

fn rtp_packet(octets: &[u8]) {
    for whole in [false, true] {
        if let Ok(header) = rtp::decode(octets, whole) {
            assert!(header.payload.len() <= octets.len());
            assert!(header.csrcs().count() <= 15);
        }
    }
    let _ = rtp::is_plausible(octets);
    let _ = rtp::payload::ancillary(octets);
    let _ = rtp::payload::h264(octets);
    let _ = rtp::payload::h265(octets);
    let _ = rtp::payload::jpeg_2000(octets);
    let _ = rtp::payload::jpeg_xs(octets);
    if let Ok(payload) = rtp::payload::uncompressed(octets) {
        assert!(payload.segments().len() <= octets.len());
    }
    let _ = avtp::decode(octets);
}

fn igmp_message(octets: &[u8]) {
    let _ = igmp::decode(octets, false);
    let _ = igmp::decode(octets, true);
}

fn mld_message(octets: &[u8]) {
    let envelope = mld::Envelope { source: Ipv6Addr::LOCALHOST, destination: Ipv6Addr::UNSPECIFIED };
    let _ = mld::decode(octets, None);
    let _ = mld::decode(octets, Some(envelope));
    let _ = arp::neighbour(octets);
}

fn dns_message(octets: &[u8]) {
    if let Ok(message) = dns::decode(octets) {
        assert!(message.records.len() <= dns::MOST_RECORDS);
    }
}

fn lldp_message(octets: &[u8]) {
    let shown = format!("{:?}", lldp::decode(octets));
    assert!(shown.len() < 64 * octets.len() + 4096);
}

fn dhcp_message(octets: &[u8]) {
    let _ = dhcp::decode(octets);
}

fn neighbours(octets: &[u8]) {
    let _ = arp::decode(octets);
    let _ = arp::neighbour(octets);
}

fn session(octets: &[u8]) {
    if let Ok(session) = sdp::parse(octets) {
        for media in &session.media {
            let _ = session.connections_of(media);
            let _ = session.reference_clocks_of(media);
            let _ = session.media_clock_of(media);
            let _ = session.source_filters_of(media);
        }
    }
}

fn announcement(octets: &[u8]) {
    if let Ok(message) = sap::decode(octets) {
        let _ = format!("{message:?}");
    }
}

fn answer(octets: &[u8]) {
    let _ = rtsp::is_answer(octets);
    if let Some(description) = rtsp::description(octets) {
        assert!(description.len() <= octets.len());
        session(description);
    }
}

/// Every wrong line is told in words that can be shown.
fn site_file(octets: &[u8]) {
    let text = String::from_utf8_lossy(octets);
    if let Err(problems) = site::parse(&text) {
        assert!(!problems.is_empty());
        for problem in problems {
            let shown = report::plain(&problem.to_string());
            assert!(!shown.chars().any(char::is_control), "{shown:?}");
        }
    }
}

/// A saved report, as `compare` reads it.
fn saved_report(octets: &[u8]) {
    let _ = Report::parse(&String::from_utf8_lossy(octets));
}
