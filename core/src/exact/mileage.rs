//! Driving at a rate per mile.
//!
//! Published rates are a tax matter of one country and change, even within a year; the fleet sets its own.

use super::guards::not_negative;
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// Miles driven at one rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Leg {
    /// Miles.
    pub miles: Decimal,
    /// Money per mile, as it stood on the day.
    pub rate_per_mile: Decimal,
}

/// What the driving comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MileageAmount {
    /// Not rounded.
    pub amount_exact: Decimal,
    /// To the cent.
    pub amount: Decimal,
}

/// The sum of the legs, rounded once at the end, halves away from zero.
///
/// # Formula
/// ```text
/// A = Σ d_i r_i      d miles, r rate per mile; one entry per leg, in any order; none gives zero
/// ```
/// # Source
/// US standard mileage rates, with the change in the middle of 2022 (check values: `mileage`).
///
/// # Errors
/// [`CoreError::Invalid`] when a leg is negative; [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::mileage::{Leg, mileage_amount}};
/// let leg = Leg { miles: Decimal::new(5, 1), rate_per_mile: Decimal::new(67, 2) };
/// assert_eq!(mileage_amount(&[leg])?.amount, Decimal::new(34, 2));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn mileage_amount(legs: &[Leg]) -> Result<MileageAmount, CoreError> {
    for leg in legs {
        not_negative(leg.miles, "miles")?;
        not_negative(leg.rate_per_mile, "rate_per_mile")?;
    }
    let amount: Ratio = legs.iter().map(|leg| Ratio::from(leg.miles) * leg.rate_per_mile.into()).sum();
    Ok(MileageAmount {
        amount_exact: amount.decimal("amount")?,
        amount: amount.rounded(2, Toward::HalfUp, "amount")?,
    })
}
