//! Fleets, members, their passwords, pay, sessions and lanes.

use super::Tx;
use super::schema::{fleets, lanes, members, passwords, pay_rates, security_notes, sessions};
use crate::auth::{Role, Who};
use crate::error::Error;
use crate::ids::{self, LaneId, MemberId, SessionId};
use chrono::{DateTime, NaiveDate, Utc};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use uuid::Uuid;

/// One member as the records say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemberRecord {
    /// Their id.
    pub member_id: MemberId,
    /// What they sign in with.
    pub handle: String,
    /// What they are called.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Where they work from.
    pub home_place_id: Option<Uuid>,
    /// Version for edits.
    pub version: i64,
    /// Since when they are gone.
    pub retired_at: Option<DateTime<Utc>>,
}

#[derive(Queryable, Selectable, Insertable)]
#[diesel(table_name = members)]
struct MemberRow {
    fleet_id: Uuid,
    member_id: Uuid,
    handle: String,
    name: String,
    role: String,
    home_place_id: Option<Uuid>,
    version: i64,
    retired_at: Option<DateTime<Utc>>,
    created_at: DateTime<Utc>,
}

impl MemberRow {
    fn into_record(self) -> Result<MemberRecord, Error> {
        Ok(MemberRecord {
            member_id: MemberId(self.member_id),
            role: Role::from_word(&self.role)
                .ok_or_else(|| Error::internal("unknown role in the members table"))?,
            handle: self.handle,
            name: self.name,
            home_place_id: self.home_place_id,
            version: self.version,
            retired_at: self.retired_at,
        })
    }
}

/// One lane: an installation of the phone app.
#[derive(Debug, Clone, PartialEq, Eq, Queryable, Selectable)]
#[diesel(table_name = lanes)]
pub struct LaneRecord {
    /// Whose.
    pub member_id: Uuid,
    /// What the member calls it.
    pub name: String,
    /// The last number judged.
    pub last_n: i64,
    /// Since when nothing is taken from it, because two phones shared it.
    pub frozen_at: Option<DateTime<Utc>>,
}

/// A new fleet.
///
/// # Errors
/// [`Error::Duplicate`] when the handle is taken.
pub async fn insert_fleet(tx: &mut Tx, handle: &str, now: DateTime<Utc>) -> Result<(), Error> {
    let row = (fleets::fleet_id.eq(tx.fleet().0), fleets::handle.eq(handle), fleets::created_at.eq(now));
    diesel::insert_into(fleets::table).values(row).execute(tx.conn()).await?;
    super::trail::start(tx).await
}

