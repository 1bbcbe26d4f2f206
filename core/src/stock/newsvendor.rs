//! One selling period, one order: how much to take when what is left over loses money.

use super::count_demand::CountDemand;
use super::normal::{density, expected_shortage, loss, service_factor};
use super::numbers::{any_finite, exact_positive, finite, not_negative, real};
use crate::CoreError;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// What one unit too few and one unit too many cost, money.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MismatchCosts {
    /// `c_o`: cost of a unit left over.
    pub overage: Decimal,
    /// `c_u`: cost of a unit short.
    pub underage: Decimal,
}

impl MismatchCosts {
    /// `c_u / (c_u + c_o)`: the chance of having enough that balances the two.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless both costs are above zero.
    pub fn critical_ratio(self) -> Result<f64, CoreError> {
        let (over, under) = self.reals()?;
        Ok(under / (under + over))
    }

    fn reals(self) -> Result<(f64, f64), CoreError> {
        exact_positive(self.overage, "overage cost")?;
        exact_positive(self.underage, "underage cost")?;
        Ok((real(self.overage), real(self.underage)))
    }
}

/// The level to order up to, and what mismatch costs on average there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level<Q> {
    /// Units.
    pub order_up_to: Q,
    /// Money.
    pub expected_cost: f64,
}

/// Best level for normal demand.
///
/// # Formula
/// ```text
/// S = m + s z        Phi(z) = c_u / (c_u + c_o)        cost = (c_u + c_o) s phi(z)
/// ```
/// # Source
/// Snyder & Shen, Fundamentals of Supply Chain Theory, 2nd ed. (2019), eqs. (4.30), (4.37). Check values:
/// `newsvendor`.
/// # Errors
/// [`CoreError::Invalid`] when a cost is not above zero, or the mean or deviation negative.
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::newsvendor::{MismatchCosts, normal_level}};
/// // Both costs alike: order the mean.
/// let even = MismatchCosts { overage: Decimal::ONE, underage: Decimal::ONE };
/// assert_eq!(normal_level(even, 50.0, 8.0)?.order_up_to, 50.0);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn normal_level(costs: MismatchCosts, mean: f64, sd: f64) -> Result<Level<f64>, CoreError> {
    let (over, under) = costs.reals()?;
    not_negative(mean, "mean demand")?;
    not_negative(sd, "standard deviation of demand")?;
    let z = service_factor(costs.critical_ratio()?)?;
    Ok(Level {
        order_up_to: finite(mean + z * sd, "order-up-to level")?,
        expected_cost: finite((over + under) * sd * density(z), "expected cost")?,
    })
}

/// Cost of a stated level under normal demand.
///
/// # Formula
/// `c_o E[(S - X)^+] + c_u E[(X - S)^+]`, with `E[(S - X)^+] = S - m + E[(X - S)^+]`.
/// # Errors
/// [`CoreError::Invalid`] when a cost is not above zero, or a figure not finite.
pub fn normal_cost(costs: MismatchCosts, mean: f64, sd: f64, level: f64) -> Result<f64, CoreError> {
    let (over, under) = costs.reals()?;
    not_negative(mean, "mean demand")?;
    let short = expected_shortage(mean, sd, any_finite(level, "order-up-to level")?)?;
    finite(over * (level - mean + short) + under * short, "expected cost")
}

/// Best level for Poisson demand.
///
/// # Formula
/// `S` is the smallest whole number with `P(X ≤ S) ≥ c_u / (c_u + c_o)`.
/// # Errors
/// [`CoreError::Invalid`] when a cost is not above zero, or the mean negative or above a million.
pub fn poisson_level(costs: MismatchCosts, mean: f64) -> Result<Level<u64>, CoreError> {
    let (over, under) = costs.reals()?;
    let quantile = CountDemand::poisson(mean)?.quantile(costs.critical_ratio()?)?;
    let (level, short) = (quantile.reorder_point, quantile.expected_short);
    let left = level.to_f64().unwrap_or(f64::INFINITY) - mean + short;
    Ok(Level { order_up_to: level, expected_cost: finite(over * left + under * short, "expected cost")? })
}

/// One possible demand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DemandChance {
    /// Units.
    pub quantity: u64,
    /// Its chance, exact.
    pub probability: Decimal,
}

