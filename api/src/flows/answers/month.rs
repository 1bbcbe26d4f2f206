//! What a month earned: each job's margin, and on lines of their own what no job explains.

use super::{minor_digits, settings};
use crate::error::Error;
use crate::store::{Tx, answers};
use chrono::NaiveDate;
use dropwise_core::exact::rounding::round_money;
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use uuid::Uuid;

/// One job's part of a month.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct JobMonth {
    /// The job.
    pub job_id: Uuid,
    /// What it brought in this month.
    pub revenue: Decimal,
    /// What it cost this month.
    pub cost: Decimal,
    /// The difference.
    pub margin: Decimal,
}

/// A month.
#[derive(Debug, Clone, PartialEq)]
pub struct Month {
    /// The fleet's currency.
    pub currency: String,
    /// Every job with revenue or cost in it, by id; amounts in whole minor units.
    pub jobs: Vec<JobMonth>,
    /// Jobs' costs by kind, exact.
    pub costs: BTreeMap<String, Decimal>,
    /// What no job explains, by kind, in whole minor units. The line `rounding` holds what the other
    /// lines lost or won when they were rounded, so that everything adds up.
    pub unexplained: BTreeMap<String, Decimal>,
    /// All revenue.
    pub revenue: Decimal,
    /// All jobs' margins less everything unexplained.
    pub margin: Decimal,
}

/// The month that starts on this day.
///
/// # Errors
/// Those of the database.
pub async fn read(tx: &mut Tx, month: NaiveDate) -> Result<Month, Error> {
    let fleet = settings(tx).await?;
    let figures = answers::figures_of_month(tx, month).await?;
    let revenues = answers::revenues_of_month(tx, month).await?;
    add_up(fleet.currency.clone(), minor_digits(&fleet), &figures, &revenues)
}

/// Jobs' margins and unexplained lines that add up to the month's margin, to the minor unit.
fn add_up(
    currency: String,
    digits: u32,
    figures: &[(Uuid, String, Decimal)],
    revenues: &[(Uuid, Decimal)],
) -> Result<Month, Error> {
    let money = |amount| round_money(amount, digits).map_err(Error::internal);
    let mut jobs: BTreeMap<Uuid, (Decimal, Decimal)> = BTreeMap::new();
    let (mut costs, mut loose) = (BTreeMap::new(), BTreeMap::new());
    for (job, what, amount) in figures {
        let sums = if job.is_nil() { &mut loose } else { &mut costs };
        *sums.entry(what.clone()).or_insert(Decimal::ZERO) += *amount;
        if !job.is_nil() {
            jobs.entry(*job).or_default().1 += *amount;
        }
    }
    for (job, revenue) in revenues {
        jobs.entry(*job).or_default().0 += *revenue;
    }
    let exact: Decimal = jobs.values().map(|(revenue, cost)| *revenue - *cost).sum::<Decimal>()
        - loose.values().copied().sum::<Decimal>();
    let mut shown = Vec::with_capacity(jobs.len());
    for (job_id, (revenue, cost)) in jobs {
        let (revenue, cost) = (money(revenue)?, money(cost)?);
        shown.push(JobMonth { job_id, revenue, cost, margin: revenue - cost });
    }
    let mut unexplained = BTreeMap::new();
    for (what, amount) in loose {
        unexplained.insert(what, money(amount)?);
    }
    let margin = money(exact)?;
    let jobs_margin: Decimal = shown.iter().map(|job| job.margin).sum();
    let loose_sum: Decimal = unexplained.values().copied().sum();
    let rounding = jobs_margin - loose_sum - margin;
    if !rounding.is_zero() {
        unexplained.insert("rounding".to_owned(), rounding);
    }
    let revenue = shown.iter().map(|job| job.revenue).sum();
    Ok(Month { currency, jobs: shown, costs, unexplained, revenue, margin })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    #[test]
    fn jobs_and_unexplained_lines_add_up_to_the_month_to_the_cent() {
        let jobs: Vec<Uuid> = (1..=3_u128).map(Uuid::from_u128).collect();
        let third = "33.333333333333".parse::<Decimal>().unwrap();
        let mut figures: Vec<_> = jobs.iter().map(|job| (*job, "labour".to_owned(), third)).collect();
        figures.push((Uuid::nil(), "shrinkage".to_owned(), "0.005".parse().unwrap()));
        let revenues: Vec<_> = jobs.iter().map(|job| (*job, Decimal::from(100))).collect();
        let month = add_up("USD".into(), 2, &figures, &revenues).unwrap();
        let jobs: Decimal = month.jobs.iter().map(|job| job.margin).sum();
        let unexplained: Decimal = month.unexplained.values().copied().sum();
        assert_eq!(jobs - unexplained, month.margin);
        // 300 − 3 × 33.333333333333 − 0.005 = 199.995000000001, shown as 200.00.
        assert_eq!(month.margin.to_string(), "200.00");
    }
}
