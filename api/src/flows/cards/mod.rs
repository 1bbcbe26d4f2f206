//! Cards.
pub mod kinds;
