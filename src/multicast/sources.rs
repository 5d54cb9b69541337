//! Which sources of a group a host asks for.

use std::collections::BTreeSet;
use std::net::IpAddr;

/// Sources that are kept for each membership (chosen: a receiver names one or two; a report in one Ethernet frame
/// has room for 366).
const SOURCES_KEPT: usize = 64;

/// What a record of a report does to the sources that its host asks for; one of version 1 or 2 of IGMP or of version 1
/// of MLD asks for all (RFC 3376 section 4.2.12, RFC 3810 section 5.2.12).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Change {
    /// From these only; none of them is a leave.
    Only(Vec<IpAddr>),
    /// From all but these.
    AllBut(Vec<IpAddr>),
    /// From these too.
    Allow(Vec<IpAddr>),
    /// No longer from these.
    Block(Vec<IpAddr>),
    /// A record of a kind that is not defined.
    Unknown,
}

/// `Filter Mode` and source list of a membership, as its reports tell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sources {
    /// `INCLUDE`.
    Only(BTreeSet<IpAddr>),
    /// `EXCLUDE`.
    AllBut(BTreeSet<IpAddr>),
}

impl Sources {
    /// All of them.
    #[must_use]
    pub const fn all() -> Self {
        Self::AllBut(BTreeSet::new())
    }

    /// Whether what `source` sends to the group is asked for.
    #[must_use]
    pub fn admit(&self, source: IpAddr) -> bool {
        match self {
            Self::Only(sources) => sources.contains(&source),
            Self::AllBut(sources) => !sources.contains(&source),
        }
    }

    /// Whether nothing is asked for: the host is no member.
    pub(super) fn are_none(&self) -> bool {
        matches!(self, Self::Only(sources) if sources.is_empty())
    }

    /// What a host asks for after a record; `None` where that does not show: what it asked for `before` is not known, or
    /// the record is of a kind that is not defined. The sources of a longer list than are kept count as asked for.
    pub(super) fn after(before: Option<&Self>, change: &Change) -> Option<Self> {
        let set = |sources: &[IpAddr]| sources.iter().copied().collect::<BTreeSet<IpAddr>>();
        let after = match (change, before) {
            (Change::Only(sources), _) => Self::Only(set(sources)),
            (Change::AllBut(sources), _) => Self::AllBut(set(sources)),
            (Change::Allow(sources), None) if !sources.is_empty() => Self::Only(set(sources)),
            (Change::Allow(more), Some(Self::Only(sources))) => Self::Only(sources | &set(more)),
            (Change::Allow(more), Some(Self::AllBut(sources))) => Self::AllBut(sources - &set(more)),
            (Change::Block(fewer), Some(Self::Only(sources))) => Self::Only(sources - &set(fewer)),
            (Change::Block(fewer), Some(Self::AllBut(sources))) => Self::AllBut(sources | &set(fewer)),
            (Change::Allow(_) | Change::Block(_), None) | (Change::Unknown, _) => return None,
        };
        Some(match after {
            Self::Only(sources) if sources.len() > SOURCES_KEPT => Self::all(),
            Self::AllBut(sources) if sources.len() > SOURCES_KEPT => {
                Self::AllBut(sources.into_iter().take(SOURCES_KEPT).collect())
            }
            kept => kept,
        })
    }

    /// What is asked for by either.
    pub(super) fn join(&self, other: &Self) -> Self {
        match (self, other) {
            (Self::Only(left), Self::Only(right)) if left.len() + right.len() > SOURCES_KEPT => {
                let joined = left | right;
                if joined.len() > SOURCES_KEPT { Self::all() } else { Self::Only(joined) }
            }
            (Self::Only(left), Self::Only(right)) => Self::Only(left | right),
            (Self::AllBut(left), Self::AllBut(right)) => Self::AllBut(left & right),
            (Self::AllBut(but), Self::Only(only)) | (Self::Only(only), Self::AllBut(but)) => {
                Self::AllBut(but - only)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn address(last: u8) -> IpAddr {
        IpAddr::from([10, 77, 0, last])
    }

    fn change() -> impl Strategy<Value = Change> {
        let sources = proptest::collection::vec((1_u8..6).prop_map(address), 0..4);
        (0_u8..5, sources).prop_map(|(kind, sources)| match kind {
            0 => Change::Only(sources),
            1 => Change::AllBut(sources),
            2 => Change::Allow(sources),
            3 => Change::Block(sources),
            _ => Change::Unknown,
        })
    }

    #[test]
    fn a_longer_list_than_is_kept_turns_no_source_away_that_was_asked_for() {
        let many: Vec<IpAddr> = (0..=64).map(address).collect();
        let asked = Sources::after(None, &Change::Only(many.clone())).unwrap();
        assert!(many.iter().all(|source| asked.admit(*source)));
        let half = |from: u8| Sources::Only((from..from + 40).map(address).collect());
        let both = half(0).join(&half(40));
        assert!((0..80).all(|source| both.admit(address(source))));
        let few = half(0).join(&half(20));
        assert!(few.admit(address(59)) && !few.admit(address(60)));
    }

    proptest! {
        /// Held against whether one source is asked for, followed by itself.
        #[test]
        fn each_source_is_followed_as_if_it_were_the_only_one(changes in proptest::collection::vec(change(), 0..12)) {
            let mut whole: Option<Sources> = None;
            let mut single: [Option<bool>; 6] = [None; 6];
            let mut ever = [false; 6];
            let mut ever_whole: Option<Sources> = None;
            for change in &changes {
                let known = whole.is_some();
                if let Some(after) = Sources::after(whole.as_ref(), change) {
                    ever_whole = Some(ever_whole.map_or_else(|| after.clone(), |ever| ever.join(&after)));
                    whole = Some(after);
                }
                for (last, asked) in (0_u8..).zip(&mut single) {
                    let named = |sources: &[IpAddr]| sources.contains(&address(last));
                    match change {
                        Change::Only(sources) => *asked = Some(named(sources)),
                        Change::AllBut(sources) => *asked = Some(!named(sources)),
                        Change::Allow(sources) if known || !sources.is_empty() => {
                            *asked = Some(asked.unwrap_or(false) || named(sources));
                        }
                        Change::Block(sources) if known => *asked = asked.map(|asked| asked && !named(sources)),
                        _ => {}
                    }
                }
                for (ever, asked) in ever.iter_mut().zip(single) {
                    *ever |= asked == Some(true);
                }
            }
            for (last, (asked, ever)) in (0_u8..).zip(single.into_iter().zip(ever)) {
                prop_assert_eq!(whole.as_ref().map(|whole| whole.admit(address(last))), asked);
                prop_assert_eq!(ever_whole.as_ref().is_some_and(|whole| whole.admit(address(last))), ever);
            }
        }
    }
}
