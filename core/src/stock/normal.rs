//! The standard normal distribution as stock control uses it: service factor and loss.

use super::numbers::{any_finite, open_share, positive};
use crate::CoreError;
use libm::erfc; // within a few units of the last digit; that of statrs 0.19 errs by some 4e-10
use statrs::function::erf::erfc_inv;
use std::f64::consts::{PI, SQRT_2};

/// Beyond this many standard deviations the tail is below the smallest `f64`.
const FAR: f64 = 40.0;

/// Density of the standard normal, `phi(z) = exp(-z^2/2) / sqrt(2 pi)`.
#[must_use]
pub fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// `Phi(z) = P(Z <= z)`, by the complementary error function, so that the lower tail keeps its digits.
#[must_use]
pub fn cumulative(z: f64) -> f64 {
    0.5 * erfc(-z / SQRT_2)
}

/// `1 - Phi(z) = P(Z > z)`, accurate far into the upper tail.
#[must_use]
pub fn upper_tail(z: f64) -> f64 {
    0.5 * erfc(z / SQRT_2)
}

/// Standard normal loss: the expected part of Z above z.
///
/// # Formula
/// ```text
/// G(z) = E[(Z - z)^+] = phi(z) - z (1 - Phi(z))        G(-z) = z + G(z)
/// ```
/// A normal demand with mean m and standard deviation s exceeds a level x by `s G((x - m)/s)` on average.
/// # Source
/// Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), loss functions (from memory).
/// Check values: `normal_service_factor_and_loss`.
/// # Example
/// ```
/// assert!((dropwise_core::stock::normal::loss(0.0) - 0.3989).abs() < 5e-5);
/// ```
#[must_use]
pub fn loss(z: f64) -> f64 {
    if z >= FAR {
        return 0.0;
    }
    if z <= -FAR {
        return -z;
    }
    (density(z) - z * upper_tail(z)).max(0.0)
}

/// Second-order standard normal loss: half the expected square of the part of Z above z.
///
/// # Formula
/// ```text
/// G2(z) = 1/2 E[((Z - z)^+)^2] = 1/2 ((z^2 + 1)(1 - Phi(z)) - z phi(z)),   G2'(z) = -G(z)
/// ```
/// # Source
/// Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), loss functions (from memory).
/// # Example
/// ```
/// assert_eq!(dropwise_core::stock::normal::second_loss(0.0), 0.25);
/// ```
#[must_use]
pub fn second_loss(z: f64) -> f64 {
    if z >= FAR {
        return 0.0;
    }
    (0.5 * ((z * z + 1.0) * upper_tail(z) - z * density(z))).max(0.0)
}

/// Service factor: the z with `Phi(z) = p`.
///
/// # Formula
/// `z = -sqrt(2) erfc_inv(2 p)`.
/// # Errors
/// [`CoreError::Invalid`] unless `0 < p < 1`.
/// # Example
/// ```
/// let z = dropwise_core::stock::normal::service_factor(0.95)?;
/// assert!((z - 1.6448536269514722).abs() < 1e-12);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn service_factor(p: f64) -> Result<f64, CoreError> {
    open_share(p, "probability")?;
    Ok(-SQRT_2 * erfc_inv(2.0 * p))
}

/// The z whose loss is the one given; any positive loss has exactly one.
///
/// # Formula
/// Root of `G(z) = L` by bisection between `-L` (where `G >= L`) and the far tail; G falls strictly.
/// # Errors
/// [`CoreError::Invalid`] unless the loss is a number above zero.
/// # Example
/// ```
/// let z = dropwise_core::stock::normal::factor_for_loss(0.08)?;
/// assert!((z - 1.0212388775).abs() < 1e-9);   // textbooks read 1.02 from the table
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn factor_for_loss(target: f64) -> Result<f64, CoreError> {
    positive(target, "loss")?;
    if target >= FAR {
        // G(-L) = L + G(L), and G(40) is below the smallest number.
        return Ok(-target);
    }
    Ok(falling_root(|z| loss(z) - target, -target, FAR))
}

/// Where a falling function crosses zero between `low` and `high`, to the last bit.
pub(crate) fn falling_root(f: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    // Halving a bracket of doubles ends by itself; the bound only says so.
    for _ in 0..2_100 {
        let middle = low + 0.5 * (high - low);
        if middle <= low || middle >= high {
            break;
        }
        if f(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    low + 0.5 * (high - low)
}

/// Expected shortage of a normal demand above a level.
///
/// # Formula
/// `s G((x - m)/s)`; when `s = 0` it is `max(m - x, 0)`.
/// # Errors
/// [`CoreError::Invalid`] when a figure is not finite or the standard deviation is negative.
/// # Example
/// ```
/// // The level is two below a demand that never varies: two are missing.
/// assert_eq!(dropwise_core::stock::normal::expected_shortage(10.0, 0.0, 8.0)?, 2.0);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn expected_shortage(mean: f64, sd: f64, level: f64) -> Result<f64, CoreError> {
    any_finite(mean, "mean demand")?;
    any_finite(level, "level")?;
    super::numbers::not_negative(sd, "standard deviation")?;
    let short = if sd > 0.0 { sd * loss((level - mean) / sd) } else { (mean - level).max(0.0) };
    super::numbers::finite(short, "expected shortage")
}
