//! What else keeps a card as it is: a bottle that was opened, a pad in use, work on a job, stock.

use super::Tx;
use super::schema::{container_levels, cost_lines, pad_states, stock_levels};
use crate::error::Error;
use diesel::dsl::{exists, sum};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use uuid::Uuid;

/// Whether the container has been opened, and its level is being kept.
///
/// # Errors
/// Those of the database.
pub async fn is_opened(tx: &mut Tx, container: Uuid) -> Result<bool, Error> {
    let level = container_levels::table.find((tx.fleet().0, container));
    Ok(diesel::select(exists(level)).get_result(tx.conn()).await?)
}

/// Whether the pad has been worked with.
///
/// # Errors
/// Those of the database.
pub async fn is_worked(tx: &mut Tx, pad: Uuid) -> Result<bool, Error> {
    let state = pad_states::table.find((tx.fleet().0, pad));
    Ok(diesel::select(exists(state)).get_result(tx.conn()).await?)
}

/// Whether the job has costs that no reversal took back.
///
/// # Errors
/// Those of the database.
pub async fn has_work(tx: &mut Tx, job: Uuid) -> Result<bool, Error> {
    let sums: Vec<(Option<Decimal>, Option<Decimal>)> = cost_lines::table
        .filter(cost_lines::fleet_id.eq(tx.fleet().0))
        .filter(cost_lines::job_id.eq(job))
        .group_by((cost_lines::what, cost_lines::subject_id))
        .select((sum(cost_lines::quantity), sum(cost_lines::amount)))
        .load(tx.conn())
        .await?;
    let left = |sum: Option<Decimal>| sum.is_some_and(|sum| !sum.is_zero());
    Ok(sums.into_iter().any(|(quantity, amount)| left(quantity) || left(amount)))
}

/// Whether there is stock of that item anywhere, or of anything at that place.
///
/// # Errors
/// Those of the database.
pub async fn has_stock(tx: &mut Tx, item_or_place: Uuid) -> Result<bool, Error> {
    let levels = stock_levels::table
        .filter(stock_levels::fleet_id.eq(tx.fleet().0))
        .filter(stock_levels::item_id.eq(item_or_place).or(stock_levels::place_id.eq(item_or_place)))
        .filter(stock_levels::quantity.ne(Decimal::ZERO));
    Ok(diesel::select(exists(levels)).get_result(tx.conn()).await?)
}

statement! {
    /// Whether a line, a level or a mark of the books rests on the card. A fact that moved nothing (a
    /// section without product, pad or machine) does not hold it.
    struct HasFacts { fleet: Uuid, id: Uuid } -> diesel::sql_types::Bool
    = "select exists (select from cost_lines where fleet_id = " [fleet: diesel::sql_types::Uuid]
      " and job_id = " [id: diesel::sql_types::Uuid]
      ") or exists (select from stock_values where fleet_id = " [fleet: diesel::sql_types::Uuid]
      " and item_id = " [id: diesel::sql_types::Uuid]
      ") or exists (select from pad_states where fleet_id = " [fleet: diesel::sql_types::Uuid]
      " and pad_id = " [id: diesel::sql_types::Uuid]
      ") or exists (select from container_levels where fleet_id = " [fleet: diesel::sql_types::Uuid]
      " and container_id = " [id: diesel::sql_types::Uuid]
      ") or exists (select from container_marks where fleet_id = " [fleet: diesel::sql_types::Uuid]
      " and container_id = " [id: diesel::sql_types::Uuid]
      ")"
}

/// Whether anything in the books rests on the card.
///
/// # Errors
/// Those of the database.
pub async fn has_facts(tx: &mut Tx, card: Uuid) -> Result<bool, Error> {
    Ok(HasFacts { fleet: tx.fleet().0, id: card }.get_result(tx.conn()).await?)
}
