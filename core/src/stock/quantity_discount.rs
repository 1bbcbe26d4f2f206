//! Economic order quantity under quantity discounts: on all units, or on the units above a break.

use super::numbers::{exact_positive, finite, positive, real};
use crate::CoreError;
use rust_decimal::Decimal;

/// One price tier; a quantity exactly on a break already earns the lower price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuantityTier {
    /// The tier starts at this quantity, units; the first at zero.
    pub from_quantity: Decimal,
    /// Price of one unit, money.
    pub unit_cost: Decimal,
}

/// What the discount applies to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Discount {
    /// Every unit of the order.
    AllUnits,
    /// Only the units above the break.
    Incremental,
}

/// An item with tiered prices.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DiscountedOrder<'a> {
    /// K: cost of placing one order, money.
    pub fixed_order_cost: Decimal,
    /// i: cost of holding, as a share of the unit cost per year.
    pub holding_cost_rate_per_year: Decimal,
    /// D: units used per year.
    pub demand_per_year: Decimal,
    /// Tiers in rising order of quantity, the first from zero; prices never rise.
    pub tiers: &'a [QuantityTier],
}

/// The cheapest order under a discount.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DiscountQuantity {
    /// Q*, units; a real number, not rounded.
    pub quantity: f64,
    /// The tier it falls in, counted from zero.
    pub tier_index: usize,
    /// Purchase, ordering and holding, money per year.
    pub total_cost_per_year: f64,
}

/// The order quantity that costs least per year under a discount.
///
/// # Formula
/// ```text
/// all units:   total(Q) = c_j D + K D / Q + i c_j Q / 2
///              candidates: sqrt(2 K D / (i c_j)) inside its own tier, and every break b_j at c_j
/// incremental: C(Q) = a_j + c_j Q, a_j = sum_(t<j) c_t (b_(t+1) - b_t) - c_j b_j
///              total(Q) = D C(Q)/Q + K D / Q + i C(Q)/2
///              candidates: sqrt(2 (K + a_j) D / (i c_j)) inside its own tier
/// ```
/// Of equal costs the smaller quantity wins.
/// # Source
/// Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), eqs. (3.18)-(3.22). Check values:
/// `quantity_discounts`.
/// # Errors
/// [`CoreError::Invalid`] when a figure is not above zero, the tiers do not start at zero and rise, or a
/// price rises with quantity (then the cheapest order need not exist); [`CoreError::OutOfRange`] when a
/// cost leaves the range.
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::quantity_discount::*};
/// let tier = |from: i64, cost: i64| QuantityTier { from_quantity: from.into(), unit_cost: cost.into() };
/// let order = DiscountedOrder {
///     fixed_order_cost: Decimal::from(200),
///     holding_cost_rate_per_year: Decimal::new(20, 2),
///     demand_per_year: Decimal::from(1000),
///     tiers: &[tier(0, 500), tier(200, 475), tier(500, 450)],
/// };
/// let best = cheapest_quantity(order, Discount::AllUnits)?;
/// assert_eq!((best.quantity, best.tier_index, best.total_cost_per_year), (500.0, 2, 472_900.0));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn cheapest_quantity(
    order: DiscountedOrder<'_>,
    discount: Discount,
) -> Result<DiscountQuantity, CoreError> {
    let k = positive(real(order.fixed_order_cost), "fixed order cost")?;
    let i = positive(real(order.holding_cost_rate_per_year), "holding cost rate")?;
    let d = positive(real(order.demand_per_year), "demand per year")?;
    checked(order.tiers)?;
    let mut best: Option<DiscountQuantity> = None;
    let mut spent_below = 0.0;
    for (tier_index, tier) in order.tiers.iter().enumerate() {
        let (from, c) = (real(tier.from_quantity), real(tier.unit_cost));
        let to = order.tiers.get(tier_index + 1).map_or(f64::INFINITY, |next| real(next.from_quantity));
        // a_j: what the dearer units below the break add to an order at c_j throughout.
        let extra = match discount {
            Discount::AllUnits => 0.0,
            Discount::Incremental => spent_below - c * from,
        };
        let total = |q: f64| d * (extra / q + c) + k * d / q + i * (extra + c * q) / 2.0;
        let inside = Some((2.0 * (k + extra) * d / (i * c)).sqrt()).filter(|q| (from..to).contains(q));
        let at_break = Some(from).filter(|q| discount == Discount::AllUnits && *q > 0.0);
        for quantity in [at_break, inside].into_iter().flatten() {
            let total_cost_per_year = finite(total(quantity), "total cost per year")?;
            if best.is_none_or(|best| total_cost_per_year < best.total_cost_per_year) {
                best = Some(DiscountQuantity { quantity, tier_index, total_cost_per_year });
            }
        }
        spent_below += c * (to - from);
    }
    best.ok_or(CoreError::OutOfRange { what: "order quantity" })
}

fn checked(tiers: &[QuantityTier]) -> Result<(), CoreError> {
    let starts = tiers.first().is_some_and(|tier| tier.from_quantity.is_zero());
    if !starts || !tiers.is_sorted_by(|a, b| a.from_quantity < b.from_quantity) {
        return Err(CoreError::Invalid { what: "tiers", rule: "must start at zero and rise" });
    }
    if !tiers.is_sorted_by(|a, b| a.unit_cost >= b.unit_cost) {
        return Err(CoreError::Invalid { what: "unit cost", rule: "must not rise with quantity" });
    }
    tiers.iter().try_for_each(|tier| exact_positive(tier.unit_cost, "unit cost").map(drop))
}
