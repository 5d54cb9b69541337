//! What the first octets of something that is no capture look like, so that the message can say so.

/// Octets worth looking at.
pub(super) const LOOK: usize = 512;

/// First octets of formats people hand over by mistake; from memory.
const MAGICS: &[(&[u8], &str)] = &[
    (b"\xFD7zXZ\0", "an xz archive; unpack it first"),
    (b"BZh", "a bzip2 archive; unpack it first"),
    (b"\x04\x22\x4D\x18", "an lz4 archive; unpack it first"),
    (b"PK\x03\x04", "a zip archive; unpack it first"),
    (b"7z\xBC\xAF\x27\x1C", "a 7z archive; unpack it first"),
    (b"Rar!", "a rar archive; unpack it first"),
    (b"snoop\0\0\0", "a snoop capture (RFC 1761); convert it to pcap first"),
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a PNG picture"),
    (b"\x7FELF", "a program"),
    (b"RIFF", "an audio or video file"),
    (b"SQLite format 3\0", "a database"),
];

/// Where a tar archive has its mark.
const TAR_MARK: usize = 257;

/// A phrase for it, where it can be told.
pub(super) fn looks_like(first: &[u8]) -> Option<&'static str> {
    if let Some((_, what)) = MAGICS.iter().find(|(magic, _)| first.starts_with(magic)) {
        return Some(what);
    }
    if first.get(TAR_MARK..).is_some_and(|rest| rest.starts_with(b"ustar")) {
        return Some("a tar archive; unpack it first");
    }
    if first.iter().all(|octet| *octet == 0) {
        return Some("nothing but zeros");
    }
    let text = is_text(first).then(|| first.trim_ascii_start().to_ascii_lowercase())?;
    Some(if text.starts_with(b"<!doctype html") || text.starts_with(b"<html") {
        "a web page"
    } else if text.starts_with(b"<?xml") || text.starts_with(b"<") {
        "XML text"
    } else if text.starts_with(b"{") || text.starts_with(b"[") {
        "JSON text"
    } else {
        "text"
    })
}

/// UTF-8 without control characters, but for a character cut in two at the end.
fn is_text(octets: &[u8]) -> bool {
    let octets = octets.get(..octets.len().min(LOOK)).unwrap_or_default();
    let text = match std::str::from_utf8(octets) {
        Ok(text) => text,
        Err(error) if error.error_len().is_none() => {
            std::str::from_utf8(octets.get(..error.valid_up_to()).unwrap_or_default()).unwrap_or_default()
        }
        Err(_) => return false,
    };
    !text.is_empty() && !text.chars().any(|c| c.is_control() && !c.is_whitespace())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn common_mistakes_are_recognised() {
        assert_eq!(looks_like(b"PK\x03\x04...."), Some("a zip archive; unpack it first"));
        assert_eq!(looks_like(b"\n<!DOCTYPE html>\n<html>"), Some("a web page"));
        assert_eq!(looks_like(b"{\"a\": 1}"), Some("JSON text"));
        assert_eq!(looks_like("v=0\r\no=- 1 1 IN IP4 10.0.0.1 \u{e9}".as_bytes()), Some("text"));
        assert_eq!(looks_like(b"caf\xC3"), Some("text"));
        assert_eq!(looks_like(&[0; 40]), Some("nothing but zeros"));
        assert_eq!(looks_like(&[1, 2, 3, 4, 0xFF]), None);
    }
}
