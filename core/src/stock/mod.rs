//! What to order, move and expect: demand, run-out, reorder points, order quantities, baskets.
//!
//! Statistics are `f64`; money and stock levels come in as decimals and cross into statistics through
//! `numbers` and nowhere else. Never here: dates, ids, JSON, the clock.

pub mod demand_class;
pub mod forecast_errors;
pub mod intermittent;
pub mod normal;
mod numbers;
pub mod run_out;
pub mod series;
pub mod smoothing;
pub mod trend;
