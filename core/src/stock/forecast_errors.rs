//! How wrong a forecast was: errors, scaled errors, pinball loss, and the backtest that measures them.

use super::numbers::{any_finite, finite, mean, open_share};
use super::series::finite_series;
use crate::CoreError;

/// Errors of a forecast against what happened, `e_t = actual_t - forecast_t`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForecastErrors {
    /// `mean(e)`; above zero the forecast was too low.
    pub mean_error: f64,
    /// `mean|e|`.
    pub mean_absolute_error: f64,
    /// `sqrt(mean e²)`.
    pub root_mean_squared_error: f64,
}

/// Errors of one forecast series.
///
/// # Formula
/// `mean(e)`, `mean|e|`, `sqrt(mean e²)` with `e_t = actual_t - forecast_t`.
/// # Source
/// Hyndman & Athanasopoulos, Forecasting: Principles and Practice, 3rd ed. (2021), section 5.8. Check
/// values: `forecast_error_measures`.
/// # Errors
/// [`CoreError::NotEnough`] without a period; [`CoreError::Invalid`] when the two series differ in length
/// or a figure is not finite; [`CoreError::OutOfRange`] when a square leaves the range.
/// # Example
/// ```
/// use dropwise_core::stock::forecast_errors::forecast_errors;
/// let errors = forecast_errors(&[4.0, 4.0], &[5.0, 1.0])?;
/// assert_eq!((errors.mean_error, errors.mean_absolute_error), (1.0, 2.0));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn forecast_errors(actual: &[f64], forecast: &[f64]) -> Result<ForecastErrors, CoreError> {
    same_shape(actual, forecast)?;
    let errors = || actual.iter().zip(forecast).map(|(y, f)| y - f);
    let of = |value: Option<f64>| finite(value.unwrap_or(0.0), "forecast error");
    Ok(ForecastErrors {
        mean_error: of(mean(errors()))?,
        mean_absolute_error: of(mean(errors().map(f64::abs)))?,
        root_mean_squared_error: of(mean(errors().map(|e| e * e)))?.sqrt(),
    })
}

/// The yardstick of scaled errors: how wrong the naive forecast was on the training series.
///
/// # Formula
/// `mean |y_t - y_(t-m)|` over the training series, m the seasonal lag (1: naive). None when the series is
/// not longer than the lag.
/// # Errors
/// [`CoreError::Invalid`] when the lag is zero or a figure is not finite.
pub fn naive_scale(training: &[f64], lag: usize) -> Result<Option<f64>, CoreError> {
    finite_series(training, 1)?;
    if lag == 0 {
        return Err(CoreError::Invalid { what: "seasonal lag", rule: "must be at least one period" });
    }
    let differences = training.iter().zip(training.iter().skip(lag)).map(|(a, b)| (b - a).abs());
    mean(differences).map(|scale| finite(scale, "scale of the errors")).transpose()
}

/// Mean absolute scaled error; none when the scale is zero or unknown.
///
/// # Formula
/// `mean|e| / scale`.
/// # Source
/// Hyndman & Athanasopoulos, Forecasting: Principles and Practice, 3rd ed. (2021), section 5.8.
/// # Errors
/// [`CoreError::OutOfRange`] when the quotient leaves the range.
pub fn scaled_error(mean_absolute_error: f64, scale: Option<f64>) -> Result<Option<f64>, CoreError> {
    scale
        .filter(|scale| *scale > 0.0)
        .map(|scale| finite(mean_absolute_error / scale, "scaled error"))
        .transpose()
}

/// Mean pinball loss of a forecast read as a quantile.
///
/// # Formula
/// `q (y - f)` when `y >= f`, else `(1 - q)(f - y)`, averaged; no factor 2.
/// # Source
/// The quantile regression loss of Koenker & Bassett (1978), from memory. Check values:
/// `forecast_error_measures`.
/// # Errors
/// [`CoreError::Invalid`] when the quantile is not strictly between 0 and 1, or as [`forecast_errors`].
/// # Example
/// ```
/// use dropwise_core::stock::forecast_errors::pinball_loss;
/// // One unit too low costs nine times as much as one too high.
/// assert_eq!(pinball_loss(&[2.0], &[1.0], 0.9)?, 0.9);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn pinball_loss(actual: &[f64], forecast: &[f64], quantile: f64) -> Result<f64, CoreError> {
    same_shape(actual, forecast)?;
    open_share(quantile, "quantile")?;
    let losses = actual
        .iter()
        .zip(forecast)
        .map(|(y, f)| if y >= f { quantile * (y - f) } else { (1.0 - quantile) * (f - y) });
    finite(mean(losses).unwrap_or(0.0), "pinball loss")
}

/// A backtest: what was forecast at each origin, what came, how wrong it was.
#[derive(Debug, Clone, PartialEq)]
pub struct Backtest {
    /// One forecast per origin.
    pub forecasts: Vec<f64>,
    /// What happened in the period forecast.
    pub actuals: Vec<f64>,
    /// The errors over all origins.
    pub errors: ForecastErrors,
    /// Mean absolute error over the naive one of the first periods; none when that is zero.
    pub mean_absolute_scaled_error: Option<f64>,
}

/// Runs a model again at each origin and compares it with what it had not seen.
///
/// # Formula
/// At each origin k from `first_origin` on, the model sees periods 1..k and forecasts period `k + horizon`.
/// Errors as [`forecast_errors`]; the scale is the naive one (lag 1) of the first `first_origin` periods.
/// # Source
/// Hyndman & Athanasopoulos, Forecasting: Principles and Practice, 3rd ed. (2021), section 5.10 (from
/// memory). Check values: `forecast_error_measures`.
/// # Errors
/// [`CoreError::Invalid`] when the first origin or the horizon is zero; [`CoreError::NotEnough`] when no
/// origin has a period to be judged by; what the model refuses.
pub fn rolling_origin(
    series: &[f64],
    first_origin: usize,
    horizon: usize,
    model: impl Fn(&[f64]) -> Result<f64, CoreError>,
) -> Result<Backtest, CoreError> {
    if first_origin == 0 || horizon == 0 {
        return Err(CoreError::Invalid {
            what: "first origin and horizon",
            rule: "must be at least one period",
        });
    }
    finite_series(series, first_origin.saturating_add(horizon))?;
    let (mut forecasts, mut actuals) = (Vec::new(), Vec::new());
    for origin in first_origin..=series.len() - horizon {
        let (Some(seen), Some(actual)) = (series.get(..origin), series.get(origin + horizon - 1)) else {
            continue;
        };
        forecasts.push(any_finite(model(seen)?, "forecast")?);
        actuals.push(*actual);
    }
    let errors = forecast_errors(&actuals, &forecasts)?;
    let scale = naive_scale(series.get(..first_origin).unwrap_or_default(), 1)?;
    let mean_absolute_scaled_error = scaled_error(errors.mean_absolute_error, scale)?;
    Ok(Backtest { forecasts, actuals, errors, mean_absolute_scaled_error })
}

fn same_shape(actual: &[f64], forecast: &[f64]) -> Result<(), CoreError> {
    finite_series(actual, 1)?;
    if actual.len() != forecast.len() {
        return Err(CoreError::Invalid { what: "forecast", rule: "must have one figure per actual" });
    }
    finite_series(forecast, 1)
}
