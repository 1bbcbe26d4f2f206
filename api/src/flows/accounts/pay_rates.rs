//! What members are paid, from which day on.

use crate::auth::Owner;
use crate::error::Error;
use crate::ids::MemberId;
use crate::store::Tx;
use crate::store::accounts::{self, PayRate};
use chrono::NaiveDate;

/// Adds a rate from a day on. The same again answers as the first time; a rate never changes, because
/// the books may already rest on it.
///
/// # Errors
/// [`Error::NotFound`] for an unknown member; [`Error::Conflict`] when that day has another rate.
pub async fn add(tx: &mut Tx, _: Owner, rate: &PayRate) -> Result<(), Error> {
    let member = MemberId(rate.member_id);
    accounts::lock_member(tx, member).await?;
    match accounts::find_pay_rate(tx, member, rate.from_on).await? {
        Some(had) if had == *rate => Ok(()),
        Some(_) => Err(Error::conflict(
            "rate_in_use",
            "That day already has another rate. Rates are kept as they were; add the new one from a later day.",
        )),
        None => accounts::insert_pay_rate(tx, rate).await,
    }
}

/// A member's rates after a day, oldest first.
///
/// # Errors
/// [`Error::NotFound`] for an unknown member.
pub async fn list(
    tx: &mut Tx,
    _: Owner,
    member: MemberId,
    after: Option<NaiveDate>,
    limit: i64,
) -> Result<Vec<PayRate>, Error> {
    accounts::find_member(tx, member).await?;
    accounts::list_pay_rates_of(tx, member, after, limit).await
}
