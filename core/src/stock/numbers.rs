//! The one door from exact figures into statistics, and the guards every statistic shares.

use crate::CoreError;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// An exact figure as a statistic. Never the other way round.
pub(crate) fn real(value: Decimal) -> f64 {
    value.to_f64().unwrap_or(f64::NAN)
}

/// The number itself, unless a step on the way left the range of the type.
pub(crate) fn finite(value: f64, what: &'static str) -> Result<f64, CoreError> {
    if value.is_finite() { Ok(value) } else { Err(CoreError::OutOfRange { what }) }
}

/// A finite number above zero.
pub(crate) fn positive(value: f64, what: &'static str) -> Result<f64, CoreError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(CoreError::Invalid { what, rule: "must be a number above zero" })
    }
}

/// A finite number that is zero or above.
pub(crate) fn not_negative(value: f64, what: &'static str) -> Result<f64, CoreError> {
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(CoreError::Invalid { what, rule: "must be a number that is zero or above" })
    }
}

/// A finite number, negative ones included.
pub(crate) fn any_finite(value: f64, what: &'static str) -> Result<f64, CoreError> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(CoreError::Invalid { what, rule: "must be a finite number" })
    }
}

/// A share strictly between none and all.
pub(crate) fn open_share(value: f64, what: &'static str) -> Result<f64, CoreError> {
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(CoreError::Invalid { what, rule: "must lie strictly between 0 and 1" })
    }
}

/// A decimal that is zero or above.
pub(crate) fn exact_not_negative(value: Decimal, what: &'static str) -> Result<Decimal, CoreError> {
    if value >= Decimal::ZERO {
        Ok(value)
    } else {
        Err(CoreError::Invalid { what, rule: "must be zero or above" })
    }
}

/// A share from none to all, both ends allowed.
pub(crate) fn share(value: f64, what: &'static str) -> Result<f64, CoreError> {
    if (0.0..=1.0).contains(&value) {
        Ok(value)
    } else {
        Err(CoreError::Invalid { what, rule: "must lie between 0 and 1" })
    }
}

/// A count as a statistic; counts here stay far below 2^53, where this is exact.
pub(crate) fn count(n: usize) -> f64 {
    n.to_f64().unwrap_or(f64::NAN)
}

/// The mean, or none of nothing.
pub(crate) fn mean(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let (mut n, mut sum) = (0, 0.0);
    for value in values {
        n += 1;
        sum += value;
    }
    (n > 0).then(|| sum / count(n))
}

/// A decimal above zero.
pub(crate) fn exact_positive(value: Decimal, what: &'static str) -> Result<Decimal, CoreError> {
    if value > Decimal::ZERO {
        Ok(value)
    } else {
        Err(CoreError::Invalid { what, rule: "must be above zero" })
    }
}
