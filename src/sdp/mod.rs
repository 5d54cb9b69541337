//! SDP: what a stream is, in its sender's words (RFC 8866; RFC 7273, RFC 4570 and RFC 7104 for the attributes of
//! clocks, sources and pairs; all from memory). The grammar of lines is the crate sdp-types's, the attributes
//! are read here.

mod attribute;
mod clock;
mod session;

pub use attribute::{DuplicationGroup, FilterMode, FormatParameters, RtpMap, SourceFilter};
pub use clock::{MediaClock, PtpDomain, PtpSource, ReferenceClock};
pub use session::{Connection, Error, Media, Origin, Problem, Session, parse};
