//! The (r, Q) policy for whole pieces under Poisson demand and continuous review.

use super::PolicyCosts;
use super::poisson_rate::{PoissonRate, real};
use crate::CoreError;
use crate::stock::numbers::{finite, not_negative, positive};

/// When to order and how many.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PoissonPolicy {
    /// r, pieces; may be below zero when waiting is cheap.
    pub reorder_point: i64,
    /// Q, pieces.
    pub order_quantity: i64,
    /// Money per time.
    pub cost: f64,
}

/// The cheapest whole-piece policy.
///
/// # Formula
/// ```text
/// cost(r, Q) = (K D + sum of g(y) for y = r + 1 .. r + Q) / Q        X Poisson with mean D L
/// ```
/// The best Q positions are the Q cheapest, side by side because g is convex. They are taken in rising
/// order of g for as long as the next one costs less than the average so far.
/// # Source
/// Federgruen & Zheng (1992), Operations Research 40 (from memory); Snyder & Shen (2019), eq. (5.48).
/// Check values: `reorder_policies`.
/// # Errors
/// [`CoreError::Invalid`] when a cost or the mean is not above zero or the lead time negative;
/// [`CoreError::OutOfRange`] when the order would pass some four million pieces.
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::reorder_policy::{PolicyCosts, poisson_quantity::best_policy}};
/// let costs = PolicyCosts {
///     fixed_order_cost: Decimal::from(100),
///     holding_cost_per_unit: Decimal::from(20),
///     backorder_cost_per_unit: Decimal::from(150),
/// };
/// let best = best_policy(costs, 1.5, 2.0)?;
/// assert_eq!((best.reorder_point, best.order_quantity), (3, 5));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn best_policy(costs: PolicyCosts, demand_mean: f64, lead_time: f64) -> Result<PoissonPolicy, CoreError> {
    let rates = costs.rates()?;
    let d = positive(demand_mean, "mean demand")?;
    let over_lead_time = finite(d * not_negative(lead_time, "lead time")?, "demand over the lead time")?;
    let mut g = PoissonRate::new(rates, over_lead_time)?;
    let cheapest = g.least()?;
    let (mut low, mut high) = (cheapest - 1, cheapest);
    let mut sum = finite(rates.k * d, "ordering cost")? + g.at(cheapest)?;
    loop {
        let average = sum / real(high - low);
        let (below, above) = (g.at(low)?, g.at(high + 1)?);
        if below.min(above) >= average {
            let cost = finite(average, "cost")?;
            return Ok(PoissonPolicy { reorder_point: low, order_quantity: high - low, cost });
        }
        if high - low > LARGEST_ORDER {
            return Err(CoreError::OutOfRange { what: "order quantity" });
        }
        sum += below.min(above);
        if below <= above {
            low -= 1;
        } else {
            high += 1;
        }
    }
}

const LARGEST_ORDER: i64 = 4_000_000;
