//! What every formula here asks of its inputs, in one wording.

use crate::CoreError;
use rust_decimal::Decimal;

/// Refuses a value below zero.
pub(super) fn not_negative(value: Decimal, what: &'static str) -> Result<(), CoreError> {
    if value >= Decimal::ZERO {
        Ok(())
    } else {
        Err(CoreError::Invalid { what, rule: "must not be negative" })
    }
}

/// Refuses zero and below.
pub(super) fn above_zero(value: Decimal, what: &'static str) -> Result<(), CoreError> {
    if value > Decimal::ZERO { Ok(()) } else { Err(CoreError::Invalid { what, rule: "must be above zero" }) }
}
