//! Drops counted and millilitres, by one drop size. Exact until a quotient needs its 28th digit.
//! Never estimates the drop size: that is `stats::bottle`.

use crate::CoreError;
use rust_decimal::Decimal;

/// Drop size when nothing is known, in ml per drop.
///
/// # Source
/// The pharmacy convention of 20 drops of water per ml; check values: `drop_conventions`.
pub const CONVENTIONAL_ML_PER_DROP: Decimal = Decimal::from_parts(5, 0, 0, false, 2);

/// Volume put down as drops.
///
/// # Formula
/// ```text
/// V = n v        V volume (ml), n drops (count), v drop size (ml per drop)
/// ```
/// # Source
/// Definition; check values: `drop_conventions`.
/// # Errors
/// [`CoreError::Invalid`] unless the drop size is above zero; [`CoreError::OutOfRange`] when `n v` does
/// not fit a decimal.
/// # Example
/// ```
/// use dropwise_core::units::drops::{CONVENTIONAL_ML_PER_DROP, volume_ml};
///
/// assert_eq!(volume_ml(137, CONVENTIONAL_ML_PER_DROP)?.to_string(), "6.85");
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn volume_ml(drops: u64, ml_per_drop: Decimal) -> Result<Decimal, CoreError> {
    let v = above_zero("ml_per_drop", ml_per_drop)?;
    Decimal::from(drops).checked_mul(v).ok_or(CoreError::OutOfRange { what: "the volume of the drops" })
}

/// Drop size found by counting the drops that fill a known volume.
///
/// # Formula
/// ```text
/// v = V / n      v drop size (ml per drop), V volume (ml), n drops (count)
/// ```
/// # Errors
/// [`CoreError::Invalid`] unless both are above zero; [`CoreError::OutOfRange`] when the quotient does
/// not fit a decimal.
pub fn counted_ml_per_drop(drops: u64, measured_ml: Decimal) -> Result<Decimal, CoreError> {
    let n = above_zero("drops", Decimal::from(drops))?;
    quotient(above_zero("measured_volume_ml", measured_ml)?, n)
}

/// Drops per ml found by counting the drops that fill a known volume.
///
/// # Formula
/// ```text
/// n / V          n drops (count), V volume (ml)
/// ```
/// # Errors
/// As [`counted_ml_per_drop`].
pub fn counted_drops_per_ml(drops: u64, measured_ml: Decimal) -> Result<Decimal, CoreError> {
    let n = above_zero("drops", Decimal::from(drops))?;
    quotient(n, above_zero("measured_volume_ml", measured_ml)?)
}

/// Drop size from the other way of stating it.
///
/// # Formula
/// ```text
/// v = 1 / d      v drop size (ml per drop), d drops per ml
/// ```
/// # Errors
/// [`CoreError::Invalid`] unless `d` is above zero; [`CoreError::OutOfRange`] when the quotient does not
/// fit a decimal.
pub fn ml_per_drop(drops_per_ml: Decimal) -> Result<Decimal, CoreError> {
    quotient(Decimal::ONE, above_zero("drops_per_ml", drops_per_ml)?)
}

fn above_zero(what: &'static str, x: Decimal) -> Result<Decimal, CoreError> {
    if x > Decimal::ZERO { Ok(x) } else { Err(CoreError::Invalid { what, rule: "must be above zero" }) }
}

fn quotient(a: Decimal, b: Decimal) -> Result<Decimal, CoreError> {
    a.checked_div(b).ok_or(CoreError::OutOfRange { what: "the drop size" })
}
