//! What one job brought in and cost, line by line, each with the entry behind it.

use super::{minor_digits, settings};
use crate::auth::{Office, Role};
use crate::error::Error;
use crate::store::books::CostLine;
use crate::store::{Tx, answers};
use chrono::NaiveDate;
use dropwise_core::exact::rounding::round_money;
use rust_decimal::Decimal;
use uuid::Uuid;

/// A job's cost sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct JobCosts {
    /// The fleet's currency.
    pub currency: String,
    /// The month its revenue belongs to.
    pub month: NaiveDate,
    /// What it brings in.
    pub net_revenue: Decimal,
    /// By kind of cost: kind, quantity, amount.
    pub sums: Vec<(String, Decimal, Decimal)>,
    /// All of it.
    pub cost: Decimal,
    /// Revenue less cost, to the currency's minor unit.
    pub margin: Decimal,
    /// Every line. For the office, what was paid to whom is left to the sum.
    pub lines: Vec<CostLine>,
}

/// The sheet of a job.
///
/// # Errors
/// [`Error::NotFound`]; those of the database.
pub async fn read(tx: &mut Tx, office: Office, job: Uuid) -> Result<JobCosts, Error> {
    let fleet = settings(tx).await?;
    let (net_revenue, month) = answers::revenue_of(tx, job).await?;
    let sums = answers::figures_of_job(tx, job).await?;
    let mut lines = answers::costs_of(tx, job).await?;
    if office.who().role != Role::Owner {
        lines.retain(|line| line.what != "labour");
    }
    let cost: Decimal = sums.iter().map(|(_, _, amount)| *amount).sum();
    let digits = minor_digits(&fleet);
    let money = |amount| round_money(amount, digits).map_err(Error::internal);
    let (net_revenue, cost) = (money(net_revenue)?, money(cost)?);
    let margin = net_revenue - cost;
    Ok(JobCosts { currency: fleet.currency, month, net_revenue, sums, cost, margin, lines })
}
