//! Stock counted: the books follow what was found, and the difference is nobody's job.

use super::books::{At, Books, CostFor, StockFor};
use super::cards::{Author, Cards};
use super::facts::StockCount;
use super::refusal::EntryRefusal;
use dropwise_core::CoreError;

/// Whether it can be booked.
pub(super) fn judge(fact: &StockCount, cards: &Cards, author: Author) -> Result<(), EntryRefusal> {
    cards.item(fact.item_id, "item_id")?;
    cards.own_place(fact.place_id, "place_id", author)?;
    Ok(())
}

/// The difference in quantity, at the average; its value is a line that no job explains.
pub(super) fn book(books: &mut Books, fact: &StockCount, at: At) -> Result<(), CoreError> {
    let level = books.levels.get(&(fact.item_id, fact.place_id)).copied().unwrap_or_default();
    let found = fact.counted.get();
    let change = found.checked_sub(level).ok_or(CoreError::OutOfRange { what: "a count's difference" })?;
    let moved = books.account(fact.item_id).adjust(change)?;
    let of = StockFor { what: "count", item_id: fact.item_id, place_id: fact.place_id, job_id: None };
    let value = books.stock(at, of, moved)?;
    let cost =
        CostFor { what: "shrinkage", job_id: None, subject_id: Some(fact.item_id), unit: "stock_unit" };
    books.cost(at, cost, -change, -value)
}
