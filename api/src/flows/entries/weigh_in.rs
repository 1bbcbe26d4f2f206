//! A container put on the scale: the estimate is corrected, and what turned out used beyond the count
//! is shared over the jobs that drew from the container since the last weigh-in.

use super::books::{At, Books, CostFor, StockFor};
use super::bottle::{keep, noise, state};
use super::cards::{Author, Cards};
use super::facts::WeighIn;
use super::refusal::EntryRefusal;
use dropwise_core::CoreError;
use dropwise_core::exact::shares::share_out;
use dropwise_core::exact::stock_lot::VALUE_PLACES;
use dropwise_core::stats::bottle::{Bottle, BottleNoise};
use dropwise_core::stats::crossing::{QUANTITY_PLACES, booked_quantity};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Standard deviation of a kitchen scale when the fleet says nothing (g): common practice, no source.
const SCALE_SD_G: f64 = 1.0;
/// Standard deviation of a tare when the card says nothing (g): common practice, no source.
const TARE_SD_G: f64 = 0.5;

/// What the cards said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Basis {
    nominal_ml: f64,
    tare_g: f64,
    tare_sd_g: f64,
    scale_sd_g: f64,
    density_g_per_ml: f64,
}

/// Whether it can be booked.
pub(super) fn judge(
    fact: &WeighIn,
    cards: &Cards,
    books: &Books,
    author: Author,
) -> Result<Basis, EntryRefusal> {
    let container = cards.container(fact.container_id, "container_id")?;
    cards.own_place(container.place_id, "container_id", author)?;
    if books.containers.get(&fact.container_id).is_none() {
        return Err(not_open());
    }
    let item = cards.item(container.item_id, "container_id")?;
    let number = |value: Decimal| value.to_f64().unwrap_or_default();
    let density = item.density_g_per_ml.map_or(1.0, |density| number(density.get()));
    let basis = Basis {
        nominal_ml: number(container.nominal_ml.get()),
        tare_g: number(container.tare_g.get()),
        tare_sd_g: container.tare_sd_g.map_or(TARE_SD_G, |sd| number(sd.get())),
        scale_sd_g: cards.fleet()?.scale_sd_g.map_or(SCALE_SD_G, |sd| number(sd.get())),
        density_g_per_ml: density,
    };
    // A fifth over nominal leaves room for an uncertain tare; beyond it, it was another container.
    let heaviest = basis.tare_g + 1.2 * basis.nominal_ml * basis.density_g_per_ml;
    if number(fact.gross_g.get()) > heaviest {
        return Err(EntryRefusal::at(
            "heavier_than_full",
            "gross_g",
            format!("A full container weighs about {heaviest:.0} g at most. Check the tag and the scale."),
        ));
    }
    Ok(basis)
}

/// The code of what is done with a container that is not in service.
pub(super) const NOT_OPEN: &str = "container_not_open";

/// The refusal of anything done with a container that is not in service.
pub(super) fn not_open() -> EntryRefusal {
    EntryRefusal::at(NOT_OPEN, "container_id", "Open this container first (container_open).")
}

/// Corrects level and dose size; books the difference in stock, and its cost to the jobs that drew.
pub(super) fn book(books: &mut Books, fact: &WeighIn, basis: &Basis, at: At) -> Result<(), CoreError> {
    const GONE: CoreError = CoreError::Insufficient { what: "open containers" };
    let before = books.containers.get(&fact.container_id).cloned().ok_or(GONE)?;
    let bottle = Bottle {
        nominal_ml: basis.nominal_ml,
        tare_g: basis.tare_g,
        density_g_per_ml: basis.density_g_per_ml,
    };
    let noise = BottleNoise { scale_sd_g: basis.scale_sd_g, tare_sd_g: basis.tare_sd_g, ..noise(&before) };
    let gross_g = fact.gross_g.get().to_f64().unwrap_or_default();
    let weighed = state(&before)?.after_weigh_in(gross_g, &bottle, &noise)?;
    let mut level = before.clone();
    if weighed.flagged {
        // Kept and shown, but not believed: the estimate stays.
        level.flagged = level.flagged.saturating_add(1);
        books.containers.set(fact.container_id, level);
        return Ok(());
    }
    keep(&mut level, &weighed.state);
    level.weigh_ins = level.weigh_ins.saturating_add(1);
    level.last_weigh_id = Some(at.entry_id);
    level.doses_since = 0;
    let draws: Vec<(Uuid, Decimal)> =
        std::mem::take(&mut level.draws_since).into_iter().map(|(job, ml)| (job, ml.0)).collect();
    let used_more = booked_quantity(before.mean[0] - level.mean[0])?;
    let (item_id, place_id) = (level.item_id, level.place_id);
    books.marks.push((at.entry_id, fact.container_id, Some(before)));
    books.containers.set(fact.container_id, level);
    if used_more.is_zero() {
        return Ok(());
    }
    let (account, moved) = books.account(item_id).adjust(-used_more)?;
    let weights: Vec<Decimal> = draws.iter().map(|(_, ml)| (*ml).max(Decimal::ZERO)).collect();
    let (jobs, quantities, values) = if weights.iter().any(|ml| *ml > Decimal::ZERO) {
        let places = |places: i32| u32::try_from(places).unwrap_or_default();
        (
            draws.iter().map(|(job, _)| Some(*job).filter(|job| !job.is_nil())).collect(),
            share_out(moved.quantity, &weights, places(QUANTITY_PLACES))?,
            share_out(moved.value, &weights, places(VALUE_PLACES))?,
        )
    } else {
        (vec![None], vec![moved.quantity], vec![moved.value])
    };
    books.save_account(item_id, account)?;
    books.add_level(item_id, place_id, moved.quantity)?;
    for ((job_id, quantity), value) in jobs.into_iter().zip(quantities).zip(values) {
        if quantity.is_zero() && value.is_zero() {
            continue;
        }
        let of = StockFor { what: "true_up", item_id, place_id, job_id };
        books.stock_line(at, of, quantity, value)?;
        let cost = CostFor { what: "true_up", job_id, subject_id: Some(fact.container_id), unit: "ml" };
        books.cost(at, cost, -quantity, -value)?;
    }
    if !moved.true_up.is_zero() {
        let of = StockFor { what: "price_true_up", item_id, place_id, job_id: None };
        books.stock_line(at, of, Decimal::ZERO, moved.true_up)?;
        let cost = CostFor { what: "price_true_up", job_id: None, subject_id: Some(item_id), unit: "" };
        books.cost(at, cost, Decimal::ZERO, -moved.true_up)?;
    }
    Ok(())
}
