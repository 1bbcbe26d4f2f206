//! How each pad stands.

use crate::error::Error;
use crate::store::Tx;
use crate::store::schema::pad_states;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// How one pad stands.
#[derive(Debug, Clone, PartialEq)]
pub struct PadState {
    /// Its model.
    pub item_id: Uuid,
    /// Where it is.
    pub place_id: Uuid,
    /// Sections worked.
    pub cycles: i32,
    /// Sections worked since it was last washed.
    pub cycles_since_wash: i32,
    /// Washes.
    pub washes: i32,
    /// Product in it since it was last washed (ml).
    pub load_ml: Decimal,
    /// Area worked (m²).
    pub worked_m2: Decimal,
    /// Its worth at first use.
    pub cost_amount: Decimal,
    /// How much of that jobs have borne.
    pub charged_amount: Decimal,
    /// When it was first used.
    pub first_used_at: DateTime<Utc>,
    /// When it left service.
    pub retired_at: Option<DateTime<Utc>>,
    /// Why.
    pub retired_why: Option<String>,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = pad_states)]
struct PadRow {
    pad_id: Uuid,
    item_id: Uuid,
    place_id: Uuid,
    cycles: i32,
    cycles_since_wash: i32,
    washes: i32,
    load_ml: Decimal,
    worked_m2: Decimal,
    cost_amount: Decimal,
    charged_amount: Decimal,
    first_used_at: DateTime<Utc>,
    retired_at: Option<DateTime<Utc>>,
    retired_why: Option<String>,
}

impl PadRow {
    fn into_state(self) -> (Uuid, PadState) {
        let state = PadState {
            item_id: self.item_id,
            place_id: self.place_id,
            cycles: self.cycles,
            cycles_since_wash: self.cycles_since_wash,
            washes: self.washes,
            load_ml: self.load_ml,
            worked_m2: self.worked_m2,
            cost_amount: self.cost_amount,
            charged_amount: self.charged_amount,
            first_used_at: self.first_used_at,
            retired_at: self.retired_at,
            retired_why: self.retired_why,
        };
        (self.pad_id, state)
    }
}

/// These pads' states; unused ones are absent. Their cards are the lock on them.
///
/// # Errors
/// Those of the database.
pub async fn find_pads(tx: &mut Tx, ids: &[Uuid]) -> Result<HashMap<Uuid, PadState>, Error> {
    let rows: Vec<PadRow> = pad_states::table
        .filter(pad_states::fleet_id.eq(tx.fleet().0))
        .filter(pad_states::pad_id.eq_any(ids))
        .order(pad_states::pad_id)
        .select(PadRow::as_select())
        .load(tx.conn())
        .await?;
    Ok(rows.into_iter().map(PadRow::into_state).collect())
}

/// Pads that were used, in id order, of all places or one.
///
/// # Errors
/// Those of the database.
pub async fn list_pads(
    tx: &mut Tx,
    place: Option<Uuid>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<(Uuid, PadState)>, Error> {
    let mut query = pad_states::table
        .filter(pad_states::fleet_id.eq(tx.fleet().0))
        .filter(pad_states::pad_id.gt(after.unwrap_or(Uuid::nil())))
        .into_boxed();
    if let Some(place) = place {
        query = query.filter(pad_states::place_id.eq(place));
    }
    let rows: Vec<PadRow> =
        query.order(pad_states::pad_id).limit(limit).select(PadRow::as_select()).load(tx.conn()).await?;
    Ok(rows.into_iter().map(PadRow::into_state).collect())
}

statement! {
    /// Writes pads as they now stand.
    struct SavePads {
        fleet: Uuid,
        ids: Vec<Uuid>,
        items: Vec<Uuid>,
        places: Vec<Uuid>,
        cycles: Vec<i32>,
        since_wash: Vec<i32>,
        washes: Vec<i32>,
        loads: Vec<Decimal>,
        areas: Vec<Decimal>,
        costs: Vec<Decimal>,
        charged: Vec<Decimal>,
        first_used: Vec<DateTime<Utc>>,
        retired: Vec<Option<DateTime<Utc>>>,
        whys: Vec<Option<String>>,
    }
    = "insert into pad_states (fleet_id, pad_id, item_id, place_id, cycles, cycles_since_wash, washes, load_ml, \
       worked_m2, cost_amount, charged_amount, first_used_at, retired_at, retired_why) select " [fleet: sql::Uuid]
      ", * from unnest(" [ids: sql::Array<sql::Uuid>]
      ", " [items: sql::Array<sql::Uuid>]
      ", " [places: sql::Array<sql::Uuid>]
      ", " [cycles: sql::Array<sql::Integer>]
      ", " [since_wash: sql::Array<sql::Integer>]
      ", " [washes: sql::Array<sql::Integer>]
      ", " [loads: sql::Array<sql::Numeric>]
      ", " [areas: sql::Array<sql::Numeric>]
      ", " [costs: sql::Array<sql::Numeric>]
      ", " [charged: sql::Array<sql::Numeric>]
      ", " [first_used: sql::Array<sql::Timestamptz>]
      ", " [retired: sql::Array<sql::Nullable<sql::Timestamptz>>]
      ", " [whys: sql::Array<sql::Nullable<sql::Text>>]
      ") on conflict (fleet_id, pad_id) do update set place_id = excluded.place_id, cycles = excluded.cycles, \
       cycles_since_wash = excluded.cycles_since_wash, washes = excluded.washes, load_ml = excluded.load_ml, \
       worked_m2 = excluded.worked_m2, charged_amount = excluded.charged_amount, \
       retired_at = excluded.retired_at, retired_why = excluded.retired_why"
}

/// Writes pads as they now stand.
///
/// # Errors
/// Those of the database.
pub async fn save_pads(tx: &mut Tx, pads: &[(Uuid, PadState)]) -> Result<(), Error> {
    if pads.is_empty() {
        return Ok(());
    }
    SavePads {
        fleet: tx.fleet().0,
        ids: pads.iter().map(|(id, _)| *id).collect(),
        items: pads.iter().map(|(_, p)| p.item_id).collect(),
        places: pads.iter().map(|(_, p)| p.place_id).collect(),
        cycles: pads.iter().map(|(_, p)| p.cycles).collect(),
        since_wash: pads.iter().map(|(_, p)| p.cycles_since_wash).collect(),
        washes: pads.iter().map(|(_, p)| p.washes).collect(),
        loads: pads.iter().map(|(_, p)| p.load_ml).collect(),
        areas: pads.iter().map(|(_, p)| p.worked_m2).collect(),
        costs: pads.iter().map(|(_, p)| p.cost_amount).collect(),
        charged: pads.iter().map(|(_, p)| p.charged_amount).collect(),
        first_used: pads.iter().map(|(_, p)| p.first_used_at).collect(),
        retired: pads.iter().map(|(_, p)| p.retired_at).collect(),
        whys: pads.iter().map(|(_, p)| p.retired_why.clone()).collect(),
    }
    .execute(tx.conn())
    .await?;
    Ok(())
}
