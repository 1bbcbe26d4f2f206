//! How many pads are still in service at each age, without assuming any distribution.
//! Never looks past the last failure: what comes after is not known.

use super::{guard, quantile, weibull_fit};
use crate::CoreError;

/// So close to one half, a product of fractions is one half: 5/6 x 3/5 need not round to 0.5.
const HALF_SLACK: f64 = 1e-12;

/// The curve and its median.
#[derive(Debug, Clone, PartialEq)]
pub struct KaplanMeier {
    /// One point per age at which pads failed, in order of age.
    pub points: Vec<SurvivalPoint>,
    /// The first failure age that no more than half of the pads survive; none when never reached.
    pub median_life: Option<f64>,
}

/// The curve after the failures at one age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurvivalPoint {
    /// The age.
    pub time: f64,
    /// Pads in service just before.
    pub at_risk: usize,
    /// Pads that failed.
    pub events: usize,
    /// Share surviving.
    pub survival: f64,
    /// Its uncertainty; none where nobody survives, for Greenwood's formula divides by zero there.
    pub spread: Option<SurvivalSpread>,
}

/// Uncertainty of a share surviving.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurvivalSpread {
    /// Greenwood's standard deviation.
    pub greenwood_sd: f64,
    /// `S -+ z sd`, clipped to 0 to 1.
    pub plain: [f64; 2],
    /// Interval by the log of the log of the survival, which stays within 0 to 1 by itself.
    pub log_log: [f64; 2],
}

/// The product-limit estimate.
///
/// `failures` are ages at which pads failed, each above zero; `suspensions` ages of pads that have
/// not, zero or more. Either may be empty, not both.
///
/// # Formula
/// ```text
/// S(t_i) = prod_j<=i (n_j - d_j)/n_j      n_j at risk just before t_j, d_j failures at t_j
/// sd = S sqrt(G),  G = sum d/(n (n - d));  log-log interval: S^exp(+-z sqrt(G)/ln S)
/// ```
/// A suspension at the same age as a failure counts as at risk.
///
/// # Source
/// Kaplan & Meier, J. Am. Stat. Assoc. 53 (1958) 457-481 (from memory); NIST/SEMATECH e-Handbook
/// 8.2.1.5; check values: `kaplan_meier`.
/// # Errors
/// [`CoreError::NotEnough`] without any pad; [`CoreError::Invalid`] for a life or a confidence outside
/// its range.
/// # Example
/// ```
/// use dropwise_core::stats::kaplan_meier::kaplan_meier;
///
/// let curve = kaplan_meier(&[9.0], &[3.0, 5.0, 12.0, 12.0], 0.95)?;
/// assert!((curve.points[0].survival - 2.0 / 3.0).abs() < 1e-15); // one of three left failed
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn kaplan_meier(
    failures: &[f64],
    suspensions: &[f64],
    confidence: f64,
) -> Result<KaplanMeier, CoreError> {
    weibull_fit::checked(failures, suspensions)?;
    let z = quantile::normal_two_sided(confidence)?;
    if failures.is_empty() && suspensions.is_empty() {
        return Err(CoreError::NotEnough { what: "pads", have: 0, need: 1 });
    }
    let mut failed = failures.to_vec();
    let mut suspended = suspensions.to_vec();
    failed.sort_by(f64::total_cmp);
    suspended.sort_by(f64::total_cmp);

    let mut points = Vec::new();
    let (mut survival, mut greenwood, mut gone) = (1.0, 0.0, 0_usize);
    for tied in failed.chunk_by(|a, b| a.total_cmp(b).is_eq()) {
        let Some(&time) = tied.first() else { continue };
        let left_before = suspended.partition_point(|t| *t < time);
        let at_risk = (failed.len() + suspended.len()).saturating_sub(gone + left_before);
        let events = tied.len();
        let (n, d) = (guard::count(at_risk), guard::count(events));
        survival *= (n - d) / n;
        greenwood += d / (n * (n - d));
        points.push(SurvivalPoint {
            time,
            at_risk,
            events,
            survival,
            spread: spread(survival, greenwood, z),
        });
        gone += events;
    }
    let median = points.iter().find(|point| point.survival <= 0.5 + HALF_SLACK);
    Ok(KaplanMeier { median_life: median.map(|point| point.time), points })
}

fn spread(survival: f64, greenwood: f64, z: f64) -> Option<SurvivalSpread> {
    if survival <= 0.0 || !greenwood.is_finite() {
        return None;
    }
    let sd = survival * greenwood.sqrt();
    let reach = (z * greenwood.sqrt() / survival.ln()).abs();
    Some(SurvivalSpread {
        greenwood_sd: sd,
        plain: [(survival - z * sd).max(0.0), (survival + z * sd).min(1.0)],
        log_log: [survival.powf(reach.exp()), survival.powf((-reach).exp())],
    })
}
