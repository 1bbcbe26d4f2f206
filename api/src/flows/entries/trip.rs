//! A drive: kilometres at the fleet's rate.

use super::books::{At, Books, CostFor};
use super::cards::{Author, Cards};
use super::facts::Trip;
use super::receipt::positive;
use super::refusal::EntryRefusal;
use crate::values::Amount;
use dropwise_core::CoreError;
use serde::{Deserialize, Serialize};

/// What the cards said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Basis {
    km_amount: Option<Amount>,
}

/// Whether it can be booked, and at what rate.
pub(super) fn judge(fact: &Trip, cards: &Cards, author: Author) -> Result<Basis, EntryRefusal> {
    cards.own_place(fact.place_id, "place_id", author)?;
    if let Some(job) = fact.job_id {
        cards.open_job(job, author)?;
    }
    positive(fact.distance_km.get(), "distance_km")?;
    Ok(Basis { km_amount: cards.fleet()?.travel_cost_per_km_amount })
}

/// Distance × rate, on the job or on none.
pub(super) fn book(books: &mut Books, fact: &Trip, basis: &Basis, at: At) -> Result<(), CoreError> {
    let km = fact.distance_km.get();
    let rate = basis.km_amount.map(Amount::get).unwrap_or_default();
    let amount = km.checked_mul(rate).ok_or(CoreError::OutOfRange { what: "the cost of a trip" })?;
    let cost = CostFor { what: "travel", job_id: fact.job_id, subject_id: Some(fact.place_id), unit: "km" };
    books.cost(at, cost, km, amount)
}
