//! What an owner should know of: who was let in, shut out, or tried too hard.

use crate::error::Error;
use crate::ids::{self, MemberId};
use crate::store::Tx;
use crate::store::schema::security_notes;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

/// Notes something an owner should know of.
///
/// # Errors
/// Those of the database.
pub async fn insert_security_note(
    tx: &mut Tx,
    member: Option<MemberId>,
    what: &str,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let row = (
        security_notes::fleet_id.eq(tx.fleet().0),
        security_notes::note_id.eq(ids::fresh()),
        security_notes::member_id.eq(member.map(|m| m.0)),
        security_notes::what.eq(what),
        security_notes::noted_at.eq(now),
    );
    diesel::insert_into(security_notes::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// One note.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct SecurityNote {
    /// Its id.
    pub note_id: Uuid,
    /// About whom.
    pub member_id: Option<Uuid>,
    /// A stable word.
    pub what: String,
    /// When.
    pub noted_at: DateTime<Utc>,
}

/// Notes in id order, which is the order they were made in.
///
/// # Errors
/// Those of the database.
pub async fn list_security_notes(
    tx: &mut Tx,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<SecurityNote>, Error> {
    let notes = security_notes::table
        .filter(security_notes::fleet_id.eq(tx.fleet().0))
        .filter(security_notes::note_id.gt(after.unwrap_or(Uuid::nil())))
        .order(security_notes::note_id)
        .limit(limit)
        .select((
            security_notes::note_id,
            security_notes::member_id,
            security_notes::what,
            security_notes::noted_at,
        ))
        .load(tx.conn())
        .await?;
    Ok(notes)
}
