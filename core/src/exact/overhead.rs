//! Overhead spread over jobs at a rate set in advance, and what the month left over.

use super::guards::{above_zero, not_negative};
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// A rate set in advance: estimated overhead over its estimated base (hours, or money of labour).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OverheadRate {
    overhead: Decimal,
    base: Decimal,
}

/// How the overhead of a period came out against what was applied to jobs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settlement {
    /// Applied to jobs, to the cent.
    pub applied: Decimal,
    /// Actual less applied; negative when jobs bore too much.
    pub under_applied: Decimal,
}

impl OverheadRate {
    /// From the year's estimate.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless the base is above zero and the overhead is not negative.
    pub fn estimated(overhead: Decimal, base: Decimal) -> Result<Self, CoreError> {
        not_negative(overhead, "estimated_overhead")?;
        above_zero(base, "estimated_base")?;
        Ok(Self { overhead, base })
    }

    /// From a rate already set.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] for a negative rate.
    pub fn per_base_unit(rate: Decimal) -> Result<Self, CoreError> {
        not_negative(rate, "predetermined_rate")?;
        Ok(Self { overhead: rate, base: Decimal::ONE })
    }

    /// Money per unit of base, not rounded.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`].
    pub fn rate(self) -> Result<Decimal, CoreError> {
        self.ratio()?.decimal("predetermined rate")
    }

    /// Overhead for so much of the base, to the cent.
    ///
    /// # Formula
    /// ```text
    /// applied = round_half_up(b O / B)      b actual base, O estimated overhead, B estimated base
    /// ```
    /// # Source
    /// Worked examples of a published accounting textbook (check values: `overhead`).
    ///
    /// # Errors
    /// [`CoreError::Invalid`] for a negative base; [`CoreError::OutOfRange`].
    ///
    /// # Example
    /// ```
    /// use dropwise_core::{Decimal, exact::overhead::OverheadRate};
    /// let rate = OverheadRate::estimated(Decimal::from(250_000), Decimal::from(100_000))?;
    /// assert_eq!(rate.applied(Decimal::from(66))?, Decimal::from(165));
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn applied(self, actual_base: Decimal) -> Result<Decimal, CoreError> {
        not_negative(actual_base, "actual_base")?;
        let applied = self.ratio()? * actual_base.into();
        applied.rounded(2, Toward::HalfUp, "applied overhead")
    }

    /// What a period's actual overhead leaves unexplained by its jobs.
    ///
    /// # Formula
    /// ```text
    /// under-applied = actual overhead − applied
    /// ```
    /// # Errors
    /// As [`OverheadRate::applied`], and for a negative overhead.
    pub fn settle(self, actual_base: Decimal, actual_overhead: Decimal) -> Result<Settlement, CoreError> {
        not_negative(actual_overhead, "actual_overhead")?;
        let applied = self.applied(actual_base)?;
        let under = Ratio::from(actual_overhead) - applied.into();
        Ok(Settlement { applied, under_applied: under.rounded(2, Toward::HalfUp, "under-applied overhead")? })
    }

    fn ratio(self) -> Result<Ratio, CoreError> {
        Ratio::from(self.overhead).over(&self.base.into(), "estimated_base")
    }
}
