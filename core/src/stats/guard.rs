//! What a formula demands of its numbers, said once. Never computes an answer.

use crate::CoreError;
use rust_decimal::prelude::ToPrimitive;

/// The number, when it is finite.
pub(super) fn finite(what: &'static str, x: f64) -> Result<f64, CoreError> {
    if x.is_finite() { Ok(x) } else { Err(CoreError::Invalid { what, rule: "must be a finite number" }) }
}

/// The number, when it is finite and above zero.
pub(super) fn positive(what: &'static str, x: f64) -> Result<f64, CoreError> {
    if finite(what, x)? > 0.0 { Ok(x) } else { Err(CoreError::Invalid { what, rule: "must be above zero" }) }
}

/// The number, when it is finite and not below zero.
pub(super) fn not_negative(what: &'static str, x: f64) -> Result<f64, CoreError> {
    if finite(what, x)? >= 0.0 {
        Ok(x)
    } else {
        Err(CoreError::Invalid { what, rule: "must not be below zero" })
    }
}

/// The number, when it lies strictly between zero and one: a confidence, a probability to aim at.
pub(super) fn open_share(what: &'static str, x: f64) -> Result<f64, CoreError> {
    if finite(what, x)? > 0.0 && x < 1.0 {
        Ok(x)
    } else {
        Err(CoreError::Invalid { what, rule: "must lie between 0 and 1, both excluded" })
    }
}

/// A result, when it still fits an `f64`.
pub(super) fn in_range(what: &'static str, x: f64) -> Result<f64, CoreError> {
    if x.is_finite() { Ok(x) } else { Err(CoreError::OutOfRange { what }) }
}

/// A result that a quotient or a power must not round away to nothing.
pub(super) fn in_range_above_zero(what: &'static str, x: f64) -> Result<f64, CoreError> {
    if in_range(what, x)? > 0.0 { Ok(x) } else { Err(CoreError::OutOfRange { what }) }
}

/// How many, as a real number; exact up to 2^53.
pub(super) fn count(n: usize) -> f64 {
    n.to_f64().unwrap_or(f64::MAX)
}
