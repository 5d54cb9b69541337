//! Until when a place of capture is in view: of files that are read together one may end long before the others.

use crate::units::CaptureTime;
use crate::units::Nanos;

/// A file that begins no earlier than this before another one ends goes on with it, as the files of a ring do (chosen).
const FOLLOWS_ON: Nanos = Nanos::from_seconds(1);

/// From when to when each file was captured, by its index; `None` of a file without stamps.
#[derive(Debug, Clone, Default)]
pub struct Views {
    spans: Vec<Option<(CaptureTime, CaptureTime)>>,
}

impl Views {
    /// Of files in the order of their indices.
    pub fn new(spans: impl Iterator<Item = Option<(CaptureTime, CaptureTime)>>) -> Self {
        Self { spans: spans.collect() }
    }

    /// When the last of `files`, and of those that go on with them, ends; `None` where there is one file only or none is
    /// known, so that nothing ends but the capture.
    pub(super) fn end_of(&self, files: impl Iterator<Item = u32>) -> Option<CaptureTime> {
        if self.spans.len() < 2 {
            return None;
        }
        let span = |file: u32| self.spans.get(usize::try_from(file).ok()?).copied().flatten();
        let mut end = files.filter_map(span).map(|(_, last)| last).max()?;
        // They come in order of their beginnings, so that one pass finds all that follow on.
        for (first, last) in self.spans.iter().flatten() {
            if *first >= end.plus(Nanos(FOLLOWS_ON.0.saturating_neg())) {
                end = end.max(*last);
            }
        }
        Some(end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn views(spans: &[(i64, i64)]) -> Views {
        let at = |s: i64| CaptureTime(s * 1_000_000_000);
        Views::new(spans.iter().map(|(first, last)| Some((at(*first), at(*last)))))
    }

    fn end(views: &Views, file: u32) -> Option<i64> {
        views.end_of([file].into_iter()).map(|end| end.0 / 1_000_000_000)
    }

    #[test]
    fn a_file_ends_where_none_goes_on_with_it() {
        let apart = views(&[(0, 40), (0, 70)]);
        assert_eq!((end(&apart, 0), end(&apart, 1)), (Some(40), Some(70)));
        assert_eq!(end(&views(&[(0, 40), (5, 45)]), 0), Some(40));
    }

    #[test]
    fn a_ring_of_files_is_one_view_and_a_single_file_has_no_end_of_its_own() {
        let ring = views(&[(0, 40), (0, 100), (40, 50), (50, 61)]);
        assert_eq!((end(&ring, 0), end(&ring, 3)), (Some(61), Some(61)));
        assert_eq!(end(&views(&[(0, 40)]), 0), None);
        assert_eq!(end(&ring, 9), None);
    }
}
