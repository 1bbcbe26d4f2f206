//! The history of cards' fields: every value that was written, and those that lost to a later one.

use super::Tx;
use super::schema::field_history;
use crate::error::Error;
use crate::ids::MemberId;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use serde_json::Value;
use uuid::Uuid;

/// One value a field was given.
#[derive(Debug, Clone, PartialEq, Queryable, Selectable)]
#[diesel(table_name = field_history)]
pub struct FieldValue {
    /// Its own id.
    pub value_id: Uuid,
    /// Of which card.
    pub card_id: Uuid,
    /// Which field.
    pub field: String,
    /// What was written; null where the field was emptied.
    pub value: Value,
    /// When, as the text of a stamp.
    pub stamp: String,
    /// By which lane; nil for the desk.
    pub lane_id: Uuid,
    /// By whom.
    pub member_id: Uuid,
    /// With which entry, if by one.
    pub entry_id: Option<Uuid>,
    /// `won` or `lost`.
    pub outcome: String,
    /// When the server wrote it down.
    pub at: DateTime<Utc>,
    /// What the office made of a lost one: `keep` or `use_it`.
    pub decision: Option<String>,
}

statement! {
    /// Writes values down.
    struct AppendValues {
        fleet: Uuid,
        at: DateTime<Utc>,
        ids: Vec<Uuid>,
        cards: Vec<Uuid>,
        fields: Vec<String>,
        values: Vec<Value>,
        stamps: Vec<String>,
        lanes: Vec<Uuid>,
        members: Vec<Uuid>,
        entries: Vec<Option<Uuid>>,
        outcomes: Vec<String>,
    }
    = "insert into field_history (fleet_id, at, value_id, card_id, field, value, stamp, lane_id, member_id, \
       entry_id, outcome) select " [fleet: sql::Uuid]
      ", " [at: sql::Timestamptz]
      ", * from unnest(" [ids: sql::Array<sql::Uuid>]
      ", " [cards: sql::Array<sql::Uuid>]
      ", " [fields: sql::Array<sql::Text>]
      ", " [values: sql::Array<sql::Jsonb>]
      ", " [stamps: sql::Array<sql::Text>]
      ", " [lanes: sql::Array<sql::Uuid>]
      ", " [members: sql::Array<sql::Uuid>]
      ", " [entries: sql::Array<sql::Nullable<sql::Uuid>>]
      ", " [outcomes: sql::Array<sql::Text>]
      ")"
}

/// Writes values down, all at the same moment.
///
/// # Errors
/// Those of the database.
pub async fn append(tx: &mut Tx, values: Vec<FieldValue>, now: DateTime<Utc>) -> Result<(), Error> {
    if values.is_empty() {
        return Ok(());
    }
    let mut append = AppendValues {
        fleet: tx.fleet().0,
        at: now,
        ids: Vec::with_capacity(values.len()),
        cards: Vec::with_capacity(values.len()),
        fields: Vec::with_capacity(values.len()),
        values: Vec::with_capacity(values.len()),
        stamps: Vec::with_capacity(values.len()),
        lanes: Vec::with_capacity(values.len()),
        members: Vec::with_capacity(values.len()),
        entries: Vec::with_capacity(values.len()),
        outcomes: Vec::with_capacity(values.len()),
    };
    for value in values {
        append.ids.push(value.value_id);
        append.cards.push(value.card_id);
        append.fields.push(value.field);
        append.values.push(value.value);
        append.stamps.push(value.stamp);
        append.lanes.push(value.lane_id);
        append.members.push(value.member_id);
        append.entries.push(value.entry_id);
        append.outcomes.push(value.outcome);
    }
    append.execute(tx.conn()).await?;
    Ok(())
}

/// A value that turned out to have lost: its card, its field, its stamp and its lane.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overtaken {
    /// Of which card.
    pub card_id: Uuid,
    /// Which field.
    pub field: String,
    /// When it was written.
    pub stamp: String,
    /// By which lane.
    pub lane_id: Uuid,
}

statement! {
    /// Notes that values of an earlier transaction have lost.
    struct MarkLost { fleet: Uuid, cards: Vec<Uuid>, fields: Vec<String>, stamps: Vec<String>, lanes: Vec<Uuid> }
    = "update field_history h set outcome = 'lost' from unnest(" [cards: sql::Array<sql::Uuid>]
      ", " [fields: sql::Array<sql::Text>]
      ", " [stamps: sql::Array<sql::Text>]
      ", " [lanes: sql::Array<sql::Uuid>]
      ") as o(c, f, s, l) where h.fleet_id = " [fleet: sql::Uuid]
      " and h.card_id = o.c and h.field = o.f and h.stamp = o.s and h.lane_id = o.l"
}

/// Notes that values have lost to later ones whose writers had not seen them.
///
/// # Errors
/// Those of the database.
pub async fn mark_lost(tx: &mut Tx, overtaken: &[Overtaken]) -> Result<(), Error> {
    if overtaken.is_empty() {
        return Ok(());
    }
    let mark = MarkLost {
        fleet: tx.fleet().0,
        cards: overtaken.iter().map(|o| o.card_id).collect(),
        fields: overtaken.iter().map(|o| o.field.clone()).collect(),
        stamps: overtaken.iter().map(|o| o.stamp.clone()).collect(),
        lanes: overtaken.iter().map(|o| o.lane_id).collect(),
    };
    mark.execute(tx.conn()).await?;
    Ok(())
}

/// Values that lost and wait for a look, in the order they were written down, after an id.
///
/// # Errors
/// Those of the database.
pub async fn list_lost(tx: &mut Tx, after: Option<Uuid>, limit: i64) -> Result<Vec<FieldValue>, Error> {
    Ok(field_history::table
        .filter(field_history::fleet_id.eq(tx.fleet().0))
        .filter(field_history::value_id.gt(after.unwrap_or(Uuid::nil())))
        .filter(diesel::dsl::sql::<sql::Bool>("outcome = 'lost' and decision is null"))
        .order(field_history::value_id)
        .limit(limit)
        .select(FieldValue::as_select())
        .load(tx.conn())
        .await?)
}

/// The value of that id that lost.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find_lost(tx: &mut Tx, id: Uuid) -> Result<FieldValue, Error> {
    Ok(field_history::table
        .filter(field_history::fleet_id.eq(tx.fleet().0))
        .filter(field_history::value_id.eq(id))
        .filter(field_history::outcome.eq("lost"))
        .select(FieldValue::as_select())
        .first(tx.conn())
        .await?)
}

/// The value of that id that lost, held until the transaction ends.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn lock_lost(tx: &mut Tx, id: Uuid) -> Result<FieldValue, Error> {
    Ok(field_history::table
        .filter(field_history::fleet_id.eq(tx.fleet().0))
        .filter(field_history::value_id.eq(id))
        .filter(field_history::outcome.eq("lost"))
        .select(FieldValue::as_select())
        .for_no_key_update()
        .first(tx.conn())
        .await?)
}

/// Notes what the office made of a value that lost.
///
/// # Errors
/// Those of the database.
pub async fn decide(
    tx: &mut Tx,
    id: Uuid,
    decision: &str,
    by: MemberId,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    diesel::update(field_history::table.find((tx.fleet().0, id)))
        .set((
            field_history::decision.eq(decision),
            field_history::decided_by.eq(by.0),
            field_history::decided_at.eq(now),
        ))
        .execute(tx.conn())
        .await?;
    Ok(())
}
