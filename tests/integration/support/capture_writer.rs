//! Writes capture files octet by octet, from draft-ietf-opsawg-pcap and draft-ietf-opsawg-pcapng (from memory);
//! the modified pcap variant from libpcap's `sf-pcap.c` (from memory). Files of each pcap magic and order, and
//! pcapng files with each resolution, offset, Packet Block, Simple Packet Block and statistics, were printed
//! with tcpdump 4.99.3 (libpcap 1.10.3) once: it reads them and shows the stamps that the tests expect.

/// Byte order of a file or section.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Order {
    Big,
    Little,
}

impl Order {
    pub(crate) fn u16(self, value: u16) -> [u8; 2] {
        if self == Self::Big { value.to_be_bytes() } else { value.to_le_bytes() }
    }

    pub(crate) fn u32(self, value: u32) -> [u8; 4] {
        if self == Self::Big { value.to_be_bytes() } else { value.to_le_bytes() }
    }

    pub(crate) fn u64(self, value: u64) -> [u8; 8] {
        if self == Self::Big { value.to_be_bytes() } else { value.to_le_bytes() }
    }
}

/// What a pcap file's magic number says of its records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PcapKind {
    Microseconds,
    Nanoseconds,
    /// Microseconds, and 8 more octets in each record header.
    Modified,
}

/// A pcap file in the making.
pub(crate) struct PcapFile {
    order: Order,
    kind: PcapKind,
    pub(crate) octets: Vec<u8>,
}

impl PcapFile {
    pub(crate) fn new(order: Order, kind: PcapKind) -> Self {
        Self::with_link_field(order, kind, 1)
    }

    /// `link` is the whole last header field, FCS bits included.
    pub(crate) fn with_link_field(order: Order, kind: PcapKind, link: u32) -> Self {
        let magic = match kind {
            PcapKind::Microseconds => 0xA1B2_C3D4,
            PcapKind::Nanoseconds => 0xA1B2_3C4D,
            PcapKind::Modified => 0xA1B2_CD34,
        };
        let mut octets = order.u32(magic).to_vec();
        octets.extend(order.u16(2));
        octets.extend(order.u16(4));
        octets.extend(order.u32(0));
        octets.extend(order.u32(0));
        octets.extend(order.u32(65_535));
        octets.extend(order.u32(link));
        Self { order, kind, octets }
    }

    /// A record of a whole frame.
    pub(crate) fn record(&mut self, seconds: u32, fraction: u32, data: &[u8]) -> &mut Self {
        self.raw_record(seconds, fraction, data.len() as u32, data.len() as u32, data)
    }

    /// A record whose lengths may lie.
    pub(crate) fn raw_record(
        &mut self,
        seconds: u32,
        fraction: u32,
        captured: u32,
        original: u32,
        data: &[u8],
    ) -> &mut Self {
        for field in [seconds, fraction, captured, original] {
            self.octets.extend(self.order.u32(field));
        }
        if self.kind == PcapKind::Modified {
            self.octets.extend(self.order.u32(3));
            self.octets.extend(self.order.u16(0x88F7));
            self.octets.extend([4, 0]);
        }
        self.octets.extend(data);
        self
    }

    pub(crate) fn raw(&mut self, octets: &[u8]) -> &mut Self {
        self.octets.extend(octets);
        self
    }
}

/// A pcapng option: code and value.
pub(crate) struct Opt(pub(crate) u16, pub(crate) Vec<u8>);

/// A pcapng file in the making; blocks are written in the order of the latest section.
pub(crate) struct PcapngFile {
    pub(crate) order: Order,
    pub(crate) octets: Vec<u8>,
}

impl PcapngFile {
    /// A file with its first section header.
    pub(crate) fn new(order: Order) -> Self {
        let mut file = Self { order, octets: Vec::new() };
        file.section(order);
        file
    }

    /// Section Header Block of unknown section length.
    pub(crate) fn section(&mut self, order: Order) -> &mut Self {
        self.order = order;
        let mut body = order.u32(0x1A2B_3C4D).to_vec();
        body.extend(order.u16(1));
        body.extend(order.u16(0));
        body.extend(order.u64(u64::MAX));
        self.block(0x0A0D_0D0A, &body)
    }

