//! A name and where it comes from.

/// Where a name comes from, what is believed first in front.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NamedBy {
    /// The site file.
    SiteFile,
    /// A host name in multicast DNS.
    Mdns,
    /// `System Name` of LLDP.
    Lldp,
    /// `Host Name` of DHCP.
    Dhcp,
}

impl NamedBy {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SiteFile => "site-file",
            Self::Mdns => "mdns",
            Self::Lldp => "lldp",
            Self::Dhcp => "dhcp",
        }
    }
}

/// A name, as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Name {
    /// The text, untrusted.
    pub text: String,
    /// Where it comes from.
    pub by: NamedBy,
}

/// Octets of a name that are kept (the longest name of DNS: RFC 1035 section 2.3.4).
const LONGEST: usize = 255;

/// A name that says something: blanks at its ends are left out, and what is longer than a DNS name is cut.
pub(super) fn tidy(text: &str) -> Option<String> {
    let text = text.trim();
    let cut =
        text.char_indices().map(|(at, c)| at + c.len_utf8()).take_while(|end| *end <= LONGEST).last()?;
    text.get(..cut).map(ToOwned::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_trimmed_and_cut_between_characters() {
        assert_eq!(tidy("  \n "), None);
        assert_eq!(tidy(" stage box "), Some("stage box".to_owned()));
        let long = "ü".repeat(200);
        assert_eq!(tidy(&long).unwrap(), "ü".repeat(127));
    }
}
