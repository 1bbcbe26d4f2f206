//! Goods that came in: stock goes up at what was paid.

use super::books::{At, Books, StockFor};
use super::cards::{Author, Cards};
use super::facts::Receipt;
use super::refusal::EntryRefusal;
use dropwise_core::CoreError;
use rust_decimal::Decimal;

/// Whether it can be booked.
pub(super) fn judge(fact: &Receipt, cards: &Cards, author: Author) -> Result<(), EntryRefusal> {
    cards.item(fact.item_id, "item_id")?;
    cards.own_place(fact.place_id, "place_id", author)?;
    positive(fact.quantity.get(), "quantity")
}

/// Quantity and value in. Without a price the goods take the last known cost.
pub(super) fn book(books: &mut Books, fact: &Receipt, at: At) -> Result<(), CoreError> {
    let account = books.account(fact.item_id);
    let moved = match fact.total_amount {
        Some(total) => account.receive(fact.quantity.get(), total.get())?,
        None => account.adjust(fact.quantity.get())?,
    };
    let of = StockFor { what: "receipt", item_id: fact.item_id, place_id: fact.place_id, job_id: None };
    books.stock(at, of, moved)?;
    Ok(())
}

/// Refuses a quantity of nothing.
pub(super) fn positive(quantity: Decimal, field: &str) -> Result<(), EntryRefusal> {
    if quantity > Decimal::ZERO {
        Ok(())
    } else {
        Err(EntryRefusal::at("nothing_moved", field, "The quantity must be above zero."))
    }
}
