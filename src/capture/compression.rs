//! Packed files, told by content: gzip of one or more members, zstd of one or more frames.

use std::io;
use std::io::BufRead;
use std::io::BufReader;
use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;

use flate2::bufread::MultiGzDecoder;

use super::record::Compression;

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
}

impl<R: Read> Source<R> {
    pub(super) fn plain(source: R) -> Self {
        Self { kind: Kind::Plain(source), broken: None }
    }

    /// The same source unpacked; `first` was read from it already.
    pub(super) fn unpack(self, compression: Compression, first: Vec<u8>) -> io::Result<Self> {
        let Kind::Plain(source) = self.kind else { return Ok(self) };
        let packed = Packed {
            inner: BufReader::with_capacity(128 << 10, io::Cursor::new(first).chain(source)),
            failed: false,
        };
        let kind = match compression {
            Compression::Gzip => Kind::Gzip(Box::new(MultiGzDecoder::new(packed))),
            Compression::Zstd => Kind::Zstd(Box::new(zstd::stream::read::Decoder::with_buffer(packed)?)),
        };
        Ok(Self { kind, broken: None })
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
        Self::note(&mut self.failed, self.inner.read(into))
    }
}

impl<R: Read> BufRead for Packed<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        Self::note(&mut self.failed, self.inner.fill_buf())
    }

    fn consume(&mut self, amount: usize) {
        self.inner.consume(amount);
    }
}
