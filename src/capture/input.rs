//! What is to be read: a name to call it by, and how to get at its octets.

use std::io;
use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;
use std::sync::Arc;

use super::chunks::Open;
use super::chunks::Seekable;
use super::error::Error;
use super::reader::Reader;

/// A capture to be joined: a name to call it by, and how to get at its octets.
pub struct Input {
    pub(super) name: String,
    opener: Opener,
}

enum Opener {
    Reopening(Box<dyn FnMut() -> io::Result<Box<dyn Read + Send>> + Send>),
    Once(Option<Box<dyn Read + Send>>),
    Anywhere(Open),
}

/// An input that is open.
pub(super) enum Tap {
    /// Read from its start to its end.
    Stream(Box<dyn Read + Send>),
    /// Read from anywhere.
    File(Box<dyn Seekable>),
}

impl Read for Tap {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Stream(source) => source.read(into),
            Self::File(source) => source.read(into),
        }
    }
}

impl Seek for Tap {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match self {
            Self::Stream(_) => Err(io::ErrorKind::NotSeekable.into()),
            Self::File(source) => source.seek(to),
        }
    }
}

/// An input at its first record.
#[derive(Debug)]
pub(super) struct Opened {
    pub(super) reader: Reader<Tap>,
    /// Octets of a file that can be read from anywhere.
    pub(super) length: Option<u64>,
}

impl Input {
    /// Something that can be opened again from its start, as a file can; `open` is called up to twice.
    pub fn reopening(
        name: impl Into<String>,
        open: impl FnMut() -> io::Result<Box<dyn Read + Send>> + Send + 'static,
    ) -> Self {
        Self { name: name.into(), opener: Opener::Reopening(Box::new(open)) }
    }

    /// Something that can be read once, as standard input can; it stays open from the start.
    pub fn once(name: impl Into<String>, source: impl Read + Send + 'static) -> Self {
        Self { name: name.into(), opener: Opener::Once(Some(Box::new(source))) }
    }

    /// A file that can be read from anywhere, also by several threads at once; `open` is called up to twice and once for
    /// each thread.
    pub fn seekable(
        name: impl Into<String>,
        open: impl Fn() -> io::Result<Box<dyn Seekable>> + Send + Sync + 'static,
    ) -> Self {
        Self { name: name.into(), opener: Opener::Anywhere(Arc::new(open)) }
    }

    /// How to get at it once more, where it can be read from anywhere.
    pub(super) fn open_again(&self) -> Option<Open> {
        match &self.opener {
            Opener::Anywhere(open) => Some(Arc::clone(open)),
            Opener::Reopening(_) | Opener::Once(_) => None,
        }
    }

    /// Whether it can be opened once only.
    pub(super) const fn is_once(&self) -> bool {
        matches!(self.opener, Opener::Once(_))
    }

    /// Opens it and goes to its first record.
    pub(super) fn open(&mut self) -> Result<Opened, Error> {
        let (source, length) = self.tap().map_err(|source| Error::Io { offset: 0, source })?;
        let mut reader = Reader::new(source)?;
        reader.advance()?;
        Ok(Opened { reader, length })
    }

    fn tap(&mut self) -> io::Result<(Tap, Option<u64>)> {
        match &mut self.opener {
            Opener::Reopening(open) => Ok((Tap::Stream(open()?), None)),
            Opener::Once(source) => {
                let source = source.take().ok_or_else(|| io::Error::other("it was read already"))?;
                Ok((Tap::Stream(source), None))
            }
            Opener::Anywhere(open) => {
                let mut source = open()?;
                // What does not tell its length is read from its start to its end.
                let length = source.seek(SeekFrom::End(0)).ok();
                source.seek(SeekFrom::Start(0))?;
                Ok((Tap::File(source), length))
            }
        }
    }
}

impl std::fmt::Debug for Input {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Input").field("name", &self.name).finish_non_exhaustive()
    }
}
