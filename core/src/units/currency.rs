//! Currencies by their three-letter code, and the digits their amounts are kept to.

use crate::CoreError;
use crate::exact::rounding::{Ties, round};
use iso_currency::Currency as Listed;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;

/// A currency that amounts can be kept in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Currency {
    listed: Listed,
    minor_unit_digits: u32,
}

impl Currency {
    /// The currency of that ISO 4217 code, in capitals.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] for a code that is not on the list, or that has no minor units there
    /// (metals, test codes): nobody is paid in those.
    pub fn from_code(code: &str) -> Result<Self, CoreError> {
        let rule = "must be an ISO 4217 code in capitals, e.g. USD";
        let listed = Listed::from_code(code).ok_or(CoreError::Invalid { what: "currency", rule })?;
        let rule = "has no minor units on the ISO 4217 list, so it is no money to keep books in";
        let digits = listed.exponent().ok_or(CoreError::Invalid { what: "currency", rule })?;
        Ok(Self { listed, minor_unit_digits: digits.into() })
    }

    /// The three-letter code.
    #[must_use]
    pub fn code(self) -> &'static str {
        self.listed.code()
    }

    /// How many decimals an amount has: 2 for cents, 0 where there is nothing smaller than the unit.
    #[must_use]
    pub const fn minor_unit_digits(self) -> u32 {
        self.minor_unit_digits
    }

    /// The amount in whole minor units, halves away from zero.
    ///
    /// # Formula
    /// ```text
    /// n = round_half_up(a 10^d)      a amount in major units, d minor unit digits
    /// ```
    /// # Source
    /// ISO 4217 list one (check values: `currency_minor_units`).
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`] when the count does not fit 64 bits.
    ///
    /// # Example
    /// ```
    /// use dropwise_core::{Decimal, units::currency::Currency};
    /// let yen = Currency::from_code("JPY")?;
    /// assert_eq!(yen.minor_units(Decimal::new(12345, 1))?, 1235);
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn minor_units(self, amount: Decimal) -> Result<i64, CoreError> {
        let too_large = CoreError::OutOfRange { what: "amount" };
        let places = i32::try_from(self.minor_unit_digits).map_err(|_| too_large.clone())?;
        let mut rounded = round(amount, places, Ties::HalfUp)?;
        // Padded to its digits, the amount's own digits are the count of minor units.
        rounded.set_scale(0).map_err(|_| too_large.clone())?;
        rounded.to_i64().ok_or(too_large)
    }
}
