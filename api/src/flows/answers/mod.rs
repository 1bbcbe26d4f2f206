//! The answers of the main job: what is running out, what is worn, what each job and month earned.
//!
//! Reads figures that are kept as they change, and computes with the counting room. Writes nothing.

pub mod audit;
pub mod job_costs;
pub mod levels;
pub mod month;
pub mod run_out;

use crate::error::Error;
use crate::flows::cards::kinds::{Card, Fleet};
use crate::store::Tx;
use crate::store::cards::{self, CardRecord};
use serde_json::json;
use uuid::Uuid;

/// A stored card, read as its kind.
pub(super) fn as_card(record: &CardRecord) -> Result<Card, Error> {
    serde_json::from_value(json!({ "kind": record.kind, "body": record.body })).map_err(Error::internal)
}

/// The fleet's settings.
pub(super) async fn settings(tx: &mut Tx) -> Result<Fleet, Error> {
    let id: Uuid = tx.fleet().0;
    let Card::Fleet(fleet) = as_card(&cards::find(tx, id).await?)? else {
        return Err(Error::internal("the fleet's card is of another kind"));
    };
    Ok(fleet)
}

/// How many decimals the fleet's currency has.
pub(super) fn minor_digits(fleet: &Fleet) -> u32 {
    iso_currency::Currency::from_code(&fleet.currency)
        .and_then(iso_currency::Currency::exponent)
        .map_or(2, u32::from)
}
