//! The one place where an amount loses digits, by name.

use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// Where a value goes that lies exactly between two neighbours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ties {
    /// Away from zero: 0.005 to 0.01, −0.005 to −0.01. The rule for money here.
    HalfUp,
    /// To the even neighbour: 0.125 to 0.12. The rule for long columns of measurements.
    HalfEven,
}

/// The value to `decimal_places` decimals; a negative count rounds to tens, hundreds, ….
///
/// Round once, from the full value: 12.251 to one place is 12.3, never by way of 12.25. The result is
/// padded to its places, so that an amount reads as one.
///
/// # Source
/// IS 2:1960; ISO 80000-1:2009 annex B; General Decimal Arithmetic test cases (check values: `rounding`).
///
/// # Errors
/// [`CoreError::OutOfRange`] when the rounded value, with its places, does not fit a decimal.
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::rounding::{Ties, round}};
/// let value = Decimal::new(2675, 3);
/// assert_eq!(round(value, 2, Ties::HalfUp)?.to_string(), "2.68");
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn round(value: Decimal, decimal_places: i32, ties: Ties) -> Result<Decimal, CoreError> {
    let what = "decimal_places";
    if !(-28..=28).contains(&decimal_places) {
        return Err(CoreError::Invalid { what, rule: "must lie between -28 and 28" });
    }
    let toward = match ties {
        Ties::HalfUp => Toward::HalfUp,
        Ties::HalfEven => Toward::HalfEven,
    };
    Ratio::from(value).rounded(decimal_places, toward, "the rounded value")
}

/// An amount to its currency's minor unit, halves away from zero.
///
/// # Errors
/// As [`round`].
pub fn round_money(amount: Decimal, minor_unit_digits: u32) -> Result<Decimal, CoreError> {
    round(amount, places(minor_unit_digits)?, Ties::HalfUp)
}

/// Minor unit digits as a count of decimal places.
pub(crate) fn places(minor_unit_digits: u32) -> Result<i32, CoreError> {
    let rule = "must lie between 0 and 28";
    let places = i32::try_from(minor_unit_digits).ok().filter(|places| *places <= 28);
    places.ok_or(CoreError::Invalid { what: "minor_unit_digits", rule })
}
