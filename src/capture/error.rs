//! Why a file cannot be read at all. The caller adds the file's name.

use std::fmt;
use std::io;

use super::record::Compression;

/// What a source gives, within an [`io::Error`], where whoever reads wants no more of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stopped;

impl fmt::Display for Stopped {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("reading was stopped by hand")
    }
}

impl std::error::Error for Stopped {}

/// What ends the reading of a file. Everything less is [`Damage`](super::Damage).
#[derive(Debug)]
#[non_exhaustive]
pub enum Error {
    /// There is not one octet: often a capture that was never started, or a file not yet flushed.
    Empty,
    /// The first octets are of no capture format that is known here.
    NotACapture {
        /// What they look like, where that can be told.
        looks_like: Option<&'static str>,
        /// The first octets, at most 8.
        first: Vec<u8>,
    },
    /// A capture that ends inside its own header: often a copy that was broken off.
    CutHeader {
        /// Octets that are there.
        available: usize,
        /// Octets the header takes.
        needed: usize,
    },
    /// A packed file within a packed file.
    PackedTwice {
        /// The outer packing.
        outer: Compression,
        /// The inner packing.
        inner: Compression,
    },
    /// A packed file that breaks off, or is broken, before a first octet came out.
    Unpacking {
        /// How it is packed.
        compression: Compression,
        /// What the unpacker says.
        reason: String,
    },
    /// A version that is not read.
    Unsupported {
        /// Octets from the start of the (unpacked) capture.
        offset: u64,
        /// What stands there and what would be read.
        what: String,
    },
    /// The source could not be opened or read.
    Io {
        /// Octets of the (unpacked) capture that had been read.
        offset: u64,
        /// What the system says.
        source: io::Error,
    },
}

impl Error {
    /// Whether reading ended because that was asked for.
    #[must_use]
    pub fn is_stop(&self) -> bool {
        matches!(self, Self::Io { source, .. } if source.get_ref().is_some_and(|inner| inner.is::<Stopped>()))
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => {
                f.write_str("the file is empty; check that the capture was running when it was saved")
            }
            Self::NotACapture { looks_like, first } => {
                f.write_str("not a capture file: ")?;
                match looks_like {
                    Some(what) => write!(f, "it looks like {what}")?,
                    None => {
                        f.write_str("it begins with the octets")?;
                        for octet in first {
                            write!(f, " {octet:02x}")?;
                        }
                    }
                }
                f.write_str("; give a pcap or pcapng file, plain or packed with gzip or zstd")
            }
            Self::CutHeader { available, needed } => write!(
                f,
                "the capture ends at offset {available}, inside its own header of {needed} octets; copy it again, \
                 nothing can be read of it"
            ),
            Self::PackedTwice { outer, inner } => {
                write!(f, "packed twice ({inner} within {outer}); unpack the outer layer first")
            }
            Self::Unpacking { compression, reason } => write!(
                f,
                "{compression} data at offset 0 cannot be unpacked ({reason}); copy or pack it again"
            ),
            Self::Unsupported { offset, what } => {
                write!(f, "{what} (offset {offset}); write it again with a current capture program")
            }
            Self::Io { offset, source } if self.is_stop() => {
                write!(f, "{source} at offset {offset}; what comes behind is not in this report")
            }
            Self::Io { offset, source } => write!(f, "reading failed at offset {offset}: {source}"),
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io { source, .. } => Some(source),
            _ => None,
        }
    }
}

impl fmt::Display for Compression {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Gzip => "gzip",
            Self::Zstd => "zstd",
        })
    }
}
