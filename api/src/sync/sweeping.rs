//! Tombstones are taken away when every phone that still reads on has had its time to hear of them.
//!
//! A sweep is started by a reader and runs beside the request, at most once an hour per fleet and
//! process; an operator's command does the same.

use crate::config::SyncConfig;
use crate::error::Error;
use crate::ids::FleetId;
use crate::store::{Db, tombstones};
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

/// How long a fleet is left alone after a sweep.
const PAUSE: TimeDelta = TimeDelta::hours(1);
/// Tombstones per transaction: the fleet's head is held meanwhile.
const BATCH: i64 = 500;
/// Batches of one sweep that a reader starts; the rest is for the next.
const BATCHES: usize = 20;

/// Which fleets this process has swept, and when.
#[derive(Debug, Default)]
pub struct Sweeps(Mutex<HashMap<FleetId, DateTime<Utc>>>);

impl Sweeps {
    /// Starts a sweep of a fleet, unless there was one within the hour. Does not wait for it.
    pub fn start_if_due(&self, db: &Db, fleet: FleetId, config: &SyncConfig, now: DateTime<Utc>) {
        if !self.due(fleet, now) {
            return;
        }
        let (db, before) = (db.clone(), oldest_kept(config, now));
        tokio::task::spawn_local(async move {
            match sweep(&db, fleet, before, BATCHES).await {
                Ok(0) => {}
                Ok(swept) => tracing::info!(%fleet, swept, "tombstones were swept"),
                Err(error) => tracing::warn!(%fleet, %error, "tombstones were not swept"),
            }
        });
    }

    fn due(&self, fleet: FleetId, now: DateTime<Utc>) -> bool {
        let mut swept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let due = swept.get(&fleet).is_none_or(|last| now.signed_duration_since(last) >= PAUSE);
        if due {
            swept.insert(fleet, now);
        }
        due
    }
}

/// The instant before which tombstones may go.
#[must_use]
pub fn oldest_kept(config: &SyncConfig, now: DateTime<Utc>) -> DateTime<Utc> {
    let kept = TimeDelta::days(i64::from(config.tombstone_days));
    now.checked_sub_signed(kept).unwrap_or(DateTime::UNIX_EPOCH)
}

/// Sweeps a fleet's tombstones from before an instant, in at most so many batches; answers how many went.
///
/// # Errors
/// Those of the database.
pub async fn sweep(db: &Db, fleet: FleetId, before: DateTime<Utc>, batches: usize) -> Result<i64, Error> {
    let mut swept: i64 = 0;
    for _ in 0..batches {
        let batch = db
            .write("sweep_tombstones", fleet, async move |tx| tombstones::sweep(tx, before, BATCH).await)
            .await?;
        swept = swept.saturating_add(batch);
        if batch < BATCH {
            break;
        }
    }
    Ok(swept)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::fresh;

    #[test]
    fn a_fleet_is_swept_once_an_hour_and_each_for_itself() {
        let (sweeps, start) = (Sweeps::default(), DateTime::UNIX_EPOCH);
        let (ours, theirs) = (FleetId(fresh()), FleetId(fresh()));
        assert!(sweeps.due(ours, start));
        assert!(!sweeps.due(ours, start + PAUSE - TimeDelta::seconds(1)));
        assert!(sweeps.due(theirs, start));
        assert!(sweeps.due(ours, start + PAUSE));
    }
}
