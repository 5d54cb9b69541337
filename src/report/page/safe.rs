//! Text that others wrote, made harmless; and the digests by which the page's own parts are let in.

use sha2::Digest;
use sha2::Sha256;

use crate::report::format::plain;

/// Characters of foreign text that are shown (chosen: a paragraph; a TLV can hold 64 KiB).
const SHOWN: usize = 400;

/// Text from a file or a packet: no control characters, none that turn the direction of writing, and not endless. It is
/// still to be escaped by what writes it.
pub(super) fn foreign(text: &str) -> String {
    let shown = plain(text);
    if shown.chars().count() <= SHOWN {
        return shown;
    }
    let beginning: String = shown.chars().take(SHOWN).collect();
    format!("{beginning}…")
}

/// JSON that can stand within a `script` element: nothing in it ends that element or begins a comment (HTML, "script
/// data" states; from memory).
pub(super) fn data_block(json: &str) -> String {
    let mut safe = String::with_capacity(json.len());
    for character in json.chars() {
        match character {
            '<' | '>' | '&' | '\u{2028}' | '\u{2029}' => {
                safe.push_str(&format!("\\u{:04x}", u32::from(character)));
            }
            other => safe.push(other),
        }
    }
    safe
}

/// The source expression that lets in an inline style or script (Content Security Policy 3, "hash-source"; from memory).
pub(super) fn digest(text: &str) -> String {
    format!("sha256-{}", base64(&Sha256::digest(text.as_bytes())))
}

/// RFC 4648 section 4.
fn base64(octets: &[u8]) -> String {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for three in octets.chunks(3) {
        let word = (0..3).fold(0_u32, |word, at| word << 8 | u32::from(three.get(at).copied().unwrap_or(0)));
        for place in 0..4_usize {
            let index = usize::try_from(word >> (18 - 6 * place) & 63).unwrap_or(0);
            let letter = ALPHABET.get(index).copied().map_or('=', char::from);
            text.push(if place > three.len() { '=' } else { letter });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_rfc_4648_section_10() {
        for (octets, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(octets.as_bytes()), text);
        }
    }

    #[test]
    fn a_digest_is_that_of_a_known_text() {
        // FIPS 180-2, appendix B.1: the digest of "abc" begins with ba7816bf.
        assert!(digest("abc").starts_with("sha256-ungWv48Bz+pBQUDeXa4iI7AD"), "{}", digest("abc"));
    }

    #[test]
    fn nothing_in_a_data_block_ends_it() {
        let hostile =
            serde_json::json!({ "name": "</script><script>alert(1)</script><!-- & \u{2028}" }).to_string();
        let safe = data_block(&hostile);
        assert!(!safe.contains(['<', '>', '&', '\u{2028}']), "{safe}");
        let back: serde_json::Value = serde_json::from_str(&safe).unwrap();
        assert_eq!(back["name"], "</script><script>alert(1)</script><!-- & \u{2028}");
    }

    #[test]
    fn foreign_text_is_plain_and_not_endless() {
        assert_eq!(foreign("a\u{202e}b\u{1b}[2J"), "a\\u{202e}b\\u{1b}[2J");
        assert_eq!(foreign(&"x".repeat(70_000)).chars().count(), SHOWN + 1);
    }
}
