//! What keeps the fleets' work safe, tried under fire.
//!
//! Never: what an operation answers on a good day; that is `routes/`.

mod bodies;
mod durability;
mod entry_codes;
mod logs;
mod passwords;
mod problems;
mod renewal;
mod shutdown;
mod stopped_postgres;
mod strangers;
mod tokens;
mod waits;
