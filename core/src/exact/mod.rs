//! What it cost and earned: decimals only. Never uses a float.
#![deny(clippy::float_arithmetic, clippy::arithmetic_side_effects)]

mod arithmetic;
pub mod card_fee;
pub mod depreciation;
mod guards;
pub mod mileage;
pub mod overtime;
pub mod payroll;
pub mod rounding;
pub mod shares;
pub mod stock_average;
pub mod stock_fifo;
pub mod stock_lot;
