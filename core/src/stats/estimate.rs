//! A quantity that is not known exactly: its mean and its standard deviation.

use super::{guard, quantile};
use crate::CoreError;

/// A mean with its standard deviation, in the unit of the quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    mean: f64,
    sd: f64,
}

impl Estimate {
    /// An estimate.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] when either number is not finite, or the spread is below zero.
    pub fn try_new(mean: f64, sd: f64) -> Result<Self, CoreError> {
        Ok(Self {
            mean: guard::finite("an estimate's mean", mean)?,
            sd: guard::not_negative("an estimate's standard deviation", sd)?,
        })
    }

    /// The mean.
    #[must_use]
    pub const fn mean(self) -> f64 {
        self.mean
    }

    /// The standard deviation.
    #[must_use]
    pub const fn sd(self) -> f64 {
        self.sd
    }

    /// The two-sided normal interval.
    ///
    /// # Formula
    /// ```text
    /// m -+ z s       m mean, s standard deviation, z = Phi^-1((1 + C) / 2), C confidence
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] unless `0 < confidence < 1`; [`CoreError::OutOfRange`] when an end does
    /// not fit.
    pub fn interval(self, confidence: f64) -> Result<[f64; 2], CoreError> {
        let half = quantile::normal_two_sided(confidence)? * self.sd;
        let lower = guard::in_range("an interval's lower end", self.mean - half)?;
        let upper = guard::in_range("an interval's upper end", self.mean + half)?;
        Ok([lower, upper])
    }
}
