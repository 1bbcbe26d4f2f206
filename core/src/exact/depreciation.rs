//! What a machine or a van loses in value, by years or by use.

use super::guards::{above_zero, not_negative};
use super::rounding::places;
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// Something bought to be used up over years.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asset {
    /// What it cost.
    pub cost: Decimal,
    /// What it will still fetch at the end.
    pub salvage_value: Decimal,
    /// Decimals that charges are rounded to.
    pub minor_unit_digits: u32,
}

/// One charge per period, and the book value after each.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Schedule {
    /// Cost less salvage value.
    pub depreciable_base: Decimal,
    /// Charge per period, in order.
    pub charges: Vec<Decimal>,
    /// Book value after each charge.
    pub closing_book_values: Vec<Decimal>,
}

/// Longest life in years a schedule is written out for.
const MAX_LIFE_YEARS: u32 = 100;

impl Asset {
    /// Straight line: the same charge every year.
    ///
    /// # Formula
    /// ```text
    /// a year    D / n                      D = cost − salvage, n years
    /// first     (D / n) (m / 12)           m months of use in the first year
    /// last      what is left of D
    /// ```
    /// Each charge is rounded half up to the minor unit and never exceeds what is left.
    ///
    /// # Source
    /// Printed schedules of a published accounting textbook (check values: `depreciation`).
    ///
    /// # Errors
    /// [`CoreError::Invalid`] when salvage exceeds cost, either is negative, `n` is not 1 to 100 or `m` is
    /// not 1 to 12; [`CoreError::OutOfRange`].
    ///
    /// # Example
    /// ```
    /// use dropwise_core::{Decimal, exact::depreciation::Asset};
    /// let press = Asset {
    ///     cost: Decimal::from(58_000), salvage_value: Decimal::from(10_000), minor_unit_digits: 2,
    /// };
    /// assert_eq!(press.straight_line(5, 12)?.charges, [Decimal::from(9_600); 5]);
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn straight_line(self, life_years: u32, months_in_first_year: u32) -> Result<Schedule, CoreError> {
        if !(1..=12).contains(&months_in_first_year) {
            return Err(CoreError::Invalid {
                what: "months_in_first_year",
                rule: "must lie between 1 and 12",
            });
        }
        let annual = self.annual(life_years)?;
        let twelve = Ratio::from(12_u64);
        let first = (&annual * &Ratio::from(u64::from(months_in_first_year))).over(&twelve, "months")?;
        let mut periods = Vec::new();
        if months_in_first_year < 12 {
            periods.push(first);
        }
        periods.extend((1..life_years).map(|_| annual.clone()));
        // The last period takes the rest, whatever rounding made of the others.
        periods.push(self.base()?);
        self.schedule(periods.iter())
    }

    /// A full year's charge by straight line, rounded to the minor unit.
    ///
    /// # Errors
    /// As [`Asset::straight_line`].
    pub fn annual_depreciation(self, life_years: u32) -> Result<Decimal, CoreError> {
        self.annual(life_years)?.rounded(places(self.minor_unit_digits)?, Toward::HalfUp, "depreciation")
    }

    /// Units of production: charged by use, e.g. machine hours or miles.
    ///
    /// # Formula
    /// ```text
    /// charge_i = min(round(D u_i / L), what is left of D)      u_i units used, L units of a whole life
    /// ```
    /// `units_used`: one entry per period, in order; may be empty.
    ///
    /// # Source
    /// As [`Asset::straight_line`].
    ///
    /// # Errors
    /// [`CoreError::Invalid`] when salvage exceeds cost, anything is negative or `L` is zero;
    /// [`CoreError::OutOfRange`].
    pub fn units_of_production(
        self,
        life_units: Decimal,
        units_used: &[Decimal],
    ) -> Result<Schedule, CoreError> {
        above_zero(life_units, "life_units")?;
        let rate = self.base()?.over(&life_units.into(), "life_units")?;
        let mut periods = Vec::with_capacity(units_used.len());
        for units in units_used {
            not_negative(*units, "units_used")?;
            periods.push(&rate * &Ratio::from(*units));
        }
        self.schedule(periods.iter())
    }

    /// Depreciable base per unit of use, not rounded.
    ///
    /// # Errors
    /// As [`Asset::units_of_production`].
    pub fn rate_per_unit(self, life_units: Decimal) -> Result<Decimal, CoreError> {
        above_zero(life_units, "life_units")?;
        self.base()?.over(&life_units.into(), "life_units")?.decimal("rate per unit")
    }

    fn base(self) -> Result<Ratio, CoreError> {
        not_negative(self.cost, "cost")?;
        not_negative(self.salvage_value, "salvage_value")?;
        if self.salvage_value > self.cost {
            return Err(CoreError::Invalid { what: "salvage_value", rule: "must not exceed cost" });
        }
        let base = Ratio::from(self.cost) - self.salvage_value.into();
        let places = places(self.minor_unit_digits)?;
        if Ratio::from(base.rounded(places, Toward::Floor, "depreciable base")?) != base {
            let rule = "less salvage_value must be a whole number of minor units";
            return Err(CoreError::Invalid { what: "cost", rule });
        }
        Ok(base)
    }

    fn annual(self, life_years: u32) -> Result<Ratio, CoreError> {
        if !(1..=MAX_LIFE_YEARS).contains(&life_years) {
            return Err(CoreError::Invalid { what: "life_years", rule: "must lie between 1 and 100" });
        }
        self.base()?.over(&Ratio::from(u64::from(life_years)), "life_years")
    }

    fn schedule<'a>(self, periods: impl Iterator<Item = &'a Ratio>) -> Result<Schedule, CoreError> {
        let places = places(self.minor_unit_digits)?;
        let base = self.base()?;
        let (mut left, mut charges, mut closing_book_values) = (base.clone(), Vec::new(), Vec::new());
        for period in periods {
            let charge = Ratio::from(period.rounded(places, Toward::HalfUp, "charge")?).min(left.clone());
            charges.push(charge.rounded(places, Toward::HalfUp, "charge")?);
            left = left - charge;
            let book_value = &left + &self.salvage_value.into();
            closing_book_values.push(book_value.rounded(places, Toward::HalfUp, "book value")?);
        }
        let depreciable_base = base.rounded(places, Toward::HalfUp, "depreciable base")?;
        Ok(Schedule { depreciable_base, charges, closing_book_values })
    }
}
