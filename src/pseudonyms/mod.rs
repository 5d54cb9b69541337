//! Invented addresses and names in place of those of a site, so that a report can be passed on.
//!
//! The same original has the same stand-in wherever it appears under one key, and no two share one; without the key none leads
//! back. Addresses keep what they are (private, of a group, of one subnet, of one maker), so that a report reads as before.

mod addresses;
mod key;
mod text;

pub use key::Key;

use std::fmt;

/// Subdomains that the standard names (IEEE 1588-2002 table 7, from memory); they say nothing of a site.
const KNOWN_SUBDOMAINS: [&str; 4] = ["_DFLT", "_ALT1", "_ALT2", "_ALT3"];

/// What a name is of. Names of different kinds have different stand-ins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A host, a device, a person.
    Name,
    /// A session that is announced.
    Session,
    /// The site itself.
    Site,
    /// A port of a switch.
    Port,
    /// Streams that are planned.
    Plan,
    /// A way to pack media that is in no list.
    Encoding,
}

impl Kind {
    const fn word(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::Session => "session",
            Self::Site => "site",
            Self::Port => "port",
            Self::Plan => "plan",
            Self::Encoding => "encoding",
        }
    }
}

/// Stand-ins under one key.
#[derive(Clone, PartialEq, Eq)]
pub struct Pseudonyms {
    key: Key,
}

impl fmt::Debug for Pseudonyms {
    /// The key stays out of whatever this is written to.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Pseudonyms")
    }
}

impl Pseudonyms {
    /// Those of a key.
    #[must_use]
    pub const fn new(key: Key) -> Self {
        Self { key }
    }

    /// A name's stand-in: `name-` and ten hexadecimal digits. One that is blank stays blank.
    #[must_use]
    pub fn name(&self, kind: Kind, original: &str) -> String {
        let original = original.trim();
        if original.is_empty() {
            return String::new();
        }
        format!("{}-{:010x}", kind.word(), self.key.of_text(kind.word(), original) >> 24)
    }

    /// A subdomain's stand-in, short enough for 16 octets; one that the standard names stays.
    #[must_use]
    pub fn subdomain(&self, original: &str) -> String {
        if original.is_empty() || KNOWN_SUBDOMAINS.contains(&original) {
            return original.to_owned();
        }
        format!("zone-{:010x}", self.key.of_text("zone", original) >> 24)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_have_one_stand_in_each_under_one_key() {
        let ours = Pseudonyms::new(Key::of("some text"));
        let stage = ours.name(Kind::Name, "stage box");
        assert_eq!(stage, ours.name(Kind::Name, " stage box "));
        assert!(stage.starts_with("name-") && stage.len() == 15, "{stage}");
        assert_ne!(stage, ours.name(Kind::Name, "stage bow"));
        assert_ne!(stage.get(4..), ours.name(Kind::Site, "stage box").get(4..));
        assert_ne!(stage, Pseudonyms::new(Key::of("other text")).name(Kind::Name, "stage box"));
        assert_eq!(ours.name(Kind::Name, "  "), "");
        assert_eq!(ours.subdomain("_DFLT"), "_DFLT");
        assert!(ours.subdomain("balcony").len() <= 16);
    }

    #[test]
    fn the_key_is_not_shown() {
        assert_eq!(format!("{:?}", Pseudonyms::new(Key::of("some text"))), "Pseudonyms");
    }

    #[test]
    fn keys_drawn_by_lot_differ() {
        let name = || Pseudonyms::new(Key::drawn()).name(Kind::Name, "stage box");
        assert_ne!(name(), name());
    }
}
