//! TCP segment to the description in it.

/// Octets before the data offset (RFC 9293 section 3.1).
const DATA_OFFSET: usize = 12;
/// The longest head of an answer that is searched, octets (chosen).
const LONGEST_HEAD: usize = 4096;

/// What a TCP segment carries.
fn payload(segment: &[u8]) -> Option<&[u8]> {
    let words = segment.get(DATA_OFFSET)? >> 4;
    segment.get(usize::from(words).checked_mul(4)?..)
}

/// Whether a TCP segment, header included, begins an answer that went well.
#[must_use]
pub fn is_answer(segment: &[u8]) -> bool {
    payload(segment).is_some_and(has_status_ok)
}

fn has_status_ok(text: &[u8]) -> bool {
    // `RTSP/1.0 200`, `HTTP/1.1 200`
    let version = text.get(..5);
    (version == Some(b"RTSP/") || version == Some(b"HTTP/")) && text.get(8..13) == Some(b" 200 ")
}

/// The session description that a TCP segment, header included, holds whole.
#[must_use]
pub fn description(segment: &[u8]) -> Option<&[u8]> {
    let answer = payload(segment).filter(|text| has_status_ok(text))?;
    let head_octets = answer.windows(4).take(LONGEST_HEAD).position(|four| four == b"\r\n\r\n")?;
    let head = std::str::from_utf8(answer.get(..head_octets)?).ok()?;
    let field = |name: &str| {
        let mut fields = head.lines().skip(1).filter_map(|line| line.split_once(':'));
        fields.find(|(key, _)| key.trim().eq_ignore_ascii_case(name)).map(|(_, value)| value.trim())
    };
    let media_type = field("Content-Type")?.split(';').next()?.trim();
    let length: usize = field("Content-Length")?.parse().ok()?;
    let body = answer.get(head_octets.checked_add(4)?..)?.get(..length)?;
    media_type.eq_ignore_ascii_case("application/sdp").then_some(body)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SDP: &str = "v=0\r\no=- 1 1 IN IP4 10.20.0.62\r\ns=stage box\r\nt=0 0\r\n";

    fn segment(text: &str) -> Vec<u8> {
        // Ports, numbers, data offset of 8 words (12 octets of options), flags, window, checksum, urgent pointer.
        let mut octets = vec![0x02, 0x2A, 0xC0, 0x00, 0, 0, 0, 1, 0, 0, 0, 2, 0x80, 0x18, 1, 0, 0, 0, 0, 0];
        octets.extend([1; 12]);
        octets.extend(text.as_bytes());
        octets
    }

    fn answer(status: &str, media_type: &str, length: usize) -> Vec<u8> {
        segment(&format!(
            "{status}\r\nCSeq: 2\r\ncontent-type: {media_type}\r\nContent-Length: {length}\r\n\r\n{SDP}"
        ))
    }

    #[test]
    fn an_answer_in_one_segment_holds_its_description() {
        for status in ["RTSP/1.0 200 OK", "RTSP/2.0 200 OK", "HTTP/1.1 200 OK"] {
            for media_type in ["application/sdp", "Application/SDP; charset=utf-8"] {
                let octets = answer(status, media_type, SDP.len());
                assert!(is_answer(&octets));
                assert_eq!(description(&octets), Some(SDP.as_bytes()), "{status} {media_type}");
            }
        }
        // What follows the body is of the next answer.
        assert_eq!(description(&answer("RTSP/1.0 200 OK", "application/sdp", 3)), Some(&b"v=0"[..]));
    }

    #[test]
    fn other_answers_and_parts_hold_none() {
        assert_eq!(description(&answer("RTSP/1.0 404 Not Found", "application/sdp", SDP.len())), None);
        assert_eq!(description(&answer("RTSP/1.0 200 OK", "text/plain", SDP.len())), None);
        assert_eq!(description(&answer("RTSP/1.0 200 OK", "application/sdp", SDP.len() + 1)), None);
        let whole = answer("RTSP/1.0 200 OK", "application/sdp", SDP.len());
        for length in 0..whole.len() {
            assert_eq!(description(&whole[..length]), None, "{length}");
        }
    }
}
