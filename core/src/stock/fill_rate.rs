//! Reorder point for a fill rate: the share of demand served straight from the shelf.

use super::normal::{cumulative, factor_for_loss, falling_root, loss};
use super::numbers::{any_finite, finite, not_negative, open_share, positive};
use crate::CoreError;

/// How shortages of a cycle are counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShortageCount {
    /// All that is short when the order arrives: `s G(z)`.
    PerCycle,
    /// Without what the cycle before had already counted: `s (G(z) - G(z + Q/s))`; matters when Q is not
    /// large against s.
    Exact,
}

/// Normal demand over the lead time, and the order that answers it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderCycle {
    /// m: mean demand over the lead time, units.
    pub demand_mean: f64,
    /// s: its standard deviation, units.
    pub demand_sd: f64,
    /// Q: order quantity, units.
    pub order_quantity: f64,
    /// How shortages are counted.
    pub count: ShortageCount,
}

/// A reorder point and the service it gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillRate {
    /// z, standard deviations; none when demand does not vary.
    pub service_factor: Option<f64>,
    /// Units above mean demand; negative when a low target or a large order allows it.
    pub safety_stock: f64,
    /// Units.
    pub reorder_point: f64,
    /// Units short per order cycle, expected.
    pub expected_short_per_cycle: f64,
    /// Share of demand served from the shelf.
    pub fill_rate: f64,
    /// Chance of no shortage in a cycle.
    pub cycle_service_level: f64,
}

/// The reorder point that gives a fill rate.
///
/// # Formula
/// ```text
/// per cycle: 1 - f = s G(z) / Q                        exact: 1 - f = s (G(z) - G(z + Q/s)) / Q
/// reorder point = m + z s        f fill rate, G standard normal loss
/// ```
/// The factor z is not floored at zero. Demand that does not vary (s = 0) has no factor; the reorder point
/// is then `m - (1 - f) Q`.
/// # Source
/// Nahmias, Production and Operations Analysis, chapter 5, type 2 service (from memory). Check values:
/// `fill_rate_reorder_point`.
/// # Errors
/// [`CoreError::Invalid`] when the mean or the deviation is negative, the order not above zero, or the rate
/// not strictly between 0 and 1.
/// # Example
/// ```
/// use dropwise_core::stock::fill_rate::{OrderCycle, ShortageCount, reorder_point_for_fill_rate};
/// let cycle = OrderCycle {
///     demand_mean: 100.0,
///     demand_sd: 25.0,
///     order_quantity: 100.0,
///     count: ShortageCount::PerCycle,
/// };
/// // Textbooks round up to 126.
/// assert!((reorder_point_for_fill_rate(cycle, 0.98)?.reorder_point - 125.53).abs() < 0.01);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn reorder_point_for_fill_rate(cycle: OrderCycle, fill_rate: f64) -> Result<FillRate, CoreError> {
    open_share(fill_rate, "fill rate")?;
    checked(cycle)?;
    let (s, q) = (cycle.demand_sd, cycle.order_quantity);
    let short = (1.0 - fill_rate) * q;
    let safety_stock = if s > 0.0 { s * factor(cycle, positive(short / s, "shortage")?)? } else { -short };
    fill_rate_of(cycle, finite(cycle.demand_mean + safety_stock, "reorder point")?)
}

/// The fill rate a reorder point gives.
///
/// # Formula
/// As [`reorder_point_for_fill_rate`], evaluated at the stated point.
/// # Errors
/// [`CoreError::Invalid`] when the mean or the deviation is negative, the order not above zero, or the point
/// not finite.
pub fn fill_rate_of(cycle: OrderCycle, reorder_point: f64) -> Result<FillRate, CoreError> {
    checked(cycle)?;
    let safety_stock = any_finite(reorder_point, "reorder point")? - cycle.demand_mean;
    let (s, q) = (cycle.demand_sd, cycle.order_quantity);
    let short_at = |above_mean: f64| {
        if s > 0.0 { s * loss(above_mean / s) } else { (-above_mean).max(0.0) }
    };
    let short = match cycle.count {
        ShortageCount::PerCycle => short_at(safety_stock),
        ShortageCount::Exact => short_at(safety_stock) - short_at(safety_stock + q),
    };
    let service_factor = (s > 0.0).then(|| safety_stock / s);
    let certain = if safety_stock >= 0.0 { 1.0 } else { 0.0 };
    Ok(FillRate {
        service_factor,
        safety_stock,
        reorder_point,
        expected_short_per_cycle: finite(short, "expected shortage")?,
        fill_rate: finite(1.0 - short / q, "fill rate")?,
        cycle_service_level: service_factor.map_or(certain, cumulative),
    })
}

/// The factor at which the shortage, in standard deviations, is the one given.
fn factor(cycle: OrderCycle, short: f64) -> Result<f64, CoreError> {
    match cycle.count {
        ShortageCount::PerCycle => factor_for_loss(short),
        ShortageCount::Exact => {
            let width = finite(cycle.order_quantity / cycle.demand_sd, "order in standard deviations")?;
            // Far below, all of the order is short; far above, nothing is.
            Ok(falling_root(|z| loss(z) - loss(z + width) - short, -width - 40.0, 40.0))
        }
    }
}

fn checked(cycle: OrderCycle) -> Result<(), CoreError> {
    not_negative(cycle.demand_mean, "demand over the lead time")?;
    not_negative(cycle.demand_sd, "standard deviation of demand")?;
    positive(cycle.order_quantity, "order quantity").map(drop)
}
