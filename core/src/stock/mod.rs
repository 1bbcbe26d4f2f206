//! What to order, move and expect: demand, run-out, reorder points, order quantities, baskets.
//!
//! Statistics are `f64`; money and stock levels come in as decimals and cross into statistics through
//! `numbers` and nowhere else. Never here: dates, ids, JSON, the clock.

pub mod basket;
pub mod count_demand;
pub mod demand_class;
pub mod fill_rate;
pub mod forecast_choice;
pub mod forecast_errors;
pub mod intermittent;
pub mod newsvendor;
pub mod normal;
mod numbers;
pub mod order_quantity;
pub mod pack_quantity;
pub mod quantity_discount;
pub mod reorder_policy;
pub mod run_out;
pub mod safety_stock;
pub mod series;
pub mod smoothing;
mod ticks;
pub mod transfer;
pub mod trend;
