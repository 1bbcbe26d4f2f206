//! Up to which number a lane's entries would survive the loss of this server: `safe_through`.
//!
//! Two things can say so: a standby that has replayed the log, or a backup that an operator has verified.
//! Both answer with an instant up to which everything committed is covered; a lane's entries received
//! well before it are safe. With neither, nothing is said to be safe, and phones keep everything.

use crate::clock::Clock;
use crate::error::Error;
use crate::ids::{FleetId, LaneId};
use crate::store::{Db, Tx, safe as stored};
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::VecDeque;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

/// How long after an entry was received its transaction may still be on its way to commit.
///
/// `received_at` is read before the transaction begins. [`Db::write`] gives each try 10 s and tries five
/// times with pauses of at most 0.32 s: 52 s. The rest is for the clocks of several server processes,
/// which are taken to agree within a minute, and for a commit that the disk holds up after its server
/// process gave up waiting.
const MARGIN: TimeDelta = TimeDelta::minutes(5);
/// How often a standby is looked at.
const PERIOD: Duration = Duration::from_secs(2);
/// Samples kept while a standby lags; beyond, every other one goes, which only says less.
const SAMPLES: usize = 1024;

/// What a standby has been seen to have.
#[derive(Debug)]
pub struct Standby {
    name: Option<String>,
    /// Microseconds since the epoch; `i64::MIN` for nothing yet.
    covered_to: AtomicI64,
}

impl Standby {
    /// The standby of that name, by which it signs on to the primary; without a name, none.
    #[must_use]
    pub const fn named(name: Option<String>) -> Self {
        Self { name, covered_to: AtomicI64::new(i64::MIN) }
    }

    /// The instant up to which the standby has everything that was committed.
    #[must_use]
    pub fn covered_to(&self) -> Option<DateTime<Utc>> {
        DateTime::from_timestamp_micros(self.covered_to.load(Ordering::Relaxed))
    }

    /// Looks at the standby for as long as the process lives. One per process is enough.
    pub async fn watch(&self, db: &Db, clock: &Clock) {
        let Some(name) = &self.name else { return };
        let mut samples = Samples::default();
        loop {
            // The time before the log's end: what was committed by then lies before that end.
            let now = clock.now();
            match stored::log_ends(db, name).await {
                Ok((flushed, replayed)) => {
                    samples.push(now, flushed);
                    if let Some(covered) = replayed.and_then(|replayed| samples.covered(replayed)) {
                        self.covered_to.store(covered.timestamp_micros(), Ordering::Relaxed);
                    }
                }
                Err(error) => tracing::warn!(%error, "the standby cannot be looked at"),
            }
            tokio::time::sleep(PERIOD).await;
        }
    }
}

/// When the log ended where, oldest first.
#[derive(Debug, Default)]
struct Samples(VecDeque<(DateTime<Utc>, i64)>);

impl Samples {
    fn push(&mut self, at: DateTime<Utc>, flushed: i64) {
        if self.0.len() >= SAMPLES {
            let mut odd = false;
            self.0.retain(|_| {
                odd = !odd;
                odd
            });
        }
        self.0.push_back((at, flushed));
    }

    /// The latest instant whose log has been replayed; older samples are forgotten.
    fn covered(&mut self, replayed: i64) -> Option<DateTime<Utc>> {
        let mut covered = None;
        while let Some((at, _)) = self.0.front().filter(|(_, flushed)| *flushed <= replayed) {
            covered = Some(*at);
            self.0.pop_front();
        }
        covered
    }
}

/// The number up to which a lane's entries are covered; nothing when nothing covers them. Belongs into
/// the transaction that holds the lane: what was found is kept, so that it is not looked through again.
///
/// # Errors
/// Those of the database.
pub async fn through(
    tx: &mut Tx,
    lane: LaneId,
    standby: Option<DateTime<Utc>>,
) -> Result<Option<i64>, Error> {
    let Some(covered) = stored::backed_up_to(tx).await?.max(standby) else { return Ok(None) };
    let before = covered.checked_sub_signed(MARGIN).unwrap_or(DateTime::UNIX_EPOCH);
    Ok(Some(stored::advance(tx, lane, before).await?))
}

/// Notes that a verified backup covers everything committed by an instant.
///
/// # Errors
/// Those of the database.
pub async fn backup_verified(db: &Db, fleet: FleetId, covers: DateTime<Utc>) -> Result<(), Error> {
    db.write("backup_verified", fleet, async move |tx| stored::save_backed_up_to(tx, covers).await).await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::seconds(s)
    }

    #[test]
    fn what_is_replayed_covers_the_time_before_its_sample() {
        let mut samples = Samples::default();
        for (s, flushed) in [(10, 100), (12, 100), (14, 250), (16, 300)] {
            samples.push(at(s), flushed);
        }
        assert_eq!(samples.covered(99), None);
        assert_eq!(samples.covered(249), Some(at(12)));
        assert_eq!(samples.covered(249), None, "said once");
        assert_eq!(samples.covered(300), Some(at(16)));
    }

    #[test]
    fn a_standby_that_lags_for_long_costs_little_and_loses_only_detail() {
        let mut samples = Samples::default();
        for s in 0..100_000 {
            samples.push(at(s), s);
        }
        assert!(samples.0.len() <= SAMPLES);
        let covered = samples.covered(50_000);
        assert!(covered.is_some_and(|covered| covered <= at(50_000)), "never more than was replayed");
        assert_eq!(samples.covered(99_999), Some(at(99_999)));
    }

    #[test]
    fn nothing_covers_before_anything_was_seen() {
        assert_eq!(Standby::named(None).covered_to(), None);
    }
}
