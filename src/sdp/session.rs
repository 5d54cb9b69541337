//! A session description: its lines, and the attributes of the session and of each medium.

use std::fmt;
use std::net::IpAddr;

use sdp_types::ParserError;

use super::attribute;
use super::attribute::DuplicationGroup;
use super::attribute::FormatParameters;
use super::attribute::RtpMap;
use super::attribute::SourceFilter;
use super::clock;
use super::clock::MediaClock;
use super::clock::ReferenceClock;
use crate::units::Nanos;

/// Octets of a description that are read (chosen: the most that UDP carries).
const MOST_OCTETS: usize = 65_535;

/// A session description.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Session {
    /// `o=`; `None` where the line is missing.
    pub origin: Option<Origin>,
    /// `s=`, the session's name; empty where the line is missing.
    pub name: String,
    /// `c=` of the session, for media that have none.
    pub connection: Option<Connection>,
    /// `t=`: start and stop, s since 1900; 0 0 = always.
    pub times: Vec<(u64, u64)>,
    /// `a=group:DUP`.
    pub duplication_groups: Vec<DuplicationGroup>,
    /// `a=ts-refclk` of the session, for media that have none.
    pub reference_clocks: Vec<ReferenceClock>,
    /// `a=mediaclk` of the session, for media that have none.
    pub media_clock: Option<MediaClock>,
    /// `a=source-filter` of the session, for media that have none.
    pub source_filters: Vec<SourceFilter>,
    /// `m=` sections.
    pub media: Vec<Media>,
    /// Values that could not be read; they are left out.
    pub problems: Vec<Problem>,
}

/// `o=` (RFC 8866 section 5.2).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Origin {
    /// `username`; `None` for `-`.
    pub username: Option<String>,
    /// `sess-id`: with username and address, what names the session.
    pub session_id: String,
    /// `sess-version`: grows with each change.
    pub session_version: u64,
    /// `unicast-address`, an address or a host name.
    pub address: String,
}

/// `c=` (RFC 8866 section 5.7).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Connection {
    /// The address, multicast or the receiver's.
    pub address: IpAddr,
    /// TTL, IPv4 multicast only.
    pub ttl: Option<u8>,
    /// How many addresses follow one another from the first on.
    pub count: Option<u8>,
}

/// An `m=` section.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Media {
    /// `media`: `audio`, `video`, `application` …
    pub kind: String,
    /// `port`.
    pub port: u16,
    /// How many ports.
    pub port_count: Option<u16>,
    /// `proto`, such as `RTP/AVP`.
    pub protocol: String,
    /// `fmt`: for RTP the payload types.
    pub formats: Vec<String>,
    /// `c=` of the section.
    pub connections: Vec<Connection>,
    /// `a=rtpmap`.
    pub rtp_maps: Vec<RtpMap>,
    /// `a=fmtp`.
    pub format_parameters: Vec<FormatParameters>,
    /// `a=ptime`.
    pub packet_time: Option<Nanos>,
    /// `a=maxptime`.
    pub max_packet_time: Option<Nanos>,
    /// `a=framecount`: samples of each channel in a packet (common practice, no source).
    pub frame_count: Option<u32>,
    /// `a=ts-refclk`.
    pub reference_clocks: Vec<ReferenceClock>,
    /// `a=mediaclk`.
    pub media_clock: Option<MediaClock>,
    /// `a=source-filter`.
    pub source_filters: Vec<SourceFilter>,
    /// `a=mid`, which groups refer to.
    pub mid: Option<String>,
}

impl Session {
    /// Where a medium is sent to: its own `c=` or the session's.
    #[must_use]
    pub fn connections_of<'a>(&'a self, media: &'a Media) -> &'a [Connection] {
        if media.connections.is_empty() { self.connection.as_slice() } else { &media.connections }
    }

    /// The reference clocks of a medium: its own or the session's.
    #[must_use]
    pub fn reference_clocks_of<'a>(&'a self, media: &'a Media) -> &'a [ReferenceClock] {
        if media.reference_clocks.is_empty() { &self.reference_clocks } else { &media.reference_clocks }
    }

    /// The media clock of a medium: its own or the session's.
    #[must_use]
    pub fn media_clock_of<'a>(&'a self, media: &'a Media) -> Option<&'a MediaClock> {
        media.media_clock.as_ref().or(self.media_clock.as_ref())
    }

    /// The source filters of a medium: its own or the session's.
    #[must_use]
    pub fn source_filters_of<'a>(&'a self, media: &'a Media) -> &'a [SourceFilter] {
        if media.source_filters.is_empty() { &self.source_filters } else { &media.source_filters }
    }
}

/// A value that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// The line, from 1.
    pub line: usize,
    /// What is wrong.
    pub reason: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.reason)
    }
}

/// Why a description could not be read at all.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    /// The line, from 1, where one is to blame.
    pub line: Option<usize>,
    /// What is wrong.
    pub reason: String,
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "session description, line {line}: {}", self.reason),
            None => write!(f, "session description: {}", self.reason),
        }
    }
}

impl std::error::Error for Error {}

