//! Worksheets of the `stock` room. Reads inputs, calls one function, writes its result; no formula here.

mod answer;
mod demand_classification;
mod forecast_error_measures;
mod holt_linear_trend;
mod intermittent_demand_forecast;
mod normal_loss;
mod run_out_date;
mod simple_exponential_smoothing;

use super::Worksheet;

/// Every worksheet of this room, in name order.
pub(super) const ALL: &[Worksheet] = &[
    demand_classification::SHEET,
    forecast_error_measures::SHEET,
    holt_linear_trend::SHEET,
    intermittent_demand_forecast::SHEET,
    normal_loss::SHEET,
    run_out_date::SHEET,
    simple_exponential_smoothing::SHEET,
];
