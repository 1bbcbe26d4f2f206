//! A container's estimate between the books and the filter of the counting room.

use crate::store::books::ContainerLevel;
use dropwise_core::CoreError;
use dropwise_core::stats::Estimate;
use dropwise_core::stats::bottle::{BottleNoise, BottleState, UNKNOWN_ML_PER_DROP};
use dropwise_core::worksheets::DecimalText;
use rust_decimal::Decimal;
use uuid::Uuid;

/// How a dose varies around the container's own dose size, as a share of what a dose was first taken
/// to be: the filter's 0.005 ml on 0.05 ml.
const DOSE_SD_SHARE: f64 = 0.1;
/// How far the dose size wanders from one use to the next, as a share likewise.
const DRIFT_SD_SHARE: f64 = 0.01;

/// What one dose is taken to be when the item's card says nothing: mean and standard deviation, ml.
///
/// Drops by the pharmacy convention of 20 drops per ml. A stroke of a spray head of about 1.2 ml and a
/// bead of about 0.25 ml per cm: common practice, no source; hence the same wide relative spread.
pub(super) fn unknown_dose(dose: &str) -> (f64, f64) {
    let (drop, sd) = UNKNOWN_ML_PER_DROP;
    let spread = sd / drop;
    match dose {
        "shot" => (1.2, 1.2 * spread),
        "bead_cm" => (0.25, 0.25 * spread),
        _ => (drop, sd),
    }
}

/// The filter's noise for a container.
pub(super) fn noise(level: &ContainerLevel) -> BottleNoise {
    BottleNoise {
        drop_sd_ml: DOSE_SD_SHARE * level.prior_ml_per_dose,
        drift_sd_ml_per_use: DRIFT_SD_SHARE * level.prior_ml_per_dose,
        ..BottleNoise::default()
    }
}

/// The filter's state of a container.
pub(super) fn state(level: &ContainerLevel) -> Result<BottleState, CoreError> {
    let [p00, p01, p11] = level.covariance;
    BottleState::from_parts(level.mean, [[p00, p01], [p01, p11]])
}

/// Puts the filter's state back.
pub(super) fn keep(level: &mut ContainerLevel, state: &BottleState) {
    let [[p00, p01], [_, p11]] = state.covariance();
    level.mean = state.mean();
    level.covariance = [p00, p01, p11];
}

/// Notes what was drawn for a job since the last weigh-in; a negative draw was put back.
pub(super) fn add_draw(level: &mut ContainerLevel, job: Uuid, ml: Decimal) -> Result<(), CoreError> {
    let before = level.draws_since.get(&job).map_or(Decimal::ZERO, |drawn| drawn.0);
    let after = before.checked_add(ml).ok_or(CoreError::OutOfRange { what: "a container's draws" })?;
    if after.is_zero() {
        level.draws_since.remove(&job);
    } else {
        level.draws_since.insert(job, DecimalText(after.normalize()));
    }
    Ok(())
}

/// An estimate with a spread relative to its mean.
pub(super) fn measured(ml: f64, relative_sd: f64) -> Result<Estimate, CoreError> {
    Estimate::try_new(ml, (ml * relative_sd).abs())
}
