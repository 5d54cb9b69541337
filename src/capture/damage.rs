//! A bounded list of what could not be read.

use std::collections::BTreeMap;

use super::record::Damage;

/// Entries kept one by one; a file worse than this gets one more entry with the number left out.
const ENTRIES: usize = 100;

/// Collects damage. Memory: at most [`ENTRIES`] texts plus one counter per kind of repeated damage.
#[derive(Debug, Default)]
pub(super) struct DamageList {
    single: Vec<Damage>,
    left_out: Option<(u64, u64)>,
    repeated: BTreeMap<&'static str, (u64, u64)>,
}

impl DamageList {
    /// Adds an entry of its own.
    pub(super) fn add(&mut self, offset: u64, text: String) {
        if self.single.len() < ENTRIES {
            self.single.push(Damage { offset, text });
        } else {
            let (_, count) = self.left_out.get_or_insert((offset, 0));
            *count = count.saturating_add(1);
        }
    }

    /// Counts one more of a kind of damage that may sit in every record; it gets one entry in all.
    pub(super) fn repeat(&mut self, offset: u64, kind: &'static str) {
        let (_, count) = self.repeated.entry(kind).or_insert((offset, 0));
        *count = count.saturating_add(1);
    }

    /// Whether there is any.
    pub(super) fn is_empty(&self) -> bool {
        self.single.is_empty() && self.repeated.is_empty()
    }

    /// All of it by offset.
    pub(super) fn into_list(self) -> Vec<Damage> {
        let mut list = self.single;
        for (kind, (offset, count)) in self.repeated {
            let text =
                if count == 1 { kind.to_owned() } else { format!("{kind} ({count} times, first here)") };
            list.push(Damage { offset, text });
        }
        list.sort_by_key(|damage| damage.offset);
        if let Some((offset, count)) = self.left_out {
            list.push(Damage {
                offset,
                text: format!("{count} more places of damage from here on are not listed"),
            });
        }
        list
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_bounded_and_says_how_much_it_left_out() {
        let mut damage = DamageList::default();
        for offset in 0..250 {
            damage.add(offset, "broken".to_owned());
            damage.repeat(offset, "odd stamp");
        }
        let list = damage.into_list();
        assert_eq!(list.len(), 102);
        assert_eq!(list[1].text, "odd stamp (250 times, first here)");
        assert_eq!(list[101].offset, 100);
        assert_eq!(list[101].text, "150 more places of damage from here on are not listed");
    }
}
