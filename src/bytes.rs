//! Reading octets: a cursor whose every read names its field, and the error that says what is missing.

use std::fmt;

/// Why octets could not be decoded. Offsets count from the first octet handed to the decoder.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum DecodeError {
    /// The octets end inside a field.
    Short {
        /// The field, in the standard's spelling.
        field: &'static str,
        /// Where the field begins.
        offset: usize,
        /// Octets the field takes.
        needed: usize,
        /// Octets that are there.
        available: usize,
    },
    /// A field holds a value that the rest cannot be read with.
    Value {
        /// The field, in the standard's spelling.
        field: &'static str,
        /// Where the field begins.
        offset: usize,
        /// What it holds.
        value: u64,
        /// The rule it breaks.
        rule: &'static str,
    },
}

impl fmt::Display for DecodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Short { field, offset, needed, available } => write!(
                f,
                "message ends inside {field}: {needed} octets wanted at offset {offset}, {available} left"
            ),
            Self::Value { field, offset, value, rule } => {
                write!(f, "{field} at offset {offset} is {value}: {rule}")
            }
        }
    }
}

impl std::error::Error for DecodeError {}

/// A reader over octets that never indexes and never runs over.
#[derive(Debug, Clone)]
pub struct Cursor<'a> {
    rest: &'a [u8],
    offset: usize,
}

impl<'a> Cursor<'a> {
    /// A cursor at the first of `octets`.
    #[must_use]
    pub const fn new(octets: &'a [u8]) -> Self {
        Self { rest: octets, offset: 0 }
    }

    /// Octets from the start to here.
    #[must_use]
    pub const fn offset(&self) -> usize {
        self.offset
    }

    /// The octets not yet read.
    #[must_use]
    pub const fn rest(&self) -> &'a [u8] {
        self.rest
    }

    /// The next `N` octets.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer are left.
    pub fn take<const N: usize>(&mut self, field: &'static str) -> Result<[u8; N], DecodeError> {
        let Some((head, tail)) = self.rest.split_first_chunk::<N>() else {
            return Err(self.short(field, N));
        };
        self.rest = tail;
        self.offset += N;
        Ok(*head)
    }

    /// The next `count` octets, borrowed.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer are left.
    pub fn slice(&mut self, field: &'static str, count: usize) -> Result<&'a [u8], DecodeError> {
        let Some((head, tail)) = self.rest.split_at_checked(count) else {
            return Err(self.short(field, count));
        };
        self.rest = tail;
        self.offset += count;
        Ok(head)
    }

    /// A cursor over the next `count` octets that keeps counting offsets from the same start.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer are left.
    pub fn sub(&mut self, field: &'static str, count: usize) -> Result<Self, DecodeError> {
        let offset = self.offset;
        Ok(Self { rest: self.slice(field, count)?, offset })
    }

    /// Passes over `count` octets.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer are left.
    pub fn skip(&mut self, field: &'static str, count: usize) -> Result<(), DecodeError> {
        self.slice(field, count).map(|_| ())
    }

    /// One octet.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where none is left.
    pub fn u8(&mut self, field: &'static str) -> Result<u8, DecodeError> {
        self.take::<1>(field).map(|[octet]| octet)
    }

    /// One signed octet.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where none is left.
    pub fn i8(&mut self, field: &'static str) -> Result<i8, DecodeError> {
        self.take::<1>(field).map(i8::from_be_bytes)
    }

    /// A big-endian `u16`.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer than 2 octets are left.
    pub fn u16(&mut self, field: &'static str) -> Result<u16, DecodeError> {
        self.take(field).map(u16::from_be_bytes)
    }

    /// A big-endian `i16`.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer than 2 octets are left.
    pub fn i16(&mut self, field: &'static str) -> Result<i16, DecodeError> {
        self.take(field).map(i16::from_be_bytes)
    }

    /// A big-endian `u32`.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer than 4 octets are left.
    pub fn u32(&mut self, field: &'static str) -> Result<u32, DecodeError> {
        self.take(field).map(u32::from_be_bytes)
    }

    /// A big-endian `i32`.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer than 4 octets are left.
    pub fn i32(&mut self, field: &'static str) -> Result<i32, DecodeError> {
        self.take(field).map(i32::from_be_bytes)
    }

    /// A big-endian unsigned integer of 48 bits.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer than 6 octets are left.
    pub fn u48(&mut self, field: &'static str) -> Result<u64, DecodeError> {
        let [a, b, c, d, e, f] = self.take::<6>(field)?;
        Ok(u64::from_be_bytes([0, 0, a, b, c, d, e, f]))
    }

    /// A big-endian `u64`.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer than 8 octets are left.
    pub fn u64(&mut self, field: &'static str) -> Result<u64, DecodeError> {
        self.take(field).map(u64::from_be_bytes)
    }

    /// A big-endian `i64`.
    ///
    /// # Errors
    /// [`DecodeError::Short`] where fewer than 8 octets are left.
    pub fn i64(&mut self, field: &'static str) -> Result<i64, DecodeError> {
        self.take(field).map(i64::from_be_bytes)
    }

    fn short(&self, field: &'static str, needed: usize) -> DecodeError {
        DecodeError::Short { field, offset: self.offset, needed, available: self.rest.len() }
    }
}

/// The one's complement sum of 16-bit words over `parts` laid end to end, of which all but the last are of even
/// length (RFC 1071 section 1). 0xFFFF where a checksum among them is right.
#[must_use]
pub fn ones_complement_sum(parts: &[&[u8]]) -> u16 {
    let mut sum = 0_u64;
    for part in parts {
        let (words, odd) = part.as_chunks::<2>();
        for word in words {
            sum += u64::from(u16::from_be_bytes(*word));
        }
        if let [last] = odd {
            sum += u64::from(*last) << 8;
        }
    }
    while sum > 0xFFFF {
        sum = (sum & 0xFFFF) + (sum >> 16);
    }
    u16::try_from(sum).unwrap_or(u16::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_read_says_what_is_missing_and_takes_nothing() {
        let mut cursor = Cursor::new(&[1, 2, 3]);
        assert_eq!(cursor.u16("sequenceId"), Ok(0x0102));
        let error = cursor.u16("sequenceId").unwrap_err();
        assert_eq!(error.to_string(), "message ends inside sequenceId: 2 octets wanted at offset 2, 1 left");
        assert_eq!(cursor.u8("controlField"), Ok(3));
    }

    #[test]
    fn a_sub_cursor_keeps_the_offset_and_cannot_read_its_neighbour() {
        let mut cursor = Cursor::new(&[0, 1, 2, 3, 4]);
        cursor.skip("head", 1).unwrap();
        let mut inner = cursor.sub("value", 2).unwrap();
        assert_eq!(inner.u16("field"), Ok(0x0102));
        assert!(matches!(inner.u8("next"), Err(DecodeError::Short { offset: 3, .. })));
        assert_eq!(cursor.u8("after"), Ok(3));
    }

    /// RFC 1071 section 3: the sum of 00 01 f2 03 f4 f5 f6 f7 is ddf2.
    #[test]
    fn the_sum_is_the_one_of_the_rfcs_example() {
        assert_eq!(ones_complement_sum(&[&[0x00, 0x01, 0xf2, 0x03, 0xf4, 0xf5, 0xf6, 0xf7]]), 0xddf2);
        assert_eq!(
            ones_complement_sum(&[&[0x00, 0x01, 0xf2, 0x03], &[0xf4, 0xf5, 0xf6, 0xf7, 0x01]]),
            0xdef2
        );
        assert_eq!(ones_complement_sum(&[]), 0);
    }
}
