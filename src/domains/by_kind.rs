//! What there is of each kind of message, found by its place and without a search.

use super::port::Kind;

/// Kinds of messages.
const KINDS: usize = Kind::ALL.len();

/// One entry for each kind of message that was met.
#[derive(Debug, Clone)]
pub struct ByKind<T>([Option<Box<T>>; KINDS]);

impl<T> Default for ByKind<T> {
    fn default() -> Self {
        Self([const { None }; KINDS])
    }
}

impl<T> ByKind<T> {
    /// The entry of one kind.
    #[must_use]
    pub fn get(&self, kind: &Kind) -> Option<&T> {
        self.0.get(kind.place())?.as_deref()
    }

    /// The entries that there are, in order of the kinds.
    pub fn iter(&self) -> impl Iterator<Item = (&Kind, &T)> {
        Kind::ALL.iter().zip(&self.0).filter_map(|(kind, entry)| Some((kind, entry.as_deref()?)))
    }

    /// The kinds that have an entry, in order.
    pub fn keys(&self) -> impl Iterator<Item = &Kind> {
        self.iter().map(|(kind, _)| kind)
    }

    /// The entries that there are, in order of the kinds.
    pub fn values(&self) -> impl Iterator<Item = &T> {
        self.iter().map(|(_, entry)| entry)
    }
}

impl<T> ByKind<T> {
    /// The entry of one kind, to be changed.
    pub(super) fn known(&mut self, kind: Kind) -> Option<&mut T> {
        self.0.get_mut(kind.place())?.as_deref_mut()
    }
}

impl<T: Default> ByKind<T> {
    /// The entry of one kind, made where there is none. `None` never.
    pub(super) fn entry(&mut self, kind: Kind) -> Option<&mut T> {
        self.0.get_mut(kind.place()).map(|entry| &mut **entry.get_or_insert_default())
    }
}

/// Messages of each kind.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct KindCounts([u64; KINDS]);

impl KindCounts {
    pub(super) fn count(&mut self, kind: Kind) {
        if let Some(count) = self.0.get_mut(kind.place()) {
            *count += 1;
        }
    }

    /// Messages of one kind.
    #[must_use]
    pub fn of(&self, kind: Kind) -> u64 {
        self.0.get(kind.place()).copied().unwrap_or_default()
    }

    /// Messages of all kinds.
    #[must_use]
    pub fn sum(&self) -> u64 {
        self.0.iter().sum()
    }

    /// Kinds that were met, in order, with how often.
    pub fn iter(&self) -> impl Iterator<Item = (&Kind, &u64)> {
        Kind::ALL.iter().zip(&self.0).filter(|(_, count)| **count > 0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_its_own_place_in_their_order() {
        assert!(Kind::ALL.is_sorted());
        for (place, kind) in Kind::ALL.iter().enumerate() {
            assert_eq!(kind.place(), place);
        }
        let mut counts = KindCounts::default();
        let mut entries: ByKind<u8> = ByKind::default();
        for kind in [Kind::Sync, Kind::Management, Kind::Sync] {
            counts.count(kind);
            *entries.entry(kind).unwrap() += 1;
        }
        assert_eq!(counts.iter().collect::<Vec<_>>(), [(&Kind::Sync, &2), (&Kind::Management, &1)]);
        assert_eq!(entries.iter().collect::<Vec<_>>(), [(&Kind::Sync, &2), (&Kind::Management, &1)]);
        assert_eq!((counts.sum(), counts.of(Kind::Announce), entries.get(&Kind::Announce)), (3, 0, None));
    }
}
