//! Profiles by name, as site files give them.

use super::catalogue::PROFILES;
use super::row::Profile;

/// Other names that are taken, with the profile each stands for. `default` is what most people mean by it; the
/// peer-to-peer one has to be named in full.
const ALIASES: &[(&str, &str)] = &[("default", "default-e2e"), ("802.1as", "gptp"), ("power", "c37-238")];

/// The profile of that name or alias, whatever its case; `None` where there is none: see [`nearest`].
#[must_use]
pub fn expected(name: &str) -> Option<&'static Profile> {
    let name = name.trim().to_ascii_lowercase();
    let alias = ALIASES.iter().find(|(alias, _)| *alias == name).map(|(_, full)| *full);
    let full = alias.unwrap_or(&name);
    PROFILES.iter().find(|profile| profile.name == full)
}

/// The known name or alias that takes the fewest letters to change `name` into; the first of several.
#[must_use]
pub fn nearest(name: &str) -> &'static str {
    let aliases = ALIASES.iter().map(|(alias, _)| *alias);
    let known = PROFILES.iter().map(|profile| profile.name).chain(aliases);
    crate::nearest::nearest(name, known).unwrap_or("default")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_aliases_are_found_whatever_their_case() {
        for profile in &PROFILES {
            assert_eq!(expected(&profile.name.to_ascii_uppercase()), Some(profile));
        }
        assert_eq!(expected("default").unwrap().name, "default-e2e");
        assert_eq!(expected(" gPTP ").unwrap().name, "gptp");
        assert_eq!(expected("aes76"), None);
        assert!(ALIASES.iter().all(|(alias, full)| {
            expected(full).is_some() && PROFILES.iter().all(|profile| profile.name != *alias)
        }));
    }

    #[test]
    fn a_slip_is_answered_with_the_nearest_name() {
        for (slip, meant) in [
            ("aes76", "aes67"),
            ("ST2059", "st2059-2"),
            ("smpte2059-2", "st2059-2"),
            ("gtp", "gptp"),
            ("defualt", "default"),
            ("g8275.1", "g8275-1"),
            ("v1", "ptp-v1"),
        ] {
            assert_eq!(nearest(slip), meant, "{slip}");
        }
    }
}
