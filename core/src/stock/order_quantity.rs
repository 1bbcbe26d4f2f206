//! Economic order quantity, plain and with planned backorders.

use super::numbers::{finite, positive, real};
use crate::CoreError;
use rust_decimal::Decimal;

/// What an order costs and how fast an item is used. One year is the unit of time throughout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OrderCosts {
    /// K: cost of placing one order, money.
    pub fixed_order_cost: Decimal,
    /// h: cost of holding one unit for one year, money.
    pub holding_cost_per_unit_per_year: Decimal,
    /// D: units used per year.
    pub demand_per_year: Decimal,
}

/// The cheapest order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderQuantity {
    /// Q*, units; a real number, not rounded.
    pub quantity: f64,
    /// Ordering and holding, money per year; the purchase price is left out because it is the same for
    /// every quantity.
    pub cost_per_year: f64,
    /// Q*/D, years between orders.
    pub cycle_time_years: f64,
}

/// The cheapest order when running short on purpose is allowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BackorderQuantity {
    /// Q*, units.
    pub quantity: f64,
    /// x*, share of a cycle's demand that waits.
    pub backordered_fraction: f64,
    /// x* Q*, units waiting at most.
    pub max_backorder: f64,
    /// Ordering, holding and waiting, money per year.
    pub cost_per_year: f64,
}

/// The order quantity that costs least per year.
///
/// # Formula
/// ```text
/// cost(Q) = K D / Q + h Q / 2        Q* = sqrt(2 K D / h)        cost* = sqrt(2 K D h)
/// ```
/// # Source
/// Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), eqs. (3.4)-(3.5). Check values:
/// `economic_order_quantity`.
/// # Errors
/// [`CoreError::Invalid`] unless all three figures are above zero.
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::order_quantity::{OrderCosts, economic_order_quantity}};
/// let costs = OrderCosts {
///     fixed_order_cost: Decimal::from(100),
///     holding_cost_per_unit_per_year: Decimal::new(10, 2),
///     demand_per_year: Decimal::from(50_000),
/// };
/// assert_eq!(economic_order_quantity(costs)?.quantity.round(), 10_000.0);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn economic_order_quantity(costs: OrderCosts) -> Result<OrderQuantity, CoreError> {
    let Reals { k, h, d } = costs.reals()?;
    let quantity = positive((2.0 * k * d / h).sqrt(), "order quantity")?;
    Ok(OrderQuantity {
        quantity,
        cost_per_year: finite((2.0 * k * d * h).sqrt(), "cost per year")?,
        cycle_time_years: finite(quantity / d, "cycle time")?,
    })
}

/// What a given order quantity costs per year.
///
/// # Formula
/// `cost(Q) = K D / Q + h Q / 2`.
/// # Source
/// Snyder & Shen (2019), eq. (3.3) (number from memory).
/// # Errors
/// [`CoreError::Invalid`] unless all figures are above zero.
pub fn cost_of_quantity(costs: OrderCosts, quantity: Decimal) -> Result<f64, CoreError> {
    let Reals { k, h, d } = costs.reals()?;
    let q = positive(real(quantity), "order quantity")?;
    finite(k * d / q + h * q / 2.0, "cost per year")
}

/// The cheapest order when customers wait, at a price per unit and year.
///
/// # Formula
/// ```text
/// cost(Q, x) = h Q (1-x)²/2 + p Q x²/2 + K D / Q
/// Q* = sqrt(2 K D (h + p) / (h p))        x* = h / (h + p)        cost* = sqrt(2 K D h p / (h + p))
/// p cost of one unit waiting for one year, x share of a cycle's demand that waits
/// ```
/// # Source
/// Snyder & Shen (2019), eqs. (3.27)-(3.29). Check values: `economic_order_quantity`.
/// # Errors
/// [`CoreError::Invalid`] unless all figures are above zero.
pub fn with_planned_backorders(
    costs: OrderCosts,
    backorder_cost_per_unit_per_year: Decimal,
) -> Result<BackorderQuantity, CoreError> {
    let Reals { k, h, d } = costs.reals()?;
    let p = positive(real(backorder_cost_per_unit_per_year), "backorder cost")?;
    let quantity = positive((2.0 * k * d * (h + p) / (h * p)).sqrt(), "order quantity")?;
    let backordered_fraction = h / (h + p);
    Ok(BackorderQuantity {
        quantity,
        backordered_fraction,
        max_backorder: backordered_fraction * quantity,
        cost_per_year: finite((2.0 * k * d * h * p / (h + p)).sqrt(), "cost per year")?,
    })
}

struct Reals {
    k: f64,
    h: f64,
    d: f64,
}

impl OrderCosts {
    fn reals(self) -> Result<Reals, CoreError> {
        Ok(Reals {
            k: positive(real(self.fixed_order_cost), "fixed order cost")?,
            h: positive(real(self.holding_cost_per_unit_per_year), "holding cost")?,
            d: positive(real(self.demand_per_year), "demand per year")?,
        })
    }
}
