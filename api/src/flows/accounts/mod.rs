//! Who may enter: fleets, members, passwords, sign-ins, pay and phones.
//!
//! Never: a hash inside a transaction. Whoever is turned away is not told which part was wrong.

pub mod devices;
pub mod entry_codes;
pub mod fleets;
pub mod members;
pub mod names;
pub mod passwords;
pub mod pay_rates;
pub mod refresh;
pub mod sign_in;

use crate::auth::password::HashingError;
use crate::error::Error;

/// How long a client waits when the hasher's queue is full, in seconds.
const HASHER_WAIT_S: u64 = 2;

impl From<HashingError> for Error {
    fn from(error: HashingError) -> Self {
        match error {
            HashingError::Busy => {
                Self::Unavailable { why: "the hasher's queue is full".into(), retry_after_s: HASHER_WAIT_S }
            }
            HashingError::Failed => Self::internal("the hasher failed"),
        }
    }
}
