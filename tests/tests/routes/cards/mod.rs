//! Cards: what each role may do with them, and what is refused.

pub(super) mod creating;
mod editing;
mod listing;
mod phones;
mod retiring;
mod technicians;
