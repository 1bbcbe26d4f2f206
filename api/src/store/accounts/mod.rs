//! Fleets, members, their passwords and codes, pay, sessions and lanes.
//!
//! Never: a password, a code or a token itself, only what proves them.

mod entry_codes;
mod fleets;
mod lanes;
mod members;
mod passwords;
mod pay_rates;
mod security_notes;
mod sessions;

pub use entry_codes::*;
pub use fleets::*;
pub use lanes::*;
pub use members::*;
pub use passwords::*;
pub use pay_rates::*;
pub use security_notes::*;
pub use sessions::*;
