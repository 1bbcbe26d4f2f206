//! What keeps the fleets' work safe, tried under fire.
//!
//! Never: what an operation answers on a good day; that is `routes/`.

mod bodies;
mod durability;
mod problems;
mod shutdown;
mod stopped_postgres;
mod waits;
