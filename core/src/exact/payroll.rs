//! What an hour of somebody's time really costs: employer taxes and the burdened hour.
//!
//! Rates and wage bases change every year and differ by state; they are inputs, never constants here.
//! Whoever runs payroll checks them against the law that applies.

use super::guards::{above_zero, not_negative};
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// One tax the employer owes on wages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EmployerTax {
    /// As a fraction of wages.
    pub rate: Decimal,
    /// Yearly wages per person beyond which nothing more is owed; `None` for a tax without that bound.
    pub yearly_wage_base: Option<Decimal>,
}

/// The part of a pay that a tax is owed on.
///
/// # Formula
/// ```text
/// min(G, max(0, B − Y))      symbols as in [`employer_tax`]
/// ```
/// # Errors
/// As [`employer_tax`].
pub fn taxable_wages(
    tax: EmployerTax,
    gross_wages: Decimal,
    year_to_date_wages_before: Decimal,
) -> Result<Decimal, CoreError> {
    taxable(tax, gross_wages, year_to_date_wages_before)?.decimal("taxable wages")
}

/// One employer tax on one pay.
///
/// # Formula
/// ```text
/// t = round(r min(G, max(0, B − Y)))   r rate, G gross pay, B yearly base, Y wages earlier this year
/// ```
/// Halves away from zero, to the cent.
///
/// # Source
/// Worked monthly example of a published accounting textbook (check values: `payroll_burden`).
///
/// # Errors
/// [`CoreError::Invalid`] when anything is negative; [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::payroll::{EmployerTax, employer_tax}};
/// let tax = EmployerTax { rate: Decimal::new(6, 3), yearly_wage_base: Some(Decimal::from(7000)) };
/// assert_eq!(employer_tax(tax, Decimal::from(2000), Decimal::from(6000))?, Decimal::from(6));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn employer_tax(
    tax: EmployerTax,
    gross_wages: Decimal,
    year_to_date_wages_before: Decimal,
) -> Result<Decimal, CoreError> {
    let taxable = taxable(tax, gross_wages, year_to_date_wages_before)?;
    (taxable * tax.rate.into()).rounded(2, Toward::HalfUp, "employer tax")
}

fn taxable(
    tax: EmployerTax,
    gross_wages: Decimal,
    year_to_date_wages_before: Decimal,
) -> Result<Ratio, CoreError> {
    not_negative(tax.rate, "rate")?;
    not_negative(gross_wages, "gross_wages")?;
    not_negative(year_to_date_wages_before, "year_to_date_wages_before")?;
    let mut taxable = Ratio::from(gross_wages);
    if let Some(base) = tax.yearly_wage_base {
        not_negative(base, "wage_base")?;
        let left = &Ratio::from(base) - &year_to_date_wages_before.into();
        taxable = taxable.min(left.max(Ratio::zero()));
    }
    Ok(taxable)
}

/// One person's yearly cost and hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct YearOfWork {
    /// Wages.
    pub annual_wages: Decimal,
    /// Employer taxes.
    pub annual_employer_taxes: Decimal,
    /// Insurance, benefits, tools, phone and the like.
    pub annual_other_employer_costs: Decimal,
    /// All hours paid.
    pub paid_hours: Decimal,
    /// Paid hours without work: leave, holidays, training.
    pub paid_non_productive_hours: Decimal,
    /// The part of the remaining hours that is billed, between 0 and 1; driving and waiting are not.
    pub utilisation: Decimal,
}

/// What an hour costs, and the figures it came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BurdenedHour {
    /// All yearly cost, to the cent.
    pub annual_cost: Decimal,
    /// Hours that can be billed.
    pub productive_hours: Decimal,
    /// Productive hours as a fraction of paid hours.
    pub utilisation_of_paid_hours: Decimal,
    /// Cost of an hour paid.
    pub cost_per_paid_hour: Decimal,
    /// Cost of an hour billed.
    pub cost_per_productive_hour: Decimal,
    /// The same to the cent.
    pub cost_per_productive_hour_rounded: Decimal,
    /// What comes on top of wages, as a fraction of them.
    pub burden_rate_on_wages: Decimal,
}

/// The cost of an hour, with everything an hour of pay drags along.
///
/// # Formula
/// ```text
/// C = W + T + O                   W wages, T employer taxes, O other employer costs
/// c = C / ((P − N) u)             P paid hours, N paid non-productive hours, u utilisation
/// burden rate = (T + O) / W
/// ```
/// # Source
/// Trade article on labour burden with printed result (check values: `payroll_burden`).
///
/// # Errors
/// [`CoreError::Invalid`] when anything is negative, wages are zero, no productive hour is left or
/// `u > 1`; [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::payroll::{YearOfWork, burdened_hour}};
/// let d = Decimal::from;
/// let year = YearOfWork { annual_wages: d(30_000), annual_employer_taxes: d(3_000),
///     annual_other_employer_costs: d(3_000), paid_hours: d(2_000), paid_non_productive_hours: d(200),
///     utilisation: Decimal::ONE };
/// assert_eq!(burdened_hour(&year)?.cost_per_productive_hour, d(20));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn burdened_hour(year: &YearOfWork) -> Result<BurdenedHour, CoreError> {
    above_zero(year.annual_wages, "annual_wages")?;
    not_negative(year.annual_employer_taxes, "annual_employer_taxes")?;
    not_negative(year.annual_other_employer_costs, "annual_other_employer_costs")?;
    above_zero(year.paid_hours, "paid_hours")?;
    not_negative(year.paid_non_productive_hours, "paid_non_productive_hours")?;
    above_zero(year.utilisation, "utilisation")?;
    if year.utilisation > Decimal::ONE {
        return Err(CoreError::Invalid { what: "utilisation", rule: "must not be above 1" });
    }
    let (wages, paid) = (Ratio::from(year.annual_wages), Ratio::from(year.paid_hours));
    let burden = Ratio::from(year.annual_employer_taxes) + year.annual_other_employer_costs.into();
    let cost = &wages + &burden;
    let worked = &paid - &year.paid_non_productive_hours.into();
    let productive = &worked * &year.utilisation.into();
    if !productive.is_positive() {
        let rule = "must leave at least some productive hours";
        return Err(CoreError::Invalid { what: "paid_non_productive_hours", rule });
    }
    let per_productive_hour = cost.over(&productive, "productive hours")?;
    Ok(BurdenedHour {
        annual_cost: cost.rounded(2, Toward::HalfUp, "annual cost")?,
        productive_hours: productive.decimal("productive hours")?,
        utilisation_of_paid_hours: productive.over(&paid, "paid_hours")?.decimal("utilisation")?,
        cost_per_paid_hour: cost.over(&paid, "paid_hours")?.decimal("cost per paid hour")?,
        cost_per_productive_hour: per_productive_hour.decimal("cost per productive hour")?,
        cost_per_productive_hour_rounded: per_productive_hour.rounded(
            2,
            Toward::HalfUp,
            "cost per productive hour",
        )?,
        burden_rate_on_wages: burden.over(&wages, "annual_wages")?.decimal("burden rate")?,
    })
}
