//! Simple exponential smoothing.

use super::numbers::{any_finite, finite, mean, share};
use super::series::finite_series;
use crate::CoreError;

/// Where the level starts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LevelStart {
    /// At the first observation, which is not smoothed again; the first forecast is for period 2.
    FirstObservation,
    /// At a level known before period 1; every observation is smoothed, and period 1 has a forecast.
    Given(f64),
}

/// A smoothed series.
#[derive(Debug, Clone, PartialEq)]
pub struct Smoothed {
    /// The forecast of each period made one period before; none where there was nothing to go by.
    pub one_step_forecasts: Vec<Option<f64>>,
    /// The last level, which is the forecast of every later period.
    pub level: f64,
    /// Mean squared error of the one-step forecasts; none when there are none.
    pub mean_squared_error: Option<f64>,
}

/// Smooths a series with a fixed weight.
///
/// # Formula
/// ```text
/// l_t = a y_t + (1 - a) l_(t-1)      forecast of every later period: l_n
/// l level (units per period), y demand (units per period), a weight (alpha)
/// ```
/// Periods without demand are ordinary observations. The weight is never optimised here.
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, section 6.4.3.1. Check values:
/// `simple_exponential_smoothing`.
/// # Errors
/// [`CoreError::NotEnough`] without a period; [`CoreError::Invalid`] when a figure is not finite or the
/// weight is outside 0 to 1; [`CoreError::OutOfRange`] when the squared error leaves the range.
/// # Example
/// ```
/// use dropwise_core::stock::smoothing::{LevelStart, smooth};
/// let smoothed = smooth(&[10.0, 20.0], 0.5, LevelStart::FirstObservation)?;
/// assert_eq!((smoothed.one_step_forecasts[1], smoothed.level), (Some(10.0), 15.0));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn smooth(series: &[f64], alpha: f64, start: LevelStart) -> Result<Smoothed, CoreError> {
    finite_series(series, 1)?;
    share(alpha, "alpha")?;
    let mut level = match start {
        LevelStart::FirstObservation => None,
        LevelStart::Given(level) => Some(any_finite(level, "initial level")?),
    };
    let mut one_step_forecasts = Vec::with_capacity(series.len());
    for &y in series {
        one_step_forecasts.push(level);
        level = Some(next_level(level, y, alpha));
    }
    let squares = one_step_forecasts.iter().zip(series).filter_map(|(f, y)| f.map(|f| (y - f).powi(2)));
    let mean_squared_error = mean(squares).map(|error| finite(error, "mean squared error")).transpose()?;
    let level = finite(level.unwrap_or(0.0), "level")?;
    Ok(Smoothed { one_step_forecasts, level, mean_squared_error })
}

/// The level after one more observation; the first one sets it.
pub(crate) fn next_level(level: Option<f64>, y: f64, alpha: f64) -> f64 {
    level.map_or(y, |level| alpha * y + (1.0 - alpha) * level)
}
