//! Sign-ins, each with the hashes of its refresh tokens.

use crate::auth::device_key::DeviceKey;
use crate::auth::{Role, Who};
use crate::error::Error;
use crate::ids::{MemberId, SessionId};
use crate::store::Tx;
use crate::store::schema::{members, sessions};
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

/// A sign-in and its refresh tokens' hashes.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = sessions)]
pub struct SessionRecord {
    /// Whose.
    pub member_id: Uuid,
    /// Hash of the token in force.
    pub current_hash: Vec<u8>,
    /// Hash of the one before.
    pub previous_hash: Option<Vec<u8>>,
    /// How often it was renewed.
    pub renewals: i64,
    /// When the token in force was given.
    pub rotated_at: DateTime<Utc>,
    /// The latest it can live.
    pub ends_at: DateTime<Utc>,
    /// When it was ended before that.
    pub ended_at: Option<DateTime<Utc>>,
    /// The Ed25519 public key of the phone it is bound to.
    pub device_key: Option<Vec<u8>>,
    /// When its token was last sent without a proof of that key.
    pub unproven_at: Option<DateTime<Utc>>,
}

/// Opens a session.
///
/// # Errors
/// Those of the database.
pub async fn insert_session(
    tx: &mut Tx,
    id: SessionId,
    member: MemberId,
    hash: &[u8],
    now: DateTime<Utc>,
    ends_at: DateTime<Utc>,
) -> Result<(), Error> {
    let row = (
        sessions::fleet_id.eq(tx.fleet().0),
        sessions::session_id.eq(id.0),
        sessions::member_id.eq(member.0),
        sessions::current_hash.eq(hash),
        sessions::rotated_at.eq(now),
        sessions::started_at.eq(now),
        sessions::ends_at.eq(ends_at),
    );
    diesel::insert_into(sessions::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// A session, held until the transaction ends.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn lock_session(tx: &mut Tx, id: SessionId) -> Result<SessionRecord, Error> {
    Ok(sessions::table
        .find((tx.fleet().0, id.0))
        .select(SessionRecord::as_select())
        .for_update()
        .first(tx.conn())
        .await?)
}

/// Puts the next refresh token in force.
///
/// # Errors
/// Those of the database.
pub async fn rotate_session(
    tx: &mut Tx,
    id: SessionId,
    current: &[u8],
    previous: &[u8],
    now: DateTime<Utc>,
) -> Result<(), Error> {
    diesel::update(sessions::table.find((tx.fleet().0, id.0)))
        .set((
            sessions::current_hash.eq(current),
            sessions::previous_hash.eq(previous),
            sessions::renewals.eq(sessions::renewals + 1),
            sessions::rotated_at.eq(now),
        ))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Binds a session to a phone's key, once and for all; false when it is bound to another.
///
/// # Errors
/// Those of the database.
pub async fn bind_session(tx: &mut Tx, id: SessionId, key: &DeviceKey) -> Result<bool, Error> {
    let bytes = key.bytes().as_slice();
    let bound = diesel::update(sessions::table.find((tx.fleet().0, id.0)))
        .filter(sessions::device_key.is_null().or(sessions::device_key.eq(bytes)))
        .set(sessions::device_key.eq(bytes))
        .execute(tx.conn())
        .await?;
    Ok(bound == 1)
}

/// Keeps when a session's token was sent without a proof.
///
/// # Errors
/// Those of the database.
pub async fn save_unproven(tx: &mut Tx, id: SessionId, now: DateTime<Utc>) -> Result<(), Error> {
    diesel::update(sessions::table.find((tx.fleet().0, id.0)))
        .set(sessions::unproven_at.eq(now))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Ends one session.
///
/// # Errors
/// Those of the database.
pub async fn end_session(tx: &mut Tx, id: SessionId, why: &str, now: DateTime<Utc>) -> Result<(), Error> {
    diesel::update(sessions::table.find((tx.fleet().0, id.0)))
        .filter(sessions::ended_at.is_null())
        .set((sessions::ended_at.eq(now), sessions::end_reason.eq(why)))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Ends every session of a member.
///
/// # Errors
/// Those of the database.
pub async fn end_sessions_of(
    tx: &mut Tx,
    member: MemberId,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    diesel::update(sessions::table)
        .filter(sessions::fleet_id.eq(tx.fleet().0))
        .filter(sessions::member_id.eq(member.0))
        .filter(sessions::ended_at.is_null())
        .set((sessions::ended_at.eq(now), sessions::end_reason.eq(why)))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Who stands behind a session that is still open at `now`.
///
/// # Errors
/// Those of the database; a closed session or a retired member is `None`.
pub async fn find_session(
    tx: &mut Tx,
    session: SessionId,
    member: MemberId,
    now: DateTime<Utc>,
) -> Result<Option<Who>, Error> {
    let fleet = tx.fleet();
    let found: Option<(String, Option<Uuid>)> = sessions::table
        .inner_join(
            members::table
                .on(members::fleet_id.eq(sessions::fleet_id).and(members::member_id.eq(sessions::member_id))),
        )
        .filter(sessions::fleet_id.eq(fleet.0))
        .filter(sessions::session_id.eq(session.0))
        .filter(sessions::member_id.eq(member.0))
        .filter(sessions::ended_at.is_null())
        .filter(sessions::ends_at.gt(now))
        .filter(members::retired_at.is_null())
        .select((members::role, members::home_place_id))
        .first(tx.conn())
        .await
        .optional()?;
    let Some((role, home_place)) = found else { return Ok(None) };
    let role = Role::from_word(&role).ok_or_else(|| Error::internal("unknown role in the members table"))?;
    Ok(Some(Who { fleet, member, session, role, home_place }))
}

/// Ends every session of a member but one.
///
/// # Errors
/// Those of the database.
pub async fn end_other_sessions(
    tx: &mut Tx,
    member: MemberId,
    but: SessionId,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    diesel::update(sessions::table)
        .filter(sessions::fleet_id.eq(tx.fleet().0))
        .filter(sessions::member_id.eq(member.0))
        .filter(sessions::session_id.ne(but.0))
        .filter(sessions::ended_at.is_null())
        .set((sessions::ended_at.eq(now), sessions::end_reason.eq(why)))
        .execute(tx.conn())
        .await?;
    Ok(())
}