/// Best level for demand given as a table of chances; reaching the critical ratio exactly counts.
///
/// # Formula
/// `S` is the smallest whole number with `P(X ≤ S) (c_u + c_o) ≥ c_u`, compared in exact decimals.
/// # Errors
/// [`CoreError::Invalid`] when a cost is not above zero, a chance negative, a quantity listed twice, or the
/// chances do not add up to one; [`CoreError::OutOfRange`] when a product leaves the decimal range.
pub fn discrete_level(costs: MismatchCosts, chances: &[DemandChance]) -> Result<Level<u64>, CoreError> {
    let (over, under) = costs.reals()?;
    let mut chances = chances.to_vec();
    chances.sort_unstable_by_key(|chance| chance.quantity);
    checked_chances(&chances)?;
    let both = costs.overage.checked_add(costs.underage).ok_or(OUT_OF_RANGE)?;
    let (mut reached, mut level) = (Decimal::ZERO, 0);
    for chance in &chances {
        reached = reached.checked_add(chance.probability).ok_or(OUT_OF_RANGE)?;
        level = chance.quantity;
        if reached.checked_mul(both).ok_or(OUT_OF_RANGE)? >= costs.underage {
            break;
        }
    }
    let units = |n: u64| n.to_f64().unwrap_or(f64::INFINITY);
    let expected_cost = chances
        .iter()
        .map(|chance| {
            let gap = units(chance.quantity) - units(level);
            real(chance.probability) * if gap > 0.0 { under * gap } else { -over * gap }
        })
        .sum();
    Ok(Level { order_up_to: level, expected_cost: finite(expected_cost, "expected cost")? })
}

const OUT_OF_RANGE: CoreError = CoreError::OutOfRange { what: "probability" };

fn checked_chances(sorted: &[DemandChance]) -> Result<(), CoreError> {
    if !sorted.is_sorted_by(|a, b| a.quantity < b.quantity) {
        return Err(CoreError::Invalid { what: "demand distribution", rule: "must list a quantity once" });
    }
    let mut sum = Decimal::ZERO;
    for chance in sorted {
        super::numbers::exact_not_negative(chance.probability, "probability")?;
        sum = sum.checked_add(chance.probability).ok_or(OUT_OF_RANGE)?;
    }
    // Chances written with nine digits or more, such as thirds, need not meet one exactly.
    if (sum - Decimal::ONE).abs() > Decimal::new(1, 9) {
        return Err(CoreError::Invalid { what: "demand distribution", rule: "must add up to one" });
    }
    Ok(())
}

/// Prices of one selling period, money per unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SeasonPrices {
    /// What a unit sells for.
    pub selling: Decimal,
    /// What a unit costs.
    pub purchase: Decimal,
    /// What a unit left over still brings.
    pub salvage: Decimal,
}

/// The order that earns most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeasonOrder {
    /// `c_u / (c_u + c_o)`.
    pub critical_ratio: f64,
    /// Q, units; a real number, not rounded.
    pub order_quantity: f64,
    /// Units asked for and not there, expected.
    pub expected_lost_sales: f64,
    /// Money.
    pub expected_profit: f64,
}

/// The order that earns most under normal demand.
///
/// # Formula
/// ```text
/// c_u = price - cost        c_o = cost - salvage        Q = m + s z
/// profit = c_u m - c_o (Q - m) - (c_u + c_o) s G(z)        lost sales = s G(z)
/// ```
/// # Source
/// Snyder & Shen (2019), Example 4.2. Check values: `newsvendor`.
/// # Errors
/// [`CoreError::Invalid`] unless price > cost > salvage; as [`normal_level`].
pub fn season_order(prices: SeasonPrices, mean: f64, sd: f64) -> Result<SeasonOrder, CoreError> {
    let difference = |a: Decimal, b: Decimal| a.checked_sub(b).ok_or(CoreError::OutOfRange { what: "price" });
    let costs = MismatchCosts {
        underage: difference(prices.selling, prices.purchase)?,
        overage: difference(prices.purchase, prices.salvage)?,
    };
    if costs.underage <= Decimal::ZERO || costs.overage <= Decimal::ZERO {
        return Err(CoreError::Invalid {
            what: "prices",
            rule: "must fall from selling price over purchase cost to salvage value",
        });
    }
    let (over, under) = costs.reals()?;
    let order_quantity = normal_level(costs, mean, sd)?.order_up_to;
    let critical_ratio = costs.critical_ratio()?;
    let lost = sd * loss(service_factor(critical_ratio)?);
    let profit = under * mean - over * (order_quantity - mean) - (under + over) * lost;
    Ok(SeasonOrder {
        critical_ratio,
        order_quantity,
        expected_lost_sales: finite(lost, "expected lost sales")?,
        expected_profit: finite(profit, "expected profit")?,
    })
}
