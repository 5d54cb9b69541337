//! The sums and the answer.

use super::growth::Growth;
use super::plan::KeepFree;
use super::plan::Planned;
use super::plan::added;
use crate::analysis::Analysis;
use crate::statistics::RateWidth;
use crate::streams::SpeedKnownBy;
use crate::units::BitsPerSecond;
use crate::units::Nanos;

/// A shorter capture holds no whole second, so that nothing is known of the fullest one (chosen).
pub const LEAST_LENGTH: Nanos = Nanos::from_seconds(1);

/// What the link carries in the capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Now {
    /// The link's speed.
    pub speed: BitsPerSecond,
    /// How that is known.
    pub speed_known_by: SpeedKnownBy,
    /// Over the time that was watched.
    pub mean: BitsPerSecond,
    /// The fullest second, and no less than the mean: a capture shorter than a second fills none.
    pub peak: BitsPerSecond,
    /// The fullest millisecond.
    pub burst: BitsPerSecond,
    /// The time that was watched: the capture's length without its holes.
    pub length: Nanos,
}

impl Now {
    /// `None` where no time passes in the capture.
    #[must_use]
    pub fn of(analysis: &Analysis) -> Option<Self> {
        let link = &analysis.wire.link;
        let mean = link.rate.mean()?;
        let peak = |width| link.rate.peak(width).map_or(mean, |peak| peak.rate);
        Some(Self {
            speed: link.speed,
            speed_known_by: link.known_by,
            mean,
            peak: peak(RateWidth::Second).max(mean),
            burst: peak(RateWidth::Millisecond).max(mean),
            length: match link.rate.watched() {
                // Between the two stamps may lie less than the time that its clock ran.
                Some(watched) if !analysis.set_backs.is_empty() => watched,
                _ => link.watched_between(analysis.start?, analysis.end?),
            },
        })
    }
}

/// The answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Answer {
    /// Also where what is planned meets the fullest second of now.
    Fits,
    /// With the mean of now, and not with its fullest second.
    OnlyIfPeaksDoNotMeet,
    /// Not even with the mean.
    DoesNotFit,
    /// The capture is shorter than [`LEAST_LENGTH`], and what is planned would fit on an empty link.
    CannotTell,
}

impl Answer {
    /// The name in the JSON report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fits => "fits",
            Self::OnlyIfPeaksDoNotMeet => "only-if-peaks-do-not-meet",
            Self::DoesNotFit => "does-not-fit",
            Self::CannotTell => "cannot-tell",
        }
    }
}

/// What is planned against what there is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fit {
    /// The link now.
    pub now: Now,
    /// What has to stay free.
    pub keep_free: KeepFree,
    /// What may be used.
    pub usable: BitsPerSecond,
    /// What is planned.
    pub planned: Vec<Planned>,
    /// What is planned, in the fuller direction.
    pub added: BitsPerSecond,
    /// PTP's messages of planned followers; `None` where no follower's requests are in view.
    pub growth: Option<Growth>,
    /// What is planned and PTP's messages together.
    pub more: BitsPerSecond,
    /// The mean with all of that.
    pub mean_then: BitsPerSecond,
    /// The fullest second with all of that.
    pub peak_then: BitsPerSecond,
    /// The answer.
    pub answer: Answer,
}

impl Fit {
    /// Adds up. A planned stream counts with its full rate at all times, and brings one follower. A load of exactly what
    /// may be used fits: that much stays free then.
    #[must_use]
    pub fn of(now: Now, keep_free: KeepFree, planned: Vec<Planned>, growth: Option<Growth>) -> Self {
        let added = added(&planned);
        let more = growth.map_or(BitsPerSecond(0), |growth| growth.added()).saturating_add(added);
        let (mean_then, peak_then) = (now.mean.saturating_add(more), now.peak.saturating_add(more));
        let usable = keep_free.usable(now.speed);
        let answer = if more > usable {
            Answer::DoesNotFit
        } else if now.length < LEAST_LENGTH {
            Answer::CannotTell
        } else if peak_then <= usable {
            Answer::Fits
        } else if mean_then <= usable {
            Answer::OnlyIfPeaksDoNotMeet
        } else {
            Answer::DoesNotFit
        };
        Self { now, keep_free, usable, planned, added, growth, more, mean_then, peak_then, answer }
    }

