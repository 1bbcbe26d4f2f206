//! Fleets: the businesses themselves.

use crate::error::Error;
use crate::store::schema::fleets;
use crate::store::{Tx, heads};
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;

/// A new fleet, with its counter.
///
/// # Errors
/// [`Error::Duplicate`] when the handle is taken.
pub async fn insert_fleet(tx: &mut Tx, handle: &str, now: DateTime<Utc>) -> Result<(), Error> {
    let row = (fleets::fleet_id.eq(tx.fleet().0), fleets::handle.eq(handle), fleets::created_at.eq(now));
    diesel::insert_into(fleets::table).values(row).execute(tx.conn()).await?;
    heads::start(tx).await
}
