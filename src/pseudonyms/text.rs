//! Stand-ins for the addresses that stand in a text, each in the form in which it is written there.

use std::net::Ipv4Addr;
use std::net::Ipv6Addr;

use super::Pseudonyms;
use crate::units::MacAddress;

/// Words before a number with dots that make it a clause of a standard and no address.
const CLAUSE_WORDS: [&str; 6] = ["clause", "clauses", "section", "sections", "annex", "table"];

impl Pseudonyms {
    /// The text with every address and clock identity in it exchanged. Names are not looked for: they are exchanged where they
    /// come in.
    #[must_use]
    pub fn text(&self, original: &str) -> String {
        let mut out = String::with_capacity(original.len());
        let mut rest = original;
        loop {
            if may_begin(&out, rest)
                && let Some((length, instead)) = self.address(rest, original.len() - rest.len(), original)
                && let Some(after) = rest.get(length..)
            {
                out.push_str(&instead);
                rest = after;
                // What follows an address directly is no beginning of another.
                continue;
            }
            let mut chars = rest.chars();
            let Some(next) = chars.next() else { return out };
            out.push(next);
            rest = chars.as_str();
        }
    }

    /// The address that the text begins with: how long it is, and what stands for it.
    fn address(&self, rest: &str, at: usize, whole: &str) -> Option<(usize, String)> {
        self.identity(rest)
            .or_else(|| self.stream(rest, at, whole))
            .or_else(|| self.hardware(rest))
            .or_else(|| self.of_version_6(rest))
            .or_else(|| self.of_version_4(rest, at, whole))
    }

    fn identity(&self, rest: &str) -> Option<(usize, String)> {
        let octets = pairs::<8>(rest, '-')?;
        let text = self.clock(octets).map(|octet| format!("{octet:02x}")).join("-");
        Some((23, text))
    }

    fn hardware(&self, rest: &str) -> Option<(usize, String)> {
        Some((17, self.mac(MacAddress(pairs::<6>(rest, ':')?)).to_string()))
    }

    /// `avtp` and an identifier: a MAC address and two octets more (IEEE 1722-2016 clause 4.4.4.8, from memory).
    fn stream(&self, rest: &str, at: usize, whole: &str) -> Option<(usize, String)> {
        let digits = rest.get(..16).filter(|digits| digits.bytes().all(|each| each.is_ascii_hexdigit()))?;
        if !whole.get(..at)?.ends_with("avtp ")
            || rest.get(16..)?.starts_with(|c: char| c.is_ascii_alphanumeric())
        {
            return None;
        }
        let [a, b, c, d, e, f, g, h] = u64::from_str_radix(digits, 16).ok()?.to_be_bytes();
        let [a, b, c, d, e, f] = self.mac(MacAddress([a, b, c, d, e, f])).0;
        Some((16, format!("{:016x}", u64::from_be_bytes([a, b, c, d, e, f, g, h]))))
    }

    fn of_version_6(&self, rest: &str) -> Option<(usize, String)> {
        let end = rest.find(|c: char| !c.is_ascii_hexdigit() && c != ':' && c != '.').unwrap_or(rest.len());
        let mut run = rest.get(..end)?;
        if run.matches(':').count() < 2 {
            return None;
        }
        // What ends a sentence, or begins what is said of it, is none of it.
        loop {
            if let Ok(address) = run.parse::<Ipv6Addr>() {
                return Some((run.len(), self.ip(address.into()).to_string()));
            }
            run = run.strip_suffix(['.', ':'])?;
        }
    }

    fn of_version_4(&self, rest: &str, at: usize, whole: &str) -> Option<(usize, String)> {
        let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
        let run = rest.get(..end)?;
        let run = run.strip_suffix('.').unwrap_or(run);
        let address: Ipv4Addr = run.parse().ok()?;
        let is_clause = names_a_standard(whole.get(..at)?);
        (!is_clause).then(|| (run.len(), self.ip(address.into()).to_string()))
    }
}

/// Whether what follows a text is a clause of a standard: it ends with the standard's number, or a word for a part of it, and
/// perhaps with other clauses of it.
fn names_a_standard(before: &str) -> bool {
    let mut words =
        before.split(|c: char| c.is_whitespace() || c == '(').rev().filter(|word| !word.is_empty());
    let is_number =
        |word: &str| word.bytes().all(|each| each.is_ascii_digit() || matches!(each, b'.' | b',' | b';'));
    words
        .find(|word| !is_number(word) && !matches!(*word, "and" | "to" | "or"))
        .is_some_and(|word| is_edition(word) || CLAUSE_WORDS.contains(&word.to_ascii_lowercase().as_str()))
}

