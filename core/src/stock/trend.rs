//! Holt's linear trend.

use super::numbers::{any_finite, finite, share};
use super::series::finite_series;
use crate::CoreError;

/// The longest forecast, in periods: ten years of weeks.
pub const LONGEST_HORIZON: u32 = 520;

/// Where level and trend start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TrendStart {
    /// `l_1 = y_1`, `b_1 = y_2 - y_1`; updates start at period 2.
    FirstTwoObservations,
    /// `l_1 = y_1`, `b_1 = (y_4 - y_1)/3`; updates start at period 2.
    MeanOfFirstThreeDifferences,
    /// Both known before period 1; updates start at period 1.
    Given {
        /// Level before period 1.
        level: f64,
        /// Trend before period 1, per period.
        trend: f64,
    },
}

/// A series with its level and trend.
#[derive(Debug, Clone, PartialEq)]
pub struct Trended {
    /// The forecast of each period made one period before; none where there was nothing to go by.
    pub one_step_forecasts: Vec<Option<f64>>,
    /// The last level.
    pub level: f64,
    /// The last trend, per period.
    pub trend: f64,
    /// Forecasts of the periods after the last; a falling trend may take them below zero.
    pub forecasts: Vec<f64>,
}

/// Follows level and trend with fixed weights.
///
/// # Formula
/// ```text
/// f_t = l_(t-1) + b_(t-1)
/// l_t = a y_t + (1 - a) f_t
/// b_t = B (l_t - l_(t-1)) + (1 - B) b_(t-1)
/// forecast k periods ahead = l_n + k b_n        no damping, no floor at zero
/// l level, b trend per period, a weight of the observation (alpha), B weight of the level change (beta)
/// ```
/// # Source
/// Hyndman & Athanasopoulos, Forecasting: Principles and Practice, 3rd ed. (2021), section 8.2 (from
/// memory), where B is written β*. Check values: `holt_linear_trend`.
/// # Errors
/// [`CoreError::NotEnough`] when the start needs more periods; [`CoreError::Invalid`] when a figure is not
/// finite, a weight is outside 0 to 1 or the horizon is above 520; [`CoreError::OutOfRange`] when a
/// forecast leaves the range.
/// # Example
/// ```
/// use dropwise_core::stock::trend::{TrendStart, follow_trend};
/// let rising = follow_trend(&[1.0, 2.0, 3.0], 0.5, 0.5, TrendStart::FirstTwoObservations, 2)?;
/// assert_eq!(rising.forecasts, [4.0, 5.0]);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn follow_trend(
    series: &[f64],
    alpha: f64,
    beta: f64,
    start: TrendStart,
    horizon: u32,
) -> Result<Trended, CoreError> {
    share(alpha, "alpha")?;
    share(beta, "beta")?;
    if horizon > LONGEST_HORIZON {
        return Err(CoreError::Invalid { what: "horizon", rule: "must be at most 520 periods" });
    }
    let mut one_step_forecasts = Vec::with_capacity(series.len());
    let (mut level, mut trend) = started(series, start)?;
    for &y in series {
        if one_step_forecasts.is_empty() && !matches!(start, TrendStart::Given { .. }) {
            one_step_forecasts.push(None);
            continue;
        }
        let forecast = level + trend;
        one_step_forecasts.push(Some(finite(forecast, "forecast")?));
        let before = level;
        level = alpha * y + (1.0 - alpha) * forecast;
        trend = beta * (level - before) + (1.0 - beta) * trend;
    }
    let forecasts =
        (1..=horizon).map(|k| finite(level + f64::from(k) * trend, "forecast")).collect::<Result<_, _>>()?;
    Ok(Trended {
        one_step_forecasts,
        level: finite(level, "level")?,
        trend: finite(trend, "trend")?,
        forecasts,
    })
}

fn started(series: &[f64], start: TrendStart) -> Result<(f64, f64), CoreError> {
    match (start, series) {
        (TrendStart::Given { level, trend }, _) => {
            finite_series(series, 1)?;
            Ok((any_finite(level, "initial level")?, any_finite(trend, "initial trend")?))
        }
        (TrendStart::FirstTwoObservations, [first, second, ..]) => {
            finite_series(series, 2)?;
            Ok((*first, second - first))
        }
        (TrendStart::MeanOfFirstThreeDifferences, [first, _, _, fourth, ..]) => {
            finite_series(series, 4)?;
            Ok((*first, (fourth - first) / 3.0))
        }
        (TrendStart::FirstTwoObservations, _) => Err(too_short(series, 2)),
        (TrendStart::MeanOfFirstThreeDifferences, _) => Err(too_short(series, 4)),
    }
}

fn too_short(series: &[f64], need: usize) -> CoreError {
    CoreError::NotEnough { what: "periods of demand", have: series.len(), need }
}
