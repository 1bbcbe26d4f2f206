//! A container put in service: its level is estimated from now on, starting from what other
//! containers of the product have taught about its dose.

use super::books::{At, Books};
use super::bottle::{keep, unknown_dose};
use super::cards::{Author, Cards};
use super::facts::ContainerOpen;
use super::refusal::EntryRefusal;
use crate::flows::cards::kinds::Dose;
use crate::store::books::ContainerLevel;
use chrono::{DateTime, Utc};
use dropwise_core::CoreError;
use dropwise_core::stats::Estimate;
use dropwise_core::stats::bottle::BottleState;
use dropwise_core::stats::drop_size::{BOTTLES_FOR_SPREAD, between_bottles, own_evidence, pool};
use rust_decimal::prelude::ToPrimitive;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use uuid::Uuid;

/// How well the fill of a new container is known, as a share of it: common practice, no source.
const FILL_SD_SHARE: f64 = 0.01;
/// How much containers of one product differ, as a share of the dose, before others were weighed.
const BETWEEN_SD_SHARE: f64 = 0.16;
/// How many bottles' worth that assumption keeps: a spread seen in a handful of bottles is often nothing
/// by chance, and a new bottle would then be thought known to the drop.
const BETWEEN_WEIGHT: f64 = 6.0;

/// What the cards and the other containers said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Basis {
    pub(super) item_id: Uuid,
    pub(super) place_id: Uuid,
    dose: String,
    prior_ml_per_dose: f64,
    remaining_ml: f64,
    dose_mean_ml: f64,
    dose_sd_ml: f64,
}

/// The word of a way of dosing.
pub(super) const fn word(dose: Dose) -> &'static str {
    match dose {
        Dose::Drop => "drop",
        Dose::Shot => "shot",
        Dose::BeadCm => "bead_cm",
    }
}

/// Whether it can be booked, and what to start from. `weighed`: other containers of the product.
pub(super) fn judge(
    fact: &ContainerOpen,
    cards: &Cards,
    books: &Books,
    weighed: &[ContainerLevel],
    author: Author,
) -> Result<Basis, EntryRefusal> {
    let container = cards.container(fact.container_id, "container_id")?;
    if cards.is_retired(fact.container_id) {
        return Err(EntryRefusal::at("container_retired", "container_id", "This container is out of use."));
    }
    cards.own_place(container.place_id, "container_id", author)?;
    if books.containers.get(&fact.container_id).is_some() {
        return Err(EntryRefusal::at(
            "already_open",
            "container_id",
            "This container is open already. A refill is a container of its own, with a tag of its own.",
        ));
    }
    let item = cards.item(container.item_id, "container_id")?;
    let filled = fact.remaining_ml.unwrap_or(container.nominal_ml);
    if filled > container.nominal_ml {
        return Err(EntryRefusal::at(
            "over_full",
            "remaining_ml",
            "A container holds no more than its nominal volume.",
        ));
    }
    let (unknown, unknown_sd) = unknown_dose(word(container.dose));
    let prior = item.ml_per_dose.and_then(|ml| ml.get().to_f64()).filter(|ml| *ml > 0.0).unwrap_or(unknown);
    let prior_sd = prior * unknown_sd / unknown;
    let bottles: Vec<Estimate> = weighed.iter().filter_map(|level| own_voice(level).ok().flatten()).collect();
    let between_sd = between(prior * BETWEEN_SD_SHARE, &bottles)?;
    let expected = pool(Estimate::try_new(prior, prior_sd)?, between_sd, &bottles)?.new_bottle;
    Ok(Basis {
        item_id: container.item_id,
        place_id: container.place_id,
        dose: word(container.dose).to_owned(),
        prior_ml_per_dose: prior,
        remaining_ml: filled.get().to_f64().unwrap_or_default(),
        dose_mean_ml: expected.mean(),
        dose_sd_ml: expected.sd(),
    })
}

/// How much containers of the product differ: assumed at first, then more and more as seen.
///
/// # Formula
/// ```text
/// t^2 = (w t0^2 + (k - 1) t_k^2) / (w + k - 1)
/// ```
/// t0 assumed and `t_k` seen spread between k containers (by moments), w weight of the assumption: the mean
/// of a scaled inverse chi-squared belief about a variance, kept simple (Gelman et al., Bayesian Data
/// Analysis, 3rd ed., ch. 2.6; from memory).
fn between(assumed_sd: f64, bottles: &[Estimate]) -> Result<f64, CoreError> {
    if bottles.len() < BOTTLES_FOR_SPREAD {
        return Ok(assumed_sd);
    }
    let seen = between_bottles(bottles)?.between_variance;
    let freedom = bottles.len().to_f64().unwrap_or(1.0) - 1.0;
    let variance = (BETWEEN_WEIGHT * assumed_sd * assumed_sd + freedom * seen) / (BETWEEN_WEIGHT + freedom);
    Ok(variance.sqrt())
}

/// What a weighed container's own weighings said of its doses, without what it was first taken to be.
fn own_voice(level: &ContainerLevel) -> Result<Option<Estimate>, CoreError> {
    let [mean, sd] = level.began_ml_per_dose;
    let filtered = Estimate::try_new(level.mean[1], level.covariance[2].max(0.0).sqrt())?;
    own_evidence(Estimate::try_new(mean, sd)?, filtered)
}

/// A fresh estimate. No stock moves: what is in the container is at its place already.
pub(super) fn book(
    books: &mut Books,
    fact: &ContainerOpen,
    basis: &Basis,
    at: At,
    opened_at: DateTime<Utc>,
) -> Result<(), CoreError> {
    let start = BottleState::start(
        Estimate::try_new(basis.remaining_ml, basis.remaining_ml * FILL_SD_SHARE)?,
        Estimate::try_new(basis.dose_mean_ml, basis.dose_sd_ml)?,
    )?;
    let mut level = ContainerLevel {
        item_id: basis.item_id,
        place_id: basis.place_id,
        dose: basis.dose.clone(),
        prior_ml_per_dose: basis.prior_ml_per_dose,
        began_ml_per_dose: [basis.dose_mean_ml, basis.dose_sd_ml],
        mean: [0.0, 0.0],
        covariance: [0.0, 0.0, 0.0],
        weigh_ins: 0,
        flagged: 0,
        doses_since: 0,
        draws_since: BTreeMap::new(),
        last_weigh_id: None,
        opened_at,
    };
    keep(&mut level, &start);
    books.marks.push((at.entry_id, fact.container_id, None));
    books.containers.set(fact.container_id, level);
    Ok(())
}
