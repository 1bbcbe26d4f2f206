//! Why sales brought in more, or less, than planned: price, volume, mix and market.

use super::guards::not_negative;
use crate::CoreError;
use crate::ratio::Ratio;
use rust_decimal::Decimal;

/// One product or service, planned and sold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProductSales {
    /// Units planned.
    pub budget_units: Decimal,
    /// Units sold.
    pub actual_units: Decimal,
    /// Planned contribution per unit; may be negative.
    pub budget_contribution_per_unit: Decimal,
    /// Planned and achieved price per unit, where both are known.
    pub prices: Option<Prices>,
}

/// Planned and achieved price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Prices {
    /// Planned.
    pub budget: Decimal,
    /// Achieved.
    pub actual: Decimal,
}

/// The whole market's units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Market {
    /// Expected.
    pub budget_units: Decimal,
    /// As it turned out.
    pub actual_units: Decimal,
}

/// Positive is favourable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SalesVariances {
    /// Of prices; `None` unless every product's prices are known.
    pub price: Option<Decimal>,
    /// Of units, at planned contribution: quantity and mix together.
    pub volume: Decimal,
    /// Of total units, at the planned average contribution.
    pub quantity: Decimal,
    /// Of what the units were made up of.
    pub mix: Decimal,
    /// Planned average contribution per unit.
    pub budget_average_contribution: Decimal,
    /// The quantity variance split by market, where the market is known.
    pub market: Option<MarketVariances>,
}

/// The two sum to the quantity variance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MarketVariances {
    /// The market was larger or smaller than expected.
    pub size: Decimal,
    /// Our part of it was.
    pub share: Decimal,
}

/// Splits sales against plan. `products`: one entry per product, in any order.
///
/// # Formula
/// ```text
/// price     Σ (AP − BP) AQ                    AQ, BQ units sold and planned; AP, BP prices
/// volume    Σ (AQ − BQ) c                     c planned contribution per unit
/// quantity  (ΣAQ − ΣBQ) c̄                     c̄ = Σ BQ c / ΣBQ
/// mix       Σ (AQ − ΣAQ BQ / ΣBQ) c           volume = quantity + mix
/// size      (AM − BM) s_B c̄                   AM, BM market; s_B = ΣBQ / BM, s_A = ΣAQ / AM
/// share     (s_A − s_B) AM c̄                  size + share = quantity
/// ```
/// # Source
/// Drury, Management and Cost Accounting, and textbook exhibits (check values: `sales_variances`).
///
/// # Errors
/// [`CoreError::Invalid`] when units or prices are negative, or planned units or a market are zero in all;
/// [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::sales_variances::{ProductSales, sales_variances}};
/// let d = Decimal::from;
/// let wash = ProductSales { budget_units: d(100), actual_units: d(110),
///     budget_contribution_per_unit: d(40), prices: None };
/// assert_eq!(sales_variances(&[wash], None)?.quantity, d(400));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn sales_variances(
    products: &[ProductSales],
    market: Option<Market>,
) -> Result<SalesVariances, CoreError> {
    let (mut sold, mut planned, mut planned_margin) = (Ratio::zero(), Ratio::zero(), Ratio::zero());
    for product in products {
        not_negative(product.budget_units, "budget_units")?;
        not_negative(product.actual_units, "actual_units")?;
        sold = sold + product.actual_units.into();
        planned = planned + product.budget_units.into();
        planned_margin =
            planned_margin + Ratio::from(product.budget_units) * product.budget_contribution_per_unit.into();
    }
    let average = planned_margin.over(&planned, "budget_units")?;
    let growth = sold.over(&planned, "budget_units")?;
    let (mut volume, mut mix) = (Ratio::zero(), Ratio::zero());
    for product in products {
        let (units, plan) = (Ratio::from(product.actual_units), Ratio::from(product.budget_units));
        let contribution = Ratio::from(product.budget_contribution_per_unit);
        volume = volume + &(&units - &plan) * &contribution;
        mix = mix + &(&units - &(&growth * &plan)) * &contribution;
    }
    let quantity = &(&sold - &planned) * &average;
    Ok(SalesVariances {
        price: price_variance(products)?,
        volume: volume.decimal("volume variance")?,
        quantity: quantity.decimal("quantity variance")?,
        mix: mix.decimal("mix variance")?,
        budget_average_contribution: average.decimal("average contribution")?,
        market: market.map(|market| market_variances(market, &sold, &planned, &average)).transpose()?,
    })
}

fn price_variance(products: &[ProductSales]) -> Result<Option<Decimal>, CoreError> {
    let mut total = Ratio::zero();
    for product in products {
        let Some(prices) = product.prices else { return Ok(None) };
        not_negative(prices.budget, "budget_price")?;
        not_negative(prices.actual, "actual_price")?;
        let change = Ratio::from(prices.actual) - prices.budget.into();
        total = total + change * product.actual_units.into();
    }
    total.decimal("price variance").map(Some)
}

fn market_variances(
    market: Market,
    sold: &Ratio,
    planned: &Ratio,
    average: &Ratio,
) -> Result<MarketVariances, CoreError> {
    not_negative(market.budget_units, "budget_market_units")?;
    not_negative(market.actual_units, "actual_market_units")?;
    let (expected, actual) = (Ratio::from(market.budget_units), Ratio::from(market.actual_units));
    let planned_share = planned.over(&expected, "budget_market_units")?;
    let share = sold.over(&actual, "actual_market_units")?;
    let by_size = &(&(&actual - &expected) * &planned_share) * average;
    let by_share = &(&(&share - &planned_share) * &actual) * average;
    Ok(MarketVariances {
        size: by_size.decimal("market size variance")?,
        share: by_share.decimal("market share variance")?,
    })
}
