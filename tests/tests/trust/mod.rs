//! What keeps the fleets' work safe, tried under fire.
//!
//! Never: what an operation answers on a good day; that is `routes/`.

mod bodies;
mod device_keys;
mod durability;
mod entry_codes;
mod load;
mod logs;
mod memory;
mod passwords;
mod problems;
mod races;
mod renewal;
mod shutdown;
mod stopped_postgres;
mod strangers;
mod throttle;
mod tokens;
mod vanished_clients;
mod waits;
