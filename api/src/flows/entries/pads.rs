//! What pad entries have in common: the pad's state, started at its first use.

use super::books::Books;
use super::cards::{Author, Cards};
use super::refusal::EntryRefusal;
use crate::flows::cards::kinds::ItemKind;
use crate::store::books::{PadLine, PadState};
use crate::values::Amount;
use chrono::{DateTime, Utc};
use dropwise_core::CoreError;
use dropwise_core::exact::rounding::{Ties, round};
use dropwise_core::exact::stock_lot::VALUE_PLACES;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Sections a pad is expected to last when its model's card says nothing: common practice, no source.
const EXPECTED_CYCLES: u32 = 100;

/// What a pad's cards said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct PadBasis {
    pub(super) item_id: Uuid,
    pub(super) place_id: Uuid,
    expected_cycles: u32,
    salvage_amount: Option<Amount>,
}

/// A pad that is in service, or has never been used.
pub(super) fn judge(
    id: Uuid,
    cards: &Cards,
    books: &Books,
    author: Author,
) -> Result<PadBasis, EntryRefusal> {
    let pad = cards.pad(id, "pad_id")?;
    cards.own_place(pad.place_id, "pad_id", author)?;
    let gone = books.pads.get(&id).is_some_and(|state| state.retired_at.is_some());
    if gone || cards.is_retired(id) {
        return Err(EntryRefusal::at(
            "pad_retired",
            "pad_id",
            "This pad is out of service. Take another, or reverse its retirement if that was a mistake.",
        ));
    }
    let model = cards.item_of(pad.item_id, "pad_id", ItemKind::PadModel)?;
    Ok(PadBasis {
        item_id: pad.item_id,
        place_id: pad.place_id,
        expected_cycles: model.expected_cycles.unwrap_or(EXPECTED_CYCLES).max(1),
        salvage_amount: model.salvage_amount,
    })
}

/// The pad's state; at its first use it is worth what one of its model costs now.
pub(super) fn state(
    books: &Books,
    id: Uuid,
    basis: &PadBasis,
    at: DateTime<Utc>,
) -> Result<PadState, CoreError> {
    if let Some(state) = books.pads.get(&id) {
        return Ok(PadState { place_id: basis.place_id, ..state.clone() });
    }
    let account = books.account(basis.item_id);
    let worth = account.unit_cost().filter(|cost| *cost > Decimal::ZERO).or(account.last_unit_cost);
    Ok(PadState {
        item_id: basis.item_id,
        place_id: basis.place_id,
        cycles: 0,
        cycles_since_wash: 0,
        washes: 0,
        load_ml: Decimal::ZERO,
        worked_m2: Decimal::ZERO,
        cost_amount: round(worth.unwrap_or_default(), VALUE_PLACES, Ties::HalfEven)?,
        charged_amount: Decimal::ZERO,
        first_used_at: at,
        retired_at: None,
        retired_why: None,
    })
}

/// What one more section costs in pad: (cost − salvage) / expected cycles, until all of it is borne.
pub(super) fn cycle_charge(state: &PadState, basis: &PadBasis) -> Result<Decimal, CoreError> {
    const OUT: CoreError = CoreError::OutOfRange { what: "the cost of a pad cycle" };
    let salvage = basis.salvage_amount.map(Amount::get).unwrap_or_default();
    let to_bear = state.cost_amount.checked_sub(salvage).ok_or(OUT)?.max(Decimal::ZERO);
    let left = to_bear.checked_sub(state.charged_amount).ok_or(OUT)?.max(Decimal::ZERO);
    let each = to_bear.checked_div(Decimal::from(basis.expected_cycles)).ok_or(OUT)?;
    Ok(round(each, VALUE_PLACES, Ties::HalfEven)?.min(left))
}

/// A line of the pad ledger in which nothing has changed yet.
pub(super) fn blank_line(pad_id: Uuid, job_id: Option<Uuid>) -> PadLine {
    PadLine {
        entry_id: Uuid::nil(),
        line: 0,
        pad_id,
        job_id,
        cycles: 0,
        cycles_since_wash: 0,
        washes: 0,
        load_ml: Decimal::ZERO,
        worked_m2: Decimal::ZERO,
        amount: Decimal::ZERO,
    }
}

/// The state after a line of the ledger.
pub(super) fn after(mut state: PadState, line: &PadLine) -> Result<PadState, CoreError> {
    const OUT: CoreError = CoreError::OutOfRange { what: "a pad's ledger" };
    state.cycles = state.cycles.checked_add(line.cycles).ok_or(OUT)?;
    state.cycles_since_wash = state.cycles_since_wash.checked_add(line.cycles_since_wash).ok_or(OUT)?;
    state.washes = state.washes.checked_add(line.washes).ok_or(OUT)?;
    state.load_ml = state.load_ml.checked_add(line.load_ml).ok_or(OUT)?;
    state.worked_m2 = state.worked_m2.checked_add(line.worked_m2).ok_or(OUT)?;
    state.charged_amount = state.charged_amount.checked_add(line.amount).ok_or(OUT)?;
    Ok(state)
}
