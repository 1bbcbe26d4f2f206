//! Why the margin moved from one month to the next, in steps that add up to the cent.

use super::guards::not_negative;
use super::rounding::places;
use super::shares::deal;
use crate::CoreError;
use crate::ratio::{Ratio, Toward, from_steps};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, BTreeSet};

/// One month: what each service took and brought in per job, and all other costs.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Month {
    /// Costs of no service.
    pub other_costs: Decimal,
    /// Services by name.
    pub services: BTreeMap<String, ServiceCard>,
}

/// A service's average job in one month.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ServiceCard {
    /// Jobs done.
    pub jobs: Decimal,
    /// Net price per job.
    pub price: Decimal,
    /// Materials by name.
    pub materials: BTreeMap<String, MaterialUse>,
    /// Labour hours per job.
    pub labour_hours: Decimal,
    /// Money per labour hour.
    pub labour_rate: Decimal,
}

/// A material's part in one job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct MaterialUse {
    /// Units per job, in the same unit both months.
    pub usage: Decimal,
    /// Money per unit.
    pub price: Decimal,
}

/// The eight steps, in the order they are taken. Positive raises the margin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct BridgeSteps {
    /// More or fewer jobs.
    pub volume: Decimal,
    /// Jobs of other kinds.
    pub mix: Decimal,
    /// Prices charged.
    pub price: Decimal,
    /// Material used per job.
    pub material_usage: Decimal,
    /// Material prices paid.
    pub material_price: Decimal,
    /// Hours per job.
    pub labour_efficiency: Decimal,
    /// Cost of an hour.
    pub labour_rate: Decimal,
    /// Everything else.
    pub other: Decimal,
}

/// The bridge between two months.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MarginBridge {
    /// Margin of the base month, to the minor unit.
    pub base_margin: Decimal,
    /// Margin of the actual month, to the minor unit.
    pub actual_margin: Decimal,
    /// The difference of those two.
    pub change: Decimal,
    /// The steps, not rounded.
    pub exact: BridgeSteps,
    /// The steps to the minor unit; they sum to `change`.
    pub rounded: BridgeSteps,
}

impl BridgeSteps {
    /// Names and figures in the order the steps are taken.
    #[must_use]
    pub const fn named(&self) -> [(&'static str, Decimal); 8] {
        [
            ("volume", self.volume),
            ("mix", self.mix),
            ("price", self.price),
            ("material_usage", self.material_usage),
            ("material_price", self.material_price),
            ("labour_efficiency", self.labour_efficiency),
            ("labour_rate", self.labour_rate),
            ("other", self.other),
        ]
    }

    const fn from_order(steps: [Decimal; 8]) -> Self {
        let [volume, mix, price, material_usage, material_price, labour_efficiency, labour_rate, other] =
            steps;
        Self { volume, mix, price, material_usage, material_price, labour_efficiency, labour_rate, other }
    }
}

/// Explains the change in margin from `base` to `actual`.
///
/// # Formula
/// ```text
/// margin = Σ q (p − Σ u m − h w) − o        q jobs, p price, u usage, m material price, h hours,
///                                           w labour rate, o other costs; 0 base, 1 actual
/// volume            (Q1 − Q0) k̄             k = p0 − Σ u0 m0 − h0 w0 per job, k̄ = Σ q0 k / Q0
/// mix               Σ (q1 − Q1 q0 / Q0) k
/// price             Σ q1 (p1 − p0)
/// material usage   −Σ q1 (u1 − u0) m0
/// material price   −Σ q1 u1 (m1 − m0)
/// labour efficiency −Σ q1 (h1 − h0) w0
/// labour rate      −Σ q1 h1 (w1 − w0)
/// other            −(o1 − o0)
/// ```
/// A service new this month takes its own card as base, so that its margin is mix; with no job at all in
/// the base month everything the jobs brought is volume. A material on one side only has usage zero and
/// the same price on the other. Cents: steps are floored and the missing cents dealt to the largest
/// fractional parts, ties to the earlier step.
///
/// # Source
/// Cases in exact rational arithmetic (check values: `margin_bridge`).
///
/// # Errors
/// [`CoreError::Invalid`] when jobs, usage, hours or rates are negative; [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::margin_bridge::{Month, ServiceCard, bridge}};
/// let month = |jobs: u32, price: u32| {
///     let wash = ServiceCard { jobs: jobs.into(), price: price.into(), ..ServiceCard::default() };
///     Month { services: [("wash".to_owned(), wash)].into(), ..Month::default() }
/// };
/// let found = bridge(&month(10, 90), &month(12, 95), 2)?;
/// assert_eq!((found.rounded.volume, found.rounded.price), (Decimal::from(180), Decimal::from(60)));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn bridge(base: &Month, actual: &Month, minor_unit_digits: u32) -> Result<MarginBridge, CoreError> {
    let places = places(minor_unit_digits)?;
    check(base)?;
    check(actual)?;
    let steps = exact_steps(base, actual)?;
    let base_units = margin(base).steps(places, Toward::HalfUp);
    let actual_units = margin(actual).steps(places, Toward::HalfUp);
    let change = &actual_units - &base_units;
    let dealt = deal(&steps, &change, places)?;
    let mut exact = [Decimal::ZERO; 8];
    for (slot, step) in exact.iter_mut().zip(&steps) {
        *slot = step.decimal("a step of the bridge")?;
    }
    let mut rounded = [Decimal::ZERO; 8];
    for (slot, units) in rounded.iter_mut().zip(&dealt) {
        *slot = from_steps(units, places, "a step of the bridge")?;
    }
    Ok(MarginBridge {
        base_margin: from_steps(&base_units, places, "margin")?,
        actual_margin: from_steps(&actual_units, places, "margin")?,
        change: from_steps(&change, places, "change in margin")?,
        exact: BridgeSteps::from_order(exact),
        rounded: BridgeSteps::from_order(rounded),
    })
}

