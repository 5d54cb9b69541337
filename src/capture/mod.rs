//! Capture files to records. A record is octets with a time; nothing here looks inside a frame,
//! but for whether its last four octets are its check sequence.
//!
//! [`Reader`] walks one capture from any `impl Read`, [`Joined`] several in time order. Formats are told by
//! content: pcap (draft-ietf-opsawg-pcap) and pcapng (draft-ietf-opsawg-pcapng), plain or packed with gzip
//! or zstd. What is broken becomes [`Damage`]; only what cannot be read at all is an [`Error`].
//!
//! Layers, each unaware of the next: `buffer` and `compression` give octets, `pcap` and `pcapng` walk a
//! window of octets (any slice will do), `tally` counts, `reader` ties them together.

mod block;
mod buffer;
mod chunks;
mod compression;
mod damage;
mod error;
mod frame_check;
mod input;
mod interface;
mod joined;
mod order;
mod pcap;
mod pcapng;
mod reader;
mod record;
mod sniff;
mod tally;
mod ticks;
mod walk;

pub use chunks::{ChunkWalker, Chunks, Layout, Octets, Open, Seekable, Taker, Told, Walked};
pub use error::{Error, Stopped};
pub use input::Input;
pub use joined::{GAP_THRESHOLD, Gap, Joined, JoinedSummary, Lent};
pub use reader::Reader;
pub use record::{CaptureSummary, Compression, Damage, FileFormat, LinkType, Record};
