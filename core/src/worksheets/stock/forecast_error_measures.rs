//! `forecast_error_measures`.

use super::answer::Answer;
use crate::stock::forecast_errors::{
    ForecastErrors, forecast_errors, naive_scale, pinball_loss, rolling_origin, scaled_error,
};
use crate::stock::smoothing::{LevelStart, smooth};
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::{Value, json};

pub(super) const SHEET: Worksheet = Worksheet {
    method: "forecast_error_measures",
    sentence: "How wrong a forecast was, in units, against the naive forecast, and as a quantile.",
    run,
};

/// The one model a backtest can be asked for by its words.
const SMOOTHING: &str = "simple_exponential_smoothing, first_observation initialisation";

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Inputs {
    PointForecastErrors {
        actual: Vec<f64>,
        forecast: Vec<f64>,
        training: Vec<f64>,
        seasonal_lag_periods: usize,
        #[serde(default)]
        quantiles: Vec<f64>,
    },
    QuantileForecastErrors {
        actual: Vec<f64>,
        quantile_forecasts: Vec<QuantileForecast>,
    },
    RollingOriginBacktest {
        demand_per_week: Vec<f64>,
        model: String,
        alpha: f64,
        first_origin_weeks: usize,
        horizon_weeks: usize,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct QuantileForecast {
    quantile: f64,
    forecast: Vec<f64>,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let answer = Answer::new(steps);
    Ok(match read(inputs)? {
        Inputs::PointForecastErrors { actual, forecast, training, seasonal_lag_periods, quantiles } => {
            let errors = forecast_errors(&actual, &forecast)?;
            let scale = naive_scale(&training, seasonal_lag_periods)?;
            let pinball: Vec<Value> =
                quantiles.iter().map(|q| pinball(&actual, &forecast, *q)).collect::<Result<_, Refusal>>()?;
            put_errors(answer, &errors)
                .step("periods", actual.len())
                .put("scale_training_naive_mae", scale)
                .put("mean_absolute_scaled_error", scaled_error(errors.mean_absolute_error, scale)?)
                .put("pinball", pinball)
        }
        Inputs::QuantileForecastErrors { actual, quantile_forecasts } => {
            let pinball: Vec<Value> = quantile_forecasts
                .iter()
                .map(|q| pinball(&actual, &q.forecast, q.quantile))
                .collect::<Result<_, Refusal>>()?;
            answer.step("periods", actual.len()).put("pinball", pinball)
        }
        Inputs::RollingOriginBacktest {
            demand_per_week,
            model,
            alpha,
            first_origin_weeks,
            horizon_weeks,
        } => {
            if model != SMOOTHING {
                let known = format!("The model known here is \"{SMOOTHING}\".");
                return Err(Refusal::new("bad_inputs", known).at("/model"));
            }
            let level = |seen: &[f64]| Ok(smooth(seen, alpha, LevelStart::FirstObservation)?.level);
            let backtest = rolling_origin(&demand_per_week, first_origin_weeks, horizon_weeks, level)?;
            put_errors(answer, &backtest.errors)
                .step("origins", backtest.forecasts.len())
                .put("forecasts", backtest.forecasts)
                .put("actuals", backtest.actuals)
                .put("mean_absolute_scaled_error", backtest.mean_absolute_scaled_error)
        }
    }
    .done())
}

fn pinball(actual: &[f64], forecast: &[f64], quantile: f64) -> Result<Value, Refusal> {
    let loss = pinball_loss(actual, forecast, quantile)?;
    Ok(json!({ "quantile": quantile, "mean_pinball_loss": loss }))
}

fn put_errors(answer: Answer, errors: &ForecastErrors) -> Answer {
    answer
        .put("mean_error_actual_minus_forecast", errors.mean_error)
        .put("bias_forecast_minus_actual", -errors.mean_error)
        .put("mean_absolute_error", errors.mean_absolute_error)
        .put("root_mean_squared_error", errors.root_mean_squared_error)
}
