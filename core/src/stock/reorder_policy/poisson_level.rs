//! The (s, S) policy for whole pieces under Poisson demand and periodic review.

use super::poisson_rate::PoissonRate;
use super::{PolicyCosts, Rates};
use crate::CoreError;
use crate::stock::count_demand::CountDemand;
use crate::stock::numbers::{finite, positive};
use rust_decimal::prelude::ToPrimitive;

/// The widest S - s, and how many products of masses the renewal function may take.
const WIDEST: usize = 200_000;
const MOST_PRODUCTS: usize = 200_000_000;

/// When to order and up to where.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelPolicy {
    /// s: order when the position is at or below it.
    pub reorder_level: i64,
    /// S: order up to it.
    pub order_up_to_level: i64,
    /// Money per period.
    pub cost: f64,
}

/// Cost of a stated policy.
///
/// # Formula
/// ```text
/// c(s, S) = (K + sum_(j=0)^(S-s-1) u(j) g(S - j)) / sum_(j=0)^(S-s-1) u(j)
/// u(j) = [j = 0] + sum_(i=0)^j p_i u(j - i)        p_i = P(one period's demand is i)
/// ```
/// u(j) is the expected number of periods, between two orders, that start j below S. Costs are charged on
/// the stock at the end of a period; all demand waits; the lead time is zero.
/// # Source
/// Zheng & Federgruen (1991), Operations Research 39(4), 654-665 (pages from memory). Check values:
/// `reorder_policies`.
/// # Errors
/// [`CoreError::Invalid`] when a cost or the mean is not above zero, or S is not above s;
/// [`CoreError::OutOfRange`] when S - s is beyond 200,000.
pub fn policy_cost(
    costs: PolicyCosts,
    demand_mean: f64,
    reorder_level: i64,
    order_up_to_level: i64,
) -> Result<f64, CoreError> {
    if order_up_to_level <= reorder_level {
        return Err(CoreError::Invalid {
            what: "order-up-to level",
            rule: "must be above the reorder level",
        });
    }
    Model::new(costs, demand_mean)?.cost(reorder_level, order_up_to_level)
}

/// The cheapest policy.
///
/// # Formula
/// Start at the least of g; lower s until ordering there is no dearer than waiting, `c(s, S) ≤ g(s)`. Then
/// raise S for as long as `g(S) ≤ c`, and at each better S raise s while `c(s, S) ≤ g(s + 1)`.
/// # Source
/// Zheng & Federgruen (1991), Operations Research 39(4). Check values: `reorder_policies`.
/// # Errors
/// As [`policy_cost`].
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::reorder_policy::{PolicyCosts, poisson_level::best_policy}};
/// let costs = PolicyCosts {
///     fixed_order_cost: Decimal::from(5),
///     holding_cost_per_unit: Decimal::from(1),
///     backorder_cost_per_unit: Decimal::from(4),
/// };
/// let best = best_policy(costs, 6.0)?;
/// assert_eq!((best.reorder_level, best.order_up_to_level), (4, 10));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn best_policy(costs: PolicyCosts, demand_mean: f64) -> Result<LevelPolicy, CoreError> {
    let mut model = Model::new(costs, demand_mean)?;
    let least = model.g.least()?;
    let mut best_top = least;
    let mut s = least - 1;
    let mut cost = model.cost(s, best_top)?;
    while cost > model.g.at(s)? {
        s -= 1;
        cost = model.cost(s, best_top)?;
    }
    let mut top = best_top + 1;
    while model.g.at(top)? <= cost {
        let here = model.cost(s, top)?;
        if here < cost {
            best_top = top;
            cost = here;
            while cost <= model.g.at(s + 1)? {
                s += 1;
                cost = model.cost(s, best_top)?;
            }
        }
        top += 1;
    }
    Ok(LevelPolicy { reorder_level: s, order_up_to_level: best_top, cost })
}

struct Model {
    rates: Rates,
    g: PoissonRate,
    /// `p_0`, `p_1`, … until they weigh nothing.
    masses: Vec<f64>,
    /// u(0), u(1), … as far as asked, and the work they took.
    renewals: Vec<f64>,
    products: usize,
}

impl Model {
    fn new(costs: PolicyCosts, demand_mean: f64) -> Result<Self, CoreError> {
        let rates = costs.rates()?;
        let mean = positive(demand_mean, "mean demand")?;
        let masses = masses(mean)?;
        let none = masses.first().copied().unwrap_or(0.0);
        let first = finite(1.0 / (1.0 - none), "periods between orders")?;
        let g = PoissonRate::new(rates, mean)?;
        Ok(Self { rates, g, masses, renewals: vec![first], products: 0 })
    }

    fn cost(&mut self, s: i64, top: i64) -> Result<f64, CoreError> {
        let width = top.checked_sub(s).and_then(|width| width.to_usize()).unwrap_or(usize::MAX);
        self.renew(width)?;
        let (mut periods, mut sum, mut y) = (0.0, self.rates.k, top);
        for u in self.renewals.iter().take(width) {
            periods += u;
            sum += u * self.g.at(y)?;
            y -= 1;
        }
        self.products += width;
        finite(sum / periods, "cost")
    }

    /// `u(j) (1 - p_0) = sum_(i=1)^j p_i u(j - i)` for j up to the width.
    fn renew(&mut self, width: usize) -> Result<(), CoreError> {
        if width > WIDEST || self.products > MOST_PRODUCTS {
            return Err(CoreError::OutOfRange { what: "order-up-to level" });
        }
        let first = self.renewals.first().copied().unwrap_or(1.0);
        while self.renewals.len() < width {
            let sum: f64 =
                self.masses.iter().skip(1).zip(self.renewals.iter().rev()).map(|(p, u)| p * u).sum();
            self.products += self.masses.len().min(self.renewals.len());
            self.renewals.push(first * sum);
            if self.products > MOST_PRODUCTS {
                return Err(CoreError::OutOfRange { what: "order-up-to level" });
            }
        }
        Ok(())
    }
}

/// The masses of one period's demand from zero on.
fn masses(mean: f64) -> Result<Vec<f64>, CoreError> {
    let demand = CountDemand::poisson(mean)?;
    let (start, mut mass) = demand.start();
    let mut masses = vec![0.0; start.to_usize().unwrap_or(0)];
    let (mut k, mut left) = (start, true);
    while left {
        masses.push(mass);
        mass *= demand.ratio(k);
        k += 1;
        left = k.to_f64().unwrap_or(f64::INFINITY) <= mean || mass > f64::MIN_POSITIVE;
    }
    Ok(masses)
}
