//! How heavy a drop can be, by the tip it falls from. A plausibility check on a measured drop size.
//! Never replaces a weighing.

use super::guard;
use crate::CoreError;
use std::f64::consts::PI;

/// Mass of one drop of water from a calibrated dropper, in mg, both ends included.
///
/// # Source
/// USP 32, general chapter 1101 Medicine Dropper (2009); check values: `drop_conventions`.
pub const COMPENDIAL_WATER_DROP_MG: (f64, f64) = (45.0, 55.0);

/// Share of the ideal drop that really falls, both ends included.
///
/// # Source
/// Harkins and Brown, J. Am. Chem. Soc. 41 (1919) 499 (from memory); check values: `drop_conventions`.
pub const PLAUSIBLE_DETACHED_FRACTION: (f64, f64) = (0.55, 0.95);

/// Whether a drop of water weighs what a calibrated dropper gives.
///
/// # Errors
/// [`CoreError::Invalid`] unless the mass is finite and above zero.
pub fn within_compendial_range(water_drop_mg: f64) -> Result<bool, CoreError> {
    let (low, high) = COMPENDIAL_WATER_DROP_MG;
    Ok((low..=high).contains(&guard::positive("water_drop_mass_mg", water_drop_mg)?))
}

/// The largest drop surface tension can hold at a tip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IdealDrop {
    /// Its mass, in mg.
    pub mass_mg: f64,
    /// Its volume, in microlitres.
    pub volume_ul: f64,
}

/// Tate's law: the weight of the ideal drop equals the pull of the surface around the tip.
///
/// # Formula
/// ```text
/// m = pi d sigma / g,  V = m / rho
/// d wetted diameter of the tip (mm), sigma surface tension (N/m), g gravity (m/s^2), rho density (g/ml)
/// ```
/// With d in mm and sigma in N/m the quotient comes out in grams; times 1000 it is in mg.
///
/// # Source
/// Tate, Phil. Mag. 27 (1864) 176 (from memory); check values: `drop_conventions`.
/// # Errors
/// [`CoreError::Invalid`] unless every input is finite and above zero; [`CoreError::OutOfRange`] when a
/// figure does not fit.
/// # Example
/// ```
/// use dropwise_core::stats::drop_weight::ideal_drop;
///
/// let drop = ideal_drop(3.0, 0.0727, 1.0, 9.80665)?; // water at a 3 mm tip
/// assert!((drop.mass_mg - 69.87).abs() < 0.01);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn ideal_drop(
    tip_diameter_mm: f64,
    surface_tension_n_per_m: f64,
    density_g_per_ml: f64,
    gravity_m_per_s2: f64,
) -> Result<IdealDrop, CoreError> {
    let d = guard::positive("tip_wetted_diameter_mm", tip_diameter_mm)?;
    let sigma = guard::positive("surface_tension_n_per_m", surface_tension_n_per_m)?;
    let rho = guard::positive("density_g_per_ml", density_g_per_ml)?;
    let g = guard::positive("gravity_m_per_s2", gravity_m_per_s2)?;
    let mass_mg = guard::in_range_above_zero("the ideal drop", 1000.0 * PI * d * sigma / g)?;
    Ok(IdealDrop { mass_mg, volume_ul: guard::in_range_above_zero("the ideal drop", mass_mg / rho)? })
}

/// The share of the ideal drop that a measured drop is: the rest stays at the tip.
///
/// # Errors
/// [`CoreError::Invalid`] unless the measured mass is finite and above zero.
pub fn detached_fraction(measured_mg: f64, ideal: &IdealDrop) -> Result<f64, CoreError> {
    let measured = guard::positive("measured_drop_mass_mg", measured_mg)?;
    guard::in_range("the detached fraction", measured / ideal.mass_mg)
}

/// Whether a tip of that size can have given a drop of that size.
#[must_use]
pub fn is_plausible(detached_fraction: f64) -> bool {
    let (low, high) = PLAUSIBLE_DETACHED_FRACTION;
    (low..=high).contains(&detached_fraction)
}
