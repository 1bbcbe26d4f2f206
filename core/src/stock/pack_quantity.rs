//! Economic order quantity in whole packs, with or without price tiers by number of packs.

use super::numbers::{exact_positive, real};
use crate::CoreError;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// The most packs an order may hold: beyond it the figures are a mistake.
const MOST_PACKS: u64 = 1_000_000_000;

/// An item bought in packs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackOrder {
    /// K: cost of placing one order, money.
    pub fixed_order_cost: Decimal,
    /// D: units used per year.
    pub demand_per_year: Decimal,
    /// Units in a pack.
    pub pack_size_units: Decimal,
    /// The most packs one order may hold, if there is a limit.
    pub max_packs_per_order: Option<u64>,
    /// What holding costs, and whether the price depends on the order.
    pub price: PackPrice,
}

/// How holding cost follows from price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PackPrice {
    /// h: cost of holding one unit for one year; the price is the same for every order and left out.
    Flat {
        /// Money per unit and year.
        holding_cost_per_unit_per_year: Decimal,
    },
    /// All-units price by number of packs; holding costs a share of it, and the purchase counts.
    Tiered {
        /// i: share of the unit cost per year.
        holding_cost_rate_per_year: Decimal,
        /// Tiers in rising order of packs, the first from one pack.
        tiers: Vec<PackTier>,
    },
}

/// One price tier.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PackTier {
    /// The order has at least this many packs.
    pub from_packs: u64,
    /// Price of one unit, money.
    pub unit_cost: Decimal,
}

/// The cheapest whole number of packs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PackQuantity {
    /// n*, packs.
    pub packs: u64,
    /// n* times the pack size, units, exact.
    pub order_quantity: Decimal,
    /// Money per year.
    pub cost_per_year: f64,
    /// With one pack fewer; none below one pack.
    pub cost_one_pack_fewer: Option<f64>,
    /// With one pack more, whether or not the limit allows it.
    pub cost_one_pack_more: f64,
}

/// The whole number of packs that costs least per year.
///
/// # Formula
/// ```text
/// flat:   cost(n) = K D / Q + h Q / 2                    Q = n · pack
/// tiered: cost(n) = c_n D + K D / Q + i c_n Q / 2        c_n unit cost of the last tier from ≤ n packs
/// n* = smallest n with n (n + 1) ≥ 2 K D / (h pack²), kept within the tier and the limit
/// ```
/// The cost is convex in n within a tier, so each tier has one candidate. Comparisons are exact decimals;
/// on an exact tie the smaller order wins. Rounding the plain quantity to the nearest pack is not the rule.
/// # Source
/// Convexity of the cost; check values: `pack_size_eoq`.
/// # Errors
/// [`CoreError::Invalid`] when a figure is not above zero, the limit is zero, or the tiers do not start at
/// one pack and rise; [`CoreError::OutOfRange`] when a product of figures leaves the decimal range.
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::pack_quantity::{PackOrder, PackPrice, whole_packs}};
/// // Two and three packs of four cost the same, 100 a year: two are ordered.
/// let order = PackOrder {
///     fixed_order_cost: Decimal::from(10),
///     demand_per_year: Decimal::from(48),
///     pack_size_units: Decimal::from(4),
///     max_packs_per_order: None,
///     price: PackPrice::Flat { holding_cost_per_unit_per_year: Decimal::from(10) },
/// };
/// assert_eq!(whole_packs(&order)?.packs, 2);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn whole_packs(order: &PackOrder) -> Result<PackQuantity, CoreError> {
    checked(order)?;
    let limit = order.max_packs_per_order.unwrap_or(MOST_PACKS).min(MOST_PACKS);
    let mut best: Option<u64> = None;
    for (from, to, holding) in tiers(order, limit)? {
        let packs = convex_minimum(order, holding)?.clamp(from, to);
        best = match best {
            Some(before) if !cheaper(order, packs, before)? => Some(before),
            Some(_) | None => Some(packs),
        };
    }
    let packs = best.ok_or(CoreError::Invalid { what: "tiers", rule: "must start at one pack" })?;
    Ok(PackQuantity {
        packs,
        order_quantity: quantity(order, packs)?,
        cost_per_year: cost_per_year(order, packs)?,
        cost_one_pack_fewer: if packs > 1 { Some(cost_per_year(order, packs - 1)?) } else { None },
        cost_one_pack_more: cost_per_year(order, packs + 1)?,
    })
}

const OUT_OF_RANGE: CoreError = CoreError::OutOfRange { what: "cost per year" };

