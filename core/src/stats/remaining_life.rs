//! What is left of a pad that has already lived: the chance to last a job, and the life to count on.
//! Never knows how the pad looks: an inspection outranks it.

use super::weibull::Weibull;
use super::{guard, incomplete_gamma};
use crate::CoreError;

/// A pad of a known age, from a known distribution of lives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsedPad {
    weibull: Weibull,
    age: f64,
    hazard: f64,
}

impl UsedPad {
    /// A pad that has survived to an age, in the use units of the distribution.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless the age is finite and not below zero.
    pub fn try_new(weibull: Weibull, age: f64) -> Result<Self, CoreError> {
        Ok(Self { weibull, age, hazard: weibull.cumulative_hazard(age)? })
    }

    /// The chance to survive some use more.
    ///
    /// # Formula
    /// ```text
    /// P(T > t + s | T > t) = exp((t/eta)^b - ((t + s)/eta)^b)      t age, s use to come
    /// ```
    /// # Source
    /// Definition of conditional probability; check values: `conditional_life`.
    /// # Errors
    /// [`CoreError::Invalid`] unless the use is finite and not below zero; [`CoreError::OutOfRange`] for
    /// a pad so far beyond every life that its hazard does not fit and yet does not grow.
    /// # Example
    /// ```
    /// use dropwise_core::stats::{remaining_life::UsedPad, weibull::Weibull};
    ///
    /// let pad = UsedPad::try_new(Weibull::try_new(1.0, 50.0)?, 80.0)?; // fails by chance only
    /// assert!((pad.survives(50.0)? - (-1.0_f64).exp()).abs() < 1e-15); // age does not matter
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn survives(&self, extra_use: f64) -> Result<f64, CoreError> {
        let s = guard::not_negative("extra_use", extra_use)?;
        if s <= 0.0 {
            return Ok(1.0);
        }
        let shape = self.weibull.shape();
        let more = if self.hazard > 0.0 {
            // The difference of two large hazards, without taking it.
            self.hazard * (shape * (s / self.age).ln_1p()).exp_m1()
        } else {
            ((self.age + s) / self.weibull.scale()).powf(shape)
        };
        if more.is_nan() {
            return Err(CoreError::OutOfRange { what: "the hazard to come" });
        }
        Ok((-more).exp())
    }

    /// The mean use still to come.
    ///
    /// # Formula
    /// ```text
    /// exp(z) (eta/b) Gamma(1/b, z),  z = (t/eta)^b      Gamma(a, z) upper incomplete
    /// ```
    /// # Source
    /// The integral of the conditional survival, substituted; check values: `conditional_life`.
    /// # Errors
    /// [`CoreError::OutOfRange`] when it does not fit.
    pub fn mean_residual_life(&self) -> Result<f64, CoreError> {
        /// From here on the first term of the continued fraction is the whole of it.
        const FAR: f64 = 1e17;
        let (shape, scale, z) = (self.weibull.shape(), self.weibull.scale(), self.hazard);
        if z <= 0.0 {
            // New, or so young that its past does not show.
            return Ok((self.weibull.mean_life()? - self.age).max(0.0));
        }
        let life = if z < FAR {
            scale / shape * incomplete_gamma::upper_scaled(1.0 / shape, z)
        } else {
            // 1 / hazard rate: (eta/b) (t/eta)^(1 - b).
            scale / shape * (self.age / scale).powf(1.0 - shape)
        };
        guard::in_range("the mean residual life", life)
    }

    /// The use to come that is survived with a given probability.
    ///
    /// # Formula
    /// ```text
    /// s = eta (z - ln p)^(1/b) - t,  z = (t/eta)^b
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] unless `0 < p < 1`; [`CoreError::OutOfRange`] when it does not fit.
    pub fn extra_use_survived_by(&self, probability: f64) -> Result<f64, CoreError> {
        let wanted = -guard::open_share("target_probability", probability)?.ln();
        let (shape, scale, z) = (self.weibull.shape(), self.weibull.scale(), self.hazard);
        let extra = if z > wanted {
            // The difference of two close ages, without taking it.
            self.age * ((wanted / z).ln_1p() / shape).exp_m1()
        } else {
            (scale * (z + wanted).powf(1.0 / shape) - self.age).max(0.0)
        };
        guard::in_range("the use to come", extra)
    }

    /// The use to come that half of such pads survive.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`] when it does not fit.
    pub fn median_residual_life(&self) -> Result<f64, CoreError> {
        self.extra_use_survived_by(0.5)
    }
}
