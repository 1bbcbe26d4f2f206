//! A pad taken out of service: it leaves stock, and what no job has borne of it is a line of its own.

use super::books::{At, Books, CostFor, StockFor};
use super::facts::{PadEnd, PadRetire};
use super::pads::{self, PadBasis};
use chrono::{DateTime, Utc};
use dropwise_core::CoreError;
use dropwise_core::exact::stock_lot::Shortfall;
use rust_decimal::Decimal;

/// One piece out at the average; its value less what jobs have borne goes to no job.
pub(super) fn book(
    books: &mut Books,
    fact: &PadRetire,
    basis: &PadBasis,
    at: At,
    happened_at: DateTime<Utc>,
) -> Result<(), CoreError> {
    let mut state = pads::state(books, fact.pad_id, basis, happened_at)?;
    state.retired_at = Some(happened_at);
    let why = match fact.why {
        PadEnd::Failed => "failed",
        PadEnd::Swapped => "swapped",
        PadEnd::Lost => "lost",
    };
    state.retired_why = Some(why.to_owned());
    let moved = books.account(basis.item_id).issue(Decimal::ONE, Shortfall::Allow)?;
    let of = StockFor { what: "retired", item_id: basis.item_id, place_id: basis.place_id, job_id: None };
    let value = books.stock(at, of, moved)?;
    let not_borne = (-value).checked_sub(state.charged_amount);
    let not_borne = not_borne.ok_or(CoreError::OutOfRange { what: "a pad's value" })?;
    let cost = CostFor { what: "pad_retirement", job_id: None, subject_id: Some(fact.pad_id), unit: "piece" };
    books.cost(at, cost, Decimal::ONE, not_borne)?;
    books.pads.set(fact.pad_id, state);
    books.pad_line(at, pads::blank_line(fact.pad_id, None))
}
