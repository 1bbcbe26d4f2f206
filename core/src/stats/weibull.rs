//! The Weibull distribution of pad lives: how many survive an age, and what life to count on.
//! Never fits one: that is `weibull_fit`.

use super::guard;
use crate::CoreError;
use statrs::function::gamma::gamma;

/// A distribution of lives, in use units of the pad (sections, minutes or uses).
///
/// # Formula
/// ```text
/// R(t) = exp(-(t/eta)^b)      R share surviving t, b shape, eta scale: the age 36.8 % survive
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weibull {
    shape: f64,
    scale: f64,
}

impl Weibull {
    /// A distribution by its parameters.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless both are finite and above zero.
    pub fn try_new(shape: f64, scale: f64) -> Result<Self, CoreError> {
        Ok(Self { shape: guard::positive("shape", shape)?, scale: guard::positive("scale", scale)? })
    }

    /// Above one: pads wear out; at one: they fail by chance; below: the bad ones go first.
    #[must_use]
    pub const fn shape(self) -> f64 {
        self.shape
    }

    /// The age that 36.8 % of pads survive.
    #[must_use]
    pub const fn scale(self) -> f64 {
        self.scale
    }

    /// Cumulative hazard, `(t/eta)^b`; infinite when it does not fit.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless the age is finite and not below zero.
    pub fn cumulative_hazard(self, age: f64) -> Result<f64, CoreError> {
        let scaled = guard::not_negative("age", age)? / self.scale;
        if scaled.is_infinite() || (scaled <= 0.0 && age > 0.0) {
            // The quotient does not fit, its logarithm does.
            return Ok((self.shape * (age.ln() - self.scale.ln())).exp());
        }
        Ok(scaled.powf(self.shape))
    }

    /// Share of pads that survive an age.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless the age is finite and not below zero.
    /// # Example
    /// ```
    /// use dropwise_core::stats::weibull::Weibull;
    ///
    /// let pads = Weibull::try_new(2.0, 50.0)?;
    /// assert!((pads.survival(50.0)? - (-1.0_f64).exp()).abs() < 1e-15);
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn survival(self, age: f64) -> Result<f64, CoreError> {
        Ok((-self.cumulative_hazard(age)?).exp())
    }

    /// The age that a share of pads survives.
    ///
    /// # Formula
    /// ```text
    /// t = eta (-ln p)^(1/b)      p share surviving; p = 0.9 gives B10, p = 0.5 the median
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] unless `0 < p < 1`; [`CoreError::OutOfRange`] when the age does not fit.
    pub fn age_survived_by(self, share: f64) -> Result<f64, CoreError> {
        let hazard = -guard::open_share("a share surviving", share)?.ln();
        guard::in_range("the life", self.scale * hazard.powf(1.0 / self.shape))
    }

    /// B10: the age by which one pad in ten has failed.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`] when the age does not fit.
    pub fn b10_life(self) -> Result<f64, CoreError> {
        self.age_survived_by(0.9)
    }

    /// The age by which half of the pads have failed.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`] when the age does not fit.
    pub fn median_life(self) -> Result<f64, CoreError> {
        self.age_survived_by(0.5)
    }

    /// The mean life.
    ///
    /// # Formula
    /// ```text
    /// eta Gamma(1 + 1/b)
    /// ```
    /// # Errors
    /// [`CoreError::OutOfRange`] when it does not fit: a shape below some 0.006 has no mean worth naming.
    pub fn mean_life(self) -> Result<f64, CoreError> {
        guard::in_range("the mean life", self.scale * gamma(1.0 + 1.0 / self.shape))
    }
}
