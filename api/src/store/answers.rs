//! What the answers are made of: figures kept as they change, read by place, job or month.

use super::Tx;
use super::schema::{cost_figures, cost_lines, jobs, stock_levels, stock_values, use_days};
use crate::error::Error;
use chrono::{DateTime, NaiveDate, Utc};
use diesel::dsl::{min, sum};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

use super::books::{CostLine, StockValue};

/// The most rows an answer about one place or job is made from.
const MOST: i64 = 5_000;

/// What is at a place: item and quantity.
///
/// # Errors
/// Those of the database.
pub async fn levels_at(tx: &mut Tx, place: Uuid) -> Result<Vec<(Uuid, Decimal)>, Error> {
    Ok(stock_levels::table
        .filter(stock_levels::fleet_id.eq(tx.fleet().0))
        .filter(stock_levels::place_id.eq(place))
        .order(stock_levels::item_id)
        .limit(MOST)
        .select((stock_levels::item_id, stock_levels::quantity))
        .load(tx.conn())
        .await?)
}

/// Fleet-wide quantity and value of items.
///
/// # Errors
/// Those of the database.
pub async fn values_of(tx: &mut Tx, items: &[Uuid]) -> Result<HashMap<Uuid, StockValue>, Error> {
    let rows: Vec<(Uuid, Decimal, Decimal, Option<Decimal>)> = stock_values::table
        .filter(stock_values::fleet_id.eq(tx.fleet().0))
        .filter(stock_values::item_id.eq_any(items))
        .select((
            stock_values::item_id,
            stock_values::quantity,
            stock_values::amount,
            stock_values::last_unit_amount,
        ))
        .load(tx.conn())
        .await?;
    let values = rows.into_iter().map(|(item, quantity, amount, last_unit_amount)| {
        (item, StockValue { quantity, amount, last_unit_amount })
    });
    Ok(values.collect())
}

/// Use of one item at a place over a run of days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PastUse {
    /// The item.
    pub item_id: Uuid,
    /// All of it.
    pub quantity: Decimal,
    /// The sum of the squares of each day's use.
    pub squares: Decimal,
    /// The first day there was any.
    pub first_on: NaiveDate,
}

statement! {
    /// Use at a place since a day, per item.
    struct UseSince { fleet: Uuid, place: Uuid, from: NaiveDate, to: NaiveDate }
    -> (sql::Uuid, sql::Numeric, sql::Numeric)
    = "select item_id, sum(quantity), sum(quantity * quantity) from use_days where fleet_id = " [fleet: sql::Uuid]
      " and place_id = " [place: sql::Uuid]
      " and used_on >= " [from: sql::Date]
      " and used_on < " [to: sql::Date]
      " group by item_id"
}

/// What was used at a place from one day to the day before another.
///
/// # Errors
/// Those of the database.
pub async fn use_between(
    tx: &mut Tx,
    place: Uuid,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<Vec<PastUse>, Error> {
    let fleet = tx.fleet().0;
    let sums: Vec<(Uuid, Decimal, Decimal)> = UseSince { fleet, place, from, to }.load(tx.conn()).await?;
    let firsts: Vec<(Uuid, Option<NaiveDate>)> = use_days::table
        .filter(use_days::fleet_id.eq(fleet))
        .filter(use_days::place_id.eq(place))
        .filter(use_days::used_on.ge(from))
        .filter(use_days::used_on.lt(to))
        .group_by(use_days::item_id)
        .select((use_days::item_id, min(use_days::used_on)))
        .load(tx.conn())
        .await?;
    let firsts: HashMap<Uuid, NaiveDate> =
        firsts.into_iter().filter_map(|(id, day)| Some((id, day?))).collect();
    let uses = sums.into_iter().filter_map(|(item_id, quantity, squares)| {
        Some(PastUse { item_id, quantity, squares, first_on: *firsts.get(&item_id)? })
    });
    Ok(uses.collect())
}

/// Jobs a van has yet to do, or is at, in a window: job and start.
///
/// # Errors
/// Those of the database.
pub async fn booked_at(
    tx: &mut Tx,
    place: Uuid,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
) -> Result<Vec<(Uuid, DateTime<Utc>)>, Error> {
    Ok(jobs::table
        .filter(jobs::fleet_id.eq(tx.fleet().0))
        .filter(jobs::place_id.eq(place))
        .filter(jobs::starts_at.ge(from))
        .filter(jobs::starts_at.lt(to))
        .filter(jobs::state.eq_any(["booked", "under_way"]))
        .order(jobs::starts_at)
        .limit(MOST)
        .select((jobs::job_id, jobs::starts_at))
        .load(tx.conn())
        .await?)
}

/// What a job brings in, and in which month.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn revenue_of(tx: &mut Tx, job: Uuid) -> Result<(Decimal, NaiveDate), Error> {
    Ok(jobs::table
        .find((tx.fleet().0, job))
        .select((jobs::net_revenue_amount, jobs::month))
        .first(tx.conn())
        .await?)
}

/// The cost lines of a job in the order they were booked, after a line of an entry.
///
/// # Errors
/// Those of the database.
pub async fn costs_of(tx: &mut Tx, job: Uuid) -> Result<Vec<CostLine>, Error> {
    Ok(cost_lines::table
        .filter(cost_lines::fleet_id.eq(tx.fleet().0))
        .filter(cost_lines::job_id.eq(job))
        .order((cost_lines::booked_on, cost_lines::entry_id, cost_lines::line))
        .limit(MOST)
        .select(CostLine::as_select())
        .load(tx.conn())
        .await?)
}

/// The figures kept for a job, by kind of cost.
///
/// # Errors
/// Those of the database.
pub async fn figures_of_job(tx: &mut Tx, job: Uuid) -> Result<Vec<(String, Decimal, Decimal)>, Error> {
    let rows: Vec<(String, Option<Decimal>, Option<Decimal>)> = cost_figures::table
        .filter(cost_figures::fleet_id.eq(tx.fleet().0))
        .filter(cost_figures::job_id.eq(job))
        .group_by(cost_figures::what)
        .order(cost_figures::what)
        .select((cost_figures::what, sum(cost_figures::quantity), sum(cost_figures::amount)))
        .load(tx.conn())
        .await?;
    Ok(rows.into_iter().map(|(what, q, v)| (what, q.unwrap_or_default(), v.unwrap_or_default())).collect())
}

/// The figures kept for a month: job (nil: none), kind, amount.
///
/// # Errors
/// Those of the database.
pub async fn figures_of_month(tx: &mut Tx, month: NaiveDate) -> Result<Vec<(Uuid, String, Decimal)>, Error> {
    Ok(cost_figures::table
        .filter(cost_figures::fleet_id.eq(tx.fleet().0))
        .filter(cost_figures::month.eq(month))
        .order((cost_figures::job_id, cost_figures::what))
        .select((cost_figures::job_id, cost_figures::what, cost_figures::amount))
        .load(tx.conn())
        .await?)
}

/// What the jobs of a month bring in: those that are done. A booking is a hope and not yet revenue;
/// what was used on it before counts as cost where it was used.
///
/// # Errors
/// Those of the database.
pub async fn revenues_of_month(tx: &mut Tx, month: NaiveDate) -> Result<Vec<(Uuid, Decimal)>, Error> {
    Ok(jobs::table
        .filter(jobs::fleet_id.eq(tx.fleet().0))
        .filter(jobs::month.eq(month))
        .filter(jobs::state.eq_any(["finished", "settled"]))
        .order(jobs::job_id)
        .select((jobs::job_id, jobs::net_revenue_amount))
        .load(tx.conn())
        .await?)
}
