//! Driving at a rate per mile.
//!
//! Published rates are a tax matter of one country and change, even within a year; the fleet sets its own.

use super::guards::not_negative;
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// US standard mileage rates for business use: first month it holds, thousandths of a dollar per mile.
const US_STANDARD_RATES: [((u16, u8), i64); 7] = [
    ((2021, 1), 560),
    ((2022, 1), 585),
    ((2022, 7), 625),
    ((2023, 1), 655),
    ((2024, 1), 670),
    ((2025, 1), 700),
    ((2026, 1), 725),
];

/// The last year the table speaks for.
const LAST_YEAR: u16 = 2026;

/// The US standard rate per mile of a month, as a proposal to whoever sets the fleet's own; `None` outside
/// the years known here.
///
/// # Source
/// Internal Revenue Service notices, read on secondary pages (check values: `mileage`, header).
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::mileage::us_standard_rate};
/// assert_eq!(us_standard_rate(2022, 8), Some(Decimal::new(625, 3)));
/// assert_eq!(us_standard_rate(1999, 1), None);
/// ```
#[must_use]
pub fn us_standard_rate(year: u16, month: u8) -> Option<Decimal> {
    if year > LAST_YEAR || !(1..=12).contains(&month) {
        return None;
    }
    let held = US_STANDARD_RATES.iter().rfind(|(from, _)| *from <= (year, month));
    held.map(|(_, thousandths)| Decimal::new(*thousandths, 3))
}

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
