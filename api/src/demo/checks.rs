//! How far the books' estimates are from the truth, asked at moments nobody chose for the answer.

use super::truth::TrueBottle;
use super::van::Van;
use crate::error::Error;
use crate::ids::FleetId;
use crate::store::Db;
use crate::store::books::{self, ContainerLevel};
use dropwise_core::stats::Estimate;
use std::collections::HashMap;
use uuid::Uuid;

/// Confidence of the intervals that are held against the truth: the one the phones show.
const CONFIDENCE: f64 = 0.90;

/// Estimates held against the truth.
#[derive(Debug, Clone, Copy, Default)]
pub struct Score {
    /// How often a level was looked at.
    pub looks: u32,
    /// How often the truth lay in its 90 % interval.
    pub inside: u32,
    /// Sum of absolute errors (ml).
    pub error_ml: f64,
    /// Sum of absolute errors as shares of what the container holds.
    pub error_share: f64,
}

/// All scores of a year.
#[derive(Debug, Clone, Copy, Default)]
pub struct Scores {
    /// Just before a weigh-in.
    pub before_weigh_in: Score,
    /// At the end of random days.
    pub random_days: Score,
    /// Dose sizes of bottles weighed at least once, at the end; errors as shares of the true dose.
    pub dose: Score,
    /// Moments not counted, because a phone of the van still had entries to hand over.
    pub waiting: u32,
}

impl Score {
    /// Share of truths inside their interval; nothing without looks.
    #[must_use]
    pub fn coverage(&self) -> Option<f64> {
        (self.looks > 0).then(|| f64::from(self.inside) / f64::from(self.looks))
    }

    /// Mean absolute error (ml).
    #[must_use]
    pub fn mean_error_ml(&self) -> Option<f64> {
        (self.looks > 0).then(|| self.error_ml / f64::from(self.looks))
    }

    /// Mean absolute error as a share.
    #[must_use]
    pub fn mean_error_share(&self) -> Option<f64> {
        (self.looks > 0).then(|| self.error_share / f64::from(self.looks))
    }

    /// Both together.
    #[must_use]
    pub fn with(&self, other: &Self) -> Self {
        Self {
            looks: self.looks + other.looks,
            inside: self.inside + other.inside,
            error_ml: self.error_ml + other.error_ml,
            error_share: self.error_share + other.error_share,
        }
    }

    fn add(&mut self, truth: f64, shown: f64, interval: [f64; 2], whole: f64) {
        self.looks += 1;
        self.inside += u32::from((interval[0]..=interval[1]).contains(&truth));
        self.error_ml += (shown - truth).abs();
        self.error_share += (shown - truth).abs() / whole;
    }
}

/// Looks at every open bottle of a van.
pub(super) async fn look(db: &Db, fleet: FleetId, van: &Van, score: &mut Score) -> Result<(), Error> {
    let levels = read(db, fleet, van.open.values()).await?;
    for bottle in van.open.values() {
        let Some(level) = levels.get(&bottle.id) else { continue };
        let held = |ml: f64| ml.clamp(0.0, bottle.nominal_ml);
        let interval = interval(level.mean[0], level.covariance[0])?.map(held);
        // What was filled beyond nominal is shown as full.
        score.add(held(bottle.remaining_ml), held(level.mean[0]), interval, bottle.nominal_ml);
    }
    Ok(())
}

/// Looks at what the books think a dose is, of every bottle of a van that was weighed.
pub(super) async fn look_at_doses(
    db: &Db,
    fleet: FleetId,
    van: &Van,
    score: &mut Score,
) -> Result<(), Error> {
    let all = || van.open.values().chain(&van.emptied).filter(|bottle| bottle.given.0 > 0);
    let levels = read(db, fleet, all()).await?;
    for bottle in all() {
        let Some(level) = levels.get(&bottle.id).filter(|level| level.weigh_ins > 0) else { continue };
        let truth = bottle.given.1 / f64::from(bottle.given.0);
        score.add(truth, level.mean[1], interval(level.mean[1], level.covariance[2])?, truth);
    }
    Ok(())
}

async fn read(
    db: &Db,
    fleet: FleetId,
    bottles: impl Iterator<Item = &TrueBottle>,
) -> Result<HashMap<Uuid, ContainerLevel>, Error> {
    let ids: Vec<Uuid> = bottles.map(|bottle| bottle.id).collect();
    db.read(fleet, async move |tx: &mut _| books::find_containers(tx, &ids).await).await
}

fn interval(mean: f64, variance: f64) -> Result<[f64; 2], Error> {
    let estimate = Estimate::try_new(mean, variance.max(0.0).sqrt());
    estimate.and_then(|estimate| estimate.interval(CONFIDENCE)).map_err(Error::internal)
}