/// Reads a session description. Unknown lines and attributes are passed over; NULs and blanks at the end, which
/// some senders add, too. Octets that are not UTF-8 are replaced.
///
/// # Errors
/// Where a line is not `key=value`, a line that may come once comes again, or a value of the lines other than
/// attributes is broken.
pub fn parse(octets: &[u8]) -> Result<Session, Error> {
    let octets = octets.get(..MOST_OCTETS).unwrap_or(octets);
    let text = String::from_utf8_lossy(octets);
    let text = text.trim_end_matches(|character: char| character == '\0' || character.is_whitespace());
    let parsed = sdp_types::Session::parse(text.as_bytes()).map_err(error)?;
    let mut lines = Lines::new(text);
    let origin = Origin {
        username: parsed.origin.username,
        session_id: parsed.origin.sess_id,
        session_version: parsed.origin.sess_version,
        address: parsed.origin.unicast_address,
    };
    let mut session = Session {
        // The crate fills in one of its own where the line is missing.
        origin: lines.has_origin.then_some(origin),
        name: parsed.session_name,
        times: parsed.times.iter().map(|time| (time.start_time, time.stop_time)).collect(),
        ..Session::default()
    };
    let problems = &mut session.problems;
    if let Some(each) = &parsed.connection {
        let line = lines.next_connection();
        session.connection = keep(connection(each), line, problems);
    }
    for each in &parsed.attributes {
        let (line, value) = (lines.next_attribute(), each.value.as_deref().unwrap_or_default());
        match each.attribute.as_str() {
            "group" => session.duplication_groups.extend(attribute::duplication_group(value)),
            "ts-refclk" => session.reference_clocks.extend(keep(clock::reference(value), line, problems)),
            "mediaclk" => session.media_clock = keep(clock::media(value), line, problems),
            "source-filter" => {
                session.source_filters.extend(keep(attribute::source_filter(value), line, problems));
            }
            _ => {}
        }
    }
    for each in &parsed.medias {
        session.media.push(media(each, &mut lines, problems));
    }
    Ok(session)
}

fn media(parsed: &sdp_types::Media, lines: &mut Lines, problems: &mut Vec<Problem>) -> Media {
    let mut media = Media {
        kind: parsed.media.clone(),
        port: parsed.port,
        port_count: parsed.num_ports,
        protocol: parsed.proto.clone(),
        formats: parsed.fmt.split_whitespace().map(str::to_owned).collect(),
        ..Media::default()
    };
    for each in &parsed.connections {
        let line = lines.next_connection();
        media.connections.extend(keep(connection(each), line, problems));
    }
    for each in &parsed.attributes {
        let (line, value) = (lines.next_attribute(), each.value.as_deref().unwrap_or_default());
        match each.attribute.as_str() {
            "rtpmap" => media.rtp_maps.extend(keep(attribute::rtp_map(value), line, problems)),
            "fmtp" => {
                media.format_parameters.extend(keep(attribute::format_parameters(value), line, problems));
            }
            "ptime" => media.packet_time = keep(attribute::milliseconds(value), line, problems),
            "maxptime" => media.max_packet_time = keep(attribute::milliseconds(value), line, problems),
            "framecount" => media.frame_count = keep(attribute::frame_count(value), line, problems),
            "ts-refclk" => media.reference_clocks.extend(keep(clock::reference(value), line, problems)),
            "mediaclk" => media.media_clock = keep(clock::media(value), line, problems),
            "source-filter" => {
                media.source_filters.extend(keep(attribute::source_filter(value), line, problems));
            }
            "mid" => media.mid = Some(value.trim().to_owned()),
            _ => {}
        }
    }
    media
}

fn connection(parsed: &sdp_types::Connection) -> Result<Connection, String> {
    match parsed.try_address() {
        Ok(address) => Ok(Connection { address: address.ip, ttl: address.ttl, count: address.count }),
        Err(_) => Err(format!("`{}` is no address with a TTL", parsed.connection_address)),
    }
}

fn keep<T>(read: Result<T, String>, line: usize, problems: &mut Vec<Problem>) -> Option<T> {
    read.map_err(|reason| problems.push(Problem { line, reason })).ok()
}

/// The numbers of the lines whose values are read here: attributes and connections come in the order of their lines.
struct Lines {
    attributes: std::vec::IntoIter<usize>,
    connections: std::vec::IntoIter<usize>,
    has_origin: bool,
}

impl Lines {
    fn new(text: &str) -> Self {
        let numbers = |key: &str| {
            let lines = text.lines().zip(1_usize..).filter(|(line, _)| line.starts_with(key));
            lines.map(|(_, number)| number).collect::<Vec<usize>>().into_iter()
        };
        Self { attributes: numbers("a="), connections: numbers("c="), has_origin: numbers("o=").len() > 0 }
    }

    fn next_attribute(&mut self) -> usize {
        self.attributes.next().unwrap_or_default()
    }

    fn next_connection(&mut self) -> usize {
        self.connections.next().unwrap_or_default()
    }
}

fn error(error: ParserError) -> Error {
    let (line, reason) = match error {
        ParserError::InvalidLineFormat(line, what) => (line, what.to_owned()),
        ParserError::InvalidFieldEncoding(line, what) => (line, format!("{what} is not UTF-8")),
        ParserError::InvalidFieldFormat(line, what) => (line, format!("{what} is malformed")),
        ParserError::MissingField(line, what) => (line, format!("{what} is missing")),
        ParserError::FieldTrailingData(line, what) => (line, format!("{what} is followed by more")),
        ParserError::InvalidVersion(line, _) => (line, "the version is not 0".to_owned()),
        ParserError::MultipleVersions(line)
        | ParserError::MultipleOrigins(line)
        | ParserError::MultipleSessionNames(line)
        | ParserError::MultipleSessionDescription(line)
        | ParserError::MultipleUris(line)
        | ParserError::MultipleConnections(line)
        | ParserError::MultipleTimeZones(line)
        | ParserError::MultipleMediaTitles(line)
        | ParserError::MultipleKeys(line) => (line, "a line that may come once comes again".to_owned()),
        ParserError::RepeatWithoutTime(line) => (line, "a repeat line without a time line".to_owned()),
        ParserError::NoVersion => return Error { line: None, reason: "there is no version line".to_owned() },
        other => return Error { line: None, reason: other.to_string() },
    };
    Error { line: Some(line), reason }
}
