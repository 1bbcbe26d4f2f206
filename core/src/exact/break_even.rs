//! Contribution margin, the point where it covers fixed costs, and the sales a wanted profit takes.

use super::guards::not_negative;
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// One unit sold, or one composite of several products.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnitEconomics {
    /// What it sells for.
    pub price: Decimal,
    /// What it costs and would not cost unsold.
    pub variable_cost: Decimal,
}

/// One product of a constant mix.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MixLine {
    /// Units of it in one composite.
    pub mix_units: Decimal,
    /// Its price and variable cost.
    pub unit: UnitEconomics,
}

/// A volume of sales: units and what they bring in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SalesPoint {
    /// Units, not rounded.
    pub units_exact: Decimal,
    /// Whole units, rounded up.
    pub units: Decimal,
    /// Revenue at the exact units.
    pub revenue: Decimal,
}

/// What a number of units sold leaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SoldResult {
    /// Contribution of all units.
    pub total_contribution: Decimal,
    /// Contribution less fixed costs.
    pub operating_income: Decimal,
    /// Revenue above the break-even revenue; negative below it.
    pub margin_of_safety_revenue: Decimal,
}

impl UnitEconomics {
    /// One composite unit of a constant mix.
    ///
    /// # Formula
    /// ```text
    /// price = Σ k_i p_i      variable cost = Σ k_i v_i      k mix units
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] when anything is negative; [`CoreError::OutOfRange`].
    pub fn composite(mix: &[MixLine]) -> Result<Self, CoreError> {
        let (mut price, mut variable_cost) = (Ratio::zero(), Ratio::zero());
        for line in mix {
            not_negative(line.mix_units, "mix_units")?;
            line.unit.check()?;
            price = price + Ratio::from(line.mix_units) * line.unit.price.into();
            variable_cost = variable_cost + Ratio::from(line.mix_units) * line.unit.variable_cost.into();
        }
        Ok(Self { price: price.decimal("price")?, variable_cost: variable_cost.decimal("variable cost")? })
    }

    /// What one unit leaves after its own cost.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] when that is not above zero, or an input is negative; [`CoreError::OutOfRange`].
    pub fn contribution(self) -> Result<Decimal, CoreError> {
        self.left()?.decimal("contribution")
    }

    /// Contribution as a fraction of the price.
    ///
    /// # Errors
    /// As [`UnitEconomics::contribution`].
    pub fn contribution_ratio(self) -> Result<Decimal, CoreError> {
        self.left()?.over(&self.price.into(), "price")?.decimal("contribution ratio")
    }

    /// The sales at which contribution equals `amount`: fixed costs for the break-even point, fixed
    /// costs and wanted profit for a target.
    ///
    /// # Formula
    /// ```text
    /// n = A / (p − v)      revenue = n p      A amount, p price, v variable cost
    /// ```
    /// # Source
    /// Worked examples of a published accounting textbook (check values: `cost_volume_profit`).
    ///
    /// # Errors
    /// As [`UnitEconomics::contribution`], and for a negative amount.
    ///
    /// # Example
    /// ```
    /// use dropwise_core::{Decimal, exact::break_even::UnitEconomics};
    /// let wash = UnitEconomics { price: Decimal::from(100), variable_cost: Decimal::from(20) };
    /// assert_eq!(wash.sales_to_cover(Decimal::from(18_000))?.units, Decimal::from(225));
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn sales_to_cover(self, amount: Decimal) -> Result<SalesPoint, CoreError> {
        let units = self.units_to_cover(amount)?;
        Ok(SalesPoint {
            units_exact: units.decimal("units")?,
            units: units.rounded(0, Toward::Ceiling, "units")?,
            revenue: (units * self.price.into()).decimal("revenue")?,
        })
    }

    /// What so many units leave, and how far their revenue lies above break-even.
    ///
    /// # Errors
    /// As [`UnitEconomics::sales_to_cover`].
    pub fn sold(self, units_sold: Decimal, fixed_costs: Decimal) -> Result<SoldResult, CoreError> {
        not_negative(units_sold, "units_sold")?;
        let units = Ratio::from(units_sold);
        let contribution = &units * &self.left()?;
        let above = &(&units - &self.units_to_cover(fixed_costs)?) * &self.price.into();
        Ok(SoldResult {
            total_contribution: contribution.decimal("contribution")?,
            operating_income: (contribution - fixed_costs.into()).decimal("operating income")?,
            margin_of_safety_revenue: above.decimal("margin of safety")?,
        })
    }

    fn units_to_cover(self, amount: Decimal) -> Result<Ratio, CoreError> {
        not_negative(amount, "fixed_costs")?;
        Ratio::from(amount).over(&self.left()?, "contribution")
    }

    fn left(self) -> Result<Ratio, CoreError> {
        self.check()?;
        let left = Ratio::from(self.price) - self.variable_cost.into();
        if !left.is_positive() {
            let rule = "must exceed the variable cost, or no volume of sales breaks even";
            return Err(CoreError::Invalid { what: "price", rule });
        }
        Ok(left)
    }

    fn check(self) -> Result<(), CoreError> {
        not_negative(self.price, "price")?;
        not_negative(self.variable_cost, "variable_cost")
    }
}

/// The profit before tax that leaves a wanted profit after it.
///
/// # Formula
/// ```text
/// before = after / (1 − t)      t tax rate, at least 0 and below 1
/// ```
/// # Errors
/// [`CoreError::Invalid`] for a rate outside that range or a negative profit; [`CoreError::OutOfRange`].
pub fn profit_before_tax(after_tax: Decimal, tax_rate: Decimal) -> Result<Decimal, CoreError> {
    not_negative(after_tax, "target_profit_after_tax")?;
    not_negative(tax_rate, "tax_rate")?;
    if tax_rate >= Decimal::ONE {
        return Err(CoreError::Invalid { what: "tax_rate", rule: "must be below 1" });
    }
    let kept = Ratio::one() - tax_rate.into();
    Ratio::from(after_tax).over(&kept, "tax_rate")?.decimal("profit before tax")
}
