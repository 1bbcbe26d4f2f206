//! Stock taken from one place to another: its value stays, it is the fleet's.

use super::books::{At, Books, StockFor};
use super::cards::{Author, Cards};
use super::facts::StockMove;
use super::receipt::positive;
use super::refusal::EntryRefusal;
use crate::auth::Role;
use dropwise_core::CoreError;
use rust_decimal::Decimal;

/// Whether it can be booked.
pub(super) fn judge(fact: &StockMove, cards: &Cards, author: Author) -> Result<(), EntryRefusal> {
    cards.item(fact.item_id, "item_id")?;
    cards.place(fact.from_place_id, "from_place_id")?;
    cards.place(fact.to_place_id, "to_place_id")?;
    if fact.from_place_id == fact.to_place_id {
        return Err(EntryRefusal::at("same_place", "to_place_id", "The two places must differ."));
    }
    let own = [fact.from_place_id, fact.to_place_id].map(Some).contains(&author.home_place);
    if author.role == Role::Technician && !own {
        return Err(EntryRefusal::at(
            "not_your_van",
            "from_place_id",
            "Move stock only from or to the van you work from; the office moves the rest.",
        ));
    }
    positive(fact.quantity.get(), "quantity")
}

/// Two lines that cancel out in quantity; no value moves.
pub(super) fn book(books: &mut Books, fact: &StockMove, at: At) -> Result<(), CoreError> {
    let quantity = fact.quantity.get();
    for (place_id, change) in [(fact.from_place_id, -quantity), (fact.to_place_id, quantity)] {
        let of = StockFor { what: "move", item_id: fact.item_id, place_id, job_id: None };
        books.add_level(fact.item_id, place_id, change)?;
        books.stock_line(at, of, change, Decimal::ZERO)?;
    }
    Ok(())
}
