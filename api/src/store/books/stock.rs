//! Stock: quantity per place, value per item.

use crate::error::Error;
use crate::store::Tx;
use crate::store::schema::{stock_levels, stock_values};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// Value of an item across the fleet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StockValue {
    /// On hand, all places.
    pub quantity: Decimal,
    /// What it is worth.
    pub amount: Decimal,
    /// The last average there was.
    pub last_unit_amount: Option<Decimal>,
}

statement! {
    /// Makes sure there is a row to lock.
    struct EnsureValues { fleet: Uuid, items: Vec<Uuid> }
    = "insert into stock_values (fleet_id, item_id, quantity, amount) select " [fleet: sql::Uuid]
      ", i, 0, 0 from unnest(" [items: sql::Array<sql::Uuid>]
      ") i order by i on conflict do nothing"
}

/// The values of these items, held until the transaction ends. The row also guards the item's levels.
///
/// # Errors
/// Those of the database.
pub async fn lock_values(tx: &mut Tx, items: &[Uuid]) -> Result<HashMap<Uuid, StockValue>, Error> {
    if items.is_empty() {
        return Ok(HashMap::new());
    }
    let held = hold_values(tx, items).await?;
    if held.len() == items.len() {
        return Ok(held);
    }
    EnsureValues { fleet: tx.fleet().0, items: items.to_vec() }.execute(tx.conn()).await?;
    hold_values(tx, items).await
}

async fn hold_values(tx: &mut Tx, items: &[Uuid]) -> Result<HashMap<Uuid, StockValue>, Error> {
    let rows: Vec<(Uuid, Decimal, Decimal, Option<Decimal>)> = stock_values::table
        .filter(stock_values::fleet_id.eq(tx.fleet().0))
        .filter(stock_values::item_id.eq_any(items))
        .order(stock_values::item_id)
        .select((
            stock_values::item_id,
            stock_values::quantity,
            stock_values::amount,
            stock_values::last_unit_amount,
        ))
        .for_update()
        .load(tx.conn())
        .await?;
    let values = rows.into_iter().map(|(item, quantity, amount, last_unit_amount)| {
        (item, StockValue { quantity, amount, last_unit_amount })
    });
    Ok(values.collect())
}

/// Quantities of these items at every place.
///
/// # Errors
/// Those of the database.
pub async fn find_levels(tx: &mut Tx, items: &[Uuid]) -> Result<HashMap<(Uuid, Uuid), Decimal>, Error> {
    let rows: Vec<(Uuid, Uuid, Decimal)> = stock_levels::table
        .filter(stock_levels::fleet_id.eq(tx.fleet().0))
        .filter(stock_levels::item_id.eq_any(items))
        .select((stock_levels::item_id, stock_levels::place_id, stock_levels::quantity))
        .load(tx.conn())
        .await?;
    Ok(rows.into_iter().map(|(item, place, quantity)| ((item, place), quantity)).collect())
}

statement! {
    /// Writes levels as they now stand.
    struct SaveLevels { fleet: Uuid, items: Vec<Uuid>, places: Vec<Uuid>, quantities: Vec<Decimal> }
    = "insert into stock_levels (fleet_id, item_id, place_id, quantity) select " [fleet: sql::Uuid]
      ", * from unnest(" [items: sql::Array<sql::Uuid>]
      ", " [places: sql::Array<sql::Uuid>]
      ", " [quantities: sql::Array<sql::Numeric>]
      ") on conflict (fleet_id, item_id, place_id) do update set quantity = excluded.quantity"
}

/// Writes quantities as they now stand.
///
/// # Errors
/// Those of the database.
pub async fn save_levels(tx: &mut Tx, levels: &[((Uuid, Uuid), Decimal)]) -> Result<(), Error> {
    if levels.is_empty() {
        return Ok(());
    }
    SaveLevels {
        fleet: tx.fleet().0,
        items: levels.iter().map(|((item, _), _)| *item).collect(),
        places: levels.iter().map(|((_, place), _)| *place).collect(),
        quantities: levels.iter().map(|(_, quantity)| *quantity).collect(),
    }
    .execute(tx.conn())
    .await?;
    Ok(())
}

statement! {
    /// Writes values as they now stand.
    struct SaveValues {
        fleet: Uuid,
        items: Vec<Uuid>,
        quantities: Vec<Decimal>,
        amounts: Vec<Decimal>,
        lasts: Vec<Option<Decimal>>,
    }
    = "insert into stock_values (fleet_id, item_id, quantity, amount, last_unit_amount) select " [fleet: sql::Uuid]
      ", * from unnest(" [items: sql::Array<sql::Uuid>]
      ", " [quantities: sql::Array<sql::Numeric>]
      ", " [amounts: sql::Array<sql::Numeric>]
      ", " [lasts: sql::Array<sql::Nullable<sql::Numeric>>]
      ") on conflict (fleet_id, item_id) do update set quantity = excluded.quantity, amount = excluded.amount, \
       last_unit_amount = excluded.last_unit_amount"
}

/// Writes values as they now stand.
///
/// # Errors
/// Those of the database.
pub async fn save_values(tx: &mut Tx, values: &[(Uuid, StockValue)]) -> Result<(), Error> {
    if values.is_empty() {
        return Ok(());
    }
    SaveValues {
        fleet: tx.fleet().0,
        items: values.iter().map(|(item, _)| *item).collect(),
        quantities: values.iter().map(|(_, v)| v.quantity).collect(),
        amounts: values.iter().map(|(_, v)| v.amount).collect(),
        lasts: values.iter().map(|(_, v)| v.last_unit_amount).collect(),
    }
    .execute(tx.conn())
    .await?;
    Ok(())
}
