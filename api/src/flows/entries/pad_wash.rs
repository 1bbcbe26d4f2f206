//! A pad washed: its load is gone, its wear is not.

use super::books::{At, Books};
use super::facts::PadWash;
use super::pads::{self, PadBasis};
use chrono::{DateTime, Utc};
use dropwise_core::CoreError;

/// Load and sections since the last wash go back to nothing; one wash more.
pub(super) fn book(
    books: &mut Books,
    fact: &PadWash,
    basis: &PadBasis,
    at: At,
    happened_at: DateTime<Utc>,
) -> Result<(), CoreError> {
    let state = pads::state(books, fact.pad_id, basis, happened_at)?;
    let mut line = pads::blank_line(fact.pad_id, None);
    line.washes = 1;
    line.cycles_since_wash = state.cycles_since_wash.saturating_neg();
    line.load_ml = -state.load_ml;
    let state = pads::after(state, &line)?;
    books.pads.set(fact.pad_id, state);
    books.pad_line(at, line)
}
