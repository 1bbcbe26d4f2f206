//! Which kind of demand a series is: smooth, erratic, intermittent or lumpy.

use super::numbers::{count, mean, not_negative};
use super::series::demands;
use crate::CoreError;

/// Average demand interval from which demand counts as intermittent, periods.
pub const INTERVAL_CUT_OFF: f64 = 1.32;
/// Squared coefficient of variation from which demand counts as erratic.
pub const VARIATION_CUT_OFF: f64 = 0.49;

/// The four classes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DemandClass {
    /// Often and alike.
    Smooth,
    /// Often, in very different sizes.
    Erratic,
    /// Seldom, alike.
    Intermittent,
    /// Seldom, in very different sizes.
    Lumpy,
}

impl DemandClass {
    /// The word of the literature.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Smooth => "smooth",
            Self::Erratic => "erratic",
            Self::Intermittent => "intermittent",
            Self::Lumpy => "lumpy",
        }
    }
}

/// How often demand comes and how much its size varies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemandMeasures {
    /// Periods per period with demand (ADI).
    pub average_interval: f64,
    /// Squared coefficient of variation of the non-zero demands (CV²).
    pub squared_coefficient_of_variation: f64,
}

/// ADI and CV² of a series; none when there is no demand at all.
///
/// # Formula
/// ```text
/// ADI = n / n+        n periods, n+ periods with demand
/// CV² = (s / m)²      s sample standard deviation (divisor n+ - 1), m mean of the non-zero demands;
///                     0 when there is only one
/// ```
/// # Source
/// Syntetos & Boylan (2005), International Journal of Forecasting 21, 303-314. Check values:
/// `demand_classification`.
/// # Errors
/// [`CoreError::NotEnough`] without a period; [`CoreError::Invalid`] when one is negative or not finite.
/// # Example
/// ```
/// use dropwise_core::stock::demand_class::{DemandClass, classify, measure};
/// // One demand in six weeks: an interval of 6, no variation.
/// let measures = measure(&[0.0, 0.0, 0.0, 7.0, 0.0, 0.0])?.unwrap();
/// assert_eq!(measures.average_interval, 6.0);
/// assert_eq!(classify(measures)?, DemandClass::Intermittent);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn measure(series: &[f64]) -> Result<Option<DemandMeasures>, CoreError> {
    demands(series)?;
    // In shares of the largest: the measures do not depend on scale, and squares stay in range.
    let largest = series.iter().copied().fold(0.0, f64::max);
    let sizes: Vec<f64> = series.iter().filter(|y| **y > 0.0).map(|y| y / largest).collect();
    let Some(mean_size) = mean(sizes.iter().copied()) else {
        return Ok(None);
    };
    let squares: f64 = sizes.iter().map(|y| (y - mean_size).powi(2)).sum();
    let variance = if sizes.len() > 1 { squares / count(sizes.len() - 1) } else { 0.0 };
    Ok(Some(DemandMeasures {
        average_interval: count(series.len()) / count(sizes.len()),
        squared_coefficient_of_variation: variance / (mean_size * mean_size),
    }))
}

/// The class of these measures; a measure exactly on its cut-off goes to the higher class.
///
/// # Formula
/// Interval below or from 1.32, variation below or from 0.49.
/// # Source
/// Syntetos & Boylan (2005), International Journal of Forecasting 21, 303-314.
/// # Errors
/// [`CoreError::Invalid`] when the interval is below one period or the variation negative.
pub fn classify(measures: DemandMeasures) -> Result<DemandClass, CoreError> {
    let interval = not_negative(measures.average_interval, "average demand interval")?;
    let variation =
        not_negative(measures.squared_coefficient_of_variation, "squared coefficient of variation")?;
    if interval < 1.0 {
        return Err(CoreError::Invalid {
            what: "average demand interval",
            rule: "must be at least one period",
        });
    }
    Ok(match (interval >= INTERVAL_CUT_OFF, variation >= VARIATION_CUT_OFF) {
        (false, false) => DemandClass::Smooth,
        (false, true) => DemandClass::Erratic,
        (true, false) => DemandClass::Intermittent,
        (true, true) => DemandClass::Lumpy,
    })
}
