//! Lanes: installations of the phone app.

use crate::auth::device_key::DeviceKey;
use crate::error::Error;
use crate::ids::{LaneId, MemberId};
use crate::store::Tx;
use crate::store::schema::lanes;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::result::Error as DieselError;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

/// One lane: an installation of the phone app.
#[derive(Debug, Clone, PartialEq, Eq, Queryable, Selectable)]
#[diesel(table_name = lanes)]
pub struct LaneRecord {
    /// Its id.
    pub lane_id: Uuid,
    /// Whose.
    pub member_id: Uuid,
    /// What the member calls it.
    pub name: String,
    /// The last number judged.
    pub last_n: i64,
    /// Since when nothing is taken from it, because two phones shared it.
    pub frozen_at: Option<DateTime<Utc>>,
    /// Since when.
    pub enrolled_at: DateTime<Utc>,
    /// The phone's own Ed25519 public key, when it has shown one.
    pub device_key: Option<Vec<u8>>,
    /// Since when nothing it hands over is booked unseen.
    pub revoked_at: Option<DateTime<Utc>>,
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
    key: Option<&DeviceKey>,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let row = (
        lanes::fleet_id.eq(tx.fleet().0),
        lanes::lane_id.eq(lane.0),
        lanes::member_id.eq(member.0),
        lanes::name.eq(name),
        lanes::enrolled_at.eq(now),
        lanes::device_key.eq(key.map(|key| key.bytes().as_slice())),
    );
    diesel::insert_into(lanes::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// Keeps the key of a phone that was enrolled before it had one.
///
/// # Errors
/// Those of the database.
pub async fn save_lane_key(tx: &mut Tx, lane: LaneId, key: &DeviceKey) -> Result<(), Error> {
    diesel::update(lanes::table.find((tx.fleet().0, lane.0)))
        .filter(lanes::device_key.is_null())
        .set(lanes::device_key.eq(key.bytes().as_slice()))
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// A lane, held until the transaction ends. Not waited for: one handover of a lane at a time.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::LaneBusy`] when another transaction holds it.
pub async fn lock_lane(tx: &mut Tx, lane: LaneId) -> Result<LaneRecord, Error> {
    let found = lanes::table
        .find((tx.fleet().0, lane.0))
        .select(LaneRecord::as_select())
        // Rows that name the lane may be written meanwhile; its key does not change.
        .for_no_key_update()
        .no_wait()
        .first(tx.conn())
        .await;
    found.map_err(|error| if is_held(&error) { Error::LaneBusy } else { error.into() })
}

/// Whether the row is another transaction's at the moment.
fn is_held(error: &DieselError) -> bool {
    matches!(error, DieselError::DatabaseError(_, info) if info.message().contains("could not obtain lock"))
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

/// Lanes in id order, of one member or of all.
///
/// # Errors
/// Those of the database.
pub async fn list_lanes(
    tx: &mut Tx,
    of: Option<MemberId>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<LaneRecord>, Error> {
    let mut asked = lanes::table
        .filter(lanes::fleet_id.eq(tx.fleet().0))
        .filter(lanes::lane_id.gt(after.unwrap_or(Uuid::nil())))
        .order(lanes::lane_id)
        .limit(limit)
        .select(LaneRecord::as_select())
        .into_boxed();
    if let Some(member) = of {
        asked = asked.filter(lanes::member_id.eq(member.0));
    }
    Ok(asked.load(tx.conn()).await?)
}
