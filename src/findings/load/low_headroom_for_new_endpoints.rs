//! `low-headroom-for-new-endpoints`

use super::fullest;
use super::is_near_full;
use super::is_speed_known;
use super::mega;
use super::now;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::fit::Answer;
use crate::fit::Direction;
use crate::fit::Fit;
use crate::fit::Growth;
use crate::fit::KeepFree;
use crate::fit::Now;
use crate::fit::Planned;
use crate::site;
use crate::units::BitsPerSecond;

/// The link has no room for what is planned, or for another stream.
pub(super) struct LowHeadroomForNewEndpoints;

impl Rule for LowHeadroomForNewEndpoints {
    fn id(&self) -> &'static str {
        "low-headroom-for-new-endpoints"
    }

    fn summary(&self) -> &'static str {
        "the link has no room for the streams that the site file plans, or for another one like its largest"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "take a faster link, or fewer or smaller streams; `downbeat fit` has the arithmetic",
            "this is about the captured link: look at the other links on the way as well",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "a quarter of the link stays free, or what the site file says (common practice, no source)",
            "the fullest second of 10 s or more, with gap and preamble (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let Some(now) = now(analysis) else { return Outcome::Quiet };
        let found = match planned(analysis) {
            planned if planned.is_empty() => self.another(analysis, now),
            planned => self.plan(analysis, now, planned),
        };
        Outcome::from_findings(found.into_iter().collect())
    }
}

/// What the site file plans.
fn planned(analysis: &Analysis) -> Vec<Planned> {
    let listed = analysis.settings.site.iter().flat_map(|site| &site.planned);
    let planned = listed.map(|planned| Planned {
        name: planned.name.clone(),
        count: planned.count,
        rate: planned.rate,
        direction: planned.direction.map(|direction| match direction {
            site::Direction::In => Direction::In,
            site::Direction::Out => Direction::Out,
        }),
    });
    planned.collect()
}

fn keep_free(analysis: &Analysis) -> KeepFree {
    let site = analysis.settings.site.as_deref();
    let told = site.and_then(|site| KeepFree::from_millionths(site.link.keep_free_millionths?));
    told.unwrap_or(KeepFree::USUAL)
}

impl LowHeadroomForNewEndpoints {
    fn plan(&self, analysis: &Analysis, now: Now, planned: Vec<Planned>) -> Option<Finding> {
        let followers = planned.iter().map(|planned| u64::from(planned.count)).sum();
        let fit = Fit::of(now, keep_free(analysis), planned, Growth::of(analysis, followers));
        let (severity, what) = match fit.answer {
            // The latter of captures shorter than those that are judged here.
            Answer::Fits | Answer::CannotTell => return None,
            Answer::OnlyIfPeaksDoNotMeet => (Severity::Minor, "fits only where peaks do not meet"),
            Answer::DoesNotFit => (Severity::Major, "does not fit"),
        };
        let title = format!(
            "what is planned {what}: {} in the fullest second then, of {} usable",
            mega(fit.peak_then),
            mega(fit.usable)
        );
        let text = format!(
            "now {} on average and {} in the fullest second, {} planned, link {} ({})",
            mega(now.mean),
            mega(now.peak),
            mega(fit.added),
            mega(now.speed),
            now.speed_known_by.name()
        );
        let evidence = vec![Evidence::at(None, text)];
        Some(Finding::of(self, (severity, Strength::Inferred), title, evidence))
    }

    fn another(&self, analysis: &Analysis, now: Now) -> Option<Finding> {
        // Nearly full is a rule of its own.
        if is_near_full(analysis, &now) {
            return None;
        }
        let usable = keep_free(analysis).usable(now.speed);
        let room = BitsPerSecond(usable.0.saturating_sub(fullest(analysis, &now).0));
        let media = analysis.wire.streams.iter().filter(|stream| stream.is_media());
        let (largest, rate) =
            media.filter_map(|stream| Some((stream, stream.rate.mean()?))).max_by_key(|(_, rate)| *rate)?;
        if rate <= room {
            return None;
        }
        let severity = if is_speed_known(&now) { Severity::Minor } else { Severity::Info };
        let title =
            format!("room for {} more, which is less than another stream of {}", mega(room), mega(rate));
        let text =
            format!("the largest now is {}; {} of {} usable", largest.key, mega(usable), mega(now.speed));
        let evidence = vec![Evidence::at(None, text)];
        Some(Finding::of(self, (severity, Strength::Inferred), title, evidence))
    }
}
