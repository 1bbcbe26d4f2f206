//! Demand over the lead time, safety stock and reorder point.

use super::normal::service_factor;
use super::numbers::{any_finite, finite, not_negative};
use crate::CoreError;

/// How much is used per day and how long a delivery takes; demand and lead time are independent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadTimeDemand {
    /// d: mean demand, units per day.
    pub demand_per_day_mean: f64,
    /// `s_d`: standard deviation of one day's demand, units.
    pub demand_per_day_sd: f64,
    /// L: mean lead time, days.
    pub lead_time_days_mean: f64,
    /// `s_L`: standard deviation of the lead time, days.
    pub lead_time_days_sd: f64,
    /// R: review period, days; zero when stock is watched continuously.
    pub review_period_days: f64,
}

/// How sure to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Service {
    /// Chance of not running out in a cycle.
    CycleServiceLevel(f64),
    /// The factor itself, as read from a table.
    Factor(f64),
}

/// The reorder point and what it is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReorderPoint {
    /// Mean demand over the protection time, units.
    pub demand_mean: f64,
    /// Its standard deviation, units.
    pub demand_sd: f64,
    /// z, standard deviations.
    pub service_factor: f64,
    /// z times the standard deviation, units.
    pub safety_stock: f64,
    /// Mean and safety stock, units; with a review period, the level to order up to.
    pub reorder_point: f64,
}

/// Reorder point under uncertain demand and lead time.
///
/// # Formula
/// ```text
/// mean = d (L + R)        variance = (L + R) s_d² + d² s_L²
/// safety stock = z sd        reorder point = mean + safety stock        Phi(z) = cycle service level
/// ```
/// Real numbers, not rounded up.
/// # Source
/// Law of total variance; Chopra & Meindl, Supply Chain Management, chapter on safety inventory (from
/// memory). Check values: `lead_time_demand_safety_stock`.
/// # Errors
/// [`CoreError::Invalid`] when a figure is negative or not finite, or the level is not strictly between 0
/// and 1; [`CoreError::OutOfRange`] when a product leaves the range.
/// # Example
/// ```
/// use dropwise_core::stock::safety_stock::{LeadTimeDemand, Service, reorder_point};
/// // Six a day for four days, never varying: the reorder point is 24 whatever the service level.
/// let steady = LeadTimeDemand {
///     demand_per_day_mean: 6.0,
///     demand_per_day_sd: 0.0,
///     lead_time_days_mean: 4.0,
///     lead_time_days_sd: 0.0,
///     review_period_days: 0.0,
/// };
/// assert_eq!(reorder_point(steady, Service::CycleServiceLevel(0.99))?.reorder_point, 24.0);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn reorder_point(demand: LeadTimeDemand, service: Service) -> Result<ReorderPoint, CoreError> {
    let d = not_negative(demand.demand_per_day_mean, "demand per day")?;
    let s_d = not_negative(demand.demand_per_day_sd, "standard deviation of demand")?;
    let s_l = not_negative(demand.lead_time_days_sd, "standard deviation of lead time")?;
    let protection = not_negative(demand.lead_time_days_mean, "lead time")?
        + not_negative(demand.review_period_days, "review period")?;
    let z = match service {
        Service::CycleServiceLevel(level) => service_factor(level)?,
        Service::Factor(factor) => any_finite(factor, "service factor")?,
    };
    let demand_mean = finite(d * protection, "demand over the lead time")?;
    let variance = protection * s_d * s_d + d * d * s_l * s_l;
    let demand_sd = finite(variance, "variance of demand over the lead time")?.sqrt();
    let safety_stock = finite(z * demand_sd, "safety stock")?;
    Ok(ReorderPoint {
        demand_mean,
        demand_sd,
        service_factor: z,
        safety_stock,
        reorder_point: finite(demand_mean + safety_stock, "reorder point")?,
    })
}
