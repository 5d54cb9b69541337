//! Capture file writers: pcapng (draft-ietf-opsawg-pcapng) and pcap (draft-ietf-opsawg-pcap), little-endian,
//! nanosecond stamps. Layouts from memory of the drafts.

/// One captured frame: whole on the wire, cut to the interface's snap length when written.
#[derive(Clone, Debug)]
pub(crate) struct CapturedFrame {
    /// Nanoseconds since 1970-01-01 UTC by the capture's clock.
    pub(crate) stamp_ns: i64,
    /// Index into the interfaces.
    pub(crate) interface: u32,
    pub(crate) octets: Vec<u8>,
}

/// A capture tap: several may sit on one port with different filters and snap lengths.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Interface {
    pub(crate) name: &'static str,
    pub(crate) filter: &'static str,
    pub(crate) snap_octets: u32,
}

/// Ethernet, in both formats (LINKTYPE_ETHERNET).
const ETHERNET: u32 = 1;

/// A pcapng file: section header, interfaces, enhanced packets, statistics that report no drops.
pub(crate) fn pcapng(comment: &str, interfaces: &[Interface], frames: &[CapturedFrame]) -> Vec<u8> {
    let mut file = Vec::new();
    let mut section = Vec::new();
    section.extend(0x1A2B_3C4D_u32.to_le_bytes());
    section.extend(1_u16.to_le_bytes());
    section.extend(0_u16.to_le_bytes());
    section.extend((-1_i64).to_le_bytes());
    option(&mut section, 1, comment.as_bytes());
    end_of_options(&mut section);
    block(&mut file, 0x0A0D_0D0A, &section);
    for interface in interfaces {
        let mut body = Vec::new();
        body.extend(u16::try_from(ETHERNET).expect("a small link type").to_le_bytes());
        body.extend(0_u16.to_le_bytes());
        body.extend(interface.snap_octets.to_le_bytes());
        option(&mut body, 2, interface.name.as_bytes());
        // if_tsresol 9: stamps count nanoseconds.
        option(&mut body, 9, &[9]);
        // if_filter opens with 0: the text is a filter expression.
        option(&mut body, 11, &[&[0], interface.filter.as_bytes()].concat());
        end_of_options(&mut body);
        block(&mut file, 1, &body);
    }
    for frame in frames {
        let interface = &interfaces[usize::try_from(frame.interface).expect("a small index")];
        let mut body = Vec::new();
        body.extend(frame.interface.to_le_bytes());
        stamp(&mut body, frame.stamp_ns);
        packet(&mut body, frame, interface.snap_octets);
        pad(&mut body);
        block(&mut file, 6, &body);
    }
    for (index, _) in (0_u32..).zip(interfaces) {
        let of_this = frames.iter().filter(|frame| frame.interface == index);
        let mut body = Vec::new();
        body.extend(index.to_le_bytes());
        stamp(&mut body, frames.last().map_or(0, |frame| frame.stamp_ns));
        // isb_ifrecv and isb_ifdrop.
        option(&mut body, 4, &u64::try_from(of_this.count()).expect("a count").to_le_bytes());
        option(&mut body, 5, &0_u64.to_le_bytes());
        end_of_options(&mut body);
        block(&mut file, 5, &body);
    }
    file
}

/// A pcap file with the nanosecond magic number.
pub(crate) fn pcap(snap_octets: u32, frames: &[CapturedFrame]) -> Vec<u8> {
    let mut file = Vec::new();
    file.extend(0xA1B2_3C4D_u32.to_le_bytes());
    file.extend(2_u16.to_le_bytes());
    file.extend(4_u16.to_le_bytes());
    file.extend([0; 8]);
    file.extend(snap_octets.to_le_bytes());
    file.extend(ETHERNET.to_le_bytes());
    for frame in frames {
        let second = u32::try_from(frame.stamp_ns.div_euclid(1_000_000_000)).expect("before 2106");
        let nanosecond = u32::try_from(frame.stamp_ns.rem_euclid(1_000_000_000)).expect("below a second");
        file.extend(second.to_le_bytes());
        file.extend(nanosecond.to_le_bytes());
        packet(&mut file, frame, snap_octets);
    }
    file
}

/// Captured length, original length, octets: the same in both formats.
fn packet(into: &mut Vec<u8>, frame: &CapturedFrame, snap_octets: u32) {
    let original = u32::try_from(frame.octets.len()).expect("a frame is short");
    let kept = original.min(snap_octets);
    into.extend(kept.to_le_bytes());
    into.extend(original.to_le_bytes());
    into.extend(&frame.octets[..usize::try_from(kept).expect("a frame is short")]);
}

/// The 64-bit stamp, high half first.
fn stamp(into: &mut Vec<u8>, stamp_ns: i64) {
    let [a, b, c, d, e, f, g, h] = stamp_ns.to_be_bytes();
    into.extend([d, c, b, a, h, g, f, e]);
}

fn option(into: &mut Vec<u8>, code: u16, value: &[u8]) {
    into.extend(code.to_le_bytes());
    into.extend(u16::try_from(value.len()).expect("a short option").to_le_bytes());
    into.extend(value);
    pad(into);
}

fn end_of_options(into: &mut Vec<u8>) {
    into.extend([0; 4]);
}

fn pad(into: &mut Vec<u8>) {
    into.resize(into.len().next_multiple_of(4), 0);
}

fn block(file: &mut Vec<u8>, kind: u32, body: &[u8]) {
    let length = u32::try_from(body.len() + 12).expect("a short block").to_le_bytes();
    file.extend(kind.to_le_bytes());
    file.extend(length);
    file.extend(body);
    file.extend(length);
}
