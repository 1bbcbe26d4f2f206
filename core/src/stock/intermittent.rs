//! Forecasts of demand that comes only now and then: Croston, Syntetos-Boylan, Teunter-Syntetos-Babai.

use super::numbers::{finite, share};
use super::series::demands;
use super::smoothing::next_level;
use crate::CoreError;

/// The weights of the three methods, each from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntermittentWeights {
    /// Of sizes and intervals (Croston, Syntetos-Boylan).
    pub alpha: f64,
    /// Of sizes (Teunter-Syntetos-Babai).
    pub alpha_demand: f64,
    /// Of the chance of demand (Teunter-Syntetos-Babai).
    pub alpha_probability: f64,
}

/// Size and interval after one period with demand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemandState {
    /// Smoothed size, units per period with demand.
    pub size_level: f64,
    /// Smoothed interval, periods.
    pub interval_level: f64,
}

/// The three forecasts and their states.
#[derive(Debug, Clone, PartialEq)]
pub struct IntermittentForecast {
    /// Croston states after each period with demand; empty when there was none.
    pub states: Vec<DemandState>,
    /// Croston, units per period.
    pub croston: f64,
    /// Syntetos-Boylan approximation, units per period.
    pub syntetos_boylan: f64,
    /// Smoothed size of Teunter-Syntetos-Babai; none without demand.
    pub tsb_size_level: Option<f64>,
    /// Smoothed chance of demand in a period.
    pub tsb_probability_level: f64,
    /// Teunter-Syntetos-Babai, units per period.
    pub teunter_syntetos_babai: f64,
}

/// Forecasts a series by the three methods.
///
/// # Formula
/// ```text
/// Z_i = a z_i + (1 - a) Z_(i-1), Z_1 = z_1       A_i = a a_i + (1 - a) A_(i-1), A_1 = a_1
/// Croston Z/A        Syntetos-Boylan (1 - a/2) Z/A
/// P_t = b [y_t > 0] + (1 - b) P_(t-1), P_1 = [y_1 > 0]        Teunter-Syntetos-Babai P Z'
/// z_i i-th non-zero demand (units), a_i periods since the one before (leading zeros count), P chance of
/// demand, Z' size smoothed with its own weight, a alpha, b alpha_probability
/// ```
/// Croston changes only in periods with demand; the last method also falls while nothing is used.
/// Without any demand every forecast is zero.
/// # Source
/// Croston (1972), Operational Research Quarterly 23; Syntetos & Boylan (2005), International Journal of
/// Forecasting 21, 303-314; Teunter, Syntetos & Babai (2011), European Journal of Operational Research 214
/// (the first and last from memory). Check values: `intermittent_demand_forecast`.
/// # Errors
/// [`CoreError::NotEnough`] without a period; [`CoreError::Invalid`] when a period is negative or not
/// finite, or a weight is outside 0 to 1.
/// # Example
/// ```
/// use dropwise_core::stock::intermittent::{IntermittentWeights, forecast_intermittent};
/// let weights = IntermittentWeights { alpha: 0.1, alpha_demand: 0.1, alpha_probability: 0.1 };
/// // Six units in week 5 and nothing else: 6/5 a week.
/// let forecast = forecast_intermittent(&[0.0, 0.0, 0.0, 0.0, 6.0, 0.0, 0.0], weights)?;
/// assert_eq!(forecast.croston, 1.2);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn forecast_intermittent(
    series: &[f64],
    weights: IntermittentWeights,
) -> Result<IntermittentForecast, CoreError> {
    demands(series)?;
    share(weights.alpha, "alpha")?;
    share(weights.alpha_demand, "alpha of demand")?;
    share(weights.alpha_probability, "alpha of probability")?;
    let (mut croston, mut tsb) = (CrostonState::default(), TsbState::default());
    let mut states = Vec::new();
    for &y in series {
        croston.observe(y, weights.alpha);
        tsb.observe(y, weights.alpha_demand, weights.alpha_probability);
        if let (true, Some(state)) = (y > 0.0, croston.state) {
            states.push(state);
        }
    }
    Ok(IntermittentForecast {
        states,
        croston: finite(croston.forecast(), "forecast")?,
        syntetos_boylan: finite(croston.approximation(weights.alpha), "forecast")?,
        tsb_size_level: tsb.size_level,
        tsb_probability_level: tsb.probability_level.unwrap_or(0.0),
        teunter_syntetos_babai: finite(tsb.forecast(), "forecast")?,
    })
}

/// Croston's method, period by period.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct CrostonState {
    state: Option<DemandState>,
    periods_since_demand: f64,
}

impl CrostonState {
    pub(crate) fn observe(&mut self, y: f64, alpha: f64) {
        self.periods_since_demand += 1.0;
        if y > 0.0 {
            let before = self.state;
            self.state = Some(DemandState {
                size_level: next_level(before.map(|s| s.size_level), y, alpha),
                interval_level: next_level(
                    before.map(|s| s.interval_level),
                    self.periods_since_demand,
                    alpha,
                ),
            });
            self.periods_since_demand = 0.0;
        }
    }

    /// Intervals are at least one period, so this never divides by zero.
    pub(crate) fn forecast(&self) -> f64 {
        self.state.map_or(0.0, |state| state.size_level / state.interval_level)
    }

    pub(crate) fn approximation(&self, alpha: f64) -> f64 {
        (1.0 - 0.5 * alpha) * self.forecast()
    }
}

/// The method of Teunter, Syntetos and Babai, period by period.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct TsbState {
    size_level: Option<f64>,
    probability_level: Option<f64>,
}

impl TsbState {
    pub(crate) fn observe(&mut self, y: f64, alpha_demand: f64, alpha_probability: f64) {
        let demanded = if y > 0.0 { 1.0 } else { 0.0 };
        self.probability_level = Some(next_level(self.probability_level, demanded, alpha_probability));
        if y > 0.0 {
            self.size_level = Some(next_level(self.size_level, y, alpha_demand));
        }
    }

    pub(crate) fn forecast(&self) -> f64 {
        self.probability_level.unwrap_or(0.0) * self.size_level.unwrap_or(0.0)
    }
}
