//! The known word that a slip was meant to be.

/// The known word that takes the fewest letters to change `slip` into; the first of several. `None` where none is
/// known.
#[must_use]
pub(crate) fn nearest<'a>(slip: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let slip = slip.trim().to_ascii_lowercase();
    known.into_iter().min_by_key(|word| strsim::osa_distance(word, &slip))
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
}
