//! A domain against every profile, best first.

use std::cmp::Reverse;

use super::catalogue::PROFILES;
use super::facts::Facts;
use super::judge::Outcome;
use super::judge::judge;
use super::row::Confidence;
use super::row::Interval;
use super::row::Profile;
use super::row::Want;
use crate::domains::Domain;

/// Rows that must have been seen before a profile is said to fit (chosen): fewer agree with several by chance.
const LEAST_JUDGED: usize = 5;

/// Something seen that differs from what a profile wants.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deviation {
    /// What it is about.
    pub item: String,
    /// What was seen.
    pub seen: String,
    /// What the profile wants.
    pub expected: String,
    /// Standard and clause, and where the values were read.
    pub source: &'static str,
    /// How surely that is known.
    pub confidence: Confidence,
}

/// How well a domain agrees with a profile.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProfileFit {
    /// The profile's name.
    pub name: &'static str,
    /// The profile's name in full.
    pub title: &'static str,
    /// Whether enough was seen and nothing that is surely known speaks against it.
    pub fits: bool,
    /// Whether enough was seen to say that it fits: some rows, among them the Announce or the Sync interval.
    pub seen_enough: bool,
    /// What is not allowed, in the profile's order.
    pub deviations: Vec<Deviation>,
    /// What is allowed and is not the default, in the profile's order.
    pub off_defaults: Vec<Deviation>,
    /// What the capture does not show.
    pub not_seen: Vec<String>,
    /// Rows that could be judged.
    pub judged: usize,
    /// Of those, rows at their default.
    pub at_default: usize,
    /// Whether all that sets the profile apart from the others was seen.
    pub is_characteristic: bool,
    /// Weighted sum of the deviations; 0 is full agreement. Only to compare profiles by.
    pub points: u32,
    /// The part of [`ProfileFit::points`] that comes of rows marked [`Confidence::Unsure`].
    pub unsure_points: u32,
}

/// Scores a domain against each known profile, best first: those that fit, then by least weighted deviations, then those
/// whose characteristic values were all seen, then by least doubtful deviations, then by most defaults met. Equals stay
/// in the order of [`PROFILES`].
#[must_use]
pub fn score(domain: &Domain) -> Vec<ProfileFit> {
    let facts = Facts::new(domain);
    let mut fits: Vec<(usize, ProfileFit)> =
        PROFILES.iter().map(|profile| (profile.signature.len(), fit(&facts, profile))).collect();
    fits.sort_by_key(|(signature, fit)| {
        (
            !fit.fits,
            fit.points - fit.unsure_points,
            Reverse(if fit.is_characteristic { *signature } else { 0 }),
            fit.unsure_points,
            Reverse(fit.at_default),
            fit.off_defaults.len(),
        )
    });
    fits.into_iter().map(|(_, fit)| fit).collect()
}

/// Scores a domain against one profile, such as the one a site file names.
#[must_use]
pub fn score_against(domain: &Domain, profile: &Profile) -> ProfileFit {
    fit(&Facts::new(domain), profile)
}

fn fit(facts: &Facts<'_>, profile: &Profile) -> ProfileFit {
    let mut fit = ProfileFit {
        name: profile.name,
        title: profile.title,
        fits: false,
        seen_enough: false,
        deviations: Vec::new(),
        off_defaults: Vec::new(),
        not_seen: Vec::new(),
        judged: 0,
        at_default: 0,
        is_characteristic: profile.signature.iter().all(|want| is_at_default(want, facts)),
        points: 0,
        unsure_points: 0,
    };
    let mut has_interval = false;
    for row in profile.rows {
        let item = row.want.item();
        let outcome = judge(&row.want, facts);
        if outcome == Outcome::NotSeen {
            fit.not_seen.push(item);
            continue;
        }
        fit.judged += 1;
        has_interval |= matches!(row.want, Want::Interval { of: Interval::Announce | Interval::Sync, .. });
        let deviation = |seen, expected| Deviation {
            item,
            seen,
            expected,
            source: row.source,
            confidence: row.confidence,
        };
        match outcome {
            Outcome::Outside { seen } => {
                let points = weight(&row.want) * sureness(row.confidence);
                fit.points += points;
                if row.confidence == Confidence::Unsure {
                    fit.unsure_points += points;
                }
                fit.deviations.push(deviation(seen, row.want.allowed_text()));
            }
            Outcome::Inside { seen, is_default: Some(false) } => {
                let default = row.want.default_text().unwrap_or_default();
                fit.off_defaults.push(deviation(seen, default));
            }
            Outcome::Inside { is_default: Some(true), .. } => fit.at_default += 1,
            Outcome::Inside { is_default: None, .. } | Outcome::NotSeen => {}
        }
    }
    fit.seen_enough = has_interval && fit.judged >= LEAST_JUDGED;
    let is_against = |deviation: &Deviation| deviation.confidence != Confidence::Unsure;
    fit.fits = fit.seen_enough && !fit.deviations.iter().any(is_against);
    fit
}

fn is_at_default(want: &Want, facts: &Facts<'_>) -> bool {
    matches!(judge(want, facts), Outcome::Inside { is_default: None | Some(true), .. })
}

/// How much a deviation tells against a profile (chosen): what cannot be changed in a device's settings most, what is
/// often changed least.
const fn weight(want: &Want) -> u32 {
    match want {
        Want::Version(_) => 16,
        Want::SdoId(_) | Want::Transport(_) | Want::DelayMechanism(_) | Want::Carries { .. } => 8,
        Want::Domain { .. }
        | Want::Cast { .. }
        | Want::GroupAddress(_)
        | Want::ProfileIdentity(_)
        | Want::Interval { .. }
        | Want::AboveSync { .. } => 4,
        Want::Subdomain(_)
        | Want::Untagged
        | Want::PcpWhereTagged(_)
        | Want::Announced { .. }
        | Want::TwoStep(_)
        | Want::Ttl(_)
        | Want::Dscp(_)
        | Want::GrantDuration { .. }
        | Want::NotOnTheWire { .. } => 2,
    }
}

/// How much it counts by how surely the row is known (chosen).
const fn sureness(confidence: Confidence) -> u32 {
    match confidence {
        Confidence::Verified => 4,
        Confidence::FromMemory => 3,
        Confidence::Unsure => 1,
    }
}
