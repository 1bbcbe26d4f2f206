//! Which forecast suits an item: candidates fitted, compared and scored on stretches that do not overlap.

use super::demand_class::{DemandClass, classify, measure};
use super::intermittent::{CrostonState, TsbState};
use super::numbers::{count, finite};
use super::series::demands;
use super::smoothing::next_level;
use crate::CoreError;

/// The weights tried for each method.
const WEIGHTS: [f64; 6] = [0.05, 0.1, 0.15, 0.2, 0.3, 0.4];
/// The weight used where a series is too short to choose one; the usual value for slow items.
const USUAL_WEIGHT: f64 = 0.1;
/// The shortest series that is divided for a backtest.
pub const SHORTEST_BACKTEST: usize = 16;

/// The methods compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ForecastMethod {
    /// Simple exponential smoothing.
    Smoothing,
    /// Croston.
    Croston,
    /// Syntetos-Boylan approximation.
    SyntetosBoylan,
    /// Teunter-Syntetos-Babai.
    TeunterSyntetosBabai,
}

impl ForecastMethod {
    /// In the order in which equals are preferred.
    pub const ALL: [Self; 4] =
        [Self::Smoothing, Self::SyntetosBoylan, Self::TeunterSyntetosBabai, Self::Croston];

    /// The word worksheets use.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Smoothing => "simple_exponential_smoothing",
            Self::Croston => "croston",
            Self::SyntetosBoylan => "syntetos_boylan",
            Self::TeunterSyntetosBabai => "teunter_syntetos_babai",
        }
    }
}

/// Why this method was chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ForecastBasis {
    /// There was no demand at all: the forecast is zero.
    NoDemand,
    /// The series is too short to divide: by its class, with the usual weight.
    Class(DemandClass),
    /// It did best on the second stretch.
    Backtest,
}

/// One method with the weight that did best on the first stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForecastCandidate {
    /// The method.
    pub method: ForecastMethod,
    /// Its weight.
    pub alpha: f64,
    /// Root mean squared one-step error on the second stretch, by which methods are compared.
    pub compared: f64,
    /// Root mean squared one-step error on the third stretch, which nothing was fitted or chosen on.
    pub scored: f64,
}

/// The forecast of an item.
#[derive(Debug, Clone, PartialEq)]
pub struct ForecastChoice {
    /// The method chosen.
    pub method: ForecastMethod,
    /// Its weight.
    pub alpha: f64,
    /// Why.
    pub basis: ForecastBasis,
    /// Demand forecast for every later period, units per period; made from the whole series.
    pub per_period: f64,
    /// Root mean squared one-step error to expect; none without a backtest.
    pub expected_error: Option<f64>,
    /// Every method compared; empty without a backtest.
    pub candidates: Vec<ForecastCandidate>,
}

/// Chooses a method and its weight for a series, and forecasts with it.
///
/// # Formula
/// ```text
/// stretches: periods 2 .. n/2, n/2 + 1 .. 3n/4, 3n/4 + 1 .. n
/// weight of a method = argmin of its squared one-step error on the first
/// method             = argmin over methods on the second
/// error to expect    = that of the method on the third
/// ```
/// Every error is that of a forecast made one period before, from what came before it. Nothing is fitted on
/// what it is scored on. Squared errors are compared because they are least for the mean; absolute ones
/// would prefer forecasts of zero for items that are mostly not used. Of equals the simpler method wins.
/// Below 16 periods the class decides: smoothing for smooth and erratic demand, Syntetos-Boylan for
/// intermittent and lumpy.
/// # Source
/// Rolling-origin evaluation: Hyndman & Athanasopoulos, Forecasting: Principles and Practice, 3rd ed.
/// (2021), section 5.10 (from memory); the classes: Syntetos & Boylan (2005).
/// # Errors
/// [`CoreError::NotEnough`] without a period; [`CoreError::Invalid`] when one is negative or not finite;
/// [`CoreError::OutOfRange`] when squared errors leave the range.
/// # Example
/// ```
/// use dropwise_core::stock::forecast_choice::{ForecastMethod, choose_forecast};
/// let steady = choose_forecast(&[5.0; 24])?;
/// assert_eq!((steady.method, steady.per_period), (ForecastMethod::Smoothing, 5.0));
/// assert_eq!(steady.expected_error, Some(0.0));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn choose_forecast(series: &[f64]) -> Result<ForecastChoice, CoreError> {
    demands(series)?;
    let Some(measures) = measure(series)? else {
        return Ok(without_backtest(series, ForecastMethod::Smoothing, ForecastBasis::NoDemand));
    };
    if series.len() < SHORTEST_BACKTEST {
        let class = classify(measures)?;
        let method = match class {
            DemandClass::Smooth | DemandClass::Erratic => ForecastMethod::Smoothing,
            DemandClass::Intermittent | DemandClass::Lumpy => ForecastMethod::SyntetosBoylan,
        };
        return Ok(without_backtest(series, method, ForecastBasis::Class(class)));
    }
    let mut candidates = Vec::with_capacity(ForecastMethod::ALL.len());
    for method in ForecastMethod::ALL {
        candidates.push(candidate(series, method)?);
    }
    let best = candidates
        .iter()
        .copied()
        .reduce(|best, other| if other.compared < best.compared { other } else { best })
        .ok_or(CoreError::OutOfRange { what: "forecast error" })?;
    Ok(ForecastChoice {
        method: best.method,
        alpha: best.alpha,
        basis: ForecastBasis::Backtest,
        per_period: finite(Model::after(series, best.method, best.alpha), "forecast")?,
        expected_error: Some(best.scored),
        candidates,
    })
}

