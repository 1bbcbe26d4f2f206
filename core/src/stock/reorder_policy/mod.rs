//! Reorder policies: order Q at r under continuous review, or up to S at s under periodic review.
//!
//! `g(y) = h E[(y - X)^+] + b E[(X - y)^+]` is the expected cost rate of holding and waiting at a stock
//! position y, X being the demand over the lead time; every policy here weighs it against the cost of
//! ordering.

pub mod normal_quantity;
pub mod poisson_level;
pub mod poisson_quantity;
mod poisson_rate;

use super::numbers::{exact_positive, real};
use crate::CoreError;
use rust_decimal::Decimal;

/// What ordering, holding and waiting cost; one unit of time throughout (a year, or a review period).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PolicyCosts {
    /// K: cost of one order, money.
    pub fixed_order_cost: Decimal,
    /// h: cost of holding one unit, money per unit and time.
    pub holding_cost_per_unit: Decimal,
    /// b: cost of one unit waiting, money per unit and time.
    pub backorder_cost_per_unit: Decimal,
}

#[derive(Debug, Clone, Copy)]
struct Rates {
    k: f64,
    h: f64,
    b: f64,
}

impl PolicyCosts {
    fn rates(self) -> Result<Rates, CoreError> {
        exact_positive(self.fixed_order_cost, "fixed order cost")?;
        exact_positive(self.holding_cost_per_unit, "holding cost")?;
        exact_positive(self.backorder_cost_per_unit, "backorder cost")?;
        Ok(Rates {
            k: real(self.fixed_order_cost),
            h: real(self.holding_cost_per_unit),
            b: real(self.backorder_cost_per_unit),
        })
    }
}
