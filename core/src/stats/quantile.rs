//! Quantiles of the distributions the estimators lean on, with their guards. `statrs` does the work.

use super::guard;
use crate::CoreError;
use statrs::distribution::{ContinuousCDF, Normal};

/// `Phi^-1((1 + C) / 2)`: how many standard deviations to either side hold the share `C`.
pub(super) fn normal_two_sided(confidence: f64) -> Result<f64, CoreError> {
    let tail = (1.0 - guard::open_share("confidence", confidence)?) / 2.0;
    // Asked for in the lower tail, where a small probability keeps its digits.
    guard::in_range("the normal quantile", -Normal::standard().inverse_cdf(tail))
}