/// `1588-2008`: the number of a standard and its year.
fn is_edition(word: &str) -> bool {
    word.rsplit_once('-').is_some_and(|(number, year)| {
        let is_year = year.len() == 4 && (year.starts_with("19") || year.starts_with("20"));
        is_year
            && year.bytes().all(|each| each.is_ascii_digit())
            && number.ends_with(|c: char| c.is_ascii_alphanumeric())
    })
}

/// Whether an address may begin here: not within a number, a word, or what looks like an address and is none.
fn may_begin(before: &str, rest: &str) -> bool {
    let mut back = before.chars().rev();
    let is_free = match back.next() {
        Some('.' | ':' | '-') => back.next().is_none_or(|c| !c.is_ascii_hexdigit()),
        Some(c) => !c.is_ascii_alphanumeric(),
        None => true,
    };
    is_free && rest.starts_with(|c: char| c.is_ascii_hexdigit() || c == ':')
}

/// Octets as pairs of hexadecimal digits with `between` between them, and no more of that behind them.
fn pairs<const COUNT: usize>(text: &str, between: char) -> Option<[u8; COUNT]> {
    let mut octets = [0; COUNT];
    let mut rest = text;
    for (index, octet) in octets.iter_mut().enumerate() {
        if index > 0 {
            rest = rest.strip_prefix(between)?;
        }
        let (digits, after) = rest.split_at_checked(2)?;
        if !digits.bytes().all(|each| each.is_ascii_hexdigit()) {
            return None;
        }
        *octet = u8::from_str_radix(digits, 16).ok()?;
        rest = after;
    }
    let goes_on =
        rest.strip_prefix(between).is_some_and(|after| after.starts_with(|c: char| c.is_ascii_hexdigit()));
    (!goes_on && !rest.starts_with(|c: char| c.is_ascii_alphanumeric())).then_some(octets)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pseudonyms::Key;

    fn ours() -> Pseudonyms {
        Pseudonyms::new(Key::of("some text"))
    }

    #[test]
    fn every_form_of_an_address_is_found() {
        let ours = ours();
        let ip = ours.ip("10.20.0.7".parse().unwrap());
        let v6 = ours.ip("fe80::5eff:fe10:7".parse().unwrap());
        let mac = ours.mac(MacAddress([2, 0, 0x5E, 0x10, 0, 7]));
        let clock =
            ours.clock([2, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 7]).map(|octet| format!("{octet:02x}")).join("-");
        for (before, after) in [
            ("10.20.0.7", format!("{ip}")),
            ("from 10.20.0.7.", format!("from {ip}.")),
            ("10.20.0.7>10.20.0.7:5004 vlan 3", format!("{ip}>{ip}:5004 vlan 3")),
            ("(10.20.0.7, 10.20.0.7)", format!("({ip}, {ip})")),
            ("10.20.0.7/24", format!("{ip}/24")),
            ("02:00:5e:10:00:07/1: asks", format!("{mac}/1: asks")),
            ("02:00:5e:10:00:07: asks", format!("{mac}: asks")),
            ("02-00-5e-ff-fe-10-00-07/1 leads", format!("{clock}/1 leads")),
            ("fe80::5eff:fe10:7", format!("{v6}")),
            ("fe80::5eff:fe10:7: asks", format!("{v6}: asks")),
            ("[fe80::5eff:fe10:7]:319", format!("[{v6}]:319")),
            ("fe80::5eff:fe10:7.", format!("{v6}.")),
            ("avtp 02005e1000070001 vlan 2", format!("avtp {}0001 vlan 2", mac.to_string().replace(':', ""))),
            ("é10.20.0.7é", format!("é{ip}é")),
            ("in 2008, 10.20.0.7", format!("in 2008, {ip}")),
        ] {
            assert_eq!(ours.text(before), after, "{before}");
        }
    }

    #[test]
    fn what_is_no_address_stays() {
        for text in [
            "2026-10-03T19:28:00.005200599Z",
            "12:34:56",
            "1588-2008 9.3.2.5, 9.5.11.2 and 9.2.6.8",
            "IEEE 802.1Q clause 8.6.5.1",
            "version 2.1, 0.125 s, -3 (125 ms), ff-fe",
            "a profile 00-1b-19-00-01-00",
            "v1 _DFLT, ::, ssrc 0a0b0c0d",
            "1.2.3.4.5 1.2.3",
            "",
        ] {
            assert_eq!(ours().text(text), text);
        }
    }
}
