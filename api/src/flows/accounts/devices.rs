//! Phones: each installation of the app is a lane of its own.

use super::names::checked_name;
use crate::auth::{Member, Role};
use crate::error::Error;
use crate::ids::LaneId;
use crate::store::Tx;
use crate::store::accounts::{self, LaneRecord};
use chrono::{DateTime, Utc};

/// Enrols a phone under the id it made. The same again answers as the first time.
///
/// # Errors
/// [`Error::Conflict`] when the id belongs to another member's phone, or has another name.
pub async fn enrol(
    tx: &mut Tx,
    who: Member,
    lane: LaneId,
    name: &str,
    now: DateTime<Utc>,
) -> Result<LaneRecord, Error> {
    let (name, member) = (checked_name(name, "/name")?, who.who().member);
    match accounts::find_lane(tx, lane).await {
        Ok(had) if had.member_id == member.0 && had.name == name => return Ok(had),
        Ok(_) => {
            return Err(Error::conflict(
                "lane_in_use",
                "That id is enrolled already. Enrol under a fresh id.",
            ));
        }
        Err(Error::NotFound) => {}
        Err(other) => return Err(other),
    }
    match accounts::insert_lane(tx, lane, member, &name, now).await {
        // The same phone asked twice at once: look again.
        Err(Error::Duplicate(key)) => Err(Error::Retry(key)),
        Err(other) => Err(other),
        Ok(()) => accounts::find_lane(tx, lane).await,
    }
}

/// Phones in id order: a technician's own, or all of the fleet's.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &mut Tx,
    who: Member,
    after: Option<uuid::Uuid>,
    limit: i64,
) -> Result<Vec<LaneRecord>, Error> {
    let who = who.who();
    let of = match who.role {
        Role::Technician => Some(who.member),
        Role::Office | Role::Owner => None,
    };
    accounts::list_lanes(tx, of, after, limit).await
}
