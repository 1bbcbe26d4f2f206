//! Pad life when too few pads have failed to tell how they wear: the shape is kept from experience
//! with the same kind of pad, and only the scale is learnt. Never invents that shape.

use super::weibull::Weibull;
use super::weibull_fit::{WeibullFit, checked, has_finite_shape, maximise};
use super::{guard, quantile};
use crate::CoreError;

/// What is assumed while failures are few.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShapeInReserve {
    /// The shape to keep, from earlier pads of the kind.
    pub fixed_shape: f64,
    /// From how many failures on the shape is fitted instead.
    pub min_failures_for_fit: usize,
    /// Confidence of the one-sided lower bounds.
    pub lower_bound_confidence: f64,
}

/// A pad life with lower bounds to plan by, and how it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PadLife {
    /// Pads that failed.
    pub failures: usize,
    /// Pads that have not.
    pub suspensions: usize,
    /// The distribution found.
    pub weibull: Weibull,
    /// One-sided lower bound of the scale.
    pub scale_lower_bound: f64,
    /// One-sided lower bound of B10.
    pub b10_lower_bound: f64,
    /// The fit behind it; none when the shape was kept fixed.
    pub fit: Option<WeibullFit>,
}

/// Pad life by maximum likelihood when there are failures enough, and with the shape in reserve when
/// there are not, or when all failures are equal and no suspension is longer.
///
/// # Formula
/// ```text
/// eta = (sum_all t^b / max(r, 1))^(1/b),   eta_L = (2 sum_all t^b / chi2_{C, 2r+2})^(1/b)
/// ```
/// with b fixed and r failures; r = 0 treats the first failure as imminent. By maximum likelihood the
/// lower bounds are normal on the log scale.
///
/// # Source
/// Weibayes: Abernethy, The New Weibull Handbook, ch. 6; Nelson, J. Quality Technology 17 (1985) 140
/// (both from memory). Check values: `weibull_few_failures`.
/// # Errors
/// [`CoreError::NotEnough`] without any pad; [`CoreError::Invalid`] for a shape, confidence or life
/// outside its range, or when no pad was ever used; [`CoreError::OutOfRange`] when a figure does not fit.
/// # Example
/// ```
/// use dropwise_core::stats::few_failures::{ShapeInReserve, pad_life};
///
/// let reserve = ShapeInReserve { fixed_shape: 1.0, min_failures_for_fit: 3, lower_bound_confidence: 0.9 };
/// let life = pad_life(&[30.0], &[20.0, 50.0], &reserve)?;
/// assert!((life.weibull.scale() - 100.0).abs() < 1e-12); // 100 sections of use, one failure
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn pad_life(
    failures: &[f64],
    suspensions: &[f64],
    reserve: &ShapeInReserve,
) -> Result<PadLife, CoreError> {
    checked(failures, suspensions)?;
    let confidence = guard::open_share("lower_bound_confidence", reserve.lower_bound_confidence)?;
    let shape = guard::positive("fixed_shape", reserve.fixed_shape)?;
    if failures.is_empty() && suspensions.is_empty() {
        return Err(CoreError::NotEnough { what: "pads", have: 0, need: 1 });
    }
    if failures.len() >= reserve.min_failures_for_fit && has_finite_shape(failures, suspensions) {
        fitted(maximise(failures, suspensions)?, confidence)
    } else {
        with_fixed_shape(failures, suspensions, shape, confidence)
    }
}

fn fitted(fit: WeibullFit, confidence: f64) -> Result<PadLife, CoreError> {
    // The scale is the age that exp(-1) of all pads survive.
    let scale_lower_bound = fit.life_lower_bound((-1.0_f64).exp(), confidence)?;
    Ok(PadLife {
        failures: fit.failures,
        suspensions: fit.suspensions,
        weibull: fit.weibull,
        scale_lower_bound,
        b10_lower_bound: fit.life_lower_bound(0.9, confidence)?,
        fit: Some(fit),
    })
}

fn with_fixed_shape(
    failures: &[f64],
    suspensions: &[f64],
    shape: f64,
    confidence: f64,
) -> Result<PadLife, CoreError> {
    let longest = failures.iter().chain(suspensions).copied().fold(0.0, f64::max);
    guard::positive("the longest use of a pad", longest)?;
    let used: f64 = failures.iter().chain(suspensions).map(|t| (t / longest).powf(shape)).sum();
    let scale_for =
        |failed: f64| guard::in_range_above_zero("the scale", longest * (used / failed).powf(1.0 / shape));
    let weibull = Weibull::try_new(shape, scale_for(guard::count(failures.len().max(1)))?)?;
    let degrees = failures.len().saturating_mul(2).saturating_add(2);
    let scale_lower_bound = scale_for(quantile::chi_squared(confidence, degrees)? / 2.0)?;
    Ok(PadLife {
        failures: failures.len(),
        suspensions: suspensions.len(),
        weibull,
        scale_lower_bound,
        b10_lower_bound: Weibull::try_new(shape, scale_lower_bound)?.b10_life()?,
        fit: None,
    })
}
