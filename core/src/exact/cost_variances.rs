//! Why a job's material or labour cost more, or less, than its standard.

use super::guards::not_negative;
use crate::CoreError;
use crate::ratio::Ratio;
use rust_decimal::Decimal;

/// What was really used and paid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Actual {
    /// Quantity used, or hours worked.
    pub quantity: Decimal,
    /// What it cost.
    pub paid: Paid,
    /// Quantity bought, where the price variance is taken on that.
    pub purchased_quantity: Option<Decimal>,
}

/// A price per unit, or the whole cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paid {
    /// Per unit.
    PerUnit(Decimal),
    /// For all units (those purchased, where that is given); the price per unit is then not rounded.
    InAll(Decimal),
}

/// What the actual output should have taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standard {
    /// Quantity allowed for the actual output.
    pub quantity: Decimal,
    /// Price per unit.
    pub price: Decimal,
}

/// Signed actual minus standard: positive is unfavourable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CostVariances {
    /// Price, rate or spending.
    pub price: Decimal,
    /// Quantity or efficiency.
    pub quantity: Decimal,
    /// Actual cost of what was used, less the standard. The sum of the two, unless the price variance was
    /// taken on a quantity purchased.
    pub total: Decimal,
}

/// Splits the distance to standard cost into price and quantity.
///
/// # Formula
/// ```text
/// price     (AP − SP) AQ      on the quantity purchased where that is given
/// quantity  (AQ − SQ) SP      AQ, AP actual quantity and price; SQ, SP standard
/// total     AQ AP − SQ SP
/// ```
/// # Source
/// Worked examples of a published accounting textbook (check values: `cost_variances`).
///
/// # Errors
/// [`CoreError::Invalid`] when anything is negative, or a whole cost is given for no units;
/// [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::cost_variances::{Actual, Paid, Standard, cost_variances}};
/// let d = Decimal::from;
/// let actual = Actual { quantity: d(20), paid: Paid::PerUnit(d(6)), purchased_quantity: None };
/// let found = cost_variances(actual, Standard { quantity: d(20), price: d(7) })?;
/// assert_eq!((found.price, found.quantity), (d(-20), d(0)));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn cost_variances(actual: Actual, standard: Standard) -> Result<CostVariances, CoreError> {
    not_negative(actual.quantity, "actual_quantity")?;
    not_negative(standard.quantity, "standard_quantity")?;
    not_negative(standard.price, "standard_price")?;
    let priced_quantity = actual.purchased_quantity.unwrap_or(actual.quantity);
    not_negative(priced_quantity, "purchased_quantity")?;
    let priced = Ratio::from(priced_quantity);
    let actual_price = match actual.paid {
        Paid::PerUnit(price) => {
            not_negative(price, "actual_price")?;
            Ratio::from(price)
        }
        Paid::InAll(cost) => {
            not_negative(cost, "actual_cost")?;
            Ratio::from(cost).over(&priced, "actual_quantity")?
        }
    };
    let (used, allowed) = (Ratio::from(actual.quantity), Ratio::from(standard.quantity));
    let standard_price = Ratio::from(standard.price);
    let price = &(&actual_price - &standard_price) * &priced;
    let quantity = &(&used - &allowed) * &standard_price;
    let total = &used * &actual_price - &allowed * &standard_price;
    Ok(CostVariances {
        price: price.decimal("price variance")?,
        quantity: quantity.decimal("quantity variance")?,
        total: total.decimal("total variance")?,
    })
}
