//! A growing row of octets, written big-endian.

/// Octets in the making; every method appends and hands the row on.
#[derive(Clone, Debug, Default)]
pub(crate) struct Octets(pub(crate) Vec<u8>);

impl Octets {
    pub(crate) fn new() -> Self {
        Octets::default()
    }

    pub(crate) fn u8(mut self, value: u8) -> Self {
        self.0.push(value);
        self
    }

    pub(crate) fn i8(self, value: i8) -> Self {
        self.u8(value.to_be_bytes()[0])
    }

    pub(crate) fn u16(self, value: u16) -> Self {
        self.bytes(&value.to_be_bytes())
    }

    pub(crate) fn i16(self, value: i16) -> Self {
        self.bytes(&value.to_be_bytes())
    }

    pub(crate) fn u32(self, value: u32) -> Self {
        self.bytes(&value.to_be_bytes())
    }

    pub(crate) fn i32(self, value: i32) -> Self {
        self.bytes(&value.to_be_bytes())
    }

    /// The low 48 bits of `value`.
    pub(crate) fn u48(self, value: u64) -> Self {
        self.bytes(&value.to_be_bytes()[2..])
    }

    pub(crate) fn i64(self, value: i64) -> Self {
        self.bytes(&value.to_be_bytes())
    }

    pub(crate) fn bytes(mut self, value: &[u8]) -> Self {
        self.0.extend_from_slice(value);
        self
    }

    pub(crate) fn zeros(mut self, count: usize) -> Self {
        self.0.resize(self.0.len() + count, 0);
        self
    }
}

/// A length as the 16-bit field that carries it.
pub(crate) fn length_u16(length: usize) -> u16 {
    u16::try_from(length).expect("a crafted length fits in 16 bits")
}