fn checked(order: &PackOrder) -> Result<(), CoreError> {
    exact_positive(order.fixed_order_cost, "fixed order cost")?;
    exact_positive(order.demand_per_year, "demand per year")?;
    exact_positive(order.pack_size_units, "pack size")?;
    if order.max_packs_per_order == Some(0) {
        return Err(CoreError::Invalid { what: "most packs per order", rule: "must be at least one" });
    }
    match &order.price {
        PackPrice::Flat { holding_cost_per_unit_per_year } => {
            exact_positive(*holding_cost_per_unit_per_year, "holding cost").map(drop)
        }
        PackPrice::Tiered { holding_cost_rate_per_year, tiers } => {
            exact_positive(*holding_cost_rate_per_year, "holding cost rate")?;
            let starts = tiers.first().is_some_and(|tier| tier.from_packs == 1);
            if !starts || !tiers.is_sorted_by(|a, b| a.from_packs < b.from_packs) {
                return Err(CoreError::Invalid { what: "tiers", rule: "must start at one pack and rise" });
            }
            tiers.iter().try_for_each(|tier| exact_positive(tier.unit_cost, "unit cost").map(drop))
        }
    }
}

/// First and last number of packs of each tier, and the cost of holding one unit for one year in it.
fn tiers(order: &PackOrder, limit: u64) -> Result<Vec<(u64, u64, Decimal)>, CoreError> {
    match &order.price {
        PackPrice::Flat { holding_cost_per_unit_per_year: h } => Ok(vec![(1, limit, *h)]),
        PackPrice::Tiered { holding_cost_rate_per_year: rate, tiers } => {
            let ends = tiers.iter().skip(1).map(|next| next.from_packs - 1).chain([limit]);
            tiers
                .iter()
                .zip(ends)
                .filter(|(tier, _)| tier.from_packs <= limit)
                .map(|(tier, end)| {
                    let holding = rate.checked_mul(tier.unit_cost).ok_or(OUT_OF_RANGE)?;
                    Ok((tier.from_packs, end.min(limit), holding))
                })
                .collect()
        }
    }
}

/// Smallest n with `n (n + 1) h pack² ≥ 2 K D`: a guess by square root, then exact steps.
fn convex_minimum(order: &PackOrder, holding: Decimal) -> Result<u64, CoreError> {
    let times = |a: Decimal, b: Decimal| a.checked_mul(b).ok_or(OUT_OF_RANGE);
    let pack = order.pack_size_units;
    let goal = times(Decimal::TWO, times(order.fixed_order_cost, order.demand_per_year)?)?;
    let weight = times(holding, times(pack, pack)?)?;
    if weight.is_zero() {
        return Err(OUT_OF_RANGE);
    }
    let reached = |n: u64| -> Result<bool, CoreError> {
        let pairs = times(Decimal::from(n), Decimal::from(n.saturating_add(1)))?;
        Ok(times(weight, pairs)? >= goal)
    };
    let guess = (real(goal) / real(weight)).sqrt();
    let mut n = guess.to_u64().unwrap_or(MOST_PACKS).clamp(1, MOST_PACKS);
    while n > 1 && reached(n - 1)? {
        n -= 1;
    }
    while n < MOST_PACKS && !reached(n)? {
        n += 1;
    }
    Ok(n)
}

fn quantity(order: &PackOrder, packs: u64) -> Result<Decimal, CoreError> {
    Decimal::from(packs).checked_mul(order.pack_size_units).ok_or(OUT_OF_RANGE)
}

/// `2 Q cost(n)`, which needs no division: `2 c D Q + 2 K D + h Q²`.
fn doubled_cost_times_quantity(order: &PackOrder, packs: u64) -> Option<Decimal> {
    let q = Decimal::from(packs).checked_mul(order.pack_size_units)?;
    let (unit_cost, holding) = match &order.price {
        PackPrice::Flat { holding_cost_per_unit_per_year } => {
            (Decimal::ZERO, *holding_cost_per_unit_per_year)
        }
        PackPrice::Tiered { holding_cost_rate_per_year, tiers } => {
            let tier = tiers.iter().rev().find(|tier| tier.from_packs <= packs)?;
            (tier.unit_cost, holding_cost_rate_per_year.checked_mul(tier.unit_cost)?)
        }
    };
    let purchase = unit_cost.checked_mul(order.demand_per_year)?.checked_mul(q)?;
    let ordering = order.fixed_order_cost.checked_mul(order.demand_per_year)?;
    let holding = holding.checked_mul(q)?.checked_mul(q)?;
    purchase.checked_add(ordering)?.checked_mul(Decimal::TWO)?.checked_add(holding)
}

/// Whether a costs less than b, or the same with fewer packs: both sides multiplied by both quantities.
fn cheaper(order: &PackOrder, a: u64, b: u64) -> Result<bool, CoreError> {
    let side = |of: u64, by: u64| doubled_cost_times_quantity(order, of)?.checked_mul(Decimal::from(by));
    let (a_cost, b_cost) = (side(a, b).ok_or(OUT_OF_RANGE)?, side(b, a).ok_or(OUT_OF_RANGE)?);
    Ok(a_cost < b_cost || (a_cost == b_cost && a < b))
}

fn cost_per_year(order: &PackOrder, packs: u64) -> Result<f64, CoreError> {
    let doubled = doubled_cost_times_quantity(order, packs).ok_or(OUT_OF_RANGE)?;
    Ok(real(doubled) / (2.0 * real(quantity(order, packs)?)))
}