/// A month's margin, to the minor unit.
///
/// # Formula
/// ```text
/// margin = Σ q (p − Σ u m − h w) − o        symbols as in [`bridge`]
/// ```
/// # Errors
/// As [`bridge`].
pub fn month_margin(month: &Month, minor_unit_digits: u32) -> Result<Decimal, CoreError> {
    check(month)?;
    margin(month).rounded(places(minor_unit_digits)?, Toward::HalfUp, "margin")
}

fn margin(month: &Month) -> Ratio {
    let of_jobs: Ratio = month.services.values().map(|card| Ratio::from(card.jobs) * unit_margin(card)).sum();
    of_jobs - month.other_costs.into()
}

/// What one job leaves.
fn unit_margin(card: &ServiceCard) -> Ratio {
    let material: Ratio = card.materials.values().map(|m| Ratio::from(m.usage) * m.price.into()).sum();
    Ratio::from(card.price) - material - Ratio::from(card.labour_hours) * card.labour_rate.into()
}

fn exact_steps(base: &Month, actual: &Month) -> Result<[Ratio; 8], CoreError> {
    let jobs = |month: &Month| month.services.values().map(|card| Ratio::from(card.jobs)).sum::<Ratio>();
    let (jobs_before, jobs_now) = (jobs(base), jobs(actual));
    let margin_before: Ratio =
        base.services.values().map(|card| Ratio::from(card.jobs) * unit_margin(card)).sum();
    let [mut at_base_margin, mut price, mut usage, mut material_price, mut efficiency, mut rate] =
        [(); 6].map(|()| Ratio::zero());
    for (name, now) in &actual.services {
        let before = base.services.get(name).unwrap_or(now);
        let q = Ratio::from(now.jobs);
        at_base_margin = at_base_margin + &q * &unit_margin(before);
        price = price + &q * &(Ratio::from(now.price) - before.price.into());
        let (by_usage, by_price) = material_change(before, now);
        usage = usage - &q * &by_usage;
        material_price = material_price - &q * &by_price;
        let hours = Ratio::from(now.labour_hours) - before.labour_hours.into();
        efficiency = efficiency - &q * &(hours * before.labour_rate.into());
        let hourly = Ratio::from(now.labour_rate) - before.labour_rate.into();
        rate = rate - &q * &(hourly * now.labour_hours.into());
    }
    // What the jobs of now would have left at the margins of before is volume and mix together.
    let volume = if jobs_before.is_zero() {
        &at_base_margin - &margin_before
    } else {
        (&jobs_now - &jobs_before) * margin_before.over(&jobs_before, "jobs")?
    };
    let mix = &(&at_base_margin - &margin_before) - &volume;
    let other = Ratio::from(base.other_costs) - actual.other_costs.into();
    Ok([volume, mix, price, usage, material_price, efficiency, rate, other])
}

/// Change in a job's material cost: by usage at the price before, by price at the usage now.
fn material_change(before: &ServiceCard, now: &ServiceCard) -> (Ratio, Ratio) {
    let names: BTreeSet<&String> = before.materials.keys().chain(now.materials.keys()).collect();
    let (mut by_usage, mut by_price) = (Ratio::zero(), Ratio::zero());
    for name in names {
        let (old, new) = (before.materials.get(name), now.materials.get(name));
        let missing = |other: Option<&MaterialUse>| MaterialUse {
            usage: Decimal::ZERO,
            price: other.map_or(Decimal::ZERO, |other| other.price),
        };
        let (old, new) = (old.copied().unwrap_or(missing(new)), new.copied().unwrap_or(missing(old)));
        by_usage = by_usage + (Ratio::from(new.usage) - old.usage.into()) * old.price.into();
        by_price = by_price + (Ratio::from(new.price) - old.price.into()) * new.usage.into();
    }
    (by_usage, by_price)
}

fn check(month: &Month) -> Result<(), CoreError> {
    for card in month.services.values() {
        not_negative(card.jobs, "jobs")?;
        not_negative(card.labour_hours, "labour_hours")?;
        not_negative(card.labour_rate, "labour_rate")?;
        for material in card.materials.values() {
            not_negative(material.usage, "usage")?;
            not_negative(material.price, "material price")?;
        }
    }
    Ok(())
}
