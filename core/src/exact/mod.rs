//! What it cost and earned: decimals only. Never uses a float.
#![deny(clippy::float_arithmetic, clippy::arithmetic_side_effects)]

mod arithmetic;
pub mod break_even;
pub mod card_fee;
pub mod cost_variances;
pub mod depreciation;
pub mod dilution;
mod guards;
pub mod job_sheet;
pub mod margin_bridge;
pub mod mileage;
pub mod overhead;
pub mod overtime;
pub mod pad_cost;
pub mod payroll;
pub mod rounding;
pub mod sales_variances;
pub mod shares;
pub mod stock_average;
pub mod stock_fifo;
pub mod stock_lot;
pub mod target_price;
