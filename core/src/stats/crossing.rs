//! The one way from an estimate to the books: a number of the statistics becomes a decimal quantity.
//! Never the other way round, and never for money.

use super::guard;
use crate::CoreError;
use crate::exact::rounding::{Ties, round};
use rust_decimal::Decimal;

/// Decimals a booked quantity has.
pub const QUANTITY_PLACES: i32 = 4;

/// An estimated quantity as it is booked: to four decimals, halves to the even neighbour, so that long
/// columns of estimates do not drift.
///
/// # Errors
/// [`CoreError::Invalid`] for a number that is not finite; [`CoreError::OutOfRange`] when it does not
/// fit a decimal.
///
/// # Example
/// ```
/// use dropwise_core::stats::crossing::booked_quantity;
/// assert_eq!(booked_quantity(18.0 * 0.05)?.to_string(), "0.9000");
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn booked_quantity(estimate: f64) -> Result<Decimal, CoreError> {
    let estimate = guard::finite("an estimated quantity", estimate)?;
    let exact =
        Decimal::from_f64_retain(estimate).ok_or(CoreError::OutOfRange { what: "an estimated quantity" })?;
    round(exact, QUANTITY_PLACES, Ties::HalfEven)
}
