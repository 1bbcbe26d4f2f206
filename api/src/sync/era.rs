//! Which history a fleet's trail belongs to, and when another begins.
//!
//! A database that was restored tells phones by another era: positions of the old one mean nothing any
//! more. It shows in three ways: the database lives elsewhere than where its era was given; a phone
//! shows a bookmark beyond the head; a phone shows a receipt for a number its lane has never reached.

use super::receipt::Receipt;
use crate::error::Error;
use crate::ids::{self, FleetId, LaneId};
use crate::store::heads::{self, History};
use crate::store::{Db, Tx, accounts};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// What proved that the database had been restored, or who said so. Noted for the owner by its word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// It lives on another cluster, timeline or database than where its era was given.
    LivesElsewhere,
    /// A bookmark beyond the head.
    BookmarkAboveHead,
    /// A receipt above the lane's last number.
    LaneAboveLast,
    /// An operator's command.
    Operator,
}

impl Why {
    /// The word in the security notes.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::LivesElsewhere => "restored_database_lives_elsewhere",
            Self::BookmarkAboveHead => "restored_bookmark_above_head",
            Self::LaneAboveLast => "restored_lane_above_last",
            Self::Operator => "era_rotated_by_operator",
        }
    }
}

/// Which history this is.
///
/// # Errors
/// Those of the database.
pub async fn history(tx: &mut Tx) -> Result<History, Error> {
    heads::history(tx).await
}

/// Begins another history, unless somebody has since `seen` was read: five hundred phones that bring the
/// same proof rotate once.
///
/// # Errors
/// Those of the database.
pub async fn rotate_era(tx: &mut Tx, seen: Uuid, why: Why, now: DateTime<Utc>) -> Result<(), Error> {
    if heads::rotate(tx, seen, ids::fresh()).await? {
        accounts::insert_security_note(tx, None, why.word(), now).await?;
        tracing::warn!(fleet = %tx.fleet(), why = why.word(), "the fleet's era was rotated");
    }
    Ok(())
}

/// The era after a handover, begun anew when the database lives elsewhere or the receipt shown proves a
/// restore. Last in its transaction: the head is locked after everything else.
///
/// # Errors
/// Those of the database.
pub async fn after_handover(
    tx: &mut Tx,
    lane: LaneId,
    last_n_before: i64,
    shown: Option<Receipt>,
    now: DateTime<Utc>,
) -> Result<Uuid, Error> {
    let History { era, at_home } = heads::history(tx).await?;
    let why = if !at_home {
        Why::LivesElsewhere
    } else if shown.is_some_and(|receipt| receipt.proves_a_restore(era, lane, last_n_before)) {
        Why::LaneAboveLast
    } else {
        return Ok(era);
    };
    rotate_era(tx, era, why, now).await?;
    Ok(heads::history(tx).await?.era)
}

/// The same in a transaction of its own.
///
/// # Errors
/// Those of the database.
pub async fn rotate(db: &Db, fleet: FleetId, seen: Uuid, why: Why, now: DateTime<Utc>) -> Result<(), Error> {
    db.write("rotate_era", fleet, async move |tx| rotate_era(tx, seen, why, now).await).await
}

/// Lets the era stay although the database lives elsewhere now: nothing was lost on the way.
///
/// # Errors
/// Those of the database.
pub async fn keep(db: &Db, fleet: FleetId) -> Result<(), Error> {
    db.write("keep_era", fleet, async |tx| heads::keep(tx).await).await
}
