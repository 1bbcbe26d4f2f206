//! The (r, Q) policy under normal demand and continuous review.

use super::{PolicyCosts, Rates};
use crate::CoreError;
use crate::stock::normal::{falling_root, loss, second_loss, service_factor};
use crate::stock::numbers::{any_finite, finite, not_negative, positive};

/// Demand per unit of time and the lead time in the same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalDemand {
    /// D: mean demand per time, units.
    pub mean: f64,
    /// tau: standard deviation of the demand of one unit of time, units.
    pub sd: f64,
    /// L: lead time.
    pub lead_time: f64,
}

/// When to order and how much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalPolicy {
    /// r, units.
    pub reorder_point: f64,
    /// Q, units.
    pub order_quantity: f64,
    /// Money per time.
    pub cost: f64,
}

/// Cost of a stated policy.
///
/// # Formula
/// ```text
/// cost(r, Q) = (K D + ∫ g(y) dy from r to r + Q) / Q
/// ∫ g = h ((r+Q-m)² - (r-m)²)/2 + (h + b) s² (G2((r-m)/s) - G2((r+Q-m)/s))
/// m = D L, s = tau sqrt(L), G2 second-order normal loss (G2' = -G)
/// ```
/// # Source
/// Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), eq. (5.7). Check values:
/// `reorder_policies`.
/// # Errors
/// [`CoreError::Invalid`] when a cost, the mean or Q is not above zero, or the deviation or lead time
/// negative; [`CoreError::OutOfRange`] when the cost leaves the range.
pub fn policy_cost(
    costs: PolicyCosts,
    demand: NormalDemand,
    reorder_point: f64,
    order_quantity: f64,
) -> Result<f64, CoreError> {
    let model = Model::new(costs, demand)?;
    any_finite(reorder_point, "reorder point")?;
    positive(order_quantity, "order quantity")?;
    finite(model.cost(reorder_point, order_quantity), "cost")
}

/// Best reorder point for a given quantity.
///
/// # Formula
/// The r with `g(r) = g(r + Q)`; g is convex, so it is the only one.
/// # Source
/// Snyder & Shen (2019), eq. (5.9).
/// # Errors
/// As [`policy_cost`].
pub fn best_reorder_point(
    costs: PolicyCosts,
    demand: NormalDemand,
    order_quantity: f64,
) -> Result<f64, CoreError> {
    let model = Model::new(costs, demand)?;
    finite(model.best_reorder_point(positive(order_quantity, "order quantity")?), "reorder point")
}

/// The cheapest policy.
///
/// # Formula
/// At the optimum `g(r) = g(r + Q) = cost(r, Q)`: the marginal unit costs what the average one does.
/// With r best for Q, `K D + ∫ g - Q g(r)` falls in Q; its root is sought by bisection.
/// # Source
/// Snyder & Shen (2019), section 5.2 (from memory). Check values: `reorder_policies`.
/// # Errors
/// As [`policy_cost`].
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::reorder_policy::{PolicyCosts, normal_quantity::*}};
/// let costs = PolicyCosts {
///     fixed_order_cost: Decimal::from(8),
///     holding_cost_per_unit: Decimal::new(225, 3),
///     backorder_cost_per_unit: Decimal::new(75, 1),
/// };
/// let best = best_policy(costs, NormalDemand { mean: 1300.0, sd: 150.0, lead_time: 1.0 / 12.0 })?;
/// assert!((best.cost - 78.07).abs() < 0.01);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn best_policy(costs: PolicyCosts, demand: NormalDemand) -> Result<NormalPolicy, CoreError> {
    let model = Model::new(costs, demand)?;
    let surplus = |q: f64| {
        let r = model.best_reorder_point(q);
        model.rates.k * model.d + model.integral(r, q) - q * model.rate(r)
    };
    let least = economic_quantity(&model)?;
    let mut most = least;
    // Uncertainty only enlarges the order; doubling ends because the surplus falls without bound.
    for _ in 0..200 {
        if surplus(most) <= 0.0 {
            break;
        }
        most *= 2.0;
    }
    let order_quantity =
        finite(falling_root(surplus, 0.0, finite(most, "order quantity")?), "order quantity")?;
    let reorder_point = model.best_reorder_point(order_quantity);
    Ok(NormalPolicy {
        reorder_point: finite(reorder_point, "reorder point")?,
        order_quantity,
        cost: finite(model.cost(reorder_point, order_quantity), "cost")?,
    })
}

/// The heuristic: the plain economic quantity, with a safety stock set apart from it.
///
/// # Formula
/// `Q = sqrt(2 K D / h)`, `r = D L + z tau sqrt(L)`, `Phi(z) = b / (b + h)`.
/// # Source
/// Snyder & Shen (2019), eq. (5.21). Not optimal for this model.
/// # Errors
/// As [`policy_cost`].
pub fn quantity_plus_safety_stock(
    costs: PolicyCosts,
    demand: NormalDemand,
) -> Result<NormalPolicy, CoreError> {
    let model = Model::new(costs, demand)?;
    let order_quantity = economic_quantity(&model)?;
    let z = service_factor(model.rates.b / (model.rates.b + model.rates.h))?;
    let reorder_point = finite(model.m + z * model.s, "reorder point")?;
    let cost = finite(model.cost(reorder_point, order_quantity), "cost")?;
    Ok(NormalPolicy { reorder_point, order_quantity, cost })
}

fn economic_quantity(model: &Model) -> Result<f64, CoreError> {
    positive((2.0 * model.rates.k * model.d / model.rates.h).sqrt(), "order quantity")
}

struct Model {
    rates: Rates,
    d: f64,
    m: f64,
    s: f64,
}

impl Model {
    fn new(costs: PolicyCosts, demand: NormalDemand) -> Result<Self, CoreError> {
        let rates = costs.rates()?;
        let d = positive(demand.mean, "mean demand")?;
        let lead_time = not_negative(demand.lead_time, "lead time")?;
        let s = not_negative(demand.sd, "standard deviation of demand")? * lead_time.sqrt();
        let m = finite(d * lead_time, "demand over the lead time")?;
        Ok(Self { rates, d, m, s: finite(s, "standard deviation over the lead time")? })
    }

    /// `g(y)`; without variation, the plain cost of being above or below the demand.
    fn rate(&self, y: f64) -> f64 {
        let above = y - self.m;
        let short = if self.s > 0.0 { self.s * loss(above / self.s) } else { (-above).max(0.0) };
        self.rates.h * (above + short) + self.rates.b * short
    }

    fn integral(&self, r: f64, q: f64) -> f64 {
        let half_square_short = |y: f64| {
            let above = y - self.m;
            if self.s > 0.0 {
                self.s * self.s * second_loss(above / self.s)
            } else {
                0.5 * (-above).max(0.0).powi(2)
            }
        };
        // (a² - b²)/2 as q (a + b)/2, which keeps its digits.
        let linear = q * (r - self.m + 0.5 * q);
        self.rates.h * linear
            + (self.rates.h + self.rates.b) * (half_square_short(r) - half_square_short(r + q))
    }

    fn cost(&self, r: f64, q: f64) -> f64 {
        (self.rates.k * self.d + self.integral(r, q)) / q
    }

    fn best_reorder_point(&self, q: f64) -> f64 {
        let reach = 40.0 * self.s + q;
        falling_root(|r| self.rate(r) - self.rate(r + q), self.m - reach, self.m + reach)
    }
}
