//! Sums and differences that are exact or refused.
//!
//! A decimal's own addition rounds without a word when the digits do not fit; book values must not.

use crate::CoreError;
use rust_decimal::Decimal;

/// `a + b`, exactly.
pub(super) fn add(a: Decimal, b: Decimal, what: &'static str) -> Result<Decimal, CoreError> {
    let scale = a.scale().max(b.scale());
    let aligned = |value: Decimal| {
        let step = 10_i128.checked_pow(scale.checked_sub(value.scale())?)?;
        value.mantissa().checked_mul(step)
    };
    let total = aligned(a).zip(aligned(b)).and_then(|(a, b)| a.checked_add(b));
    total.and_then(|total| fit(total, scale)).ok_or(CoreError::OutOfRange { what })
}

/// `a − b`, exactly.
pub(super) fn sub(a: Decimal, b: Decimal, what: &'static str) -> Result<Decimal, CoreError> {
    add(a, -b, what)
}

/// The decimal of that mantissa, dropping trailing zeros only when it would not fit otherwise.
fn fit(mut mantissa: i128, mut scale: u32) -> Option<Decimal> {
    loop {
        if let Ok(value) = Decimal::try_from_i128_with_scale(mantissa, scale) {
            return Some(value);
        }
        if scale == 0 || mantissa.checked_rem(10)? != 0 {
            return None;
        }
        mantissa = mantissa.checked_div(10)?;
        scale = scale.checked_sub(1)?;
    }
}