fn without_backtest(series: &[f64], method: ForecastMethod, basis: ForecastBasis) -> ForecastChoice {
    ForecastChoice {
        method,
        alpha: USUAL_WEIGHT,
        basis,
        per_period: Model::after(series, method, USUAL_WEIGHT),
        expected_error: None,
        candidates: Vec::new(),
    }
}

/// Squared errors of one method and weight, summed over each stretch.
#[derive(Debug, Clone, Copy)]
struct Errors {
    alpha: f64,
    fitted: f64,
    compared: f64,
    scored: f64,
}

fn candidate(series: &[f64], method: ForecastMethod) -> Result<ForecastCandidate, CoreError> {
    let best = WEIGHTS
        .iter()
        .map(|alpha| errors(series, method, *alpha))
        .reduce(|best, other| if other.fitted < best.fitted { other } else { best })
        .ok_or(CoreError::OutOfRange { what: "forecast error" })?;
    let (half, last) = (series.len() / 2, series.len() * 3 / 4);
    let root = |sum: f64, periods: usize| finite(sum / count(periods), "forecast error").map(f64::sqrt);
    Ok(ForecastCandidate {
        method,
        alpha: best.alpha,
        compared: root(best.compared, last - half)?,
        scored: root(best.scored, series.len() - last)?,
    })
}

fn errors(series: &[f64], method: ForecastMethod, alpha: f64) -> Errors {
    let (half, last) = (series.len() / 2, series.len() * 3 / 4);
    let mut errors = Errors { alpha, fitted: 0.0, compared: 0.0, scored: 0.0 };
    let mut model = Model::new(method);
    for (period, y) in series.iter().enumerate() {
        // Before the first period nothing is known to forecast it from.
        if period > 0 {
            let squared = (y - model.forecast(alpha)).powi(2);
            let stretch = if period < half {
                &mut errors.fitted
            } else if period < last {
                &mut errors.compared
            } else {
                &mut errors.scored
            };
            *stretch += squared;
        }
        model.observe(*y, alpha);
    }
    errors
}

/// Any of the methods, period by period.
enum Model {
    Smoothing(Option<f64>),
    Croston(CrostonState),
    SyntetosBoylan(CrostonState),
    TeunterSyntetosBabai(TsbState),
}

impl Model {
    fn new(method: ForecastMethod) -> Self {
        match method {
            ForecastMethod::Smoothing => Self::Smoothing(None),
            ForecastMethod::Croston => Self::Croston(CrostonState::default()),
            ForecastMethod::SyntetosBoylan => Self::SyntetosBoylan(CrostonState::default()),
            ForecastMethod::TeunterSyntetosBabai => Self::TeunterSyntetosBabai(TsbState::default()),
        }
    }

    /// The forecast after a whole series.
    fn after(series: &[f64], method: ForecastMethod, alpha: f64) -> f64 {
        let mut model = Self::new(method);
        for y in series {
            model.observe(*y, alpha);
        }
        model.forecast(alpha)
    }

    fn observe(&mut self, y: f64, alpha: f64) {
        match self {
            Self::Smoothing(level) => *level = Some(next_level(*level, y, alpha)),
            Self::Croston(state) | Self::SyntetosBoylan(state) => state.observe(y, alpha),
            Self::TeunterSyntetosBabai(state) => state.observe(y, alpha, alpha),
        }
    }

    fn forecast(&self, alpha: f64) -> f64 {
        match self {
            Self::Smoothing(level) => level.unwrap_or(0.0),
            Self::Croston(state) => state.forecast(),
            Self::SyntetosBoylan(state) => state.approximation(alpha),
            Self::TeunterSyntetosBabai(state) => state.forecast(),
        }
    }
}
