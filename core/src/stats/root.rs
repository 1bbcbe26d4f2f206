//! Where an increasing function crosses zero, by halving. Slow, bounded, and safe for every input.

use crate::CoreError;

/// Halvings after which any interval of `f64` has shrunk to neighbouring numbers.
const MOST_HALVINGS: u32 = 2_100;

/// The crossing of an increasing function between `low` and `high`, to the last digit.
///
/// The caller brackets: `f(low) <= 0 <= f(high)`; outside of that the nearer end is found.
///
/// # Errors
/// [`CoreError::NoConvergence`] when the function gives no number.
pub(super) fn of_increasing(
    what: &'static str,
    mut low: f64,
    mut high: f64,
    f: impl Fn(f64) -> f64,
) -> Result<f64, CoreError> {
    for _ in 0..MOST_HALVINGS {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        let value = f(middle);
        if value.is_nan() {
            return Err(CoreError::NoConvergence { what });
        }
        if value < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(f64::midpoint(low, high))
}
