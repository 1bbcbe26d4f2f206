//! The counting room: every question Dropwise answers about money, drops, pads, stock and hazards,
//! as pure functions.
//!
//! | room | answers | numbers |
//! |---|---|---|
//! | [`units`] | how much of what: volumes, masses, areas, times, distances, shares | decimals |
//! | [`stats`] | what is likely: drop size, pad life, demand, run-out | `f64` |
//! | [`exact`] | what it cost and earned: rounding, shares, stock value, pay, price, month | decimals |
//! | [`stock`] | what to order and move: order quantities, reorder points, baskets | both, named |
//! | [`safety`] | what the sheet and the rules say: labels, storage, van load, dilution | decimals |
//!
//! Invariants: no function reads a clock, a file or an id; none panics on any input; money is a
//! decimal and never a float; shares of a total always add up to it.
//!
//! Units: volume in millilitres, mass in grams, area in square metres, time in minutes, distance in
//! kilometres, unless the name says otherwise.
#![forbid(unsafe_code)]

pub mod error;
pub mod exact;
mod ratio;
pub mod safety;
pub mod stats;
pub mod stock;
pub mod units;
#[cfg(feature = "worksheets")]
pub mod worksheets;

pub use error::CoreError;
pub use rust_decimal::Decimal;
