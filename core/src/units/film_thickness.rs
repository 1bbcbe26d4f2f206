//! Thickness of paint: micrometres and mils, and the build of its layers.
//! Never says whether a film is thick enough to polish: that is the painter's and the maker's word.

use crate::CoreError;
use rust_decimal::Decimal;

/// Micrometres in a mil, the thousandth of an inch; exact, as the inch is 25.4 mm.
pub const UM_PER_MIL: Decimal = Decimal::from_parts(254, 0, 0, false, 1);

/// Micrometres to mils.
///
/// # Formula
/// ```text
/// 1 mil = 25.4 um
/// ```
/// # Source
/// International yard and pound agreement of 1959 (from memory); check values: `film_thickness`.
/// # Errors
/// [`CoreError::Invalid`] below zero; [`CoreError::OutOfRange`] when the quotient does not fit a decimal.
/// # Example
/// ```
/// use dropwise_core::{Decimal, units::film_thickness::um_to_mil};
///
/// assert_eq!(um_to_mil(Decimal::from(127))?, Decimal::from(5));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn um_to_mil(um: Decimal) -> Result<Decimal, CoreError> {
    thickness(um)?.checked_div(UM_PER_MIL).ok_or(OUT_OF_RANGE)
}

/// Mils to micrometres.
///
/// # Errors
/// [`CoreError::Invalid`] below zero; [`CoreError::OutOfRange`] when the product does not fit a decimal.
pub fn mil_to_um(mil: Decimal) -> Result<Decimal, CoreError> {
    thickness(mil)?.checked_mul(UM_PER_MIL).ok_or(OUT_OF_RANGE)
}

/// The build of a paint system: its layers, from the metal up, added up.
///
/// One entry per layer, in micrometres; may be empty, then the build is zero.
///
/// # Errors
/// [`CoreError::Invalid`] for a layer below zero; [`CoreError::OutOfRange`] when the sum does not fit.
pub fn total_um(layers_um: &[Decimal]) -> Result<Decimal, CoreError> {
    layers_um
        .iter()
        .try_fold(Decimal::ZERO, |sum, layer| sum.checked_add(thickness(*layer)?).ok_or(OUT_OF_RANGE))
}

const OUT_OF_RANGE: CoreError = CoreError::OutOfRange { what: "the film thickness" };

fn thickness(x: Decimal) -> Result<Decimal, CoreError> {
    if x >= Decimal::ZERO {
        Ok(x)
    } else {
        Err(CoreError::Invalid { what: "a film thickness", rule: "must not be below zero" })
    }
}
