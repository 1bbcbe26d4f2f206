//! Demand in whole pieces over a lead time: Poisson or negative binomial, its quantiles and shortages.

use super::numbers::{finite, not_negative, open_share, positive};
use crate::CoreError;
use rust_decimal::prelude::ToPrimitive;

/// The largest mean summed piece by piece.
pub const LARGEST_MEAN: f64 = 1.0e6;
/// The largest variance of a negative binomial demand, as a multiple of its mean.
pub const LARGEST_DISPERSION: f64 = 1.0e5;

/// How many pieces are asked for over a lead time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountDemand {
    mean: f64,
    /// None for Poisson; else shape r and chance of success q.
    shape: Option<(f64, f64)>,
}

/// The smallest stock that meets a service probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountQuantile {
    /// k, pieces.
    pub reorder_point: u64,
    /// `P(X ≤ k)`.
    pub probability: f64,
    /// `P(X ≤ k - 1)`; zero when k is zero.
    pub probability_one_below: f64,
    /// `E[(X - k)^+]`, pieces.
    pub expected_short: f64,
}

impl CountDemand {
    /// Poisson demand.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] when the mean is negative or above a million.
    pub fn poisson(mean: f64) -> Result<Self, CoreError> {
        Ok(Self { mean: checked_mean(mean)?, shape: None })
    }

    /// Negative binomial demand by mean and variance, for demand more scattered than Poisson.
    ///
    /// # Formula
    /// ```text
    /// r = m² / (v - m)        q = m / v        P(X = k) = Gamma(k + r) / (Gamma(r) k!) q^r (1 - q)^k
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] unless `0 < m < v`, with m at most a million and v at most 100,000 m.
    pub fn negative_binomial(mean: f64, variance: f64) -> Result<Self, CoreError> {
        positive(checked_mean(mean)?, "mean demand over the lead time")?;
        if !(variance > mean && variance <= LARGEST_DISPERSION * mean) {
            return Err(CoreError::Invalid {
                what: "variance of demand over the lead time",
                rule: "must be above the mean and at most 100,000 times the mean",
            });
        }
        let r = finite(mean * mean / (variance - mean), "shape")?;
        Ok(Self { mean, shape: Some((positive(r, "shape")?, mean / variance)) })
    }

    /// Mean, pieces.
    #[must_use]
    pub const fn mean(&self) -> f64 {
        self.mean
    }

    /// Shape r and chance of success q of a negative binomial; none for Poisson.
    #[must_use]
    pub const fn shape(&self) -> Option<(f64, f64)> {
        self.shape
    }

    /// `P(X = k + 1) / P(X = k)`.
    pub(crate) fn ratio(&self, k: u64) -> f64 {
        let x = real(k);
        match self.shape {
            None => self.mean / (x + 1.0),
            Some((r, q)) => (x + r) / (x + 1.0) * (1.0 - q),
        }
    }

    /// A count k and `P(X = k)` from which on the masses are worth adding up; all below it together weigh
    /// less than the last digit. Walks up from zero in units of an ever smaller scale, so that the mass at
    /// zero may lie below the smallest double, and no logarithm of a large gamma function loses digits.
    pub(crate) fn start(&self) -> (u64, f64) {
        const WORTH_ADDING: f64 = -200.0;
        const STEP: f64 = 1.0e50;
        let mut ln_scale = match self.shape {
            None => -self.mean,
            Some((r, q)) => r * q.ln(),
        };
        let (mut k, mut mass) = (0, 1.0);
        while ln_scale < WORTH_ADDING {
            mass *= self.ratio(k);
            k += 1;
            if mass > STEP {
                mass /= STEP;
                ln_scale += STEP.ln();
            }
        }
        (k, mass * ln_scale.exp())
    }

    /// The smallest k with `P(X ≤ k) ≥ p`, and what is short on average at that stock.
    ///
    /// # Formula
    /// ```text
    /// k = min { k ≥ 0 : P(X ≤ k) ≥ p }        E[(X - k)^+] = sum_(x > k) (x - k) P(X = x)
    /// ```
    /// Summed from the far lower tail; a remainder below the last digit of a double counts as reached.
    /// # Source
    /// Definition. Check values: `discrete_lead_time_demand_quantiles`.
    /// # Errors
    /// [`CoreError::Invalid`] unless `0 < p < 1`.
    /// # Example
    /// ```
    /// use dropwise_core::stock::count_demand::CountDemand;
    /// assert_eq!(CountDemand::poisson(3.0)?.quantile(0.95)?.reorder_point, 6);
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn quantile(&self, p: f64) -> Result<CountQuantile, CoreError> {
        open_share(p, "service probability")?;
        let (mut k, mut mass) = self.start();
        let (mut below, mut reached) = (0.0, mass);
        while reached < p && (real(k) < self.mean || mass > reached * f64::EPSILON * 1e-3) {
            mass *= self.ratio(k);
            k += 1;
            below = reached;
            reached += mass;
        }
        Ok(CountQuantile {
            reorder_point: k,
            probability: reached.min(1.0),
            probability_one_below: below.min(1.0),
            expected_short: self.shortage_above(k, mass),
        })
    }

    /// Sum over the upper tail, from `mass = P(X = k)`: only positive terms, so nothing cancels.
    fn shortage_above(&self, k: u64, mut mass: f64) -> f64 {
        let (mut x, mut short) = (k, 0.0);
        loop {
            mass *= self.ratio(x);
            x += 1;
            let term = real(x - k) * mass;
            short += term;
            if real(x) > self.mean && term <= short * f64::EPSILON * 1e-2 {
                return short;
            }
        }
    }
}

fn checked_mean(mean: f64) -> Result<f64, CoreError> {
    const WHAT: &str = "mean demand over the lead time";
    if not_negative(mean, WHAT)? > LARGEST_MEAN {
        return Err(CoreError::Invalid { what: WHAT, rule: "must be at most 1,000,000" });
    }
    Ok(mean)
}

/// Piece counts here stay far below 2^53, where this is exact.
fn real(k: u64) -> f64 {
    k.to_f64().unwrap_or(f64::INFINITY)
}
