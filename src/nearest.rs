//! The known word that a slip was meant to be.

/// Letters that tell which word they begin, and the part of a word, one in this many letters, that may have to be changed
/// before it is another one (chosen).
const LEAST_BEGINNING: usize = 3;
const FAR: usize = 2;

/// The known word that takes the fewest letters to change `slip` into; the first of several. `None` where none is
/// known.
#[must_use]
pub(crate) fn nearest<'a>(slip: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let slip = slip.trim().to_ascii_lowercase();
    known.into_iter().min_by_key(|word| strsim::osa_distance(word, &slip))
}

/// The known word that `slip` begins, else the nearest; `None` where even that has little to do with it.
#[must_use]
pub(crate) fn meant<'a>(slip: &str, known: impl Iterator<Item = &'a str> + Clone) -> Option<&'a str> {
    let slip = slip.trim().to_ascii_lowercase();
    let begun = known.clone().find(|word| slip.len() >= LEAST_BEGINNING && word.starts_with(&slip));
    begun.or_else(|| {
        let near = |word: &&str| strsim::osa_distance(word, &slip).saturating_mul(FAR) <= word.len();
        nearest(&slip, known).filter(near)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_answered_with_the_nearest_word() {
        let known = ["domain", "version", "profile", "leader", "next", "max_offset"];
        for (slip, meant) in [
            ("domian", "domain"),
            ("max-offset", "max_offset"),
            ("MAX_OFSET", "max_offset"),
            ("leaders", "leader"),
            (" nxt", "next"),
        ] {
            assert_eq!(nearest(slip, known), Some(meant), "{slip}");
        }
        assert_eq!(nearest("anything", []), None);
    }

    #[test]
    fn a_beginning_means_its_word_and_what_is_far_from_all_means_none() {
        let known = ["delay-response-missing", "follow-up-missing", "no-querier"];
        for (slip, word) in [
            ("delay-resp", Some("delay-response-missing")),
            ("Follow", Some("follow-up-missing")),
            ("no-querrier", Some("no-querier")),
            ("xyzzy", None),
            ("", None),
        ] {
            assert_eq!(meant(slip, known.into_iter()), word, "{slip}");
        }
    }
}
