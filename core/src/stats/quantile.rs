//! Quantiles of the distributions the estimators lean on, with their guards.
//!
//! `statrs` gives the distribution functions. Of its inverses only the normal one keeps its digits:
//! those of chi-squared and Student's t stop early (measured against scipy: up to 2e-8 and 2e-5), so
//! they are found here by halving.

use super::{guard, root};
use crate::CoreError;
use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::beta::checked_beta_reg;
use statrs::function::gamma::checked_gamma_lr;

/// `Phi^-1((1 + C) / 2)`: how many standard deviations to either side hold the share `C`.
pub(super) fn normal_two_sided(confidence: f64) -> Result<f64, CoreError> {
    let tail = (1.0 - guard::open_share("confidence", confidence)?) / 2.0;
    // Asked for in the lower tail, where a small probability keeps its digits.
    guard::in_range("the normal quantile", -Normal::standard().inverse_cdf(tail))
}

/// `Phi^-1(p)`, one-sided.
pub(super) fn normal(p: f64) -> Result<f64, CoreError> {
    let p = guard::open_share("a probability", p)?;
    guard::in_range("the normal quantile", Normal::standard().inverse_cdf(p))
}

/// The `t` that holds the share `C` between `-t` and `t`, with `nu` degrees of freedom.
///
/// # Formula
/// ```text
/// P(|T| > t) = I_x(nu/2, 1/2),  x = nu / (nu + t^2)
/// ```
/// # Source
/// Abramowitz and Stegun 26.7.1 and 26.5.27 (from memory).
pub(super) fn student_two_sided(confidence: f64, degrees: usize) -> Result<f64, CoreError> {
    const WHAT: &str = "Student's t quantile";
    let tails = 1.0 - guard::open_share("confidence", confidence)?;
    let nu = guard::positive("degrees of freedom", guard::count(degrees))?;
    let outside = |ln_t: f64| {
        let x = nu / (nu + (2.0 * ln_t).exp());
        // The ends of the range are known and are refused or mishandled by the library.
        if x <= 0.0 { 0.0 } else { checked_beta_reg(nu / 2.0, 0.5, x).unwrap_or(f64::NAN) }
    };
    // With one degree of freedom the smallest tails still lie within e^40.
    let ln_t = root::of_increasing(WHAT, -745.0, 40.0, |ln_t| tails - outside(ln_t))?;
    guard::in_range(WHAT, ln_t.exp())
}

/// The quantile of chi-squared: `P(X <= x) = p` with `nu` degrees of freedom.
///
/// # Formula
/// ```text
/// P(X <= x) = P(nu/2, x/2)      P regularised lower incomplete gamma
/// ```
/// # Source
/// Abramowitz and Stegun 26.4.19 (from memory); the upper end of the search is the tail bound of
/// Laurent and Massart, Ann. Statist. 28 (2000) 1302, lemma 1 (from memory).
pub(super) fn chi_squared(p: f64, degrees: usize) -> Result<f64, CoreError> {
    const WHAT: &str = "the chi-squared quantile";
    let p = guard::open_share("a probability", p)?;
    let nu = guard::positive("degrees of freedom", guard::count(degrees))?;
    let below = |ln_x: f64| checked_gamma_lr(nu / 2.0, ln_x.exp() / 2.0).unwrap_or(f64::NAN);
    let spread = -(1.0 - p).ln();
    let highest = (nu + 2.0 * (nu * spread).sqrt() + 2.0 * spread).ln();
    let ln_x = root::of_increasing(WHAT, -700.0, highest + 1e-9, |ln_x| below(ln_x) - p)?;
    guard::in_range(WHAT, ln_x.exp())
}