    /// The fullest millisecond with what is planned and PTP's messages.
    #[must_use]
    pub const fn burst_then(&self) -> BitsPerSecond {
        self.now.burst.saturating_add(self.more)
    }

    /// What would still go on the link beside its fullest second; `None` where that is too full now.
    #[must_use]
    pub fn room(&self) -> Option<BitsPerSecond> {
        self.usable.0.checked_sub(self.now.peak.0).map(BitsPerSecond)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn mega(value: u64) -> BitsPerSecond {
        BitsPerSecond(value * 1_000_000)
    }

    fn whole(mean: u64, peak: u64, planned: &[(u64, u32)], length: Nanos, growth: Option<Growth>) -> Fit {
        let now = Now {
            speed: mega(1000),
            speed_known_by: SpeedKnownBy::Assumed,
            mean: mega(mean),
            peak: mega(peak),
            burst: mega(peak),
            length,
        };
        let plan = |(rate, count): &(u64, u32)| Planned {
            name: "plan".to_owned(),
            count: *count,
            rate: mega(*rate),
            direction: None,
        };
        Fit::of(now, KeepFree::USUAL, planned.iter().map(plan).collect(), growth)
    }

    fn fit(mean: u64, peak: u64, planned: &[(u64, u32)]) -> Answer {
        whole(mean, peak, planned, Nanos::from_seconds(60), None).answer
    }

    /// Figures of the trade: a hardware encoder's wavelet stream near 670 Mb/s on 1 Gb/s, compressed cameras of 8 Mb/s
    /// (common practice, no source).
    #[test]
    fn one_heavy_stream_fits_with_a_quarter_free_two_do_not_and_ten_light_ones_do() {
        assert_eq!(fit(0, 0, &[(670, 1)]), Answer::Fits);
        assert_eq!(fit(0, 0, &[(670, 2)]), Answer::DoesNotFit);
        assert_eq!(fit(670, 670, &[(670, 1)]), Answer::DoesNotFit);
        assert_eq!(fit(0, 0, &[(8, 10)]), Answer::Fits);
        assert_eq!(fit(670, 670, &[(8, 10)]), Answer::Fits);
    }

    #[test]
    fn the_limit_itself_fits_and_a_bit_more_does_not() {
        assert_eq!(fit(50, 80, &[(670, 1)]), Answer::Fits);
        assert_eq!(fit(50, 81, &[(670, 1)]), Answer::OnlyIfPeaksDoNotMeet);
        assert_eq!(fit(80, 200, &[(670, 1)]), Answer::OnlyIfPeaksDoNotMeet);
        assert_eq!(fit(81, 200, &[(670, 1)]), Answer::DoesNotFit);
    }

    #[test]
    fn a_capture_without_a_whole_second_tells_only_what_fits_on_no_link() {
        let short = |planned: &[(u64, u32)], length| whole(10, 10, planned, Nanos(length), None).answer;
        assert_eq!(short(&[(8, 1)], 999_999_999), Answer::CannotTell);
        assert_eq!(short(&[(8, 1)], 1_000_000_000), Answer::Fits);
        assert_eq!(short(&[(750, 1)], 10_000_000), Answer::CannotTell);
        assert_eq!(short(&[(751, 1)], 10_000_000), Answer::DoesNotFit);
    }

    #[test]
    fn the_messages_of_new_followers_count_in_the_fullest_millisecond_as_well() {
        let growth = Growth { followers: 1, more: 10, requests_per_1000_s: 1000, each: mega(3) };
        let fit = whole(50, 80, &[(7, 1)], Nanos::from_seconds(60), Some(growth));
        assert_eq!((fit.mean_then, fit.peak_then, fit.burst_then()), (mega(87), mega(117), mega(117)));
    }
}
