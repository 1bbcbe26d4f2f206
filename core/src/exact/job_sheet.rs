//! One job's cost sheet: what it took, what it brought in, what it left.

use super::card_fee::CardTerms;
use super::guards::not_negative;
use super::overhead::OverheadRate;
use super::rounding::places;
use super::shares::deal;
use crate::CoreError;
use crate::ratio::{Ratio, Toward, from_steps};
use rust_decimal::Decimal;

/// So much of something at a price for each: minutes, cycles, kilometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Priced {
    /// How much.
    pub quantity: Decimal,
    /// Money for one.
    pub unit_cost: Decimal,
}

/// What the books know of one job. A job that repairs another is not told here: its lines are passed to
/// the job it repairs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JobFacts<'a> {
    /// Price of the services less discount, without tax and tip.
    pub net_revenue: Decimal,
    /// Paid minutes at a burdened cost per hour, one entry per person and rate.
    pub labour_min: &'a [Priced],
    /// The job's part of the overtime premium.
    pub overtime_premium: Decimal,
    /// Value of the products the job used, from the stock books.
    pub product_cost: Decimal,
    /// Value of the supplies the job used, from the stock books.
    pub supply_cost: Decimal,
    /// Pad cycles at their cost per cycle, one entry per pad.
    pub pad_cycles: &'a [Priced],
    /// Machine minutes at a cost per hour, one entry per machine.
    pub machine_min: &'a [Priced],
    /// Distance at a rate per unit of it, one entry per leg.
    pub travel: &'a [Priced],
    /// What was charged to a card, with tax and tip, and the card's terms.
    pub card: Option<(Decimal, CardTerms)>,
    /// The overhead rate and the job's part of its base.
    pub overhead: Option<(OverheadRate, Decimal)>,
    /// Decimals of the currency's minor unit.
    pub minor_unit_digits: u32,
}

/// Cost lines in whole minor units; they sum to `total_cost`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct CostLines {
    /// Paid minutes at burdened cost.
    pub labour: Decimal,
    /// The overtime premium.
    pub overtime_premium: Decimal,
    /// Products.
    pub product: Decimal,
    /// Supplies.
    pub supplies: Decimal,
    /// Pads.
    pub pads: Decimal,
    /// Machines.
    pub machines: Decimal,
    /// Travel.
    pub travel: Decimal,
    /// Card fee.
    pub card_fee: Decimal,
    /// Overhead applied.
    pub overhead: Decimal,
}

/// The finished sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JobSheet {
    /// Revenue in whole minor units.
    pub net_revenue: Decimal,
    /// Cost by line.
    pub lines: CostLines,
    /// All cost.
    pub total_cost: Decimal,
    /// Revenue less every cost but overhead.
    pub contribution: Decimal,
    /// Revenue less all cost.
    pub margin: Decimal,
    /// Margin over revenue; `None` without revenue.
    pub margin_fraction: Option<Decimal>,
}