/// A new member.
///
/// # Errors
/// [`Error::Duplicate`] when the id or the handle is taken in this fleet.
pub async fn insert_member(tx: &mut Tx, member: &MemberRecord, now: DateTime<Utc>) -> Result<(), Error> {
    let row = MemberRow {
        fleet_id: tx.fleet().0,
        member_id: member.member_id.0,
        handle: member.handle.clone(),
        name: member.name.clone(),
        role: member.role.word().to_owned(),
        home_place_id: member.home_place_id,
        version: 1,
        retired_at: None,
        created_at: now,
    };
    diesel::insert_into(members::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// Writes a member's editable fields; the version goes up by one.
///
/// # Errors
/// [`Error::Duplicate`] when the handle is taken in this fleet.
pub async fn save_member(tx: &mut Tx, member: &MemberRecord) -> Result<(), Error> {
    diesel::update(members::table.find((tx.fleet().0, member.member_id.0)))
        .set((
            members::handle.eq(&member.handle),
            members::name.eq(&member.name),
            members::role.eq(member.role.word()),
            members::home_place_id.eq(member.home_place_id),
            members::retired_at.eq(member.retired_at),
            members::version.eq(members::version + 1),
        ))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// The member of that id.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find_member(tx: &mut Tx, id: MemberId) -> Result<MemberRecord, Error> {
    let row: MemberRow =
        members::table.find((tx.fleet().0, id.0)).select(MemberRow::as_select()).first(tx.conn()).await?;
    row.into_record()
}

/// The member of that id, held until the transaction ends.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn lock_member(tx: &mut Tx, id: MemberId) -> Result<MemberRecord, Error> {
    let row: MemberRow = members::table
        .find((tx.fleet().0, id.0))
        .select(MemberRow::as_select())
        .for_update()
        .first(tx.conn())
        .await?;
    row.into_record()
}

/// The member who signs in with that handle, with the stored password hash.
///
/// # Errors
/// Those of the database; nobody is `None`.
pub async fn find_sign_in(
    tx: &mut Tx,
    handle: &str,
) -> Result<Option<(MemberRecord, Option<String>)>, Error> {
    let found: Option<(MemberRow, Option<String>)> =
        members::table
            .left_join(passwords::table.on(
                passwords::fleet_id.eq(members::fleet_id).and(passwords::member_id.eq(members::member_id)),
            ))
            .filter(members::fleet_id.eq(tx.fleet().0))
            .filter(members::handle.eq(handle))
            .select((MemberRow::as_select(), passwords::phc.nullable()))
            .first(tx.conn())
            .await
            .optional()?;
    found.map(|(row, phc)| Ok((row.into_record()?, phc))).transpose()
}

/// Members in id order.
///
/// # Errors
/// Those of the database.
pub async fn list_members(tx: &mut Tx, after: Option<Uuid>, limit: i64) -> Result<Vec<MemberRecord>, Error> {
    let rows: Vec<MemberRow> = members::table
        .filter(members::fleet_id.eq(tx.fleet().0))
        .filter(members::member_id.gt(after.unwrap_or(Uuid::nil())))
        .order(members::member_id)
        .limit(limit)
        .select(MemberRow::as_select())
        .load(tx.conn())
        .await?;
    rows.into_iter().map(MemberRow::into_record).collect()
}

/// Sets or replaces a password hash.
///
/// # Errors
/// Those of the database.
pub async fn save_password(
    tx: &mut Tx,
    member: MemberId,
    phc: &str,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let row = (
        passwords::fleet_id.eq(tx.fleet().0),
        passwords::member_id.eq(member.0),
        passwords::phc.eq(phc),
        passwords::changed_at.eq(now),
    );
    diesel::insert_into(passwords::table)
        .values(row)
        .on_conflict((passwords::fleet_id, passwords::member_id))
        .do_update()
        .set((passwords::phc.eq(phc), passwords::changed_at.eq(now)))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// A dated rate of pay.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct PayRate {
    /// Whose.
    pub member_id: Uuid,
    /// From which day.
    pub from_on: NaiveDate,
    /// Per hour worked.
    pub hourly_amount: Decimal,
    /// The employer's cost on top, as a share of the wage.
    pub burden_share: Decimal,
}

/// Adds a rate; the same day again is [`Error::Duplicate`].
///
/// # Errors
/// Those of the database.
pub async fn insert_pay_rate(tx: &mut Tx, rate: &PayRate) -> Result<(), Error> {
    let row = (
        pay_rates::fleet_id.eq(tx.fleet().0),
        pay_rates::member_id.eq(rate.member_id),
        pay_rates::from_on.eq(rate.from_on),
        pay_rates::hourly_amount.eq(rate.hourly_amount),
        pay_rates::burden_share.eq(rate.burden_share),
    );
    diesel::insert_into(pay_rates::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// The rates of these members, oldest first.
///
/// # Errors
/// Those of the database.
pub async fn list_pay_rates(tx: &mut Tx, of: &[Uuid]) -> Result<Vec<PayRate>, Error> {
    let rates = pay_rates::table
        .filter(pay_rates::fleet_id.eq(tx.fleet().0))
        .filter(pay_rates::member_id.eq_any(of))
        .order((pay_rates::member_id, pay_rates::from_on))
        .select((pay_rates::member_id, pay_rates::from_on, pay_rates::hourly_amount, pay_rates::burden_share))
        .load(tx.conn())
        .await?;
    Ok(rates)
}

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
    /// When the token in force was given.
    pub rotated_at: DateTime<Utc>,
    /// The latest it can live.
    pub ends_at: DateTime<Utc>,
    /// When it was ended before that.
    pub ended_at: Option<DateTime<Utc>>,
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
            sessions::rotated_at.eq(now),
        ))
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

/// Enrols a phone.
///
/// # Errors
/// [`Error::Duplicate`] when the lane exists.
pub async fn insert_lane(
    tx: &mut Tx,
    lane: LaneId,
    member: MemberId,
    name: &str,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let row = (
        lanes::fleet_id.eq(tx.fleet().0),
        lanes::lane_id.eq(lane.0),
        lanes::member_id.eq(member.0),
        lanes::name.eq(name),
        lanes::enrolled_at.eq(now),
    );
    diesel::insert_into(lanes::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// A lane, held until the transaction ends.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn lock_lane(tx: &mut Tx, lane: LaneId) -> Result<LaneRecord, Error> {
    Ok(lanes::table
        .find((tx.fleet().0, lane.0))
        .select(LaneRecord::as_select())
        .for_update()
        .first(tx.conn())
        .await?)
}

/// A lane as it stands.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find_lane(tx: &mut Tx, lane: LaneId) -> Result<LaneRecord, Error> {
    Ok(lanes::table.find((tx.fleet().0, lane.0)).select(LaneRecord::as_select()).first(tx.conn()).await?)
}

/// Moves a lane on, and freezes it when asked.
///
/// # Errors
/// Those of the database.
pub async fn save_lane(
    tx: &mut Tx,
    lane: LaneId,
    last_n: i64,
    frozen_at: Option<DateTime<Utc>>,
) -> Result<(), Error> {
    diesel::update(lanes::table.find((tx.fleet().0, lane.0)))
        .set((lanes::last_n.eq(last_n), lanes::frozen_at.eq(frozen_at)))
        .execute(tx.conn())
        .await?;
    Ok(())
}
