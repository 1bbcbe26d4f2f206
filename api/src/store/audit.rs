//! Questions an auditor asks: do the figures that are kept equal the lines they were summed from?
//!
//! Reads whole histories, and is asked only by `dropwise audit`.

use super::Tx;
use crate::error::Error;
use diesel::sql_types::{BigInt, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use uuid::Uuid;

/// How many were compared, and how many differed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Compared {
    /// Compared.
    pub checked: i64,
    /// Of these, different.
    pub wrong: i64,
}

statement! {
    /// I2, per place: the sum of an item's lines is its level.
    struct Levels { fleet: Uuid } -> (BigInt, BigInt)
    = "select count(*), count(*) filter (where coalesce(l.q, 0) <> coalesce(s.quantity, 0)) from \
       (select item_id, place_id, sum(quantity) q from stock_lines where fleet_id = " [fleet: SqlUuid]
      " group by 1, 2) l full join (select item_id, place_id, quantity from stock_levels where fleet_id = "
      [fleet: SqlUuid] ") s using (item_id, place_id)"
}

statement! {
    /// I2, in total: the sum of an item's lines is its quantity and value, and its levels add up to it.
    struct Values { fleet: Uuid } -> (BigInt, BigInt)
    = "select count(*), count(*) filter (where (coalesce(l.q, 0), coalesce(l.v, 0)) <> (s.quantity, s.amount) \
       or coalesce(p.q, 0) <> s.quantity) from \
       (select item_id, quantity, amount from stock_values where fleet_id = " [fleet: SqlUuid]
      ") s left join (select item_id, sum(quantity) q, sum(amount) v from stock_lines where fleet_id = "
      [fleet: SqlUuid] " group by 1) l using (item_id) \
       left join (select item_id, sum(quantity) q from stock_levels where fleet_id = " [fleet: SqlUuid]
      " group by 1) p using (item_id)"
}

statement! {
    /// I3: the sum of the cost lines of a month, job and kind is the figure kept for it.
    struct Figures { fleet: Uuid } -> (BigInt, BigInt)
    = "select count(*), count(*) filter (where (coalesce(l.q, 0), coalesce(l.v, 0)) <> \
       (coalesce(f.quantity, 0), coalesce(f.amount, 0))) from \
       (select date_trunc('month', booked_on)::date as month, coalesce(job_id, '00000000-0000-0000-0000-000000000000') as job_id, \
       what, sum(quantity) q, sum(amount) v from cost_lines where fleet_id = " [fleet: SqlUuid]
      " group by 1, 2, 3) l full join (select month, job_id, what, quantity, amount from cost_figures where fleet_id = "
      [fleet: SqlUuid] ") f using (month, job_id, what)"
}

/// I2, per place.
///
/// # Errors
/// Those of the database.
pub async fn levels(tx: &mut Tx) -> Result<Compared, Error> {
    let (checked, wrong) = Levels { fleet: tx.fleet().0 }.get_result(tx.conn()).await?;
    Ok(Compared { checked, wrong })
}

/// I2, in total.
///
/// # Errors
/// Those of the database.
pub async fn values(tx: &mut Tx) -> Result<Compared, Error> {
    let (checked, wrong) = Values { fleet: tx.fleet().0 }.get_result(tx.conn()).await?;
    Ok(Compared { checked, wrong })
}

/// I3.
///
/// # Errors
/// Those of the database.
pub async fn figures(tx: &mut Tx) -> Result<Compared, Error> {
    let (checked, wrong) = Figures { fleet: tx.fleet().0 }.get_result(tx.conn()).await?;
    Ok(Compared { checked, wrong })
}
