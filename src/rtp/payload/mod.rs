//! What the first octets of a payload say where an RFC defines them. Which format a stream has must be known from
//! elsewhere: one packet's octets alone do not tell.

mod ancillary;
mod h26x;
mod jpeg_2000;
mod jpeg_xs;
mod linear_audio;
mod uncompressed;

pub use ancillary::{Ancillary, FieldMark, ancillary};
pub use h26x::{NalUnit, h264, h265};
pub use jpeg_2000::{Jpeg2000, jpeg_2000};
pub use jpeg_xs::{JpegXs, jpeg_xs};
pub use linear_audio::{LinearAudio, linear_audio_candidates, linear_audio_octets};
pub use uncompressed::{MOST_SEGMENTS, RowSegment, Uncompressed, uncompressed};
