//! Phones: each installation of the app is a lane of its own, and may have a key of its own.
//!
//! The session that enrols a phone with a key is bound to it: from then on it is renewed only with a
//! proof of that key. A phone that signs in anew enrols again, the same as before, to bind its new session.

use super::names::checked_name;
use crate::auth::device_key::DeviceKey;
use crate::auth::{Member, Role};
use crate::error::Error;
use crate::ids::LaneId;
use crate::store::Tx;
use crate::store::accounts::{self, LaneRecord};
use chrono::{DateTime, Utc};

/// Enrols a phone under the id it made. The same again answers as the first time; a key may be added
/// to a phone that had none, never replaced.
///
/// # Errors
/// [`Error::Conflict`] when the id belongs to another member's phone, or has another name or key; or
/// when the session is bound to another phone's key.
pub async fn enrol(
    tx: &mut Tx,
    who: Member,
    lane: LaneId,
    name: &str,
    key: Option<&DeviceKey>,
    now: DateTime<Utc>,
) -> Result<LaneRecord, Error> {
    let (name, member) = (checked_name(name, "/name")?, who.who().member);
    if let Some(key) = key
        && !accounts::bind_session(tx, who.who().session, key).await?
    {
        return Err(Error::conflict(
            "session_bound",
            "This session belongs to another phone's key. Sign in anew on this phone, then enrol it.",
        ));
    }
    match accounts::find_lane(tx, lane).await {
        Ok(mut had) if had.member_id == member.0 && had.name == name && may_have(&had, key) => {
            if let (None, Some(key)) = (&had.device_key, key) {
                accounts::save_lane_key(tx, lane, key).await?;
                had.device_key = Some(key.bytes().to_vec());
            }
            return Ok(had);
        }
        Ok(_) => {
            return Err(Error::conflict(
                "lane_in_use",
                "That id is enrolled already. Enrol under a fresh id.",
            ));
        }
        Err(Error::NotFound) => {}
        Err(other) => return Err(other),
    }
    match accounts::insert_lane(tx, lane, member, &name, key, now).await {
        // The same phone asked twice at once: look again.
        Err(Error::Duplicate(key)) => Err(Error::Retry(key)),
        Err(other) => Err(other),
        Ok(()) => accounts::find_lane(tx, lane).await,
    }
}

/// Whether a phone enrolled like this may come with that key.
fn may_have(had: &LaneRecord, key: Option<&DeviceKey>) -> bool {
    had.device_key.as_deref().is_none_or(|bytes| key.is_some_and(|key| key.bytes() == bytes))
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
