//! Packed files, told by content: gzip of one or more members, zstd of one or more frames.

use std::io;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;

use flate2::bufread::MultiGzDecoder;

use super::order::position;
use super::record::Compression;

/// Octets that may come out for one that is packed. gzip gives 1032 at the most (zlib's technical notes, from memory), zstd
/// any number; frames of 9000 octets that differ in stamps and numbers only give some 1500 (measured), so that ten thousand
/// (chosen) is no capture's.
const MOST_FOR_ONE: u64 = 10_000;
/// Octets that are unpacked at once: what came of those before a fault in them is lost with it (chosen).
const AT_ONCE: usize = 512;
/// Octets that may come out whatever was packed (chosen).
const ALWAYS: u64 = 64 << 20;

/// Tells a packed file by its first octets.
pub(super) fn recognise(first: &[u8]) -> Option<Compression> {
    match first {
        // RFC 1952 section 2.3.1: identification, then the only method there is.
        [0x1F, 0x8B, 8, ..] => Some(Compression::Gzip),
        // RFC 8878 sections 3.1.1 and 3.1.2: a frame, or a skippable one before it.
        [0x28, 0xB5, 0x2F, 0xFD, ..] | [0x50..=0x5F, 0x2A, 0x4D, 0x18, ..] => Some(Compression::Zstd),
        _ => None,
    }
}

/// A capture's octets, unpacked where need be.
pub(super) struct Source<R: Read> {
    kind: Kind<R>,
    broken: Option<String>,
    /// Octets that came out.
    unpacked: u64,
}

enum Kind<R: Read> {
    Plain(R),
    Gzip(Box<MultiGzDecoder<Packed<R>>>),
    Zstd(Box<zstd::stream::read::Decoder<'static, Packed<R>>>),
}

/// The packed octets: first those that were read to tell the format, then the rest.
struct Packed<R: Read> {
    inner: BufReader<io::Chain<io::Cursor<Vec<u8>>, R>>,
    /// Whether an error came from the source and not from the unpacking.
    failed: bool,
    /// Octets that were taken.
    taken: u64,
}

impl<R: Read> Source<R> {
    pub(super) fn plain(source: R) -> Self {
        Self { kind: Kind::Plain(source), broken: None, unpacked: 0 }
    }

    /// The same source unpacked; `first` was read from it already.
    pub(super) fn unpack(self, compression: Compression, first: Vec<u8>) -> io::Result<Self> {
        let Kind::Plain(source) = self.kind else { return Ok(self) };
        let packed = Packed {
            inner: BufReader::with_capacity(128 << 10, io::Cursor::new(first).chain(source)),
            failed: false,
            taken: 0,
        };
        let kind = match compression {
            Compression::Gzip => Kind::Gzip(Box::new(MultiGzDecoder::new(packed))),
            Compression::Zstd => Kind::Zstd(Box::new(zstd::stream::read::Decoder::with_buffer(packed)?)),
        };
        Ok(Self { kind, broken: None, unpacked: 0 })
    }

    /// Goes to a place of a plain source; a packed one has none.
    pub(super) fn seek_to(&mut self, offset: u64) -> io::Result<()>
    where
        R: Seek,
    {
        match &mut self.kind {
            Kind::Plain(source) => source.seek(SeekFrom::Start(offset)).map(|_| ()),
            Kind::Gzip(_) | Kind::Zstd(_) => Err(io::ErrorKind::NotSeekable.into()),
        }
    }

    /// Why the unpacking ended early, if it did.
    pub(super) fn broken(&self) -> Option<&str> {
        self.broken.as_deref()
    }

    /// Whether more comes out than of any capture.
    fn swells(&self) -> bool {
        let taken = match &self.kind {
            Kind::Plain(_) => return false,
            Kind::Gzip(decoder) => decoder.get_ref().taken,
            Kind::Zstd(decoder) => decoder.get_ref().taken,
        };
        self.unpacked > ALWAYS && self.unpacked > taken.saturating_mul(MOST_FOR_ONE)
    }

    fn source_failed(&self) -> bool {
        match &self.kind {
            Kind::Plain(_) => true,
            Kind::Gzip(decoder) => decoder.get_ref().failed,
            Kind::Zstd(decoder) => decoder.get_ref().failed,
        }
    }
}

impl<R: Read> Read for Source<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.broken.is_some() {
            return Ok(0);
        }
        let result = match &mut self.kind {
            Kind::Plain(source) => source.read(into),
            Kind::Gzip(decoder) => decoder.read(into),
            Kind::Zstd(decoder) => decoder.read(into),
        };
        match result {
            Err(error) if error.kind() != io::ErrorKind::Interrupted && !self.source_failed() => {
                self.broken = Some(if error.kind() == io::ErrorKind::UnexpectedEof {
                    "it breaks off".to_owned()
                } else {
                    error.to_string()
                });
                Ok(0)
            }
            Ok(count) => {
                self.unpacked = self.unpacked.saturating_add(position(count));
                if self.swells() {
                    self.broken = Some(format!("it swells to more than {MOST_FOR_ONE} times its size"));
                }
                Ok(count)
            }
            other => other,
        }
    }
}

impl<R: Read> Packed<R> {
    fn note<T>(failed: &mut bool, result: io::Result<T>) -> io::Result<T> {
        *failed |= result.as_ref().is_err_and(|error| error.kind() != io::ErrorKind::Interrupted);
        result
    }
}

impl<R: Read> Read for Packed<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = Self::note(&mut self.failed, self.inner.read(into))?;
        self.taken = self.taken.saturating_add(position(count));
        Ok(count)
    }
}

impl<R: Read> BufRead for Packed<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        let octets = Self::note(&mut self.failed, self.inner.fill_buf())?;
        Ok(octets.get(..AT_ONCE).unwrap_or(octets))
    }

    fn consume(&mut self, amount: usize) {
        self.taken = self.taken.saturating_add(position(amount));
        self.inner.consume(amount);
    }
}