    /// Interface Description Block.
    pub(crate) fn interface(&mut self, link: u16, snaplen: u32, options: &[Opt]) -> &mut Self {
        let mut body = self.order.u16(link).to_vec();
        body.extend([0, 0]);
        body.extend(self.order.u32(snaplen));
        body.extend(self.options(options));
        self.block(1, &body)
    }

    /// Enhanced Packet Block of a whole frame.
    pub(crate) fn packet(&mut self, interface: u32, ticks: u64, data: &[u8]) -> &mut Self {
        self.packet_with(interface, ticks, data.len() as u32, data, &[])
    }

    pub(crate) fn packet_with(
        &mut self,
        interface: u32,
        ticks: u64,
        original: u32,
        data: &[u8],
        options: &[Opt],
    ) -> &mut Self {
        let mut body = self.order.u32(interface).to_vec();
        body.extend(self.order.u32((ticks >> 32) as u32));
        body.extend(self.order.u32(ticks as u32));
        body.extend(self.order.u32(data.len() as u32));
        body.extend(self.order.u32(original));
        body.extend(padded(data));
        body.extend(self.options(options));
        self.block(6, &body)
    }

    /// The obsolete Packet Block.
    pub(crate) fn old_packet(&mut self, interface: u16, drops: u16, ticks: u64, data: &[u8]) -> &mut Self {
        let mut body = self.order.u16(interface).to_vec();
        body.extend(self.order.u16(drops));
        body.extend(self.order.u32((ticks >> 32) as u32));
        body.extend(self.order.u32(ticks as u32));
        body.extend(self.order.u32(data.len() as u32));
        body.extend(self.order.u32(data.len() as u32));
        body.extend(padded(data));
        self.block(2, &body)
    }

    /// Simple Packet Block; `data` is what was kept.
    pub(crate) fn simple_packet(&mut self, original: u32, data: &[u8]) -> &mut Self {
        let mut body = self.order.u32(original).to_vec();
        body.extend(padded(data));
        self.block(3, &body)
    }

    /// Interface Statistics Block.
    pub(crate) fn statistics(&mut self, interface: u32, ticks: u64, options: &[Opt]) -> &mut Self {
        let mut body = self.order.u32(interface).to_vec();
        body.extend(self.order.u32((ticks >> 32) as u32));
        body.extend(self.order.u32(ticks as u32));
        body.extend(self.options(options));
        self.block(5, &body)
    }

    /// Any block; `body` must be whole words.
    pub(crate) fn block(&mut self, kind: u32, body: &[u8]) -> &mut Self {
        assert_eq!(body.len() % 4, 0, "a block's body is whole words");
        let length = self.order.u32(body.len() as u32 + 12);
        self.octets.extend(self.order.u32(kind));
        self.octets.extend(length);
        self.octets.extend(body);
        self.octets.extend(length);
        self
    }

    pub(crate) fn raw(&mut self, octets: &[u8]) -> &mut Self {
        self.octets.extend(octets);
        self
    }

    /// A 64-bit option value in the section's order.
    pub(crate) fn u64_option(&self, code: u16, value: u64) -> Opt {
        Opt(code, self.order.u64(value).to_vec())
    }

    fn options(&self, options: &[Opt]) -> Vec<u8> {
        let mut octets = Vec::new();
        for Opt(code, value) in options {
            octets.extend(self.order.u16(*code));
            octets.extend(self.order.u16(value.len() as u16));
            octets.extend(padded(value));
        }
        if !options.is_empty() {
            octets.extend([0; 4]);
        }
        octets
    }
}

fn padded(data: &[u8]) -> Vec<u8> {
    let mut octets = data.to_vec();
    octets.resize(data.len().next_multiple_of(4), 0);
    octets
}

/// `octets` as one gzip member.
pub(crate) fn gzip(octets: &[u8]) -> Vec<u8> {
    use std::io::Write;
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(octets).unwrap();
    encoder.finish().unwrap()
}

/// `octets` as one zstd frame.
pub(crate) fn zstd_frame(octets: &[u8]) -> Vec<u8> {
    zstd::stream::encode_all(octets, 3).unwrap()
}
