//! How a lane may hand over: so often, and one handover at a time.
//!
//! Kept in this process. Another process has its own count, and sees a lane that is busy here by its
//! lock in the database.

use crate::error::Error;
use crate::ids::{FleetId, LaneId};
use governor::clock::{Clock, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use std::collections::HashSet;
use std::num::NonZeroU32;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Lanes whose counts are kept before those that are full again are let go.
const KEPT: usize = 10_000;

type Lane = (FleetId, LaneId);

/// The lanes that hand over.
pub struct Lanes {
    counts: DefaultKeyedRateLimiter<Lane>,
    clock: DefaultClock,
    busy: Arc<Mutex<HashSet<Lane>>>,
}

impl std::fmt::Debug for Lanes {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Lanes")
    }
}

/// A lane's handover under way; the lane is free again when dropped.
#[derive(Debug)]
pub(super) struct Turn {
    lane: Lane,
    busy: Arc<Mutex<HashSet<Lane>>>,
}

impl Lanes {
    /// Full allowances of so many handovers a minute.
    #[must_use]
    pub fn new(per_min: NonZeroU32) -> Self {
        Self {
            counts: RateLimiter::keyed(Quota::per_minute(per_min)),
            clock: DefaultClock::default(),
            busy: Arc::default(),
        }
    }

    /// Lets a lane hand over.
    ///
    /// # Errors
    /// [`Error::TooMany`]; [`Error::LaneBusy`] while another handover of it is under way.
    pub(super) fn begin(&self, fleet: FleetId, lane: LaneId) -> Result<Turn, Error> {
        let lane = (fleet, lane);
        if self.counts.len() > KEPT {
            self.counts.retain_recent();
        }
        self.counts.check_key(&lane).map_err(|until| {
            let wait = until.wait_time_from(self.clock.now());
            Error::TooMany { retry_after_s: wait.as_secs().saturating_add(1) }
        })?;
        if hold(&self.busy).insert(lane) {
            Ok(Turn { lane, busy: Arc::clone(&self.busy) })
        } else {
            Err(Error::LaneBusy)
        }
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        hold(&self.busy).remove(&self.lane);
    }
}

fn hold(busy: &Mutex<HashSet<Lane>>) -> MutexGuard<'_, HashSet<Lane>> {
    busy.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::fresh;

    #[test]
    fn a_lane_hands_over_one_at_a_time_and_so_often_a_minute() {
        let (lanes, fleet) = (Lanes::new(NonZeroU32::new(3).unwrap()), FleetId(fresh()));
        let (one, other) = (LaneId(fresh()), LaneId(fresh()));
        let turn = lanes.begin(fleet, one).unwrap();
        assert!(matches!(lanes.begin(fleet, one), Err(Error::LaneBusy)));
        drop(lanes.begin(fleet, other).unwrap());
        drop(turn);
        drop(lanes.begin(fleet, one).unwrap());
        let Err(Error::TooMany { retry_after_s: 1..=21 }) = lanes.begin(fleet, one) else {
            panic!("the fourth in a minute was let in");
        };
        drop(lanes.begin(fleet, other).unwrap());
    }

    #[test]
    fn made_up_lanes_do_not_pile_up() {
        let (lanes, fleet) = (Lanes::new(NonZeroU32::MAX), FleetId(fresh()));
        for _ in 0..3 * KEPT {
            drop(lanes.begin(fleet, LaneId(fresh())).unwrap());
        }
        assert!(lanes.counts.len() <= 2 * KEPT, "{}", lanes.counts.len());
        assert!(hold(&lanes.busy).is_empty());
    }
}