impl CostLines {
    /// Names and figures, in the order of the sheet.
    #[must_use]
    pub const fn named(&self) -> [(&'static str, Decimal); 9] {
        [
            ("labour", self.labour),
            ("overtime_premium", self.overtime_premium),
            ("product", self.product),
            ("supplies", self.supplies),
            ("pads", self.pads),
            ("machines", self.machines),
            ("travel", self.travel),
            ("card_fee", self.card_fee),
            ("overhead", self.overhead),
        ]
    }
}

/// Draws up the sheet. Lines are worked exactly and rounded together, so that they sum to the total.
///
/// # Formula
/// ```text
/// labour = Σ t w / 60        t paid minutes, w burdened cost per hour
/// pads   = Σ n c             n cycles, c cost per cycle
/// machines = Σ t u / 60      u cost per machine hour
/// travel = Σ d r             d distance, r rate
/// total  = round_half_up(Σ lines)      margin = revenue − total      contribution = margin + overhead
/// ```
/// # Source
/// Job costing as in any textbook of cost accounting: direct material, direct labour, applied overhead.
///
/// # Errors
/// [`CoreError::Invalid`] when a quantity, cost or revenue is negative, or the revenue is no whole number
/// of minor units; [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::job_sheet::{JobFacts, Priced, job_sheet}};
/// let d = Decimal::from;
/// let facts = JobFacts { net_revenue: d(300), labour_min: &[Priced { quantity: d(180), unit_cost: d(30) }],
///     overtime_premium: d(0), product_cost: d(8), supply_cost: d(2), pad_cycles: &[], machine_min: &[],
///     travel: &[], card: None, overhead: None, minor_unit_digits: 2 };
/// let sheet = job_sheet(&facts)?;
/// assert_eq!((sheet.total_cost, sheet.margin), (d(100), d(200)));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn job_sheet(facts: &JobFacts<'_>) -> Result<JobSheet, CoreError> {
    let places = places(facts.minor_unit_digits)?;
    not_negative(facts.net_revenue, "net_revenue")?;
    let revenue = Ratio::from(facts.net_revenue);
    let revenue_units = revenue.steps(places, Toward::Floor);
    if Ratio::from_steps(&revenue_units, places) != revenue {
        return Err(CoreError::Invalid {
            what: "net_revenue",
            rule: "must be a whole number of minor units",
        });
    }
    let exact = exact_lines(facts)?;
    let total_units = exact.iter().cloned().sum::<Ratio>().steps(places, Toward::HalfUp);
    let dealt = deal(&exact, &total_units, places)?;
    let mut rounded = [Decimal::ZERO; 9];
    for (slot, units) in rounded.iter_mut().zip(&dealt) {
        *slot = from_steps(units, places, "a line of the sheet")?;
    }
    let [labour, overtime_premium, product, supplies, pads, machines, travel, card_fee, overhead] = rounded;
    let margin_units = &revenue_units - &total_units;
    let contribution = Ratio::from_steps(&margin_units, places) + overhead.into();
    let fraction = Ratio::from_steps(&margin_units, places).over(&revenue, "net_revenue").ok();
    Ok(JobSheet {
        net_revenue: from_steps(&revenue_units, places, "net_revenue")?,
        lines: CostLines {
            labour,
            overtime_premium,
            product,
            supplies,
            pads,
            machines,
            travel,
            card_fee,
            overhead,
        },
        total_cost: from_steps(&total_units, places, "total cost")?,
        contribution: contribution.rounded(places, Toward::HalfUp, "contribution")?,
        margin: from_steps(&margin_units, places, "margin")?,
        margin_fraction: fraction.map(|fraction| fraction.decimal("margin fraction")).transpose()?,
    })
}

fn exact_lines(facts: &JobFacts<'_>) -> Result<[Ratio; 9], CoreError> {
    let an_hour = Ratio::from(60_u64);
    for (cost, what) in [
        (facts.overtime_premium, "overtime_premium"),
        (facts.product_cost, "product_cost"),
        (facts.supply_cost, "supply_cost"),
    ] {
        not_negative(cost, what)?;
    }
    let card_fee = match facts.card {
        Some((charge, terms)) => terms.fee(charge)?,
        None => Decimal::ZERO,
    };
    let overhead = match facts.overhead {
        Some((rate, base)) => rate.applied(base)?,
        None => Decimal::ZERO,
    };
    Ok([
        sum(facts.labour_min, "labour_min")?.over(&an_hour, "hour")?,
        facts.overtime_premium.into(),
        facts.product_cost.into(),
        facts.supply_cost.into(),
        sum(facts.pad_cycles, "pad_cycles")?,
        sum(facts.machine_min, "machine_min")?.over(&an_hour, "hour")?,
        sum(facts.travel, "travel")?,
        card_fee.into(),
        overhead.into(),
    ])
}

fn sum(lines: &[Priced], what: &'static str) -> Result<Ratio, CoreError> {
    let mut total = Ratio::zero();
    for line in lines {
        not_negative(line.quantity, what)?;
        not_negative(line.unit_cost, what)?;
        total = total + Ratio::from(line.quantity) * line.unit_cost.into();
    }
    Ok(total)
}
